"""List what src defines and nothing in src reaches: ``python tools/unreached.py`` prints none, or fails.

Definitions are reached from what runs by itself: each module's own statements, entry points, commands, declarations of
systems and the public face. From there every name that a reached definition uses is followed to its module; a method
is reached when its class is and its name is used on something. Tests do not count: what only they reach is dead.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[1]
SRC = ROOT / "src"

# decorators that hand a function to somebody who calls it
HANDED_OVER = {
    "app.command": "a command of the terminal",
    "app.callback": "options of the terminal before a command",
    "field_validator": "pydantic calls it on a value that was read",
    "model_validator": "pydantic calls it on what was read",
    "overload": "a signature for the type checker",
    "extending.overload": "numba compiles it for a function that it does not know",
}

# methods that a class of another library calls by their names
HOOKS = {
    "model_post_init": "pydantic calls it on what was read",
    "emit": "logging calls it with each record",
    "dispatch": "the web framework calls it with each request",
    "_repr_html_": "a notebook shows a result by it",
    "_repr_svg_": "a notebook shows a figure by it",
}

# functions that are found in each module of a folder, by their name
FOUND_IN_FOLDER = {"fieldworthy.web.views.": ("build", "the page finds each view's function by its module's name")}

# single definitions that only something outside src uses
ALLOWED = {
    "fieldworthy.report.formulas.known": "docs/make_findings.py lists all sources from it",
    "fieldworthy.files.declare.tolerance_table": "docs/make_files.py writes a page of the handbook from it",
    "fieldworthy.engine.system.System.findings_text": "docs/make_findings.py writes a page of the handbook from it",
}


@dataclass
class Module:
    """A module's definitions, and what each name that it binds stands for elsewhere."""

    name: str
    path: Path
    tree: ast.Module
    bound: dict[str, str] = field(default_factory=dict)
    defined: dict[str, ast.stmt] = field(default_factory=dict)


@dataclass
class Definition:
    """A function, a class or a method, by its dotted name."""

    name: str
    node: ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef
    module: Module
    owner: str | None = None


POINTER = re.compile(r"[\w.]+:\w+")
DEF = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)


def read(root: Path) -> dict[str, Module]:
    """Every module below a folder, by its dotted name."""
    modules: dict[str, Module] = {}
    for path in sorted(root.rglob("*.py")):
        parts = path.relative_to(root).with_suffix("").parts
        is_package = parts[-1] == "__init__"
        name = ".".join(parts[:-1] if is_package else parts)
        module = Module(name, path, ast.parse(path.read_text(encoding="utf-8")))
        package = name if is_package else name.rpartition(".")[0]
        for node in ast.walk(module.tree):
            if isinstance(node, ast.Import):
                for alias in node.names:
                    module.bound[alias.asname or alias.name.partition(".")[0]] = (
                        alias.name if alias.asname else alias.name.partition(".")[0]
                    )
            elif isinstance(node, ast.ImportFrom):
                above = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
                source = ".".join([*above, *([node.module] if node.module else [])])
                for alias in node.names:
                    module.bound[alias.asname or alias.name] = f"{source}.{alias.name}"
        modules[name] = module
    return modules


def definitions(modules: dict[str, Module]) -> dict[str, Definition]:
    """Every function, class and method at the top of a module or of a class."""
    found: dict[str, Definition] = {}

    def collect(body: list[ast.stmt], module: Module, within: str, owner: str | None) -> None:
        for node in body:
            if isinstance(node, DEF):
                name = f"{within}.{node.name}"
                found[name] = Definition(name, node, module, owner)
                if isinstance(node, ast.ClassDef):
                    collect(node.body, module, name, name)
            elif isinstance(node, ast.If | ast.Try):
                collect([*node.body, *node.orelse], module, within, owner)

    for module in modules.values():
        collect(module.tree.body, module, module.name, None)
    return found


def resolve(dotted: str, modules: dict[str, Module]) -> str:
    """The name under which a thing is defined, through modules that only pass it on."""
    for _ in range(10):
        home, _, last = dotted.rpartition(".")
        if home not in modules or last not in modules[home].bound or modules[home].bound[last] == dotted:
            break
        dotted = modules[home].bound[last]
    return dotted


def dotted_name(node: ast.expr) -> str | None:
    """``a.b.c`` of an attribute of a name."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        head = dotted_name(node.value)
        return f"{head}.{node.attr}" if head else None
    return None


def used(node: ast.AST, module: Module, modules: dict[str, Module]) -> Iterator[tuple[str, bool]]:
    """What a piece of code names: dotted names of definitions, and attributes (True) of things of unknown type."""
    asks_by_name = "getattr" in module.path.read_text(encoding="utf-8")
    for part in ast.walk(node):
        if isinstance(part, ast.Name):
            name = part.id
            yield resolve(module.bound.get(name, f"{module.name}.{name}"), modules), False
        elif isinstance(part, ast.Attribute):
            yield part.attr, True
            whole = dotted_name(part)
            if whole:
                head, _, rest = whole.partition(".")
                if head in module.bound:
                    found = resolve(module.bound[head], modules)
                    for step in rest.split("."):
                        found = resolve(f"{found}.{step}", modules)
                    yield found, False
        elif isinstance(part, ast.Constant) and isinstance(part.value, str):
            if part.value.isidentifier():
                if asks_by_name:
                    yield part.value, True
                yield f"{module.name}.{part.value}", False  # a type named in quotes
            elif POINTER.fullmatch(part.value):
                yield resolve(part.value.replace(":", "."), modules), False


def own_statements(body: list[ast.stmt], in_class: bool = False) -> Iterator[ast.AST]:
    """The statements of a module or class that run by themselves: no definitions, no imports, no list of names."""
    for node in body:
        if isinstance(node, DEF):
            yield from node.decorator_list
            continue
        if isinstance(node, ast.Import | ast.ImportFrom):
            continue
        if isinstance(node, ast.Assign) and any(isinstance(t, ast.Name) and t.id == "__all__" for t in node.targets):
            continue
        if isinstance(node, ast.If | ast.Try) and not in_class:
            yield from own_statements([*node.body, *node.orelse])
            continue
        yield node


def entry_points() -> set[str]:
    """What the project file lets other programs start or find."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    groups = [project.get("scripts", {}), *project.get("entry-points", {}).values()]
    return {target.replace(":", ".") for group in groups for target in group.values()}


def shown() -> set[str]:
    """The functions whose formulas the documents show and work by hand."""
    formulas = tomllib.loads((SRC / "fieldworthy" / "report" / "formulas.toml").read_text(encoding="utf-8"))
    return {f"fieldworthy.physics.{entry['function']}" for entry in formulas.values() if "function" in entry}


def public_face(modules: dict[str, Module]) -> set[str]:
    """What ``import fieldworthy`` offers; its classes offer all their public methods."""
    face: set[str] = set()
    for name in ("fieldworthy", "fieldworthy.api"):
        if name in modules:
            module = modules[name]
            listed = [
                item.value
                for node in ast.walk(module.tree)
                if isinstance(node, ast.Assign | ast.AnnAssign)
                for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
                if isinstance(target, ast.Name) and target.id == "__all__" and node.value is not None
                for item in ast.walk(node.value)
                if isinstance(item, ast.Constant) and isinstance(item.value, str)
            ]
            face |= {resolve(f"{name}.{item}", modules) for item in listed}
    bases = {
        f"{name}.{base.id}"
        for name, module in modules.items()
        for node in module.tree.body
        if isinstance(node, ast.ClassDef) and f"{name}.{node.name}" in face
        for base in node.bases
        if isinstance(base, ast.Name)
    }
    return face | bases


def reason(definition: Definition, face: set[str], points: set[str]) -> str | None:
    """Why a definition needs no caller in src."""
    node = definition.node
    for decorator in node.decorator_list:
        name = dotted_name(decorator.func if isinstance(decorator, ast.Call) else decorator)
        if name in HANDED_OVER:
            return HANDED_OVER[name]
    if definition.name in points:
        return "an entry point of the project file, or a formula that the documents show"
    if definition.name in face or (definition.owner in face and not node.name.startswith("_")):
        return "the public face"
    if not definition.owner and node.name.startswith("__"):
        return "the language calls it on the module"
    for folder, (name, why) in FOUND_IN_FOLDER.items():
        if definition.name.startswith(folder) and node.name == name and not definition.owner:
            return why
    return ALLOWED.get(definition.name)


def reached(modules: dict[str, Module], found: dict[str, Definition]) -> set[str]:
    """The definitions that something in src comes to."""
    face, points = public_face(modules), entry_points() | shown()
    live: set[str] = set()
    attributes: set[str] = set()
    methods: dict[str, list[Definition]] = {}
    for item in found.values():
        if item.owner:
            methods.setdefault(item.node.name, []).append(item)
    queue: list[tuple[ast.AST, Module]] = [(s, m) for m in modules.values() for s in own_statements(m.tree.body)]

    def reach(item: Definition) -> None:
        if item.name in live:
            return
        live.add(item.name)
        node = item.node
        if not isinstance(node, ast.ClassDef):
            queue.append((node, item.module))
            return
        parts = [*node.bases, *(k.value for k in node.keywords), *node.decorator_list]
        queue.extend((part, item.module) for part in [*parts, *own_statements(node.body, in_class=True)])
        for inner in found.values():
            name = inner.node.name
            if inner.owner == item.name and (
                (name.startswith("__") and name.endswith("__"))
                or name in attributes
                or name in HOOKS
                or reason(inner, face, points)
            ):
                reach(inner)

    for item in found.values():
        if not item.owner and reason(item, face, points):
            reach(item)
    while queue:
        node, module = queue.pop()
        for name, is_attribute in used(node, module, modules):
            if not is_attribute:
                if name in found:
                    reach(found[name])
            elif name not in attributes:
                attributes.add(name)
                for item in methods.get(name, ()):
                    if item.owner in live:
                        reach(item)
    return live


def main() -> int:
    """Print what nothing reaches, outermost only, and fail if there is any."""
    modules = read(SRC)
    found = definitions(modules)
    live = reached(modules, found)
    dead = [item for item in found.values() if item.name not in live and item.owner not in (set(found) - live)]
    for item in sorted(dead, key=lambda d: d.name):
        length = (item.node.end_lineno or item.node.lineno) - item.node.lineno + 1
        where = f"{item.module.path.relative_to(ROOT)}:{item.node.lineno}"
        print(f"{where}: {item.name} is reached by nothing ({length} lines)")
    if dead:
        print(f"{len(dead)} definitions that nothing in src reaches: delete them with their tests, or use them")
    return 1 if dead else 0


if __name__ == "__main__":
    sys.exit(main())
