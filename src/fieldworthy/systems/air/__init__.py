"""Compressed air: what each tank still gives along the plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import fields

from fieldworthy.engine.finding import DisplayUnits, Report
from fieldworthy.engine.system import (
    Constants,
    Drain,
    Found,
    Kit,
    Numbers,
    Page,
    Rows,
    Score,
    Stated,
    System,
    View,
    later,
)
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.loading import builtin_names
from fieldworthy.robot.model.machine import Mechanism
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical
from fieldworthy.systems.air.check import check as judge
from fieldworthy.units import digits, labelled

_AIR = (
    "Compressed air: never charge above the rated pressure of the weakest part; wear eye protection.",
    "Release all air before you work on the robot.",
)


def cautions_of(robot: Robot) -> tuple[str, ...]:
    """What to heed where there are tanks."""
    return _AIR if robot.air.tanks else ()


def kit(robot: Robot) -> Kit:
    """What is checked and packed for cylinders and tanks; a cylinder moves once its tank is full, and not before."""
    air = robot.air
    counted = Counter[str]()
    for cylinder in air.cylinders.values():
        counted[cylinder.cylinder] += cylinder.count
    spares = tuple(f"{name} (it has {count})" for name, count in counted.items())
    if not air.tanks:
        return Kit(spares=spares)
    named = {cylinder.mechanism for cylinder in air.cylinders.values()}
    return Kit(
        off="Air out",
        charged=("Hands clear, eyes covered: charge every tank to the pressure in the table; listen for leaks.",),
        closing=("Charge again, read the gauge, and close the valve, right before the match.",),
        waiting=frozenset(
            name for name, mechanism in robot.mechanisms.items() if _moved_by_air(mechanism, name in named)
        ),
        spares=(*spares, "valve, tubing and fittings, valve stem"),
        inspected=(
            "Read the gauge with the tanks full; it holds for a minute.",
            "A release valve can be reached from outside; all air leaves when it is opened.",
            "Every tank, tube and cylinder is of a kind that the rules allow, and none is damaged.",
        ),
    )


def _moved_by_air(mechanism: Mechanism, named: bool) -> bool:
    """Whether a mechanism names a cylinder, itself or in a part of it, or has no motors and is named by one."""
    parts = (mechanism, *(getattr(mechanism, f.name) for f in fields(mechanism)))
    alone = named and not getattr(mechanism, "motors", ())
    return alone or any(getattr(part, "cylinder", None) for part in parts)


def numbers(robot: Robot, report: Report, shown: DisplayUnits) -> Numbers:
    """What every tank is charged to, below which pressure each cylinder fails, and what the plan leaves."""
    air = robot.air
    if not air.tanks:
        return Numbers()
    charges = []
    for name, tank in air.tanks.items():
        charge = air.supply.charge if tank.charge is None else tank.charge
        feeds = ", ".join(n for n, c in air.cylinders.items() if c.tank == name) or "nothing"
        charges.append((name, shown.number(charge, "pressure"), feeds))
    tables = [Rows("Charge every tank", ("Tank", "Charge to", "Feeds"), (1.0, 1.0, 2.2), tuple(charges))]
    found = {(f.id, f.subject): f for f in report.findings if f.limit is not None}
    needs = [(n, f) for n in air.cylinders if (f := found.get((f"air.pressure.{n}", f"cylinder {n}"))) is not None]
    if needs:
        rows = tuple((name, _with_unit(f.limit, f.unit), _with_unit(f.value, f.unit)) for name, f in needs)
        heads = ("Mechanism", "Fails below", "Plan leaves", "Verdict")
        verdicts = tuple(f.verdict for _, f in needs)
        tables.append(Rows("Below this it fails", heads, (1.25, 1.15, 1.15, 1.0), rows, verdicts))
    left = (item for item in report.facts if item.id.startswith("air.tank."))
    between = (
        f"Tank '{item.subject.removeprefix('tank ')}' ends the plan at {_with_unit(item.value, item.unit)}: "
        "charge it again."
        for item in left
    )
    return Numbers(tuple(tables), tuple(between))


def left(report: Report) -> tuple[float | None, str]:
    """What is left in the emptiest tank."""
    tanks = [fact for fact in report.facts if fact.id.startswith("air.tank.") and fact.value is not None]
    return min((fact.value or 0.0 for fact in tanks), default=None), next((fact.unit for fact in tanks), "")


def _with_unit(value: float | None, unit: str) -> str:
    return "–" if value is None else labelled(digits(value), unit)


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """A cylinder that lacks pressure is slow, too."""
    return {f"air.time.{name}": (f"air.pressure.{name}",) for name in robot.air.cylinders}


def _pair(room: Room) -> KeyPath:
    """Two tanks, each with a circuit of its own."""
    kind = builtin_names("tanks")[0]
    names = [room.add(("air", "tanks"), wanted, {"tank": kind}) for wanted in ("left", "right")]
    x, y = room.reach
    room.part("tanks", 0.16, (-0.5 * x, 0, 0.1), (0.16, 1.2 * y, 0.04))
    return ("air", "tanks", names[0])


SYSTEM = System(
    name="air",
    package=__name__,
    shelf=(Typical("tank pair", "Two tanks of 200 mL, each with a circuit of its own.", _pair, ("air", "tanks")),),
    check=judge,
    families={"air": "whether every cylinder still has the pressure that it needs when the plan uses it"},
    page=Page(
        title="Air",
        question="Does every cylinder still have the pressure it needs at the end of the plan?",
        formulas=(("draw", ""), ("flow", "")),
        caution="Never charge above the rated pressure of the weakest part. Wear eye protection. Let all air out "
        "before you work on the robot.",
        telling=("air.layout", "air.tank"),
    ),
    figures=later("fieldworthy.systems.air.figure:figures"),
    view=View(
        name="air",
        label="Air",
        purpose="Pressure in each tank along the plan, and which cylinder draws from which tank.",
        caution="Compressed air can hurt: release it before you work on the robot, wear eye protection, stay below the "
        "rated pressure of the weakest part, and keep to the event's own rules.",
        words=("gauge pressure", "regulator", "dead volume"),
        empty="This robot has no cylinders. In Build, add a tank and a cylinder.",
    ),
    shown=later("fieldworthy.systems.air.figure:shown"),
    dangerous=("air.rating",),
    inspected={"air.rating": "Pressure against the weakest part's rating"},
    kit=kit,
    numbers=numbers,
    scores=(
        Score(
            "air", "gauge pressure left in the emptiest tank, as a share of the highest among the alternatives", left
        ),
    ),
    drains=(Drain("air.tank.", "limits.charge_pressure", "air that the plan takes from {0}"),),
    cautions=cautions_of,
    follows=follows,
    constants=Constants(
        (Stated("air.supply.charge", "air/charge", "gauge pressure at the start of a match"),),
        (
            Found("air.pressure.*", "need", "air/{0}/pressure least", "below this gauge pressure '{0}' fails"),
            Found(
                "air.time.*",
                "value",
                "air/{0}/stroke time",
                "slower stroke of '{0}' in the plan, at its slowest",
            ),
            Found(
                "air.strokes.*",
                "value",
                "air/{0}/strokes",
                "strokes of '{0}' out and back from a full tank",
                counted=True,
            ),
        ),
    ),
)

__all__ = ["SYSTEM"]
