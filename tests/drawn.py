"""Everything that is drawn of the example robots, and what every figure must be."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any
from xml.etree import ElementTree

from fieldworthy.decide import figure as draw_compare
from fieldworthy.decide.compare import Comparison, compare
from fieldworthy.decide.sensitivity import Influence
from fieldworthy.drawing import DARK, LIGHT, PRINT, Figure, Style
from fieldworthy.drawing.style import width
from fieldworthy.engine import figure as draw_margins
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.figure import margins_of
from fieldworthy.match import Forecast, Scores, match_clock, scores, summed, tallied, timeline
from fieldworthy.match import figure as draw_match
from fieldworthy.match import figure as draw_score
from fieldworthy.measure import figure as draw_residuals
from fieldworthy.measure.result import Residuals
from fieldworthy.systems.air import figure as draw_air
from fieldworthy.systems.air.figure import air_curves
from fieldworthy.systems.intake import figure as draw_intake
from fieldworthy.systems.intake import side as draw_side
from fieldworthy.systems.intake.figure import intake_curves
from fieldworthy.systems.sorter import figure as draw_hues
from fieldworthy.systems.sorter.figure import sorter_curves
from fieldworthy.systems.tracking import figure as draw_path
from fieldworthy.systems.tracking.figure import path_curves
from robots import example, nominal

SVG = "{http://www.w3.org/2000/svg}"
STYLES = [Style(PRINT, "metric", 360.0), Style(LIGHT, "inch", 800.0), Style(DARK, "metric", 480.0)]
NAMES = ("mk1", "mk2")
Draw = Callable[[Any, Style], Figure | None]
Item = tuple[str, Draw, Any]
_CODES = {"reason", "verdict", "kind", "axis_kind", "period", "unit", "basis", "svg", "enough", "shape", "colour"}
INFLUENCES = (
    Influence("actions.tip pods.practice", "practice", "52 %", "83 %", 15.9, (14.9, 17.0), "practise it"),
    Influence("air.supply.charge", "measured", "98 psi", "102 psi", -3.0, (-3.4, -2.6), "gauge it"),
)
READINGS = (
    Residuals("Leak", "time", "time", (0.0, 60.0, 120.0), "pressure", (690e3, 670e3, 655e3), (689e3, 672e3, 655e3)),
    Residuals("Scales", "wheel", "", (0.0, 1.0), "mass", (2.1, 1.9), (2.08, 1.92), ("left front", "right front")),
    Residuals("Heat", "time", "time", (0.0, 60.0), "temperature", (293.0, 301.0), (294.0, 300.5)),
)


@cache
def played(name: str) -> tuple[Forecast, Scores]:
    """A forecast of an example, and the whole distribution of its points."""
    loaded = example(name)
    tally = tallied(loaded, 200)
    forecast = summed(loaded, tally, timeline(nominal(loaded)), (200, 0))
    found = scores(tally, forecast)
    assert found is not None
    return forecast, found


@cache
def compared() -> Comparison:
    """Both examples side by side."""
    return compare([example("mk1"), example("mk2")], 200)


def figures(name: str) -> Iterator[Item]:
    """What is drawn of an example: label, function and data."""
    subject = nominal(example(name))
    air = air_curves(subject)
    yield "air", draw_air.pressures, air
    yield "air by stroke", draw_air.pressures_by_stroke, air
    for sorter in sorter_curves(subject).values():
        for draw in (draw_hues.hue_circle, draw_hues.background, draw_hues.sensor_place, draw_hues.eject_window):
            yield f"sorter {draw.__name__}", draw, sorter
    for intake in intake_curves(subject).values():
        yield "intake", draw_intake.through, intake
        if intake.hold is not None:
            yield "hold", draw_intake.hold, intake
        for time in (-0.02, 0.05, 9.0):
            yield f"moment {time}", draw_side.frame, draw_side.Moment(intake, time)
            yield f"hold at {time}", draw_side.frame, draw_side.Moment(intake, time, holding=True)
    path = path_curves(subject)
    yield "route", draw_path.route_plan, path
    yield "sources", draw_path.sources, path
    yield "match", draw_match.timeline, draw_match.Course(timeline(subject), match_clock(subject))
    forecast, found = played(name)
    yield "scores", draw_score.distribution, (found,)
    yield "limits", draw_score.limits, forecast
    yield "margins", draw_margins.margins, margins_of(evaluate(example(name), samples=100))


def figures_of_both() -> Iterator[Item]:
    """What is drawn of variants and measurements."""
    comparison = compared()
    yield "both scores", draw_score.distribution, tuple(played(name)[1] for name in NAMES)
    yield "differences", draw_compare.differences, comparison
    yield "criteria", draw_compare.criteria, comparison
    yield "flip", draw_compare.flip, comparison.flip[0]
    yield "sensitivity", draw_compare.sensitivity, INFLUENCES
    for readings in READINGS:
        yield f"agreement {readings.name}", draw_residuals.agreement, readings
        yield f"residuals {readings.name}", draw_residuals.residuals, readings


@cache
def items(whose: str) -> tuple[Item, ...]:
    """What is drawn of an example, or of "both"."""
    return tuple(figures_of_both() if whose == "both" else figures(whose))


def everything() -> tuple[Item, ...]:
    """All figures of both examples, and of what is drawn of both."""
    one = [(f"{name}: {label}", draw, data) for name in NAMES for label, draw, data in items(name)]
    return (*one, *items("both"))


def sound(figure: Figure, style: Style) -> ElementTree.Element:
    """Hold a figure to what every figure must be; gives the parsed drawing."""
    root = ElementTree.fromstring(figure.svg)
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    assert [root.findtext(f"{SVG}{tag}") for tag in ("title", "desc")] == [figure.title, figure.alt]
    assert figure.alt.endswith("."), figure.alt
    left, top, wide, high = (float(part) for part in (root.get("viewBox") or "").split())
    assert (left, top, wide) == (0.0, 0.0, style.width)
    for element in root.iter():
        assert element.tag.removeprefix(SVG) in _TAGS, element.tag
        for key, value in element.attrib.items():
            assert not key.startswith("on"), key
            assert not re.search(r"\b(nan|inf|None|url|var)\b", value), f"{element.tag} {key}={value!r}"
    for text in root.iter(f"{SVG}text"):
        _inside(text, wide, high)
    assert figure.csv().count("\n") >= 1
    assert "nan" not in figure.csv()
    return root


_TAGS = {"svg", "title", "desc", "rect", "path", "circle", "ellipse", "text", "g"}


def _inside(text: ElementTree.Element, wide: float, high: float) -> None:
    size, words = float(text.get("font-size") or 0.0), text.text or ""
    room = width(words, size, text.get("font-weight") == "bold")
    x, y = float(text.get("x") or 0.0), float(text.get("y") or 0.0)
    start = x - {"middle": room / 2.0, "end": room}.get(text.get("text-anchor") or "", 0.0)
    assert start >= -0.5, words
    assert start + room <= wide + 0.5, words
    assert y >= 0.7 * size, words
    assert y <= high, words


def renamed(data: Any, text: str) -> Any:
    """The same result with every name in it replaced; codes such as verdicts stay."""
    if dataclasses.is_dataclass(data) and not isinstance(data, type):
        fields = {f.name: getattr(data, f.name) for f in dataclasses.fields(data) if f.init}
        return type(data)(**{k: v if k in _CODES else renamed(v, text) for k, v in fields.items()})
    if isinstance(data, str):
        return text
    if isinstance(data, tuple):
        return tuple(renamed(item, text) for item in data)
    if isinstance(data, dict):
        return {key if i else text: renamed(value, text) for i, (key, value) in enumerate(data.items())}
    return data
