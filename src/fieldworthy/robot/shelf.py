"""Typical things to begin with, all invented: what is put on a robot when a person adds one, to be made their own.

Every number has ``basis: estimate`` and a tolerance of its own, wide enough for what a team may build instead. A number
that stands in a file exactly as it was put there is still typical, and told so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from fieldworthy.files import BadInput
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.loading import builtin, builtin_names
from fieldworthy.robot.things import Opened, changed, free_name, opened, removal
from fieldworthy.units import KINDS, UnitError, digits, parse, to_unit

WIDE = 0.25
"""Half width of a typical number's tolerance, as a share of it; common practice, no source."""
_TYPICAL = "estimate"


@dataclass
class Room:
    """A robot that a typical thing is being put on: what is there already, how large it is, and what is to change.

    Attributes
    ----------
    before : The robot's files
    changes : What to change in them, so far
    """

    before: Opened
    changes: dict[KeyPath, object] = field(default_factory=dict)

    @cached_property
    def inch(self) -> bool:
        """Whether the robot's file measures in inches: its first drive wheel says it."""
        wheels = self.before.data(("drive", "wheels"))
        first = next(iter(wheels.values()), None) if isinstance(wheels, dict) else None
        return isinstance(first, dict) and "in" in str(first.get("position", "")).replace("min", "")

    @cached_property
    def reach(self) -> tuple[float, float]:
        """How far its drive wheels stand to the front and to the side, of the outermost [m]."""
        wheels = self.before.data(("drive", "wheels"))
        places = [w.get("position") for w in wheels.values() if isinstance(w, dict)] if isinstance(wheels, dict) else []
        found = [(length_of(p[0]), length_of(p[1])) for p in places if isinstance(p, list) and len(p) == 2]
        x, y = (max((abs(p[axis]) for p in found), default=0.0) for axis in (0, 1))
        return x or 0.15, y or 0.15

    def unit(self, kind: str) -> str:
        """The unit that numbers of a kind are written in."""
        return KINDS[kind].inch if self.inch else KINDS[kind].metric

    def plain(self, kind: str, si: float) -> str:
        """Write a number as it is: a place, a wish."""
        unit = self.unit(kind)
        return f"{digits(to_unit(si, kind, unit), 3)} {unit}"

    def of(self, kind: str, si: float, share: float = WIDE) -> dict[str, str]:
        """Write a typical number with its tolerance."""
        value = self.plain(kind, si)
        number, _, unit = value.partition(" ")
        return {"value": value, "tolerance": f"{_step(number, share)} {unit}", "basis": _TYPICAL}

    def ratio(self, value: float, share: float = WIDE) -> dict[str, float | str]:
        """Write a typical share or coefficient."""
        return {"value": value, "tolerance": float(_step(str(value), share)), "basis": _TYPICAL}

    def at(self, *si: float) -> list[str]:
        """Write a place, or a size."""
        return [self.plain("length", value) for value in si]

    def add(self, path: KeyPath, wanted: str, value: object) -> str:
        """Put a thing among those of its kind; its name there."""
        there = self.before.data(path)
        fresh = [str(p[-1]) for p in self.changes if p[:-1] == path]
        name = free_name([*(there if isinstance(there, dict) else ()), *fresh], wanted)
        self.changes[(*path, name)] = value
        return name

    def part(self, wanted: str, mass: float, place: tuple[float, ...], size: tuple[float, ...], rides: str = "") -> str:
        """Put a part on the robot, as a block."""
        block: dict[str, object] = {"mass": self.of("mass", mass), "position": self.at(*place), "size": self.at(*size)}
        return self.add(("parts",), wanted, block | ({"rides": rides} if rides else {}))

    def first(self, path: KeyPath, fits: Callable[[Mapping[str, Any]], bool] = lambda _: True) -> str | None:
        """The first thing of a kind that will do; none where there is none."""
        there = self.before.data(path)
        found = there.items() if isinstance(there, dict) else ()
        fresh = [(str(p[-1]), v) for p, v in self.changes.items() if p[:-1] == path]
        return next((str(n) for n, v in (*found, *fresh) if fits(v if isinstance(v, dict) else {})), None)

    def tank(self) -> str:
        """A tank to draw from: the first there is, or a new one."""
        return self.first(("air", "tanks")) or self.add(("air", "tanks"), "tank", {"tank": builtin_names("tanks")[0]})

    def cylinder(self, wanted: str, kind: str, **more: object) -> str:
        """Put a cylinder on a tank."""
        valve = builtin_names("valves")[0]
        entry = {"cylinder": kind, "tank": self.tank(), "valve": valve, **more}
        return self.add(("air", "cylinders"), wanted, entry)

    def thing(self) -> str:
        """An object of the season to work with: the first there is, or a typical one."""
        size = self.at(0.1, 0.1, 0.1)
        ball = {"mass": self.of("mass", 0.08), "size": size, "shape": "ball"}
        return self.first(("season", "objects")) or self.add(("season", "objects"), "ball", ball)

    def pose(self, use: str, wanted: str) -> str:
        """A pose of a use: the first there is, or a new one."""
        fits = (lambda pose: pose.get("use", "drive") == use) if use else (lambda _: True)
        return self.first(("poses",), fits) or self.add(("poses",), wanted, {"use": use})


def _step(number: str, share: float) -> str:
    return digits(share * abs(float(number)), 3)


def length_of(text: object) -> float:
    """Read a length of a file; nothing where it is none."""
    said = text.get("value") if isinstance(text, dict) else text
    try:
        return float(parse(said, "length").si) if isinstance(said, str | int | float) else 0.0
    except UnitError:
        return 0.0


@dataclass(frozen=True, slots=True)
class Typical:
    """One thing on the shelf.

    Attributes
    ----------
    name : What people call it
    about : One sentence: what it is
    put : Puts it into a room, and names the path of what the person is to look at first
    into : The kind of thing that it is offered for
    """

    name: str
    about: str
    put: Callable[[Room], KeyPath]
    into: KeyPath = ("mechanisms",)


def _part(room: Room) -> object:
    return {"mass": room.of("mass", 0.2), "position": room.at(0, 0, 0.1), "size": room.at(0.1, 0.1, 0.05)}


def _wheel(room: Room) -> object:
    other = room.first(("drive", "wheels"))
    classes = builtin_names("wheels")
    there = room.before.data(("drive", "wheels", other, "wheel")) if other else None
    return {"position": room.at(0, room.reach[1]), "wheel": there or classes[0]}


def _cylinder(room: Room) -> object:
    kind, valve = "cylinder, 16 mm bore, 50 mm stroke", builtin_names("valves")[0]
    return {"cylinder": kind, "tank": room.tank(), "valve": valve, "push_load": room.of("force", 20.0)}


def _action(room: Room) -> object:
    task = room.first(("season", "tasks"))
    return {"time": "2 s", "spread": "0.5 s"} | ({"task": task} if task else {})


def _place(room: Room) -> object:
    return room.at(0, 0)


def _object(room: Room) -> object:
    return {"mass": room.of("mass", 0.08), "size": room.at(0.1, 0.1, 0.1)}


SECTIONS = ("motors", "wheels", "tanks", "cylinders", "valves", "batteries")
"""Of the catalogue, those of which a team may have classes of its own."""


_ONE = {"batteries": "battery"}


def _class_of(section: str) -> Callable[[Room], object]:
    """A class of the team's own begins as the first generic one."""
    return lambda _: builtin()[section][builtin_names(section)[0]]


_ENTRIES: dict[KeyPath, tuple[str, Callable[[Room], object]]] = {
    ("parts",): ("part", _part),
    ("drive", "wheels"): ("wheel", _wheel),
    ("air", "tanks"): ("tank", lambda _: {"tank": builtin_names("tanks")[0]}),
    ("air", "cylinders"): ("cylinder", _cylinder),
    ("motors",): ("shared motor", lambda _: {"motor": builtin_names("motors")[0]}),
    ("poses",): ("pose", lambda _: {"use": "drive"}),
    ("actions",): ("action", _action),
    ("contacts",): ("caster", lambda room: {"position": room.at(-room.reach[0], 0)}),
    ("rollers",): ("roller", lambda r: {"position": r.at(r.reach[0] + 0.06, 0), "clearance": r.of("length", 0.006)}),
    ("ballast",): ("ballast", lambda room: {"position": room.at(0, 0, 0.06)}),
    ("season", "field", "places"): ("place", _place),
    ("season", "objects"): ("object", _object),
    ("season", "structures"): ("structure", lambda room: {"height": room.plain("length", 0.5)}),
    ("season", "tasks"): ("task", lambda _: {"points": 1}),
    **{("catalogue", s): (f"our {_ONE.get(s) or s.removesuffix('s')}", _class_of(s)) for s in SECTIONS},
}
"""By kind of thing, what a new one is called and what stands in it."""


def added(before: Opened, path: KeyPath, typical: Typical | None = None) -> tuple[KeyPath, dict[KeyPath, object]]:
    """Put a typical thing on a robot: its path, and what to change."""
    room = Room(before)
    if typical is not None:
        return typical.put(room), room.changes
    if path not in _ENTRIES:
        raise BadInput([before.document.problem(path, "expected a kind of thing that can be added here")])
    wanted, make = _ENTRIES[path]
    return (*path, room.add(path, wanted, make(room))), room.changes


def completed(
    file: Path, texts: Mapping[Path, str], chosen: Iterable[Typical], wanted: Mapping[KeyPath, object]
) -> dict[Path, str]:
    """Put on a first robot what was chosen of the shelf, and what else is known of it or of its season."""
    now, chosen = dict(texts), tuple(chosen)
    if chosen:
        for path in (("air", "cylinders", "clamp"), ("mechanisms", "clamp")):  # the example of a file without any
            before = opened(file, now)
            now |= removal(before, path).texts if before.data(path) is not None else {}
    for typical in chosen:
        now |= changed(file, now, added(opened(file, now), typical.into, typical)[1])
    return now | (changed(file, now, wanted) if wanted else {})


def can_be_added(path: KeyPath) -> bool:
    """Whether a plain entry of this kind is on the shelf."""
    return path in _ENTRIES


def still_typical(value: Any, path: KeyPath = ()) -> Iterator[KeyPath]:
    """The numbers of a thing that stand as they came from the shelf: estimates with its very tolerance."""
    if isinstance(value, dict):
        if _is_typical(value):
            yield path
            return
        for key, inner in value.items():
            yield from still_typical(inner, (*path, key))
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from still_typical(inner, (*path, i))


def _is_typical(value: Mapping[str, Any]) -> bool:
    if set(value) != {"value", "tolerance", "basis"} or value["basis"] != _TYPICAL:
        return False
    number, step = (str(value[key]).split(" ") for key in ("value", "tolerance"))
    try:
        return number[1:] == step[1:] and float(_step(number[0], WIDE)) == float(step[0])
    except ValueError:
        return False


PLAIN = Typical(
    "something else",
    "Only what it is called, which motors it uses and what it can do: nothing of it is judged.",
    lambda room: ("mechanisms", room.add(("mechanisms",), "mechanism", {"kind": "plain"})),
)
"""On the shelf of every robot."""
