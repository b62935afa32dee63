"""Intakes: rollers and hooked chains in stages."""

from __future__ import annotations

from fieldworthy.engine.constants import Constants, Found, Stated
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
    constants=Constants(
        (
            Stated(
                "mechanisms.*.hold.period",
                "{0}/hold period",
                "time between two readings of the sensors that hold pieces",
            ),
            Stated("mechanisms.*.hold.latency", "{0}/hold latency", "from a reading until the stage brakes"),
            Stated("mechanisms.*.hold.deceleration", "{0}/hold deceleration", "how hard the stage brakes"),
        ),
        (
            Found("intake.speed.*", "speed", "{0}/speed", "speed of a piece in '{0}'"),
            Found(
                "intake.hold_speed.*", "limit", "{0}/hold speed most", "two pieces are held reliably up to this speed"
            ),
            Found("intake.hold_speed.*", "longest", "{0}/stop distance", "longest way from sensor to rest"),
            Found("intake.hold_rest.*", "first", "{0}/rest distance", "where the first piece rests past its sensor"),
        ),
    ),
)

__all__ = ["SYSTEM", "Intake"]
