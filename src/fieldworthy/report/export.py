"""The constants of a robot as JSON, a C header, a Python module or a table."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import math
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar

from fieldworthy import __version__
from fieldworthy.engine.constants import COMPUTED, Constant, Found, Stated, stated
from fieldworthy.engine.context import Context
from fieldworthy.engine.display import DisplayUnits, first
from fieldworthy.engine.evaluate import run
from fieldworthy.engine.finding import Outcome
from fieldworthy.engine.output import as_data
from fieldworthy.engine.sampling import Cases
from fieldworthy.engine.system import systems
from fieldworthy.report.numbers import names_of
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.plan import Repeat


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
