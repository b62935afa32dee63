"""Whatever stands in a fault log: it is read and counted, or refused in words."""

from __future__ import annotations

import copy
import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edge import written
from fieldworthy.files import BadInput
from fieldworthy.measure.practice import load_faults, risks
from fieldworthy.robot import load_robot

FUZZ = settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
WHOLE = {
    "fieldworthy": "faults 1",
    "uses": {"score": 10, "clamp": 4},
    "failures": [
        {
            "what": "tube off",
            "where": "score",
            "date": "2026-11-07",
            "event": "practice",
            "match": "Q7",
            "lost": "20 s",
        },
        {"what": "tube off", "where": "clamp", "failed": False, "mended": True},
    ],
}
ODD = [
    "",
    " ",
    "nowhere",
    "score",
    "2026-02-30",
    "20261107",
    "2026-W45-6",
    "0 s",
    "-1 s",
    "1e9 s",
    "nan s",
    "5 kg",
    0,
    -1,
    1,
    10**9,
    10**20,
    1e300,
    0.5,
    True,
    None,
    [],
    {},
    ["a"],
    {"value": "2 s"},
    "🤖",
    "<b>",
    "\u202e",
    "a\nb",
    "x" * 500,
]
PLACES = [
    ("fieldworthy",),
    ("about",),
    ("uses",),
    ("uses", "score"),
    ("uses", "nowhere"),
    ("failures",),
    ("failures", 0),
    *[("failures", i, key) for i in (0, 1) for key in (*WHOLE["failures"][0], "failed", "mended", "other")],
]


def said(error):
    assert error.problems
    assert all(str(problem).isprintable() for problem in error.problems)


@pytest.fixture(scope="module")
def robot(tmp_path_factory):
    return load_robot(written(tmp_path_factory.mktemp("faults")))


@FUZZ
@given(changes=st.lists(st.tuples(st.sampled_from(PLACES), st.sampled_from(ODD)), min_size=1, max_size=3))
def test_odd_values_anywhere_are_counted_or_refused(robot, changes):
    data = copy.deepcopy(WHOLE)
    for path, odd in changes:
        here = data
        for key in path[:-1]:
            inside = here.get(key) if isinstance(here, dict) else here[key] if key < len(here) else None
            here = inside if isinstance(inside, dict | list) else {}
        if isinstance(here, dict) or (isinstance(path[-1], int) and path[-1] < len(here)):
            here[path[-1]] = copy.deepcopy(odd)
    counted_or_refused(robot, json.dumps(data, ensure_ascii=False))


@FUZZ
@given(text=st.text(st.sampled_from("ab:-?[]{},&*!|>'\"%@`# \n\t\r~.0019é\u2028"), max_size=120))
def test_random_text_after_the_head(robot, text):
    counted_or_refused(robot, f"fieldworthy: faults 1\n{text}")


def counted_or_refused(robot, text):
    file = robot.document.file.with_name("odd.yaml")
    file.write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        found = risks(load_faults(file, robot))
    except BadInput as error:
        said(error)
        return
    for risk in found:
        assert 0 <= risk.failed <= risk.times
        assert risk.chance is None or 0.0 < risk.chance < 1.0
        assert risk.lost is None or 0.0 <= risk.lost < 1e12
