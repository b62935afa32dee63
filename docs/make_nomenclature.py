"""Makes docs/nomenclature.md: kinds of quantities from their declarations, symbols from the docstrings of the formulas.

Run it after a docstring of ``physics/`` has changed: ``python docs/make_nomenclature.py``.
"""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

from fieldworthy.units import COMMON, KINDS

HERE = Path(__file__).parent
PHYSICS = HERE.parent / "src" / "fieldworthy" / "physics"
_LEAST = 3  # formulas that a symbol must occur in to be listed
_LEANS = re.compile(r"(Its|Their|The|At|Of|How|What|Each|Before|With|On|Which|Where|Whose|\d)\b", re.IGNORECASE)
"""How a meaning begins that says nothing without its formula."""
_HEAD = """# Nomenclature

What names mean in files, formulas and Python, with their units. This page is made from the declarations and
docstrings by `docs/make_nomenclature.py`. Words are explained in the [glossary](glossary.md), keys of the files in
[files](files.md), findings in [findings](findings.md).

## Axes and signs

Those of ISO 8855 (vehicle axes), with the origin on the floor:

| name | direction or sense | zero |
| --- | --- | --- |
| `x` | forward | midway between the contacts of the drive wheels |
| `y` | to the left | the robot's middle plane |
| `z` | up | the floor |
| pitch | positive nose down | level |
| roll | positive right side down | level |
| yaw, heading | positive to the left, seen from above | forward |
| elevation of an arm | positive up | level, ahead |
| hue | an angle round the colour circle, red 0° | |
| `p_gauge` | what a gauge shows: above the air outside | air outside |
| `p_abs` | absolute pressure | vacuum |
| margin | share of the limit, positive is good | at the limit |

Files use gauge pressure and degrees; formulas use absolute pressure and radians, SI throughout. Free air is counted at
the reference atmosphere of ISO 8778 (100 kPa, 20 °C, 65 % relative humidity).
"""
_KINDS = """## Kinds of quantities

A number in a file has a unit of its kind. Common ones are listed; others of the same dimension are read too.

| kind | inside | shown | in inch units | also read |
| --- | --- | --- | --- | --- |
"""
_SYMBOLS = """## Names in the formulas

Those that several formulas use, in SI units; `-` is a number without unit. Where a name has two meanings, both stand
here: each formula's docstring says which.

| name | unit | meaning |
| --- | --- | --- |
"""


def _kinds() -> Iterator[str]:
    for name, kind in KINDS.items():
        others = [unit for unit in COMMON.get(name, {}) if unit not in (kind.si, kind.metric, kind.inch)]
        yield f"| {name} | {kind.si or '-'} | {kind.metric or '-'} | {kind.inch or '-'} | {', '.join(others)} |"


def _described(docstring: str) -> Iterator[tuple[str, str, str]]:
    """Name, unit and meaning of each parameter whose meaning stands apart from those of others."""
    found = re.search(r"\nParameters\n-{3,}\n(.*?)(?=\n\n[A-Z][a-z]+\n-{3,}|\Z)", docstring, re.DOTALL)
    for entry in re.split(r"\n(?=\S)", found[1]) if found else ():
        head, _, told = entry.partition(" : ")
        names = [name.strip() for name in head.split(",")]
        said = " ".join(line.strip() for line in told.splitlines())
        meanings = re.findall(r"\s*([^\[\];]+?)\s*\[([^\[\]]+)\]", said)
        if len(meanings) == len(names):
            for name, (meaning, unit) in zip(names, meanings, strict=True):
                yield name, unit, meaning


def _symbols() -> Iterator[str]:
    told: dict[tuple[str, str], list[str]] = defaultdict(list)
    for file in sorted(PHYSICS.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                for name, unit, meaning in _described(ast.get_docstring(node) or ""):
                    told[name, unit].append(meaning)
    for (name, unit), meanings in sorted(told.items(), key=lambda item: (item[0][0].lower(), item[0])):
        if len(meanings) >= _LEAST:
            # the wording that most formulas use, of those the shortest
            alone = [text for text in meanings if not _LEANS.match(text)]
            if not alone or "," in unit:
                continue
            meaning = min(alone, key=lambda text: (-alone.count(text), len(text), text))
            yield f"| `{name}` | {unit} | {meaning[0].upper()}{meaning[1:]} |"


def text() -> str:
    """What docs/nomenclature.md must hold."""
    return "\n".join([_HEAD, _KINDS + "\n".join(_kinds()), "", _SYMBOLS + "\n".join(_symbols()), ""])


if __name__ == "__main__":
    (HERE / "nomenclature.md").write_text(text(), encoding="utf-8")
