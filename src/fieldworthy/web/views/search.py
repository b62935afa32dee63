"""A search for the best robot and the best plan: what may vary, what was found so far, designs to keep."""

from __future__ import annotations

import json
from typing import Any

from fieldworthy.decide.search import Design
from fieldworthy.files.document import KeyPath
from fieldworthy.files.writing import written
from fieldworthy.units import digits
from fieldworthy.web.components import follow, heading, pictures_of, share_of, values_of
from fieldworthy.web.figures import in_pose, poses
from fieldworthy.web.jobs import Job
from fieldworthy.web.judging import Source, edit
from fieldworthy.web.markup import Content, Markup, address, plain_sentences, tag
from fieldworthy.web.page import Page
from fieldworthy.web.runs import (
    Searched,
    SoFar,
    Varying,
    changes_of,
    drawn_design,
    searched,
    variant_of,
    varying,
)
from fieldworthy.web.views import tried

_WANTED = {
    "points": "points of a match, on average",
    "careful points": "points that 9 of 10 matches reach",
    "mass": "little mass",
    "hours": "few hours of work",
    "air left": "air left in the emptiest tank",
}
_MINUTES = ("0.5", "1", "2", "5", "15")
_MOST = 60  # things that vary at once
_ENDS = ("from", "to")


class _State:
    """What a window remembers of a search while it is shown."""

    def __init__(self, page: Page) -> None:
        self.tried = tried.Tried(page)
        self.rows: tuple[Varying, ...] = ()
        self.designs: list[tuple[str, Design]] = []
        self.source: Source | None = None
        self.form: Markup | None = None


async def build(page: Page) -> None:
    """Show what may vary, and a search that runs or ran."""
    state = _State(page)
    page.fill(
        heading("Search", "chance", "seed"),
        tag("p", "Say what may change and how far. The search tries robots within that, keeps to the season's limits, "
            "and plays matches with those that hold. It goes on when this window is closed.", class_="lead"),
        tag("div", id="search-problems"),
        tag("div", tag("div", id="search-asked"), tag("div", id="search-pose", class_="figures"), class_="split"),
        tag("div", id="match-run", role="status"),
        tag("div", tag("button", "Enough: show the best so far", type="button", data_do="enough"), id="search-enough",
            hidden=True),
        tried.places(),
        tag("div", id="search-found"),
        tag("div", id="search-design", class_="figures"),
    )  # fmt: skip
    page.on("search", lambda data: _search(page, state, values_of(data)))
    page.on("stop", lambda _: _stop(page))
    page.on("enough", lambda _: _enough(page))
    page.on("ends", lambda data: _ends(page, state, data))
    page.on("design", lambda data: _design(page, state, data))
    page.on("keep", lambda data: _keep(page, state, data))
    page.on("keep-candidate", lambda _: _keep_candidate(page, state))
    page.on("take", lambda data: _take(page, state, data))
    page.on_judged(lambda: page.later(_ask(page, state)))
    await _ask(page, state)
    job = _job(page)
    if job is not None:  # it went on while nobody looked
        _follow(page, state, job)


def _job(page: Page) -> Job | None:
    return page.queue.newest(searched, page.draft.file) if page.draft else None


async def _ask(page: Page, state: _State) -> None:
    """Show what may vary; it stands as it is while it says the same, as when more files are known."""
    page.put("search-problems", plain_sentences(page.problems) if page.problems else "")
    if page.draft is None or page.problems or state.source == page.draft.source:
        return
    source = page.draft.source
    rows = await page.work.compute(varying, source)
    if rows is None or page.view != "search":
        return
    state.source = source
    form = _form(rows, has_plan="plan" in {str(r.path[0]) for r in rows} or _has_plan(page))
    if form != state.form:
        state.rows, state.form = rows, form
        page.put("search-asked", form)
    await _draw_pose(page, source)


def _has_plan(page: Page) -> bool:
    return page.draft is not None and "\nplan:" in page.draft.text


def _form(rows: tuple[Varying, ...], *, has_plan: bool) -> Markup:
    sections: dict[str, list[Markup]] = {}
    for i, row in enumerate(rows):
        sections.setdefault(row.group, []).append(_row(i, row))
    parts = dict.fromkeys(row.group for row in rows if row.path[0] == "parts")
    varied = [_folded(name, len(inside), inside) for name, inside in sections.items() if name not in parts]
    if parts:  # where things sit is seldom the question
        inside = [_folded(name, len(sections[name]), sections[name]) for name in parts]
        varied.append(_folded("Where parts sit, and their sizes", sum(len(sections[name]) for name in parts), inside))
    plan = _tick("plan", "The order of actions: what to do where, how often, when to leave for the finish")
    wanted = [_tick(f"want {name}", words, checked=name == "points" and has_plan) for name, words in _WANTED.items()]
    minutes = tag("select", [tag("option", m, value=m, selected=m == "1") for m in _MINUTES], name="minutes",
                  id="in-minutes")  # fmt: skip
    return tag(
        "form",
        tag("fieldset", tag("legend", "What may vary"), plan if has_plan else "", varied),
        tag("fieldset", tag("legend", "What is wanted; several give the designs that nothing beats"), wanted),
        _tick("keep", "What holds now must go on holding", checked=True),
        tag("div", tag("label", "Minutes at most", for_="in-minutes"), minutes, class_="field"),
        tag("button", "Search", type="submit", class_="main"),
        data_submit="search",
    )


def _folded(name: str, count: int, inside: list[Markup]) -> Markup:
    return tag("details", tag("summary", f"{name} ({count})", data_key=f"varied {name}"), inside, class_="varied")


def _tick(name: str, words: str, *, checked: bool = False, of: str = "") -> Markup:
    """A tick that stays as the person set it when the form is drawn anew; `of` names it where its number may move."""
    box = tag("input", type="checkbox", name=name, checked=checked, data_kept=of or name)
    return tag("label", box, f" {words}", class_="choice")


def _row(i: int, row: Varying) -> Markup:
    """One thing that may vary: a tick, and sliders for the ends of a number or a tick for each option."""
    more = f", and {row.more} more with it" if row.more else ""
    said = f"{row.words[:1].upper()}{row.words[1:]}: {row.now} now{more}"
    head = _tick(f"vary {i}", said, of=f"vary {row.key}")
    if row.ticks:
        last = len(row.ticks) - 1
        inside: Content = [_slider(i, row, end, at) for end, at in zip(_ENDS, (0, last), strict=True)]
    else:
        inside = [
            _tick(f"option {i} {k}", text, checked=True, of=f"{row.key}: {text}")
            for k, text in enumerate(row.options[:24])
        ]
    return tag("div", head, tag("div", inside, class_="ends"), class_="varying")


def _slider(i: int, row: Varying, end: str, at: int) -> Markup:
    identifier = f"{end}-{i}"
    box = tag("input", type="range", id=identifier, name=f"{end} {i}", min="0", max=len(row.ticks) - 1, step="1",
              value=at, data_slide="ends", data_name=f"{end} {i}", aria_label=f"{row.words}, {end}")  # fmt: skip
    said = tag("output", row.ticks[at], id=f"{identifier}-said", for_=identifier)
    return tag("label", f"{end} ", box, " ", said)


async def _ends(page: Page, state: _State, data: dict[str, Any]) -> None:
    """Say where a slider stands, and draw the robot with that number."""
    end, _, number = str(data.get("name")).partition(" ")
    row = state.rows[int(number)] if number.isdigit() and int(number) < len(state.rows) else None
    if row is not None and row.ticks and end in _ENDS and page.draft is not None:
        text = row.ticks[round(share_of(data.get("value")) * 100.0) % len(row.ticks)]
        page.put(f"{end}-{number}-said", text)
        texts = await page.work.sketch(edit, page.draft.source, ((row.path, text),))
        if texts is not None:
            await _draw_pose(page, Source(page.draft.file, texts))
    page.call("slid", "ends")


async def _draw_pose(page: Page, source: Source) -> None:
    names = await page.work.sketch(poses, source)
    if names and page.view == "search":
        found = await page.work.sketch(in_pose, source, page.look(420.0), names[0])
        page.put("search-pose", pictures_of(page, found or ()))


def _wanted(state: _State, values: dict[str, Any]) -> dict[str, Any]:
    """What the form says, as a search file would."""
    vary: list[dict[str, Any]] = [{"key": "plan"}] if values.get("plan") else []
    for i, row in enumerate(state.rows):
        if not values.get(f"vary {i}"):
            continue
        said: dict[str, Any] = {"key": row.key}
        if row.ticks:
            low, high = (_place(values.get(f"{end} {i}"), row) for end in _ENDS)
            if (low, high) != (0, len(row.ticks) - 1):
                said["between"] = [row.ticks[low], row.ticks[high]]
        else:
            left = [text for k, text in enumerate(row.options[:24]) if values.get(f"option {i} {k}")]
            if len(left) < len(row.options[:24]):
                said["values"] = [int(text) if text.isdigit() else text for text in left]
        vary.append(said)
    want = [name for name in _WANTED if values.get(f"want {name}")]
    return {"vary": vary[:_MOST], "want": want, "keep": bool(values.get("keep"))}


def _place(said: object, row: Varying) -> int:
    text = str(said)
    return min(int(text), len(row.ticks) - 1) if text.isdigit() else 0


def _search(page: Page, state: _State, values: dict[str, Any]) -> None:
    if page.draft is None or page.problems:
        page.note("The file has mistakes: mend them first.", bad=True)
        return
    wanted = _wanted(state, values)
    if not wanted["vary"] or not wanted["want"]:
        page.note("Tick at least one thing that may vary, and one that is wanted.", bad=True)
        return
    minutes = str(values.get("minutes"))
    told = json.dumps(wanted, sort_keys=True)
    title = f"Searching for {minutes} min at most"
    job = page.queue.start(title, searched, page.draft.source, told, float(minutes) if minutes in _MINUTES else 1.0, 0)
    page.put("search-found", "")
    page.put("search-design", "")
    state.tried.forget()
    _follow(page, state, job)


def _follow(page: Page, state: _State, job: Job) -> None:
    shown: list[SoFar] = []

    def heard(now: Job) -> None:
        page.call("mark", "search-enough", {"hidden": "hidden" if now.over or now.told is None else None})
        told = now.result.last if isinstance(now.result, Searched) else now.told
        if isinstance(told, SoFar) and told not in shown:
            shown[:] = [told]
            page.later(state.tried.show(told))

    page.on_leave(job.listen(heard))
    follow(page, job, lambda page, done: _show(page, state, done))
    heard(job)


def _stop(page: Page) -> None:
    job = _job(page)
    if job is not None and not job.over:
        page.queue.stop(job)


def _enough(page: Page) -> None:
    job = _job(page)
    if job is not None and not job.over:
        page.queue.stop(job, keep=True)


async def _show(page: Page, state: _State, job: Job) -> None:
    """Show what the search found in the end."""
    done: Searched = job.result
    found = done.found
    if page.view != "search" or page.draft is None:
        return
    state.designs = [("The best", found.best)] if found.best is not None else []
    state.designs += [(f"As good, as far as the matches tell: {i}", d) for i, d in enumerate(found.alike, 1)]
    state.designs += [
        (f"Design {i + 1}{', the knee' if i == found.knee else ''}", d) for i, d in enumerate(found.front)
    ]
    cards = [_card(i, head, design, page.may_change) for i, (head, design) in enumerate(state.designs)]
    carried = [tag("li", f"{c.sentence.removesuffix('.')}: {c.told}") for c in found.carried if len(found.carried) > 1]
    worth = tag("section", tag("h2", "What each change is worth"), tag("ul", carried)) if carried else ""
    old = done.source != page.draft.source
    stale = tag("p", "The robot has changed since: search again.", class_="caution") if old else ""
    page.put("search-found", tag("section", tag("h2", "What was found"), tag("p", found.answer), stale,
             class_="panel"), tag("div", cards, class_="cards"), worth)  # fmt: skip
    if state.designs:
        await _draw_design(page, 0, done.source, state)


def _card(i: int, head: str, design: Design, may_change: bool) -> Markup:
    """One design: what changes, what that gives and breaks, and what may be done with it."""
    amounts = "; ".join(f"{a.about} {digits(a.value)} {a.unit}".rstrip() + f" ({digits(a.now)} now)"
                        for a in design.amounts)  # fmt: skip
    changes = [tag("li", text) for text in (*design.sentences, *design.plan)]
    buttons = [tag("button", "Draw it beside the present robot", type="button", data_do="design", data_number=i)]
    if may_change:
        buttons += [tag("button", "Keep it as a variant", type="button", data_do="keep", data_number=i),
                    tag("button", "Put it into this robot", type="button", data_do="take", data_number=i,
                        class_="quiet")]  # fmt: skip
    return tag(
        "section",
        tag("h3", head),
        tag("p", amounts),
        tag("ul", changes),
        [tag("p", f"✗ breaks: {because}", class_="caution") for because in design.breaks],
        tag("p", f"✓ mends: {', '.join(design.mends)}") if design.mends else "",
        tag("p", f"About {digits(design.hours)} h of work, build times included.", class_="fine"),
        tag("div", buttons, class_="tools"),
        class_="panel card",
    )


def _chosen(page: Page, state: _State, data: dict[str, Any]) -> tuple[int, Source] | None:
    job, number = _job(page), str(data.get("number"))
    done = job.result if job is not None else None
    if not isinstance(done, Searched) or not number.isdigit() or int(number) >= len(state.designs):
        return None
    return int(number), done.source


async def _design(page: Page, state: _State, data: dict[str, Any]) -> None:
    chosen = _chosen(page, state, data)
    if chosen is not None:
        await _draw_design(page, *chosen, state)


async def _draw_design(page: Page, number: int, source: Source, state: _State) -> None:
    head, design = state.designs[number]
    figures = await page.work.draw(drawn_design, source, design, "", page.look(420.0))
    if figures is not None and page.view == "search":
        page.put("search-design", tag("h2", f"{head}, beside the present robot"), pictures_of(page, figures))


async def _keep(page: Page, state: _State, data: dict[str, Any]) -> None:
    """Write a design as a robot of its own beside the open file."""
    chosen = _chosen(page, state, data)
    if chosen is not None:
        await _kept(page, chosen[1], changes_of(state.designs[chosen[0]][1]))


async def _keep_candidate(page: Page, state: _State) -> None:
    """Write the candidate that is shown likewise."""
    if state.tried.chosen is not None:
        told, changes = state.tried.chosen
        await _kept(page, told.source, changes)


async def _kept(page: Page, source: Source, changes: tuple[tuple[KeyPath, object], ...]) -> None:
    if not page.editor.allowed():
        return
    folder = page.workspace.folder
    target = folder.path(folder.free_name(f"{source.file.stem}_found", page.file.rpartition("/")[0]))
    name = target.stem.replace("_", " ")
    texts = await page.work.draw(variant_of, source, changes, name, target)
    if texts is None:
        return
    written(dict(texts), copy_dated=None, expect={path: "" for path, _ in texts})
    made = folder.name(target)
    page.note(f"Wrote {made}: the robot '{name}'. Compare holds it against this one.")
    page.put("search-problems", tag("p", "Kept: ", tag("a", made, href=address("margins", file=made))))


async def _take(page: Page, state: _State, data: dict[str, Any]) -> None:
    """Put a design's changes into the open robot; that can be undone."""
    chosen = _chosen(page, state, data)
    if chosen is not None and await page.editor.change(dict(changes_of(state.designs[chosen[0]][1]))):
        page.note("Put into this robot; undo takes it back.")
