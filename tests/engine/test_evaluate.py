"""One batch against files edited one by one; what findings rest on; chances; laws that no number may break."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from fieldworthy.engine.evaluate import BLOCK, Cases, evaluate, nudge, run, verdict_of
from fieldworthy.engine.finding import (
    VERDICTS,
    DisplayUnits,
    Finding,
    Message,
    Outcome,
    Report,
    as_data,
    causes_of,
    json_schema,
)
from fieldworthy.robot import load_robot
from robots import EXAMPLES, GONE, WHEEL, changed, check, example, find, load

AIR = {
    "air": {
        "tanks": {"one": {"tank": "test tank"}},
        "cylinders": {"main": {"cylinder": "test cylinder", "tank": "one", "valve": "test valve", "push_load": "40 N"}},
    },
    "actions": {"use": {"time": "1 s", "strokes": {"main": 1}}},
    "plan": {"start": "a", "driven": [{"repeat": [{"action": "use", "at": at} for at in "ba"], "times": 4}]},
    "drive": {"targets": {"sprint_distance": "2 m", "sprint_time": "2 s", "turn_time": "0.6 s", "push_force": "35 N"}},
}  # fmt: skip
STILL = changed(AIR, {"plan": {"driven": [{"repeat": [{"action": "use", "at": "a"}], "times": 8}]}})
"""Never moves, so that no travel time, which is nominal in every case of a batch, stands between the actions."""
quiet = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def entries(loaded):
    return [(path, q) for path, q in loaded.quantities if q.tolerance > 0 or path[0] != "season"]


EDITS = {
    ("parts", "box", "mass"): lambda si: {"parts": {"box": {"mass": f"{si!r} kg"}}},
    ("parts", "box", "position", 2): lambda si: {"parts": {"box": {"position": ["0.02 m", "0.01 m", f"{si!r} m"]}}},
    ("catalogue", "wheels", WHEEL, "grip"): lambda si: {"catalogue": {"wheels": {WHEEL: {"grip": si}}}},
    ("catalogue", "motors", "test motor", "stall_torque"):
        lambda si: {"catalogue": {"motors": {"test motor": {"stall_torque": f"{si!r} N*m"}}}},
    ("air", "cylinders", "main", "push_load"): lambda si: {"air": {"cylinders": {"main": {"push_load": f"{si!r} N"}}}},
    ("air", "supply", "charge"): lambda si: {"air": {"supply": {"charge": f"{si!r} Pa"}}},
}  # fmt: skip


def numbers(outcomes, row: int) -> dict[tuple[str, str], tuple[float, float | None]]:
    """Value and limit of every outcome in one case of a batch."""

    def at(value):
        array = np.asarray(value, dtype=float)
        return float(array) if array.ndim == 0 else float(array[row])

    return {(o.id, o.subject): (at(o.value), None if o.limit is None else at(o.limit)) for o in outcomes}


@pytest.mark.parametrize("path", list(EDITS), ids=lambda p: str(p[-1]) if not isinstance(p[-1], int) else "height")
def test_a_nudged_case_of_the_batch_equals_the_edited_file(tmp_path, path):
    loaded = load(tmp_path, STILL)
    rows = [p for p, _ in entries(loaded)]
    batch = run(loaded, Cases(0, 0, 3, rows))
    quantity = dict(loaded.quantities)[path]
    edited = load(tmp_path, changed(STILL, EDITS[path](quantity.si + nudge(quantity))))
    alone = numbers(run(edited, Cases(0, 0, 0, [])), 0)
    together = numbers(batch, 1 + rows.index(path))
    # a structure chosen nominally (which pose, which way) stays; elsewhere the numbers are the same
    assert len(alone) > 10
    for key, (value, limit) in alone.items():
        if key[0] in ("drive.ratio", "air.layout", "air.strokes.main"):
            continue  # asked of the nominal robot alone, or counted in whole numbers
        assert together[key][0] == pytest.approx(value, rel=1e-6, nan_ok=False), key
        assert (together[key][1] is None) == (limit is None)
        if limit is not None:
            assert together[key][1] == pytest.approx(limit, rel=1e-6), key


@pytest.mark.parametrize("case", range(4))
def test_a_sampled_case_of_the_batch_equals_the_file_with_those_numbers(tmp_path, case):
    """Only what the edited file can say wanders: everything else is given without tolerance."""
    loaded = load(tmp_path, STILL)
    batch_cases = Cases(5, 0, 8, [])
    kept = {path: batch_cases.draw(path, dict(loaded.quantities)[path])[1 + case] for path in EDITS}

    class Some(Cases):
        def draw(self, path, quantity):
            return super().draw(path, quantity) if path in EDITS else quantity.si

    batch = numbers(run(loaded, Some(5, 0, 8, [])), 1 + case)
    edits = STILL
    for path, value in kept.items():
        edits = changed(edits, EDITS[path](float(value)))
    alone = numbers(run(load(tmp_path, edits), Cases(0, 0, 0, [])), 0)
    for key in ("balance.tip.forward", "balance.stop.back", "drive.sprint", "drive.push", "air.tank.one"):
        found = [k for k in alone if k[0] == key]
        assert len(found) == 1
        assert batch[found[0]][0] == pytest.approx(alone[found[0]][0], rel=1e-6), key


def test_inputs_are_the_keys_that_matter_and_no_others(tmp_path):
    report = evaluate(load(tmp_path, AIR, {"limits": {"mass": "9 kg", "charge_pressure": "100 psi"}}), samples=0)
    cylinder = "catalogue.cylinders.test cylinder"
    pressure = set(find(report, "air.pressure.main").inputs)
    assert pressure == {
        "air.supply.charge", "air.supply.tube_bore", "air.tanks.one.leak_half_time", "air.cylinders.main.tube",
        "air.cylinders.main.dead_volume", "air.cylinders.main.push_load", "catalogue.tanks.test tank.volume",
        f"{cylinder}.bore", f"{cylinder}.rod", f"{cylinder}.stroke", f"{cylinder}.efficiency",
    }  # fmt: skip
    assert set(find(report, "limits.mass").inputs) == {"parts.box.mass"}
    assert set(find(report, "limits.charge_pressure").inputs) == {"air.supply.charge"}
    tilt = set(find(report, "balance.tilt").inputs)
    wheels = {f"drive.wheels.{side} {end}" for side in ("left", "right") for end in ("front", "rear")}
    feet = {f"{wheel}.position[{i}]" for wheel in wheels for i in (0, 1)}
    assert tilt <= {"balance.least_tilt"} | {f"parts.box.position[{i}]" for i in range(3)} | feet
    assert {"parts.box.position[0]", "parts.box.position[2]", "drive.wheels.left front.position[0]"} <= tilt
    tip = find(report, "balance.tip.forward").inputs
    assert f"catalogue.wheels.{WHEEL}.grip" in tip
    assert not any(key.startswith(("air.", "season.", "catalogue.cylinders")) for key in tip)


def test_what_matters_most_comes_first_and_the_estimate_to_measure_is_named(tmp_path):
    box = {"mass": {"value": "7 kg", "tolerance": "0.1 kg", "basis": "measured"}}
    top = {"mass": {"value": "1 kg", "tolerance": "0.4 kg"}, "position": ["0 m"] * 3, "size": ["0.1 m"] * 3}
    more = {"mass": {"value": "1 kg", "tolerance": "0.2 kg"}, "position": ["0 m"] * 3, "size": ["0.1 m"] * 3}
    loaded = load(tmp_path, {"parts": {"box": box, "top": top, "more": more}}, {"limits": {"mass": "9 kg"}})
    found = find(evaluate(loaded, samples=100), "limits.mass")
    assert found.inputs == ("parts.top.mass", "parts.more.mass", "parts.box.mass")
    assert found.sharpen == "parts.top.mass"
    assert found.bases == {"measured": 1, "estimate": 2}


def test_same_seed_same_report_and_another_seed_another_chance():
    loaded = example()
    one, two = evaluate(loaded, 500, seed=3), evaluate(example(), 500, seed=3)
    assert json.dumps(as_data(one)) == json.dumps(as_data(two))
    other = evaluate(loaded, 500, seed=4)
    assert [f.verdict for f in one.findings] == [f.verdict for f in other.findings]
    assert any(a.chance != b.chance for a, b in zip(one.findings, other.findings, strict=True))


def test_a_longer_run_repeats_the_shorter_one(tmp_path):
    loaded = load(tmp_path, AIR)
    short, long = (run(loaded, Cases(1, 0, n, [])) for n in (50, 300))
    assert short
    for a, b in zip(short, long, strict=True):
        va, vb = np.broadcast_to(a.value, 51), np.broadcast_to(b.value, 301)
        assert va == pytest.approx(vb[:51], rel=1e-12), a.id


def test_many_samples_stream_in_blocks_with_the_same_verdicts():
    told = []
    few, many = evaluate(example(), 1000), evaluate(example(), 2 * BLOCK + 808, progress=told.append)
    assert told == [2 * BLOCK, 2 * BLOCK + 808]
    assert {(f.id, f.subject): (f.verdict, f.value, f.margin) for f in few.findings} == {
        (f.id, f.subject): (f.verdict, f.value, f.margin) for f in many.findings
    }
    for f in few.findings:
        if f.chance is None:
            continue
        g = next(g for g in many.findings if (g.id, g.subject) == (f.id, f.subject))
        # four standard errors of both shares
        error = math.sqrt(max(g.chance * (1 - g.chance), 1e-3) * (1 / 1000 + 1 / 9000))
        assert f.chance == pytest.approx(g.chance, abs=4 * error), f.id


def test_what_is_missing_is_unknown_and_never_judged(tmp_path):
    bare = evaluate(load(tmp_path, {"parts": GONE}, {"limits": {"mass": "9 kg"}}), samples=50)
    unknowns = [f for f in bare.findings if f.verdict == "unknown"]
    assert {f.id for f in unknowns} == {"drive", "balance.tip", "limits.mass", "limits.unsaid"}
    for f in unknowns:
        assert (f.value, f.limit, f.margin, f.chance, f.spread, f.inputs) == (None, None, None, None, None, ())
        assert f.missing


def test_margins_are_cut_at_ten_and_json_has_no_infinities():
    for name in ("mk1", "mk2"):
        report = evaluate(example(name), samples=200)
        assert all(-10 <= f.margin <= 10 for f in report.findings if f.margin is not None)
        assert any(f.value is None and f.verdict != "unknown" for f in report.findings)  # something is without bound
        data = json.loads(json.dumps(as_data(report), allow_nan=False))
        schema = json_schema(Report)
        assert set(data) == set(schema["properties"]) == set(schema["required"])
        assert data.pop("format") == schema["properties"]["format"]["const"]
        assert TypeAdapter(Report).validate_json(json.dumps(data)) == report


def test_short_ones_come_first_then_unknown_then_those_that_hold(tmp_path):
    robot = changed(
        AIR, {"air": {"cylinders": {"idle": {"cylinder": "test cylinder", "tank": "one", "valve": "test valve"}}}}
    )
    report = check(tmp_path, robot, {"limits": {"mass": "5 kg", "motors": 2}})
    order = [VERDICTS.index(f.verdict) for f in report.findings]
    assert order == sorted(order)
    assert set(order) == {0, 2, 3}
    for verdict in ("short", "close", "holds"):
        margins = [f.margin for f in report.findings if f.verdict == verdict]
        assert margins == sorted(margins)


def test_every_default_in_use_is_listed_and_no_stated_value_is(tmp_path):
    listed = {a.key: a for a in evaluate(load(tmp_path), samples=0).assumptions}
    drive = {"braking", "motor_hot", "between_matches"}
    assert {key for key in listed if key.startswith("drive.")} == {f"drive.{k}" for k in drive} | {
        "drive.targets.turn_angle"
    }
    assert listed["drive.motor_hot"].value == "105 °C"
    assert "IEC 60085" in listed["drive.motor_hot"].why
    assert "season.altitude" in listed
    assert "drive.friction_torque" not in listed
    stated = load(tmp_path, {"drive": {"motor_hot": "90 degC"}}, {"altitude": "0 m"})
    again = {a.key for a in evaluate(stated, samples=0).assumptions}
    assert again == set(listed) - {"drive.motor_hot", "season.altitude"}


def test_the_assumptions_are_those_that_a_reader_of_the_file_would_miss():
    """Every quantity that neither robot, parts list, season nor catalogue text states is among the assumptions."""
    loaded = example()
    # the usual tolerances of guessed places and masses stand there too, one line each: the numbers are in the file
    listed = {a.key for a in evaluate(loaded, samples=0).assumptions if not a.why.startswith("tolerance of")}
    assumed = {str(path) for path, q in loaded.quantities if q.assumed}
    assert len(assumed) == len(listed)
    text = (EXAMPLES / "mk1.yaml").read_text("utf-8")
    for key in ("tube_bore", "motor_hot", "least_tilt"):
        assert key not in text
        assert any(key in name for name in listed)


def test_every_source_named_by_a_finding_is_in_the_list_of_sources():
    import tomllib
    from pathlib import Path

    import fieldworthy

    sources = tomllib.loads((Path(fieldworthy.__file__).parent / "sources.toml").read_text("utf-8"))
    for name in ("mk1", "mk2"):
        report = evaluate(example(name), samples=0)
        named = {source for item in (*report.findings, *report.facts) for source in item.sources}
        assert named, name
        assert named <= set(sources)


@pytest.mark.long
@quiet
@given(extra=st.floats(0.05, 6.0))
def test_more_mass_never_raises_accelerations(tmp_path, extra):
    light, heavy = (
        check(tmp_path, changed(AIR, {"parts": {"box": {"mass": f"{m!r} kg"}}})) for m in (7.0, 7.0 + extra)
    )
    assert find(heavy, "drive.sprint").value >= find(light, "drive.sprint").value * (1 - 1e-9)
    for side in ("forward", "back"):  # the hardest acceleration that it makes
        assert find(heavy, f"balance.tip.{side}").limit <= find(light, f"balance.tip.{side}").limit * (1 + 1e-9)


@quiet
@given(z=st.floats(0.05, 0.4), drop=st.floats(0.001, 0.04))
def test_a_lower_centre_of_gravity_never_hurts_the_balance(tmp_path, z, drop):
    high, low = (
        check(tmp_path, {"parts": {"box": {"position": ["0.02 m", "0.01 m", f"{h!r} m"]}}}) for h in (z, z - drop)
    )
    ids = [f"balance.{kind}.{side}" for kind in ("tip", "stop", "over") for side in ("forward", "back")]
    for identifier in [*ids, "balance.tip.left", "balance.tip.right", "balance.tilt"]:
        assert find(low, identifier).margin >= find(high, identifier).margin - 1e-9, identifier


@quiet
@given(charge=st.floats(200, 800), more=st.floats(1, 200), regulator=st.one_of(st.none(), st.floats(150, 600)))
def test_more_charge_never_lowers_an_air_margin(tmp_path, charge, more, regulator):
    tank = {} if regulator is None else {"air": {"tanks": {"one": {"regulator": f"{regulator!r} kPa"}}}}
    less, full = (check(tmp_path, changed(changed(AIR, tank), {"air": {"supply": {"charge": f"{p!r} kPa"}}}))
                  for p in (charge, charge + more))  # fmt: skip
    assert find(full, "air.pressure.main").margin >= find(less, "air.pressure.main").margin - 1e-12


def in_other_units(text: str) -> str:
    """The same quantities in inches and pounds."""
    import re

    def rewrite(match: re.Match[str]) -> str:
        number, unit = float(match[1]), match[2]
        factor, other = {"m": (1 / 0.0254, "in"), "mm": (1 / 25.4, "in"), "kg": (1 / 0.45359237, "lb"),
                         "g": (1 / 453.59237, "lb"), "kPa": (1000 / 6894.757293168361, "psi")}[unit]  # fmt: skip
        return f'"{number * factor!r} {other}"'

    return re.sub(r'"(-?[\d.]+) (mm|m|kg|g|kPa)"', rewrite, text)


def test_units_of_the_file_change_no_verdict_and_no_margin(tmp_path):
    season = {"limits": {"mass": "7.5 kg", "stowed_size": ["450 mm"] * 3}}
    robot = changed(AIR, {"air": {"supply": {"charge": "650 kPa"}}, "poses": {"start": {"use": "start"}}})
    metric = evaluate(load(tmp_path, robot, season), samples=300)
    for file in (tmp_path / "robot.yaml", tmp_path / "season.yaml"):
        file.write_text(in_other_units(file.read_text("utf-8")), "utf-8")
    inch = evaluate(load_robot(tmp_path / "robot.yaml"), samples=300)
    assert {f.unit for f in inch.findings} >= {"lb", "in", "psi"}
    assert {f.unit for f in metric.findings} >= {"kg", "m", "kPa"}
    for f in metric.findings:
        g = next(g for g in inch.findings if (g.id, g.subject) == (f.id, f.subject))
        assert g.verdict == f.verdict, f.id
        assert g.margin == pytest.approx(f.margin, abs=1e-9), f.id
        # a sample exactly at a limit may fall to either side by the last bit of a conversion
        assert g.chance == pytest.approx(f.chance, abs=1 / 300 + 1e-12), f.id


# --- verdicts and causes --------------------------------------------------------------------------------------------


def made(identifier, margin, chance=0.0, follows=(), limit=1.0, subject="thing"):
    verdict = verdict_of(margin, chance)
    numbers = (None, limit, "m", "at least", margin, chance, None)
    return Finding(identifier, subject, *numbers, verdict, "It is so.", (), {}, None, (), (), follows)


def test_a_verdict_weighs_the_nominal_margin_and_the_chance():
    # by the words of the design: close where fewer than 95 in 100 hold, or more than 5 in 100 of a short one
    told = {(0.1, 1.0): "holds", (0.1, 0.95): "holds", (0.1, 0.949): "close", (-0.1, 0.05): "short",
            (-0.1, 0.051): "close", (-0.1, None): "short", (0.0, None): "holds", (None, None): "unknown"}  # fmt: skip
    assert {key: verdict_of(*key) for key in told} == told


def test_causes_lead_what_follows_from_them_and_twins_stand_together():
    found = (
        made("air.pressure.hooks", -0.5),
        made("climb.lift.hooks", -0.5, follows=("air.pressure.hooks",)),
        made("climb.hold.hooks", -0.6, follows=("climb.lift.hooks",)),
        made("tracking.seam.ahead", -0.4),
        made("tracking.seam.across", -0.4),
        made("drive.turn", -0.1),
    )
    causes = causes_of(found)
    assert [[f.id for f in c.findings] for c in causes] == [
        ["air.pressure.hooks", "climb.lift.hooks", "climb.hold.hooks"],
        ["tracking.seam.ahead", "tracking.seam.across"],
        ["drive.turn"],
    ]
    # where what it follows from is not short, it leads itself
    assert [c.lead.id for c in causes_of(found[1:3])] == ["climb.lift.hooks"]
    # a ring of declarations loses nothing
    ring = (made("a.b", -0.1, follows=("a.c",)), made("a.c", -0.2, follows=("a.b",)))
    assert {f.id for c in causes_of(ring) for f in c.findings} == {"a.b", "a.c"}


def test_every_short_finding_of_the_examples_has_a_cause():
    for name in ("mk1", "mk2"):
        report = evaluate(example(name))
        assert report.findings
        assert sorted(f.id for c in report.causes for f in c.findings) == sorted(f.id for f in report.short)


def test_the_empty_tank_of_the_first_robot_is_one_cause():
    report = evaluate(example("mk1"))
    (cause,) = [c for c in report.causes if c.lead.id == "air.pressure.hooks"]
    assert {f.id for f in cause.consequences} == {"air.time.hooks", "climb.lift.hooks", "climb.hold.hooks"}
    assert len(report.causes) < len(report.short)


@pytest.mark.parametrize(
    ("value", "limit", "said"),
    [
        (1.0, 2.0, "1 m of 2 m"),
        (0.99996, 1.0, "0.99996 m of 1 m"),
        (1.0, 1.0, "1 m of 1 m"),
        (0.9996, 1.0, "0.9996 m of 1 m"),
    ],
)
def test_a_sentence_never_hides_on_which_side_of_the_limit_a_value_is(value, limit, said):
    message = Message("{value} of {limit}", "", {"value": (value, "length"), "limit": (limit, "length")})
    outcome = Outcome("a", "a", value, limit, "length", message)
    assert DisplayUnits({"length": "m"}).sentence(outcome) == said
