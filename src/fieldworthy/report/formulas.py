"""The formulas of the documents: as the typesetter writes them, with their letters, source and function."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

_WORTH = {
    "read": "checked in the source",
    "library": "computed by a library of its authors",
    "memory": "not checked against the source",
    "practice": "common practice, no source",
}


@cache
def _entries() -> dict[str, dict[str, str]]:
    return tomllib.loads(resources.files("fieldworthy").joinpath("sources.toml").read_text(encoding="utf-8"))


def known() -> tuple[str, ...]:
    """The keys of all sources."""
    return tuple(_entries())


def named(key: str) -> str:
    """Name a source."""
    return _entries()[key]["title"]


def worth(key: str) -> str:
    """Say what a source is worth, and what of it was read."""
    entry = _entries()[key]
    read = entry.get("read")
    return _WORTH[entry["basis"]] + (f"; read besides: {read}" if read else "")


@dataclass(frozen=True, slots=True)
class Equation:
    """One formula.

    Attributes
    ----------
    key : Its name in formulas.toml
    typst : In the typesetter's mathematics
    says : As the docstring of its function writes it
    function : Module and name below `fieldworthy.physics`
    source : A key of sources.toml, which the docstring of its function gives too
    where : Letters and what they mean, with their units
    """

    key: str
    typst: str
    says: str
    function: str
    source: str
    where: tuple[tuple[str, str], ...]


@cache
def formulas() -> dict[str, Equation]:
    """Read all formulas."""
    text = resources.files("fieldworthy.report").joinpath("formulas.toml").read_text(encoding="utf-8")
    return {
        key: Equation(key, e["typst"], e["says"], e["function"], e["source"], tuple((s, m) for s, m in e["where"]))
        for key, e in tomllib.loads(text).items()
    }


def formula_of(key: str) -> Equation:
    """Find one formula."""
    return formulas()[key]


@cache
def mathml() -> dict[str, str]:
    """Write every formula and letter as MathML."""
    import typst  # noqa: PLC0415  only where a page is written

    texts: dict[str, bool] = {}
    for equation in formulas().values():
        texts[equation.typst] = True
        texts.update(dict.fromkeys((letter for letter, _ in equation.where), False))
    lines = [f"$ {text} $" if display else f"${text}$" for text, display in texts.items()]
    page = typst.compile("\n\n".join(lines).encode(), format="html", ignore_system_fonts=True).decode("utf-8")
    found = re.findall(r"<math.*?</math>", page, re.DOTALL)
    assert len(found) == len(texts), "one element for each formula"
    return dict(zip(texts, found, strict=True))
