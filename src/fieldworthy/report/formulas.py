"""The formulas of the documents, and the systems' pages on which they stand with findings and facts."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import cache, lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from fieldworthy.drawing.style import PRINT, Style
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import DisplayUnits, Fact, Finding, Report, Worked, in_words
from fieldworthy.engine.system import Page, System, systems
from fieldworthy.files import Quantity
from fieldworthy.files.document import dotted
from fieldworthy.report.blocks import items_of
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.words import phrase, unstated
from fieldworthy.units import show

if TYPE_CHECKING:
    from fieldworthy.drawing.svg import Figure

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


class Words:
    """What a document calls numbers and checks: a key or an id says little to who does not write the file."""

    def __init__(self, loaded: Loaded, *reports: Report) -> None:
        self._loaded = loaded
        self._shown = DisplayUnits.of(loaded.quantities)
        self._paths = {dotted(path): path for path, _ in loaded.quantities}
        self._items = [item for report in reports for item in items_of(report)]

    def key(self, key: str) -> str:
        """Name a number of the files."""
        path = self._paths.get(key)
        if path is None:
            return unstated(key)
        return phrase(self._loaded.robot, self._loaded.season, path)

    def text(self, text: str) -> str:
        """Put the names of checks in place of their ids."""
        return in_words(text, self._items)

    def value(self, key: str, quantity: Quantity) -> tuple[str, str]:
        """A number and its tolerance as the file writes them; the program's own numbers in the units of the file."""
        given = self._paths.get(key, ("",))[0] != "catalogue"
        unit = quantity.unit if given else self._shown.units.get(quantity.kind, quantity.unit)
        warm = quantity.kind == "temperature"
        step, by = ("temperature step", "K") if warm else (quantity.kind, unit)
        off = show(quantity.tolerance, step, by, 2) if quantity.tolerance else ""
        return show(quantity.si, quantity.kind, unit), f"± {off}" if off else ""


_COMMAND = re.compile(
    r"; 'fieldworthy [^']*' says [^.;]*|(?<=\.) 'fieldworthy [^']*' says [^.]*\.| \('[a-z_]+' of the [a-z ]+ '[^']*'\)"
)


def on_paper(text: str) -> str:
    """A sentence without the command that would tell more, or the key that would: who reads a page types none."""
    return _COMMAND.sub("", text)


_LETTER = re.compile(r"""[A-Za-z]+(?:_(?:"[a-z]+"|\([a-z ]+\)|[A-Za-z0-9]+))?'?""")


@dataclass(frozen=True, slots=True)
class PutIn:
    """A formula with the numbers put in.

    Attributes
    ----------
    equation : The formula
    typst : In the typesetter's mathematics, with a number in place of each letter that has one
    numbers : By letter, what it stands for, in the person's units
    """

    equation: Equation
    typst: str
    numbers: Mapping[str, str]


def put_in(worked: Worked, shown: DisplayUnits) -> PutIn:
    """Put numbers into a formula."""
    equation = formula_of(worked.formula)
    numbers = {letter: shown.number(*number) for letter, number in worked.numbers.items()}

    def number_of(match: re.Match[str]) -> str:
        text = numbers.get(match[0])
        if text is None:
            return match[0]
        alone = equation.typst.startswith(f"{match[0]} =") and match.start() == 0
        return f'"{text}"' if alone else f'("{text}")'

    return PutIn(equation, _LETTER.sub(number_of, equation.typst), numbers)


def meaning(letters: str, what: str, numbers: Mapping[str, str]) -> str:
    """Say what letters mean, with the numbers that they stand for."""
    listed = letters.split(", ")
    if not all(letter in numbers for letter in listed):
        return what
    bare, given = re.sub(r" \[[^\]]*\]", "", what), ", ".join(numbers[letter] for letter in listed)
    return bare if given in bare else f"{bare}: {given}"


def worked_of(context: Context, item: Finding | Fact) -> tuple[Worked, ...]:
    """Find by which formulas a finding or fact is computed, with its numbers."""
    family, base = item.id.partition(".")[0], context.nominal
    outcomes = (o for s in systems() if family in s.families for o in s.check(base))
    return next((o.worked for o in outcomes if o.id == item.id and o.subject == item.subject), ())


def put_in_on(page: SystemPage, context: Context, items: Sequence[Finding | Fact]) -> dict[str, tuple[str, Worked]]:
    """Of each formula of a page, whose numbers it shows, and these: those of the first item that has some."""
    outcomes = [o for system in page.systems for o in system.check(context.nominal) if o.worked]
    order = {(item.id, item.subject): place for place, item in enumerate(items)}
    found: dict[str, tuple[str, Worked]] = {}
    for outcome in sorted(outcomes, key=lambda o: order.get((o.id, o.subject), len(order))):
        for worked in outcome.worked:
            found.setdefault(worked.formula, (outcome.subject, worked))
    return found


@lru_cache(maxsize=64)
def as_mathml(text: str) -> str:
    """Write one formula of the typesetter's mathematics as MathML."""
    import typst  # noqa: PLC0415  only where a page is written

    page = typst.compile(f"$ {text} $".encode(), format="html", ignore_system_fonts=True).decode("utf-8")
    return re.findall(r"<math.*?</math>", page, re.DOTALL)[0]  # type: ignore[no-any-return]


WIDTH, HALF = 640.0, 440.0
"""Width of a figure across the paper, and of one with text beside it [px]: its letters are then nearly as large as
those of the text."""


def style_of(loaded: Loaded, width: float = WIDTH) -> Style:
    """Choose how figures on paper look."""
    return DisplayUnits.of(loaded.quantities).style(PRINT, width)


def figures_for(name: str, context: Context, style: Style) -> list[Figure]:
    """Draw the figures of a system's page, those of other systems that stand on it too."""
    on = [system for system in systems() if name in (system.name, system.page_of) and system.figures is not None]
    return [figure for system in on for figure in system.figures(context, style)]  # type: ignore[misc]


def robot_figure(context: Context, style: Style, *, above: bool = True) -> list[Figure]:
    """Draw the robot in the pose it starts in, or in its first, from the side and from above."""
    from fieldworthy.vehicle import drawing as body  # noqa: PLC0415  words alone draw nothing
    from fieldworthy.vehicle.views import body_curves, first_pose  # noqa: PLC0415

    pose = first_pose(context)
    data = body_curves(context, pose) if pose is not None else None
    return [] if data is None else [body.robot(data, style, above=above)]


def slender(figure: Figure) -> float:
    """How high a figure is for its width."""
    match = re.search(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"', figure.svg)
    return float(match[2]) / float(match[1]) if match else 1.0


def tall(figure: Figure) -> bool:
    """Tell a figure that needs a page of its own."""
    return slender(figure) > 1.2


@dataclass(frozen=True, slots=True)
class SystemPage:
    """A page and the systems whose findings stand on it."""

    page: Page
    systems: tuple[System, ...]

    @property
    def name(self) -> str:
        """Of the system that the page belongs to."""
        return self.systems[0].name

    @property
    def families(self) -> frozenset[str]:
        """First words of the ids of its findings."""
        return frozenset(family for system in self.systems for family in system.families)


def all_pages() -> list[SystemPage]:
    """Every page that there can be, in the order of the systems."""
    found = systems()
    return [
        SystemPage(one.page, (one, *(other for other in found if other.page_of == one.name)))
        for one in found
        if one.page is not None
    ]


def belongs(page: SystemPage, item: Finding | Fact) -> bool:
    """Tell by the first word of its id whether a finding or fact stands on a page."""
    return item.id.partition(".")[0] in page.families


def pages_of(report: Report) -> list[SystemPage]:
    """Choose the pages that have at least one finding or fact."""
    return [p for p in all_pages() if any(belongs(p, i) for i in items_of(report))]


def telling(page: Page, facts: Sequence[Fact], most: int) -> list[Fact]:
    """Choose the facts that say most, in the page's order."""

    def rank(fact: Fact) -> int:
        return next((i for i, stem in enumerate(page.telling) if fact.id.startswith(stem)), len(page.telling))

    return sorted(facts, key=rank)[:most]


def _given(value: Any, at: str) -> Iterator[str]:
    """The keys that a thing gives, without the names of a person's own."""
    yield at
    if is_dataclass(value):
        for each in fields(value):
            if getattr(value, each.name) not in (None, ()):
                yield from _given(getattr(value, each.name), f"{at}.{each.name}")
    elif isinstance(value, Mapping):
        for inner in value.values():
            yield from _given(inner, at)


def formulas_for(page: Page, robot: Robot) -> list[str]:
    """Choose the formulas of a page by the kinds of mechanism that the robot has, and by what their keys give."""
    has = {key for spec in robot.mechanisms.values() for key in _given(spec, spec.kind)}
    return list(dict.fromkeys(key for key, needed in page.formulas if not needed or needed in has))
