"""What is carried to the event: the pit card of one page, and the inspection sheet with its blanks."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from fieldworthy.engine.finding import DisplayUnits, Fact, Finding, Report, Verdict, first
from fieldworthy.engine.system import systems
from fieldworthy.measure.practice import Risk
from fieldworthy.report.blocks import (
    Block,
    Cell,
    Head,
    Mark,
    Paper,
    Para,
    Points,
    Section,
    Side,
    Size,
    Table,
    chance,
    items_of,
    span,
    with_unit,
)
from fieldworthy.report.typeset import pages
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.machine import Mechanism
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.units import unit_label

_SAFE = "{out}, hands clear: look for loose screws, cables and tubes."
_CHARGE = "Hands clear, eyes covered: charge every tank to the pressure in the table; listen for leaks."
_AGAIN = "Charge again, read the gauge, and close the valve, right before the match."
_SCALES = (1.2, 1.13, 1.06, 1.0, 0.94, 0.88, 0.82)
_SHORTER = (14, 10, 7, 5, 3, 1)
_LEAST = 0.05  # points; what costs less is not told
_HANDS = "Screws of wheels, gears and motors: hand tight, none turns (common practice, no source)"


@dataclass(frozen=True, slots=True)
class Asked:
    """What else goes on a card.

    Attributes
    ----------
    date : Year, month and day; empty for none
    first : Checks that the fault log puts first
    size : Of the page
    """

    date: str = ""
    first: tuple[str, ...] = ()
    size: Size = "a4"


def card(loaded: Loaded, report: Report, asked: Asked) -> Paper:
    """Lay a pit card out."""
    robot, shown = loaded.nominal, DisplayUnits.of(loaded.quantities)
    found = {(i.id, i.subject): i for i in items_of(report)}
    left: list[Block] = [*_air(robot, found, shown), *_rest(found)]
    right: list[Block] = [_head("Checks, in this order"), Points(checks(robot, report, asked.first), "boxes")]
    day = f", {asked.date}" if asked.date else ""
    match = Table((), [[Mark("match", "blank"), Mark("at", "blank"), Mark("checked by", "blank")]], (1, 1, 2))
    below: list[Block] = [
        Side([[_head("Spares in the box"), Points(spares(robot))],
              [_head("Torque and tension"), Points(tensions(robot, report, shown))]], (1.0, 1.15)),
        _head("Cautions"),
        Points(report.cautions, "caution"),
    ]  # fmt: skip
    sections = [Section("Before the match", [match, Side([left, right], (1.25, 1.0)), *below], new_page=False)]
    return Paper(
        f"Pit card: {report.robot}", f"Season {report.season}{day}", (), asked.date, sections, "card", asked.size
    )


def _head(text: str) -> Block:
    return Head(text)


def _air(robot: Robot, found: dict[tuple[str, str], Finding | Fact], shown: DisplayUnits) -> list[Block]:
    air = robot.air
    if not air.tanks:
        return []
    rows: list[list[Cell]] = []
    for name, tank in air.tanks.items():
        charge = air.supply.charge if tank.charge is None else tank.charge
        feeds = ", ".join(n for n, c in air.cylinders.items() if c.tank == name) or "nothing"
        rows.append([Mark(name, "bold"), Mark(shown.number(charge, "pressure"), "bold"), feeds])
    blocks: list[Block] = [_head("Charge every tank"), Table(("Tank", "Charge to", "Feeds"), rows, (1.0, 1.0, 2.2))]
    lines = [line for line in (_need(name, found) for name in air.cylinders) if line]
    if lines:
        blocks += [
            _head("Below this it fails"),
            Table(("Mechanism", "Fails below", "Plan leaves", "Verdict"), lines, (1.25, 1.15, 1.15, 1.0), (1, 2)),
        ]
    return blocks


def _need(name: str, found: dict[tuple[str, str], Finding | Fact]) -> list[Cell] | None:
    item = found.get((f"air.pressure.{name}", f"cylinder {name}"))
    if not isinstance(item, Finding) or item.limit is None:
        return None
    left = with_unit(item.value, item.unit)
    return [Mark(name, "bold"), Mark(with_unit(item.limit, item.unit), "bold"), left, Mark(item.verdict, item.verdict)]


def _rest(found: dict[tuple[str, str], Finding | Fact]) -> list[Block]:
    """What happens between two matches."""
    lines = []
    cool = found.get(("drive.cool_down", "drive motors"))
    if cool is not None:
        lines.append(f"Let the drive motors cool for {with_unit(cool.value, cool.unit)} at least.")
    battery = found.get(("drive.battery", "battery"))
    if isinstance(battery, Finding) and battery.value is not None and battery.limit:
        share = battery.value / battery.limit
        lines.append(
            f"Driving takes {with_unit(battery.value, battery.unit)} of {with_unit(battery.limit, battery.unit)} "
            f"({100 * share:.0f} %); put a full battery in for every match all the same."
        )
    else:
        lines.append("Put a full battery in for every match.")
    lines += [
        f"Tank '{i.subject.removeprefix('tank ')}' ends the plan at {with_unit(i.value, i.unit)}: charge it again."
        for (identifier, _), i in found.items()
        if identifier.startswith("air.tank.")
    ]
    return [_head("Between matches"), Points(lines)]


def fault(risk: Risk, points: float | None = None) -> str:
    """Write a fault as a thing to check."""
    often = "once" if risk.times == 1 else f"{risk.times} times"
    cost = "" if points is None or points < _LEAST else f", costs {points:.1f} points a match"
    return f"{risk.where}: {risk.what} ({often}{cost})"


def checks(robot: Robot, report: Report, ahead: Sequence[str] = ()) -> tuple[str, ...]:
    """List what is checked before a match, in an order that can be done: by hand first, with air last."""
    tanks = bool(robot.air.tanks)
    listed = [_SAFE.format(out="Air out" if tanks else "Power off"), *ahead]
    listed.append("Wheels: turn free by hand, none rubs.")
    if robot.tracking is not None:
        wheels = ", ".join(robot.tracking.wheels)
        gyro = "; gyro still for its start" if robot.tracking.gyro is not None else ""
        listed.append(f"Tracking wheels ({wheels}): press on the floor and spin free.")
    else:
        gyro = ""
    listed.append(f"Battery full, plugged in and strapped down; radio and program on{gyro}.")
    listed.append("Drive: straight, and a turn both ways.")
    steps = {name: _step(name, mechanism, report) for name, mechanism in robot.mechanisms.items()}
    on_air = {name for name, mechanism in robot.mechanisms.items() if tanks and _moved_by_air(mechanism)}
    listed += [step for name, step in steps.items() if name not in on_air]
    if tanks:
        listed += [_CHARGE, *(step for name, step in steps.items() if name in on_air), _AGAIN]
    return tuple(listed)


def _step(name: str, mechanism: Mechanism, report: Report) -> str:
    steps = {kind: step for system in systems() for kind, step in system.card.items()}
    step = _warning(name, report) or steps.get(mechanism.kind, "{name}: moves once through, nothing rubs.")
    return step.replace("{name}", name)


def _moved_by_air(mechanism: Mechanism) -> bool:
    """Whether a mechanism names a cylinder, itself or in one of its parts."""
    parts = (mechanism, *(getattr(mechanism, f.name) for f in dataclasses.fields(mechanism)))
    return any(getattr(part, "cylinder", None) for part in parts)


def _warning(name: str, report: Report) -> str:
    """What a mechanism cannot do as it is described, in place of a step that would say that all is well."""
    short = {finding.id for finding in report.findings if finding.margin is not None and finding.margin < 0.0}
    warnings = ((stem, said) for system in systems() for stem, said in system.warns.items())
    return next((said for stem, said in warnings if f"{stem}.{name}" in short), "")


def spares(robot: Robot) -> tuple[str, ...]:
    """List what lies ready in the box."""
    motors = Counter({robot.drive.motor: robot.drive.motors})
    for (_, kind), count in robot.all_motors().items():
        motors[kind] += count
    listed = ["charged battery"]
    listed += [f"{name} (it has {count})" for name, count in motors.items()]
    listed += sorted({wheel.wheel for wheel in robot.drive.wheels.values()})
    cylinders = Counter[str]()
    for cylinder in robot.air.cylinders.values():
        cylinders[cylinder.cylinder] += cylinder.count
    listed += [f"{name} (it has {count})" for name, count in cylinders.items()]
    if robot.air.tanks:
        listed.append("valve, tubing and fittings, valve stem")
    kinds = {type(mechanism) for mechanism in robot.mechanisms.values()}
    listed += [spare for system in systems() if kinds & set(system.kinds) for spare in system.spares]
    listed.append("screws, nuts, shaft collars, cable, tape")
    return tuple(listed)


def tensions(robot: Robot, report: Report, shown: DisplayUnits) -> tuple[str, ...]:
    """List what is tightened or stretched, and to what."""
    listed = [_HANDS]
    for chain in (i for i in report.facts if i.id.startswith("intake.chain_built.")):
        first_sentence = chain.because.partition(". ")[0]
        listed.append(f"{chain.subject}: {first_sentence[:1].lower()}{first_sentence[1:]}")
    for name, spec in robot.mechanisms.items():
        for label, band in getattr(spec, "bands", {}).items():
            free = shown.number(band.free_length, "length")
            listed.append(f"{name}, band '{label}': {band.count}, {free} long unstretched; change frayed ones")
        toggle = getattr(spec, "toggle", None)
        if toggle is not None:
            past = shown.number(toggle.past, "length")
            listed.append(
                f"{name}: its knee stops {past} past the centre, preload {shown.number(toggle.preload, 'force')}"
            )
    if robot.tracking is not None:
        for name, wheel in robot.tracking.wheels.items():
            listed.append(f"tracking wheel {name}: pressed down with {shown.number(first(wheel.down_force), 'force')}")
    return tuple(listed)


def fitted(paper: Paper) -> Paper:
    """Make a card fit its page: smaller letters first, then shorter lists."""
    for scale in _SCALES:
        tried = dataclasses.replace(paper, scale=scale)
        if pages(tried) == 1:
            return tried
    for most in _SHORTER:
        tried = dataclasses.replace(shortened(paper, most), scale=_SCALES[-1])
        if pages(tried) == 1:
            break
    return tried


def shortened(paper: Paper, most: int) -> Paper:
    """Cut the lists of a card."""

    def cut(block: Block) -> Block:
        if isinstance(block, Points) and block.look != "caution" and len(block.items) > most:
            rest = len(block.items) - most
            return dataclasses.replace(block, items=[*block.items[:most], f"and {rest} more: see the notebook"])
        if isinstance(block, Table) and len(block.rows) > most:
            empty: list[Cell] = [""] * (len(block.widths) - 1)
            rows = [*block.rows[:most], [f"and {len(block.rows) - most} more", *empty]]
            return dataclasses.replace(block, rows=rows)
        if isinstance(block, Side):
            return dataclasses.replace(block, columns=[[cut(b) for b in column] for column in block.columns])
        return block

    sections = [dataclasses.replace(s, blocks=[cut(b) for b in s.blocks]) for s in paper.sections]
    return dataclasses.replace(paper, sections=sections)


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
