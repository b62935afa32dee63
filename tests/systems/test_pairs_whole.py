"""Findings that speak of one quantity agree on plausible whole robots of any shape, each read from a file of its own.

Reference: each other, counting, Newton's second law, Boyle's law and probability. Each file is judged together with
wide variations of all its numbers, so that a few dozen files are a few hundred robots.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from anyrobot import findings_of, loaded_of, over, said
from fieldworthy.engine.finding import Outcome
from robots import GRAVITY

BOTH: Counter[str] = Counter()
"""How many robots stood on either side of each pair's verdict."""


def same_sign(what: str, one: np.ndarray, other: np.ndarray) -> None:
    """Two margins have one sign, but for rounding; count both signs."""
    one, other = np.broadcast_arrays(one, other)
    clear = (np.abs(one) > 1e-9) & (np.abs(other) > 1e-9)
    assert np.array_equal(one[clear] > 0.0, other[clear] > 0.0), what
    BOTH[f"{what} holds"] += int((one > 0.0).sum())
    BOTH[f"{what} does not"] += int((one <= 0.0).sum())


def held_together(every: dict[str, list[Outcome]], count: int) -> None:
    """Hold every pair of one file to what both speak of."""
    found = {identifier: outcomes[0] for identifier, outcomes in every.items()}
    _stands(found, every, count)
    _turns(found)
    _passes(found)
    _throws(found)
    _grips(found)


def _stands(found: dict[str, Outcome], every: dict[str, list[Outcome]], count: int) -> None:
    limits = np.stack([np.broadcast_to(over(pose), (count + 1,)) for pose in every["balance.limit"]])
    assert np.tan(over(found["balance.tilt"])) == pytest.approx(limits.min(axis=0) / GRAVITY, rel=1e-6)
    nearest = np.minimum.reduce([over(found[f"balance.tip.{s}"]) for s in ("forward", "back", "left", "right")])
    assert np.all(limits.min(axis=0) <= nearest * (1 + 1e-9))
    for side in ("forward", "back"):
        stop, braking = over(found[f"balance.stop.{side}"]), over(found[f"balance.over.{side}"])
        assert np.all(stop <= braking * (1 + 1e-9))
        lifts = over(found[f"balance.tip.{side}"], "margin") < 0.0
        goes = np.isfinite(braking) & (over(found[f"balance.over.{side}"], "margin") < 0.0)
        assert not np.any(goes & ~lifts), "it goes over only where wheels lift first"
        BOTH["wheels lift"] += int(lifts.sum())


def _turns(found: dict[str, Outcome]) -> None:
    by = found["grabber.force.hook"].because.words["by"]
    if by != "turning on the spot":
        return
    turns = np.isfinite(over(found["drive.turn"]))
    given = np.broadcast_to(said(found["grabber.force.hook"], "given"), turns.shape)
    assert np.array_equal(turns, given > 1e-9), "what turns by itself pushes too, and what does not pushes nothing"
    BOTH["it turns"] += int(turns.sum())
    BOTH["it does not turn"] += int((~turns).sum())


def _passes(found: dict[str, Outcome]) -> None:
    rate, hooks = over(found["intake.throughput.row"]), over(found["intake.hooks_rate.row.rear"])
    assert np.all(rate <= hooks * (1 + 1e-9)), "one hook carries one piece"
    speed, long = said(found["intake.speed.row.front"], "speed"), said(found["intake.throughput.row"], "length")
    assert rate == pytest.approx(np.minimum(hooks, speed / long), rel=1e-6)
    good = over(found["intake.throughput.row"], "margin") >= 0.0
    assert np.all(over(found["intake.hooks_rate.row.rear"], "margin")[good] >= 0.0)
    # a front stage that slips or stalls passes nothing
    stands = (over(found["intake.grip.row.front"], "margin") < -1e-9) | (
        over(found["intake.stall.row.front"], "margin") < -1e-9
    )
    assert np.all(rate[np.broadcast_to(stands, rate.shape)] <= 1e-9)
    BOTH["hooks limit"] += int((rate > hooks * (1 - 1e-9)).sum())
    BOTH["rollers limit"] += int((rate < hooks * (1 - 1e-9)).sum())


def _throws(found: dict[str, Outcome]) -> None:
    eject, error = found["sort.eject.sorter"], found["sort.error.sorter"]
    in_time = said(eject, "in_time")
    assert np.array_equal(in_time, said(error, "in_time"))
    same_sign("ejector", over(eject, "margin"), in_time - said(eject, "most"))
    share = 0.5  # of two classes that say nothing of it
    kept = np.broadcast_to(said(error, "kept"), in_time.shape)
    # what the ejector misses stays, and no sorter mends that
    assert np.all(kept >= share * (1.0 - in_time) - 1e-9)
    assert over(error) == pytest.approx(kept + said(error, "thrown"), rel=1e-9)


def _grips(found: dict[str, Outcome]) -> None:
    low = said(found["clamp.hold.jaw"], "low")
    same_sign("clamp", over(found["clamp.hold.jaw"], "margin"), low - over(found["clamp.slip.jaw"]))
    pressure = found["air.pressure.jaw"]
    needs = over(pressure, "limit")
    assert np.maximum(needs, 0.0) == pytest.approx(np.maximum(over(found["clamp.slip.jaw"]), 0.0), rel=1e-9, abs=1e-6)
    same_sign("clamp's pressure", over(pressure, "margin"), over(found["clamp.hold.jaw"], "margin"))
    if "air.pressure.hook" in found and "grabber.slip.hook" in found:
        hook = found["air.pressure.hook"]
        same_sign("hook's pressure", over(hook, "margin"), over(found["grabber.hold.hook"], "margin"))


def judged(folder: Path, seeds: range, count: int) -> None:
    """Judge a number of files, each with so many variations."""
    BOTH.clear()
    for seed in seeds:
        held_together(findings_of(loaded_of(folder, seed), count), count)


def test_pairs_agree_on_a_few_whole_robots(tmp_path):
    judged(tmp_path, range(2), 10)
    assert sum(BOTH.values()) > 20


@pytest.mark.long
def test_pairs_agree_on_hundreds_of_whole_robots(tmp_path):
    judged(tmp_path, range(100, 128), 11)
    assert len(BOTH) >= 12
    assert min(BOTH.values()) > 5, BOTH
