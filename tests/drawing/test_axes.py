"""Axes and labels: ticks, maps, names pushed apart, numbers as a table."""

from __future__ import annotations

import csv
import io
import math
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from drawn import SVG, sound
from fieldworthy.drawing import (
    DARK,
    LIGHT,
    PRINT,
    Axis,
    Band,
    Bars,
    Chart,
    Figure,
    Letters,
    Limit,
    Line,
    Points,
    Sheet,
    Span,
    Spot,
    Style,
    chart,
    panels,
)
from fieldworthy.drawing.frame import Scale, ends, tick_step, tick_texts, ticks
from fieldworthy.drawing.painting import spread
from fieldworthy.drawing.style import shortened, width, wrapped
from fieldworthy.drawing.svg import escape, number

SIZES = st.floats(1e-6, 1e9)
STYLE = Style(LIGHT, "metric", 640.0)


# --- ticks ----------------------------------------------------------------------------------------------------------


@given(span=SIZES, most=st.integers(2, 12))
def test_steps_are_1_2_or_5_and_the_finest_that_there_is_room_for(span, most):
    step = tick_step(span, most)
    lead = step / 10.0 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(lead - n) for n in (1.0, 2.0, 5.0)) < 1e-6
    assert span / step <= most * (1.0 + 1e-6)
    finer = {1.0: 0.5, 2.0: 1.0, 5.0: 2.0}[float(round(lead))] * step / lead
    assert span / finer > most * (1.0 - 1e-6)


@given(low=st.floats(-1e5, 1e5), span=st.floats(1e-3, 1e5))
def test_ticks_are_multiples_within_the_ends(low, span):
    step = tick_step(span, 6)
    found = ticks(low, low + span, step)
    assert 1 <= len(found) <= 7
    assert np.allclose(found / step, np.round(found / step), atol=1e-6)
    assert (found >= low - 1e-5 * step).all()
    assert (found <= low + span + 1e-5 * step).all()


def test_wide_angles_are_stepped_by_parts_of_a_circle():
    assert [tick_step(span, 6, angle=True) for span in (90.0, 180.0, 360.0, 40.0)] == [15.0, 30.0, 90.0, 10.0]


def test_texts_have_the_places_of_the_step():
    assert tick_texts(np.array([-0.5, 0.0, 0.5]), 0.5) == ["−0.5", "0.0", "0.5"]
    assert tick_texts(np.array([0.0, 2000.0]), 2000.0) == ["0", "2000"]


@given(values=st.lists(st.floats(allow_nan=True, allow_infinity=True), max_size=6))
def test_an_axis_has_ends_whatever_it_shows(values):
    finite = [v if not math.isfinite(v) or abs(v) < 1e12 else 1.0 for v in values]
    low, high, step = ends(Axis("x", "length"), np.array(finite, dtype=float), STYLE, 5)
    assert math.isfinite(low)
    assert low < high
    assert step > 0.0


def test_the_map_is_straight_and_in_the_persons_unit():
    # 1 in is 25.4 mm, exactly; international yard and pound agreement of 1959
    scale = Scale(Style(LIGHT, "inch"), "length", 0.0, 10.0, 100.0, 200.0)
    assert scale(np.array([0.0, 0.0254, 0.254])).tolist() == pytest.approx([100.0, 110.0, 200.0])


def test_units_are_the_persons():
    metric, inch = Style(LIGHT, "metric"), Style(LIGHT, "inch")
    assert [s.show(0.0254, "length") for s in (metric, inch)] == ["25.4 mm", "1 in"]
    assert [s.header("Force", "force") for s in (metric, inch)] == ["Force [N]", "Force [lbf]"]
    assert [s.unit("pressure") for s in (metric, inch)] == ["kPa", "psi"]
    assert [s.unit("distance") for s in (metric, inch)] == ["m", "in"]
    assert metric.show(0.213, "share") == "21 %"
    assert metric.show(math.pi / 6.0, "angle") == "30°"
    assert metric.value(np.array([273.15]), "temperature").tolist() == [0.0]


# --- names ----------------------------------------------------------------------------------------------------------


@given(wanted=st.lists(st.floats(-100.0, 500.0), min_size=1, max_size=10))
def test_names_are_pushed_apart_in_their_order_and_kept_inside(wanted):
    wanted = sorted(wanted)
    found = spread(wanted, 15.0, (0.0, 400.0))
    assert (np.diff(found) >= 15.0 - 1e-6).all()
    assert found[0] >= -1e-6
    assert found[-1] <= 400.0 + 1e-6


def test_names_with_room_stay_where_they_are():
    assert spread([10.0, 100.0, 200.0], 15.0, (0.0, 400.0)) == [10.0, 100.0, 200.0]
    assert spread([100.0, 100.0], 10.0, (0.0, 400.0)) == [95.0, 105.0]


@pytest.mark.long
@given(text=st.text(max_size=60), most=st.floats(0.0, 400.0))
def test_a_shortened_text_fits(text, most):
    assert width(shortened(text, 11.0, most), 11.0) <= most + 1e-9
    assert all(width(line, 11.0) <= most + 1e-9 for line in wrapped(text, 11.0, most))


@given(text=st.text(max_size=60))
def test_escaped_text_is_read_back(text):
    root = ElementTree.fromstring(f'<a b="{escape(text)}">{escape(text)}</a>')
    plain = [c for c in text if c.isprintable() and c.isascii()]
    assert [c for c in root.text or "" if c.isprintable() and c.isascii()] == plain


def test_a_coordinate_that_is_not_finite_is_refused():
    assert [number(v) for v in (1.0, -0.001, 2.344)] == ["1", "0", "2.34"]
    for value in (math.nan, math.inf):
        with pytest.raises(ValueError, match="must be finite"):
            number(value)


def test_a_sheet_knows_where_its_texts_are():
    sheet = Sheet(STYLE, 100.0)
    box = sheet.text(10.0, 50.0, "left tank", Letters("#000000"))
    assert not sheet.free(box)
    assert sheet.free(Letters("#000000").box(10.0, 90.0, "left tank"))
    assert sheet.text(600.0, 50.0, "a name that is far too long for its place", Letters("#000000")).right <= 640.0


# --- charts ---------------------------------------------------------------------------------------------------------

T = np.linspace(0.0, 120.0, 40)
MARKS = (
    Span(low=100.0, high=120.0, name="finish"),
    Band(x=T, low=4e5 - 2e3 * T, high=5e5 - 2e3 * T, name="spread", tone=0),
    Line(x=T, y=4.5e5 - 2e3 * T, name="left tank"),
    Line(x=T, y=np.where(T > 60.0, np.nan, 3e5), name="right tank", step=True),
    Points(x=[10.0, 20.0], y=[3e5, 2e5], x_error=[2.0, 2.0], y_error=[[1e4, 1e4], [2e4, 3e4]], name="measured"),
    Limit(at=2.5e5, name="tray needs this"),
    Limit(at=20.0, side="x", name="driven period", tone="ink"),
    Spot(x=60.0, y=3.3e5, name="now", shape="ring"),
)
WHOLE = Chart(title="Air", alt="Air.", x=Axis("Time", "time"), y=Axis("Pressure", "pressure", zero=True), marks=MARKS)


@pytest.mark.parametrize("wide", [340.0, 519.0, 520.0, 900.0])
@pytest.mark.parametrize("theme", [PRINT, LIGHT, DARK], ids=lambda theme: theme.name)
def test_a_chart_of_everything_is_sound(theme, wide):
    style = Style(theme, "inch", wide)
    root = sound(chart(WHOLE, style), style)
    words = [text.text for text in root.iter(f"{SVG}text")]
    for name in ("left tank", "right tank", "measured", "tray needs this", "driven period", "now", "finish"):
        assert name in words
    assert "Pressure [psi]" in words


def test_names_stand_beside_lines_where_there_is_room_and_in_a_legend_where_not():
    lines = [m for m in MARKS if isinstance(m, Line)]
    what = Chart(title="Air", alt="Air.", x=WHOLE.x, y=WHOLE.y, marks=lines)
    places = {}
    for wide in (360.0, 800.0):
        root = sound(chart(what, Style(LIGHT, "metric", wide)), Style(LIGHT, "metric", wide))
        found = {t.text: float(t.get("x") or 0.0) for t in root.iter(f"{SVG}text")}
        places[wide] = found["left tank"]
    assert places[360.0] < 100.0
    assert places[800.0] > 650.0


@given(values=st.lists(st.floats(-1e6, 1e6) | st.just(math.nan) | st.just(math.inf), min_size=1, max_size=8))
@example(values=[2.2e-313])
@example(values=[1e-10, 3e-10])
def test_any_numbers_are_drawn(values):
    at = list(range(len(values)))
    marks = [
        Line(x=at, y=values, name="line"),
        Points(x=at, y=values),
        Bars(at=at, value=values, labels=["a"] * len(at)),
    ]
    what = Chart(title="Any", alt="Any.", x=Axis("n"), y=Axis("m", "length"), marks=marks)
    sound(chart(what, STYLE), STYLE)


def test_lying_bars_end_where_their_numbers_say():
    bars = Bars(at=[0, 1], value=[10.0, 20.0], lying=True)
    axis = Axis("Force", "force", low=0.0, high=40.0)
    what = Chart(title="Bars", alt="Bars.", x=axis, y=Axis("", names=("one", "two")), marks=[bars])
    root = sound(chart(what, STYLE), STYLE)
    rects = [r for r in root.iter(f"{SVG}rect") if r.get("fill") == LIGHT.series[0]]
    wide = [float(r.get("width") or 0.0) for r in rects]
    assert wide[1] / wide[0] == pytest.approx(2.0, rel=1e-3)
    assert float(rects[0].get("y") or 0.0) < float(rects[1].get("y") or 0.0)  # the first name on top


def test_panels_are_in_line_and_keep_their_columns_apart():
    one = Chart(title="One", alt="", x=Axis("t", "time"), y=Axis("p"), marks=[Line(x=[0, 1], y=[0.0, 1.0], name="a")])
    two = Chart(
        title="Two", alt="", x=Axis("t", "time"), y=Axis("p"), marks=[Line(x=[0, 1], y=[0.0, 123456.0], name="a")]
    )
    figure = panels("Both", "Both.", [one, two], STYLE)
    root = sound(figure, STYLE)
    assert list(figure.columns) == ["t [s]", "a", "Two: a"]
    starts = {p.get("d", "").split("L")[0].split()[0] for p in root.iter(f"{SVG}path") if p.get("stroke") == LIGHT.edge}
    assert len(starts) == 1


def test_the_table_holds_numbers_in_the_persons_unit_and_no_formulas():
    figure = Figure("t", "a.", "", {"=1+1": ["@x", "plain"], "Length [mm]": [1.0, math.nan, 0.1234567, 12345.0]})
    rows = list(csv.reader(io.StringIO(figure.csv())))
    assert rows == [
        ["'=1+1", "Length [mm]"],
        ["'@x", "1"],
        ["plain", ""],
        ["", "0.1235"],
        ["", "12345"],
    ]  # four digits; whole numbers whole
    assert chart(WHOLE, Style(LIGHT, "metric")).columns["left tank [kPa]"][0] == pytest.approx(450.0)
