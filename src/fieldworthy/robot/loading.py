"""Reads a robot file with its season, parts list and catalogue, and checks what the schema alone cannot."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from pathlib import Path
from typing import Any

from fieldworthy.files import BadInput, Document, Problem, Quantity, instantiate, quantities, read_document
from fieldworthy.files.declare import Spec
from fieldworthy.files.document import Fault, KeyPath, faults_of, nearest, read_text, shorten
from fieldworthy.files.reading import checked, references
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.robot.partslist import beside, lacking_beside, read_parts_list


@cache
def builtin() -> dict[str, dict[str, Any]]:
    """Read the generic classes."""
    text = files("fieldworthy.robot").joinpath("catalogue.yaml").read_text(encoding="utf-8")
    data: dict[str, dict[str, Any]] = read_document(Path("catalogue.yaml"), text).data
    return data


def builtin_names(section: str) -> list[str]:
    """List the generic classes of one section."""
    return list(builtin().get(section, {}))


def with_builtin(data: dict[str, Any]) -> dict[str, Any]:
    """Add the generic classes that a robot file names to its own."""
    own = data.get("catalogue") or {}
    if not isinstance(own, dict):
        return data
    named = names_in(data)
    merged = dict(own)
    for section, classes in builtin().items():
        mine = own.get(section) or {}
        if isinstance(mine, dict):
            merged[section] = {name: entry for name, entry in classes.items() if name in named} | mine
    return data | {"catalogue": merged}


def names_in(data: dict[str, Any]) -> set[str]:
    """List every text that stands anywhere in a file's data."""
    found: set[str] = set()
    stack: list[Any] = [data]
    while stack:
        item = stack.pop()
        if isinstance(item, str):
            found.add(item)
        elif isinstance(item, dict):
            stack.extend(item.values())
        elif isinstance(item, list):
            stack.extend(item)
    return found


def load_season(file: Path | str, text: str | None = None) -> tuple[Document, Spec]:
    """Read a season file."""
    file = Path(file)
    document = read_document(file, text)
    spec, problems = checked(document, Season)
    problems += _unknown_season_names(document)
    if spec is not None:
        season = instantiate(spec, Season)
        problems += [document.problem(path, expected) for path, expected in faults_of(season)]
        problems += _outside(document, season)
    if spec is None or problems:
        raise BadInput(problems)
    return document, spec


def _unknown_season_names(document: Document) -> Iterator[Problem]:
    for path, targets, name in references(document.data, Season):
        named = [document.data.get(target) for target in targets]
        known = [key for names in named if isinstance(names, dict) for key in names]
        if name not in known:
            listed = ", ".join(known) or "none are declared"
            yield document.problem(path, f"expected one of {' and '.join(targets)}: {listed}", nearest(name, known))


def _outside(document: Document, season: Season) -> Iterator[Problem]:
    for name, place in season.field.places.items():
        for i, (at, size) in enumerate(zip(place, season.field.size, strict=True)):
            if abs(float(at)) > float(size) / 2:
                yield document.problem(("field", "places", name, i), "expected a place inside the field")


@dataclass(frozen=True)
class Loaded:
    """A robot file with everything it names.

    Attributes
    ----------
    document : The robot file's data and places
    robot : The robot's specification; its catalogue holds every class that the robot names
    season : The season's specification
    texts : The text of every file that was read, by its path as named: the robot file, its parts list, the season
    """

    document: Document
    robot: Spec
    season: Spec
    texts: Mapping[Path, str]

    @cached_property
    def nominal(self) -> Robot:
        """The robot as the file states it, in SI."""
        return instantiate(self.robot, Robot)

    @cached_property
    def nominal_season(self) -> Season:
        """The season as its file states it, in SI."""
        return instantiate(self.season, Season)

    @cached_property
    def quantities(self) -> tuple[tuple[KeyPath, Quantity], ...]:
        """Every quantity of the robot file, then those of the season, whose paths begin with ``season``."""
        return (*quantities(self.robot), *quantities(self.season, ("season",)))


def load_robot(file: Path | str, text: str | None = None, others: Mapping[Path, str] | None = None) -> Loaded:
    """Read a robot file and everything it names."""
    file = Path(file)
    texts = dict(others or {}) | ({file: text} if text is not None else {})
    document = read_document(file, _text(file, texts))
    read_parts_list(document, texts)
    document.data = with_builtin(document.data)
    spec, problems = checked(document, Robot)
    season_file, lacking = _season_file(document, texts)
    season = load_season(season_file, _text(season_file, texts))[1] if season_file else None
    problems += [*lacking, *_unknown_names(document, season)]
    if spec is not None:
        nominal = None if season is None else instantiate(season, Season)
        problems += [document.problem(key, expected) for key, expected in refusals(instantiate(spec, Robot), nominal)]
    if spec is None or season is None or problems:
        raise BadInput(problems)
    named = [document.file, season_file, *document.files.values()]
    return Loaded(document, spec, season, {path: texts[path] for path in named if path in texts})


def _text(file: Path, texts: dict[Path, str]) -> str:
    """The text of a file, which is kept."""
    if file not in texts:
        texts[file] = read_text(file)
    return texts[file]


def _season_file(document: Document, texts: Mapping[Path, str]) -> tuple[Path | None, list[Problem]]:
    """The season file beside the robot file, or what is wrong with its name."""
    name = document.data.get("season", "")
    if not isinstance(name, str):
        return None, []  # the schema has said that it must be a text
    if not name:
        return None, [document.problem(("season",), "this key is missing: the name of the season file beside this one")]
    file = beside(document.file, name, texts)
    if file is None:
        known = (p for p in document.file.parent.glob("*.y*ml") if p.name != document.file.name)
        return None, [lacking_beside(document, ("season",), name, "season file", known)]
    return file, []


def known_names(data: Any, season: Any, target: str) -> list[str]:
    """List the names that a reference may use."""
    top, _, rest = target.partition(".")
    if top == "season":
        return list(season.field.places) if rest == "places" else list(getattr(season, rest))
    for key in target.split("."):
        data = data.get(key) if isinstance(data, dict) else None
    own = list(data) if isinstance(data, dict) else []
    return [*dict.fromkeys([*own, *builtin_names(rest)])] if top == "catalogue" else own


def _unknown_names(document: Document, season: Any) -> Iterator[Problem]:
    """Names that nothing bears; looked for in the file's data, so that other mistakes do not hide them."""
    for path, targets, name in references(document.data, Robot):
        if season is None and any(target.startswith("season.") for target in targets):
            continue  # that the season is missing is said already
        known = [key for target in targets for key in known_names(document.data, season, target)]
        if name not in known:
            listed = "; ".join(known[:10]) + ("; …" if len(known) > 10 else "") or "none are declared"
            expected = f"expected a name from {' or '.join(targets)}: {listed} (found {shorten(name)})"
            yield document.problem(path, expected, nearest(name, known))


def refusals(robot: Robot, season: Season | None) -> Iterator[Fault]:
    """Collect what a robot's declared things say is wrong with themselves, with each other and with the season."""
    yield from faults_of(robot)
    if season is not None:
        yield from misfits(robot, season)


def misfits(robot: Robot, season: Season) -> Iterator[Fault]:
    """Collect what a robot's plan and mechanisms say is wrong with them in a season."""
    if robot.plan is not None:
        yield from (
            (("plan", *key), expected) for key, expected in robot.plan.validate_in_season(robot.actions, season)
        )
    for name, mechanism in robot.mechanisms.items():
        found = mechanism.validate_in_season(season)
        yield from ((("mechanisms", name, *key), expected) for key, expected in found)
