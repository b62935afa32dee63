"""Names of numbers in words: nouns of their own, as the grammar of a sentence needs them."""

from __future__ import annotations

import pytest

from fieldworthy.files.document import KeyPath
from fieldworthy.robot.words import phrase
from robots import example

SAID: dict[tuple[str, KeyPath], str] = {
    ("mk1", ("mechanisms", "tray", "target", "point", 1)): "height of the target point of 'tray'",
    ("mk1", ("mechanisms", "hooks", "rest", "position", 0)): "forward position of the rest of 'hooks'",
    ("mk1", ("poses", "hooks up", "moves", "hooks", "shift", 2)): "upward shift of the moved group 'hooks' of pose "
    "'hooks up'",
    ("mk1", ("parts", "battery", "position", 1)): "sideways position of part 'battery'",
    ("mk1", ("parts", "battery", "size", 1)): "width of part 'battery'",
    ("mk2", ("mechanisms", "clamp", "prongs", 1)): "second of the prongs of 'clamp'",
    ("mk2", ("mechanisms", "clamp", "toggle", "past")): "way past dead centre of the toggle of 'clamp'",
    ("mk1", ("season", "limits", "stowed_size", 2)): "limit of the height at the start",
    ("mk1", ("season", "objects", "pod", "size", 1)): "width of object 'pod'",
}


@pytest.mark.parametrize(("where", "words"), SAID.items(), ids=[" ".join(map(str, path)) for _, path in SAID])
def test_a_number_is_called_by_a_noun(where, words):
    loaded = example(where[0])
    assert phrase(loaded.robot, loaded.season, where[1]) == words


@pytest.mark.parametrize("name", ["mk1", "mk2", "otter", "marten"])
def test_no_name_ends_in_a_direction(name):
    loaded = example(name)
    ends = {phrase(loaded.robot, loaded.season, path).rpartition(", ")[2] for path, _ in loaded.quantities}
    assert len(ends) > 50
    assert not ends & {"forward", "left", "up"}
