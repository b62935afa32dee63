"""The inspection sheet: the season's limits against the robot, item by item, with blanks for hand measurements."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fieldworthy.engine.finding import Finding, Report, Verdict
from fieldworthy.report.blocks import Block, Mark, Paper, Para, Points, Section, Size, Table
from fieldworthy.report.numbers import chance, span, with_unit
from fieldworthy.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.units import unit_label

_RULES = {
    "limits.motor_power": "Power of all motors, as the rules count it",
    "limits.motors": "Number of motors",
    "limits.mass": "Mass",
    "limits.stowed_size": "Size at the start",
    "limits.stowed_size.length": "Length at the start",
    "limits.stowed_size.width": "Width at the start",
    "limits.stowed_size.height": "Height at the start",
    "limits.extended_size.length": "Length in the match",
    "limits.extended_size.width": "Width in the match",
    "limits.extended_size.height": "Height in the match",
    "limits.tanks": "Number of air tanks",
    "limits.charge_pressure": "Charge pressure",
    "air.rating": "Pressure against the weakest part's rating",
}
"""What an inspector looks at, in this order, by the finding that says it."""
_NAMES = {
    "motor_power": "motor power", "motors": "number of motors", "mass": "mass", "stowed_size": "size at the start",
    "extended_size": "size in the match", "tanks": "number of air tanks", "charge_pressure": "charge pressure",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Item:
    """One line of the sheet.

    Attributes
    ----------
    rule : What is limited
    subject : Which pose, tank or part; empty for the whole robot
    allowed, found : Numbers with their unit
    span : Where 95 % of the cases lie; empty where it does not vary
    chance : That it holds
    verdict : Of the robot
    unit : In which it is measured; empty for a count
    """

    rule: str
    subject: str
    allowed: str
    found: str
    span: str
    chance: str
    verdict: Verdict
    unit: str


@dataclass(frozen=True, slots=True)
class Inspection:
    """An inspection sheet.

    Attributes
    ----------
    robot, season : Their names
    answer : All of it in a sentence or two
    items : What the file can be held against
    unlimited : What the season file sets no limit for
    by_hand : What must be looked at or measured on the robot itself
    cautions : What can hurt
    """

    robot: str
    season: str
    answer: str
    items: tuple[Item, ...]
    unlimited: tuple[str, ...]
    by_hand: tuple[str, ...]
    cautions: tuple[str, ...]


def inspection(report: Report, robot: Robot, season: Season) -> Inspection:
    """Hold the season's limits against a robot."""
    order = list(_RULES)
    found = sorted((f for f in report.findings if f.id in _RULES), key=lambda f: (order.index(f.id), f.subject))
    free = tuple(word for name, word in _NAMES.items() if getattr(season.limits, name) is None)
    items = tuple(_item(f) for f in found)
    return Inspection(report.robot, report.season, answer(items, free), items, free, _by_hand(robot), report.cautions)


def answer(items: Sequence[Item], unlimited: Sequence[str] = ()) -> str:
    """Say whether the robot may enter, as far as the file tells."""
    named = {v: [_name(i) for i in items if i.verdict == v] for v in ("short", "close", "unknown")}
    if named["short"]:
        verb = "exceeds" if len(named["short"]) == 1 else "exceed"
        first = f"The robot cannot be entered as described: {_list(named['short'])} {verb} what is allowed."
    elif named["close"]:
        first = "The robot keeps every limit as described, but not surely: measure first what is close."
    elif named["unknown"] or not items:
        first = "The file and the season do not say enough for an answer."
    else:
        first = "The robot keeps every limit that the season states, as described."
    said = [first]
    if named["close"]:
        said.append(f"Close: {_list(named['close'])}.")
    if named["unknown"]:
        said.append(f"Not judged: {_list(named['unknown'])}.")
    if unlimited:
        said.append(f"Without a limit in the season file: {_list(list(unlimited))}.")
    return " ".join(said)


def _name(item: Item) -> str:
    return f"{item.rule[:1].lower()}{item.rule[1:]}{f' ({item.subject})' if item.subject else ''}"


def _list(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def _item(finding: Finding) -> Item:
    subject = "" if finding.subject == "robot" else finding.subject
    allowed, found = with_unit(finding.limit, finding.unit), with_unit(finding.value, finding.unit)
    known = "" if finding.verdict == "unknown" else span(finding)
    unit = "" if finding.unit in ("1", "") else unit_label(finding.unit)
    return Item(_RULES[finding.id], subject, allowed, found, known, chance(finding.chance), finding.verdict, unit)


def _by_hand(robot: Robot) -> tuple[str, ...]:
    """What no file knows."""
    listed = [
        "Weigh the whole robot, battery in, on the event's scale.",
        "Put it into the sizing box as it starts; let it open as far as it can and measure again.",
        "No sharp edges, no loose screws, nothing that can hook into another robot or damage the field.",
        "Cables are held and kept away from gears, chains and wheels.",
        "The battery is fastened, is not swollen or damaged, and can be taken out quickly.",
    ]
    if robot.air.tanks:
        listed += [
            "Read the gauge with the tanks full; it holds for a minute.",
            "A release valve can be reached from outside; all air leaves when it is opened.",
            "Every tank, tube and cylinder is of a kind that the rules allow, and none is damaged.",
        ]
    if robot.mechanisms:
        listed.append("Raised arms and stretched bands can be made safe before anyone reaches in.")
    if any(pose.use == "climb" for pose in robot.poses.values()):
        listed.append("Nobody stands beneath the robot when it shows how it hangs.")
    return tuple(listed)


def as_paper(sheet: Inspection, date: str = "", size: Size = "a4") -> Paper:
    """Lay an inspection sheet out."""
    rows = [
        [
            Mark(i.rule, "bold") if not i.subject else f"{i.rule}, {i.subject}",
            i.allowed,
            i.found + (f" ({i.span})" if i.span else ""),
            Mark(i.verdict, i.verdict),
            i.chance,
            Mark(i.unit, "blank"),
        ]
        for i in sheet.items
    ]
    blocks: list[Block] = [
        Para(sheet.answer, "lead"),
        Para("Computed from the team's file; in brackets where 95 % of robots built to its tolerances lie. "
             "The column on the right is for what the scale, the box and the gauge say."),
        Table(("Rule", "Allowed", "This robot", "Verdict", "Holds in", "Measured"), rows,
              (3.1, 1.2, 2.4, 1.2, 1.0, 1.5), (1, 2, 4)),
    ]  # fmt: skip
    sections = [
        Section("Limits of the season", blocks, new_page=False),
        Section("To be looked at and measured by hand", [Points(sheet.by_hand, "boxes")], new_page=False),
        Section("Cautions", [Points(sheet.cautions, "caution"), _signed()], new_page=False),
    ]
    return Paper(f"Inspection: {sheet.robot}", f"Season {sheet.season}", (), date, sections, "sheet", size)


def _signed() -> Table:
    return Table((), [[Mark("inspected by", "blank"), Mark("for the team", "blank"), Mark("date, time", "blank")]],
                 (2, 2, 1))  # fmt: skip
