"""Films against the full equations of a stroke: both pressures, place and speed, with the flow of ISO 6358."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fieldworthy.physics.gas.actuation import Stroke, actuation, part_way
from fieldworthy.physics.gas.air import Element
from fitted import measurements, only, write_csv

P_ATM, R_AIR, RHO, T = 101325.0, 287.05, 1.185, 293.15
# a 16 mm cylinder with 6 mm rod and 50 mm stroke, 200 mL tank, 1 kg
A1, A2 = np.pi / 4 * 0.016**2, np.pi / 4 * (0.016**2 - 0.006**2)
STROKE, MASS, GAUGE, TANK = 0.05, 1.0, 600e3, 200e-6
DEAD = np.pi / 4 * 0.0025**2 * 0.4 + 0.4e-6  # 400 mm of 2.5 mm tube and 0.4 mL
VALVE, FITTING = 0.2e-8, 0.35e-8
AIR = {
    "air": {
        "supply": {"charge": "700 kPa"},
        "tanks": {"tank": {"tank": "test tank"}},
        "cylinders": {"ram": {"cylinder": "test cylinder", "tank": "tank", "valve": "test valve", "push_load": "20 N",
                              "moved": "1 kg"}},
    },
    "catalogue": {"valves": {"test valve": {"critical_ratio": 0.4}}},
}  # fmt: skip
FILM = {
    "cylinder": "ram", "pressure": "600 kPa", "file": "film.csv", "rate": "240 Hz", "switched": "0.04 s",
    "valve_delay": "0 ms", "position_error": "0.4 mm",
    "columns": {"time": {"column": "t", "unit": "s"}, "position": {"column": "x", "unit": "mm"}},
}  # fmt: skip


def flow(p, q, C, b):
    """ISO 6358-1 (from memory): mass flow from p to q, either way."""
    high, low = max(p, q), min(p, q)
    u = (max(low / high, b) - b) / (1.0 - b)
    return np.sign(p - q) * C * RHO * high * np.sqrt(max(1.0 - u * u, 0.0))


def stroke(C, b, load, supply, vent):
    """Time and place along the stroke."""

    def net(y):
        return y[0] * A1 - y[1] * A2 - P_ATM * (A1 - A2) - load

    def rates(y, x, v):
        unit = R_AIR * T
        fill = (unit * flow(supply, y[0], C, b) - y[0] * A1 * v) / (DEAD + A1 * x)
        drain = (unit * flow(y[1], P_ATM, C, b) - y[1] * A2 * v) / (DEAD + A2 * (STROKE - x))
        return fill, -drain

    def starts(_, y):
        return net(y)

    def arrives(_, y):
        return y[2] - STROKE

    for event in (starts, arrives):
        event.terminal, event.direction = True, 1
    still = solve_ivp(lambda _, y: rates(y, 0.0, 0.0), (0, 5), [P_ATM, vent], events=starts, rtol=1e-8, atol=1e-3,
                      method="LSODA", max_step=0.02)  # fmt: skip
    lag, y0 = still.t_events[0][0], still.y_events[0][0]
    moving = solve_ivp(lambda _, y: [*rates(y, y[2], y[3]), y[3], net(y) / MASS], (0, 5), [*y0, 0.0, 0.0],
                       events=arrives, rtol=1e-7, atol=[1e-1, 1e-1, 1e-9, 1e-7], method="LSODA",
                       max_step=2e-3)  # fmt: skip
    return np.concatenate(([0.0, lag], lag + moving.t[1:])), np.concatenate(([0.0, 0.0], moving.y[2][1:]))


def supply_after_draw():
    """Isothermal: the air that fills the driving chamber, from the atmosphere up, is missing in the tank."""
    swept = DEAD + A1 * STROKE
    return ((P_ATM + GAUGE) * TANK + P_ATM * DEAD) / (TANK + swept)


def filmed(folder, seed):
    """A random stroke of the full equations, filmed; what the fit says, and the truth."""
    rng = np.random.default_rng(seed)
    supply, factor = supply_after_draw(), np.exp(rng.uniform(-0.9, 0.5))
    load = rng.uniform(0.05, 0.5) * 600e3 * A1
    friction = 0.1 * (supply - P_ATM) * A1  # efficiency 0.9 of the file
    times, places = stroke(*only_line(folder, factor), load + friction, supply, supply)
    at = np.arange(0.0, times[-1] + 0.12, 1.0 / 240.0)
    read = 1e3 * np.interp(at - 0.04, times, places) + rng.normal(0.0, 0.2, at.size)
    write_csv(folder / "film.csv", ("t", "x"), [f"{t:.6f}" for t in at], [f"{x:.3f}" for x in read])
    found = only(measurements(folder, {"frames": {"one": FILM}}, AIR))
    names = ("conductance of 'test valve'", "load on 'ram' going out", "actuation time of 'ram'")
    return found, dict(zip(names, (factor * VALVE, load, times[-1]), strict=True))


@pytest.mark.long
def test_the_full_equations_are_found_again_within_the_intervals(tmp_path):
    inside = []
    for seed in range(10):
        found, truths = filmed(tmp_path, seed)
        told = {item.name: item for item in found.fitted}
        inside += [abs(told[n].value - truth) <= told[n].half_width for n, truth in truths.items() if n in told]
        assert told["actuation time of 'ram'"].value == pytest.approx(truths["actuation time of 'ram'"], rel=0.03)
    assert len(inside) >= 25
    assert np.mean(inside) >= 0.9


@pytest.mark.long
def test_a_load_near_standstill_is_not_told(tmp_path):
    supply = supply_after_draw()
    times, places = stroke(*only_line(tmp_path, 0.8), 0.75 * 600e3 * A1, supply, supply)
    at = np.arange(0.0, times[-1] + 0.12, 1.0 / 240.0)
    read = 1e3 * np.interp(at - 0.04, times, places)
    write_csv(tmp_path / "film.csv", ("t", "x"), [f"{t:.6f}" for t in at], [f"{x:.3f}" for x in read])
    found = only(measurements(tmp_path, {"frames": {"one": FILM}}, AIR))
    assert [item.name for item in found.fitted] == ["actuation time of 'ram'"]
    assert all("standstill" in item.why for item in found.unidentified)


def only_line(folder, factor):
    """Conductance and critical ratio of valve, fittings and tube in a row, as the checks put them together."""
    from fieldworthy.measure.frames import Filmed
    from fieldworthy.vehicle.supply import air_line, use_of

    write_csv(folder / "film.csv", ("t", "x"), [0, 1], [0, 1])
    robot = measurements(folder, {"frames": {"one": FILM}}, AIR).robot
    subject = Filmed(robot.nominal, robot.nominal_season, "ram", None, 0, GAUGE).subject(factor * VALVE, 20.0)
    line = air_line(subject, use_of(subject, "ram"))
    return float(line.C), float(line.b)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8, 1.0])
def test_places_on_the_way_against_the_full_equations(share):
    C, b, supply, load = 0.11e-8, 0.35, P_ATM + GAUGE, 35.0
    times, places = stroke(C, b, load, supply, supply)
    whole = Stroke(A1, A2, DEAD, DEAD, STROKE, MASS, (load, 0.0))
    ours = actuation(part_way(whole, share * STROKE), Element(C, b), Element(C, b), supply, supply)
    moves = places > 0.0
    assert ours.time == pytest.approx(np.interp(share * STROKE, places[moves], times[moves]), rel=0.05)
    assert ours.lag == pytest.approx(times[1], rel=0.02)
