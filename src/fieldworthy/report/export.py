"""The constants of a robot as JSON, a C header, a Python module or a table."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import math
import re
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar

from fieldworthy.engine.context import Context
from fieldworthy.engine.display import DisplayUnits, first
from fieldworthy.engine.evaluate import run
from fieldworthy.engine.finding import Outcome
from fieldworthy.engine.output import as_data
from fieldworthy.engine.sampling import Cases
from fieldworthy.files import Quantity
from fieldworthy.files.problems import KeyPath, dotted
from fieldworthy.physics.motors.feedforward import feedforward
from fieldworthy.report.numbers import names_of
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.plan import Repeat
from fieldworthy.systems.arm.check import driven
from fieldworthy.systems.arm.model import MotorArm
from fieldworthy.systems.sorter.model import Sorter
from fieldworthy.vehicle import state
from fieldworthy.vehicle.drivetrain import half_track, motor_line, wheel_radius


@dataclass(frozen=True, slots=True)
class Constant:
    """One number for the robot's program.

    Attributes
    ----------
    words : What it is called, from the general to the particular; some are the person's own
    value : In SI
    kind : Kind of quantity; ``count`` for a bare number; or a unit of SI of its own, such as ``V*s/m``
    about : What it is, in a few words
    origin : Key of the file, or id of the finding or fact, that it comes from
    basis : What it rests on
    tolerance : Half width of its 95 % interval in SI; None for what is computed or exact
    """

    words: tuple[str, ...]
    value: float
    kind: str
    about: str
    origin: str
    basis: str = "computed"
    tolerance: float | None = None


@dataclass(frozen=True, slots=True)
class _Pick:
    """Which number of which outcome: its id up to the name, the number in its sentence, words and meaning."""

    id: str
    number: str
    words: str
    about: str


# key path with * for a name of the person's own; {0}, {1} stand for those names
_FROM_FILE: tuple[tuple[str, str, str], ...] = (
    ("tracking.wheels.*.diameter", "tracking/{0}/wheel diameter", "diameter of tracking wheel '{0}'"),
    ("tracking.wheels.*.offset", "tracking/{0}/offset", "how far tracking wheel '{0}' is from the turning centre"),
    ("tracking.gyro.drift", "tracking/gyro drift", "drift of the gyro at rest"),
    ("air.supply.charge", "air/charge", "gauge pressure at the start of a match"),
    ("mechanisms.*.sensor.period", "{0}/sensor period", "time between two readings of the sensor of '{0}'"),
    ("mechanisms.*.sensor.latency", "{0}/sensor latency", "age of a reading of '{0}' when the program gets it"),
    ("mechanisms.*.hold.period", "{0}/hold period", "time between two readings of the sensors that hold pieces"),
    ("mechanisms.*.hold.latency", "{0}/hold latency", "from a reading until the stage brakes"),
    ("mechanisms.*.hold.deceleration", "{0}/hold deceleration", "how hard the stage brakes"),
    ("mechanisms.*.swing", "{0}/swing", "from where '{0}' lies to where it is raised"),
    ("plan.finish.reserve", "plan/finish reserve", "time before the end at which the finish begins at the latest"),
)
_FROM_FINDINGS: tuple[_Pick, ...] = (
    _Pick("drive.top_speed", "top", "drive/top speed", "top speed"),
    _Pick("drive.top_speed", "launch", "drive/acceleration most", "hardest start that grip and motors allow"),
    _Pick("drive.top_speed", "brake", "drive/deceleration most", "hardest stop that grip and motors allow"),
    _Pick("drive.cool_down", "value", "drive/cool down", "rest that the motors need after a match"),
    _Pick(
        "balance.tip.forward", "value", "drive/tip forward", "rear wheels lift from this acceleration on, worst pose"
    ),
    _Pick("balance.tip.back", "value", "drive/tip back", "front wheels lift from this acceleration on, worst pose"),
    _Pick("tracking.seam.*", "stays", "tracking/{0}/seam speed", "above it wheel '{0}' jumps at a seam"),
    _Pick("intake.speed.*", "speed", "{0}/speed", "speed of a piece in '{0}'"),
    _Pick("intake.hold_speed.*", "limit", "{0}/hold speed most", "two pieces are held reliably up to this speed"),
    _Pick("intake.hold_speed.*", "longest", "{0}/stop distance", "longest way from sensor to rest"),
    _Pick("intake.hold_rest.*", "first", "{0}/rest distance", "where the first piece rests past its sensor"),
    _Pick("sort.vote.*", "used", "{0}/readings", "readings of one piece that it decides on"),
    _Pick("sort.eject.*", "decided", "{0}/decision time", "after a piece reaches the sensor it has decided"),
    _Pick("sort.eject.*", "actuator", "{0}/ejector time", "what the ejector takes"),
    _Pick("sort.eject.*", "aim", "{0}/eject aim", "after the sensor, when the ejector should be in place"),
    _Pick("sort.best_background.*", "value", "{0}/background hue best", "hue of the background that reads best"),
    _Pick("air.pressure.*", "need", "air/{0}/pressure least", "below this gauge pressure '{0}' fails"),
    _Pick("air.time.*", "value", "air/{0}/stroke time", "slower stroke at the lowest pressure of the plan"),
    _Pick("air.strokes.*", "value", "air/{0}/strokes", "strokes out and back from a full tank"),
    _Pick("clamp.slip.*", "value", "{0}/pressure least", "below this gauge pressure '{0}' slips off"),
    _Pick("lift.time.*", "value", "{0}/time up", "time until '{0}' is up"),
    _Pick("arm.time.*", "value", "{0}/time up", "time until '{0}' is up"),
    _Pick("arm.holding.*", "value", "{0}/holding share", "share of stall torque that holds '{0}' still"),
)
_SECTOR = re.compile(r"(from|to)(\d+)")


def constants(loaded: Loaded) -> tuple[Constant, ...]:
    """Gather the constants of a robot."""
    context = Context(loaded.nominal, loaded.nominal_season)
    outcomes = run(loaded, Cases(0, 0, 0, []), context)
    found = [*_drive(loaded, context), *_counts(loaded), *_listed(loaded), *_judged(outcomes)]
    found += [*_sectors(loaded, outcomes), *_arms(context), *_places(loaded)]
    return tuple(c for c in found if math.isfinite(c.value))


def _drive(loaded: Loaded, context: Context) -> Iterator[Constant]:
    """The drive's gearing, wheels and way for each turn."""
    robot = loaded.nominal
    radius, drive = first(wheel_radius(robot)), state.drivetrain(context)
    ratio = first(drive.train.wheels.train.ratio)
    name = next((w.wheel for w in robot.drive.wheels.values() if w.driven), "")
    wheel = ("catalogue", "wheels", name, "diameter")
    yield _quantity(loaded, wheel, ("drive", "wheel diameter"), "diameter of the driven wheels")
    yield Constant(("drive", "ratio"), ratio, "ratio", "motor turns for one turn of a wheel", "drive.stages", "exact")
    way = 2.0 * math.pi * radius / ratio
    yield Constant(("drive", "travel per motor turn"), way, "length", "way on one turn of a motor", "drive.stages")
    track = 2.0 * first(half_track(robot))
    yield Constant(("drive", "track"), track, "length", "between the wheels of the two sides", "drive.wheels")
    pose = state.driving_pose(context)
    if pose is None or not robot.parts:
        return
    load, geared = state.performance(context, pose).load, drive.train.wheels
    moved = (first(load.mass) + first(load.rotating_mass), first(load.resistance))
    line = motor_line(robot.catalogue.motors[robot.drive.motor])
    made = feedforward(line, float(robot.drive.motors), radius / ratio, first(geared.train.efficiency), moved)
    note = "of the voltage that drives it: start + speed + acceleration; a first guess, tune it on the floor"
    yield Constant(("drive", "start voltage"), first(made.start), "voltage", f"friction's part {note}", "drive")
    yield Constant(("drive", "speed gain"), first(made.per_speed), "V*s/m", f"speed's part {note}", "drive.top_speed")
    gain = first(made.per_acceleration)
    yield Constant(("drive", "acceleration gain"), gain, "V*s^2/m", f"acceleration's part {note}", "drive.top_speed")


def _quantity(loaded: Loaded, path: KeyPath, words: tuple[str, ...], about: str) -> Constant:
    return _stated(path, dict(loaded.quantities)[path], words, about)


def _stated(path: KeyPath, quantity: Quantity, words: tuple[str, ...], about: str) -> Constant:
    exact = quantity.tolerance == 0.0
    basis = "exact" if exact else quantity.basis
    tolerance = None if exact else quantity.tolerance
    return Constant(words, quantity.si, quantity.kind, about, dotted(path), basis, tolerance)


def _counts(loaded: Loaded) -> Iterator[Constant]:
    tracking = loaded.nominal.tracking
    for name, wheel in tracking.wheels.items() if tracking is not None else ():
        key, counts = f"tracking.wheels.{name}", float(wheel.counts)
        about = f"counts on one turn of tracking wheel '{name}'"
        yield Constant(("tracking", name, "counts"), counts, "count", about, f"{key}.counts", "exact")
        way = math.pi * first(wheel.diameter) / counts
        yield Constant(("tracking", name, "travel per count"), way, "length", f"way of '{name}' on one count", key)


def _listed(loaded: Loaded) -> Iterator[Constant]:
    """What stands in the file as it is."""
    for pattern, words, about in _FROM_FILE:
        keys = pattern.split(".")
        for path, quantity in loaded.quantities:
            if path[0] == "air" and not loaded.nominal.air.tanks:
                continue
            if len(path) == len(keys) and all(k in ("*", p) for k, p in zip(keys, path, strict=True)):
                names = [str(p) for k, p in zip(keys, path, strict=True) if k == "*"]
                yield _stated(path, quantity, _filled(words, names), about.format(*names))


def _filled(words: str, names: Sequence[str]) -> tuple[str, ...]:
    """Names are put into the parts, so that a name with a slash stays one part."""
    return tuple(part.format(*names) for part in words.split("/"))


def _judged(outcomes: Sequence[Outcome]) -> Iterator[Constant]:
    """What findings and facts say."""
    for pick in _FROM_FINDINGS:
        stem = pick.id.removesuffix("*")
        for outcome in outcomes:
            fits = outcome.id.startswith(stem) if pick.id.endswith("*") else outcome.id == stem
            if not fits or outcome.missing:
                continue
            value, kind = (outcome.value, outcome.kind)
            if pick.number != "value":
                if pick.number not in outcome.because.numbers:
                    continue
                value, kind = outcome.because.numbers[pick.number]
            name = outcome.id.removeprefix(stem)
            yield Constant(_filled(pick.words, [name]), first(value), kind, pick.about.format(name), outcome.id)


def _sectors(loaded: Loaded, outcomes: Sequence[Outcome]) -> Iterator[Constant]:
    """Hues between which a reading counts as one class."""
    for name, spec in loaded.nominal.mechanisms.items():
        if not isinstance(spec, Sorter):
            continue
        labels = list(spec.classes)
        for outcome in (o for o in outcomes if o.id == f"sort.vote.{name}"):
            for number, (value, kind) in outcome.because.numbers.items():
                match = _SECTOR.fullmatch(number)
                if match:
                    label = labels[int(match[2])]
                    about = f"hue {match[1]} which a reading counts as '{label}', going up and round the circle"
                    yield Constant((name, label, f"hue {match[1]}"), first(value), kind, about, outcome.id)


def _arms(context: Context) -> Iterator[Constant]:
    """Gearing and voltages of motor-driven arms."""
    for name, spec in context.robot.mechanisms.items():
        if not isinstance(spec, MotorArm):
            continue
        at = driven(context, name, spec)
        ratio, line, key = first(at.drive.reduction), at.motor.line, f"mechanisms.{name}"
        about = f"motor turns for one turn of '{name}'"
        yield Constant((name, "ratio"), ratio, "ratio", about, f"{key}.stages", "exact")
        gain = first(line.rated_voltage / line.free_speed) * ratio
        yield Constant((name, "speed gain"), gain, "V*s/rad", f"voltage for the speed of '{name}'; tune it", key)


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
    value : In `unit`
    unit : The unit that the robot file uses for this kind of quantity; 1 for a bare number
    about : What it is
    origin : Key of the robot file, or id of the finding or fact, that it comes from
    basis : ``measured``, ``datasheet``, ``estimate``, ``exact`` or ``computed``
    tolerance : Half width of its 95 % interval, in `unit`; None for what is computed or exact
    """

    name: str
    value: float
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
    constants : Grouped by what they belong to
    """

    FORMAT: ClassVar[str] = "fieldworthy export 1"

    robot: str
    season: str
    constants: tuple[Entry, ...]


def export_of(loaded: Loaded) -> Export:
    """Gather the constants of a robot in the units of its file."""
    shown = DisplayUnits.of(loaded.quantities)
    found = sorted(constants(loaded), key=lambda c: c.words[0])
    units = [_unit(c, shown) for c in found]
    names = names_of([(c.words, unit) for c, unit in zip(found, units, strict=True)])
    entries = (_entry(c, n, u, shown) for c, n, u in zip(found, names, units, strict=True))
    return Export(loaded.nominal.robot, loaded.nominal_season.season, tuple(entries))


def _unit(constant: Constant, shown: DisplayUnits) -> str:
    return "1" if constant.kind in _BARE else shown.units.get(constant.kind, constant.kind)


def _entry(constant: Constant, name: str, unit: str, shown: DisplayUnits) -> Entry:
    def plain(si: float) -> float:
        made = shown.plain(si, constant.kind) if constant.kind in shown.units else si
        return float(f"{made:.10g}")

    value, off = plain(constant.value), constant.tolerance
    tolerance = None if off is None else float(f"{abs(plain(constant.value + off) - value):.4g}")
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


def as_c(export: Export) -> str:
    """Write constants as a C header, for C and C++ alike."""
    lines = [
        f"/* Constants of {_comment(export.robot)} in {_comment(export.season)}, computed by fieldworthy.",
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
        f"# Constants of {_line(export.robot)} in {_line(export.season)}, computed by fieldworthy.",
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
