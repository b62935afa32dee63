"""Findings that speak of one quantity agree on plausible whole robots of any shape, each read from a file of its own.

Reference: each other, counting, Newton's second law, Boyle's law and probability. Each file is judged together with
wide variations of all its numbers, so that a few dozen files are a few hundred robots.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from anyrobot import drawn, findings_of, loaded_of, never_worse, over, said
from fieldworthy.engine.finding import Outcome
from fieldworthy.robot import load_robot
from fieldworthy.vehicle.supply import BREAKAWAY
from robots import GRAVITY, WHEEL, example_copy

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
    if by != "Turning on the spot":
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
        # a hook that holds by itself still needs what starts its piston
        holds = np.minimum(over(found["grabber.hold.hook"], "margin"), over(hook) - BREAKAWAY)
        same_sign("hook's pressure", over(hook, "margin"), holds)


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


def times(text: str, by: float) -> str:
    """A length or mass of a file, so many times as large."""
    number, unit = text.split()
    return f"{float(number) * by:.4f} {unit}"


def longer(robot: dict[str, Any], by: float) -> dict[str, Any]:
    """Wheels so much farther forward and back, and rollers with them."""
    wheels, rollers = robot["drive"]["wheels"], robot["rollers"]
    base = float(next(iter(wheels.values()))["position"][0].split()[0]) * (by - 1.0)

    def out(place: dict[str, Any]) -> dict[str, Any]:
        x, y = place["position"]
        at = float(x.split()[0])
        return {"position": [f"{at + np.sign(at) * base:.4f} mm", y]}

    return {
        "drive": {"wheels": {n: out(w) for n, w in wheels.items()}},
        "rollers": {n: out(r) for n, r in rollers.items()},
    }


def noisier(classes: dict[str, Any], noise: float) -> dict[str, Any]:
    """Hues read with more independent noise [degrees]."""
    return {n: {"spread": f"{np.hypot(float(c['spread'].split()[0]), noise):.6f} deg"} for n, c in classes.items()}


def lighter(robot: dict[str, Any], by: float) -> dict[str, Any]:
    """All masses so many times as large, so that the centre of gravity stays where it is."""
    kinds = {"motors": ("test motor", "155 g"), "wheels": (WHEEL, "60 g"), "batteries": ("test battery", "350 g"),
             "tanks": ("test tank", "110 g"), "cylinders": ("test cylinder", "60 g"),
             "valves": ("test valve", "32 g")}  # fmt: skip
    catalogue = {kind: {name: {"mass": times(mass, by)}} for kind, (name, mass) in kinds.items()}
    return {"parts": {"box": {"mass": times(robot["parts"]["box"]["mass"], by)}}, "catalogue": catalogue}


STANDS = ("balance.over", "balance.stop")
AIR = ("air.pressure", "clamp.hold", "grabber.hold")


def helps(robot: dict[str, Any]) -> dict[str, tuple[dict[str, Any], tuple[str, ...]]]:
    """What is changed in a robot, and the findings that it may not make worse."""
    sorter, supply = robot["mechanisms"]["sorter"], robot["air"]["supply"]
    rollers = {n: {"position": [times(r["position"][0], 1.1), r["position"][1]]} for n, r in robot["rollers"].items()}
    calm = {"ejector": {"scatter": times(sorter["ejector"]["scatter"], 0.8)}}
    return {
        "rollers farther out": ({"rollers": rollers}, STANDS),
        "longer wheelbase": (longer(robot, 1.15), (*STANDS, "balance.tip.forward", "balance.tip.back", "balance.tilt")),
        "lower mass": (
            lighter(robot, 0.9),
            ("drive.sprint", "drive.turn", "drive.heat", "drive.derating", "drive.battery", "limits.mass"),
        ),
        "more pressure": ({"air": {"supply": {"charge": times(supply["charge"], 1.1)}}}, AIR),
        "less scatter": ({"mechanisms": {"sorter": calm}}, ("sort.eject",)),
    }


def turned_right(folder: Path, seeds: range, count: int) -> Counter[str]:
    """Make each change in each file and hold it to what it may not worsen; how many robots each helped."""
    helped: Counter[str] = Counter()
    for seed in seeds:
        robot, _ = drawn(seed)
        before = findings_of(loaded_of(folder, seed), count)
        for what, (change, ids) in helps(robot).items():
            if robot["rollers"] or what != "rollers farther out":
                after = findings_of(loaded_of(folder, seed, change), count)
                # rollers that close on a longer wheelbase, and wheels that are not in line, may move a margin back
                helped[what] += never_worse(before, after, *ids, turns=what == "longer wheelbase")
        noisy = {"mechanisms": {"sorter": {"classes": noisier(robot["mechanisms"]["sorter"]["classes"], 15.0)}}}
        helped["less noise"] += never_worse(findings_of(loaded_of(folder, seed, noisy), count), before, "sort.error")
    return helped


def test_what_helps_never_worsens_one_whole_robot(tmp_path):
    assert sum(turned_right(tmp_path, range(2, 3), 10).values()) > 20


@pytest.mark.long
def test_what_helps_never_worsens_a_hundred_whole_robots(tmp_path):
    helped = turned_right(tmp_path, range(200, 210), 9)
    assert len(helped) == 6
    assert min(helped.values()) > 10, helped


def test_more_pressure_never_worsens_heron(tmp_path):
    before = findings_of(load_robot(example_copy(tmp_path)), 20)
    more = findings_of(load_robot(example_copy(tmp_path, ("charge: {value: 6.9 bar,", "charge: {value: 7.6 bar,"))), 20)
    assert never_worse(before, more, *AIR, "climb.lift", "lift.force", "lift.time", "air.time", "sort.eject") > 100
