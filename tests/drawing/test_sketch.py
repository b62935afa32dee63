"""Pictures of what lengths mean: each names what a declaration has, and can be read on a phone."""

from __future__ import annotations

import dataclasses
import re
from typing import Any, get_args

import pytest

from fieldworthy.drawing.sketch import WIDE, Sketch, sketch
from fieldworthy.drawing.style import DARK, LIGHT, Style
from fieldworthy.engine.system import sketches
from fieldworthy.files import Of
from fieldworthy.files.declare import hints, mark_of
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season

_PHONE = 390.0  # px, the width that every view is held to
_SMALLEST = 11.0  # px; common practice, no source: what is read on a phone without nearing it
_OF_WHOLE = {"Robot", "Season", "Repeat", "Step"}
_WITHOUT = {"TypicalMove"}  # a distance across the field, which a picture would not make clearer


def _declarations(note: Any, found: set[type]) -> set[type]:
    """Everything that a file may hold below a declaration."""
    if dataclasses.is_dataclass(note) and isinstance(note, type):
        if note in found:
            return found
        found.add(note)
        for inner in hints(note).values():
            _declarations(inner, found)
    for inner in get_args(note):
        _declarations(inner, found)
    return found


def _is_length(note: Any) -> bool:
    mark = mark_of(note)
    return (isinstance(mark, Of) and mark.kind == "length") or (
        mark is None and any(_is_length(inner) for inner in get_args(note))
    )


def _needed_lengths(declared: type) -> set[str]:
    optional = {"assume", "default", "factory"}
    own = [f.name for f in dataclasses.fields(declared) if not optional & set(f.metadata)]
    plain = {name for name in own if _is_length(hints(declared)[name])}
    return {n for n in plain if not any(dataclasses.is_dataclass(i) for i in get_args(hints(declared)[n]))}


_ALL = sorted(_declarations(Robot, set()) | _declarations(Season, set()), key=lambda kind: kind.__name__)


def test_whatever_needs_a_length_says_in_a_picture_what_it_means() -> None:
    needy = [kind for kind in _ALL if _needed_lengths(kind) and kind.__name__ not in _OF_WHOLE | _WITHOUT]
    assert len(needy) > 15
    missing = {kind.__name__ for kind in needy if kind not in sketches()}
    assert not missing


def test_a_picture_shows_every_needed_length_and_names_nothing_else() -> None:
    assert len(sketches()) > 30
    for declared, picture in sketches().items():
        named = {span.key.partition("[")[0] for span in picture.spans}
        assert named <= {f.name for f in dataclasses.fields(declared)}, declared
        assert _needed_lengths(declared) <= named, declared


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda theme: theme.name)
def test_every_picture_can_be_read_on_a_phone(theme: Any) -> None:
    style = Style(theme, width=WIDE)
    cut, outside, small = [], [], []
    for declared, picture in sketches().items():
        drawn = sketch(picture, _told(declared, picture), style).svg
        high = float(re.search(r'viewBox="0 0 [\d.]+ ([\d.]+)"', drawn)[1])  # type: ignore[index]
        texts = re.findall(r'<text[^>]*x="([-\d.]+)" y="([-\d.]+)" font-size="([\d.]+)"[^>]*>([^<]*)<', drawn)
        assert texts, declared
        cut += [(declared, text) for *_, text in texts if "…" in text]
        outside += [(declared, text) for x, y, _, text in texts if not (0 <= float(x) <= WIDE and 8 < float(y) < high)]
        small += [(declared, text) for *_, size, text in texts if float(size) < _SMALLEST]
    assert WIDE <= _PHONE
    assert not cut
    assert not outside
    assert not small


def _told(declared: type, picture: Sketch) -> dict[str, tuple[str, str]]:
    labels = {f.name: str(f.metadata.get("label") or f.name.replace("_", " ")) for f in dataclasses.fields(declared)}
    return {s.key: (labels[s.key.partition("[")[0]], "12.5 in") for s in picture.spans}
