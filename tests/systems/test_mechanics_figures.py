"""Every drawing of a body or a mechanism: well formed, inside its frame, whatever things are called, and repeatable."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drawing.test_in_browser import FAULTS
from drawn import STYLES, sound
from fieldworthy.drawing import DARK, LIGHT, PRINT, Style
from fieldworthy.systems.climb.figure import hanging_curves
from fieldworthy.systems.lift.figure import lift_curves
from fieldworthy.vehicle.drawing import robot
from fieldworthy.vehicle.views import body_curves
from mechanics import both, mechanics, named
from robots import GONE, example, load, nominal

LABELS = [label for label, _, _ in both()]
WIDTHS = (340.0, 559.0, 560.0, 700.0, 900.0)
HOSTILE = st.one_of(
    st.text(max_size=30),
    st.sampled_from(
        ["<script>alert(1)</script>", "a & b", "\"><g onload='x'>", "]]>", "\x00\x1b\ufffe", "זרוע הרמה", "W" * 90, ""]
    ),
)  # fmt: skip


@pytest.mark.parametrize("number", range(len(LABELS)), ids=LABELS)
def test_every_drawing_is_sound_in_every_theme_and_width(number):
    _, draw, data = both()[number]
    for style in [*STYLES, *(Style(PRINT, "inch", wide) for wide in WIDTHS)]:
        root = sound(draw(data, style), style)
        sizes = [float(text.get("font-size") or 0.0) for text in root.iter("{http://www.w3.org/2000/svg}text")]
        assert min(sizes) >= 11.0


@pytest.mark.parametrize("name", ["mk1", "mk2", "otter"])
def test_the_same_robot_is_drawn_in_the_same_bytes(name):
    one, other = (list(mechanics(example(name))) for _ in range(2))
    assert one
    for (label, draw, data), (_, _, again) in zip(one, other, strict=True):
        assert draw(data, STYLES[0]) == draw(again, STYLES[0]), label


@pytest.mark.long
@pytest.mark.parametrize("number", range(len(LABELS)), ids=LABELS)
@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(text=HOSTILE)
def test_any_name_is_drawn_as_text(number, text):
    _, draw, data = both()[number]
    style = Style(DARK, "metric", 360.0)
    figure = draw(named(data, text), style)
    # what XML cannot hold is replaced in the drawing, so the words beside it are not compared
    sound(dataclasses.replace(figure, title=_read(figure.title), alt=_read(figure.alt)), style)


def _read(text: str) -> str:
    import re

    kept = re.sub(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\ufffd", text)
    return kept.replace("\r\n", "\n").replace("\r", "\n")


def test_colours_alone_change_with_the_theme():
    assert both()
    for label, draw, data in both():
        one, other = (draw(data, Style(theme, "metric", 640.0)) for theme in (LIGHT, DARK))
        assert (one.columns, one.alt) == (other.columns, other.alt), label
        assert one.svg.count("<") == other.svg.count("<"), label


# --- what a robot lacks ---------------------------------------------------------------------------------------------


def test_a_plain_robot_has_no_figure_of_mechanisms(tmp_path):
    subject = nominal(load(tmp_path))
    assert hanging_curves(subject) == {}
    assert lift_curves(subject) == {}


def test_a_robot_without_parts_has_no_body(tmp_path):
    subject = nominal(load(tmp_path, {"parts": GONE}))
    assert body_curves(subject, "driving") is None


def test_one_part_past_its_wheels_is_drawn_as_falling_over(tmp_path):
    part = {"mass": "5 kg", "position": ["0.4 m", "0 m", "0.2 m"], "size": ["0.1 m", "0.1 m", "0.1 m"]}
    found = body_curves(nominal(load(tmp_path, {"parts": {"box": part}})), "driving")
    assert found is not None
    assert found.limits[0].reach < 0.0
    figure = robot(found, STYLES[1])
    assert "forward: falls over" in figure.svg
    sound(figure, STYLES[1])


def test_a_share_outside_the_stroke_is_refused():
    for share in (-0.01, 1.01, float("nan")):
        with pytest.raises(ValueError, match="share of the stroke"):
            lift_curves(nominal(example()), share)


# --- as a browser sets it -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("style", [Style(LIGHT, "metric", 340.0), Style(DARK, "inch", 800.0)], ids=["phone", "wide"])
def test_no_text_leaves_the_drawing_or_meets_another(browser, style):
    faults = []
    context = browser.new_context(viewport={"width": 1000, "height": 900})
    page = context.new_page()
    for label, draw, data in both():
        page.set_content(f"<body style='margin:0'>{draw(data, style).svg}")
        faults += [f"{label}: {fault}" for fault in page.evaluate(FAULTS)]
    context.close()
    assert faults == []
