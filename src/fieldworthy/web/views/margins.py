"""All findings, worst first, each with its margin and chance; opened, what it rests on and what would mend it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from fieldworthy.decide.remedy import FoundRemedies
from fieldworthy.engine.evaluate import NominalFinding
from fieldworthy.engine.finding import Finding, Report
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.report.formulas import belongs, pages_of
from fieldworthy.units import counted, percent
from fieldworthy.web.components import Rows, end_newest, follow, heading, term
from fieldworthy.web.figures import Detail, detail_of
from fieldworthy.web.form import words_of, words_of_key
from fieldworthy.web.jobs import Job
from fieldworthy.web.judging import mended
from fieldworthy.web.markup import (
    Content,
    Markup,
    address,
    bits_of,
    body_id,
    fact_row,
    finding_body,
    finding_row,
    key_of,
    mend_button,
    mending_body,
    nominal_of,
    plain_sentences,
    tag,
)
from fieldworthy.web.page import Page
from fieldworthy.web.strip import TRYING, changes_of

CAUSES = "What is short, by its cause"
_WORTH_SAYING = 0.01  # a share of the uncertainty
_KINDS = (("short", "short"), ("close", "close"), ("unknown", "not judged"), ("holds", "hold"))


@dataclass(slots=True)
class _State:
    """What this view of one window shows.

    Attributes
    ----------
    rows, facts : The lists
    opened : Rows that were opened
    only : The verdict that is shown; all where empty
    word : What is looked for
    by : ``groups`` by cause and by system, or all in one ``list``
    unfolded : Groups whose findings are shown
    mendings, report : Remedies by row, once asked for, and what they mend
    """

    rows: Rows
    facts: Rows
    opened: set[str] = field(default_factory=set)
    only: str = ""
    word: str = ""
    by: str = "groups"
    unfolded: set[str] = field(default_factory=lambda: {CAUSES})
    mendings: dict[str, FoundRemedies] = field(default_factory=dict)
    report: Report | None = None


def build(page: Page) -> None:
    """Show the findings of the open robot."""
    state = _State(Rows(page, "margins-rows"), Rows(page, "margins-facts"))
    page.fill(
        tag(
            "div",
            heading("Margins", "cause", "basis"),
            tag("p", id="margins-counts", class_="counts"),
            class_="headline",
        ),
        tag("div", id="margins-problems"),
        _tools(),
        _legend(),
        tag("ul", id="margins-rows", class_="findings"),
        tag("section", tag("h2", "Cautions"), tag("ul", id="margins-cautions")),
        _folded("Numbers that nothing limits", tag("ul", id="margins-facts", class_="facts")),
        _folded("Assumed, since the file does not say", tag("ul", id="margins-assumed", class_="facts")),
    )
    page.on("only", lambda data: _filter(page, state, only=str(data.get("value", ""))))
    page.on("by", lambda data: _by(page, state, str(data.get("value", ""))))
    page.on("fold", lambda data: _fold(page, state, str(data.get("of"))))
    page.on("word", lambda data: _filter(page, state, word=str(data.get("value", ""))))
    page.on("more", lambda data: _open(page, state, str(data.get("of"))))
    page.on("mend", lambda data: _mend(page, state, str(data.get("of"))))
    page.on("stop", lambda _: end_newest(page, mended))
    page.on("try", lambda data: _try(page, state, data))
    page.on_judged(lambda: _show(page, state))
    _show(page, state)


def _folded(title: str, content: Markup) -> Markup:
    return tag("details", tag("summary", tag("h2", title)), content, class_="panel")


def _tools() -> Markup:
    options = [tag("option", "all verdicts", value="")]
    options += [tag("option", f"only: {word}", value=verdict) for verdict, word in _KINDS]
    return tag(
        "div",
        tag("label", "Show ", tag("select", options, data_change="only")),
        tag(
            "label",
            "In ",
            tag(
                "select",
                tag("option", "causes and systems", value="groups"),
                tag("option", "one list, worst first", value="list"),
                data_change="by",
            ),
        ),
        tag("label", "Find ", tag("input", type="search", data_watch="word", autocomplete="off")),
        class_="tools",
        role="search",
    )


def _legend() -> Markup:
    about = " (0 is the limit, right of the line is good) and the "
    return tag("p", "Verdict, sentence, ", term("margin"), about, term("chance"), " that it holds.", class_="fine")


def counts_of(report: Report) -> Markup:
    """Count the verdicts."""
    counts = {verdict: sum(f.verdict == verdict for f in report.findings) for verdict, _ in _KINDS}
    return Markup(" ").join(
        tag("span", tag("b", str(counts[verdict])), f" {word}", data_verdict=verdict, class_="count")
        for verdict, word in _KINDS
    )  # type: ignore[return-value]


def _shown(state: _State, findings: tuple[Finding, ...]) -> list[Finding]:
    """The findings that are looked for: those that say the words themselves before those that rest on such a value."""
    words = state.word.lower().split()
    kept = [f for f in findings if not state.only or f.verdict == state.only]
    said = [f for f in kept if _all_in(words, f"{f.id} {f.subject} {f.because}")]
    resting = [f for f in kept if f not in said and any(_all_in(words, key) for key in f.inputs)]
    return said + resting


def _all_in(words: list[str], text: str) -> bool:
    lower = text.lower().replace("_", " ")
    return all(word.replace("_", " ") in lower for word in words)


def _grouped(report: Report) -> dict[str, list[tuple[Finding, bool]]]:
    """Findings by what they come from, then by system; whether each follows from the one above it."""
    causes = [(f, f is not cause.lead) for cause in report.causes for f in cause.findings]
    told = {key_of(f) for f, _ in causes}
    groups = {CAUSES: causes} if causes else {}
    for system in pages_of(report):
        own = [(f, False) for f in report.findings if key_of(f) not in told and belongs(system, f)]
        told |= {key_of(f) for f, _ in own}
        groups |= {system.page.title: own} if own else {}
    rest = [(f, False) for f in report.findings if key_of(f) not in told]
    return groups | ({"Others": rest} if rest else {})


def _rows(state: _State, report: Report) -> dict[str, Markup]:
    """One list, or a head for each group with its findings below it where it is unfolded."""
    if state.by == "list" or state.only or state.word.strip():
        return {key_of(f): finding_row(f) for f in _shown(state, report.findings)}
    rows: dict[str, Markup] = {}
    groups = _grouped(report)
    for name, findings in groups.items():
        is_open = name in state.unfolded or len(groups) == 1
        rows[f"group {name}"] = _group_head(name, [f for f, _ in findings], is_open=is_open)
        rows |= {key_of(f): finding_row(f, follows=follows) for f, follows in findings if is_open}
    return rows


def _group_head(name: str, findings: list[Finding], *, is_open: bool) -> Markup:
    counts = [
        tag("span", tag("b", n), f" {word}", data_verdict=verdict, class_="count")
        for verdict, word in _KINDS
        if (n := sum(f.verdict == verdict for f in findings))
    ]
    button = tag("button", name, type="button", class_="fold", data_do="fold", data_of=name, data_key=f"fold {name}",
                 aria_expanded="true" if is_open else "false")  # fmt: skip
    return tag("li", tag("h2", button), tag("span", counts, class_="counts"), class_="group-head",
               data_row=f"group {name}")  # fmt: skip


def _fold(page: Page, state: _State, name: str) -> None:
    state.unfolded ^= {name}
    _show(page, state)


def _by(page: Page, state: _State, by: str) -> None:
    state.by = "list" if by == "list" else "groups"
    _show(page, state)


def _show(page: Page, state: _State) -> None:
    page.put("margins-problems", problems_of(page))
    if page.judged is None:
        page.put("margins-counts", "" if page.problems else "Working it out …")
        return
    report = page.judged.report
    page.put("margins-counts", Markup(counts_of(report)))
    fresh = state.rows.show(_rows(state, report))
    state.facts.show({key_of(f): fact_row(f) for f in report.facts})
    page.put("margins-cautions", [tag("li", caution) for caution in report.cautions])
    assumed = [_assumed(a.key, f"{a.value}: {a.why}", page.file) for a in report.assumptions]
    page.put("margins-assumed", assumed)
    if report is not state.report:  # what mends it was found for the other one
        state.report = report
        state.mendings.clear()
    for key in state.opened & set(fresh):
        _open(page, state, key)


def _assumed(key: str, why: str, file: str) -> Markup:
    link = tag("a", words_of_key(key), href=address("build", file=file, key=key), data_go=True)
    return tag("li", link, " ", why, class_="fact")


def problems_of(page: Page) -> Content:
    """Say what is wrong with the open file, where something is."""
    if not page.problems:
        return ""
    way = tag("a", "Mend it in the file's text", href=address("build", file=page.file, part="text"), data_go=True)
    before = tag("p", "What stands below is from before that.") if page.judged else ""
    return tag(
        "div",
        tag("h2", "The file has mistakes"),
        plain_sentences(page.problems),
        tag("p", way),
        before,
        class_="trouble",
    )


def show_preview(page: Page, findings: tuple[NominalFinding, ...], *lists: Rows) -> None:
    """Show at once what a moved number changes; the chances follow when everything is judged."""
    previewed, report = page.previewer.shown, page.judged.report if page.judged is not None else None
    if not previewed and report is not None:  # what stands there now
        previewed |= {key_of(item): bits_of(nominal_of(item)) for item in report.findings}
    close = {key_of(f): f for f in report.findings if f.verdict == "close"} if report is not None else {}
    changes = []
    for finding in findings:
        key = key_of(finding)
        bits = bits_of(_still_close(finding, close.get(key)))
        if previewed.get(key) != bits:
            previewed[key] = bits
            changes.append((key, bits))
    page.call("bits", changes)
    for rows in lists:
        rows.spoil(key for key, _ in changes)


def _still_close(moved: NominalFinding, judged: Finding | None) -> NominalFinding:
    """Leave close what was judged so and is on the same side yet: how likely it holds is known only when sampled."""
    if judged is None or judged.margin is None or moved.margin is None:
        return moved
    same_side = (moved.margin >= 0) == (judged.margin >= 0)
    return replace(moved, verdict="close") if same_side else moved


def _filter(page: Page, state: _State, only: str | None = None, word: str | None = None) -> None:
    state.only = state.only if only is None else only
    state.word = state.word if word is None else word
    _show(page, state)
    if page.judged is not None:
        page.say(f"{counted(len(_shown(state, page.judged.report.findings)), 'finding is', 'findings are')} shown.")


def _found(page: Page, key: str) -> Finding | None:
    report = page.judged.report if page.judged else None
    return next((f for f in (report.findings if report else ()) if key_of(f) == key), None)


def _open(page: Page, state: _State, key: str) -> None:
    finding = _found(page, key)
    if finding is not None:
        state.opened.add(key)
        page.put(body_id(key), finding_body(finding, page.file))
        if (mending := state.mendings.get(key)) is not None:  # what was found stays where the list is ordered anew
            page.put(f"{body_id(key)}-mend", mending_body(mending, page.file, may_change=page.may_change))
        page.later(_detail(page, finding))


async def _detail(page: Page, finding: Finding) -> None:
    """Show what the finding is computed with: its formulas, the numbers put in, its figure."""
    if page.draft is None:
        return
    place = f"{body_id(key_of(finding))}-detail"
    page.put(place, detail_body(await page.work.draw(detail_of, page.draft.source, finding, page.look()), page.file))


def detail_body(found: Detail | None, file: str) -> Content:
    """Write what a finding is computed with."""
    if found is None:
        return ""
    equations = [
        tag("li", tag("div", [tag("div", Markup(m), class_="equation") for m in (e.mathml, e.put_in) if m],
                      class_="worked", tabindex="0", role="group", aria_label="Formula"),
            tag("p", f"{e.where} ({e.source})", class_="fine"))
        for e in found.equations
    ]  # fmt: skip
    numbers = [tag("li", _way(path, file), f": {value}", _share(share)) for path, value, share in found.numbers]
    picture = Markup(found.figure[found.figure.index("<svg") :]) if found.figure else ""
    return [
        [tag("h3", "Computed by"), tag("ul", equations, class_="equations")] if equations else "",
        [
            tag("h3", "With these numbers, the one that matters most first"),
            tag("p", "In brackets: its share of what the value varies by over the tolerances.", class_="fine"),
            tag("ol", numbers),
        ]
        if numbers
        else "",
        tag("div", picture, class_="drawing") if picture else "",
    ]


def _share(share: float | None) -> str:
    """An input's share of the uncertainty; nothing where that is not worth saying."""
    return f" ({percent(share)})" if share is not None and share >= _WORTH_SAYING else ""


def _way(path: KeyPath, file: str) -> Markup:
    """A link to where a value is changed, by its name."""
    return tag("a", words_of(path), href=address("build", file=file, key=dotted(path)), data_go=True)


def _mend(page: Page, state: _State, key: str) -> None:
    """Look for what mends a finding; it can be ended, and asked for again."""
    if page.draft is None:
        return
    place = f"{body_id(key)}-mend"

    async def shown(page: Page, job: Job) -> None:
        state.mendings = {f"{m.id}|{m.subject}": m for m in job.result}
        mending = state.mendings.get(key)
        if mending is None:
            page.put(place, tag("p", "No remedy was found."))
            return
        page.put(place, mending_body(mending, page.file, may_change=page.may_change))
        page.say(mending.answer)

    job = page.queue.start(TRYING, mended, page.draft.source, page.display.units, brief=True)
    follow(page, job, shown, place, first="")
    page.on_leave(job.listen(lambda now: page.put(place, mend_button(key)) if now.state == "stopped" else None))


async def _try(page: Page, state: _State, data: dict[str, Any]) -> None:
    """Make the change that a remedy proposes; undo takes it back."""
    mending = state.mendings.get(str(data.get("of")))
    place = str(data.get("place"))
    if mending is None:
        page.note("The robot has changed since: ask again what would mend it.")
        return
    if not place.isdecimal() or int(place) >= len(mending.remedies):
        return
    remedy = mending.remedies[int(place)]
    if await page.editor.change(changes_of(remedy.edits), remedy):
        page.note(f"{remedy.sentence}: done, not saved. Undo takes it back.")
