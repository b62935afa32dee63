"""What is carried to the event: the pit card of one page, and the inspection sheet with its blanks."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fieldworthy.engine.finding import DisplayUnits, Finding, Report, Verdict
from fieldworthy.engine.system import Kit, Rows, systems
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
    span,
    with_unit,
)
from fieldworthy.report.typeset import pages
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.machine import Mechanism
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.units import often, unit_label

_SAFE = "{out}, hands clear: look for loose screws, cables and tubes."
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
    against : Where practice says that something works and physics that it cannot
    """

    date: str = ""
    first: tuple[str, ...] = ()
    size: Size = "a4"
    against: tuple[str, ...] = ()


def card(loaded: Loaded, report: Report, asked: Asked) -> Paper:
    """Lay a pit card out."""
    robot, shown = loaded.nominal, DisplayUnits.of(loaded.quantities)
    numbers = [system.numbers(robot, report, shown) for system in systems()]
    tensions = [_HANDS, *(line for told in numbers for line in told.tensions)]
    left: list[Block] = [block for told in numbers for table in told.tables for block in _table(table)]
    if asked.against:
        left += [_head("Practice against the check"), Points(asked.against)]
    left += [_head("Between matches"), Points([line for told in numbers for line in told.between])]
    right: list[Block] = [_head("Checks, in this order"), Points(checks(robot, report, asked.first), "boxes")]
    # without air there are no tables on the left: the shorter column takes what is left
    (right if any(told.tables for told in numbers) else left).extend([_head("Torque and tension"), Points(tensions)])
    day = f", {asked.date}" if asked.date else ""
    match = Table((), [[Mark("next match", "blank"), Mark("at", "blank"), Mark("checked by", "blank")]], (1, 1, 2))
    below: list[Block] = [
        _head("Spares in the box"),
        Points(spares(robot), "run"),
        _head("Cautions"),
        Points(report.cautions, "caution"),
    ]  # fmt: skip
    sections = [Section("Before the match", [match, Side([left, right], (1.0, 1.06)), *below], new_page=False)]
    return Paper(
        f"Pit card: {report.robot}", f"Season {report.season}{day}", (), asked.date, sections, "card", asked.size
    )


def _head(text: str) -> Block:
    return Head(text)


def _table(table: Rows) -> list[Block]:
    rows: list[list[Cell]] = [[*(Mark(cell, "bold") for cell in row[:2]), *row[2:]] for row in table.rows]
    for row, verdict in zip(rows, table.verdicts, strict=False):
        row.append(Mark(verdict, verdict))
    right = (1, 2) if table.verdicts else ()
    return [_head(table.title), Table(table.heads, rows, table.widths, right)]


def fault(risk: Risk, points: float | None = None) -> str:
    """Write a fault as a thing to check."""
    cost = "" if points is None or points < _LEAST else f", costs {points:.1f} points a match"
    return f"{risk.where}: {risk.what} ({often(risk.times)}{cost})"


def checks(robot: Robot, report: Report, ahead: Sequence[str] = ()) -> tuple[str, ...]:
    """List what is checked before a match, in an order that can be done: by hand first, with air last."""
    kits = [system.kit(robot) for system in systems()]
    off = next((kit.off for kit in kits if kit.off), "Power off")
    on = "; ".join(["Battery full, plugged in and strapped down", "radio and program on", *_all(kits, "switched_on")])
    steps = {name: _step(name, mechanism, report) for name, mechanism in robot.mechanisms.items()}
    waiting = frozenset[str]().union(*(kit.waiting for kit in kits))
    return (
        _SAFE.format(out=off),
        *ahead,
        *_all(kits, "by_hand"),
        f"{on}.",
        *_all(kits, "moved"),
        *(step for name, step in steps.items() if name not in waiting),
        *_all(kits, "charged"),
        *(step for name, step in steps.items() if name in waiting),
        *_all(kits, "closing"),
    )


def _all(kits: Iterable[Kit], name: str) -> list[str]:
    return [line for kit in kits for line in getattr(kit, name)]


def _step(name: str, mechanism: Mechanism, report: Report) -> str:
    steps = {kind: step for system in systems() for kind, step in system.card.items()}
    step = _warning(name, report) or steps.get(mechanism.kind, "{name}: moves once through, nothing rubs.")
    return step.replace("{name}", name)


def _warning(name: str, report: Report) -> str:
    """What a mechanism cannot do as it is described, in place of a step that would say that all is well."""
    short = {finding.id for finding in report.findings if finding.margin is not None and finding.margin < 0.0}
    warnings = ((stem, said) for system in systems() for stem, said in system.warns.items())
    return next((said for stem, said in warnings if f"{stem}.{name}" in short), "")


def spares(robot: Robot) -> tuple[str, ...]:
    """List what lies ready in the box."""
    kinds = {type(mechanism) for mechanism in robot.mechanisms.values()}
    own = (spare for system in systems() if kinds & set(system.kinds) for spare in system.spares)
    carried = _all([system.kit(robot) for system in systems()], "spares")
    return ("charged battery", *carried, *own, "screws, nuts, shaft collars, cable, tape")


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


def _inspected() -> dict[str, str]:
    """What an inspector looks at by the finding that says it: the season's limits first, which are the last system."""
    return {identifier: rule for system in reversed(systems()) for identifier, rule in system.inspected.items()}


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
    rules = _inspected()
    order = list(rules)
    found = sorted((f for f in report.findings if f.id in rules), key=lambda f: (order.index(f.id), f.subject))
    items = tuple(_item(f, rules[f.id]) for f in found)
    free = season.limits.absent()
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


def _item(finding: Finding, rule: str) -> Item:
    subject = "" if finding.subject == "robot" else finding.subject
    allowed, found = with_unit(finding.limit, finding.unit), with_unit(finding.value, finding.unit)
    known = "" if finding.verdict == "unknown" else span(finding)
    unit = "" if finding.unit in ("1", "") else unit_label(finding.unit)
    return Item(rule, subject, allowed, found, known, chance(finding.chance), finding.verdict, unit)


def _by_hand(robot: Robot) -> tuple[str, ...]:
    """What no file knows."""
    listed = [
        "Weigh the whole robot, battery in, on the event's scale.",
        "Put it into the sizing box as it starts; let it open as far as it can and measure again.",
        "No sharp edges, no loose screws, nothing that can hook into another robot or damage the field.",
        "Cables are held and kept away from gears, chains and wheels.",
        "The battery is fastened, is not swollen or damaged, and can be taken out quickly.",
    ]
    if robot.mechanisms:
        listed.append("Raised arms and stretched bands can be made safe before anyone reaches in.")
    listed += _all([system.kit(robot) for system in systems()], "inspected")
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
             "A length is that to the farthest of several parts, so most robots come out a little longer than drawn. "
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
