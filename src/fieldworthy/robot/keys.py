"""Key paths as people write them: ``parts.tray floor.mass``, ``drive.stages[0].driven``."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from fieldworthy.files import BadFile, Problem, schema_of
from fieldworthy.files.problems import KeyPath, nearest, shorten
from fieldworthy.files.reading import models_at
from fieldworthy.robot.catalogue import builtin_names
from fieldworthy.robot.editing import season_file
from fieldworthy.robot.loading import Loaded, load_season
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season

_INDEX = re.compile(r"\[(\d+)\]|(\d+)(?=[.\[]|$)")
_QUOTED = re.compile(r'"(.*?)"(?=[.\[]|$)')
_WORD = re.compile(r"[^.\[]+")
_LISTED = 10


def key_paths(loaded: Loaded, texts: Iterable[str]) -> dict[str, KeyPath]:
    """Find which keys texts mean; every one that means none is a problem of the file."""
    found: dict[str, KeyPath] = {}
    problems: list[Problem] = []
    for text in texts:
        try:
            found[text] = key_path(loaded, text)
        except BadFile as error:
            problems += error.problems
    if problems:
        raise BadFile(problems)
    return found


def key_path(loaded: Loaded, text: str) -> KeyPath:
    """Find which key a text means; a name that holds a point needs no quotes where the file knows it."""
    of_season = text.strip().startswith("season.")
    schema, data = (Season, _season(loaded)) if of_season else (Robot, loaded.document.data)
    head: KeyPath = ("season",) if of_season else ()
    path: KeyPath = ()
    here, rest = data, text.strip().removeprefix("season.") if of_season else text.strip()
    if not rest:
        raise BadFile([loaded.document.problem((), "expected a key, such as drive.motors (found nothing)")])
    while rest:
        key, rest = _next(rest, here)
        _refuse_unknown(loaded, (head, path), (schema, data, here), key)
        path += (key,)
        here = _inside(here, key)
    return head + path


def _season(loaded: Loaded) -> Any:
    file = season_file(loaded)
    return load_season(file, loaded.texts.get(file))[0].data


def _next(rest: str, here: Any) -> tuple[str | int, str]:
    """The first key of a text, and what follows it."""
    if isinstance(here, list) and (index := _INDEX.match(rest)):
        return int(index[1] or index[2]), rest[index.end() :].removeprefix(".")
    if quoted := _QUOTED.match(rest):
        return quoted[1], rest[quoted.end() :].removeprefix(".")
    known = sorted((str(key) for key in here), key=len, reverse=True) if isinstance(here, Mapping) else []
    for key in known:
        if rest == key or (rest.startswith(key) and rest[len(key)] in ".["):
            return key, rest[len(key) :].removeprefix(".")
    word = _WORD.match(rest)
    if word is None:
        index = _INDEX.match(rest)
        return (int(index[1]), rest[index.end() :].removeprefix(".")) if index else (rest, "")
    return word[0].strip(), rest[word.end() :].removeprefix(".")


def _inside(here: Any, key: str | int) -> Any:
    if isinstance(here, list) and isinstance(key, int):
        return here[key] if key < len(here) else None
    return here.get(key) if isinstance(here, Mapping) else None


def _refuse_unknown(loaded: Loaded, path: tuple[KeyPath, KeyPath], at: tuple[type, Any, Any], key: str | int) -> None:
    """A key that neither stands in the file nor could stand there."""
    (head, above), (declared, data, here) = path, at
    if here is None:
        return  # a section that the file does not have yet: what it needs is said when the change is laid in
    if isinstance(here, list):
        if isinstance(key, int) and key < len(here):
            return
        expected = f"expected a place in a list of {len(here)}, counted from 0 (found {shorten(key)})"
        raise BadFile([loaded.document.problem((*head, *above, key), expected)])
    known = [str(name) for name in here] if isinstance(here, Mapping) else []
    fields = [name for model in models_at(schema_of(declared), data, above) for name in model.model_fields]
    number = not fields and (not isinstance(here, Mapping) or "value" in here)
    quantity = ["value", "tolerance", "basis", "date"] if number else []
    classes = builtin_names(str(above[1])) if above[:1] == ("catalogue",) and len(above) == 2 else []
    names = list(dict.fromkeys([*known, *fields, *quantity, *classes, *(["season"] if not above and not head else [])]))
    if key in names:
        return
    listed = "; ".join(names[:_LISTED]) + ("; …" if len(names) > _LISTED else "") or "none are declared"
    problem = f"expected one of {listed} (found {shorten(key)})"
    raise BadFile([loaded.document.problem((*head, *above, key), problem, nearest(str(key), names))])
