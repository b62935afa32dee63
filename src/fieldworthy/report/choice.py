"""The decision between variants, as pages: alternatives, criteria, matrix, forecast, flip point, recommendation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fieldworthy.decide import figure as drawn
from fieldworthy.decide.compare import Chance, Comparison, Difference, Interval
from fieldworthy.decide.matrix import Criterion, Matrix, argument, criteria, leading
from fieldworthy.decide.recommend import Ability, Hours, by_rule
from fieldworthy.drawing.style import Style
from fieldworthy.engine.finding import Report
from fieldworthy.report.blocks import Block, Cell, Head, Mark, Para, Picture, Points, Section, Table, with_unit
from fieldworthy.report.formulas import Words, on_paper
from fieldworthy.robot import Loaded


@dataclass(frozen=True, slots=True)
class Decision:
    """What there is to decide.

    Attributes
    ----------
    variants : The alternatives, in the order of the files
    reports : What the checks found on each
    found : What the matches and the checks say
    matrix : Criteria with the team's weights
    """

    variants: tuple[Loaded, ...]
    reports: tuple[Report, ...]
    found: Comparison
    matrix: Matrix


def choice(decision: Decision, style: Style, *, follows: bool = False) -> list[Section]:
    """Lay a decision out; one that follows the change log begins no page."""
    names = ", ".join(decision.matrix.names)
    return [
        Section(
            f"The decision: {names}",
            [*_alternatives(decision), *_criteria(decision.matrix, decision.found), *_used(decision)],
            new_page=not follows,
        ),
        Section(
            "The decision: forecast and recommendation",
            _forecast(decision.found, style, Words(decision.variants[0], *decision.reports)),
            new_page=False,
        ),
    ]


def alternatives_table(decision: Decision) -> Table:
    """Name the alternatives, with what is short on each."""
    rows: list[list[Cell]] = []
    for name, loaded, report in zip(decision.matrix.names, decision.variants, decision.reports, strict=True):
        counts = f"{len(report.short)} short of {len(report.findings)}"
        rows.append([Mark(name, "bold"), loaded.nominal.about or "–", counts])
    return Table(("Robot", "What it is", "Checks"), rows, (1.6, 5.4, 1.4))


def _alternatives(decision: Decision) -> list[Block]:
    blocks: list[Block] = [
        Head("Alternatives"),
        alternatives_table(decision),
        Head("What each can do"),
        _abilities(decision.found.can_do, decision.matrix.names),
        Head("Work and time"),
        Points([_hours(h) for h in decision.found.hours]),
    ]
    return blocks


def _abilities(able: Sequence[Ability], names: Sequence[str]) -> Table:
    tasks = list(dict.fromkeys(a.task for a in able))
    found = {(a.task, a.variant): a for a in able}
    rows: list[list[Cell]] = [[task, *(_can(found.get((task, name))) for name in names)] for task in tasks]
    return Table(("Task", *names), rows, (2.0, *([2.4] * len(names))))


def _can(ability: Ability | None) -> str:
    if ability is None:
        return "–"
    if not ability.can:
        return f"no: nothing can {', '.join(ability.lacks)}"
    by = f" ({', '.join(ability.by)})" if ability.by else ""
    return f"yes{by}{'' if ability.planned else ', not in its plan'}"


def _hours(hours: Hours) -> str:
    left = "how many are left is not given" if hours.left is None else f"{hours.left:.1f} h are left"
    spread = f" ± {hours.tolerance:.1f}" if hours.tolerance else ""
    enough = {"yes": ": enough", "perhaps": ": perhaps enough", "no": ": not enough", None: ""}[hours.enough]
    return f"{hours.variant}: {hours.needed:.1f}{spread} h of work, {left}{enough}."


def _criteria(matrix: Matrix, found: Comparison) -> list[Block]:
    rows: list[list[Cell]] = []
    for row in matrix.criteria:
        cells = [_scored(row, i) for i in range(len(matrix.names))]
        weight = f"{row.weight:g}" if row.counts else f"{row.weight:g}, not counted" if row.weight else "0"
        rows.append([Mark(row.name, "bold"), criteria()[row.name], weight, *cells])
    totals = [Mark(f"{total:.2f}", "bold") for total in matrix.totals]
    rows.append([Mark("total", "bold"), "weighted mean, 0 to 1", "", *totals])
    told = (
        "The numbers come from the model; each is turned into a score from 0 to 1, shown behind it. The weights are "
        "the team's own. A row that is not known for every alternative does not count. The recommendation below "
        "looks at points and hours alone."
    )
    widths = (1.3, 3.6, 0.9, *([1.7] * len(matrix.names)))
    right = (2, *range(3, 3 + len(matrix.names)))
    heads = ("Criterion", "What its score means", "Weight", *matrix.names)
    return [
        Head("Matrix"),
        Para(told),
        Table(heads, rows, widths, right),
        Para(leading(matrix), "bold"),
        Para(argument(matrix, found), "bold"),
    ]


def _used(decision: Decision) -> list[Block]:
    """What of the season's limits each uses up, where they differ."""
    names = decision.matrix.names
    rows: list[list[Cell]] = []
    for words, used in by_rule(decision.found.limits_used).items():
        one, by = used[0], {u.variant: u for u in used}
        cells = [with_unit(by[n].used, one.unit) if n in by else "–" for n in names]
        if len(set(cells)) > 1:
            rows.append([words, with_unit(one.allowed, one.unit), *cells])
    if not rows:
        return []
    widths = (2.6, 1.4, *([1.7] * len(names)))
    right = range(1, 2 + len(names))
    return [
        Head("Used of what is allowed, where they differ"),
        Table(("Limit", "Allowed", *names), rows, widths, right),
    ]


def _scored(row: Criterion, i: int) -> str:
    value, score = row.values[i], row.scores[i]
    number = with_unit(value, row.unit) if row.unit not in ("points", "%") else f"{value or 0.0:.1f}"
    return f"{number}  →  {score:.2f}" if score is not None else number


def _forecast(found: Comparison, style: Style, words: Words) -> list[Block]:
    blocks: list[Block] = []
    for gap, span, chance in zip(found.difference, found.interval, found.chance, strict=True):
        blocks.append(Para(_gap(gap, span, chance)))
    blocks.append(Picture(drawn.differences(found, style), 0.2))
    for flip in found.flip:
        figure = drawn.flip(flip, style)
        blocks += [Head("Where the answer turns"), Para(flip.sentence)]
        if figure is not None:
            blocks.append(Picture(figure, 0.3))
    blocks += [Head("Recommendation"), *recommended(found, words), Head("What would change it")]
    blocks.append(Points(_changing(found)))
    return [*blocks, *_work(found), *_judged(found)]


def recommended(found: Comparison, words: Words) -> list[Block]:
    """The choice in large letters, then what it rests on and what would turn it, one thought each."""
    chosen, *grounds = (on_paper(words.text(thought)) for thought in found.thoughts)
    return [Para(chosen, "lead"), *([Points(grounds)] if grounds else [])]


_JOBS = 5  # told on the page


def _work(found: Comparison) -> list[Block]:
    """What to do in the hours left, by points gained an hour."""
    if found.work is None:
        return []
    jobs = [Points([on_paper(job.sentence) for job in found.work.jobs[:_JOBS]])] if found.work.jobs else []
    left = "" if found.work.left is None else f" in the {found.work.left:g} h left"
    return [Head(f"What to do{left}, by points gained an hour"), *jobs, Para(found.work.told)]


def _judged(found: Comparison) -> list[Block]:
    """Findings that are judged otherwise; one that only one robot has is told where it is short."""
    rows: list[list[Cell]] = [
        [c.because, _verdict(c.first), _verdict(c.then)]
        for c in found.findings_changed
        if (c.first and c.then) or "short" in (c.first, c.then)
    ]
    if not rows:
        return []
    first, *others = found.difference[0].first, found.difference[0].variant
    alone = len(found.difference) == 1
    heads = (f"Result of {others[0]}, where it has one" if alone else "Result", first, others[0] if alone else "then")
    return [Head("What is judged otherwise"), Table(heads, rows, (6.4, 1.3, 1.3), (), True)]


def _gap(gap: Difference, span: Interval, chance: Chance) -> str:
    return (
        f"{gap.variant} scores {gap.points:.1f} points on average, {gap.first} {gap.first_points:.1f}, over the same "
        f"{gap.runs} matches (seed {gap.seed}): {gap.difference:+.1f}, between {span.low:+.1f} and "
        f"{span.high:+.1f} (95 %, over what is not known of the robots). "
        f"{gap.variant} is better in {100 * chance.match:.0f} % of the matches, equal in "
        f"{100 * chance.equal:.0f} %."
    )


def _verdict(verdict: str | None) -> Cell:
    match verdict:
        case "short" | "close" | "holds" | "unknown":
            return Mark(verdict, verdict)
    return "absent"


def _changing(found: Comparison) -> list[str]:
    lines = [
        f"A success chance of '{f.action}' with {f.variant} on the other side of {100 * f.chance:.0f} %."
        for f in found.flip
        if f.action is not None and f.chance is not None
    ]
    lines += [
        f"{h.variant} taking longer than the {h.left:.1f} h that are left (it needs {h.needed:.1f} h)."
        for h in found.hours
        if h.left is not None and h.needed > 0
    ]
    return lines or ["Nothing that the model knows of: neither a success chance nor the hours turn the answer."]
