"""Runs the command line in-process, and a small robot written out as a team would, for tests of what people type."""

from __future__ import annotations

import contextlib
import io
import re
from dataclasses import dataclass
from pathlib import Path

from fieldworthy.cli import main

ROBOT = """\
fieldworthy: robot 1
robot: Small
season: season.yaml
drive:
  motor: smart motor, 11 W class, 600 rpm
  motors: 4
  stages: [{driver: 48, driven: 60}]
  wheels:
    left front: {position: [150 mm, 150 mm], wheel: "rubber wheel, 2.75 in"}
    left rear: {position: [-150 mm, 150 mm], wheel: "rubber wheel, 2.75 in"}
    right front: {position: [150 mm, -150 mm], wheel: "rubber wheel, 2.75 in"}
    right rear: {position: [-150 mm, -150 mm], wheel: "rubber wheel, 2.75 in"}
  targets:
    sprint_distance: 2 m
    push_force: 30 N
battery: "lithium pack, 12.8 V class, 1.1 Ah"
parts:
  frame:
    mass: {value: 5 kg, tolerance: 50 g, basis: measured}
    position: [0 mm, 0 mm, 80 mm]
    size: [400 mm, 380 mm, 100 mm]
  lift: {mass: 1 kg, position: [0 mm, 0 mm, 200 mm], size: [60 mm, 200 mm, 200 mm], rides: lift}
poses:
  stowed: {use: start}
  raised:
    use: drive
    moves:
      lift: {turn: 10 deg, pivot: [0 mm, 0 mm, 200 mm]}
    carries:
      ball: {object: ball, position: [0 mm, 0 mm, 300 mm], rides: lift}
air:
  tanks:
    left: {tank: "tank, 200 mL"}
  cylinders:
    clamp:
      cylinder: "cylinder, 16 mm bore, 50 mm stroke"
      tank: left
      valve: small 5/2 solenoid valve
      mechanism: clamp
mechanisms:
  clamp: {kind: plain, motors: [{motor: "smart motor, 5.5 W class, 200 rpm"}]}
actions:
  score: {time: 2 s, task: ball in goal, strokes: {clamp: 1}, practice: {successes: 5, attempts: 10}}
plan:
  start: start
  driven:
    - times: 4
      repeat:
        - {action: score, at: goal}
"""
SEASON = """\
fieldworthy: season 1
season: Test season
limits: {mass: 9 kg, stowed_size: [450 mm, 450 mm, 450 mm]}
field:
  size: [3.6 m, 3.6 m]
  places:
    start: [-1 m, 0 m]
    goal: [1 m, 0 m]
objects:
  ball: {mass: 80 g, size: [100 mm, 100 mm, 100 mm], shape: ball}
tasks:
  ball in goal: {points: 2, object: ball}
periods: {autonomous: 20 s, driven: 100 s}
"""
PARTS = """\
part,mass [g],x [mm],y [mm],z [mm],length [mm],width [mm],height [mm],rides,count,basis
rail,310,10,185,60,400,25,25,chassis,2,measured
brace,110,60,0,395,25,300,25,lift,1,estimate
"""
_PLACE = re.compile(r"(?P<file>[^\n]*?):(?P<line>\d+):(?P<column>\d+): (?P<rest>.*)")


@dataclass(frozen=True)
class Run:
    """How a command ended and what it printed."""

    code: int
    out: str
    err: str

    @property
    def problems(self) -> list[tuple[str, int, int, str]]:
        """File name, line, column and text of every line on stderr; a line of another form fails the test."""
        found = []
        lines = self.err.splitlines()
        if re.fullmatch(r"and \d+ more problems", lines[-1] if lines else ""):
            lines.pop()
        for line in lines:
            match = _PLACE.fullmatch(line)
            assert match, f"not file:line:column: {line!r}"
            found.append((Path(match["file"]).name, int(match["line"]), int(match["column"]), match["rest"]))
        return found


def run(*arguments: object) -> Run:
    """Run the command line in this process; anything but an orderly exit is a failure of the test."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main([str(a) for a in arguments])
            code = 0
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else 0
    assert "Traceback" not in err.getvalue()
    return Run(code, out.getvalue(), err.getvalue())


def written(folder: Path, robot: str | bytes = ROBOT, season: str = SEASON, parts: str | bytes = PARTS) -> Path:
    """Write a robot file, its season and a parts list into a folder."""
    for name, text in (("robot.yaml", robot), ("season.yaml", season), ("parts.csv", parts)):
        (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder / "robot.yaml"


def changed(old: str, new: str, text: str = ROBOT) -> str:
    """Replace the one place where `old` stands."""
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
    return text.replace(old, new)


def place(word: str, text: str) -> tuple[int, int]:
    """Line and column, from 1, of the one place where a word stands."""
    assert text.count(word) == 1, f"{word!r} stands {text.count(word)} times"
    before = text[: text.index(word)]
    return before.count("\n") + 1, len(before.rpartition("\n")[2]) + 1
