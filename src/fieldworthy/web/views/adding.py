"""What puts things on a robot and takes them away: the shelf of typical ones, copies, names, what goes with a thing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, TypeVar

from fieldworthy.engine.system import shelf
from fieldworthy.files.document import BadInput, KeyPath, dotted
from fieldworthy.robot.shelf import can_be_added
from fieldworthy.robot.things import Removal
from fieldworthy.units import an
from fieldworthy.web.components import Rows
from fieldworthy.web.form import Field, Head, Made, words_of
from fieldworthy.web.judging import Source, copy_in, put_on, rename_in, taken_from
from fieldworthy.web.markup import Content, Markup, field_id, said_there, tag
from fieldworthy.web.page import Page
from fieldworthy.web.placing import dropped
from fieldworthy.web.worker import Broken

T = TypeVar("T")
_GRIP = tag("span", "⠿", aria_hidden="true", class_="grip by-mouse")


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing that can be chosen: where it stands, what it is called, and of which kind it is."""

    path: KeyPath
    label: str
    made: Made

    @property
    def key(self) -> str:
        """Names it in addresses and buttons."""
        return dotted(self.path)

    @property
    def named(self) -> bool:
        """Whether it is one of several, with a name that can be changed."""
        return self.path != self.made.path


@dataclass(slots=True)
class State:
    """What this view of one window shows.

    Attributes
    ----------
    rows, rare, beside : The form's values, those rarely said, and the findings beside them
    made : What the robot is made of
    things : Every thing by its key
    fields : The values of the chosen thing, by key
    chosen : The key of the thing whose form is shown
    at : The key that has the focus, or had it last
    panel : What stands above the form: ``shelf KEY``, ``take KEY``, or nothing
    removal : What would go with the thing that is to be taken away
    removed : Where that thing stands, and the files in which it was looked for
    pairs : Whether things that mirror each other move together
    drawing, head : The views, and what stands over the form, as they were sent last
    """

    rows: Rows
    rare: Rows
    beside: Rows
    made: tuple[Made, ...] = ()
    things: dict[str, Thing] = field(default_factory=dict)
    fields: dict[str, Field] = field(default_factory=dict)
    heads: dict[str, Head] = field(default_factory=dict)
    chosen: str = ""
    at: str = ""
    panel: str = ""
    removal: Removal | None = None
    removed: tuple[KeyPath, Source | None] = ((), None)
    pairs: bool = True
    drawing: tuple[Markup, ...] = ()
    head: Content = None


def listen(page: Page, state: State) -> None:
    """Do what buttons of the list, the shelf and the head of a form ask."""
    page.on("add", lambda data: _add(page, state, str(data.get("of"))))
    page.on("shelf", lambda data: _from_shelf(page, state, str(data.get("of")), str(data.get("place"))))
    page.on("dropped", lambda data: _dropped(page, state, data))
    page.on("copy", lambda data: _copy(page, state, str(data.get("of"))))
    page.on("rename", lambda data: _rename(page, state, str(data.get("of")), str(data.get("value"))))
    page.on("take", lambda data: take(page, state, str(data.get("of"))))
    page.on("taken", lambda _: _taken(page, state))
    page.on("close", lambda _: _close(page, state))


async def _work(page: Page, place: str, function: Callable[..., T], *arguments: Any) -> T | None:
    """Have something done to the files; what cannot be is said where it was asked."""
    if page.draft is None or not page.editor.allowed():
        return None
    page.put(place, "")
    try:
        return await page.queue.quick.run(function, page.draft.source, *arguments)
    except BadInput as error:
        page.put(place, said_there(error.problems))
    except Broken as error:
        page.note(str(error), bad=True)
    return None


async def _add(page: Page, state: State, key: str) -> None:
    kind = next((m for m in state.made if m.key == key and m.one), None)
    if kind is None:
        return
    choices = [(place, t) for place, t in enumerate(shelf()) if t.into == kind.path]
    if choices:
        state.panel = f"shelf {key}"
        cards = [
            tag("li", tag("button", t.name, type="button", data_do="shelf", data_of=key, data_place=place),
                _GRIP, tag("span", t.about, class_="about"), draggable="true", data_shelf=key, data_place=place)
            for place, t in choices
        ]  # fmt: skip
        if can_be_added(kind.path):
            plain = tag("button", f"one {kind.one}", type="button", data_do="shelf", data_of=key, data_place="")
            cards.append(tag("li", plain, tag("span", "Nothing but that.", class_="about")))
        told = "Typical, with the numbers of an invented team, each an estimate: change what differs."
        drag = tag("span", " Click one, or drag it onto the drawing to where it belongs.", class_="by-mouse")
        close = tag("button", "Not now", type="button", class_="quiet", data_do="close")
        title = tag("h2", f"Add {an(kind.one)}", id="shelf-title", tabindex="-1")
        said = tag("p", id="panel-said", class_="said", role="alert")
        listed = tag("ul", cards, class_="shelf")
        page.put(
            "build-panel", tag("div", title, tag("p", told, drag, class_="fine"), listed, said, close, class_="panel")
        )
        page.call("focus", "shelf-title")
        return
    await _from_shelf(page, state, key, "")


def _on_shelf(state: State, key: str, place: str) -> tuple[KeyPath, int | None] | None:
    """A typical thing that the browser names, or a plain one: of which kind, and where it stands on the shelf."""
    kind = next((m for m in state.made if m.key == key and m.one), None)
    if kind is None or (place and not place.isdecimal()) or int(place or 0) >= len(shelf()):
        return None
    return kind.path, int(place) if place else None


async def _from_shelf(page: Page, state: State, key: str, place: str) -> None:
    what = _on_shelf(state, key, place)
    found = await _work(page, "panel-said", put_on, *what) if what else None
    if found is not None:
        _put(page, state, *found)


async def _dropped(page: Page, state: State, data: dict[str, Any]) -> None:
    """Put on the robot what was dragged from the shelf onto the drawing, where it was let go."""
    what = _on_shelf(state, str(data.get("of")), str(data.get("place") or ""))
    plane = str(data.get("plane"))
    try:
        across, up = (max(-10.0, min(10.0, float(data[name]))) for name in ("across", "up"))
    except (KeyError, TypeError, ValueError):
        return
    if what is None or plane not in ("xy", "xz"):
        return
    found = await _work(page, "panel-said", dropped, *what, {plane[0]: across, plane[1]: up})
    if found is not None:
        _put(page, state, *found)


def _put(page: Page, state: State, path: KeyPath, texts: Any) -> None:
    """Take in the files with a new thing in them, and choose it."""
    state.chosen, state.panel = dotted(path), ""
    page.put("build-panel", "")
    page.editor.put_texts(dict(texts))
    page.say(f"'{path[-1]}' is on the robot, and its form is open.")


def _named(state: State, key: str) -> tuple[Thing | Head, str] | None:
    """What has a name that can be changed, a thing or an entry in one, and where it is said what cannot be."""
    thing, head = state.things.get(key), state.heads.get(key)
    if thing is not None and thing.named:
        return thing, "build-said"
    return (head, f"more-{field_id(head.path)}") if head is not None and head.named else None


async def _copy(page: Page, state: State, key: str) -> None:
    what = _named(state, key)
    found = await _work(page, what[1], copy_in, what[0].path) if what else None
    if found is None or what is None:
        return
    if isinstance(what[0], Thing):
        _put(page, state, *found)
    else:
        page.editor.put_texts(dict(found[1]))
        page.say(f"'{found[0][-1]}' is a copy of it.")


async def _rename(page: Page, state: State, key: str, name: str) -> None:
    what, name = _named(state, key), name.strip()[:100]
    if what is None or name == what[0].label:
        return
    texts = await _work(page, what[1], rename_in, what[0].path, name)
    if texts is not None:
        if isinstance(what[0], Thing):
            state.chosen = dotted((*what[0].path[:-1], name))
        page.editor.put_texts(dict(texts))


async def take(page: Page, state: State, key: str) -> None:
    """Take a thing away; where something else goes with it, that is asked first."""
    what = _named(state, key)
    found = await _work(page, what[1], taken_from, what[0].path) if what else None
    if found is None or what is None:
        return
    state.removal, state.removed = found, (what[0].path, page.draft.source if page.draft else None)
    if not (found.gone or found.freed or found.leaves):
        await _taken(page, state)
        page.note(f"'{what[0].label}' is gone; Undo brings it back.")
        return
    page.put("build-panel", _asked(what[0].label, found))
    page.call("focus", "take-title")


def _asked(label: str, found: Removal) -> Markup:
    """Say what goes with a thing, and ask."""
    lists = [
        ("This goes with it, since it cannot work without it", [words_of(path) for path in found.gone]),
        ("This stays, and no longer uses it", [words_of(path) for path in found.freed]),
        ("This must be mended afterwards", [f"{words_of(p.key)}: {p.expected}" for p in found.leaves]),
    ]
    told = [
        [tag("h3", title), tag("ul", [tag("li", line) for line in dict.fromkeys(lines)])]
        for title, lines in lists
        if lines
    ]
    choices = tag(
        "div",
        tag("button", "Take it all away", type="button", data_do="taken"),
        tag("button", "Keep it", type="button", class_="main", data_do="close"),
        class_="choices",
    )
    title = tag("h2", f"Take '{label}' away?", id="take-title", tabindex="-1")
    return tag("div", title, told, choices, class_="panel")


async def _taken(page: Page, state: State) -> None:
    (path, source), removal = state.removed, state.removal
    if removal is not None and page.draft is not None:
        if page.draft.source != source:  # something was changed while this was asked
            removal = await _work(page, "build-said", taken_from, path) or removal
        texts, state.removal = removal.texts, None
        page.put("build-panel", "")
        page.editor.put_texts(texts)


def _close(page: Page, state: State) -> None:
    state.removal, state.panel = None, ""
    page.put("build-panel", "")
    for head in state.heads.values():
        page.put(f"more-{field_id(head.path)}", "")
