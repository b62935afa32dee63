"""How figures are to look in one window."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases, shares
from fieldworthy.engine.finding import DisplayUnits, Finding
from fieldworthy.engine.system import Section, Slider, sections
from fieldworthy.files import instantiate
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.report import formulas
from fieldworthy.robot.model.robot import Robot
from fieldworthy.units import show
from fieldworthy.vehicle import drawing as robot
from fieldworthy.vehicle.views import body_curves
from fieldworthy.web.judging import Source, Units, in_units, robot_of


@dataclass(frozen=True, slots=True)
class Look:
    """How figures are to look in one window.

    Attributes
    ----------
    style : Theme and width
    units : The person's choice
    """

    style: Style
    units: Units


Named: TypeAlias = tuple[tuple[str, Figure], ...]
"""Figures with a name each, for files and for their place on the page."""
_SAMPLES = 400  # enough for an interval that is drawn some pixels wide


@lru_cache(maxsize=24)
def context_of(source: Source) -> Context:
    """See a robot as the checks do, with nominal numbers."""
    loaded = robot_of(source)
    return Context(loaded.nominal, loaded.nominal_season)


@lru_cache(maxsize=8)
def _sampled(source: Source) -> Context:
    """The robot over samples of its tolerances, to say how sure its centre of gravity is."""
    loaded, cases = robot_of(source), Cases(0, 0, _SAMPLES, [])
    return Context(instantiate(loaded.robot, Robot, cases.draw), loaded.nominal_season, context_of(source))


def styled(source: Source, look: Look) -> Style:
    """Complete a style by the units that the file uses, where the person wants those."""
    if look.units != "file":
        return dataclasses.replace(look.style, units=look.units)
    return DisplayUnits.of(robot_of(source).quantities).style(look.style.theme, look.style.width)


def named(found: Iterable[tuple[str, Figure | None]]) -> Named:
    """Leave out what there is no figure of."""
    return tuple((name, figure) for name, figure in found if figure is not None)


def poses(source: Source) -> tuple[str, ...]:
    """List the poses that a robot can be drawn in."""
    seen = context_of(source).robot
    return tuple(seen.poses) if seen.parts else ()


def in_pose(source: Source, look: Look, pose: str) -> Named:
    """Draw a robot in one pose."""
    context = context_of(source)
    if pose not in context.robot.poses:
        return ()
    data = body_curves(context, pose, _sampled(source))
    return () if data is None else ((f"robot {pose}", robot.robot(data, styled(source, look))),)


@dataclass(frozen=True, slots=True)
class Shown:
    """A section of a view as it goes to the page.

    Attributes
    ----------
    section : Without its figures and without what draws for its sliders
    sliders : What moves in it
    figures : With their names
    """

    section: Section
    sliders: tuple[Slider, ...]
    figures: Named


@lru_cache(maxsize=8)
def _sections(source: Source, look: Look, view: str) -> tuple[Section, ...]:
    """What the systems show in a view; a slider that moves asks for it over and over."""
    return tuple(sections(context_of(source), styled(source, look), view))


def shown(source: Source, look: Look, view: str = "") -> tuple[Shown, ...]:
    """Draw what the systems show in a view of theirs or, without its name, with the robot."""
    return tuple(
        Shown(
            dataclasses.replace(section, sliders=(), figures=()),
            tuple(slider for slider, _ in section.sliders),
            named(section.figures),
        )
        for section in _sections(source, look, view)
    )


def moved(source: Source, look: Look, view: str, name: str, share: float) -> Named:
    """Draw what a slider moves, at a share of its way."""
    every = (one for section in _sections(source, look, view) for one in section.sliders)
    return tuple((slider.name, draw(share)) for slider, draw in every if slider.name == name)


@dataclass(frozen=True, slots=True)
class Worked:
    """A formula of a finding: as MathML, its source, what its letters mean, and itself with the numbers put in."""

    mathml: str
    source: str
    where: str
    put_in: str = ""


@dataclass(frozen=True, slots=True)
class Detail:
    """What a finding is computed with.

    Attributes
    ----------
    equations : Formulas of its system that rest on one of its sources
    numbers : Place and value of each input, the one that matters most first, and its share of the uncertainty
    figure : A drawing of its system, as SVG; empty where there is none
    """

    equations: tuple[Worked, ...]
    numbers: tuple[tuple[KeyPath, str, float | None], ...]
    figure: str


_EQUATIONS, _NUMBERS = 4, 12  # of one finding


def detail_of(source: Source, finding: Finding, look: Look) -> Detail:
    """Gather what a finding is computed with."""
    loaded = in_units(source, look.units)
    page = next((p for p in formulas.all_pages() if formulas.belongs(p, finding)), None)
    keys = [] if page is None else formulas.formulas_for(page.page, loaded.nominal)
    shown = DisplayUnits.of(loaded.quantities)
    worked = [formulas.put_in(w, shown) for w in formulas.worked_of(context_of(source), finding)]
    plain = [e for e in map(formulas.formula_of, keys) if e.source in finding.sources]
    plain = [e for e in plain if e not in [w.equation for w in worked]][: _EQUATIONS - len(worked)]
    known = {dotted(path): (path, show(q.si, q.kind, q.unit)) for path, q in loaded.quantities}
    given = shares(loaded, finding)
    numbers = [(*known[key], given.get(key)) for key in finding.inputs if key in known]
    drawn = [] if page is None else formulas.figures_for(page.name, context_of(source), styled(source, look))
    about = {finding.subject, finding.id.rpartition(".")[2]}
    fits = next((f for f in drawn if any(word and word in f.title for word in about)), drawn[0] if drawn else None)
    return Detail(
        (*map(_with_numbers, worked), *map(_without, plain)),
        tuple(numbers[:_NUMBERS]),
        "" if fits is None else fits.svg,
    )


def _without(equation: formulas.Equation) -> Worked:
    where = "; ".join(meaning for _, meaning in equation.where)
    return Worked(formulas.mathml()[equation.typst], formulas.named(equation.source), where)


def _with_numbers(found: formulas.PutIn) -> Worked:
    equation = found.equation
    where = "; ".join(formulas.meaning(letters, what, found.numbers) for letters, what in equation.where)
    put_in = formulas.as_mathml(found.typst)
    return Worked(formulas.mathml()[equation.typst], formulas.named(equation.source), where, put_in)
