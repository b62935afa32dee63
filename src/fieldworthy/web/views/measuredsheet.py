"""One procedure: its cautions and steps, a form for its blanks, tables brought along, and what the readings give."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldworthy.files.problems import BadInput, Problem, dotted
from fieldworthy.measure.sheets import RULES, Sheet, sheets
from fieldworthy.web.blanks import Group, blanks
from fieldworthy.web.components import heading
from fieldworthy.web.entering import Form, Typed, entered, form, path_of
from fieldworthy.web.markup import Content, Markup, address, tag
from fieldworthy.web.measuring import Card, drawn_readings, told
from fieldworthy.web.pictures import Named
from fieldworthy.web.readings import Memory, Readings
from fieldworthy.web.screen import field_id, plain_sentences, sentences
from fieldworthy.web.views.measuredfit import SIGNS, card_body, values_of
from fieldworthy.web.views.measuredform import drawn_form
from fieldworthy.web.views.measuredtable import build_table
from fieldworthy.web.views.robot import pictures_of

if TYPE_CHECKING:
    from fieldworthy.web.page import Page

_LACKS = "this key is missing"  # how a file is told; a form has blanks
_LOOK = 1.5  # s between two looks at the disk
_FIGURES = 4  # that are shown at once
_LONGEST = 300  # characters of what is typed into one blank


@dataclass(slots=True)
class Desk:
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
        units = self.memory.units.get(self.part, self.page.liking.units)
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
        self.memory.units.setdefault(self.part, self.page.liking.units)
        for key, text in texts.items():
            if key in known and text.strip() == shown.get(key, ""):
                self.typed.pop(key, None)
            elif key in known:
                self.typed[key] = text[:_LONGEST]
        if not self.typed and not self.memory.more.get(self.part):
            self.memory.forget(self.part)


async def build_sheet(page: Page, memory: Memory, file: Path, part: str) -> None:
    """Show one procedure."""
    desk = Desk(page, memory, file, part)
    section, *entry = map(str, path_of(part))
    back = tag("a", "← All procedures", href=address("measurements", file=page.file), data_go=True)
    sheet = sheets().get(section)
    if sheet is None:
        page.fill(heading("Measurements"), tag("p", "There is no such procedure."), back)
        return
    name = f": {entry[0]}" if entry else ""
    page.fill(
        back,
        heading(f"{sheet.title}{name}"),
        _sheet(sheet),
        tag("div", id="sheet-table"),
        tag("section", tag("h2", "Readings"), tag("div", id="sheet-said", role="alert"), tag("div", id="sheet-form")),
        tag("section", id="sheet-told", aria_live="polite"),
    )
    page.on("typed", lambda data: desk.note({str(data.get("of")): str(data.get("value"))}))
    page.on("grow", lambda data: _grow(desk, str(data.get("of"))))
    page.on("put", lambda data: _put(desk, values_of(data)))
    page.on("put-mine", lambda _: _put(desk, {}, over=True))
    page.on("take-theirs", lambda _: _theirs(desk))
    watch(page, file, lambda: page.later(_moved(desk)))
    if await show_form(desk) and desk.form is not None:
        if desk.form.tables and page.may_change:
            build_table(desk)
        if desk.form.group.there:
            await _tell(desk)


def _sheet(sheet: Sheet) -> Content:
    """Cautions first, then tools and steps."""
    cautions = tag("ul", [tag("li", caution) for caution in (*sheet.cautions, RULES)], class_="caution")
    tools = tag("p", tag("b", "You need: "), "; ".join(sheet.tools), ".")
    steps = tag("ol", [tag("li", step) for step in sheet.steps], class_="steps")
    how = tag("details", tag("summary", tag("h2", "What to do")), tools, steps, open=True, class_="panel told")
    return [tag("p", f"It tells {sheet.gives}.", class_="lead"), cautions, how]


async def show_form(desk: Desk) -> bool:
    """Draw the form anew, with what was typed in it."""
    page = desk.page
    assert page.draft is not None
    try:
        readings = Readings.read(desk.file)
        desk.form = await page.bench.sketch(form, page.draft.source, readings, desk.typing(), date.today())
    except BadInput as error:
        page.put("sheet-form", tag("div", tag("p", "This cannot be read as it stands; mend it in its text."),
                 plain_sentences(error.problems), class_="trouble"))  # fmt: skip
        return False
    texts = dict(desk.form.preset) | desk.typed
    page.put("sheet-form", drawn_form(desk.form.group, texts, desk.file.name, may_change=page.may_change))
    return True


async def _grow(desk: Desk, key: str) -> None:
    """Add a row to a list of the form."""
    group = _group(desk.form.group, key) if desk.form else None
    if group is None or not desk.page.may_change:
        return
    more = desk.memory.more.setdefault(desk.part, {})
    more[key] = more.get(key, 0) + 1
    if await show_form(desk):
        desk.page.call("focus", field_id((*group.path, len(group.items))))


def _group(group: Group, key: str) -> Group | None:
    for item in group.items:
        if isinstance(item, Group):
            found = item if item.key == key and item.kind == "list" else _group(item, key)
            if found is not None:
                return found
    return None


async def _put(desk: Desk, values: dict[str, Any], *, over: bool = False) -> None:
    """Put what was typed into the file, over the text that it was read from and no other."""
    page = desk.page
    if page.draft is None or desk.form is None or desk.busy:
        return
    if not page.may_change:
        page.note("You are a visitor here: you can look at everything, and change nothing.", bad=True)
        return
    desk.note({str(key): str(text) for key, text in values.items()})
    desk.busy = True
    try:
        readings = Readings.read(desk.file)
        base = None if over else tuple(desk.memory.base.get(desk.part, desk.form.said).items())
        found = await page.bench.quick.run(entered, page.draft.source, readings, desk.typing(), base)
        if found.clash:
            page.put("sheet-said", _clash(desk, found.clash))
            return
        readings.put(found.text)
    except BadInput as error:
        _show_problems(desk, error.problems)
        return
    finally:
        desk.busy = False
    desk.memory.keep(desk.file, readings.text, found.text)
    desk.memory.forget(desk.part)
    desk.part = desk.part.replace(":+", ":", 1)  # the file has it now
    page.put("sheet-said", "")
    page.note(f"Your readings are in {desk.file.name}.")
    if await show_form(desk):
        await _tell(desk)


def _show_problems(desk: Desk, problems: tuple[Problem, ...]) -> None:
    """Say at each blank what is wrong there; what belongs to none is said above the form."""
    page, group = desk.page, desk.form.group if desk.form else None
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


def _clash(desk: Desk, clash: tuple[tuple[str, str, str], ...]) -> Markup:
    """Ask, where the file has other readings of this procedure by now."""
    rows = [
        tag("li", f"{key}: the file said {was or 'nothing'} when you began, and says {now or 'nothing'} now; you have "
            f"{desk.typed.get(key, was) or 'nothing'}.")
        for key, was, now in clash[:20]
    ]  # fmt: skip
    mine = tag("button", "Put mine in its place", type="button", data_do="put-mine")
    theirs = tag("button", "Take the file's, give up mine", type="button", data_do="take-theirs")
    head = f"These readings were changed in {desk.file.name} meanwhile. Nothing was written."
    return tag("div", tag("p", head), tag("ul", rows), tag("div", mine, theirs, class_="choices"), class_="trouble")


async def _theirs(desk: Desk) -> None:
    desk.memory.forget(desk.part)
    desk.page.put("sheet-said", "")
    if await show_form(desk) and desk.form is not None and desk.form.group.there:
        await _tell(desk)


async def _moved(desk: Desk) -> None:
    """Say that the file has other readings of this procedure; what is being typed stays as it is."""
    page = desk.page
    if page.draft is None or desk.form is None or desk.busy or desk.typed:
        return  # who has typed something is asked when that is put into the file
    try:
        now = await page.bench.sketch(form, page.draft.source, Readings.read(desk.file), desk.typing(), date.today())
    except BadInput as error:
        page.put("sheet-said", tag("div", tag("p", f"{desk.file.name} cannot be read any more."),
                 plain_sentences(error.problems), class_="trouble"))  # fmt: skip
        return
    if now.said == desk.form.said:
        return
    show = tag("button", "Show them", type="button", data_do="take-theirs")
    head = tag("p", f"{desk.file.name} has other readings of this procedure now.")
    page.put("sheet-said", tag("div", head, tag("div", show, class_="choices"), class_="trouble"))


async def _tell(desk: Desk) -> None:
    """Say what this procedure's readings give, with figures."""
    page = desk.page
    if page.draft is None or page.problems:
        return
    page.put("sheet-told", tag("h2", "What these readings tell"), tag("p", "Being fitted …", class_="fine"))
    source, units = page.draft.source, page.liking.units
    try:
        long = desk.form is not None and desk.form.tables  # logs take seconds: sliders do not wait for them
        run = page.bench.compute if long else page.bench.sketch
        found: Card = await run(told, source, Readings.read(desk.file), desk.part, units)
    except BadInput as error:
        page.put("sheet-told", tag("h2", "What these readings tell"), tag("div", tag("p", "Nothing yet:"),
                 plain_sentences(error.problems), class_="trouble"))  # fmt: skip
        return
    figures = await page.drawn(drawn_readings, source, found.procedure, page.look()) or ()
    if page.view == "measurements" and page.query.get("part") is not None:
        page.put("sheet-told", _told(desk, found), _pictures(page, figures))


def _pictures(page: Page, figures: Named) -> Content:
    """The figures; many are folded away."""
    shown = tag("div", pictures_of(page, figures), class_="figures")
    if len(figures) <= _FIGURES:
        return shown
    summary = tag("summary", f"Readings against the model: {len(figures)} figures")
    return tag("div", tag("details", summary, shown), class_="told")


def _told(desk: Desk, card: Card) -> Content:
    held = [
        tag("li", tag("span", SIGNS[item.standing], class_="verdict"), " ", item.sentence, data_standing=item.standing)
        for item in card.held
    ]
    link = tag("a", "Fit all readings and take them into the robot",
               href=address("measurements", file=desk.page.file), data_go=True)  # fmt: skip
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
