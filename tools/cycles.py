"""Find rings of modules that import each other, imports within functions and for types alone counted.

    python tools/cycles.py

A package counts as its ``__init__``; importing a module of it from within is no import of the package. Ends with
status 1 where there is a ring.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

SRC = Path(__file__).parents[1] / "src"


def modules(root: Path) -> dict[str, Path]:
    """Every module below a folder, by its dotted name."""
    found = {}
    for path in sorted(root.rglob("*.py")):
        parts = path.relative_to(root).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imported(path: Path, known: dict[str, Path]) -> Iterator[str]:
    """What a module imports of those that are known, wherever the import stands."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name in known)
        elif isinstance(node, ast.ImportFrom) and node.module in known:
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                yield inner if inner in known else str(node.module)


def rings(arrows: dict[str, set[str]]) -> Iterator[list[str]]:
    """Every set of modules of which each comes back to itself through the others (Tarjan 1972, by reachability)."""
    reach = {name: _reached(name, arrows) for name in arrows}
    left = {name for name in arrows if name in reach[name]}
    while left:
        start = min(left)
        ring = sorted(name for name in left if name in reach[start] and start in reach[name])
        left -= set(ring)
        yield ring


def _reached(start: str, arrows: dict[str, set[str]]) -> set[str]:
    found: set[str] = set()
    queue = [start]
    while queue:
        for name in arrows[queue.pop()] - found:
            found.add(name)
            queue.append(name)
    return found


def main() -> int:
    """Name each ring, and end with 1 where there is one."""
    known = modules(SRC)
    found = list(rings({name: set(imported(path, known)) - {name} for name, path in known.items()}))
    for ring in found:
        print("these import each other: " + ", ".join(ring))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
