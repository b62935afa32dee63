"""Docstrings say what they must: formulas and the public face everything, the rest what names and types do not."""

from __future__ import annotations

import ast
import re
import tomllib
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

import fieldworthy

SRC = Path(__file__).parents[1] / "src" / "fieldworthy"
SOURCES = tomllib.loads((SRC / "sources.toml").read_text(encoding="utf-8"))
MODULES = sorted(p for p in SRC.rglob("*.py"))
PHYSICS = sorted(p for p in (SRC / "physics").rglob("*.py") if not p.name.startswith("_"))
# the checks of input are no formulas: they take any quantity, in its own unit
CHECKS = SRC / "physics" / "_require.py"
FACE = {SRC / "physics", SRC / "api"}
FULL = [p for p in MODULES if p != CHECKS and (p == SRC / "__init__.py" or FACE & set(p.parents))]
SHORT = [p for p in MODULES if p not in FULL]


def public(tree: ast.AST, private_too: bool = False):
    """Functions and classes a reader may import, with their methods."""
    for node in ast.iter_child_nodes(tree):
        named = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
        if named and (private_too or not node.name.startswith("_")):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from public(node, private_too)


@cache
def parsed(path: Path) -> ast.Module:
    """A module's tree; each is read once."""
    return ast.parse(path.read_text(encoding="utf-8"))


def nodes(path: Path, private_too: bool = False) -> list:
    """What a module says of its own; of the public face's modules, what the face shows."""
    tree = parsed(path)
    if SRC / "api" not in path.parents or private_too:
        return list(public(tree, private_too))
    shown = [node for node in public(tree) if node in tree.body and node.name in fieldworthy.__all__]
    bases = {b.id for node in shown if isinstance(node, ast.ClassDef) for b in node.bases if isinstance(b, ast.Name)}
    shown += [
        node for node in tree.body if isinstance(node, ast.ClassDef) and node.name in bases - {s.name for s in shown}
    ]
    return [*shown, *(method for node in shown if isinstance(node, ast.ClassDef) for method in public(node))]


def speaking(paths: list[Path], private_too: bool = False):
    """The modules among them that say anything."""
    found = [path for path in paths if nodes(path, private_too)]
    assert len(found) > len(paths) // 2
    return pytest.mark.parametrize("path", found, ids=lambda p: str(p.relative_to(SRC)))


def sections(docstring: str) -> dict[str, str]:
    """The numpydoc sections of a docstring by title."""
    parts = re.split(r"\n([A-Z][A-Za-z ]+)\n-{3,}\n", "\n" + docstring)
    return dict(zip(parts[1::2], parts[2::2], strict=False))


def described(section: str) -> set[str]:
    """The parameter names that a section describes."""
    names: set[str] = set()
    for line in section.splitlines():
        match = re.match(r"^([A-Za-z_*][\w, *]*?)\s*:", line)
        if match:
            names |= {n.strip().lstrip("*") for n in match.group(1).split(",")}
    return names


@speaking(FULL)
def test_formulas_and_the_public_face_describe_their_parameters(path):
    found = nodes(path)
    assert found
    for node in found:
        text = ast.get_docstring(node)
        assert text, f"{path.name}: {node.name} has no docstring"
        if isinstance(node, ast.ClassDef):
            continue
        arguments = [a.arg for a in [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]]
        arguments += [extra.arg for extra in (node.args.vararg, node.args.kwarg) if extra]
        wanted = {a for a in arguments if a not in ("self", "cls")}
        documented = described(sections(text).get("Parameters", ""))
        assert documented == wanted, f"{path.name}: {node.name} documents {documented}, takes {wanted}"


@speaking(SHORT)
def test_elsewhere_one_to_three_lines_say_what_names_and_types_do_not(path):
    found = nodes(path)
    assert found
    for node in found:
        text = ast.get_docstring(node)
        assert text, f"{path.name}: {node.name} has no docstring"
        titles = set(sections(text))
        assert titles <= {"Attributes", "Notes"}, f"{path.name}: {node.name} has sections {sorted(titles)}"
        lines = re.split(r"\n[A-Z][A-Za-z ]+\n-{3,}\n", text)[0].strip().splitlines()
        lines = [line for line in lines if line.strip()]
        assert len(lines) <= 3, f"{path.name}: {node.name} says in {len(lines)} lines what it is"


@speaking(MODULES, private_too=True)
def test_attributes_that_are_described_exist(path):
    found = nodes(path, private_too=True)
    assert found
    for node in found:
        if isinstance(node, ast.ClassDef):
            named = described(sections(ast.get_docstring(node) or "").get("Attributes", ""))
            assert named <= held(node), f"{path.name}: {node.name} describes {sorted(named - held(node))}"


def held(node: ast.ClassDef) -> set[str]:
    """The names that a class declares, gives by a method, or sets on itself."""
    names = {n.target.id for n in node.body if isinstance(n, ast.AnnAssign) and isinstance(n.target, ast.Name)}
    names |= {n.name for n in node.body if isinstance(n, ast.FunctionDef)}
    names |= {target.id for n in node.body if isinstance(n, ast.Assign) for target in n.targets
              if isinstance(target, ast.Name)}  # fmt: skip
    return names | {n.attr for n in ast.walk(node) if isinstance(n, ast.Attribute) and isinstance(n.ctx, ast.Store)}


NUMBERS = r"\b(Real|Array|Complex|float)\b"


@speaking(PHYSICS)
def test_physics_states_units(path):
    found = nodes(path)
    assert found
    for node in found:
        if isinstance(node, ast.ClassDef):
            continue
        said = sections(ast.get_docstring(node) or "")
        arguments = [a for a in node.args.args if a.arg not in ("self", "cls")]
        if arguments and not any("property" in ast.unparse(d) for d in node.decorator_list):
            # a part made of numbers has units of its own, where it is declared
            if any(a.annotation and re.search(NUMBERS, ast.unparse(a.annotation)) for a in arguments):
                assert re.search(r"\[[^\]]+\]", said.get("Parameters", "")), (
                    f"{node.name}: no unit among the parameters"
                )
            assert re.search(r"\[[^\]]+\]", said.get("Returns", "")), f"{node.name}: no unit of what it returns"


@speaking(MODULES, private_too=True)
def test_references_have_an_entry_in_the_list_of_sources(path):
    found = nodes(path, private_too=True)
    assert found
    for node in found:
        for line in sections(ast.get_docstring(node) or "").get("References", "").splitlines():
            match = re.match(r"([a-z][a-z0-9_]*): ", line)
            if match:
                assert match.group(1) in SOURCES, f"{path.name}: {node.name} refers to {match.group(1)!r}"


def test_sources_say_what_they_are_worth():
    assert SOURCES
    for key, entry in SOURCES.items():
        assert entry["title"], key
        assert entry["basis"] in ("read", "library", "memory", "practice"), key


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(SRC)))
def test_shape_of_the_code(path):
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= 700, f"{path.name} is longer than 700 lines"
    for node in ast.walk(ast.parse(text)):
        # the command line's options are its commands' parameters: the library reads them so
        if isinstance(node, ast.FunctionDef) and path.name != "app.py":
            count = len(node.args.args) + len(node.args.kwonlyargs)
            assert count <= 7, f"{path.name}: {node.name} takes {count} parameters"
        if isinstance(node, ast.ClassDef):
            methods = sum(isinstance(inside, ast.FunctionDef | ast.AsyncFunctionDef) for inside in node.body)
            assert methods <= 15, f"{path.name}: {node.name} has {methods} methods"


def test_no_folder_holds_more_than_twenty_modules():
    held = Counter(path.parent for path in SRC.rglob("*.py"))
    assert held
    assert not {folder: count for folder, count in held.items() if count > 20}
