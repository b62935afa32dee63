"""Staged hold against objects moved in small steps by a plain controller, and printed distances."""

import re

import hypothesis
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldworthy.drawing import PRINT, Style
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.files import BadInput
from fieldworthy.physics.contact import timing
from fieldworthy.robot import load_robot
from fieldworthy.systems.intake import figure as intake_figure
from fieldworthy.systems.intake.check import hold_stops
from fieldworthy.systems.intake.mechanics import row_of
from holdlimit import hold_limit_by_events
from reference import case
from robots import example, example_copy, fact, find, nominal

FOOT, MILE_PER_HOUR = 0.3048, 0.44704

UPPER = {"speed": 1.0, "sample_period": 0.01, "latency": 0.012, "deceleration": 30.0}
LOWER = {"speed": 0.8, "sample_period": 0.01, "latency": 0.012, "deceleration": 25.0}
PATH = {"length": 0.10, "spacing": 0.18, "below": 0.16, "handover": 0.09, "room": 0.05}


def stepped(upper, lower, path, phase, step=2e-6):
    """Places of rest of both noses by plain time stepping of a controller that polls two sensors."""
    x1, v1 = -path["handover"], upper["speed"]
    x2, v2 = -path["handover"] - path["spacing"], lower["speed"]
    t, next_read, arrived, seen1, slow1, slow2 = 0.0, None, None, False, np.inf, np.inf
    while (v1 > 0.0 or v2 > 0.0) and t < 2.0:
        t += step
        x1, x2 = x1 + v1 * step, x2 + v2 * step
        v1 = max(v1 - upper["deceleration"] * step, 0.0) if t > slow1 else v1
        v2 = max(v2 - lower["deceleration"] * step, 0.0) if t > slow2 else v2
        if arrived is None and x1 >= 0.0:
            arrived, next_read = t, t + phase * upper["sample_period"]
        if next_read is not None and t >= next_read:
            next_read += upper["sample_period"]
            if not seen1 and x1 - path["length"] <= 0.0 <= x1:
                seen1, slow1 = True, t + upper["latency"]
                slow2 = slow2 if path.get("run_on") is None else t + path["run_on"] + lower["latency"]
            if "run_on" not in path and seen1 and slow2 == np.inf and x2 - path["length"] <= -path["below"] <= x2:
                slow2 = t + lower["latency"]
    return x1, x2


@pytest.mark.parametrize("phase", [0.02, 0.35, 0.6, 0.97])
@pytest.mark.parametrize(
    "change", [{}, {"spacing": 0.12, "below": 0.19}, {"spacing": 0.25}, {"run_on": 0.03}, {"run_on": 0.0}]
)
def test_places_of_rest_against_time_steps(phase, change, evidence):
    path = {**PATH, **change}
    want = stepped(UPPER, LOWER, path, phase)
    found = timing.simulate(timing.Stop(**UPPER), timing.Stop(**LOWER), timing.Path(**path), phase)
    evidence(
        "intake",
        "Where the two pieces of a staged hold come to rest",
        "a controller that polls two sensors, step by step",
        "four moments of reading, three spacings, 0.8 and 1 m/s",
        "m",
        [float(found.first), float(found.second)],
        want,
    )
    # 2e-5 m: a few steps of 2 microseconds at 1 m/s, several times over
    assert found.first == pytest.approx(want[0], abs=2e-5)
    assert found.second == pytest.approx(want[1], abs=2e-5)
    assert found.gap == pytest.approx(want[0] - want[1] - path["length"], abs=4e-5)


def test_an_object_between_two_readings_is_missed():
    # 100 mm at 4 m/s pass in 25 ms; with a reading each 40 ms, phases past 25/40 see nothing. Same in time
    # steps
    upper = {**UPPER, "speed": 4.0, "sample_period": 0.04}
    lower = {**LOWER, "sample_period": 0.04}
    stops = timing.Stop(**upper), timing.Stop(**lower)
    for phase in (0.6, 0.65):
        x1, _ = stepped(upper, lower, PATH, phase, step=2e-5)
        assert (x1 > 2.0) == np.isinf(timing.simulate(*stops, timing.Path(**PATH), phase).first)
    seen = np.isfinite(timing.simulate(*stops, timing.Path(**PATH), np.linspace(0.0, 1.0, 10_001)).first)
    assert seen.mean() == pytest.approx(25.0 / 40.0, abs=2e-4)


def test_limit_speed_is_where_time_steps_begin_to_fail():
    # The plain controller again, at 2 % below and above the limit, at the worst phases: it holds, then it
    # does not
    stops = timing.Stop(**UPPER), timing.Stop(**LOWER)
    for change in ({"room": 0.03}, {"room": 0.2, "below": 0.12}, {"room": 0.2, "run_on": 0.04}, {"run_on": 0.12}):
        path = {**PATH, **change}
        limit = float(timing.hold_limit_speed(*stops, timing.Path(**path)))
        results = []
        for factor in (0.98, 1.02):
            upper = {**UPPER, "speed": factor * limit}
            lower = {**LOWER, "speed": factor * limit * 0.8}
            rests = [stepped(upper, lower, path, p, step=1e-5) for p in np.linspace(0.001, 0.999, 25)]
            results.append(
                all(x1 <= path["room"] and x2 <= -path["handover"] and x1 - x2 >= path["length"] for x1, x2 in rests)
            )
        assert results == [True, False]


@pytest.mark.parametrize("change", [{"room": 0.03}, {"room": 0.2, "below": 0.12}, {"room": 0.2, "below": 0.3}])
def test_limit_speed_closed_form_and_by_events(change):
    # Two computations of one number: 2 % is the share of a sample period between the 129 phases tried
    parts = timing.Stop(**UPPER), timing.Stop(**LOWER), timing.Path(**{**PATH, **change})
    by_events = hold_limit_by_events(*parts, phases=129)
    assert timing.hold_limit_speed(*parts) == pytest.approx(by_events, rel=0.02)


def polled(v, ratio, phase, path, stop):
    """A program that polls two sensors on one clock, event by event in plain arithmetic: whether both are held."""
    period, latency, slows = stop
    first = v * (phase * period + latency) + v * v / (2 * slows)
    w, tick = ratio * v, phase * period  # time 0: the first nose at its sensor
    second = -path["handover"] - path["spacing"] + path["handover"] / v * w
    while second + w * tick < -path["below"]:
        tick += period
    rest = second + w * (tick + latency) + w * w / (2 * slows)
    seen = phase * period * v <= path["length"] and second + w * tick + path["below"] <= path["length"]
    return seen and first <= path["room"] and rest <= -path["handover"] and first - rest >= path["length"]


@pytest.mark.parametrize("ratio", [0.7, 1.0, 1.3])
@pytest.mark.parametrize("spacing", [0.11, 0.14, 0.2])
def test_two_sensors_of_one_clock_are_not_independent(ratio, spacing):
    # the first speed of a fine scan at which some moment of reading fails
    path, stop = {**PATH, "spacing": spacing, "room": 0.2, "below": 0.14, "handover": 0.06}, (0.01, 0.012, 40.0)
    moments = np.linspace(1e-5, 1 - 1e-5, 60)
    scan = np.arange(0.05, 4.0, 0.01)
    fails = next(v for v in scan if not all(polled(v, ratio, p, path, stop) for p in moments))
    upper, lower = timing.Stop(1.0, *stop), timing.Stop(ratio, *stop)
    want = fails if fails > scan[0] else 0.0
    assert timing.hold_limit_speed(upper, lower, timing.Path(**path)) == pytest.approx(want, abs=0.02)


@pytest.mark.parametrize(
    ("ratio", "stop", "spacing", "below", "about"),
    [(0.75, (0.019, 0.003, 39.0), 0.19, 0.108, 1.133), (1.27, (0.02, 0.006, 37.0), 0.152, 0.12, 0.622)],
)
def test_a_narrow_band_of_speeds_that_fails_is_not_stepped_over(ratio, stop, spacing, below, about):
    # a fine scan, in plain arithmetic: all moments hold below, some fail in a band of a few tenths of a mm/s, and past
    # it all hold again
    path = {**PATH, "spacing": spacing, "below": below, "handover": 0.06, "room": 0.2}
    moments = np.linspace(1e-5, 1 - 1e-5, 120)

    def fails(speeds):
        return [v for v in speeds if not all(polled(v, ratio, p, path, stop) for p in moments)]

    band = fails(np.arange(about - 0.002, about + 0.004, 2e-5))
    assert not fails(np.arange(0.05, about - 0.002, 0.01))
    assert band
    assert not fails([about + 0.01])
    upper, lower = timing.Stop(1.0, *stop), timing.Stop(ratio, *stop)
    assert timing.hold_limit_speed(upper, lower, timing.Path(**path)) == pytest.approx(band[0], abs=5e-5)


def test_stop_distance_of_the_reference_case():
    # stop-distance-0: formula by hand; paired with the stepped controller above
    ref = case("stop-distance-0")
    g = ref["given"]
    stop = timing.Stop(g["speed_m_s"], g["sample_period_s"], g["latency_s"], g["deceleration_m_s2"])
    found = timing.stop_distance(stop, np.array([0.0, 1.0]))
    want = [ref["expect"]["shortest_m"], ref["expect"]["longest_m"]]
    assert found == pytest.approx(want, rel=ref["rel_tol"])


def test_stopping_sight_distance():
    # STP-01: printed road-design table from memory, 69.5 + 114.7 = 184.2 m; its own rounding of 0.278 and
    # 0.039 is 0.8 %
    ref = case("STP-01")
    g, want = ref["inputs"], ref["expected"]
    stop = timing.Stop(g["V_kmh"] / 3.6, 1e-9, g["t_s"], g["a_m_s2"])
    assert timing.stop_distance(stop, 0.0) == pytest.approx(want["total"]["value"], rel=0.008)
    brake = timing.stop_distance(timing.Stop(g["V_kmh"] / 3.6, 1e-9, 0.0, g["a_m_s2"]), 0.0)
    assert brake == pytest.approx(want["d_brake_exact"]["value"], rel=1e-6)
    # STP-02: the same in US units, formula as read in a road-design manual; its constants are rounded, 0.1 %
    ref = case("STP-02")
    g, want = ref["inputs"], ref["expected"]
    stop = timing.Stop(g["V_mph"] * MILE_PER_HOUR, 1e-9, g["t_s"], g["a_ft_s2"] * FOOT)
    assert timing.stop_distance(stop, 0.0) / FOOT == pytest.approx(want["SSD"]["value"], rel=1e-3)


def test_stop_moments_against_drawn_phases():
    # 400,000 uniform phases; five standard errors of the mean are 4.6e-5 m/s * T_s, of the sd less
    stop = timing.Stop(1.2, 0.02, 0.015, 20.0)
    drawn = timing.stop_distance(stop, np.random.default_rng(8).uniform(size=400_000))
    mean, sd = timing.stop_moments(stop)
    assert mean == pytest.approx(drawn.mean(), abs=6e-5)
    assert sd == pytest.approx(drawn.std(), rel=5e-3)


def test_hold_chance_is_the_share_of_phases():
    # Room for half a sample period of travel beyond the shortest stop: half of the phases hold, by hand
    upper, lower = timing.Stop(**UPPER), timing.Stop(**LOWER)
    short = 1.0 * 0.012 + 1.0 / 60.0
    path = timing.Path(**{**PATH, "room": short + 0.5 * 0.01, "below": 0.3, "spacing": 0.5})
    assert timing.hold_chance(upper, lower, path, phases=1000) == pytest.approx(0.5, abs=2e-3)


positive = st.floats(0.05, 3.0)


@given(positive, st.floats(1e-3, 0.05), st.floats(0.0, 0.05), st.floats(2.0, 60.0), st.floats(0.0, 1.0))
def test_stop_lies_within_the_closed_form_ends(speed, period, latency, deceleration, phase):
    stop = timing.Stop(speed, period, latency, deceleration)
    d = timing.stop_distance(stop, phase)
    brake = speed**2 / (2.0 * deceleration)
    low, high = brake + speed * latency, brake + speed * (latency + period)
    assert low * (1 - 1e-12) <= d <= high * (1 + 1e-12)
    # And the speed that just fits the worst stop is the one it came from
    assert timing.limit_speed(period, latency, deceleration, high) == pytest.approx(speed, rel=1e-9)


@settings(max_examples=60)
@given(st.floats(0.3, 2.0), st.floats(0.3, 2.0), st.floats(0.1, 0.3), st.floats(0.1, 0.3), st.floats(0.01, 0.1))
@hypothesis.example(1.0, 1.0, 0.296875, 0.10000000000000002, 0.0625)
def test_below_the_limit_every_phase_holds(ratio, period, spacing, below, room):
    upper = timing.Stop(1.0, 0.01 * period, 0.01, 30.0)
    lower = timing.Stop(ratio, 0.01 * period, 0.01, 30.0)
    path = timing.Path(0.1, spacing, below, 0.09, room)
    limit = float(timing.hold_limit_speed(upper, lower, path))
    events = float(hold_limit_by_events(upper, lower, path))
    # At the limit every phase holds. A little above not all do, be it in a narrow band of speeds alone
    phases = np.linspace(0.0, 1.0, 401)

    def holds(share):
        v = share * limit
        stops = [timing.Stop(f * v, 0.01 * period, 0.01, 30.0) for f in (1.0, ratio)]
        return bool(timing.simulate(*stops, path, phases).held.all())

    assert limit >= 0.0
    if limit > 0.0:
        assert all(holds(share) for share in (0.2, 0.5, 0.9, 0.999))
        above = [
            share for share in (1.00003, 1.0001, 1.0002, 1.0005, 1.001, 1.002, 1.005, 1.01, 1.02) if not holds(share)
        ]
        assert above or 1.02 * limit > 0.99 * events


def test_batch_equals_case_by_case():
    speed = np.array([0.5, 1.0, 1.8])
    room = np.array([0.02, 0.05, 0.08])
    upper = timing.Stop(**{**UPPER, "speed": speed})
    lower, path = timing.Stop(**LOWER), timing.Path(**{**PATH, "room": room})
    phase = np.linspace(0.0, 1.0, 7)[:, None]
    many = timing.simulate(upper, lower, path, phase)
    limits, events = (
        timing.hold_limit_speed(upper, lower, path),
        hold_limit_by_events(upper, lower, path),
    )
    chances = timing.hold_chance(upper, lower, path)
    for i in range(3):
        one = timing.Stop(**{**UPPER, "speed": float(speed[i])})
        way = timing.Path(**{**PATH, "room": float(room[i])})
        assert limits[i] == timing.hold_limit_speed(one, lower, way)
        assert events[i] == hold_limit_by_events(one, lower, way)
        assert chances[i] == timing.hold_chance(one, lower, way)
        for j in range(7):
            alone = timing.simulate(one, lower, way, float(phase[j, 0]))
            assert (many.first[j, i], many.second[j, i], many.held[j, i]) == (
                alone.first,
                alone.second,
                alone.held,
            )


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: timing.Stop(**{**UPPER, "sample_period": 0.0}), "sample_period"),
        (lambda: timing.Stop(**{**UPPER, "latency": -0.1}), "latency"),
        (lambda: timing.Path(**{**PATH, "below": 0.05}), "below"),
        (lambda: timing.Path(**{**PATH, "spacing": 0.05}), "spacing"),
        (lambda: timing.Path(**{**PATH, "handover": 0.2}), "below"),
        (lambda: timing.stop_distance(timing.Stop(**UPPER), 1.2), "phase"),
        (lambda: timing.limit_speed(0.0, 0.0, 1.0, 1.0), "sample_period"),
        (lambda: timing.hold_chance(*[timing.Stop(**UPPER)] * 2, timing.Path(**PATH), 0), "phases"),
    ],
)
def test_bad_input_is_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()


def test_one_sensor_and_a_clock_hold_where_time_steps_do():
    """The example with one sensor: places of rest and the limit told by its file, against the plain controller."""
    at = nominal(example("otter"))
    row = row_of(at, "belt")
    hold = row.spec.hold
    assert hold.below is None
    upper, lower, path = hold_stops(row, hold)
    ups, lows = ({k: float(np.ravel(getattr(s, k))[0]) for k in UPPER} for s in (upper, lower))
    plain = {k: float(getattr(path, k)) for k in ("length", "spacing", "below", "handover", "room", "run_on")}
    x1, x2 = stepped(ups, lows, plain, 0.5, step=1e-5)
    report = evaluate(example("otter"), samples=0)
    told = fact(report, "intake.hold_rest.belt").because
    past, before = re.search(r"rests ([\d.]+) mm past .* second ([\d.]+) mm before", told).groups()
    # the controller's steps of 10 microseconds, and three digits
    assert float(past) == pytest.approx(1000 * x1, abs=0.2)
    assert float(before) == pytest.approx(-1000 * x2, abs=0.7)
    assert find(report, "intake.hold_speed.belt").verdict == "holds"
    picture = intake_figure.hold(intake_figure.intake_curves(at)["belt"], Style(PRINT)).svg
    assert "sensor" in picture
    assert "lower sensor" not in picture


@pytest.mark.parametrize("hold", [{"below": "170 mm", "run_on": "0.1 s"}, {}])
def test_a_hold_has_a_lower_sensor_or_a_clock(tmp_path, hold):
    clock = {"run_on: 220 ms, ": "".join(f"{k}: {v}, " for k, v in hold.items())}
    with pytest.raises(BadInput, match="either 'below' or 'run_on'"):
        load_robot(example_copy(tmp_path, *clock.items(), name="otter"))
