"""Names of a robot's numbers and things as people say them, from what their declarations call them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from fieldworthy.files.declare import Quantity, Spec, told_of
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.things import head_of

_SIZES = ("length", "width", "height")
_ORDER = ("first", "second", "third", "fourth", "fifth", "sixth")
_NO_NOUN = ("with", "for", "by", "within", "most")
"""A label that ends so says what a form's blank is for; in a sentence the key's own words stand."""
_ALONE = {"air": "", "supply": "air supply"}
_PLACES = {
    "forward": ("forward", "forward position"),
    "left": ("sideways", "sideways position"),
    "up": ("upward", "height"),
}
"""What a shift along an axis is called, and a place."""


@dataclass(frozen=True, slots=True)
class Named:
    """A number of the file in words.

    Attributes
    ----------
    what : What it is, innermost first: "diameter of the rollers of stage 'front'"; empty for the thing's own place
    axis : Direction or side that it is measured along; empty where it has none
    things : What one such thing is called, and many of them
    name : Which; empty where there is only one
    """

    what: str
    axis: str
    things: tuple[str, str]
    name: str

    def of(self, others: Sequence[Named] = ()) -> str:
        """What the number belongs to, with others that are changed alike."""
        names = [f"'{n.name}'" for n in (self, *others) if n.name]
        one, many = self.things
        if not names:
            return f"the {one}" if one else ""
        listed = " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
        return f"{many if len(names) > 1 else one} {listed}".strip()

    def whole(self, others: Sequence[Named] = ()) -> str:
        """The number with what it belongs to: "the tube to each port of cylinder 'hooks'"."""
        what = (
            self.axis
            if self.what == "size"
            else f"{self.axis} the {self.what}"
            if self.axis[-3:] == " of"
            else self.what
        )
        owner = self.of(others)
        return f"the {what} of {owner}" if owner and what else owner or f"the {what}"

    def along(self, others: Sequence[Named] = ()) -> str:
        """The number as a noun of its own: "the height of the pin on the frame of 'tray'", not "the pin, up"."""
        whole = self.whole(others)
        if self.axis not in _PLACES or self.what == "size":
            return whole
        shift, place = _PLACES[self.axis]
        bare = whole.removeprefix("the ")
        if not self.what and self.axis == "up":  # of a whole thing, whose own height is its size
            place = "upward position"
        if bare.startswith("shift of "):
            return f"the {shift} {bare}"
        return f"the {place} of {bare.removeprefix('position of ') if bare.startswith('position of ') else whole}"


def named(robot: Spec, path: KeyPath) -> Named:
    """Name a number of a robot."""
    steps = list(_steps(robot, path))
    head = head_of(path)
    if head is None:
        begin, things, name = 1, (_ALONE.get(str(path[0]), str(path[0])), ""), ""
    else:
        begin, name = len(head.path) + 1, str(path[len(head.path)])
        many = head.many[0].lower() + head.many[1:]
        things = ("", "") if head.path == ("mechanisms",) else (head.one, many)
    axis = ""
    if isinstance(path[-1], int) and len(path) > begin:
        axis, steps = _axis(robot, path, path[-1]), steps[:-1]
    inner = [_ALONE.get(step, step) for step in steps[begin:] if step]
    if inner == ["position"] and axis:
        inner = []
    return Named(" of the ".join(reversed(inner)).replace(" of the stage '", " of stage '"), axis, things, name)


def phrase(robot: Spec, season: Spec, path: KeyPath) -> str:
    """Name a number of a robot or its season as a line of a table: "grip of wheels 'rubber wheel, 2.75 in'"."""
    own = path[0] != "season"
    words = named(robot, path).along().removeprefix("the ") if own else _of_season(season, path[1:])
    for long, short in _SHORTER:
        words = words.replace(long, short)
    return words


def unstated(key: str) -> str:
    """Name a place of which a file gives nothing, or no number: "mechanism 'clamp', toggle"."""
    parts = re.findall(r'"[^"]*"|\[\d+\]|[^.\[\]]+', key)
    words = [_ORDER[min(int(p[1:-1]), 5)] if p[0] == "[" else p.strip('"').replace("_", " ") for p in parts]
    head = head_of(tuple(parts))
    if head is None:
        return " ".join(words)
    at = len(head.path)
    return ", ".join(filter(None, (f"{head.one} '{words[at]}'", " ".join(words[at + 1 :]))))


_SHORTER = (
    (" of class of ", " of "),
    ("the stage '", "stage '"),
    ("point of the target of ", "target point of "),
    ("_", " "),
)


def _of_season(season: Spec, path: KeyPath) -> str:
    """A number of a season: what it is, and of which of the season's things."""
    place = path[-1] if isinstance(path[-1], int) else None
    steps = [step for step in _steps(season, path if place is None else path[:-1]) if step]
    if path[0] in _PLURAL and len(steps) > 1:
        steps = [f"{_PLURAL[str(path[0])]} '{path[1]}'", *steps[1 + (steps[0] == str(path[0])) :]]
    elif path[0] == "limits":
        steps = [*reversed(steps[1:]), "limit"]
    elif path[0] == "periods":
        steps = [f"{steps[-1]} period"]
    words = " of the ".join(reversed(steps))
    for thing in _PLURAL.values():
        words = words.replace(f" of the {thing} '", f" of {thing} '")
    if place is None:
        return words
    if "size" in str(path[-2]):
        side = _SIZES[min(place, 2)]
        return (
            words.replace("the size", f"the {side}", 1)
            if path[0] == "limits"
            else (f"{side} of {words.removeprefix('size of ')}")
        )
    return f"{_PLACES[('forward', 'left', 'up')[min(place, 2)]][1]} of {words}"


_PLURAL = {"objects": "object", "structures": "structure", "tasks": "task"}


def _axis(robot: Spec, path: KeyPath, place: int) -> str:
    """The direction of one number of a place or a size; of other lists which one it is."""
    owner, key = value_at(robot, path[:-2]), str(path[-2])
    values, about = getattr(owner, key), str(told_of(owner, key).get("about"))
    if key.endswith("size"):
        return _SIZES[place]
    lengths = all(isinstance(v, Quantity) and v.kind == "length" for v in values)
    if not lengths or all(v.low >= 0 for v in values) or "middle of each" in about:
        return f"{_ORDER[min(place, 5)]} of"
    if len(values) == 3 or "y left" in about:
        return ("forward", "left", "up")[place]
    return ("forward", "up")[place]


def value_at(spec: Any, path: KeyPath) -> Any:
    """Read what stands at a key path of a specification."""
    for key in path:
        spec = getattr(spec, str(key)) if isinstance(spec, Spec) else spec[key]
    return spec


def _steps(spec: Any, path: KeyPath) -> Iterator[str]:
    """What each key of a path is called: a field's label, or the name of one of several."""
    one, here = "", spec
    for key in path:
        if isinstance(here, Spec):
            meta = told_of(here, str(key))
            label = str(meta.get("label") or "")
            if not label or label.rsplit(maxsplit=1)[-1] in _NO_NOUN:
                label = str(key).replace("_", " ")
            one = str(meta.get("one") or label.removesuffix("s"))
            here = getattr(here, str(key))
            several = isinstance(here, dict) or (isinstance(here, tuple) and any(isinstance(i, Spec) for i in here))
            yield "" if several else label
        else:
            here = here[key]
            yield f"{_ORDER[min(key, 5)]} {one}" if isinstance(key, int) else f"{one} '{key}'"
