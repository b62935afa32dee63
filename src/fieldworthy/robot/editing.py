"""Changes values in the files of a robot, each in the file that it came from, every other byte as it was."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any

from fieldworthy.robot.catalogue import builtin, builtin_names
from fieldworthy.robot.editingparts import parts_edited
from fieldworthy.robot.files import Loaded, load_robot
from fieldworthy.robot.model import Robot
from fieldworthy.schema import BadInput, schema_of
from fieldworthy.schema.changes import GONE
from fieldworthy.schema.document import Document
from fieldworthy.schema.problems import KeyPath, nearest, shorten
from fieldworthy.schema.splicing import spliced
from fieldworthy.schema.tree import plain_scalar, read_document
from fieldworthy.schema.walk import models_at
from fieldworthy.schema.writing import fingerprint, is_dated_copy, written
from fieldworthy.season.model import Season

__all__ = ["GONE", "edited", "fingerprint", "is_dated_copy", "written"]


def edited(loaded: Loaded, changes: Mapping[KeyPath, object]) -> dict[Path, str]:
    """Change values of a robot and give the new text of each file concerned; nothing is written.

    Parameters
    ----------
    loaded : Loaded
        The robot as it was read [-].
    changes : mapping of tuple to object
        New value by key path, as `Loaded.quantities` names them: ``season`` goes before the keys of the season
        file. A value is a text or number (``2.75 in``), a mapping (``{value, tolerance, basis, date}``), a list, or
        `GONE` to take the key away. A number of a generic class is written as an entry of the team's own in the
        file's ``catalogue``, which goes before the generic one of that name wherever the robot uses it [-].

    Returns
    -------
    dict of Path to str
        The new texts, by path as in ``loaded.texts``; only files that change [-].

    Raises
    ------
    BadInput
        When the robot could not be read with these texts, with every problem found; or when a name is not there.
    """
    texts: dict[Path, str] = {}
    for file, own in _by_file(loaded, changes).items():
        text = _new_text(loaded, file, own)
        if text != loaded.texts[file]:
            texts[file] = text
    if texts:
        load_robot(loaded.document.file, None, {**loaded.texts, **texts})
    return texts


def season_file(loaded: Loaded) -> Path:
    """Name the season file of a robot.

    Parameters
    ----------
    loaded : Loaded
        The robot [-].

    Returns
    -------
    Path
        As in ``loaded.texts`` [-].
    """
    return loaded.document.file.parent / str(loaded.document.data["season"])


def _by_file(loaded: Loaded, changes: Mapping[KeyPath, object]) -> dict[Path, dict[KeyPath, object]]:
    """Which change belongs into which file, with its key path there."""
    found: dict[Path, dict[KeyPath, object]] = {}
    for path, value in changes.items():
        if path[0] == "season" and len(path) > 1:
            found.setdefault(season_file(loaded), {})[path[1:]] = value
        elif path[:2] in loaded.document.files:
            found.setdefault(loaded.document.files[path[:2]], {})[path[1:]] = value
        else:
            found.setdefault(loaded.document.file, {})[path] = value
    return found


def _new_text(loaded: Loaded, file: Path, changes: Mapping[KeyPath, object]) -> str:
    if file not in loaded.texts:
        what = "this part comes from a spreadsheet: change it there, or save the sheet as CSV and name that file"
        key = next(iter(changes))
        raise BadInput([loaded.document.problem(("parts", *key), what)])
    text = loaded.texts[file]
    if file in loaded.document.files.values():
        return parts_edited(file, text, changes)
    declared = Robot if file == loaded.document.file else Season
    document = read_document(file, text)
    if declared is Robot:
        text, document = _with_own_classes(document, text, changes)
    _refuse_unknown_names(document, declared, changes)
    typed = {path: _typed(document, declared, path, value) for path, value in changes.items()}
    return spliced(file, text, typed, partial(_order, document, declared))


def _typed(document: Document, declared: type, path: KeyPath, value: object) -> object:
    """What a person typed into a form: ``0.45`` is a number, save where the file wants a text."""
    if isinstance(value, Mapping):
        return {key: _typed(document, declared, (*path, key), inner) for key, inner in value.items()}
    number = plain_scalar(value) if isinstance(value, str) else None
    if not isinstance(number, int | float) or isinstance(number, bool):
        return value
    models = models_at(schema_of(declared), document.data, path[:-1])
    wanted = [m.model_fields[str(path[-1])].annotation for m in models if str(path[-1]) in m.model_fields]
    return value if any(each in (str, str | None) for each in wanted) else number


def _order(document: Document, declared: type, path: KeyPath) -> list[str]:
    """The keys of a mapping in the order of their declaration; none for a mapping of names."""
    return list(dict.fromkeys(n for m in models_at(schema_of(declared), document.data, path) for n in m.model_fields))


def _refuse_unknown_names(document: Document, declared: type, changes: Mapping[KeyPath, object]) -> None:
    """A change of one number of a tank that is not there is a slip of the pen, not a new tank."""
    schema = schema_of(declared)
    for path in changes:
        here: Any = document.data
        for i, key in enumerate(path[:-1]):
            known = list(here) if isinstance(here, dict) else []
            here = here.get(str(key)) if isinstance(here, dict) else _item(here, key)
            if here is None and isinstance(key, str) and not models_at(schema, document.data, path[:i]):
                known += builtin_names(str(path[1])) if path[0] == "catalogue" and i == 2 else []
                listed = "; ".join(known[:10]) + ("; …" if len(known) > 10 else "") or "none are declared"
                expected = f"expected one of {listed} (found {shorten(key)})"
                raise BadInput([document.problem(path[: i + 1], expected, nearest(key, known))])


def _item(here: Any, key: str | int) -> Any:
    return here[key] if isinstance(here, list) and isinstance(key, int) and 0 <= key < len(here) else None


def _with_own_classes(document: Document, text: str, changes: Mapping[KeyPath, object]) -> tuple[str, Document]:
    """Write out the generic classes of which a number is to change, as the team's own."""
    own = document.data.get("catalogue")
    needed = {
        (str(path[1]), str(path[2])): None
        for path in changes
        if path[0] == "catalogue" and len(path) > 3 and str(path[2]) in builtin_names(str(path[1]))
    }
    for section, name in needed:
        classes = own.get(section) if isinstance(own, dict) else None
        if isinstance(classes, dict) and name in classes:
            continue
        entry: dict[KeyPath, object] = {("catalogue", section, name): builtin()[section][name]}
        text = spliced(document.file, text, entry, partial(_order, document, Robot))
    return text, read_document(document.file, text) if needed else document
