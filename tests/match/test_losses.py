"""What a failing mechanism costs an action that no practice counts: shares by hand, and practice before all of it."""

from __future__ import annotations

import numpy as np
import pytest

from fieldworthy.engine.evaluate import Cases
from fieldworthy.match import play_runs
from fieldworthy.match.ability import ability
from fieldworthy.match.forecast import drawn_setup
from fieldworthy.match.setup import with_ability, with_chance
from fieldworthy.match.state import DONE
from fieldworthy.robot import load_robot
from robots import example_copy

UNPRACTISED = ("    practice: {successes: 34, attempts: 40}\n", "")
LATE = ("ejector: {cylinder: gate, distance: 200 mm}", "ejector: {cylinder: gate, distance: 1 mm}")


def test_what_is_sorted_wrongly_is_lost_where_nobody_counted(tmp_path):
    """An ejector that is always late throws nothing: every unwanted piece stays, one in two where each is half."""
    loaded = load_robot(example_copy(tmp_path, UNPRACTISED, LATE))
    found = ability(loaded, Cases(0, 0, 100, []))
    assert found.can["take pods"][0] == pytest.approx(0.5, abs=1e-3)
    (loss,) = (one for one in found.losses if one.action == "take pods")
    assert loss.finding == "sort.error.sorter"
    assert loss.share == pytest.approx(0.5, abs=0.02)
    assert loss.sentence.startswith(
        "Heron mk1: 'take pods' was never practised, so the forecast takes what is computed: "
    )


def test_practice_goes_before_what_is_computed(tmp_path):
    found = ability(load_robot(example_copy(tmp_path, LATE)), Cases(0, 0, 100, []))
    assert "take pods" not in found.can
    assert [one for one in found.losses if one.action == "take pods"] == []


def test_a_share_of_the_tries_is_lost_in_the_match(tmp_path):
    """Tries that would work four times of five, of which three in ten are lost: 0.8 times 0.7, a product of chances."""
    loaded = load_robot(example_copy(tmp_path))
    match = drawn_setup(loaded, Cases(0, 0, 0, []))
    match = with_ability(with_chance(match, "take pods", 0.8), {"take pods": 0.7})
    played = play_runs(match, 4000)
    at = match.actions.index("take pods")
    ended = np.asarray(played.ended)[:, at].sum(axis=0)
    tries = ended.sum()
    assert tries > 4000
    assert ended[DONE] / tries == pytest.approx(0.56, abs=4.0 * (0.56 * 0.44 / tries) ** 0.5)
