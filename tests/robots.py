"""Small robots for tests: a file of a few parts with exact numbers, changed piece by piece; and the examples."""

from __future__ import annotations

import copy
import dataclasses
import json
import shutil
from pathlib import Path
from typing import Any

from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.finding import Fact, Finding, Report
from fieldworthy.robot import Loaded, load_robot

EXAMPLES = Path(__file__).parents[1] / "examples" / "heron"
OTTER = EXAMPLES.parent / "otter" / "mk1.yaml"
MARTEN = EXAMPLES.parent / "marten" / "mk1.yaml"
GRAVITY = 9.80665  # CGPM 1901
GONE: Any = ...
"""As a value among changes: take the key away."""

WHEEL = "test wheel"
MOTOR: dict[str, Any] = {
    "free_speed": "600 rpm", "stall_torque": "0.7 N*m", "free_current": "0.13 A", "stall_current": "3.6 A",
    "rated_voltage": "12 V", "power_cap": "11 W", "current_limit": "2.5 A", "counted_power": "11 W", "mass": "155 g",
    "rotor_inertia": "1.2 kg*cm^2", "winding_heat_capacity": "25 J/K", "case_heat_capacity": "90 J/K",
    "winding_to_case": "3 K/W", "case_to_air": "7 K/W",
}  # fmt: skip
ROBOT: dict[str, Any] = {
    "fieldworthy": "robot 1",
    "robot": "Test",
    "season": "season.yaml",
    "drive": {
        "motor": "test motor",
        "motors": 4,
        "stages": [{"driver": 36, "driven": 48, "efficiency": 0.9}],
        "wheels": {
            "left front": {"position": ["0.14 m", "0.15 m"], "wheel": WHEEL},
            "left rear": {"position": ["-0.12 m", "0.15 m"], "wheel": WHEEL},
            "right front": {"position": ["0.14 m", "-0.15 m"], "wheel": WHEEL},
            "right rear": {"position": ["-0.12 m", "-0.15 m"], "wheel": WHEEL},
        },
        "friction_torque": "0.02 N*m",
        "extra_inertia": "5 kg*cm^2",
    },
    "battery": "test battery",
    "parts": {
        "box": {"mass": "7 kg", "position": ["0.02 m", "0.01 m", "0.12 m"], "size": ["0.36 m", "0.34 m", "0.2 m"]}
    },
    "poses": {"driving": {"use": "drive"}},
    "catalogue": {
        "motors": {"test motor": MOTOR},
        "wheels": {
            WHEEL: {"diameter": "70 mm", "mass": "60 g", "grip": 0.8, "side_grip": 0.3, "rolling_resistance": 0.02}
        },
        "batteries": {
            "test battery": {"open_circuit": "12.8 V", "resistance": "0.12 ohm", "capacity": "1.1 A*h", "mass": "350 g"}
        },
        "tanks": {"test tank": {"volume": "200 mL", "rated_pressure": "1000 kPa", "mass": "110 g"}},
        "cylinders": {
            "test cylinder": {
                "bore": "16 mm", "rod": "6 mm", "stroke": "50 mm", "closed_length": "120 mm", "mass": "60 g",
                "rated_pressure": "1000 kPa", "efficiency": 0.9,
            },
            "spring cylinder": {
                "bore": "12 mm", "rod": "5 mm", "stroke": "40 mm", "closed_length": "120 mm", "mass": "50 g",
                "rated_pressure": "1000 kPa", "efficiency": 0.9, "single_acting": True, "spring": "6 N",
            },
        },
        "valves": {"test valve": {"conductance": "0.2 L/(s*bar)", "critical_ratio": 0.3, "mass": "32 g"}},
    },
}  # fmt: skip
SEASON: dict[str, Any] = {
    "fieldworthy": "season 1",
    "season": "Test season",
    "temperature": "20 degC",
    "limits": {},
    "field": {"size": ["4 m", "4 m"], "places": {"a": ["0 m", "0 m"], "b": ["1.2 m", "0 m"], "c": ["1.2 m", "0.9 m"]}},
    "objects": {"ball": {"mass": "0.4 kg", "size": ["0.1 m", "0.1 m", "0.1 m"]}},
    "periods": {"autonomous": "20 s", "driven": "100 s"},
}


def changed(base: Any, changes: Any) -> Any:
    """Lay changes over a nested mapping; lists and plain values are replaced."""
    if not (isinstance(base, dict) and isinstance(changes, dict)):
        return copy.deepcopy(changes)
    out = copy.deepcopy(base)
    for key, value in changes.items():
        if value is GONE and key in out:
            del out[key]
        elif value is GONE:
            out[key] = GONE  # changes laid over changes: still to be taken away
        else:
            out[key] = changed(out.get(key), value)
    return out


def load(folder: Path, robot: dict[str, Any] | None = None, season: dict[str, Any] | None = None) -> Loaded:
    """Write the small robot and its season with changes, and read them back through the file reader."""
    # JSON is YAML too
    (folder / "season.yaml").write_text(json.dumps(changed(SEASON, season or {}), indent=1), encoding="utf-8")
    file = folder / "robot.yaml"
    file.write_text(json.dumps(changed(ROBOT, robot or {}), indent=1), encoding="utf-8")
    return load_robot(file)


def check(folder: Path, robot: dict[str, Any] | None = None, season: dict[str, Any] | None = None) -> Report:
    """Check the small robot with changes, nominal numbers alone."""
    return evaluate(load(folder, robot, season), samples=0)


def example(name: str = "mk1") -> Loaded:
    """Load one of the example robots: Heron's mk1 or mk2, or 'otter' or 'marten', which are quite other robots."""
    return load_robot(example_file(name))


def example_file(name: str) -> Path:
    """Where an example robot's file is."""
    return {"otter": OTTER, "marten": MARTEN}.get(name, EXAMPLES / f"{name}.yaml")


def example_copy(folder: Path, *edits: tuple[str, str], name: str = "mk1") -> Path:
    """Copy the examples and replace texts of one robot's file or its parts list; each must stand there once."""
    here, name = example_file(name).parent, example_file(name).stem
    for file in here.iterdir():
        shutil.copy(file, folder)
    for old, new in edits:
        places = [f for f in (folder / f"{name}.yaml", folder / f"{name}_parts.csv") if old in f.read_text("utf-8")]
        assert len(places) == 1, f"{old!r} stands in {len(places)} files"
        text = places[0].read_text("utf-8")
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
        places[0].write_text(text.replace(old, new), "utf-8")
    return folder / f"{name}.yaml"


def nominal(loaded: Loaded) -> Context:
    """The robot as the checks see it, nominal numbers alone."""
    return Context(loaded.nominal, loaded.nominal_season)


def find(report: Report, identifier: str, subject: str = "") -> Finding:
    """The one finding with this id (and subject)."""
    found = [f for f in report.findings if f.id == identifier and subject in f.subject]
    assert len(found) == 1, f"{identifier}: {len(found)} findings among {[f.id for f in report.findings]}"
    return found[0]


def fact(report: Report, identifier: str, subject: str = "") -> Fact:
    """The one fact with this id (and subject)."""
    found = [f for f in report.facts if f.id == identifier and subject in f.subject]
    assert len(found) == 1, f"{identifier}: {len(found)} facts among {[f.id for f in report.facts]}"
    return found[0]


def on_tanks(context: Context, layout: dict[str, str]) -> Context:
    """A robot with its cylinders on other tanks."""
    air = context.robot.air
    moved = {n: dataclasses.replace(c, tank=layout.get(n, c.tank)) for n, c in air.cylinders.items()}
    robot = dataclasses.replace(context.robot, air=dataclasses.replace(air, cylinders=moved))
    return Context(robot, context.season)


# carries balls from one corner to the other as often as its drive lets it
RUNNER = {
    "robot": "Runner",
    "mechanisms": {"hand": {"kind": "plain", "can": ["carry"]}},
    "actions": {
        "take": {"time": "0.5 s", "takes": 1, "object": "ball", "practice": {"successes": 90, "attempts": 100}},
        "give": {"time": "0.5 s", "task": "goal", "practice": {"successes": 90, "attempts": 100}},
    },
    "plan": {
        "start": "a",
        "driven": [{"until": "100 s", "repeat": [{"action": "take", "at": "a"}, {"action": "give", "at": "c"}]}],
    },
}
RUNNER_SEASON = {"tasks": {"goal": {"points": 3, "object": "ball", "needs": ["carry"]}}}
