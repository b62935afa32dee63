"""What a robot is made of, thing by thing: which there are, and how one is added, copied, renamed or taken away.

Everything here works on the files as they stand, also beside a mistake elsewhere in them: what is refused is a change
that would make a new one.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldworthy.files import BadInput, Document, Problem, read_document, schema_of
from fieldworthy.files.declare import NAME_PATTERN
from fieldworthy.files.document import KeyPath, read_text
from fieldworthy.files.reading import inner_references, models_at, references
from fieldworthy.files.splicing import Node, places_of, spliced
from fieldworthy.files.writing import GONE, key_text, scalar_text
from fieldworthy.robot.editing import Texts, changed_texts, part_renamed
from fieldworthy.robot.loading import load_robot
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.robot.partslist import beside, read_parts_list


@dataclass(frozen=True, slots=True)
class Collection:
    """Things of one kind that have names.

    Attributes
    ----------
    path : Where they stand; one of the season begins with ``season``
    one, many : What people call one of them, and all of them
    group : Under which heading they are listed
    """

    path: KeyPath
    one: str
    many: str
    group: str

    @property
    def target(self) -> str:
        """What a reference to one of them is declared with."""
        return "season.places" if self.path[-1] == "places" else ".".join(map(str, self.path))


COLLECTIONS = (
    Collection(("parts",), "part", "Parts", "Robot"),
    Collection(("drive", "wheels"), "drive wheel", "Drive wheels", "Drive"),
    Collection(("mechanisms",), "mechanism", "Mechanisms", "Mechanisms"),
    Collection(("motors",), "shared motor", "Motors that mechanisms share", "Mechanisms"),
    Collection(("air", "tanks"), "tank", "Tanks", "Air"),
    Collection(("air", "cylinders"), "cylinder", "Cylinders", "Air"),
    Collection(("tracking", "wheels"), "tracking wheel", "Tracking wheels", "Sensors"),
    Collection(("poses",), "pose", "Poses", "Robot"),
    Collection(("actions",), "action", "Actions", "Match"),
    Collection(("contacts",), "support", "Casters and skids", "Robot"),
    Collection(("rollers",), "anti-tip roller", "Anti-tip rollers", "Robot"),
    Collection(("ballast",), "place for ballast", "Places for ballast", "Robot"),
    Collection(("season", "field", "places"), "place", "Places on the field", "Season"),
    Collection(("season", "objects"), "object", "Objects", "Season"),
    Collection(("season", "structures"), "structure", "Structures", "Season"),
    Collection(("season", "tasks"), "task", "Tasks", "Season"),
    *(
        Collection(("catalogue", section), f"class of {section}", f"Own classes of {section}", "Own classes")
        for section in ("motors", "wheels", "tanks", "cylinders", "valves", "batteries")
    ),
)
"""In the order in which a team describes its robot."""


@dataclass(frozen=True, slots=True)
class Single:
    """What there is only one of.

    Attributes
    ----------
    path : Where it stands; that of the robot and of the season themselves have no name of their own
    label : What people call it
    group : Under which heading it is listed
    """

    path: KeyPath
    label: str
    group: str


SINGLES = (
    Single(("robot",), "Name and battery", "Robot"),
    Single(("drive",), "Motors and gearing", "Drive"),
    Single(("weighed",), "What scales say of the whole", "Robot"),
    Single(("balance",), "Balance wanted", "Robot"),
    Single(("plan",), "Plan, with a run alone", "Match"),
    Single(("air", "supply"), "Charge and tubing", "Air"),
    Single(("tracking",), "Gyro and what is wanted", "Sensors"),
    Single(("season",), "Name and hall", "Season"),
    Single(("season", "limits"), "Limits", "Season"),
    Single(("season", "field"), "Field", "Season"),
    Single(("season", "periods"), "Periods", "Season"),
)


def head_of(path: KeyPath) -> Collection | None:
    """The kind of thing that a path is one of, or stands within one of."""
    return next((c for c in COLLECTIONS if path[: len(c.path)] == c.path and len(path) > len(c.path)), None)


@dataclass(frozen=True)
class Opened:
    """The files of a robot as they stand, with or without mistakes in them.

    Attributes
    ----------
    document : The robot file's data, with the parts of its parts list
    season : The season file's; None where that cannot be read
    texts : By path, of every file that was read
    """

    document: Document
    season: Document | None
    texts: dict[Path, str]

    def data(self, path: KeyPath) -> Any:
        """What stands at a place; None where nothing does."""
        here: Any = self.document.data
        if path[:1] == ("season",) and len(path) > 1:
            here, path = (self.season.data if self.season else None), path[1:]
        for key in path:
            if isinstance(here, dict):
                here = here.get(str(key))
            elif isinstance(here, list) and isinstance(key, int) and 0 <= key < len(here):
                here = here[key]
            else:
                return None
        return here

    def names(self, collection: Collection) -> list[str]:
        """The things of one kind, in the order of the file."""
        found = self.data(collection.path)
        return list(found) if isinstance(found, dict) else []


def opened(file: Path, texts: Mapping[Path, str]) -> Opened:
    """Read a robot's files as far as they can be read."""
    known = dict(texts)
    if file not in known:
        known[file] = read_text(file)
    document = read_document(file, known[file])
    if not isinstance(document.data, dict):
        raise BadInput([Problem(file, 1, 1, (), "expected a mapping of keys")])
    try:
        read_parts_list(document, known)
    except BadInput as error:
        document.problems += error.problems
    return Opened(document, _season(document, known), known)


def _season(document: Document, texts: dict[Path, str]) -> Document | None:
    name = document.data.get("season")
    file = beside(document.file, name, texts) if isinstance(name, str) and name else None
    if file is None:
        return None
    try:
        if file not in texts:
            texts[file] = read_text(file)
        found = read_document(file, texts[file])
    except BadInput:
        return None
    return found if isinstance(found.data, dict) else None


def variant_of(before: Opened, name: str, target: Path) -> Texts:
    """Copy a robot under another name into another file, with a parts list of its own where that is a table of text."""
    file = before.document.file
    changes: dict[KeyPath, object] = {("robot",): name}
    listed = before.data(("parts_list",))
    table = beside(file, listed, before.texts) if isinstance(listed, str) and listed.endswith(".csv") else None
    made: Texts = {}
    if table is not None:
        own = target.with_name(f"{target.stem}_parts.csv")
        made[own] = before.texts[table] if table in before.texts else read_text(table)
        changes[("parts_list",)] = own.name
    return made | {target: spliced(file, before.texts[file], changes)}


def mistakes(file: Path, texts: Mapping[Path, str]) -> tuple[Problem, ...]:
    """What is wrong with a robot's files; nothing where they read."""
    others = {path: text for path, text in texts.items() if path != file}
    try:
        load_robot(file, texts.get(file), others)
    except BadInput as error:
        return error.problems
    return ()


def changed(file: Path, texts: Mapping[Path, str], changes: Mapping[KeyPath, object]) -> Texts:
    """Change values, and refuse what makes a new mistake; one that stands elsewhere already does not matter."""
    before = opened(file, texts)
    return _without_new_mistakes(before, changed_texts(before, changes))


def new_mistakes(before: Opened, after: Texts) -> tuple[Problem, ...]:
    """What is wrong with a robot's files that was not before a change."""
    file = before.document.file
    found = mistakes(file, {**before.texts, **after}) if after else ()
    known = {(p.file, p.key, p.expected) for p in mistakes(file, before.texts)} if found else set()
    return tuple(p for p in found if (p.file, p.key, p.expected) not in known)


def _without_new_mistakes(before: Opened, after: Texts) -> Texts:
    fresh = new_mistakes(before, after)
    if fresh:
        raise BadInput(fresh)
    return after


def collection_of(path: KeyPath) -> Collection | None:
    """The kind of thing that a path is one of."""
    return next((c for c in COLLECTIONS if path[:-1] == c.path), None)


def free_name(names: list[str], wanted: str) -> str:
    """Find a name that is not taken: ``tank``, ``tank 2``, ``tank 3``."""
    if wanted not in names:
        return wanted
    stem = re.sub(r" \d+$", "", wanted)[:54]
    return next(name for i in range(2, len(names) + 3) if (name := f"{stem} {i}") not in names)


def copied(before: Opened, path: KeyPath) -> tuple[str, dict[KeyPath, object]]:
    """Copy a thing under a free name; what it is to be called, and the change."""
    names = list(before.data(path[:-1]) or {})
    name = free_name(names, str(path[-1]))
    return name, {(*path[:-1], name): before.data(path)}


def references_to(before: Opened, path: KeyPath) -> list[tuple[KeyPath, bool]]:
    """Where a thing is named: the path, and whether the name is the key itself."""
    collection = collection_of(path)
    if collection is None:
        return _inner_references_to(before, path)
    name, target, found = str(path[-1]), collection.target, []
    for at, targets, said in references(before.document.data, Robot):
        if said == name and target in targets:
            found.append((at, _is_key(before, at, name)))
    if before.season is not None and path[0] == "season":
        for at, targets, said in references(before.season.data, Season):
            if said == name and target.removeprefix("season.") in targets:
                found.append((("season", *at), _is_key(before, ("season", *at), name)))
    return [item for item in found if item[0][: len(path)] != path]


def _inner_references_to(before: Opened, path: KeyPath) -> list[tuple[KeyPath, bool]]:
    """Where an entry of a thing, such as a stage of an intake, is named in that thing or by another mechanism."""
    holder, found = path[:-2], []
    for at, mark, said in inner_references(before.document.data, Robot):
        if said == str(path[-1]) and mark.to == path[-2] and at[: len(path)] != path:
            by = before.data((*at[:-1], mark.through)) if mark.through else None
            if holder == ("mechanisms", by) if mark.through else at[: len(holder)] == holder:
                found.append((at, False))
    return found


def _is_key(before: Opened, path: KeyPath, name: str) -> bool:
    return path[-1] == name and str(before.data(path)) != name


def renamed(file: Path, texts: Mapping[Path, str], path: KeyPath, name: str) -> Texts:
    """Rename a thing; whatever names it follows."""
    before = opened(file, texts)
    names = list(before.data(path[:-1]) or {})
    if not re.fullmatch(NAME_PATTERN, name):
        expected = "expected a name of 1 to 60 letters a to z, digits, spaces and - . , _ + ' / ( )"
        raise BadInput([before.document.problem(path, expected)])
    if name in names:
        raise BadInput([before.document.problem(path, f"expected another name: there is a {name!r} already")])
    splices: dict[Path, list[tuple[int, int, str]]] = {}
    after: dict[Path, str] = {}
    table = before.document.files.get(path[:2])
    if table is not None:
        after[table] = part_renamed(before, table, str(path[-1]), name)
    own = [] if table is not None else [(path, True)]
    for at, key in [*own, *references_to(before, path)]:
        place, inner = _file_of(before, at)
        entry = _entry(places_of(before.texts[place]), inner)
        if entry is not None:
            start, end, new = entry.key_place(name) if key else entry.value_place(name)
            splices.setdefault(place, []).append((start, end, new))
    for place, found in splices.items():
        text = before.texts[place]
        for start, end, new in sorted(found, reverse=True):
            text = text[:start] + new + text[end:]
        after[place] = text
    return _without_new_mistakes(before, after)


@dataclass(frozen=True, slots=True)
class _Place:
    """One entry of a YAML text: where its key stands, and its value."""

    text_key: tuple[int, int]
    node: Node

    def key_place(self, name: str) -> tuple[int, int, str]:
        return (*self.text_key, key_text(name))

    def value_place(self, name: str) -> tuple[int, int, str]:
        return self.node.start, self.node.end, scalar_text(name, self.node.style)


def _entry(root: Node, path: KeyPath) -> _Place | None:
    node, found = root, None
    for key in path:
        entry = node.get(key)
        if entry is None:
            return None
        node, found = entry.node, _Place((entry.start, entry.end), entry.node)
    return found


def _file_of(before: Opened, path: KeyPath) -> tuple[Path, KeyPath]:
    if path[0] == "season" and len(path) > 1 and before.season is not None:
        return before.season.file, path[1:]
    return before.document.file, path


@dataclass(frozen=True, slots=True)
class Removal:
    """What goes with a thing.

    Attributes
    ----------
    texts : The files without it
    gone : Other things that cannot be without it, and go too
    freed : Where it is only named no more
    leaves : What is then wrong with the files, and to be mended
    """

    texts: Texts
    gone: tuple[KeyPath, ...]
    freed: tuple[KeyPath, ...]
    leaves: tuple[Problem, ...]


def removal(before: Opened, *paths: KeyPath) -> Removal:
    """Take things away, with all that cannot be without them, so that nothing is left that names them."""
    gone: list[KeyPath] = [*paths]
    freed: list[KeyPath] = []
    done = 0
    while done < len(gone):
        for at, _ in references_to(before, gone[done]):
            where = _removable(before, at)
            if any(where[: len(other)] == other for other in gone):
                continue
            if where == at or _is_optional_field(before, where):
                freed.append(where)
            else:
                gone.append(where)
        done += 1
    freed = [at for at in dict.fromkeys(freed) if not any(at[: len(g)] == g for g in gone)]
    kept = [g for g in gone if not any(g != h and g[: len(h)] == h for h in gone)]
    texts = changed_texts(before, dict.fromkeys([*kept, *freed], GONE))
    others = tuple(at for at in kept if at not in paths)
    return Removal(texts, others, tuple(freed), new_mistakes(before, texts))


def _removable(before: Opened, path: KeyPath) -> KeyPath:
    """The nearest entry, at a reference or above it, without which the file is still complete."""
    for end in range(len(path), 0, -1):
        at = path[:end]
        if _can_go(before, at):
            return at
    return path


def _field(before: Opened, path: KeyPath) -> Any:
    """The declared field that a path is; None for an entry of a mapping or a list."""
    in_season = path[0] == "season" and len(path) > 1
    data = before.season.data if in_season and before.season else before.document.data
    inner = path[1:] if in_season else path
    models = models_at(schema_of(Season if in_season else Robot), data, inner[:-1])
    found = [m.model_fields[str(inner[-1])] for m in models if str(inner[-1]) in m.model_fields]
    return found[0] if found else None


def _can_go(before: Opened, path: KeyPath) -> bool:
    field = _field(before, path)
    if field is not None:
        return not field.is_required()
    above = before.data(path[:-1])
    return isinstance(above, dict) or (isinstance(above, list) and not _is_last(before, path, above))


def _is_last(before: Opened, path: KeyPath, above: list[Any]) -> bool:
    """Whether a list that must hold something would hold nothing without this."""
    parent = _field(before, path[:-1])
    return len(above) == 1 and parent is not None and parent.is_required()


def _is_optional_field(before: Opened, path: KeyPath) -> bool:
    field = _field(before, path)
    return field is not None and not field.is_required()
