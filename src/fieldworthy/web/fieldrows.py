"""How the values of a thing look as a form, and what typing into one of them means for the file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from fieldworthy.drawing.sketch import sketch
from fieldworthy.drawing.style import Style
from fieldworthy.engine.system import sketches
from fieldworthy.files.declare import BASES
from fieldworthy.files.document import BadInput, KeyPath, Problem, dotted
from fieldworthy.files.writing import GONE
from fieldworthy.units import KINDS
from fieldworthy.web.form import Field, Head, Row
from fieldworthy.web.markup import Content, Markup, field_id, tag

NUMBER_PARTS = ("tolerance", "basis")
_LONG = 40  # characters of a text that has more than one line


def meaning(declared: type | None, path: KeyPath, rows: Iterable[Row], style: Style) -> Content:
    """Draw what the lengths of a thing mean, with what they are; nothing where it has none."""
    picture = sketches().get(declared) if declared is not None else None
    if picture is None:
        return ""
    start = len(dotted(path))
    told: dict[str, tuple[str, str]] = {}
    for row in (r for r in rows if isinstance(r, Field) and r.path[: len(path)] == path):
        key = row.key[start:].removeprefix(".")
        told[key] = (row.label, row.value)
        whole, _, axis = key.partition("[")
        if axis:  # a place that is pointed at has all its numbers in one
            before = told.get(whole, ("", ""))[1]
            told[whole] = (row.label.partition(",")[0], f"{before}, {row.value}" if before else row.value)
    drawn = sketch(picture, told, style)
    svg = Markup(drawn.svg[drawn.svg.index("<svg") :])
    return tag("figure", svg, tag("figcaption", "What the lengths mean; not to scale."), class_="sketch")


def rows_shown(rows: Iterable[Row], style: Style, *, may_change: bool) -> tuple[dict[str, Markup], dict[str, Markup]]:
    """Write the rows of a thing: what the file says or must say, and what is rarely said."""
    listed = list(rows)
    often = {row.key for row in listed if isinstance(row, Field) and _often(row)}
    heads = [row for row in listed if isinstance(row, Head)]
    open_heads = {h.key for h in heads if h.gone or h.trouble or _has(h, often, listed)}
    main: dict[str, Markup] = {}
    rare: dict[str, Markup] = {}
    for row in listed:
        if isinstance(row, Head):
            picture = meaning(row.declared, row.path, listed, style) if row.key in open_heads else ""
            shown = _head(row, picture, may_change=may_change)
            if row.key in open_heads:
                main[f"h {row.key}"] = shown
            if row.key not in open_heads or _has_rare(row, often, listed):
                plain = row.key in open_heads
                rare[f"r {row.key}"] = _again(row) if plain else shown
        else:
            place = main if row.key in often else rare
            if (key := row_key(row)) == row.key:
                place[key] = field_row(row, may_change=may_change)
            elif key not in place:
                axes = [r for r in listed if isinstance(r, Field) and row_key(r) == key]
                place[key] = place_row(axes, key, may_change=may_change)
    return main, rare


def row_key(found: Field) -> str:
    """Name the row that a value stands in: those of one place or size share theirs."""
    of_place = isinstance(found.path[-1], int) and ", " in found.label
    return dotted(found.path[:-1]) if of_place else found.key


def place_row(axes: list[Field], key: str, *, may_change: bool) -> Markup:
    """Write the row of a place or a size, one box for each axis."""
    label = axes[0].label.partition(", ")[0]
    lines = []
    for found in axes:
        identifier, axis = field_id(found.path), found.label.partition(", ")[2]
        boxes = _box(found, identifier, f"{identifier}-about {identifier}-said", found.fixed or not may_change)
        name = tag("label", axis, for_=identifier, class_="axis", aria_label=found.label)
        lines.append(tag("div", name, boxes, class_="boxes"))
        lines.append(tag("p", found.trouble, id=f"{identifier}-said", class_="said", role="alert"))
    notes = _notes(axes[0])
    about = tag("p", "; ".join(notes), class_="about", id=f"{field_id(axes[0].path)}-about") if notes else ""
    return tag("li", tag("span", label, class_="name"), tag("div", lines, class_="axes"), about,
               class_=_classes(axes[0]), data_row=key)  # fmt: skip


def _often(row: Field) -> bool:
    return row.stated or row.needed or bool(row.trouble)


def _has(head: Head, often: set[str], rows: list[Row]) -> bool:
    return any(r.key in often and r.path[: len(head.path)] == head.path for r in rows)


def _has_rare(head: Head, often: set[str], rows: list[Row]) -> bool:
    """Whether a value directly below a heading is rarely said."""
    inner = [h.path for h in rows if isinstance(h, Head) and len(h.path) > len(head.path)]
    below = [r for r in rows if isinstance(r, Field) and r.key not in often and r.path[: len(head.path)] == head.path]
    return any(not any(r.path[: len(p)] == p for p in inner) for r in below)


def _head(head: Head, picture: Content, *, may_change: bool) -> Markup:
    acts = _acts(head) if may_change else ""
    name = tag("label", "Name ", tag("input", type="text", value=head.label, data_change="rename", data_of=head.key,
               maxlength=60, autocomplete="off")) if may_change and head.named else ""  # fmt: skip
    return tag(
        "li",
        tag("h3", head.label), name, tag("span", acts, class_="acts"),
        tag("p", head.about, class_="about") if head.about else "",
        tag("p", head.trouble, class_="said") if head.trouble else "",
        picture,
        tag("div", id=f"more-{field_id(head.path)}", class_="blank"),
        class_=f"group deep{min(head.depth, 4)}", data_row=f"h {head.key}",
    )  # fmt: skip


def _acts(head: Head) -> list[Markup]:
    """What can be done with a heading: add to it, copy it, make something else of it, take it away."""
    shared: dict[str, Any] = {"type": "button", "class_": "quiet", "data_of": head.key}
    words = [(f"Add {kind}" if head.adds else f"Make it a {kind}", kind) for kind in head.others]
    if head.adds and not words:
        words = [(f"Add {head.adds}", "")]
    buttons = [tag("button", word, data_do="more", data_kind=kind, **shared) for word, kind in words]
    if head.named:
        buttons.append(tag("button", "Copy", data_do="copy", aria_label=f"Copy {head.label}", **shared))
    if head.gone:
        buttons.append(tag("button", "Take away", data_do="gone", aria_label=f"Take {head.label} away", **shared))
    return buttons


def _again(head: Head) -> Markup:
    return tag("li", tag("h3", head.label), class_=f"group deep{min(head.depth, 4)}", data_row=f"r {head.key}")


def field_row(found: Field, *, may_change: bool) -> Markup:
    """Write the row of a value."""
    identifier = field_id(found.path)
    fixed = found.fixed or not may_change
    notes = _notes(found)
    told = f"{identifier}-about {identifier}-said"
    box = _box(found, identifier, told, fixed)
    return tag(
        "li",
        tag("label", found.label, for_=identifier, class_="name"),
        tag("div", box, class_="boxes"),
        tag("p", "; ".join(notes), class_="about", id=f"{identifier}-about") if notes else "",
        tag("p", found.trouble, id=f"{identifier}-said", class_="said", role="alert"),
        class_=_classes(found), data_row=found.key,
    )  # fmt: skip


def _classes(found: Field) -> str:
    return " ".join(["value", *([] if found.stated else ["assumed"]), *(["typical"] if found.typical else [])])


def _notes(found: Field) -> list[str]:
    notes = [found.about] if found.about else []
    if not found.stated and found.value:
        notes.append("assumed: the file does not say")
    if found.typical:
        notes.append("still typical")
    if found.file.endswith((".csv", ".xlsx")):
        notes.append(f"stands in {found.file}")
    return notes


def _box(found: Field, identifier: str, told: str, fixed: bool) -> Content:
    wrong = "true" if found.trouble else None
    if found.choices and not fixed:
        words = found.choices if found.value in found.choices else (found.value, *found.choices)
        if not found.needed and "" not in words and found.sort == "choice":
            words = (*words, "")
        options = [tag("option", word or "none", value=word, selected=word == found.value) for word in words]
        return tag("select", options, id=identifier, data_path=found.key, aria_describedby=told, aria_invalid=wrong)
    number = found.sort in ("quantity", "whole number", "number")
    shared: dict[str, Any] = {
        "id": identifier, "value": found.value, "data_path": found.key, "readonly": fixed, "autocomplete": "off",
        "aria_describedby": told, "aria_invalid": wrong, "class_": "number" if number else "words",
        "placeholder": hint_of(found), "type": "text",
    }  # fmt: skip
    if found.sort == "text" and len(found.value) > _LONG:
        del shared["value"], shared["type"]
        return tag("textarea", found.value, rows=3, **shared)
    if found.sort != "quantity":
        return tag("input", inputmode="numeric" if number else "text", **shared)
    box = tag("input", data_move="yes", inputmode="text", **shared)
    return [box, *_steps(found, identifier, fixed), _chip(found, fixed)]


def _steps(found: Field, identifier: str, fixed: bool) -> list[Markup]:
    if fixed or not found.value or row_key(found) != found.key:
        return []
    return [
        tag("button", sign, type="button", class_="step", data_step=by, data_for=identifier, tabindex="-1",
            aria_label=f"{word} {found.label}")
        for sign, by, word in (("−", "-1", "Less"), ("+", "1", "More"))
    ]  # fmt: skip


def _chip(found: Field, fixed: bool) -> Content:
    """Tolerance and basis in one: what they are, and both to change when it is opened."""
    if found.exact or not found.value:
        return ""
    words = ", ".join(w for w in (f"± {found.tolerance}" if found.tolerance else "", found.basis) if w)
    if fixed:
        return tag("span", words, class_="rests")
    tolerance = tag(
        "label", "± ",
        tag("input", type="text", value=found.tolerance if found.own_tolerance else "", placeholder=found.tolerance,
            data_path=found.key, data_part="tolerance", autocomplete="off", class_="tolerance",
            aria_label=f"Tolerance of {found.label}"),
    )  # fmt: skip
    options = [tag("option", basis, value=basis, selected=basis == found.basis) for basis in BASES]
    basis = tag("select", options, data_path=found.key, data_part="basis", aria_label=f"What {found.label} rests on")
    return tag("details", tag("summary", words or "exact"), tag("div", tolerance, basis, class_="pane"), class_="chip")


def hint_of(found: Field) -> str:
    """Show how a value is written."""
    if found.sort == "list":
        return f"{KINDS[found.kind].example}, …" if found.kind else "one, another, …"
    return KINDS[found.kind].example if found.kind else ""


def read_part(found: Field, part: str, text: str) -> tuple[KeyPath, object]:
    """Turn what was typed into a change of the file."""
    if part in NUMBER_PARTS:
        return (*found.path, part), text or GONE
    if not text and not found.needed:
        return found.path, GONE
    return found.path, read_value(found, text)


def read_value(found: Field, text: str) -> object:
    """Turn what was typed into what the file holds."""
    if found.sort == "whole number":
        if not re.fullmatch(r"[+-]?\d{1,9}", text):
            raise BadInput([Problem(Path(found.file), 1, 1, found.path, "expected a whole number")])
        return int(text)
    if found.sort == "truth":
        return text == "yes"
    if found.sort == "list":
        rows = [[_number(part.strip()) for part in row.split(",") if part.strip()] for row in text.split(";")]
        return rows if len(rows) > 1 else rows[0]
    if found.kind == "ratio" or found.sort == "number":
        return _number(text)
    return text


def _number(text: str) -> object:
    """A bare number is written without quotes."""
    try:
        number = float(text)
    except ValueError:
        return text
    return int(text) if text.lstrip("+-").isdecimal() else number


def blank_form(key: str, rows: Iterable[Field], what: str, kind: str = "", picture: Content = "") -> Markup:
    """Ask for what a new entry needs."""
    boxes = []
    for row in rows:
        identifier = f"in-{field_id(row.path)}"
        shared: dict[str, Any] = {"name": row.key, "required": True}
        if row.choices:
            options = [tag("option", word, value=word) for word in row.choices]
            box = tag("select", options, id=identifier, **shared)
        else:
            box = tag("input", type="text", id=identifier, placeholder=hint_of(row), autocomplete="off", **shared)
        about = tag("small", row.about) if row.about else ""
        boxes.append(tag("div", tag("label", row.label, for_=identifier), box, about, class_="field"))
    buttons = [
        tag("button", f"Add {what}", type="submit", class_="main"),
        tag("button", "Not now", type="button", class_="quiet", data_do="close"),
    ]
    hidden = [tag("input", type="hidden", name=name, value=value) for name, value in (("of", key), ("as", kind))]
    said = tag("p", id="blank-said", class_="said", role="alert")
    return tag(
        "form", hidden, picture, tag("div", boxes, class_="fields"), said, tag("div", buttons), data_submit="fill"
    )


def filled(rows: Iterable[Field], path: KeyPath, values: Mapping[str, str]) -> tuple[KeyPath, object]:
    """Turn what a new entry was given into a change: where it goes, and what stands there."""
    listed = list(rows)
    name = next((values.get(row.key, "").strip() for row in listed if row.path == (*path, "")), "")
    entry: Any = {}
    for row in listed:
        text = values.get(row.key, "").strip()
        if row.path == (*path, "") or not text:
            continue
        inner = row.path[len(path) + 1 :]
        if not inner:
            entry = read_value(row, text)
            break
        here = entry
        for step in inner[:-1]:
            here = here.setdefault(step, {})
        here[inner[-1]] = read_value(row, text)
    return ((*path, name) if name else path), entry
