"""Every figure of both examples: well formed, inside its frame, told in words and numbers, and the same each time."""

from __future__ import annotations

import csv
import dataclasses
import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drawn import NAMES, STYLES, everything, figures, figures_of_both, items, renamed, sound
from fieldworthy.drawing import LIGHT, Style

WHOSE = [*NAMES, "both"]


@pytest.mark.parametrize("whose", WHOSE)
def test_every_figure_is_sound_in_every_style(whose, subtests):
    assert len(items(whose)) > 10
    for label, draw, data in items(whose):
        with subtests.test(label):
            for style in STYLES:
                figure = draw(data, style)
                assert figure is not None
                sound(figure, style)


@pytest.mark.parametrize("name", NAMES)
def test_the_same_robot_gives_the_same_bytes(name):
    pairs = list(zip(figures(name), figures(name), strict=True))
    assert len(pairs) > 10
    for (_, draw, one), (_, again, other) in pairs:
        assert draw(one, STYLES[0]) == again(other, STYLES[0])


def test_themes_differ_in_colours_alone():
    assert everything()
    for label, draw, data in everything():
        one, other = (draw(data, dataclasses.replace(STYLES[0], theme=s.theme)) for s in (STYLES[0], STYLES[2]))
        assert one is not None
        assert other is not None
        assert one.columns == other.columns, label
        assert one.alt == other.alt, label
        assert one.svg != other.svg, label


@pytest.mark.parametrize("whose", WHOSE)
def test_the_numbers_behind_a_figure_are_a_table_with_a_line_of_headings(whose, subtests):
    assert len(items(whose)) > 10
    for label, draw, data in items(whose):
        with subtests.test(label):
            figure = draw(data, STYLES[0])
            assert figure is not None
            rows = list(csv.reader(io.StringIO(figure.csv())))
            assert len({len(row) for row in rows}) == 1
            assert len(rows) > 1 or "moment" in label or "hold at" in label  # before the first object there is none
            assert len(set(rows[0])) == len(rows[0])


HOSTILE = st.one_of(
    st.text(max_size=40),
    st.sampled_from(
        ["<script>alert(1)</script>", "a & b", '"><svg onload="x">', "]]>", "\x00\x1b\ufffe", "é" * 60, ""]
    ),
)


@pytest.mark.long
@pytest.mark.parametrize("whose", WHOSE)
@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(text=HOSTILE)
def test_any_name_is_drawn_as_text(whose, text):
    style = Style(LIGHT, "metric", 340.0)
    assert len(items(whose)) > 10
    for label, draw, data in items(whose):
        figure = draw(renamed(data, text), style)
        assert figure is not None, label
        root = sound(dataclasses.replace(figure, title=_held(figure.title), alt=_held(figure.alt)), style)
        assert root is not None, label


def _held(text: str) -> str:
    """What is left of a text that XML can hold, as a reader of the figure gets it."""
    import re

    kept = re.sub(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\ufffd", text)
    return kept.replace("\r\n", "\n").replace("\r", "\n")


def test_what_is_drawn_of_both_is_complete():
    assert {label for label, _, _ in figures_of_both()} >= {"differences", "criteria", "flip", "sensitivity"}
