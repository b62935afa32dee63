"""One procedure: its cautions and steps, a form for its blanks, tables brought along, and what the readings give."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from fieldworthy.files.document import BadInput, Problem, dotted
from fieldworthy.files.writing import fingerprint
from fieldworthy.measure.sheets import RULES, Sheet, sheets
from fieldworthy.web.components import heading, pictures_of, upload, values_of
from fieldworthy.web.figures import Named
from fieldworthy.web.markup import Content, Markup, address, field_id, plain_sentences, sentences, tag
from fieldworthy.web.page import Page
from fieldworthy.web.procedures import Blank, Form, Group, Typed, blanks, entered, form, path_of
from fieldworthy.web.readings import Arrived, Memory, Readings, looked_at, place
from fieldworthy.web.runs import Card, drawn_readings, told
from fieldworthy.web.views.fit import SIGNS, card_body

_LACKS = "this key is missing"  # how a file is told; a form has blanks
_LOOK = 1.5  # s between two looks at the disk
_FIGURES = 4  # that are shown at once
_LONGEST = 300  # characters of what is typed into one blank


@dataclass(slots=True)
class OpenSheet:
    """One procedure in one window.

    Attributes
    ----------
    page : The window
    memory : What this tab has typed
    file : The measurements file
    part : The procedure, as in the address
    form : As it is shown
    busy : Whether an entry is on its way into the file
    """

    page: Page
    memory: Memory
    file: Path
    part: str
    form: Form | None = None
    busy: bool = False

    @property
    def typed(self) -> dict[str, str]:
        """What was typed here and is not in the file yet."""
        return self.memory.typed.setdefault(self.part, {})

    def typing(self) -> Typed:
        """What was typed, frozen, with what stands in a new procedure's blanks."""
        preset = dict(self.form.preset) if self.form else {}
        more = tuple(self.memory.more.get(self.part, {}).items())
        # a bare number keeps the unit that stood beside it when it was typed
        units = self.memory.units.get(self.part, self.page.display.units)
        return Typed(self.part, tuple((preset | self.typed).items()), more, units)

    async def redraw(self) -> None:
        """Draw the form anew."""
        await show_form(self)

    def note(self, texts: dict[str, str]) -> None:
        """Keep what was typed, beside what the file said then."""
        if self.form is None:
            return
        shown = self.form.said | dict(self.form.preset)
        known = {blank.key for blank in blanks(self.form.group)}
        self.memory.base.setdefault(self.part, self.form.said)
        self.memory.units.setdefault(self.part, self.page.display.units)
        for key, text in texts.items():
            if key in known and text.strip() == shown.get(key, ""):
                self.typed.pop(key, None)
            elif key in known:
                self.typed[key] = text[:_LONGEST]
        if not self.typed and not self.memory.more.get(self.part):
            self.memory.forget(self.part)


async def build_sheet(page: Page, memory: Memory, file: Path, part: str) -> None:
    """Show one procedure."""
    opened = OpenSheet(page, memory, file, part)
    section, *entry = map(str, path_of(part))
    back = tag("a", "← All procedures", href=address("measurements", file=page.file), data_go=True)
    sheet = sheets().get(section)
    if sheet is None:
        page.fill(heading("Measurements"), tag("p", "There is no such procedure."), back)
        return
    name = f": {entry[0]}" if entry else ""
    page.fill(
        back,
        heading(f"{sheet.title}{name}", "basis", "tolerance"),
        _sheet(sheet),
        tag("div", id="sheet-table"),
        tag("section", tag("h2", "Readings"), tag("div", id="sheet-said", role="alert"), tag("div", id="sheet-form")),
        tag("section", id="sheet-told", aria_live="polite"),
    )
    page.on("typed", lambda data: opened.note({str(data.get("of")): str(data.get("value"))}))
    page.on("grow", lambda data: _grow(opened, str(data.get("of"))))
    page.on("put", lambda data: _put(opened, values_of(data)))
    page.on("put-mine", lambda _: _put(opened, {}, over=True))
    page.on("take-theirs", lambda _: _theirs(opened))
    watch(page, file, lambda: page.later(_moved(opened)))
    if await show_form(opened) and opened.form is not None:
        if opened.form.tables and page.may_change:
            build_table(opened)
        if opened.form.group.there:
            await _tell(opened)


def _sheet(sheet: Sheet) -> Content:
    """Cautions first, then tools and steps."""
    cautions = tag("ul", [tag("li", caution) for caution in (*sheet.cautions, RULES)], class_="caution")
    tools = tag("p", tag("b", "You need: "), "; ".join(sheet.tools), ".")
    steps = tag("ol", [tag("li", step) for step in sheet.steps], class_="steps")
    how = tag("details", tag("summary", tag("h2", "What to do")), tools, steps, open=True, class_="panel told")
    return [tag("p", f"It tells {sheet.gives}.", class_="lead"), cautions, how]


async def show_form(opened: OpenSheet) -> bool:
    """Draw the form anew, with what was typed in it."""
    page = opened.page
    assert page.draft is not None
    try:
        readings = Readings.read(opened.file)
        opened.form = await page.queue.sketch(form, page.draft.source, readings, opened.typing(), date.today())
    except BadInput as error:
        page.put("sheet-form", tag("div", tag("p", "This cannot be read as it stands; mend it in its text."),
                 plain_sentences(error.problems), class_="trouble"))  # fmt: skip
        return False
    texts = dict(opened.form.preset) | opened.typed
    page.put("sheet-form", drawn_form(opened.form.group, texts, opened.file.name, may_change=page.may_change))
    return True


async def _grow(opened: OpenSheet, key: str) -> None:
    """Add a row to a list of the form."""
    group = _group(opened.form.group, key) if opened.form else None
    if group is None or not opened.page.may_change:
        return
    more = opened.memory.more.setdefault(opened.part, {})
    more[key] = more.get(key, 0) + 1
    if await show_form(opened):
        opened.page.call("focus", field_id((*group.path, len(group.items))))


def _group(group: Group, key: str) -> Group | None:
    for item in group.items:
        if isinstance(item, Group):
            found = item if item.key == key and item.kind == "list" else _group(item, key)
            if found is not None:
                return found
    return None


async def _put(opened: OpenSheet, values: dict[str, Any], *, over: bool = False) -> None:
    """Put what was typed into the file, over the text that it was read from and no other."""
    page = opened.page
    if page.draft is None or opened.form is None or opened.busy:
        return
    if not page.may_change:
        page.note("You are a visitor here: you can look at everything, and change nothing.", bad=True)
        return
    opened.note({str(key): str(text) for key, text in values.items()})
    opened.busy = True
    try:
        readings = Readings.read(opened.file)
        base = None if over else tuple(opened.memory.base.get(opened.part, opened.form.said).items())
        found = await page.queue.quick.run(entered, page.draft.source, readings, opened.typing(), base)
        if found.clash:
            page.put("sheet-said", _clash(opened, found.clash))
            return
        readings.put(found.text)
    except BadInput as error:
        _show_problems(opened, error.problems)
        return
    finally:
        opened.busy = False
    opened.memory.keep(opened.file, readings.text, found.text)
    opened.memory.forget(opened.part)
    opened.part = opened.part.replace(":+", ":", 1)  # the file has it now
    page.put("sheet-said", "")
    page.note(f"Your readings are in {opened.file.name}.")
    if await show_form(opened):
        await _tell(opened)


def _show_problems(opened: OpenSheet, problems: tuple[Problem, ...]) -> None:
    """Say at each blank what is wrong there; what belongs to none is said above the form."""
    page, group = opened.page, opened.form.group if opened.form else None
    if group is None:
        return
    inputs = {blank.path for blank in blanks(group)}
    places = inputs | set(_places(group))
    for path in places:
        page.put(f"{field_id(path)}-said", "")
        page.call("mark", field_id(path), {"aria-invalid": None})
    rest, first = [], None
    for p in problems:
        at = next((p.key[:end] for end in range(len(p.key), 0, -1) if p.key[:end] in places), None)
        if at is None:
            rest.append(sentences((p,)))
            continue
        within, expected = dotted(p.key[len(at) :]), p.expected.replace(_LACKS, "needed: fill it in")
        hint = f" Did you mean {p.suggestion!r}?" if p.suggestion else ""
        page.put(f"{field_id(at)}-said", f"{f'{within}: ' if within else ''}{expected}.{hint}")
        if at in inputs:
            page.call("mark", field_id(at), {"aria-invalid": "true"})
        first = first or at
    said = [tag("li", text) for text in rest]
    what = "one reading needs" if len(problems) == 1 else f"{len(problems)} readings need"
    head = f"Nothing was written: {what} another look."
    page.put("sheet-said", tag("div", tag("p", head), tag("ul", said) if said else "", class_="trouble"))
    if first is not None:
        page.call("focus", field_id(first))


def _places(group: Group) -> list[tuple[str | int, ...]]:
    below = [item for item in group.items if isinstance(item, Group)]
    return [inner.path for inner in below] + [path for inner in below for path in _places(inner)]


def _clash(opened: OpenSheet, clash: tuple[tuple[str, str, str], ...]) -> Markup:
    """Ask, where the file has other readings of this procedure by now."""
    rows = [
        tag("li", f"{key}: the file said {was or 'nothing'} when you began, and says {now or 'nothing'} now; you have "
            f"{opened.typed.get(key, was) or 'nothing'}.")
        for key, was, now in clash[:20]
    ]  # fmt: skip
    mine = tag("button", "Put mine in its place", type="button", data_do="put-mine")
    theirs = tag("button", "Take the file's, give up mine", type="button", data_do="take-theirs")
    head = f"These readings were changed in {opened.file.name} meanwhile. Nothing was written."
    return tag("div", tag("p", head), tag("ul", rows), tag("div", mine, theirs, class_="choices"), class_="trouble")


async def _theirs(opened: OpenSheet) -> None:
    opened.memory.forget(opened.part)
    opened.page.put("sheet-said", "")
    if await show_form(opened) and opened.form is not None and opened.form.group.there:
        await _tell(opened)


async def _moved(opened: OpenSheet) -> None:
    """Say that the file has other readings of this procedure; what is being typed stays as it is."""
    page = opened.page
    if page.draft is None or opened.form is None or opened.busy or opened.typed:
        return  # who has typed something is asked when that is put into the file
    try:
        now = await page.queue.sketch(
            form, page.draft.source, Readings.read(opened.file), opened.typing(), date.today()
        )
    except BadInput as error:
        page.put("sheet-said", tag("div", tag("p", f"{opened.file.name} cannot be read any more."),
                 plain_sentences(error.problems), class_="trouble"))  # fmt: skip
        return
    if now.said == opened.form.said:
        return
    show = tag("button", "Show them", type="button", data_do="take-theirs")
    head = tag("p", f"{opened.file.name} has other readings of this procedure now.")
    page.put("sheet-said", tag("div", head, tag("div", show, class_="choices"), class_="trouble"))


async def _tell(opened: OpenSheet) -> None:
    """Say what this procedure's readings give, with figures."""
    page = opened.page
    if page.draft is None or page.problems:
        return
    page.put("sheet-told", tag("h2", "What these readings tell"), tag("p", "Being fitted …", class_="fine"))
    source, units = page.draft.source, page.display.units
    try:
        long = opened.form is not None and opened.form.tables  # logs take seconds: sliders do not wait for them
        run = page.queue.compute if long else page.queue.sketch
        found: Card = await run(told, source, Readings.read(opened.file), opened.part, units)
    except BadInput as error:
        page.put("sheet-told", tag("h2", "What these readings tell"), tag("div", tag("p", "Nothing yet:"),
                 plain_sentences(error.problems), class_="trouble"))  # fmt: skip
        return
    figures = await page.work.draw(drawn_readings, source, found.procedure, page.look()) or ()
    if page.view == "measurements" and page.query.get("part") is not None:
        page.put("sheet-told", _told(opened, found), _pictures(page, figures))


def _pictures(page: Page, figures: Named) -> Content:
    """The figures; many are folded away."""
    shown = tag("div", pictures_of(page, figures), class_="figures")
    if len(figures) <= _FIGURES:
        return shown
    summary = tag("summary", f"Readings against the model: {len(figures)} figures")
    return tag("div", tag("details", summary, shown), class_="told")


def _told(opened: OpenSheet, card: Card) -> Content:
    held = [
        tag("li", tag("span", SIGNS[item.standing], class_="verdict"), " ", item.sentence, data_standing=item.standing)
        for item in card.held
    ]
    link = tag("a", "Fit all readings and take them into the robot",
               href=address("measurements", file=opened.page.file), data_go=True)  # fmt: skip
    beside = tag("section", tag("h3", "Beside the robot file"), tag("ul", held, class_="held")) if held else ""
    return [tag("h2", "What these readings tell"), card_body(card), beside, tag("p", link)]


def watch(page: Page, file: Path, moved: Callable[[], None]) -> None:
    """Look at a measurements file again and again for as long as the view is shown."""
    gone: list[bool] = []
    page.on_leave(lambda: gone.append(True))

    async def look() -> None:
        seen = _stamp(file)
        while not gone and not page.client.is_deleted:
            await asyncio.sleep(_LOOK)
            now = _stamp(file)
            if now != seen and not gone:
                seen = now
                moved()

    page.later(look())


def _stamp(file: Path) -> tuple[int, int]:
    try:
        found = file.stat()
    except OSError:
        return 0, 0
    return found.st_mtime_ns, found.st_size


_MODES = {"whole": "numeric", "number": "text", "quantity": "decimal"}


def drawn_form(group: Group, texts: Mapping[str, str], file: str, *, may_change: bool) -> Markup:
    """Write a procedure's form."""
    drawing = _Drawing(texts, may_change, len(group.path) + 1 if group.there else 0)
    plain = [item for item in group.items if not (isinstance(item, Blank) and item.minor)]
    minor = [item for item in group.items if isinstance(item, Blank) and item.minor]
    near = ""
    if minor:
        filled = any(texts.get(item.key, item.value) for item in minor)
        title = tag("summary", "How near the tools read (where you leave it empty, what stands in the blank is taken)")
        near = tag("details", title, tag("div", [drawing.blank(item) for item in minor], class_="fields"), open=filled)
    button = tag("button", f"Put into {file}", type="submit", class_="main") if may_change else ""
    return tag("form", drawing.items(plain), near, tag("div", button, class_="tools"), data_submit="put",
               class_="sheet", autocomplete="off")  # fmt: skip


class _Drawing:
    """Writes blanks and groups with what was typed in them."""

    def __init__(self, texts: Mapping[str, str], may_change: bool, folded: int) -> None:
        self._texts, self._may_change = texts, may_change
        self._folded = folded  # keys of the path of a group that is folded away while it is empty
        self._said: set[str] = set()

    def items(self, items: list[Blank | Group]) -> list[Content]:
        """Blanks side by side, groups each on their own."""
        found: list[Content] = []
        row: list[Markup] = []
        for item in items:
            if isinstance(item, Blank):
                row.append(self.blank(item))
                continue
            found += [tag("div", row, class_="fields")] if row else []
            row = []
            found.append(self.group(item))
        return [*found, tag("div", row, class_="fields")] if row else found

    def once(self, about: str) -> str:
        """A sentence about a blank; the next rows of the same list do without it."""
        if about in self._said:
            return ""
        self._said.add(about)
        return about

    def group(self, group: Group) -> Markup:
        """A group; one that the file does without is folded away."""
        drawn = self._fieldset(group)
        empty = not group.there and not any(self._texts.get(blank.key) for blank in blanks(group))
        if group.kind == "mapping" and len(group.path) == self._folded and empty:
            return tag("details", tag("summary", f"{group.label}: {group.about or 'not in the file'}"), drawn)
        return drawn

    def _fieldset(self, group: Group) -> Markup:
        identifier = field_id(group.path)
        told = self.once(group.about)
        about = tag("p", told, class_="fine") if told else ""
        said = tag("p", id=f"{identifier}-said", class_="said", role="alert")
        add = ""
        if group.kind == "list" and self._may_change:
            add = tag("button", "+ one more" if group.items else "+ add one", type="button", data_do="grow",
                      data_of=group.key, id=f"{identifier}-grow", aria_label=f"Add to {group.label}")  # fmt: skip
        plain = group.kind == "list" and all(isinstance(item, Blank) for item in group.items)
        inner = [self.reading(item) for item in group.items if isinstance(item, Blank)] if plain else None
        body = tag("div", inner, add, class_="readings") if inner else [self.items(list(group.items)), add]
        return tag("fieldset", tag("legend", group.label), about, body, said, id=identifier, tabindex="-1",
                   class_="row" if isinstance(group.path[-1], int) else "group")  # fmt: skip

    def blank(self, blank: Blank) -> Markup:
        """One value with its label above and its unit beside."""
        identifier = field_id(blank.path)
        told = self.once(blank.about)
        about = tag("small", told, id=f"{identifier}-about") if told else ""
        said = tag("p", id=f"{identifier}-said", class_="said", role="alert")
        label = tag("label", blank.label, for_=identifier)
        return tag("div", label, self._box(blank, f"{identifier}-about" if told else ""), about, said,
                   class_="field")  # fmt: skip

    def reading(self, blank: Blank) -> Markup:
        """One of several readings in a row."""
        said = tag("p", id=f"{field_id(blank.path)}-said", class_="said", role="alert")
        return tag("div", self._box(blank, "", name=blank.label), said, class_="reading")

    def _box(self, blank: Blank, about: str, name: str = "") -> Markup:
        identifier, text = field_id(blank.path), self._texts.get(blank.key, blank.value)
        shared: dict[str, Any] = {
            "id": identifier, "name": blank.key, "data_change": "typed", "data_of": blank.key,
            "aria_describedby": f"{about} {identifier}-said".strip(), "aria_label": name or None,
        }  # fmt: skip
        if blank.choices and self._may_change:
            empty = f"{blank.default} (where nothing is said)" if blank.default else "–"
            words = ["", *(blank.choices if text in ("", *blank.choices) else (text, *blank.choices))]
            options = [tag("option", word or empty, value=word, selected=word == text) for word in words]
            return tag("div", tag("select", options, **shared), class_="box")
        mode = "text" if blank.signed and blank.sort == "quantity" else _MODES.get(blank.sort)
        box = tag("input", type="date" if blank.sort == "date" else "text", value=text, maxlength=200, inputmode=mode,
                  placeholder=blank.default or None, title=blank.bounds or None, readonly=not self._may_change,
                  class_="number" if blank.sort in _MODES else None, **shared)  # fmt: skip
        return tag("div", box, tag("span", blank.unit, class_="unit") if blank.unit else "", class_="box")


def build_table(opened: OpenSheet) -> None:
    """Let the person bring a table."""
    waiting: dict[str, tuple[bytes, Arrived]] = {}

    async def take(name: str, content: bytes) -> str:
        found = await opened.page.queue.quick.run(
            looked_at, str(path_of(opened.part)[0]), name, content, _columns(opened)
        )
        target = _target(opened, name)
        if target.exists() and fingerprint(target) != fingerprint(content):
            waiting.clear()
            waiting[name] = (content, found)
            opened.page.put("table-asked", _asked(name, found))
            return f"{name} is there already: choose below."
        opened.page.put("table-asked", _remarks(found.told))
        if not target.exists():
            place(target, content.decode("utf-8-sig"), date.today())
        await _name(opened, name, found)
        return f"{name} is beside {opened.file.name} and named in the form: look it over, then put it into the file."

    async def replace() -> None:
        if not opened.page.may_change or not waiting:
            return
        name, (content, found) = waiting.popitem()
        kept = place(_target(opened, name), content.decode("utf-8-sig"), date.today())
        old = f"; the old one is kept as {kept[0]}" if kept else ""
        opened.page.put("table-asked", tag("p", f"{name} is the new one{old}."), _remarks(found.told))
        await _name(opened, name, found)

    def leave() -> None:
        waiting.clear()
        opened.page.put("table-asked", tag("p", "The old one stays; nothing was written."))

    opened.page.on("table-replace", lambda _: replace())
    opened.page.on("table-leave", lambda _: leave())
    field = upload(opened.page, "Log or table (.csv), up to 2 MB", (".csv",), take)
    opened.page.put("sheet-table", tag("section", tag("h2", "Bring a table"), field,
                   tag("div", id="table-asked", aria_live="polite"), class_="panel"))  # fmt: skip


def _target(opened: OpenSheet, name: str) -> Path:
    folder = opened.page.workspace.folder
    target = folder.path(folder.name(opened.file.with_name(name)))
    if target.is_dir():
        raise BadInput([Problem(Path(name), 1, 1, (), "expected another name: a folder is called so")])
    return target


def _columns(opened: OpenSheet) -> tuple[tuple[str, str, str], ...]:
    """The columns as the form names them: what was typed, else what the file says."""
    if opened.form is None:
        return ()
    texts = opened.form.said | opened.typed
    head = _key(opened, "columns.")
    quantities = {key[len(head) :].partition(".")[0] for key, text in texts.items() if key.startswith(head) and text}
    named = ((q, texts.get(f"{head}{q}.column", ""), texts.get(f"{head}{q}.unit", "")) for q in sorted(quantities))
    return tuple((quantity, column, unit) for quantity, column, unit in named if column)


def _key(opened: OpenSheet, rest: str) -> str:
    assert opened.form is not None
    return f"{opened.form.group.key}.{rest}"


def _asked(name: str, found: Arrived) -> list[Content]:
    buttons = [
        tag("button", f"Replace {name}, keep a dated copy", type="button", data_do="table-replace"),
        tag("button", "Leave the old one", type="button", data_do="table-leave", class_="main"),
    ]
    head = tag("p", f"Another {name} is there already. Nothing has been overwritten.")
    return [tag("div", head, tag("div", buttons, class_="choices"), class_="trouble"), _remarks(found.told)]


def _remarks(sentences: tuple[str, ...]) -> Markup:
    return tag("ul", [tag("li", sentence) for sentence in sentences], class_="rows-told")


async def _name(opened: OpenSheet, name: str, found: Arrived) -> None:
    """Name the table in the form, with the columns that were recognised; as yet unsaved."""
    assert opened.form is not None
    texts = {_key(opened, f"columns.{quantity}.column"): column for quantity, column in found.columns}
    shown = opened.form.said | opened.typed
    if path_of(opened.part)[0] != "drive":
        texts[_key(opened, "file")] = name
    elif name not in [text for key, text in shown.items() if key.endswith(".file")]:
        logs, more = _key(opened, "logs"), opened.memory.more.setdefault(opened.part, {})
        used = len({key for key in shown if key.startswith(f"{logs}[") and key.endswith(".file")})
        texts[f"{logs}[{used}].file"] = name
        have = sum(key.startswith(f"{logs}[") and key.endswith(".file") for key in opened.form.said)
        more[logs] = max(more.get(logs, 0), used + 1 - have)
        await opened.redraw()  # so that the form has the row
    opened.note(texts)
    await opened.redraw()
