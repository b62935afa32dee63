"""The best layout of cylinders on tanks against a file edited for every layout."""

from __future__ import annotations

import re
from itertools import product

import pytest

from fieldworthy.engine.evaluate import evaluate
from robots import changed, check, example, fact, find

CYLINDERS = {
    "lift": {"cylinder": "test cylinder", "valve": "test valve", "push_load": "60 N"},
    "jaw": {"cylinder": "spring cylinder", "valve": "test valve", "push_load": "9 N"},
    "flap": {"cylinder": "spring cylinder", "valve": "test valve", "push_load": "2 N"},
}
TANKS = {"one": {"tank": "test tank"}, "two": {"tank": "test tank", "charge": "560 kPa", "leak_half_time": "20 min"}}
USES = {"lift": 5, "jaw": 8, "flap": 3}


def robot(on: dict[str, str], tanks: dict | None = None) -> dict:
    strokes = [{"action": name, "at": "a"} for name in CYLINDERS for _ in range(USES[name])]
    return {
        "air": {
            "supply": {"charge": "650 kPa"},
            "tanks": TANKS if tanks is None else tanks,
            "cylinders": {name: CYLINDERS[name] | {"tank": on[name]} for name in CYLINDERS},
        },
        "actions": {name: {"time": "1 s", "strokes": {name: 1}} for name in CYLINDERS},
        "plan": {"start": "a", "driven": strokes},
    }


def yours(named) -> float:
    """Worst margin of the file's own layout, as the sentence says it."""
    return float(
        re.search(r"(?:that of the present one|one; its worst margin is) ([-−]?[\d.]+?)\.(?: |$)", named.because)
        .group(1)
        .replace("−", "-")
    )


def worst(report) -> float:
    return min(find(report, f"air.pressure.{name}").margin for name in CYLINDERS)


def test_best_of_all_layouts_and_of_joined_tanks(tmp_path):
    margins = {}
    for choice in product(TANKS, repeat=3):
        margins[choice] = worst(check(tmp_path, robot(dict(zip(CYLINDERS, choice, strict=True)))))
    here = ("one", "one", "one")
    named = fact(check(tmp_path, robot(dict.fromkeys(CYLINDERS, "one"))), "air.layout")
    # joined: pressures level out by volume, so both start at the mean of 650 and 560 kPa; leaks add by volume
    joined = {"both": {"tank": "test tank", "count": 2, "charge": "605 kPa", "leak_half_time": "30 min"}}
    together = worst(check(tmp_path, robot(dict.fromkeys(CYLINDERS, "both"), joined)))
    assert named.value == pytest.approx(max(*margins.values(), together), rel=1e-9)
    assert yours(named) == pytest.approx(margins[here], rel=5e-3)  # the sentence shows three digits
    best = max(margins, key=margins.get)
    if margins[best] >= together:
        for name, tank in zip(CYLINDERS, best, strict=True):
            assert name in named.because.split(f"tank '{tank}' for ")[1].split(";")[0]
    else:
        assert "the joined tanks for" in named.because


def test_joined_tanks_win_where_one_user_takes_nearly_all(tmp_path):
    """Alone on one tank it starves while the other stays full: joining them is then the better layout."""
    greedy = changed(robot(dict.fromkeys(CYLINDERS, "one"), {n: {"tank": "test tank"} for n in TANKS}), {
        "plan": {"driven": [{"repeat": [{"action": "lift", "at": "a"}], "times": 9}, {"action": "flap", "at": "a"}]},
    })  # fmt: skip
    named = fact(check(tmp_path, greedy), "air.layout")
    assert "the joined tanks for 'lift', 'flap'" in named.because
    both = {"both": {"tank": "test tank", "count": 2}}
    edited = robot(dict.fromkeys(CYLINDERS, "both"), both)
    edited["plan"] = greedy["plan"]
    report = check(tmp_path, edited)
    assert named.value == pytest.approx(
        min(find(report, f"air.pressure.{n}").margin for n in ("lift", "flap")), rel=1e-9
    )


def test_a_layout_that_is_best_already_is_called_so(tmp_path):
    margins = {}
    for choice in product(TANKS, repeat=3):
        margins[choice] = worst(check(tmp_path, robot(dict(zip(CYLINDERS, choice, strict=True)))))
    best = max(margins, key=margins.get)
    named = fact(check(tmp_path, robot(dict(zip(CYLINDERS, best, strict=True)))), "air.layout")
    assert named.value >= margins[best] * (1 - 1e-12)
    assert ("is the best one" in named.because) == (named.value <= margins[best] + 1e-9)


def test_a_cylinder_whose_need_is_unknown_still_takes_its_air(tmp_path):
    known = robot(dict.fromkeys(CYLINDERS, "one"))
    hungry = changed(known, {"air": {"cylinders": {"jaw": {"push_load": "0 N"}}}})
    one_tank = {n: {"tank": "test tank"} for n in ("one", "two")}
    report = check(tmp_path, changed(hungry, {"air": {"tanks": one_tank}}))
    assert find(report, "air.pressure", "cylinder jaw").verdict == "unknown"
    own = min(find(report, f"air.pressure.{n}").margin for n in ("lift", "flap"))
    told = fact(report, "air.layout")
    assert "What jaw needs is not known: its air is counted, but it is never the worst." in told.because
    assert yours(told) == pytest.approx(own, rel=5e-3)


def test_too_many_layouts_are_not_tried(tmp_path):
    many = {f"c{i}": CYLINDERS["flap"] | {"tank": "one"} for i in range(17)}
    made = changed(robot(dict.fromkeys(CYLINDERS, "one")), {
        "air": {"cylinders": many},
        "actions": {"all": {"time": "1 s", "strokes": dict.fromkeys(many, 1)}},
        "plan": {"driven": [{"action": "all", "at": "a"}]},
    })  # fmt: skip
    report = check(tmp_path, made)
    assert not [f for f in report.facts if f.id == "air.layout"]
    assert find(report, "air.pressure.c3").verdict == "holds"


def test_mk1_could_lay_out_its_air_better():
    named = fact(evaluate(example(), samples=0), "air.layout")
    own = min(f.margin for f in evaluate(example(), samples=0).findings if f.id.startswith("air.pressure."))
    assert named.value > own + 0.1
