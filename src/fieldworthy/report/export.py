"""A robot for other programs: its constants, its bodies as URDF, and its parts as a table with totals."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import math
import unicodedata
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from fieldworthy import __version__
from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases, run
from fieldworthy.engine.finding import DisplayUnits, Outcome, as_data, first
from fieldworthy.engine.system import COMPUTED, Actuator, Constant, Found, Stated, stated, systems
from fieldworthy.files import BadInput, Quantity
from fieldworthy.files.declare import default_tolerance
from fieldworthy.physics.statics.rigidbody import RigidBody, combine
from fieldworthy.report.blocks import names_of
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.machine import CHASSIS, Move, Part
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Repeat
from fieldworthy.robot.partslist import NOTE, Cell, csv_text, sheet_bytes
from fieldworthy.units import to_unit
from fieldworthy.vehicle import state


def constants(loaded: Loaded) -> tuple[Constant, ...]:
    """Gather the constants of a robot."""
    context = Context(loaded.nominal, loaded.nominal_season)
    outcomes = run(loaded, Cases(0, 0, 0, []), context)
    quantities = dict(loaded.quantities)
    found: list[Constant] = []
    for system in systems():
        given = system.constants
        found += [*given.computed(context, quantities), *_listed(loaded, given.stated), *_judged(outcomes, given.found)]
    found += [*_listed(loaded, _OF_THE_PLAN), *_places(loaded)]
    return tuple(c for c in found if math.isfinite(c.value))


_OF_THE_PLAN = (
    Stated("plan.finish.reserve", "plan/finish reserve", "time before the end at which it leaves to finish"),
)


def _listed(loaded: Loaded, wanted: Sequence[Stated]) -> Iterator[Constant]:
    """What stands in the file as it is."""
    for one in wanted:
        keys = one.key.split(".")
        for path, quantity in loaded.quantities:
            if path[0] == "air" and not loaded.nominal.air.tanks:
                continue
            if len(path) == len(keys) and all(k in ("*", p) for k, p in zip(keys, path, strict=True)):
                names = [str(p) for k, p in zip(keys, path, strict=True) if k == "*"]
                yield stated(path, quantity, _filled(one.words, names), one.about.format(*names))


def _filled(words: str, names: Sequence[str]) -> tuple[str, ...]:
    """Names are put into the parts, so that a name with a slash stays one part."""
    return tuple(part.format(*names) for part in words.split("/"))


def _judged(outcomes: Sequence[Outcome], wanted: Sequence[Found]) -> Iterator[Constant]:
    """What findings and facts say."""
    for pick in wanted:
        stem = pick.id.removesuffix("*")
        bounds = [o for o in outcomes if o.id in pick.at_most and not o.missing]
        for outcome in outcomes:
            fits = outcome.id.startswith(stem) if pick.id.endswith("*") else outcome.id == stem
            if not fits or outcome.missing:
                continue
            value, kind = (outcome.value, outcome.kind)
            if pick.number != "value":
                if pick.number not in outcome.because.numbers:
                    continue
                value, kind = outcome.because.numbers[pick.number]
            least, origin = min([(first(value), outcome.id), *((first(o.value), o.id) for o in bounds)])
            name = outcome.id.removeprefix(stem)
            words, about = _filled(pick.words, [name]), pick.about.format(name)
            yield Constant(words, least, "count" if pick.counted else kind, about, origin, figures=COMPUTED)


def _places(loaded: Loaded) -> Iterator[Constant]:
    """Where the autonomous part of the plan goes, in the field's axes."""
    plan, places = loaded.nominal.plan, loaded.nominal_season.field.places
    if plan is None:
        return
    steps = [s for item in plan.autonomous for s in (item.repeat if isinstance(item, Repeat) else (item,))]
    for name in dict.fromkeys([plan.start, *(step.at for step in steps)]):
        for axis, value in zip("xy", places[name], strict=True):
            about = f"{axis} of '{name}' on the field"
            key = f"season.field.places.{name}"
            yield Constant(("field", name, axis), first(value), "length", about, key, "exact")


"""Changes only when a reader of the old form would misread the new one."""
_BARE = ("count", "share", "ratio")


@dataclass(frozen=True, slots=True)
class Entry:
    """One constant as a program reads it.

    Attributes
    ----------
    name : Small letters, digits and underscores, its unit at the end; each only once
    value : In `unit`; a whole number for what is counted
    unit : The unit that the robot file uses for this kind of quantity; 1 for a bare number
    about : What it is
    origin : Key of the robot file, or id of the finding or fact, that it comes from
    basis : ``measured``, ``datasheet``, ``estimate``, ``exact`` or ``computed``
    tolerance : Half width of its 95 % interval, in `unit`; None for what is computed or exact
    """

    name: str
    value: float | int
    unit: str
    about: str
    origin: str
    basis: str
    tolerance: float | None


@dataclass(frozen=True, slots=True)
class Export:
    """All constants of a robot.

    Attributes
    ----------
    robot, season : Their names
    file, date, program : The robot file's name, the day on which this was made, and the version of the program
    constants : Grouped by what they belong to
    """

    FORMAT: ClassVar[str] = "fieldworthy export 1"

    robot: str
    season: str
    file: str
    date: str
    program: str
    constants: tuple[Entry, ...]


def export_of(loaded: Loaded, date: str = "") -> Export:
    """Gather the constants of a robot in the units of its file, as they are on a day."""
    shown = DisplayUnits.of(loaded.quantities)
    found = sorted(constants(loaded), key=lambda c: c.words[0])
    units = [_unit(c, shown) for c in found]
    names = names_of([(c.words, unit) for c, unit in zip(found, units, strict=True)])
    entries = (_entry(c, n, u, shown) for c, n, u in zip(found, names, units, strict=True))
    file = loaded.document.file.name
    return Export(loaded.nominal.robot, loaded.nominal_season.season, file, date, __version__, tuple(entries))


def _unit(constant: Constant, shown: DisplayUnits) -> str:
    return "1" if constant.kind in _BARE else shown.units.get(constant.kind, constant.kind)


def _entry(constant: Constant, name: str, unit: str, shown: DisplayUnits) -> Entry:
    def plain(si: float) -> float:
        made = shown.plain(si, constant.kind) if constant.kind in shown.units else si
        return float(f"{made:.{constant.figures}g}")

    value, off = plain(constant.value), constant.tolerance
    tolerance = None if off is None else float(f"{abs(plain(constant.value + off) - value):.4g}")
    if constant.kind == "count" and value.is_integer():
        value = int(value)
    return Entry(name, value, unit, constant.about, constant.origin, constant.basis, tolerance)


def as_json(export: Export) -> str:
    """Write constants as JSON."""
    data = as_data(export)
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def as_csv(export: Export) -> str:
    """Write constants as a table."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([f.name for f in dataclasses.fields(Entry)])
    for entry in export.constants:
        cells = ["" if cell is None else cell for cell in dataclasses.astuple(entry)]
        writer.writerow([_inert(c) if isinstance(c, str) else c for c in cells])
    return out.getvalue()


def _inert(text: str) -> str:
    """A text of one line that no spreadsheet takes for a formula."""
    text = _line(text)
    return f"'{text}" if text.lstrip()[:1] in tuple("=+-@") else text


def _head(export: Export) -> str:
    """Of what, from what and when the constants are."""
    day = f" on {export.date}" if export.date else ""
    return (
        f"Constants of {export.robot} in {export.season}, computed from {export.file}{day} "
        f"by fieldworthy {export.program}."
    )


def as_c(export: Export) -> str:
    """Write constants as a C header, for C and C++ alike."""
    lines = [
        f"/* {_comment(_head(export))}",
        " * Every name ends in its unit. Make this file anew after each change of the robot file. */",
        "#ifndef ROBOT_CONSTANTS_H",
        "#define ROBOT_CONSTANTS_H",
    ]
    for entry in export.constants:
        lines += ["", f"/* {_comment(_told(entry))} */", f"#define ROBOT_{entry.name.upper()} ({entry.value!r})"]
    return "\n".join([*lines, "", "#endif", ""])


def _told(entry: Entry) -> str:
    """What a constant is, in which unit, how sure and where from."""
    unit = "" if entry.unit == "1" else f" [{entry.unit}]"
    off = "" if not entry.tolerance else f", +/- {entry.tolerance:g}"
    return f"{entry.about}{unit}; {entry.basis}{off}; from {entry.origin}"


def _comment(text: str) -> str:
    """A text that cannot end a comment of C, nor its line."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "replace").decode("ascii")
    printable = "".join(c if c.isprintable() else " " for c in plain)
    return printable.replace("*/", "* /").replace("/*", "/ *").replace("?", ".").replace("\\", "/")


def as_python(export: Export) -> str:
    """Write constants as a Python module."""
    lines = [
        f"# {_line(_head(export))}",
        "# Every name ends in its unit. Make this file anew after each change of the robot file.",
    ]
    for entry in export.constants:
        lines += ["", f"# {_line(_told(entry))}", f"{entry.name.upper()} = {entry.value!r}"]
    return "\n".join([*lines, ""])


def _line(text: str) -> str:
    """A text that stays on its line."""
    return "".join(c if c.isprintable() else " " for c in text)


WRITERS: dict[str, Callable[[Export], str]] = {"json": as_json, "c": as_c, "python": as_python, "csv": as_csv}
"""How constants are written, by the name of the form."""


_ALONG_Y = (0.0, 1.0, 0.0)  # right-handed about y to the left: nose down is positive, as in the file
_RIM = 0.02  # m: width of a wheel in the file's terms, which do not state one; it carries no mass
_LEFT_OVER = 0.05  # of what the chassis weighs, that is left to it when its wheels turn apart from it


@dataclass(frozen=True, slots=True)
class Joint:
    """How one group moves against the chassis.

    Attributes
    ----------
    kind : ``revolute``, ``prismatic`` or ``fixed``
    origin, axis : Where it turns [m], and about or along which direction
    low, high : Limits [rad or m]
    """

    kind: str
    origin: tuple[float, float, float] = (0.0, 0.0, 0.0)
    axis: tuple[float, float, float] = _ALONG_Y
    low: float = 0.0
    high: float = 0.0


def joint_of(moves: Sequence[Move]) -> Joint:
    """Find the joint with which a group makes its moves."""
    turns = [m for m in moves if m.pivot is not None and float(m.turn) != 0.0]
    shifts = [np.array(m.shift, dtype=float) for m in moves if m.shift is not None and np.any(np.array(m.shift))]
    if turns and not shifts and len({m.pivot for m in turns}) == 1:
        assert turns[0].pivot is not None
        x, y, z = (float(c) for c in turns[0].pivot)
        angles = [0.0, *(float(m.turn) for m in turns)]
        return Joint("revolute", (x, y, z), _ALONG_Y, min(angles), max(angles))
    if shifts and not turns:
        along = shifts[0] / np.linalg.norm(shifts[0])
        ways = [0.0, *(float(s @ along) for s in shifts)]
        if all(np.allclose(s, way * along, atol=1e-9) for s, way in zip(shifts, ways[1:], strict=True)):
            x, y, z = along.tolist()
            return Joint("prismatic", axis=(x, y, z), low=min(ways), high=max(ways))
    return Joint("fixed")


def as_urdf(loaded: Loaded) -> str:
    """Write a robot as URDF."""
    context = Context(loaded.nominal, loaded.nominal_season)
    robot, groups = loaded.nominal, state.groups(context)
    if not groups:
        raise BadInput([loaded.document.problem(("parts",), "expected parts: without them there is nothing to weigh")])
    base = CHASSIS if CHASSIS in groups else next(iter(groups))
    wheels = _wheels(robot, groups[base].body)
    order = [base, *(g for g in groups if g != base)]
    labels = dict(zip(order, names_of([((g,), "1") for g in order]), strict=True))
    joints = {g: joint_of([p.moves[g] for p in robot.poses.values() if g in p.moves]) for g in order[1:]}
    strong = {group: one for system in systems() for group, one in system.actuators(context).items()}
    root = ET.Element("robot", name=names_of([((robot.robot,), "1")])[0])
    ET.SubElement(root, "link", name="floor_point")
    for group in order:
        at = np.array(joints[group].origin) if group in joints else np.zeros(3)
        parts = {n: p for n, p in robot.parts.items() if p.rides == group}
        body = _without(groups[group].body, wheels) if group == base else groups[group].body
        _link(root, labels[group], body, at, parts)
    _joint(root, ("floor_point", labels[base]), Joint("floating"), "stands")
    for group, joint in joints.items():
        _joint(root, (labels[base], labels[group]), joint, f"{labels[group]}_joint", strong.get(group, _PASSIVE))
    _add_wheels(root, labels[base], wheels, _wheel_actuator(context))
    ET.indent(root)
    return '<?xml version="1.0" encoding="utf-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _numbers(*values: float) -> str:
    return " ".join(repr(float(v) + 0.0) for v in values)


def _link(root: ET.Element, name: str, body: RigidBody, at: Array, parts: dict[str, Part]) -> None:
    link = ET.SubElement(root, "link", name=name)
    inertial = ET.SubElement(link, "inertial")
    ET.SubElement(inertial, "origin", xyz=_numbers(*(np.asarray(body.cg) - at)), rpy="0.0 0.0 0.0")
    ET.SubElement(inertial, "mass", value=_numbers(float(body.mass)))
    tensor = np.asarray(body.inertia)
    axes = {"ixx": (0, 0), "ixy": (0, 1), "ixz": (0, 2), "iyy": (1, 1), "iyz": (1, 2), "izz": (2, 2)}
    ET.SubElement(inertial, "inertia", {k: _numbers(float(tensor[ij])) for k, ij in axes.items()})
    for label, part in zip(names_of([((n,), "1") for n in parts]), parts.values(), strict=True):
        visual = ET.SubElement(link, "visual", name=label)
        middle = np.array(part.position, dtype=float) - at
        ET.SubElement(visual, "origin", xyz=_numbers(*middle), rpy="0.0 0.0 0.0")
        box = ET.SubElement(ET.SubElement(visual, "geometry"), "box")
        box.set("size", _numbers(*(float(s) for s in part.size)))


_PASSIVE = Actuator(0.0, 0.0)


def _joint(root: ET.Element, ends: tuple[str, str], joint: Joint, name: str, moves: Actuator = _PASSIVE) -> None:
    element = ET.SubElement(root, "joint", name=name, type=joint.kind)
    ET.SubElement(element, "parent", link=ends[0])
    ET.SubElement(element, "child", link=ends[1])
    ET.SubElement(element, "origin", xyz=_numbers(*joint.origin), rpy="0.0 0.0 0.0")
    if joint.kind in ("fixed", "floating"):
        return
    ET.SubElement(element, "axis", xyz=_numbers(*joint.axis))
    limits = {"lower": _numbers(joint.low), "upper": _numbers(joint.high)} if joint.kind != "continuous" else {}
    ET.SubElement(element, "limit", limits | {"effort": _numbers(moves.effort), "velocity": _numbers(moves.speed)})


@dataclass(frozen=True, slots=True)
class _Wheel:
    """A drive wheel: its centre [m], its radius [m], its mass [kg], and whether motors drive it."""

    name: str
    centre: tuple[float, float, float]
    radius: float
    mass: float
    driven: bool

    @property
    def inertia(self) -> Array:
        """Of a thin disc about its centre [kg m2]."""
        across, about = 0.25 * self.mass * self.radius**2, 0.5 * self.mass * self.radius**2
        return np.diag([across, about, across])


def _wheels(robot: Robot, chassis: RigidBody) -> list[_Wheel]:
    """The drive wheels with the masses of their classes, as far as the chassis that they are part of has them."""
    classes, wheels = robot.catalogue.wheels, robot.drive.wheels
    total = sum(float(classes[w.wheel].mass) for w in wheels.values())
    share = 1.0
    while total and not _possible(_without(chassis, _laid_out(robot, share)), float(chassis.mass)):
        share *= 0.5
    return _laid_out(robot, share)


def _laid_out(robot: Robot, share: float) -> list[_Wheel]:
    found = []
    for name, wheel in robot.drive.wheels.items():
        kind = robot.catalogue.wheels[wheel.wheel]
        radius = float(kind.diameter) / 2.0
        x, y = (float(c) for c in wheel.position)
        found.append(_Wheel(name, (x, y, radius), radius, share * float(kind.mass), wheel.driven))
    return found


def _possible(body: RigidBody, whole: float) -> bool:
    """Whether a body can have that mass and inertia: no principal moment above the sum of the two others."""
    moments = np.linalg.eigvalsh(np.asarray(body.inertia, dtype=float))
    return bool(body.mass > _LEFT_OVER * whole and moments[0] > 0.0 and moments[2] < moments[0] + moments[1])


def _without(body: RigidBody, wheels: Sequence[_Wheel]) -> RigidBody:
    """Take wheels out of a body: mass, centre and inertia of the rest (parallel axes)."""
    mass = float(body.mass) - sum(w.mass for w in wheels)
    middle = np.asarray(body.cg, dtype=float)
    centre = (float(body.mass) * middle - sum(w.mass * np.array(w.centre) for w in wheels)) / mass
    tensor = np.asarray(body.inertia, dtype=float) + _moved(float(body.mass), middle - centre)
    for wheel in wheels:
        tensor = tensor - wheel.inertia - _moved(wheel.mass, np.array(wheel.centre) - centre)
    return RigidBody(np.asarray(mass), centre, tensor)


def _moved(mass: float, away: Array) -> Array:
    return np.asarray(mass * (away @ away * np.eye(3) - np.outer(away, away)))


def _wheel_actuator(context: Context) -> Actuator:
    """What one driven wheel gets of the motors: torque at stall within the current limit, and speed without load."""
    driven = [w for w in context.robot.drive.wheels.values() if w.driven]
    if not driven:
        return _PASSIVE
    line = state.drivetrain(context).line
    radius = float(context.robot.catalogue.wheels[driven[0].wheel].diameter) / 2.0
    force = min(first(line.stall_force), first(line.force_limit))
    return Actuator(force * radius / len(driven), first(line.stall_force / line.slope) / radius)


def _add_wheels(root: ET.Element, chassis: str, wheels: Sequence[_Wheel], drive: Actuator) -> None:
    """Hang each wheel on a joint about its axle."""
    for label, wheel in zip(names_of([(("wheel", w.name), "1") for w in wheels]), wheels, strict=True):
        link = ET.SubElement(root, "link", name=label)
        inertial = ET.SubElement(link, "inertial")
        ET.SubElement(inertial, "origin", xyz="0.0 0.0 0.0", rpy="0.0 0.0 0.0")
        ET.SubElement(inertial, "mass", value=_numbers(wheel.mass))
        moments = {f"i{a}{b}": _numbers(wheel.inertia[i, j]) for i, a in enumerate("xyz") for j, b in enumerate("xyz")
                   if j >= i}  # fmt: skip
        ET.SubElement(inertial, "inertia", moments)
        for use in ("visual", "collision"):
            shape = ET.SubElement(link, use, name=f"{label}_{use}")
            ET.SubElement(shape, "origin", xyz="0.0 0.0 0.0", rpy=_numbers(np.pi / 2.0, 0.0, 0.0))
            cylinder = ET.SubElement(ET.SubElement(shape, "geometry"), "cylinder")
            cylinder.set("radius", _numbers(wheel.radius))
            cylinder.set("length", _numbers(_RIM))
        turns = Joint("continuous", wheel.centre)
        _joint(root, (chassis, label), turns, f"{label}_joint", drive if wheel.driven else _PASSIVE)


_PLACES = ("x", "y", "z", "length", "width", "height")


def heads(shown: DisplayUnits) -> list[Cell]:
    """Name the columns of a parts list, with their units."""
    mass, length = shown.units["mass"], shown.units["length"]
    places = [f"{name} [{length}]" for name in _PLACES]
    return ["part", f"mass [{mass}]", *places, "rides", "count", "basis", f"tolerance [{mass}]"]


def rows(parts: Mapping[str, Any], shown: DisplayUnits) -> Iterable[list[Cell]]:
    """List parts as rows."""
    for name, part in parts.items():
        mass: Quantity = part.mass
        usual = default_tolerance(mass.si, "mass", mass.basis)
        own = abs(mass.tolerance - usual) > 1e-12
        places = [_number(q, shown) for q in (*part.position, *part.size)]
        off = _in(mass.tolerance, shown) if own else None
        yield [name, _number(mass, shown), *places, part.rides, part.count, mass.basis, off]


def _number(quantity: Quantity, shown: DisplayUnits) -> float:
    return float(f"{to_unit(quantity.si, quantity.kind, shown.units[quantity.kind]):.12g}")


def _in(mass: float, shown: DisplayUnits) -> float:
    return float(f"{to_unit(mass, 'mass', shown.units['mass']):.12g}")


def totals(loaded: Loaded, shown: DisplayUnits) -> list[list[Cell]]:
    """Sum up the parts of a robot, as they are placed."""
    groups = state.listed_groups(Context(loaded.nominal, loaded.nominal_season))
    if not groups:
        return []
    whole = combine([group.body for group in groups.values()])
    mass, length = shown.units["mass"], shown.units["length"]
    at = [float(f"{to_unit(float(c), 'length', length):.6g}") for c in np.asarray(whole.cg)]
    found: list[list[Cell]] = [["mass of all parts", float(f"{to_unit(float(whole.mass), 'mass', mass):.8g}"), mass]]
    found += [[f"centre of gravity, {axis}", c, length] for axis, c in zip(("x", "y", "z"), at, strict=True)]
    return found


def as_table(loaded: Loaded, parts: Mapping[str, Any]) -> str:
    """Write parts as CSV, with the totals as notes below."""
    shown = DisplayUnits.of(loaded.quantities)
    notes = [[f"{NOTE}{name}", number, unit] for name, number, unit in totals(loaded, shown)]
    return csv_text([heads(shown), *rows(parts, shown), *notes])


def as_sheet(loaded: Loaded, parts: Mapping[str, Any]) -> bytes:
    """Write parts as a spreadsheet, with the totals on a sheet of their own."""
    shown = DisplayUnits.of(loaded.quantities)
    above: list[list[Cell]] = [["total", "number", "unit"]]
    return sheet_bytes({"parts": [heads(shown), *rows(parts, shown)], "totals": above + totals(loaded, shown)})
