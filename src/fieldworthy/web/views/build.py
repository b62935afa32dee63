"""What the robot is made of: a list with an Add on each kind, the form of what is chosen, and what moves beside it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from fieldworthy.engine.system import shelf
from fieldworthy.files.document import LARGEST, BadInput, KeyPath, Problem, dotted
from fieldworthy.robot.editing import GONE
from fieldworthy.robot.shelf import can_be_added
from fieldworthy.units import an
from fieldworthy.web.components import Rows, counted, heading, values_of
from fieldworthy.web.fieldrows import NUMBER_PARTS, blank_form, filled, meaning, read_part, row_key, rows_shown
from fieldworthy.web.form import (
    Field,
    Head,
    Made,
    Row,
    blanks_of,
    declared_at,
    declared_next,
    made_of,
    rows_of,
)
from fieldworthy.web.markup import Content, Markup, address, field_id, finding_row, join, key_of, said_there, tag
from fieldworthy.web.page import Page
from fieldworthy.web.placing import How, drawn, drifted, moved, sized
from fieldworthy.web.strip import Strip
from fieldworthy.web.views.adding import State, Thing, listen, take
from fieldworthy.web.views.margins import problems_of, show_preview
from fieldworthy.web.views.parts import build_parts, parts_body
from fieldworthy.web.views.plan import build_plan, plan_body
from fieldworthy.web.views.robot import build_turning, turning_body

PARTS = {"": "Robot", "parts": "Parts", "plan": "Plan", "turning": "In three dimensions", "text": "Text of the file"}
"""Ways to build, by what the address asks for."""
_OTHERS = {
    "parts": (parts_body, build_parts),
    "plan": (plan_body, build_plan),
    "turning": (turning_body, build_turning),
}
"""What each of the other ways shows first, and what fills it."""
_LISTED = 30  # mistakes that are listed beside the text
_BESIDE = 14  # findings that stand beside the form
_OPEN: tuple[KeyPath, ...] = (("mechanisms",), ("air", "tanks"), ("air", "cylinders"))
_FEW = 8  # things of such a kind that are listed without being asked for
_NARROW = 900  # px; below it the list is folded away once something is chosen


async def build(page: Page) -> None:
    """Show the open file."""
    part = page.query.get("part", "")
    text = part == "text"
    top = tag(
        "div",
        heading("Build", "pose", "basis", "tolerance"),
        _parts(page, part if part in PARTS else ""),
        class_="headline",
    )
    strip = Strip(page)
    if part in _OTHERS and not page.season_open:
        body, shown = _OTHERS[part]
        page.fill(top, strip.markup(), body(page))
        strip.listen()
        await shown(page)
        return
    state = State(Rows(page, "build-rows"), Rows(page, "build-rare"), Rows(page, "beside-rows"))
    if text:
        page.fill(top, _build_text(page), _beside(page))

        def judged() -> None:
            _show_text(page)
            _show_beside(page, state)

        page.on_judged(judged)
        judged()
        return
    state.at = page.query.get("key", "")
    foot = "" if page.season_open else strip.markup()
    page.fill(top, foot, tag("div", id="build-problems"), _body(page))
    _listen(page, state)
    if foot:
        strip.listen()
    await _read(page, state)
    if state.at in state.fields:
        page.call("focus", field_id(state.fields[state.at].path))


def _parts(page: Page, now: str) -> Markup:
    links = [
        tag("a", "Season" if page.season_open and not part else label, href=address("build", file=page.file, part=part),
            data_go=True, aria_current="true" if part == now else None)
        for part, label in PARTS.items()
        if not page.season_open or part in ("", "text")
    ]  # fmt: skip
    return tag("nav", links, class_="parts", aria_label="Ways to build")


def _body(page: Page) -> Content:
    form = tag(
        "section",
        tag("div", id="build-head"),
        tag("div", id="build-sketch"),
        tag("ul", id="build-rows", class_="fields-list"),
        tag("details", tag("summary", "What is rarely said", id="build-rare-title"), tag("ul", id="build-rare"),
            id="build-more", hidden=True),
        class_="form", aria_labelledby="build-name",
    )  # fmt: skip
    head = tag("summary", "What it is made of", tag("span", id="build-now"))
    folds = tag("details", head, tag("div", id="build-list"), id="build-made", open=page.display.width >= _NARROW)
    made = tag("nav", folds, class_="made", aria_label="What it is made of")
    panel = tag("div", id="build-panel")
    right = tag("div", _drawing(page), panel, tag("div", form, _beside(page), class_="two"), class_="right")
    return tag("div", made, right, class_="building")


def _drawing(page: Page) -> Content:
    """The place of the drawing, with what can be done in it."""
    if page.season_open:
        return ""
    pairs = tag("label", tag("input", type="checkbox", checked=True, data_change="pairs"), " move pairs together")
    told = tag("span", "Drag, or choose one and press the arrow keys (Shift: 1 mm).", class_="fine")
    tools = tag("div", told, pairs if page.may_change else "", class_="tools")
    return tag("section", tag("div", id="build-drawing", class_="drawings"), tools, class_="drafting",
               aria_label="The robot to scale")  # fmt: skip


def _beside(page: Page) -> Content:
    if page.season_open:
        return ""
    return tag(
        "section",
        tag("h2", "What moves", id="beside-title"),
        tag("p", id="beside-about", class_="fine"),
        tag("ul", id="beside-rows", class_="findings"),
        class_="beside",
        id="beside",
        tabindex="0",
        aria_labelledby="beside-title",
    )


def _listen(page: Page, state: State) -> None:
    async def judged() -> None:
        await _read(page, state)

    listen(page, state)
    page.on("pick", lambda data: _pick(page, state, str(data.get("of"))))
    page.on("placed", lambda data: _placed(page, state, data))
    page.on("drifts", lambda data: _drifts(page, state, data))
    page.on("pairs", lambda data: _pairs(page, state, data))
    page.on("gone", lambda data: _gone(page, state, str(data.get("of"))))
    page.on("more", lambda data: _more(page, state, str(data.get("of")), str(data.get("kind") or "")))
    page.on("fill", lambda data: _fill(page, state, values_of(data)))
    page.on("move", lambda data: _move(page, state, data))
    page.on("set", lambda data: _set(page, state, data))
    page.on("at", lambda data: _focused(page, state, str(data.get("path"))))
    page.on_judged(lambda: page.later(judged()))
    page.on_preview(lambda findings: show_preview(page, findings, state.beside))


async def _read(page: Page, state: State) -> None:
    """Read what the robot is made of, and show what is different."""
    draft = page.draft
    if draft is None:
        return
    page.put("build-problems", _troubles(page))
    page.call("mark", "fw-view", {"data-stale": "yes" if page.problems else None})
    try:
        source = draft.source
        made = await page.queue.form(made_of, source)
    except BadInput:  # the text cannot be read at all: what was read last stays, and cannot be changed here
        return
    if page.draft is None or not set(source.texts) <= set(page.draft.source.texts):
        return  # changed meanwhile, and read again for that: what was added since would not be found here
    state.made = made
    state.things = _things(page, state.made)
    if state.chosen not in state.things:
        state.chosen = _thing_at(state, state.at) or next(iter(state.things))
    await _show(page, state)


def _troubles(page: Page) -> Content:
    if not page.problems:
        return ""
    before = tag("p", "The verdicts are from before that, and greyed.") if page.judged else ""
    return tag("div", problems_of(page), before)


def _things(page: Page, made: Iterable[Made]) -> dict[str, Thing]:
    found: dict[str, Thing] = {}
    for kind in made:
        if page.season_open and kind.path[0] != "season":
            continue
        if not kind.one:
            found[kind.key] = Thing(kind.path, kind.label, kind)
        for name in kind.names:
            thing = Thing((*kind.path, name), name, kind)
            found[thing.key] = thing
    return found


def _thing_at(state: State, key: str) -> str:
    """The thing that a key stands in; the nearest above it."""
    if key.partition(".")[0] in ("battery", "hours_left", "robot", "about"):
        return "robot"
    fits = [k for k in state.things if key == k or key.startswith((f"{k}.", f"{k}["))]
    return max(fits, key=len, default="")


async def _show(page: Page, state: State) -> None:
    page.put("build-list", _listed(page, state))
    page.later(_draw(page, state))
    await _show_form(page, state)
    _show_beside(page, state)


async def _draw(page: Page, state: State) -> None:
    """Draw it anew where it looks different."""
    if page.draft is None or page.season_open:
        return
    views = await page.work.sketch(drawn, page.draft.source, state.chosen)
    if views is not None and views != state.drawing and page.view == "build":
        state.drawing = views
        page.put("build-drawing", views)


def _dragged(state: State, data: dict[str, Any]) -> tuple[str, tuple[float, float, float], How] | None:
    """What is dragged, how far, and what that does; nothing where the browser says no number."""
    try:
        x, y, z = (max(-10.0, min(10.0, float(data.get(axis) or 0.0))) for axis in ("dx", "dy", "dz"))
    except (TypeError, ValueError):
        return None
    return str(data.get("of")), (x, y, z), How(bool(data.get("sizes")), state.pairs)


async def _drifts(page: Page, state: State, data: dict[str, Any]) -> None:
    """Show what a thing does where it is being dragged past; nothing changes until it is let go."""
    dragged = _dragged(state, data)
    if dragged is None or page.draft is None or page.problems or page.season_open or not page.may_change:
        page.call("drifted")
        return
    page.previewer.drop()
    # where the drawing comes from, the robot has been read
    found = page.queue.sketch(drifted, page.draft.source, *dragged, page.display.units)
    await page.previewer.shown_with(found)


async def _placed(page: Page, state: State, data: dict[str, Any]) -> None:
    """Take in where a thing was dragged to, or how large it was made."""
    dragged = _dragged(state, data)
    if dragged is None or page.draft is None:
        return
    key, by, how = dragged
    changes = await page.work.sketch(sized if how.sizes else moved, page.draft.source, key, by, how.pair)
    done = bool(changes) and await _change(page, changes or {}, "build-said", ("placed", key))
    if not done:
        state.drawing = ()
        await _draw(page, state)


def _pairs(page: Page, state: State, data: dict[str, Any]) -> None:
    del page
    state.pairs = data.get("value") is True


def _listed(page: Page, state: State) -> Content:
    groups: dict[str, list[Content]] = {}
    for kind in state.made:
        if page.season_open and kind.path[0] != "season":
            continue
        groups.setdefault(kind.group, []).append(_kind(page, state, kind))
    return [tag("section", tag("h2", group), rows) for group, rows in groups.items()]


def _kind(page: Page, state: State, kind: Made) -> Content:
    if not kind.one:
        return _link(state, kind.key, kind.label, bad=bool(kind.wrong))
    can = page.may_change and (can_be_added(kind.path) or any(t.into == kind.path for t in shelf()))
    add = tag("button", "Add", type="button", class_="add", data_do="add", data_of=kind.key,
              aria_label=f"Add {an(kind.one)}", data_key=f"add {kind.key}") if can else ""  # fmt: skip
    if not kind.names:
        return tag("div", tag("span", kind.label, class_="none"), add, class_="kind")
    here = [dotted((*kind.path, name)) for name in kind.names]
    count = tag("span", len(kind.names), class_="count")
    rows = [tag("li", _link(state, key, n, bad=n in kind.wrong)) for key, n in zip(here, kind.names, strict=True)]
    is_open = state.chosen in here or bool(kind.wrong) or (kind.path in _OPEN and len(rows) <= _FEW)
    typical = tag("p", f"{counted(kind.typical, 'number')} still typical", class_="fine") if kind.typical else ""
    inner = tag("details", tag("summary", kind.label, " ", count, data_key=f"k {kind.key}"), tag("ul", rows), typical,
                open=is_open)  # fmt: skip
    return tag("div", inner, add, class_="kind")


def _link(state: State, key: str, label: str, *, bad: bool) -> Markup:
    said = tag("span", " to mend", class_="bad") if bad else ""
    return tag("button", label, said, type="button", class_="pick", data_do="pick", data_of=key, data_key=f"p {key}",
               aria_current="true" if key == state.chosen else None)  # fmt: skip


async def _show_form(page: Page, state: State) -> None:
    thing = state.things.get(state.chosen)
    if thing is None or page.draft is None:
        return
    source = page.draft.source
    rows: tuple[Row, ...] = await page.queue.form(rows_of, source, thing.path)
    if page.draft is None or not set(source.texts) <= set(page.draft.source.texts):
        return  # a text was changed meanwhile, and is read again for that
    state.fields = {row.key: row for row in rows if isinstance(row, Field)}
    state.heads = {row.key: row for row in rows if isinstance(row, Head)}
    page.put("build-now", f": {thing.label}")
    kind = state.fields.get(f"{thing.key}.kind")
    head = _head(page, thing, f"{kind.value}: {kind.about.partition(': ')[2]}" if kind else "")
    if head != state.head:  # what was said there stays as long as the thing is the same
        state.head = head
        page.put("build-head", head)
    style = page.look().style
    declared = await page.queue.form(declared_at, source, thing.path)
    page.put("build-sketch", meaning(declared, thing.path, rows, style))
    main, rare = rows_shown((r for r in rows if r is not kind), style, may_change=page.may_change)
    state.rows.show(main)
    state.rare.show(rare)
    page.call("mark", "build-more", {"hidden": None if rare else "hidden"})
    page.put("build-rare-title", f"What is rarely said: {len(rare)}" if main else "What can be said")
    if rare and not main:
        page.call("mark", "build-more", {"open": "open"})


def _head(page: Page, thing: Thing, said: str) -> Content:
    title = tag("h2", thing.label, id="build-name")
    if not thing.named:
        return tag("div", title, class_="thing")
    kind = tag("p", said or thing.made.one, class_="fine")
    if not page.may_change:
        return tag("div", title, kind, class_="thing")
    name = tag("label", "Name ", tag("input", type="text", value=thing.label, id="build-rename", data_change="rename",
                                     data_of=thing.key, maxlength=60, autocomplete="off"))  # fmt: skip
    acts = [
        tag("button", word, type="button", data_do=do, data_of=thing.key, aria_label=f"{word} {thing.label}")
        for word, do in (("Copy", "copy"), ("Take away", "take"))
    ]
    said = tag("p", id="build-said", class_="said", role="alert")
    return tag("div", title, kind, tag("div", name, acts, class_="tools"), said, class_="thing")


async def _pick(page: Page, state: State, key: str) -> None:
    if key in state.things:
        state.chosen, state.at, state.panel = key, "", ""
        page.query["key"] = key  # it stays chosen where the view is built anew, as for other colours
        page.put("build-panel", "")
        if page.display.width < _NARROW:
            page.call("mark", "build-made", {"open": None})
        await _show(page, state)
        page.call("focus", "build-head")


async def _gone(page: Page, state: State, key: str) -> None:
    head = state.heads.get(key)
    if head is not None and head.named:
        await take(page, state, key)
    elif head is not None and head.gone:
        await _change(page, {head.path: GONE}, f"more-{field_id(head.path)}", None)


async def _more(page: Page, state: State, key: str, kind: str) -> None:
    """Ask for what one more entry needs, or another kind of what is there; at once where it needs nothing."""
    head = state.heads.get(key)
    if head is None or not (head.adds or kind in head.others) or page.draft is None:
        return
    place = f"more-{field_id(head.path)}"
    blanks = await page.queue.form(blanks_of, page.draft.source, head.path, kind)
    if not blanks and not head.listed:
        await _change(page, {head.path: {}}, place, None)
        return
    declared = await page.queue.form(declared_next, page.draft.source, head.path, kind)
    picture = meaning(declared, head.path, (), page.look().style)
    page.put(place, blank_form(head.key, blanks, kind or head.adds, kind, picture))
    if blanks:
        page.call("focus", f"in-{field_id(blanks[0].path)}")


async def _fill(page: Page, state: State, values: dict[str, Any]) -> None:
    head = state.heads.get(str(values.get("of")))
    if head is None or page.draft is None:
        return
    blanks = await page.queue.form(blanks_of, page.draft.source, head.path, str(values.get("as") or ""))
    try:
        path, entry = filled(blanks, head.path, {key: str(value)[:500] for key, value in values.items()})
    except BadInput as error:
        page.put("blank-said", said_there(error.problems))
        return
    if path == head.path and head.listed:
        path = (*path, sum(1 for h in state.heads.values() if h.path[:-1] == head.path))
    await _change(page, {path: entry}, "blank-said", None)


async def _change(page: Page, changes: dict[KeyPath, object], place: str, about: object) -> bool:
    """Change values; what cannot be is said at the place where it was typed."""
    try:
        return await page.editor.try_change(changes, about)
    except BadInput as error:
        page.put(place, said_there(error.problems))
    return False


def _known(page: Page, state: State, data: dict[str, Any]) -> Field:
    """The value that an element of the form stands for; nothing else can be changed from there."""
    found = state.fields.get(str(data.get("path")))
    if found is None or found.fixed or page.draft is None:
        expected = "expected a value of this form: reload the page"
        raise BadInput([Problem(page.workspace.folder.root, 1, 1, (), expected)])
    return found


def _move(page: Page, state: State, data: dict[str, Any]) -> None:
    found = _known(page, state, data)
    judged = found.sort == "quantity" and found.value and not page.season_open and not page.problems
    if judged:
        page.previewer.move(found.path, str(data.get("value"))[:100])
    else:
        page.call("moved")


async def _set(page: Page, state: State, data: dict[str, Any]) -> None:
    found = _known(page, state, data)
    part = str(data.get("part") or "value")
    if part not in ("value", *NUMBER_PARTS):
        return
    text = str(data.get("value"))[:500].replace("\n", " ").strip()
    said = f"{field_id(found.path)}-said"
    for rows in (state.rows, state.rare):  # the browser shows what was typed
        rows.spoil([found.key, row_key(found)])
    page.put(said, "")
    try:
        path, value = read_part(found, part, text)
    except BadInput as error:
        page.put(said, said_there(error.problems))
        page.call("mark", field_id(found.path), {"aria-invalid": "true"})
        return
    changes: dict[KeyPath, object] = {path: value}
    if found.typical and part == "value" and value is not GONE:  # a number of the team's own has a tolerance of its own
        changes = {(*path, "value"): value, (*path, "tolerance"): GONE}
    done = await _change(page, changes, said, ("set", path))
    page.call("mark", field_id(found.path), {"aria-invalid": None if done else "true"})


def _focused(page: Page, state: State, key: str) -> None:
    found = state.fields.get(key)
    if found is None:
        return
    if found.sort == "quantity" and found.value and not page.season_open and not page.problems:
        page.previewer.warm(found.path, found.value)
    if key != state.at:
        state.at = key
        _show_beside(page, state)


def _show_beside(page: Page, state: State) -> None:
    if page.season_open or page.judged is None:
        return
    report = page.judged.report
    value = state.fields.get(state.at)
    thing = state.things.get(state.chosen)
    key = state.chosen if value is None else state.at
    what = value.label if value is not None else f"'{thing.label}'" if thing is not None else ""
    inside = (f"{key}.", f"{key}[")
    found = [f for f in report.findings if any(f"{k}.".startswith(inside) for k in f.inputs)]
    if key.startswith("season."):  # a limit is no input of the finding that is named after it
        found += [f for f in report.findings if f"season.{f.id}.".startswith(f"{key.partition('[')[0]}.")]
    about = "The worst findings; move a number and watch."
    if found:
        about = f"{counted(len(found), 'finding')} that {'rest' if len(found) > 1 else 'rests'} on {what}."
    elif what:
        about = f"No finding rests on {what} as it stands; the worst are shown."
    page.put("beside-about", about)
    page.call("mark", "beside", {"data-idle": None if found else "yes"})
    rows = {key_of(f): finding_row(f, small=True) for f in (found or list(report.findings))[:_BESIDE]}
    state.beside.show(rows)


def _open_file(page: Page) -> Path:
    """Which of the draft's files is shown."""
    assert page.draft is not None
    wanted = page.query.get("which", "")
    texts = [path for path in page.draft.texts if path.suffix.lower() != ".xlsx"]
    return next((path for path in texts if path.name == wanted), page.draft.file)


def _build_text(page: Page) -> Markup:
    """Show the text of a file, with its mistakes marked."""
    assert page.draft is not None
    page.on("text", lambda data: _typed(page, data))
    page.on("line", lambda data: _to_line(page, data))
    page.on("which", lambda data: _which(page, data))
    shown = _open_file(page)
    label = tag("label", "Text of the file", for_="text-area", class_="unseen")
    area = tag(
        "textarea", page.draft.texts[shown], id="text-area", data_lines="text-lines", data_watch="text",
        spellcheck="false", wrap="off", autocapitalize="off", autocomplete="off", readonly=not page.may_change,
        aria_describedby="text-problems",
    )  # fmt: skip
    return join([
        tag("div", id="text-which", class_="tools"),
        tag("div", label, tag("div", id="text-lines", aria_hidden="true"), area, class_="editor"),
        tag("div", id="text-problems", role="status"),
    ])  # fmt: skip


def _typed(page: Page, data: dict[str, Any]) -> None:
    text = str(data.get("value", ""))
    if len(text.encode("utf-8", "replace")) > LARGEST:
        page.note(f"A file may have at most {LARGEST // 1_000_000} MB.", bad=True)
        return
    page.editor.put_texts({_open_file(page): text}, "text")


def _to_line(page: Page, data: dict[str, Any]) -> None:
    line, column = str(data.get("line")), str(data.get("column"))
    if line.isdecimal() and column.isdecimal():
        page.call("toLine", "text-area", int(line), int(column))


async def _which(page: Page, data: dict[str, Any]) -> None:
    page.query["which"] = str(data.get("value"))
    await page.again()


def _show_text(page: Page) -> None:
    """Mark the lines that are wrong, and put the text in place where it was changed elsewhere."""
    if page.draft is None:
        return
    shown = _open_file(page)
    page.call("mark", "text-area", {"value": page.draft.texts[shown]})
    here = [p for p in page.problems if p.file.name == shown.name]
    page.call("badLines", "text-area", sorted({p.line for p in here}))
    page.put("text-problems", _mistakes(page.problems, shown))
    names = [path.name for path in page.draft.texts if path.suffix.lower() != ".xlsx"]
    options = [tag("option", name, value=name, selected=name == shown.name) for name in names]
    page.put("text-which", tag("label", "File ", tag("select", options, data_change="which")))


def _mistakes(problems: tuple[Problem, ...], shown: Path) -> Markup:
    if not problems:
        return tag("p", "The text reads without a mistake.", class_="fine")
    rows = []
    for p in problems[:_LISTED]:
        hint = f" Did you mean {p.suggestion!r}?" if p.suggestion else ""
        told = f"{dotted(p.key)}: {p.expected}.{hint}" if p.key else f"{p.expected}.{hint}"
        place = f"line {p.line}, column {p.column}"
        if p.file.name == shown.name:
            where = tag(
                "button", place, type="button", class_="link", data_do="line", data_line=p.line, data_column=p.column
            )
        else:
            where = tag("span", f"{p.file.name}, {place}")
        rows.append(tag("li", where, " ", told))
    return tag(
        "div", tag("h2", counted(len(problems), "mistake")), tag("ul", rows, class_="problems"), class_="trouble"
    )
