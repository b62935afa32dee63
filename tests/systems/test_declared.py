"""What is known of a system stands in its folder: nothing outside `systems/` names one, imports one or has its ids.

Keys of files are no names of systems: a path of them (in a tuple, after a comparison, with dots between) may stand
anywhere. Other uses of such words are listed here, with what they mean there.
"""

import ast
import re
from functools import cache
from pathlib import Path
from typing import get_args

import fieldworthy
from fieldworthy.engine.system import systems
from fieldworthy.files.declare import hints, schema_of
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season

SOURCE = Path(fieldworthy.__file__).parent
IMPORTS = r"^ *(from|import) fieldworthy\.systems"
ELSEWHERE = {
    ("decide/work.py", "air"): "a reason for which an action ends",
    ("match/timeline.py", "air"): "a reason for which an action ends",
    ("measure/drivelog.py", "drive"): "a section of a file of readings",
    ("measure/fit.py", "drive"): "a section of a file of readings",
    ("web/procedures.py", "drive"): "a section of a file of readings",
    ("web/readings.py", "drive"): "a section of a file of readings",
    ("robot/starter.py", "motor"): "a question of `new`",
    ("web/views/opening.py", "motor"): "a question of `new`",
    ("decide/search/space.py", "motor"): "a word with its plural",
    ("robot/model/machine.py", "drive"): "what a pose is for",
    ("robot/shelf.py", "motor"): "a key of what is put on a robot",
    ("robot/shelf.py", "drive"): "what a pose is for",
    ("robot/shelf.py", "clamp"): "what the example of a first file is called",
    ("robot/shelf.py", "mechanism"): "what a thing on the shelf is called",
    ("robot/things.py", "mechanism"): "what one of the mechanisms is called",
    ("robot/model/robot.py", "mechanism"): "what one of the mechanisms is called",
    ("robot/starter.py", "arm"): "a part of a first file",
    ("robot/words.py", "air"): "a section of the file, in words",
    ("vehicle/state.py", "drive.sprint"): "what not judging a plan that cannot be driven follows from",
    ("web/views/__init__.py", "guide"): "the guide to the program",
    ("web/views/guide.py", "guide"): "the guide to the program",
    ("web/views/parts.py", "sort"): "to put a table in order",
}


@cache
def names():
    own = [kind for system in systems() for kind in system.kinds if kind.__module__.startswith(system.package)]
    kinds = {tag for kind in own for tag in get_args(hints(kind)["kind"])}
    families = {family for system in systems() for family in system.families}
    return frozenset(kinds | families | {system.name for system in systems()})


@cache
def keys():
    """Those that a robot's file begins with, and every key that its schema or a season's knows."""
    found = set()

    def within(schema):
        if isinstance(schema, dict):
            found.update(schema.get("properties", ()))
            for inner in schema.values():
                within(inner)
        elif isinstance(schema, list):
            for inner in schema:
                within(inner)

    robot = schema_of(Robot).model_json_schema()
    within(robot)
    within(schema_of(Season).model_json_schema())
    return frozenset(robot["properties"]), frozenset(found)


def is_key(node, parent):
    """Whether a literal is (part of) a path of keys of a file."""
    roots, every = keys()
    begin, *more = node.value.split(".")
    if more:
        return begin in roots and set(more) <= every | {"*"}
    return begin in every and isinstance(parent, ast.Tuple | ast.Compare)


def told(tree):
    """Texts that say something to a reader of the source, and nothing to the program."""
    return {
        id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }


def named_in(path):
    """Literals of a module that are a system's name, kind or id."""
    text, pattern = path.read_text("utf-8"), rf"({'|'.join(map(re.escape, sorted(names())))})(\.[a-z_.*{{}}]*)?"
    if not re.search(rf"[\"'] *{pattern} *[\"']", text):
        return
    tree = ast.parse(text)
    said = told(tree)
    for parent in ast.walk(tree):
        for node in ast.iter_child_nodes(parent):
            if not isinstance(node, ast.Constant) or not isinstance(node.value, str) or id(node) in said:
                continue
            if re.fullmatch(pattern, node.value.strip()) and not is_key(node, parent):
                yield node.value.strip()


def outside():
    return [path for path in sorted(SOURCE.rglob("*.py")) if path.relative_to(SOURCE).parts[0] != "systems"]


def test_no_module_outside_names_a_system():
    found = {(path.relative_to(SOURCE).as_posix(), word) for path in outside() for word in named_in(path)}
    assert found == set(ELSEWHERE)


def test_no_module_outside_imports_a_system():
    assert len(outside()) > 100
    assert not [path for path in outside() if re.search(IMPORTS, path.read_text("utf-8"), re.MULTILINE)]
    assert re.search(IMPORTS, "from fieldworthy.systems.clamp import Clamp")


def test_a_name_would_be_found(tmp_path):
    """What the test above looks for, in a module that holds one of each."""
    (tmp_path / "module.py").write_text(
        '"""clamp"""\nA = "clamp"\nB = ("air.tank.", "lift ")\n'
        'C = ("air", "tanks"), "air.tanks"\nD = {"limits.mass": 1}\n',
        "utf-8",
    )
    assert sorted(named_in(tmp_path / "module.py")) == ["air.tank.", "clamp", "lift", "limits.mass"]
