"""Makes docs/files.md: the prose of files.template.md with tables taken from the schema.

Run it after a key has changed: ``python docs/make_files.py``.
"""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

from fieldworthy.files.declare import LEAST_OF_PLACES, Of, Ref, Within, hints, mark_of, tolerance_table
from fieldworthy.measure.model import Measurements
from fieldworthy.robot.loading import builtin
from fieldworthy.robot.model.catalogue import Catalogue
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.robot.partslist import COLUMNS
from fieldworthy.units import KINDS, digits, to_unit

HERE = Path(__file__).parent
_COLUMN = {
    "part": "its name; needed",
    "mass": "of one of them; needed",
    "x": "middle of its box, forward; needed",
    "y": "middle of its box, to the left; needed",
    "z": "middle of its box, above the floor; needed",
    "length": "of its box along x; needed",
    "width": "of its box along y; needed",
    "height": "of its box along z; needed",
    "rides": "the group that carries it along; `chassis` where empty",
    "count": "how many, all at this place together; 1 where empty",
    "basis": "of the mass: `measured`, `datasheet` or `estimate`",
    "tolerance": "of the mass",
    "date": "when the mass was measured",
}


@dataclasses.dataclass(frozen=True)
class _Section:
    """One declared thing: where it stands in the file, and what it is."""

    path: str
    declared: Any


def _options(annotation: Any) -> tuple[Any, ...]:
    if get_origin(annotation) in (Union, types.UnionType):
        return tuple(a for a in get_args(annotation) if a is not type(None))
    return (annotation,)


def _inner(path: str, annotation: Any) -> Iterator[_Section]:
    """The declared things behind one key."""
    for option in _options(annotation):
        if dataclasses.is_dataclass(option):
            yield _Section(path, option)
        elif get_origin(option) is dict:
            yield from _inner(f"{path}.<name>", get_args(option)[1])
        elif get_origin(option) is tuple:
            for member in dict.fromkeys(a for a in get_args(option) if a is not Ellipsis):
                yield from _inner(f"{path}[]", member)


def _sections(top: Any, stop: tuple[Any, ...] = ()) -> list[_Section]:
    """Every declared thing under one, each once, the way a reader comes across them."""
    found: list[_Section] = []
    seen = set(stop)

    def visit(section: _Section) -> None:
        if section.declared in seen:
            return
        seen.add(section.declared)
        found.append(section)
        notes = hints(section.declared)
        for field in dataclasses.fields(section.declared):
            path = f"{section.path}.{field.name}" if section.path else field.name
            for inner in _inner(path, notes[field.name]):
                visit(inner)

    visit(_Section("", top))
    return found


def _anchor(declared: Any) -> str:
    return f"[{declared.__name__}](#{declared.__name__.lower()})"


def _quantity(mark: Of) -> str:
    kind = KINDS[mark.kind]
    bounds = mark.bounds(kind.metric)
    text = f"{'number' if mark.kind == 'ratio' else mark.kind}, such as `{kind.example}`"
    return text + ("" if bounds == "a number" else f"; {bounds}")


def _how(annotation: Any) -> str:
    """How a value is written."""
    return " or ".join(dict.fromkeys(_how_one(option) for option in _options(annotation)))


def _how_one(option: Any) -> str:
    mark = mark_of(option)
    if isinstance(mark, Of):
        return _quantity(mark)
    if isinstance(mark, Within):
        return f"a name from `{mark.to}`" + (f" of that `{mark.through}`" if mark.through else "")
    if mark is not None:
        return "a name from " + " or ".join(f"`{target}`" for target in mark.to)
    if dataclasses.is_dataclass(option):
        return _anchor(option)
    origin, args = get_origin(option), get_args(option)
    if origin is Literal:
        return ", ".join(f"`{a}`" for a in args)
    if origin is dict:
        named = mark_of(args[0])
        key = "name" if not isinstance(named, Ref) else " or ".join(f"`{t}`" for t in named.to)
        return f"by {key}: {_how(args[1])}"
    if origin is tuple:
        return f"a list of {_how(args[0])}" if args[-1] is Ellipsis else _list(args)
    return {"str": "text", "bool": "`true` or `false`"}.get(getattr(option, "__name__", ""), _number(option))


def _list(args: tuple[Any, ...]) -> str:
    inner = list(dict.fromkeys(_how(a) for a in args))
    return f"`[…]`, {len(args)} of: {inner[0]}" if len(inner) == 1 else f"`[…]` of: {'; '.join(inner)}"


def _number(option: Any) -> str:
    base = get_args(option)[0] if get_origin(option) is not None else option
    if base is not int:
        return "a number"
    least = [getattr(m, "ge", None) for a in get_args(option)[1:] for m in getattr(a, "metadata", ())]
    known = [str(low) for low in least if low is not None]
    return f"whole number, at least {known[0]}" if known else "whole number"


def _absent(field: dataclasses.Field[Any]) -> str:
    meta = field.metadata
    if "assume" in meta:
        return f"assumed `{meta['assume']}`"
    if "default" not in meta and "factory" not in meta:
        return "**needed**"
    default = meta.get("default")
    if default in (None, "", ()):
        return "—"
    return f"`{str(default).lower() if isinstance(default, bool) else default}`"


def _table(section: _Section) -> str:
    notes = hints(section.declared)
    doc = (section.declared.__doc__ or "").split("\n")[0]
    where = f"`{section.path}`: " if section.path else ""
    rows = [f"### {section.declared.__name__}", "", f"{where}{doc}", ""]
    rows += ["| key | what | how it is written | where absent |", "| --- | --- | --- | --- |"]
    for field in dataclasses.fields(section.declared):
        about = field.metadata.get("about") or field.metadata.get("why") or ""
        cells = (f"`{field.name}`", about, _how(notes[field.name]), _absent(field))
        rows.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(rows)


def _tables(top: Any, stop: tuple[Any, ...] = ()) -> str:
    return "\n\n".join(_table(section) for section in _sections(top, stop))


def _catalogue() -> str:
    sections = [
        dataclasses.replace(s, path=f"catalogue.{s.path}" if s.path else "catalogue") for s in _sections(Catalogue)
    ]
    return "\n\n".join(_table(section) for section in sections)


def _tolerances() -> str:
    rows = ["| kind | estimate | datasheet | measured |", "| --- | --- | --- | --- |"]
    for kind, of_bases in tolerance_table():
        rows.append(f"| {kind} | {' | '.join(_tolerance(kind, *parts) for parts in of_bases)} |")
        if kind == "length":
            least = f"{digits(to_unit(LEAST_OF_PLACES, 'length', 'mm'))} mm"
            rows.append(f"| place of a part or a load | as a length, at least {least} | as a length | as a length |")
    return "\n".join(rows)


def _tolerance(kind: str, relative: float, absolute: float) -> str:
    parts = [f"{digits(100 * relative)} % of the value"] if relative else []
    if absolute:
        step = "temperature step" if kind == "temperature" else kind
        unit = KINDS[step].metric
        parts.append(f"{digits(to_unit(absolute, step, unit))} {unit}")
    return " and ".join(parts)


def _columns() -> str:
    return "\n".join(["| column | what |", "| --- | --- |", *(f"| `{name}` | {_COLUMN[name]} |" for name in COLUMNS)])


def _classes() -> str:
    """The numbers of every generic class, a table a section, along its shorter side."""
    return "\n\n".join(_class_table(section, classes) for section, classes in builtin().items())


def _class_table(section: str, classes: dict[str, dict[str, Any]]) -> str:
    keys = list(dict.fromkeys(key for entry in classes.values() for key in entry))
    cells = {name: [_written(entry.get(key)) for key in keys] for name, entry in classes.items()}
    heads, rows = [f"`{key}`" for key in keys], [[f"`{name}`", *shown] for name, shown in cells.items()]
    if len(keys) > len(classes):
        columns = zip(*cells.values(), strict=True)
        rows = [[head, *shown] for head, shown in zip(heads, columns, strict=True)]
        heads = [f"`{name}`" for name in classes]
    lines = [[section, *heads], ["---"] * (len(heads) + 1), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _written(entry: Any) -> str:
    """A value as the file has it, with its tolerance where that is said."""
    if isinstance(entry, list):
        return "; ".join(_written(one) for one in entry)
    if not isinstance(entry, dict):
        return {None: "–", True: "yes", False: "no"}.get(entry, str(entry))
    if "value" not in entry:
        return ", ".join(f"{key} {_written(value)}" for key, value in entry.items())
    tolerance = str(entry.get("tolerance", "")).split(" ")[0]
    return str(entry["value"]) if tolerance in ("", "0") else f"{entry['value']} ± {tolerance}"


def text() -> str:
    """Fill the template.

    Returns
    -------
    str
        What docs/files.md must hold.
    """
    whole = (HERE / "files.template.md").read_text(encoding="utf-8")
    made = {
        "tolerances": _tolerances(),
        "robot": _tables(Robot, (Catalogue,)),
        "columns": _columns(),
        "classes": _classes(),
        "catalogue": _catalogue(),
        "season": _tables(Season),
        "measurements": _tables(Measurements),
    }
    for name, table in made.items():
        whole = whole.replace(f"<!-- {name} -->", table)
    return whole


if __name__ == "__main__":
    (HERE / "files.md").write_text(text(), encoding="utf-8")
