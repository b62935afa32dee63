"""The engineering notebook: the whole reasoning about one robot, page by page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from fieldworthy.decide.remedy import Breakage, FoundRemedies, Remedy
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine import figure as drawn_margins
from fieldworthy.engine.context import Context
from fieldworthy.engine.figure import margins_of
from fieldworthy.engine.finding import DisplayUnits, Fact, Finding, Report, check_named
from fieldworthy.engine.system import systems
from fieldworthy.files import Quantity
from fieldworthy.files.document import dotted
from fieldworthy.match import Forecast, MatchClock, Scores
from fieldworthy.match import figure as drawn_match
from fieldworthy.match import figure as score
from fieldworthy.report.blocks import (
    Block,
    Cell,
    Formula,
    Head,
    Mark,
    Paper,
    Para,
    Picture,
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
from fieldworthy.report.export import heads, rows, totals
from fieldworthy.report.formulas import (
    HALF,
    SystemPage,
    Words,
    all_pages,
    belongs,
    figures_for,
    formula_of,
    formulas_for,
    named,
    on_paper,
    pages_of,
    put_in,
    put_in_on,
    robot_figure,
    slender,
    style_of,
    tall,
    telling,
    worth,
)
from fieldworthy.report.typeset import pages
from fieldworthy.robot import Loaded
from fieldworthy.units import counted, digits

Quantities = Mapping[str, Quantity]
"""Quantities of the files by their dotted key."""


def findings_table(findings: Sequence[Finding], most: int) -> list[Table | Points]:
    """Put findings into a table, the worst first."""
    doubtful = [f for f in findings if f.verdict != "holds" or (f.chance or 0.0) <= 0.99]
    shown = [f for f in findings if f in doubtful or len(doubtful) + findings.index(f) < most]
    rows: list[list[Cell]] = [[Mark(f.verdict, f.verdict), f.because, chance(f.chance)] for f in shown]
    blocks: list[Table | Points] = [Table(("Verdict", "Result", "Holds in"), rows, (1.05, 6.3, 1.0), (2,))]
    left = len(findings) - len(shown)
    if left:
        rest = "1 more holds" if left == 1 else f"{left} more hold"
        blocks.append(Points([f"{rest}, on over 99 % of the robots that the tolerances allow."]))
    return blocks


def inputs_of(items: Iterable[Finding | Fact], known: Quantities, most: int) -> list[str]:
    """Choose the inputs that matter most to several findings."""
    weight: dict[str, float] = {}
    for item in items:
        for place, key in enumerate(item.inputs):
            if key in known:
                weight[key] = weight.get(key, 0.0) + 1.0 / (1 + place)
    return sorted(weight, key=lambda k: -weight[k])[:most]


def inputs_table(keys: Sequence[str], known: Quantities, words: Words) -> Table:
    """Put inputs into a table with what they rest on."""
    rows: list[list[Cell]] = []
    for key in keys:
        q = known[key]
        basis = "assumed" if q.assumed else q.basis if q.tolerance else "stated as exact"
        rows.append([words.key(key), *words.value(key, q), basis])
    return Table(("Input", "Value", "Tolerance", "Rests on"), rows, (4.6, 1.2, 1.2, 1.6), (1, 2), small=True)


def what_follows(
    findings: Sequence[Finding], mendings: Mapping[tuple[str, str], FoundRemedies], words: Words
) -> list[str]:
    """Say what a team can do about what was found."""
    failing = [(f, mendings.get((f.id, f.subject))) for f in findings if f.fails]
    alike: dict[str, list[str]] = {}  # one change often mends several checks: it is told once
    for finding, mending in failing:
        if mending is not None:
            alike.setdefault(_mended(mending, words), []).append(_quoted(finding))
    lines = [f"For {_and(names)}: {told}" for told, names in alike.items()]
    open_ = [_quoted(f) for f, mending in failing if mending is None and f.verdict == "short"]
    if open_:
        lines.append(f"To change before the event: {_and(open_)}.")
    for finding in (f for f in findings if f.verdict == "unknown"):
        lacking = ", ".join(words.key(key) for key in finding.missing)
        lines.append(f"For {_quoted(finding)}: give {lacking} in the file, then it can be judged." if lacking else
                     finding.because)  # fmt: skip
    doubtful = [f for f in findings if f.verdict == "close"]
    if doubtful:
        listed = _and([f"{_quoted(f)} ({chance(f.chance)})" for f in doubtful])
        keys = dict.fromkeys(f.sharpen for f in doubtful if f.sharpen)
        measure = f" Measure first: {'; '.join(words.key(key) for key in keys)}." if keys else ""
        lines.append(f"Not sure enough: {listed}.{measure}")
    return lines or ["Nothing here is short or in doubt: spend the time elsewhere."]


def _quoted(item: Finding | Breakage) -> str:
    return check_named(item.id, item.subject).removeprefix("the check ")


def _mended(mending: FoundRemedies, words: Words) -> str:
    if mending.remedies:
        return f"{'; or '.join(_change(remedy) for remedy in mending.remedies[:2])}."
    return words.text(mending.answer)


def _change(remedy: Remedy) -> str:
    """A remedy, with what it would break: a change is no help where something else gives way."""
    told = f"{remedy.sentence[:1].lower()}{remedy.sentence[1:]} ({remedy.cost}"
    return f"{told}; but it breaks {broken_by(remedy)})" if remedy.breaks else f"{told}; it breaks nothing else)"


def broken_by(remedy: Remedy) -> str:
    """Name the checks that a change breaks, the first of them where they are many."""
    names = list(dict.fromkeys(_quoted(one) for one in remedy.breaks))
    left = len(names) - _BROKEN
    return f"the check{'s' * (len(names) > 1)} {_and([*names[:_BROKEN], *([f'{left} more'] if left > 0 else [])])}"


def _and(names: Sequence[str]) -> str:
    """Name several things in a row."""
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


JOB = "What this robot will do at its next event, and why we believe it."
_FACTS, _FINDINGS, _INPUTS = 2, 6, 5  # lines on a subsystem's page
_WIDE = (0.28, 0.42)  # of a page's height, for wide figures
_MENDED = 0.06  # less where changes are told below them
_ASSUMED = 11  # rows of defaults
_LESS = (0, 1, 2, 3, 4)  # rows of the lists of a page, by which it may be shorter
_MARGINS = 42  # in the figure of margins, at most
_ROWS = 60  # parts; a longer list leaves no room on its last page
_LEAST, _AXIS, _ROW = 0.3, 0.075, 0.0205  # of a page: what a figure of margins needs, its axis and each of its rows
_BROKEN = 3  # checks that a change breaks, by name


@dataclass(frozen=True, slots=True)
class Played:
    """What the match forecast gave.

    Attributes
    ----------
    forecast : Distribution and limits [SI]
    scores : How often each number of points came up
    clock : The times that a match is played to
    """

    forecast: Forecast
    scores: Scores | None
    clock: MatchClock


@dataclass(frozen=True, slots=True)
class Content:
    """All that a notebook is made of.

    Attributes
    ----------
    loaded : The robot with its season
    report : What the checks found
    job, date : What the person put on the cover; empty for none
    played : The match forecast; None without a plan
    mendings : Remedies, where they were looked for
    more : Pages of a comparison or of changes, made elsewhere
    size : Of the pages
    """

    loaded: Loaded
    report: Report
    job: str = ""
    date: str = ""
    played: Played | None = None
    mendings: tuple[FoundRemedies, ...] = ()
    more: Sequence[Section] = field(default=())
    size: Size = "a4"


def notebook(content: Content) -> Paper:
    """Lay a notebook out."""
    report, loaded = content.report, content.loaded
    context = Context(loaded.nominal, loaded.nominal_season)
    sections = [_robot(content, context), *_parts(content), _short(content)]
    sections += [_on_a_page(content, context, page) for page in pages_of(report)]
    if content.played is not None:
        sections += _match(content, content.played)
    sections += [*content.more, _assumed(content), _sources(report)]
    about = [content.job or JOB]
    if loaded.nominal.about:
        about.append(loaded.nominal.about)
    if content.date:
        about.append(f"Date: {content.date}")
    return Paper(report.robot, f"Engineering notebook, season {report.season}", about, content.date, sections,
                 "notebook", content.size, _cover(content))  # fmt: skip


def _cover(content: Content) -> list[Block]:
    report = content.report
    counts = {v: sum(f.verdict == v for f in report.findings) for v in ("short", "close", "unknown", "holds")}
    rows: list[list[Cell]] = [
        [Mark("short", "short"), str(counts["short"]), "checks fail for the robot as the file states it"],
        [Mark("close", "close"), str(counts["close"]), "checks are close: the tolerances decide"],
        [Mark("unknown", "unknown"), str(counts["unknown"]), "cannot be judged: the file does not say enough"],
        [Mark("holds", "holds"), str(counts["holds"]), "checks hold"],
    ]
    told = (
        f"Every number here is computed from the team's file by formulas that are named on their page. A chance is the "
        f"share of {report.samples} robots, built anywhere within the tolerances, on which a check holds (seed "
        f"{report.seed}). {counted(len(report.assumptions), 'default stands', 'defaults stand')} in for "
        "what the file does not say."
    )
    index: list[Block] = [Para("Where it stands", "bold"), _index(report)] if report.findings else []
    return [Table((), rows, (1.2, 0.5, 6.0), (1,)), Para(told, "quiet"), *index, Points(report.cautions, "caution")]


def _index(report: Report) -> Table:
    """Every subsystem with how many checks fail or are close, and its worst one in words."""
    rows_: list[list[Cell]] = []
    for page in pages_of(report):
        own = [f for f in report.findings if belongs(page, f)]
        if not own:
            continue
        worst = min(own, key=lambda f: (_WORST.index(f.verdict), f.chance if f.chance is not None else 1.0))
        counts = [str(sum(f.verdict == verdict for f in own) or "–") for verdict in ("short", "close")]
        because = worst.because if worst.verdict != "holds" else "all its checks hold"
        rows_.append([Mark(page.page.title, "page"), Mark(worst.verdict, worst.verdict), *counts, _first(because)])
    return Table(
        ("Subsystem, page", "Worst", "Short", "Close", "Its worst check"),
        rows_,
        (2.0, 1.0, 0.6, 0.6, 6.0),
        (2, 3),
        True,
    )


def _first(text: str) -> str:
    """The first sentence of several."""
    return text.split(". ", 1)[0].rstrip(".")


_WORST = ("short", "unknown", "close", "holds")


def _of_the_whole() -> set[str]:
    """Ids of facts about the robot as a whole."""
    return {identifier for system in systems() if system.page is not None for identifier in system.page.whole}


def _robot(content: Content, context: Context) -> Section:
    """The robot to scale, what it weighs and where it balances."""
    loaded = content.loaded
    blocks: list[Block] = [Picture(f, 0.78) for f in robot_figure(context, style_of(loaded))]
    centres = [f for f in content.report.facts if f.id in _of_the_whole()]
    if centres:
        blocks += [Head("Mass and centre of gravity, pose by pose"), Points([f.because for f in centres])]
    return Section("The robot", blocks)


def _parts(content: Content) -> list[Section]:
    """What it is made of."""
    loaded = content.loaded
    shown = DisplayUnits.of(loaded.quantities)
    sums = totals(loaded, shown)
    if not sums:
        return []
    parts = loaded.robot.parts  # type: ignore[attr-defined]
    cells: list[list[Cell]] = [[_told(c) for c in row[:11]] for row in rows(parts, shown)]
    cells.append([Mark(str(sums[0][0]), "bold"), Mark(_told(sums[0][1]), "bold"), *([""] * 9)])
    widths = (3.2, 1.0, 0.85, 0.85, 0.85, 0.95, 0.95, 0.95, 1.1, 0.75, 1.25)
    named_ = [str(h).replace(" [", "\n[") for h in heads(shown)[:11]]
    return [Section("Parts list", [Table(named_, cells, widths, (1, 2, 3, 4, 5, 6, 7, 9), small=True)])]


def _told(cell: object) -> str:
    return digits(cell, 5) if isinstance(cell, float) else str(cell)


def _short(content: Content) -> Section:
    """All margins at a glance, and what fails."""
    report = content.report
    blocks: list[Block] = []
    short = [f for f in report.findings if f.verdict == "short"]
    if short:
        blocks.append(Para("These checks fail for the robot as the file states it. A margin of 0 is exactly at the "
                           "limit; -0.5 misses it by half of it."))  # fmt: skip
        blocks.append(_told_short("What is short", short))
        if not content.mendings:
            blocks.append(Para("Changes that would mend them were not looked for in this notebook.", "quiet"))
    else:
        blocks.append(Para("Nothing is surely short on this robot.", "lead"))
    near = [f for f in report.findings if f.verdict == "close"]
    if near:
        blocks.append(Head("Close: the tolerances of the file decide on which side these are"))
        blocks.append(_told_short("What is close", near))
    open_ = [f.because for f in report.findings if f.verdict == "unknown"]
    if open_:
        blocks += [Head("Not judged: the file does not say enough"), Points(open_)]
    room = _left(content, len(short) + len(near) + len(open_), bool(near) + bool(open_))
    most = min(_MARGINS, len(report.findings), int((room - _AXIS) / _ROW))
    figure = drawn_margins.margins(margins_of(report)[:most], style_of(content.loaded))
    first = " and ".join(word for word, found in (("short", short), ("close", near)) if found)
    head = f"{most} margins: what is {first}, then the smallest" if first else f"The {most} smallest margins"
    blocks += [Head(head), Picture(figure, room)]
    return Section(
        "What is short, and how near the rest is", blocks, new_page=len(content.loaded.nominal.parts) > _ROWS
    )


def _left(content: Content, told: int, heads: int) -> float:
    """What the parts list and what is short leave of their last page for the figure, about; of a new one else."""
    parts = len(content.loaded.nominal.parts)
    listed = 0.084 + 0.0138 * parts if 0 < parts <= _ROWS else 0.0
    left = 1.0 - (listed + 0.09 + 0.03 * told + 0.045 * heads) % 1.0
    return left - 0.07 if left > _LEAST else 0.9


def _told_short(head: str, findings: Sequence[Finding]) -> Table:
    """Findings with the page that they stand on, margin and chance."""
    page = {family: Mark(one.page.title, "page") for one in all_pages() for family in one.families}
    rows_: list[list[Cell]] = [
        [f.because, page.get(f.id.partition(".")[0], Mark("–")), digits(f.margin or 0.0, 2), chance(f.chance)]
        for f in findings
    ]
    return Table((head, "Page", "Margin", "Holds in"), rows_, (6.0, 1.6, 0.8, 0.9), (2, 3))


def _on_a_page(content: Content, context: Context, of: SystemPage) -> Section:
    """A subsystem's page; where changes are told, with shorter lists until it is one page."""
    section = _subsystem(content, context, of)
    if not any(f.fails and belongs(of, f) for f in content.report.findings) or not content.mendings:
        return section
    for less in _LESS:
        section = _subsystem(content, context, of, less)
        if pages(Paper("", "", (), "", [section], "notebook", content.size)) <= 2:  # it begins behind a cover
            break
    return section


def _subsystem(content: Content, context: Context, of: SystemPage, less: int = 0) -> Section:
    page = of.page
    report, loaded = content.report, content.loaded
    findings = [f for f in report.findings if belongs(of, f)]
    facts = [f for f in report.facts if belongs(of, f) and f.id not in _of_the_whole()]
    known = {dotted(path): q for path, q in loaded.quantities}
    shown = formulas_for(page, loaded.nominal)
    drawn = figures_for(of.name, context, style_of(loaded, page.wide or HALF))
    # what many formulas and figures take of the page is taken from the lists
    fewer = 0 if page.wide else max(0, len(shown) - 2, len(shown) + 2 * len(drawn) - 4)
    fewer = min(fewer + less, _FINDINGS - 1)
    keys = inputs_of(findings or facts, known, _INPUTS - (page.wide > 0) - min(fewer, 2))
    mended = {(m.id, m.subject): m for m in content.mendings}
    words = Words(loaded, report)
    blocks: list[Block] = [Para(page.question, "lead")]
    if page.caution:
        blocks.append(Points([page.caution], "caution"))
    if keys:
        blocks += [Head("What it rests on most"), inputs_table(keys, known, words)]
    whole = [f for f in drawn if tall(f)] if page.wide else []
    room = _WIDE[0] if page.caution else _WIDE[1]  # a caution takes of the room that wide figures may have
    if any((f.id, f.subject) in mended for f in findings):
        room -= _MENDED  # and so does what follows
    flat = [f for f in drawn if f not in whole]
    given = put_in_on(of, context, [*findings, *facts])
    units = DisplayUnits.of(loaded.quantities)
    formulas = [
        Formula(key, tuple(put_in(given[key][1], units).numbers.items()), given[key][0])
        if key in given
        else Formula(key)
        for key in shown
    ]
    blocks += _reasoning(formulas, flat, room if page.wide else 0.0)
    if findings:
        blocks += [Head("Result"), *findings_table(findings, _FINDINGS - fewer - (page.wide > 0))]
    if facts:
        blocks += [
            Head("Also computed"),
            Points([_fact(f) for f in telling(page, facts, 1 if fewer or (page.wide and not whole) else _FACTS)]),
        ]
    blocks += [Head("What follows"), Points(what_follows(findings, mended, words))]
    return Section(page.title, [*blocks, *(Picture(f, 0.9) for f in whole)])


def _reasoning(formulas: Sequence[Formula], figures: Sequence[Figure], wide: float) -> list[Block]:
    """Formulas, beside the figures where there are any; above wide ones, which take a share of the page."""
    head = Head("How it is computed")
    # in the same scale, so that the letters of none are smaller than those of the others
    whole = sum(slender(f) for f in figures)
    pictures: list[Block] = [Picture(f, (wide or 0.42) * slender(f) / whole) for f in figures]
    if pictures and wide:
        return [head, Side([[f] for f in formulas], (1.0,) * len(formulas)), *pictures]
    return [Side([pictures, [head, *formulas]], (1.45, 1.0))] if pictures else [head, *formulas]


def _fact(fact: Fact) -> str:
    """A fact, with where its number lies in most cases; of which number that is said stands before it."""
    where, number = "" if fact.unit == "1" else span(fact), with_unit(fact.value, fact.unit)
    return f"{fact.because} ({number} is {where}{_unit(fact)} in 95 % of cases.)" if where else fact.because


def _unit(item: Finding | Fact) -> str:
    return with_unit(0.0, item.unit).partition("0")[2]


def _match(content: Content, played: Played) -> list[Section]:
    forecast, style = played.forecast, style_of(content.loaded)
    course = drawn_match.Course(forecast.timeline, played.clock)
    first: list[Block] = [
        Para(f"If every try works in its mean time it earns {counted(forecast.timeline.points, 'point')}.", "lead"),
        Picture(drawn_match.timeline(course, style), 0.78),
    ]
    sections = [Section("The match as planned", first)]
    if forecast.mean is None or played.scores is None:
        return sections
    low, high = forecast.interval or (forecast.mean, forecast.mean)
    words = Words(content.loaded, content.report)
    sentences = [*(one.sentence for one in forecast.contradictions), *(one.sentence for one in forecast.losses)]
    told = [_own(words.text(one), content.report.robot) for one in sentences]
    blocks: list[Block] = [
        Para(f"{forecast.mean:.1f} points are to be expected, over {counted(forecast.runs, 'match')} "
             f"(seed {forecast.seed}). The robot's true mean lies between {round(low)} and {round(high)} (95 %), "
             "by the practice and the tolerances that the file states; more matches do not narrow it.", "lead"),
        *_parting(told),
        Head("How often it scores how much"),
        Picture(score.distribution([played.scores], style), 0.26),
        Head("What limits it"),
        Picture(score.limits(forecast, style), 0.22),
        Head("How tries end"),
        _tries(forecast),
        Formula("practice"),
    ]  # fmt: skip
    for step in forecast.finish:
        a, b = step.interval
        blocks.append(Para(f"Finish, {step.action} at {step.place}: done in {100 * step.chance:.1f} % of the matches "
                           f"({100 * a:.1f} to {100 * b:.1f} %)."))  # fmt: skip
    return [*sections, Section("What it will score", blocks)]


def _parting(told: Sequence[str]) -> list[Block]:
    return [Head("Where practice, computing and the forecast part"), Points(told)] if told else []


def _own(sentence: str, robot: str) -> str:
    """A sentence about the robot that the notebook is about: without its name, and without the key of its file."""
    said = on_paper(sentence.removeprefix(f"{robot}: "))
    return f"{said[:1].upper()}{said[1:]}"


def _tries(forecast: Forecast) -> Table:
    rows_: list[list[Cell]] = []
    for action in forecast.actions:
        basis = "practice counts" if action.practised else "taken to work every time"
        rows_.append([Mark(action.action, "bold"), basis, f"{action.tries:.1f}", chance(action.done)])
    return Table(("Action", "Its chance comes from", "Tries in a match", "Done"), rows_, (3.0, 2.4, 1.6, 1.2), (2, 3))


def _assumed(content: Content) -> Section:
    """Defaults that move findings most; those with the same value for the same reason in one row."""
    report = content.report
    known = {dotted(path): q for path, q in content.loaded.quantities}
    order = inputs_of(items_of(report), known, len(known))
    rank = {key: i for i, key in enumerate(order)}
    alike: dict[tuple[str, str, str], list[str]] = {}
    for a in sorted(report.assumptions, key=lambda a: rank.get(a.key, len(rank))):
        alike.setdefault((a.key.rpartition(".")[2], a.value, a.why), []).append(a.key)
    groups = list(alike.items())[:_ASSUMED]
    words = Words(content.loaded)
    rows_: list[list[Cell]] = [[_all_of(k, words), value, why] for (_, value, why), k in groups]
    left = len(report.assumptions) - sum(len(k) for _, k in groups)
    intro = "The file does not say these; each is a documented default. The ones that move the results most come first."
    blocks: list[Block] = [Para(intro), Table(("Number", "Default", "Why"), rows_, (4.4, 1.0, 4.5), (1,), True)]
    if left:
        blocks.append(Para(f"And {left} more, which move the results less.", "quiet"))
    return Section("What is assumed", blocks, new_page=False)


def _all_of(keys: Sequence[str], words: Words) -> str:
    """Name several numbers with one default as one: "tube to each port of cylinder 'tray' and 5 more alike"."""
    more = f" and {len(keys) - 1} more alike" if len(keys) > 1 else ""
    return words.key(keys[0]) + more


def _sources(report: Report) -> Section:
    """Every source that a page refers to."""
    keys: dict[str, None] = {}
    for page in pages_of(report):
        keys.update(dict.fromkeys(formula_of(k).source for k, _ in page.page.formulas))
    for item in items_of(report):
        keys.update(dict.fromkeys(item.sources))
    alike: dict[str, list[str]] = {}
    for key in sorted(keys, key=named):
        alike.setdefault(worth(key), []).append(named(key))
    blocks: list[Block] = []
    for what, names in sorted(alike.items(), key=lambda entry: (len(entry[1]) == 1, entry[0])):
        if len(names) > 1:
            blocks += [Head(f"{what[:1].upper()}{what[1:]}"), Para(f"{'; '.join(names)}.", "quiet")]
    rows_: list[list[Cell]] = [
        [names[0], what] for what, names in alike.items() if len(names) == 1 and names[0] != what
    ]
    if rows_:
        blocks += [Head("The others"), Table(("Source", "What it is worth"), rows_, (6.0, 4.0), (), True)]
    return Section("Sources", blocks, new_page=False)
