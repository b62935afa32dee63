"""Whatever is kept between two checks of nearly the same robot, the report is that of a check from nothing.

The reference is `evaluate`, which keeps nothing and notes no reading; it is held to the outside by the other tests.
"""

from __future__ import annotations

import dataclasses
import subprocess
import sys
import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldworthy.checks import Checker, evaluate
from fieldworthy.checks.finding import Fact, Report
from fieldworthy.checks.reading import Live, Memory, Reads, fields_of, quantities_in
from fieldworthy.decide.change import with_value
from fieldworthy.robot.model import Robot
from fieldworthy.schema import realise
from robots import example, load

SAMPLES = 40
MK1, MK2 = example(), example("mk2")
PATHS = [path for path, q in MK1.quantities if q.si != 0]
few = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def moved(loaded, path, factor: float):
    """The same robot with one number multiplied, kept within its bounds."""
    quantity = dict(loaded.quantities)[path]
    si = min(max(quantity.si * factor, quantity.low), quantity.high)
    return put(loaded, path, dataclasses.replace(quantity, si=si))


def put(loaded, path, quantity):
    if path[0] == "season":
        return dataclasses.replace(loaded, season=with_value(loaded.season, path[1:], quantity))
    return dataclasses.replace(loaded, robot=with_value(loaded.robot, path, quantity))


def alike(one: Report, two: Report) -> None:
    """Equal in every word and, but for the last digits, in every number."""
    assert [(f.id, f.subject) for f in one.findings] == [(f.id, f.subject) for f in two.findings]
    assert one.assumptions == two.assumptions
    assert one.cautions == two.cautions
    for a, b in zip((*one.findings, *one.facts), (*two.findings, *two.facts), strict=True):
        assert set(a.inputs) == set(b.inputs), a.id
        assert (a.id, a.because, a.unit) == (b.id, b.because, b.unit)
        assert a.spread == (b.spread and pytest.approx(b.spread, rel=1e-9, abs=1e-12)), a.id
        for name in ("value",) if isinstance(a, Fact) else ("value", "limit", "margin", "chance"):
            given, wanted = getattr(a, name), getattr(b, name)
            assert given == (wanted if wanted is None else pytest.approx(wanted, rel=1e-9, abs=1e-12)), (a.id, name)
        if not isinstance(a, Fact):
            assert (a.verdict, a.bases, a.sharpen) == (b.verdict, b.bases, b.sharpen), a.id


@pytest.fixture(scope="module")
def checker():
    with Checker(SAMPLES, 3) as kept:
        yield kept


@given(st.lists(st.tuples(st.sampled_from(PATHS), st.sampled_from([0.97, 0.995, 1.004, 1.03])), min_size=1, max_size=5))
@few
def test_after_any_edits_the_report_is_that_of_a_check_from_nothing(checker, edits):
    loaded = MK1
    for path, factor in edits:
        loaded = moved(loaded, path, factor)
        alike(checker.check(loaded), evaluate(loaded, SAMPLES, 3))


def test_the_same_robot_again_costs_no_check(checker, monkeypatch):
    first = checker.check(MK1)
    monkeypatch.setattr("fieldworthy.checks.part.CHECKS", ())
    assert checker.check(MK1) == first


def test_only_what_reads_a_number_is_judged_again(checker, monkeypatch):
    from fieldworthy.checks import part, registry

    checker.check(MK1)
    ran = []
    watched = [lambda subject, c=c: ran.append(c.__module__.rpartition(".")[2]) or c(subject) for c in registry.CHECKS]
    monkeypatch.setattr(part, "CHECKS", watched)
    checker.check(moved(MK1, ("mechanisms", "clamp", "friction"), 1.01))
    assert ran == ["clamp"]
    ran.clear()
    checker.check(moved(MK1, ("tracking", "gyro", "drift"), 1.01))
    assert set(ran) == {"clamp", "tracking"}  # the friction goes back to what it was
    ran.clear()
    checker.check(moved(MK1, next(path for path in PATHS if path[0] == "parts"), 1.01))
    assert {"drive", "balance", "climb", "limits", "tracking"} <= set(ran)


def test_anew_computes_everything(checker, monkeypatch):
    from fieldworthy.checks import part, registry

    first, ran = checker.check(MK1), []
    monkeypatch.setattr(part, "CHECKS", [lambda s, c=c: ran.append(c) or c(s) for c in registry.CHECKS])
    assert checker.check(MK1, anew=True) == first
    assert ran == list(registry.CHECKS)


def test_tolerance_basis_unit_and_structure_count_as_changes(checker):
    checker.check(MK1)
    path = ("mechanisms", "clamp", "opening")
    quantity = dict(MK1.quantities)[path]
    for change in ({"tolerance": quantity.tolerance * 4}, {"basis": "estimate"}, {"unit": "in"}):
        other = put(MK1, path, dataclasses.replace(quantity, **change))
        alike(checker.check(other), evaluate(other, SAMPLES, 3))
    tower = ("season", "altitude")
    wide = put(MK1, tower, dataclasses.replace(dict(MK1.quantities)[tower], tolerance=30.0))
    without = dataclasses.replace(MK1, robot=MK1.robot.model_copy(update={"tracking": None}))
    inches = dataclasses.replace(MK1)
    in_inches = ((p, dataclasses.replace(q, unit="in") if q.kind == "length" else q) for p, q in MK1.quantities)
    inches.__dict__["quantities"] = tuple(in_inches)  # as a page does that shows another unit than the file's
    for other in (wide, without, MK2, inches, MK1):
        alike(checker.check(other), evaluate(other, SAMPLES, 3))


def test_a_robot_that_cannot_be_is_refused_and_leaves_nothing_behind(tmp_path):
    """A heat capacity below zero, which no file may state."""
    path = ("catalogue", "motors", "test motor", "winding_heat_capacity")
    plan = {"plan": {"start": "a", "driven": [{"action": "use", "at": "b"}]}, "actions": {"use": {"time": "1 s"}}}
    good = load(tmp_path, plan)
    bad = put(good, path, dataclasses.replace(dict(good.quantities)[path], si=-1.0, tolerance=0.0))
    with pytest.raises(ValueError, match="winding_capacity must be positive"):
        evaluate(bad, SAMPLES)
    for helper in (False, True):
        with Checker(SAMPLES, helper=helper) as checker:
            assert checker.ready(60 * helper) == helper
            checker.check(good)
            with pytest.raises(ValueError, match="winding_capacity must be positive"):
                checker.check(bad)
            alike(checker.check(good), evaluate(good, SAMPLES))
            assert checker.ready() == helper


@pytest.mark.parametrize("samples", [-1, 8193])
def test_samples_are_one_block_at_most(samples):
    with pytest.raises(ValueError, match="samples"):
        Checker(samples)


def test_a_second_process_changes_no_result_and_ends_with_the_checker():
    with Checker(SAMPLES, 3, helper=True) as checker:
        process = checker._helper._process
        alike(checker.check(MK1), evaluate(MK1, SAMPLES, 3))  # as a rule not started up yet
        assert checker.ready(60)
        for other in (MK1, moved(MK1, PATHS[0], 1.02), MK2, MK1):
            alike(checker.check(other), evaluate(other, SAMPLES, 3))
        alike(checker.check(MK1, anew=True), evaluate(MK1, SAMPLES, 3))
        assert process.poll() is None
    assert process.poll() == 0
    assert not checker.ready()
    alike(checker.check(MK2), evaluate(MK2, SAMPLES, 3))


def test_a_second_process_that_dies_is_done_without():
    with Checker(SAMPLES, 3, helper=True) as checker:
        assert checker.ready(60)
        checker.check(MK1)
        checker._helper._process.kill()
        other = moved(MK1, ("air", "supply", "charge"), 0.98)
        alike(checker.check(other), evaluate(other, SAMPLES, 3))
        assert not checker.ready()


def test_a_second_process_takes_no_module_from_the_folder_it_stands_in(tmp_path, monkeypatch):
    (tmp_path / "queue.py").write_text("raise SystemExit(3)", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    with Checker(SAMPLES, 3, helper=True) as checker:
        assert checker.ready(60)


def test_a_second_process_that_cannot_start_is_done_without(monkeypatch):
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    with Checker(SAMPLES, 3, helper=True) as checker:
        assert not checker.ready(1)
        alike(checker.check(MK1), evaluate(MK1, SAMPLES, 3))


def test_the_second_process_ends_when_its_owner_is_killed():
    """The owner prints the second process's number and is then ended the hard way; soon nobody answers to it."""
    text = """
from fieldworthy.checks import Checker
import time
checker = Checker(helper=True)
assert checker.ready(60)
print(checker._helper._process.pid, flush=True)
time.sleep(60)
"""
    owner = subprocess.Popen([sys.executable, "-c", text], stdout=subprocess.PIPE, text=True)
    with owner:
        number = int(owner.stdout.readline())
        assert alive(number)
        owner.kill()
    deadline = time.monotonic() + 30
    while alive(number) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not alive(number)


def alive(number: int) -> bool:
    windows = ["tasklist", "/FI", f"PID eq {number}"]
    listing = windows if sys.platform == "win32" else ["ps", "-o", "stat=", "-p", str(number)]
    said = subprocess.run(listing, capture_output=True, text=True, check=False).stdout.strip()
    if sys.platform == "win32":
        return str(number) in said
    return bool(said) and not said.startswith("Z")  # ended, but whoever inherited it has not looked yet


def stated():
    return (((), realise(MK1.robot, Robot, lambda _path, quantity: quantity)),)


def test_every_quantity_of_a_file_stands_in_one_field():
    found = [pair for _, path, value in fields_of(stated()) for pair in quantities_in(value, path)]
    assert found == [pair for pair in MK1.quantities if pair[0][0] != "season"]


def test_reading_is_noted_by_field_and_numbers_change_in_place():
    reads = Reads()
    live = Live(stated(), lambda _path, quantity: quantity.si, reads)
    (robot,) = live.things
    part = next(iter(robot.parts.values()))
    memory = Memory(reads)
    made, seen = reads.of(lambda: memory.once("mass", lambda: part.mass * 2.0))
    assert made == 2.0 * next(iter(MK1.nominal.parts.values())).mass
    again, seen_again = reads.of(lambda: memory.once("mass", lambda: pytest.fail("it is known")))
    assert (again, seen_again) == (made, seen)  # who uses what is kept has read what that read
    place = next(place for place, path, _ in fields_of(stated()) if path[-1] == "mass" and place in seen)
    live.change({place: dataclasses.replace(MK1.quantities[0][1], si=5.0)}, lambda _path, quantity: quantity.si)
    assert part.mass == 5.0
    memory.forget(frozenset({place}))
    assert memory.once("mass", lambda: part.mass * 2.0) == 10.0
    assert "mass" in memory


def test_a_copy_of_a_noting_thing_is_a_plain_one_and_what_it_copied_counts_as_read():
    reads = Reads()
    (robot,) = Live(stated(), lambda _path, quantity: quantity.si, reads).things
    pose = next(iter(robot.poses.values()))
    copy, seen = reads.of(lambda: dataclasses.replace(pose, moves={}))
    assert type(copy).__bases__ == (object,)
    assert isinstance(pose, type(copy))
    assert {name for _, name in seen} >= {"use", "carries", "tow"}
