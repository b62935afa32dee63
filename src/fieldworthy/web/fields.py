"""How one value of a file looks in the form, and how what a person types there is read."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from fieldworthy.files.kinds import BASES
from fieldworthy.files.problems import BadInput, KeyPath, Problem
from fieldworthy.robot.editing import GONE
from fieldworthy.web.form import Field, example
from fieldworthy.web.markup import Content, Markup, tag
from fieldworthy.web.screen import field_id

NUMBER_PARTS = ("tolerance", "basis")
_AXES = {"size": ("length", "width", "height")}


def axis_label(found: Field, fields: Mapping[str, Field]) -> str:
    """Name a value of a list of three by its axis."""
    place = found.path[-1]
    if not isinstance(place, int) or len(found.path) < 2 or not isinstance(found.path[-2], str):
        return found.label
    stem = found.key[: found.key.rindex("[")]
    if f"{stem}[2]" not in fields or f"{stem}[3]" in fields:
        return found.label
    axis = _AXES.get(found.path[-2], ("x", "y", "z"))[place]
    return f"{found.label[: found.label.rindex('[')]} {axis}"


def field_row(found: Field, label: str, *, may_change: bool) -> Markup:
    """Write the row of a value."""
    identifier = field_id(found.path)
    fixed = found.fixed or not may_change
    notes = [found.about] if found.about else []
    if not found.stated and found.value and not found.generic:
        notes.append("assumed: the file does not say")
    if found.generic:
        notes.append("of the generic catalogue; a change makes it a class of your own, in your file")
    if found.file.endswith((".csv", ".xlsx")):
        notes.append(f"stands in {found.file}")
    boxes = _number(found, identifier, label, fixed) if found.sort == "quantity" else _other(found, identifier, fixed)
    return tag(
        "li",
        tag("label", label, for_=identifier, class_="name"),
        tag("div", boxes, class_="boxes"),
        tag("p", "; ".join(notes), class_="about", id=f"{identifier}-about") if notes else "",
        tag("p", id=f"{identifier}-said", class_="said", role="alert"),
        class_="value assumed" if not found.stated else "value",
        data_row=found.key,
    )


def _number(found: Field, identifier: str, label: str, fixed: bool) -> Content:
    told = f"{identifier}-about {identifier}-said"
    box = tag(
        "input", type="text", id=identifier, value=found.value, data_path=found.key, data_move="yes", readonly=fixed,
        placeholder=example(found.kind), autocomplete="off", inputmode="text", aria_describedby=told, class_="number",
    )  # fmt: skip
    if fixed:
        rest = " · ".join(p for p in (f"± {found.tolerance}" if found.tolerance else "", found.basis) if p)
        return [box, tag("span", rest, class_="rests")]
    steps = [
        tag("button", sign, type="button", class_="step", data_step=by, data_for=identifier, tabindex="-1",
            aria_label=f"{word} {label}")
        for sign, by, word in (("−", "-1", "Less"), ("+", "1", "More"))
    ]  # fmt: skip
    tolerance = tag(
        "label", "± ",
        tag("input", type="text", value=found.tolerance if found.own_tolerance else "", placeholder=found.tolerance,
            data_path=found.key, data_part="tolerance", autocomplete="off", class_="tolerance",
            aria_label=f"Tolerance of {label}"),
    )  # fmt: skip
    options = [tag("option", basis, value=basis, selected=basis == found.basis) for basis in BASES]
    basis = tag("select", options, data_path=found.key, data_part="basis", aria_label=f"What {label} rests on")
    return [box, steps, tolerance, basis] if found.value else [box]


def _other(found: Field, identifier: str, fixed: bool) -> Content:
    told = f"{identifier}-about {identifier}-said"
    if found.choices and not fixed:
        words = found.choices if found.value in found.choices else (found.value, *found.choices)
        options = [tag("option", word, value=word, selected=word == found.value) for word in words]
        return tag("select", options, id=identifier, data_path=found.key, aria_describedby=told)
    mode = "numeric" if found.sort == "whole number" else "text"
    return tag(
        "input", type="text", id=identifier, value=found.value, data_path=found.key, readonly=fixed, inputmode=mode,
        autocomplete="off", aria_describedby=told, class_="number" if found.sort == "whole number" else None,
    )  # fmt: skip


def read_part(found: Field, part: str, text: str) -> tuple[KeyPath, object]:
    """Turn what was typed into a change of the file."""
    if part in NUMBER_PARTS:
        return (*found.path, part), text or GONE
    if found.sort == "whole number":
        if not text.lstrip("+-").isdecimal() or len(text) > 12:
            raise BadInput([Problem(Path(found.file), 1, 1, found.path, "expected a whole number")])
        return found.path, int(text)
    if found.sort == "truth":
        return found.path, text == "yes"
    if not text and found.sort == "quantity":
        return found.path, GONE
    if found.kind == "ratio":
        return found.path, _ratio(text)
    return found.path, text


def _ratio(text: str) -> object:
    """A bare number is written without quotes."""
    try:
        number = float(text)
    except ValueError:
        return text
    return int(text) if text.lstrip("+-").isdecimal() else number
