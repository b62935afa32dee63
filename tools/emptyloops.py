"""Find tests that pass when there was nothing to look at.

What they assert stands only in a loop that may be empty, or under a condition that may be false.

    python tools/emptyloops.py [folder]

A loop over what is written out (a literal, a constant, range of a number) is never empty. Elsewhere the test says
that there was something, by an assertion before the loop. Ends with status 1 where one does not.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

ALWAYS = frozenset({"raises", "warns", "fail", "expect", "validate", "check_schema"})
SAME_LENGTH = frozenset({"enumerate", "sorted", "list", "tuple", "set", "reversed", "dict", "iter", "array", "asarray"})
GROWS = frozenset({"product", "chain", "combinations", "pairwise", "zip", "keys", "values", "items"})
Known = dict[str, ast.expr]
Function = ast.FunctionDef | ast.AsyncFunctionDef


def called(node: ast.expr) -> str:
    """The last word of what a call calls."""
    if not isinstance(node, ast.Call):
        return ""
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def never_empty(node: ast.expr, known: Known) -> bool:
    """Whether an expression is written out, so that a loop over it has something to do."""
    if isinstance(node, ast.Tuple | ast.List | ast.Set):
        return any(not isinstance(e, ast.Starred) or never_empty(e.value, known) for e in node.elts)
    if isinstance(node, ast.Dict):
        return bool(node.keys)
    if isinstance(node, ast.Constant):
        return isinstance(node.value, str | bytes) and bool(node.value)
    if isinstance(node, ast.Name):
        return node.id in known and never_empty(known[node.id], {k: v for k, v in known.items() if k != node.id})
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add | ast.BitOr):
        return never_empty(node.left, known) or never_empty(node.right, known)
    if isinstance(node, ast.ListComp | ast.SetComp | ast.DictComp | ast.GeneratorExp):
        return all(not g.ifs and never_empty(g.iter, known) for g in node.generators)
    return isinstance(node, ast.Call) and _call_never_empty(node, known)


def _call_never_empty(node: ast.Call, known: Known) -> bool:
    name = called(node)
    if name == "range":
        return all(isinstance(a, ast.Constant | ast.UnaryOp) or _number(a, known) for a in node.args)
    if name in ("linspace", "count", "split", "splitlines"):
        return name != "splitlines"
    if name in SAME_LENGTH and node.args:
        return never_empty(node.args[0], known)
    if name in GROWS:
        inside = node.args or ([node.func.value] if isinstance(node.func, ast.Attribute) else [])
        if name == "zip" and any(k.arg == "strict" and getattr(k.value, "value", False) for k in node.keywords):
            return any(never_empty(a, known) for a in inside)
        return bool(inside) and all(never_empty(a, known) for a in inside)
    return False


def _number(node: ast.expr, known: Known) -> bool:
    return isinstance(node, ast.Name) and isinstance(known.get(node.id), ast.Constant)


def surely(body: Iterable[ast.stmt], known: Known, helpers: set[str]) -> bool:
    """Whether something is asserted whenever these statements run to their end."""
    known = dict(known)
    for node in body:
        if isinstance(node, ast.Assign) and len(node.targets) == 1 and isinstance(node.targets[0], ast.Name):
            known[node.targets[0].id] = node.value
        if _asserts(node, known, helpers):
            return True
    return False


def _asserts(node: ast.stmt, known: Known, helpers: set[str]) -> bool:
    if isinstance(node, ast.Assert):
        return True
    if isinstance(node, ast.With | ast.AsyncWith):
        raised = any(_speaks(i.context_expr, helpers) for i in node.items)
        return raised or surely(node.body, known, helpers)
    if isinstance(node, ast.For):
        return never_empty(node.iter, known) and surely(node.body, known, helpers)
    if isinstance(node, ast.If):
        return bool(node.orelse) and surely(node.body, known, helpers) and surely(node.orelse, known, helpers)
    if isinstance(node, ast.Try):
        return surely(node.finalbody, known, helpers) or surely([*node.body, *node.orelse], known, helpers)
    # what gives a value is preparation, even where it asserts that there is one
    return isinstance(node, ast.Expr) and any(_speaks(n, helpers) for n in ast.walk(node.value))


def _speaks(node: ast.AST, helpers: set[str]) -> bool:
    """Whether it calls what asserts, or hands it on; helpers by their plain names, as methods may have any."""
    if not isinstance(node, ast.Call):
        return False
    if called(node) in ALWAYS or called(node).startswith("assert_"):
        return True
    return any(isinstance(n, ast.Name) and n.id in helpers for n in (node.func, *node.args))


def functions(tree: ast.AST) -> Iterator[Function]:
    """Every function of a module, those within others too."""
    return (n for n in ast.walk(tree) if isinstance(n, Function))


def constants(tree: ast.Module) -> Known:
    """What a module gives names to, outside its functions."""
    known: Known = {}
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            known[node.targets[0].id] = node.value
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name) and node.value is not None:
            known[node.target.id] = node.value
    return known


def parameters(test: Function) -> set[str]:
    """What a test is given."""
    return {a.arg for a in [*test.args.posonlyargs, *test.args.args, *test.args.kwonlyargs]}


def imports(tree: ast.Module) -> dict[str, tuple[str, str]]:
    """What a module takes from others, by the name it has there: the other's last word, and the name within it."""
    return {alias.asname or alias.name: ((node.module or "").rpartition(".")[2], alias.name)
            for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for alias in node.names}  # fmt: skip


class Suite:
    """Test modules, by file: constants that each has or takes from another, and functions that surely assert."""

    def __init__(self, files: Iterable[Path]) -> None:
        self.trees = {file: ast.parse(file.read_text(encoding="utf-8")) for file in files}
        self.taken = {file: imports(tree) for file, tree in self.trees.items()}
        own = {file: constants(tree) for file, tree in self.trees.items()}
        named: dict[str, Known] = {}
        for file, given in own.items():
            named.setdefault(file.stem, {}).update(given)
        self.known = {file: {name: named[module][there] for name, (module, there) in self.taken[file].items()
                             if there in named.get(module, {})} | own[file] for file in self.trees}  # fmt: skip
        self.helpers: dict[Path, set[str]] = {file: set() for file in self.trees}
        self._learn()

    def asserting(self, file: Path) -> set[str]:
        """The helpers that a module has and takes from others."""
        every = {(other.stem, name) for other, names in self.helpers.items() for name in names}
        return self.helpers[file] | {name for name, whence in self.taken[file].items() if whence in every}

    def _learn(self) -> None:
        """Find the helpers, those that rest on others too."""
        helpers = {file: [f for f in functions(tree) if not f.name.startswith("test_")]
                   for file, tree in self.trees.items()}  # fmt: skip
        before = -1
        while before != (now := sum(map(len, self.helpers.values()))):
            before = now
            for file, found in helpers.items():
                self.helpers[file] |= {f.name for f in found if surely(f.body, self.known[file], self.asserting(file))}


def silent(files: Iterable[Path]) -> Iterator[tuple[Path, Function]]:
    """Every test that asserts only where there may be nothing to look at."""
    suite = Suite(files)
    for file, tree in suite.trees.items():
        helpers = suite.asserting(file)
        for test in functions(tree):
            known = {name: value for name, value in suite.known[file].items() if name not in parameters(test)}
            speaks = any(isinstance(n, ast.Assert) or _speaks(n, helpers) for n in ast.walk(test))
            if test.name.startswith("test_") and speaks and not surely(test.body, known, helpers):
                yield file, test


def main(folder: str = "tests") -> int:
    """Name them, and end with 1 where there are any."""
    found = sorted((str(file), test.lineno, test.name) for file, test in silent(sorted(Path(folder).rglob("*.py"))))
    for file, line, name in found:
        print(f"{file}:{line}: {name} passes when there is nothing to look at: assert first that there is")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
