"""Balance: what makes it tip, standing, driving and stopped."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.system import Constants, Found, Page, System, later
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.balance.check import check as judge
from fieldworthy.systems.balance.gentle import options


def follows(_robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """What goes right over has lifted its wheels first."""
    return {f"balance.over.{way}": (f"balance.tip.{way}",) for way in ("forward", "back")}


SYSTEM = System(
    name="balance",
    package=__name__,
    check=judge,
    families={"balance": "whether it stays on its wheels when it starts, stops, turns and is pushed"},
    page=Page(
        title="Balance",
        question="Does it stay on its wheels when it starts, stops, turns and is pushed?",
        formulas=(("tip", ""), ("impact", "")),
        telling=("balance.ballast", "balance.limit"),
        whole=("balance.centre_height",),
    ),
    figures=later("fieldworthy.systems.balance.figure:figures"),
    shown=later("fieldworthy.systems.balance.figure:shown"),
    follows=follows,
    options=options,
    dangerous=("balance.floor",),
    constants=Constants(
        found=(
            Found("balance.tip.forward", "value", "drive/tip forward", "rear wheels lift from this on, worst pose"),
            Found("balance.tip.back", "value", "drive/tip back", "front wheels lift from this on, worst pose"),
        )
    ),
)

__all__ = ["SYSTEM"]
