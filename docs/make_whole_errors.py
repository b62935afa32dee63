"""Finds what errors of the whole model do to verdicts: ``python docs/make_whole_errors.py``.

Each example robot is judged as its file says, with chances; then as it would be if the world were otherwise than the
model has it: friction twice or half as high, the hall cold after the tanks were charged, valves half open. The
result goes to docs/whole_errors.json, from which ``python docs/make_validation.py`` makes a chapter of
docs/validation.md.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import fieldworthy as fw

HERE = Path(__file__).parent
ROBOTS = ("heron/mk1", "heron/mk2", "otter/mk1", "marten/mk1", "marten/mk2")
_FRICTION = re.compile(r"(^|[._])(friction|friction_torque|rolling_resistance)$")
_NUMBER = re.compile(r"([-+]?[\d.]+(?:e[-+]?\d+)?)\s*(.*)")
COLD, BEFORE = 15.0, 293.15  # K that the hall is colder than where the tanks were charged, and what it was there
_ATMOSPHERE = 1.01325  # bar


def _times(text: str, factor: float) -> str:
    number, unit = _NUMBER.fullmatch(text.replace(",", "")).groups()
    return f"{float(number) * factor:.6g} {unit}".strip()


def _friction(factor: float) -> Callable[[fw.Robot, set[str]], dict[str, str]]:
    def changes(robot: fw.Robot, keys: set[str]) -> dict[str, str]:
        return {key: _times(str(robot[key]), factor) for key in keys if _FRICTION.search(key)}

    return changes


def _cold(robot: fw.Robot, keys: set[str]) -> dict[str, str]:
    changes = {"season.temperature": "5 degC"}
    for key in keys & {"air.supply.charge"}:
        gauge = float(_NUMBER.fullmatch(str(robot[key]))[1])
        colder = (gauge + _ATMOSPHERE) * (BEFORE - COLD) / BEFORE - _ATMOSPHERE
        changes[key] = f"{colder:.4f} bar"
    return changes


def _valves(robot: fw.Robot, keys: set[str]) -> dict[str, str]:
    named = {key for key in keys if re.fullmatch(r"catalogue\.valves\..+\.conductance", key)}
    return {key: _times(str(robot[key]), 0.5) for key in named}


ERRORS: tuple[tuple[str, Callable[[fw.Robot, set[str]], dict[str, str]]], ...] = (
    ("all friction twice as high", _friction(2.0)),
    ("all friction half as high", _friction(0.5)),
    ("the hall at 5 °C, the tanks charged at 20 °C", _cold),
    ("valves half open", _valves),
)


def changes_of(robot: fw.Robot, report: fw.Report, make: Callable[..., dict[str, str]]) -> list[dict[str, Any]]:
    """Findings that turn between kept and missed, with the chance that was stated before."""
    keys = {key for finding in report.findings for key in finding.inputs}
    otherwise = robot.changed(make(robot, keys)).check(samples=0)
    now = {(f.id, f.subject): f for f in otherwise.findings}
    turned = []
    for before in report.findings:
        after = now.get((before.id, before.subject))
        if after is None or before.chance is None or before.margin is None or after.margin is None:
            continue
        if (before.margin >= 0) != (after.margin >= 0):
            turned.append({"id": before.id, "before": before.verdict, "chance": before.chance, "after": after.verdict})
    return turned


def main() -> None:
    """Judge every example under every error."""
    rows = []
    for name in ROBOTS:
        file = HERE.parent / "examples" / f"{name}.yaml"
        if not file.is_file():
            continue
        robot = fw.load(file)
        report = robot.check()
        judged = sum(f.chance is not None for f in report.findings)
        for error, make in ERRORS:
            turned = changes_of(robot, report, make)
            rows.append({"robot": robot.name, "error": error, "judged": judged, "turned": turned})
    lines = ",\n".join(json.dumps(row, ensure_ascii=False) for row in rows)
    (HERE / "whole_errors.json").write_text(f"[\n{lines}\n]\n", encoding="utf-8")


if __name__ == "__main__":
    main()
