"""The constants of a robot as JSON, a C header, a Python module or a table."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from fieldworthy.engine.display import Shown
from fieldworthy.engine.output import as_data
from fieldworthy.report.constants import Constant, constants
from fieldworthy.report.names import names_of
from fieldworthy.robot import Loaded

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
    shown = Shown.of(loaded.quantities)
    found = sorted(constants(loaded), key=lambda c: c.words[0])
    units = [_unit(c, shown) for c in found]
    names = names_of([(c.words, unit) for c, unit in zip(found, units, strict=True)])
    entries = (_entry(c, n, u, shown) for c, n, u in zip(found, names, units, strict=True))
    return Export(loaded.nominal.robot, loaded.nominal_season.season, tuple(entries))


def _unit(constant: Constant, shown: Shown) -> str:
    return "1" if constant.kind in _BARE else shown.units.get(constant.kind, constant.kind)


def _entry(constant: Constant, name: str, unit: str, shown: Shown) -> Entry:
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
