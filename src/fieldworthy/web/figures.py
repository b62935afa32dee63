"""How figures are to look in one window."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases
from fieldworthy.engine.finding import DisplayUnits, Finding
from fieldworthy.engine.system import systems
from fieldworthy.files import instantiate
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.report import formulas
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.air import figure as air
from fieldworthy.systems.air.figure import AirCurves, air_curves
from fieldworthy.systems.arm.figure import arm_curves
from fieldworthy.systems.balance import figure as balance
from fieldworthy.systems.balance.figure import balance_curves
from fieldworthy.systems.climb import figure as hanging
from fieldworthy.systems.climb.figure import hanging_curves
from fieldworthy.systems.drive import figure as drive
from fieldworthy.systems.drive.figure import heat_curves, push_curves, run_curves, shared_curves
from fieldworthy.systems.intake import figure as intake
from fieldworthy.systems.intake import side as intake_side
from fieldworthy.systems.intake.figure import IntakeCurves, intake_curves
from fieldworthy.systems.lift import figure as lift
from fieldworthy.systems.lift.figure import LiftCurves, lift_curves
from fieldworthy.systems.sorter import figure as hues
from fieldworthy.systems.sorter.figure import sorter_curves
from fieldworthy.systems.tracking import figure as path
from fieldworthy.systems.tracking.figure import PathCurves, path_curves
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


def moving(source: Source, look: Look) -> Named:
    """Draw how a robot drives, pushes, warms up, when it tips, and what has no drawings of its own elsewhere."""
    context, style = context_of(source), styled(source, look)
    tips, run, push, heat = balance_curves(context), run_curves(context), push_curves(context), heat_curves(context)
    return named([
        ("tipping", None if tips is None else balance.balance(tips, style)),
        ("run", None if run is None else drive.run(run, style)),
        ("push", None if push is None else drive.push(push, style)),
        ("heat", None if heat is None else drive.heat(heat, style)),
        *((f"heat of {name}", drive.heat(shared, style)) for name, shared in shared_curves(context).items()),
        *((_plain(figure.title), figure) for figure in _of_the_rest(context, style)),
    ])  # fmt: skip


def _of_the_rest(context: Context, style: Style) -> Iterator[Figure]:
    """The figures of the systems that no view draws by itself, those of other packages among them."""
    for system in systems():
        if system.figures is not None and not system.drawn_apart:
            yield from system.figures(context, style)


def _plain(title: str) -> str:
    """A figure's title as its name."""
    return title.replace("'", "").lower()


def lifts(source: Source) -> tuple[str, ...]:
    """List the arms that a robot raises."""
    return tuple(_arms(source, 0.0))


def _arms(source: Source, share: float) -> dict[str, LiftCurves]:
    """Lifts and motor arms, in the order of the file."""
    context = context_of(source)
    found = lift_curves(context, share) | arm_curves(context, share)
    return {name: found[name] for name in context.robot.mechanisms if name in found}


def raised(source: Source, look: Look, name: str, share: float) -> Named:
    """Draw an arm at a place of its way up."""
    data = _arms(source, share).get(name)
    return () if data is None else ((f"lift {name}", lift.lift(data, styled(source, look))),)


def hung(source: Source, look: Look) -> Named:
    """Draw a robot on every bar that it climbs."""
    style = styled(source, look)
    found = hanging_curves(context_of(source))
    return named((f"hanging {name}", hanging.hanging(data, style)) for name, data in found.items())


@dataclass(frozen=True, slots=True)
class AirShown:
    """What the page shows of the air.

    Attributes
    ----------
    curves : None where the plan draws no air
    cylinders : Every cylinder with the tank that it is on
    tanks : Every tank
    figures : Figures with their names
    style : In whose units the page writes numbers beside them
    """

    curves: AirCurves | None
    cylinders: tuple[tuple[str, str], ...]
    tanks: tuple[str, ...]
    figures: Named
    style: Style


def air_shown(source: Source, look: Look) -> AirShown:
    """Follow the air through the match plan."""
    context, style = context_of(source), styled(source, look)
    system = context.robot.air
    data = air_curves(context) if system.tanks and system.cylinders and context.robot.plan else None
    figures: Named = ()
    if data is not None:
        figures = (
            ("pressure", air.pressures(data, style)),
            ("pressure by stroke", air.pressures_by_stroke(data, style)),
        )
    placed = tuple((name, spec.tank) for name, spec in system.cylinders.items())
    return AirShown(data, placed, tuple(system.tanks), figures, style)


@lru_cache(maxsize=8)
def _intakes(source: Source) -> dict[str, IntakeCurves]:
    return intake_curves(context_of(source))


def intakes(source: Source) -> tuple[str, ...]:
    """List the intakes through which objects can be followed."""
    return tuple(_intakes(source))


def taken_in(source: Source, look: Look, name: str) -> Named:
    """Draw objects on their way through an intake, over time."""
    data, style = _intakes(source)[name], styled(source, look)
    return named([(f"{name} through", intake.through(data, style)), (f"{name} hold", intake.hold(data, style))])


def at_moment(source: Source, look: Look, name: str, share: float, holding: bool) -> Named:
    """Draw an intake at one moment."""
    data = _intakes(source)[name]
    begin, end = intake_side.Moment(data, 0.0, holding).span
    moment = intake_side.Moment(data, begin + share * (end - begin), holding)
    what = "held" if holding else "moving"
    return ((f"{name} {what}", intake_side.frame(moment, styled(source, look))),)


def sorted_by_hue(source: Source, look: Look) -> tuple[tuple[str, Named], ...]:
    """Draw how every sorter tells its classes apart."""
    style = styled(source, look)
    makers = (("hues", hues.hue_circle), ("background", hues.background),
              ("sensor", hues.sensor_place), ("eject", hues.eject_window))  # fmt: skip
    return tuple(
        (name, named((f"{name} {what}", make(data, style)) for what, make in makers))
        for name, data in sorter_curves(context_of(source)).items()
    )


def on_the_field(source: Source, look: Look) -> tuple[PathCurves | None, Named, Style]:
    """Draw the route with the error at every place of the autonomous path."""
    data, style = path_curves(context_of(source)), styled(source, look)
    if data is None:
        return None, (), style
    return (
        data,
        named([("route", path.route_plan(data, style)), ("sources of error", path.sources(data, style))]),
        style,
    )


@dataclass(frozen=True, slots=True)
class Worked:
    """A formula of a finding: as MathML, its source, and what its letters mean."""

    mathml: str
    source: str
    where: str


@dataclass(frozen=True, slots=True)
class Detail:
    """What a finding is computed with.

    Attributes
    ----------
    equations : Formulas of its system that rest on one of its sources
    numbers : Place and value of each input, the one that matters most first
    figure : A drawing of its system, as SVG; empty where there is none
    """

    equations: tuple[Worked, ...]
    numbers: tuple[tuple[KeyPath, str], ...]
    figure: str


_EQUATIONS, _NUMBERS = 4, 12  # of one finding


def detail_of(source: Source, finding: Finding, look: Look) -> Detail:
    """Gather what a finding is computed with."""
    loaded = in_units(source, look.units)
    page = next((p for p in formulas.all_pages() if formulas.belongs(p, finding)), None)
    keys = [] if page is None else formulas.formulas_for(page.page, loaded.nominal)
    equations = [e for e in map(formulas.formula_of, keys) if e.source in finding.sources][:_EQUATIONS]
    known = {dotted(path): (path, show(q.si, q.kind, q.unit)) for path, q in loaded.quantities}
    numbers = [known[key] for key in finding.inputs if key in known]
    drawn = [] if page is None else formulas.figures_for(page.name, context_of(source), styled(source, look))
    about = {finding.subject, finding.id.rpartition(".")[2]}
    fits = next((f for f in drawn if any(word and word in f.title for word in about)), drawn[0] if drawn else None)
    return Detail(
        tuple(Worked(formulas.mathml()[e.typst], formulas.named(e.source), _letters(e)) for e in equations),
        tuple(numbers[:_NUMBERS]),
        "" if fits is None else fits.svg,
    )


def _letters(equation: formulas.Equation) -> str:
    return "; ".join(meaning for _, meaning in equation.where)
