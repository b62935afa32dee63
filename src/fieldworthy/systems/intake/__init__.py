"""Intakes: rollers and hooked chains in stages."""

from __future__ import annotations

from fieldworthy.engine.system import Page, System
from fieldworthy.systems.intake.check import check as judge
from fieldworthy.systems.intake.figure import figures
from fieldworthy.systems.intake.model import Intake

SYSTEM = System(
    name="intake",
    package=__name__,
    check=judge,
    families={"intake": "whether every piece is gripped, carried, handed over and stopped where it belongs"},
    kinds=(Intake,),
    page=Page(
        title="Intake",
        question="Does it grip, carry and hand over every piece, and stop two of them where they belong?",
        formulas=(("roller", ""), ("stop", "")),
        telling=("intake.hold_rest", "intake.chain_built"),
    ),
    figures=figures,
    drawn_apart=True,
    card={"intake": "{name}: rollers grip, belts or chains tight; one piece through."},
    spares=("chain links, roller or belt of the intake",),
)

__all__ = ["SYSTEM", "Intake"]
