"""Plausible whole robots drawn at random, as files: chassis, rollers, hook, intake with hooks, sorter, clamp, air."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from fieldworthy.engine.evaluate import Cases, run
from fieldworthy.engine.finding import Outcome
from fieldworthy.files import Quantity
from fieldworthy.robot import Loaded
from robots import WHEEL, changed, load

WIDER = 4.0


class Wide(Cases):
    """Samples that lie wider than the tolerances, with measured numbers as uncertain as guesses."""

    def draw(self, path: Any, quantity: Quantity) -> Any:
        """Draw one quantity, the same for the same key whatever else the file says."""
        own = quantity.tolerance
        # never so wide that a mass or a bore could come out below nothing
        wide = max(own, min(WIDER * own, 0.35 * abs(quantity.si))) if own > 0 else 0.0
        return super().draw(path, replace(quantity, tolerance=wide))

    def __hash__(self) -> int:
        return hash(("wide", super().__hash__()))


def findings_of(loaded: Loaded, count: int, seed: int = 7) -> dict[str, list[Outcome]]:
    """Every finding over a robot and a number of wide variations of it, by its id."""
    found: dict[str, list[Outcome]] = {}
    for outcome in run(loaded, Wide(seed, 1, count, [])):
        found.setdefault(outcome.id, []).append(outcome)
    return found


def over(outcome: Outcome, what: str = "value") -> np.ndarray:
    """A number of a finding in every case."""
    number = outcome.margin() if what == "margin" else getattr(outcome, what)
    return np.asarray(number, dtype=float)


def said(outcome: Outcome, name: str) -> np.ndarray:
    """A number of a finding's sentence in every case."""
    return np.asarray(outcome.because.numbers[name][0], dtype=float)


def _mm(metres: float) -> str:
    return f"{1000 * metres:.2f} mm"


def drawn(seed: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """Changes of the small robot and its season that make a robot of any plausible shape."""
    draw = random.Random(seed)
    uniform, choice = draw.uniform, draw.choice
    long, wide = uniform(0.09, 0.2), uniform(0.1, 0.19)
    wheels = {
        f"{side} {end}": {"position": [_mm(x * long), _mm(y * wide)], "wheel": WHEEL}
        for side, y in (("left", 1), ("right", -1)) for end, x in (("front", 1), ("rear", -1))
    }  # fmt: skip
    tall = uniform(0.08, 0.34)
    box = {
        "mass": f"{uniform(3, 9):.3f} kg",
        "position": [_mm(uniform(-0.5, 0.5) * long), _mm(uniform(-0.3, 0.3) * wide), _mm(tall)],
        "size": [_mm(2.2 * long), _mm(2 * wide), _mm(1.6 * tall)],
    }
    rollers = {
        f"{end} {y:+d}": {"position": [_mm(x * (long + uniform(0.03, 0.12))), _mm(y * wide)],
                          "clearance": _mm(uniform(0.003, 0.012))}
        for end, x in draw.sample((("front", 1), ("rear", -1)), draw.randrange(3)) for y in (1, -1)
    }  # fmt: skip
    robot = {
        "drive": {
            "motors": choice((2, 4, 6)),
            "stages": [{"driver": choice((24, 48, 60)), "driven": choice((24, 48, 60, 84)), "efficiency": 0.9}],
            "wheels": wheels,
            "targets": {"turn_time": "0.7 s", "sprint_distance": "2 m", "sprint_time": "2 s", "push_force": "30 N"},
        },
        "parts": {"box": box},
        "rollers": rollers,
        "catalogue": {"wheels": {WHEEL: {"grip": uniform(0.4, 1.1), "side_grip": uniform(0.1, 1.0)}}},
        "air": _air(draw),
        "mechanisms": {"hook": _hook(draw, long), "row": _row(draw), "sorter": _sorter(draw), "jaw": _jaw(draw)},
    }
    uses = {"jaw": draw.randrange(1, 4), "hook": draw.randrange(1, 3)}
    robot["actions"] = {"grip": {"time": "2 s", "strokes": uses}}
    robot["plan"] = {
        "start": "a",
        "driven": [{"times": draw.randrange(1, 5), "repeat": [{"action": "grip", "at": "b"}]}],
    }
    return robot, {"objects": _objects(draw)}


def _air(draw: random.Random) -> dict[str, Any]:
    each = {"cylinder": "test cylinder", "tank": "one", "valve": "test valve"}
    return {
        "supply": {"charge": f"{draw.uniform(250, 800):.1f} kPa"},
        "tanks": {"one": {"tank": "test tank", "count": draw.choice((1, 2))}},
        "cylinders": {
            "jaw": {**each, "count": draw.choice((1, 2)), "mechanism": "jaw"},
            "hook": {**each, "mechanism": "hook"},
        },
    }


def _hook(draw: random.Random, long: float) -> dict[str, Any]:
    height = draw.uniform(0.09, 0.19)
    return {
        "kind": "grabber", "object": "post", "does": draw.choice(("tip", "pull")),
        "by": draw.choice(("turning", "turning", "drive", "arm")), "pose": "driving",
        "pivot": [_mm(long), _mm(height + 0.05)], "length": _mm(draw.uniform(0.1, 0.2)), "lowest": "-20 deg",
        "lip": {"height": _mm(height), "depth": "30 mm", "near": _mm(draw.uniform(0.03, 0.06))},
        "arm": {"cylinder": "hook", "lever": "30 mm", "lowers": draw.choice(("out", "back"))},
    }  # fmt: skip


def _row(draw: random.Random) -> dict[str, Any]:
    soft = {"diameter": "60 mm", "squeeze": "5 mm", "press": f"{draw.uniform(3, 9):.2f} N",
            "friction": draw.uniform(0.4, 1.1)}  # fmt: skip
    chain = {"size": "04C", "teeth": [draw.choice((10, 12, 16)), 12], "centre": "300 mm"}
    hooks = {"chain": chain, "links_between": draw.randrange(14, 40, 2), "height": "30 mm", "thickness": "8 mm",
             "shaft_height": "500 mm"}  # fmt: skip
    geared = {"driver": draw.choice((12, 24, 48)), "driven": draw.choice((24, 60, 84))}
    stages = {
        "front": {"motor": "test motor", "rollers": soft, "to_next": "80 mm", "gearing": [geared]},
        "rear": {"motor": "test motor", "hooks": hooks, "gearing": [{"driver": 12, "driven": draw.choice((12, 24))}]},
    }
    return {"kind": "intake", "object": "ball", "throughput": f"{draw.uniform(1, 6):.2f} Hz", "stages": stages}


def _sorter(draw: random.Random) -> dict[str, Any]:
    return {
        "kind": "sorter", "intake": "row", "stage": "front", "unwanted": "blue", "readings": draw.choice((1, 3, 5)),
        "sensor": {"period": f"{draw.uniform(4, 12):.2f} ms", "latency": "8 ms"},
        "classes": {"red": {"hue": "20 deg", "spread": f"{draw.uniform(5, 30):.2f} deg"},
                    "blue": {"hue": "110 deg", "spread": f"{draw.uniform(5, 30):.2f} deg"}},
        "ejector": {"time": f"{draw.uniform(10, 60):.1f} ms", "distance": _mm(draw.uniform(0.08, 0.25)),
                    "scatter": f"{draw.uniform(2, 20):.1f} ms"},
        "allowed_error": "5 %",
    }  # fmt: skip


def _jaw(draw: random.Random) -> dict[str, Any]:
    return {
        "kind": "clamp", "object": "pot", "stop_gap": "160 mm", "throat": "30 mm", "jaw_reach": "40 mm",
        "jaw_width": "90 mm", "hook": "12 mm", "seat_height": "20 mm", "opening": "45 mm", "closed_gap": "8 mm",
        "cylinder": "jaw", "working": draw.choice(("out", "back")), "lever": draw.uniform(0.3, 1.2),
        "face": f"{draw.uniform(0, 70):.1f} deg", "friction": draw.uniform(0.2, 0.6),
        "rival": {"mass": f"{draw.uniform(3, 9):.2f} kg", "grip": 0.8},
    }  # fmt: skip


def _objects(draw: random.Random) -> dict[str, Any]:
    rim = {"height": "40 mm", "thickness": "15 mm", "overhang": "60 mm"}
    return {
        "post": {"mass": f"{draw.uniform(0.4, 2.5):.3f} kg", "size": ["120 mm", "160 mm", "200 mm"],
                 "friction": draw.uniform(0.3, 1.0)},
        "pot": {"mass": "1 kg", "size": ["300 mm", "200 mm", "120 mm"], "rim": rim},
        "ball": {"mass": "100 g", "size": ["90 mm", "90 mm", "90 mm"], "shape": draw.choice(("box", "ball"))},
    }  # fmt: skip


def loaded_of(folder: Path, seed: int, *more: dict[str, Any]) -> Loaded:
    """Write such a robot, with more changes, and read it."""
    robot, season = drawn(seed)
    for each in more:
        robot = changed(robot, each)
    return load(folder, robot, season)


SLACK = 1e-3
"""Share of a margin: a lighter robot's scrub stops its spinning rotors a little later, for example."""


def never_worse(
    before: dict[str, list[Outcome]], after: dict[str, list[Outcome]], *ids: str, turns: bool = False
) -> int:
    """Hold findings to be nowhere worse after a change that helps; how many robots it helped.

    Margins may not fall or, where only `turns` counts, no verdict may turn.
    """
    helped = 0
    for identifier in (i for i in before if any(i.startswith(each) for each in ids)):
        for one, two in zip(before[identifier], after[identifier], strict=True):
            if one.missing or one.limit is None:
                continue
            was, now = np.broadcast_arrays(over(one, "margin"), over(two, "margin"))
            fell = (now < was - SLACK * np.maximum(np.abs(was), 0.1)) & (was < 10.0)
            worse = (was >= 0.0) & (now < 0.0) if turns else fell
            assert not worse.any(), (identifier, was[worse], now[worse])
            helped += int((now > was + 1e-9).sum())
    return helped
