"""The text of a first robot file, with a team's answers filled in."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any

from fieldworthy.robot.loading import builtin
from fieldworthy.robot.model.machine import declared
from fieldworthy.units import KINDS, digits, parse, to_unit


def starter_season(inch: bool) -> str:
    """Write a first season file."""
    ball, mass, box = ("4 in", "20 lb", "19 in") if inch else ("100 mm", "9 kg", "480 mm")
    bar = "24 in, diameter: 1.5 in" if inch else "600 mm, diameter: 40 mm"
    light, field, near, far = ("3 oz", "14 ft", "-4 ft", "4 ft") if inch else ("80 g", "4.2 m", "-1.2 m", "1.2 m")
    return f"""\
# A first season file. Every number below is a placeholder: put in those of your game's own rules.
# Several robots in this folder can share this file.
fieldworthy: season 1
season: our season

# The limits: what the rules allow. Nothing is judged against a limit that is not here. To have it judged, take away
# the braces and the '#' of its line, and put in your rules' number:
limits: {{}}
#  mass: {mass}
#  motors: 9
#  motor_power: 90 W
#  stowed_size: [{box}, {box}, {box}]   # length, width, height at the start
#  tanks: 3
#  charge_pressure: 7 bar

# The field: its size, and the places that a match plan names. [x, y], from the field's middle.
field:
  size: [{field}, {field}]
  places:
    start: [{near}, {near}]
    goal: [{far}, {far}]

# The objects that robots move: mass, and length, width, height.
objects:
  ball: {{mass: {light}, size: [{ball}, {ball}, {ball}], shape: ball}}

# The structures that robots reach for. A climber needs a bar:
#structures: {{bar: {{height: {bar}}}}}

# The tasks: what earns points.
tasks:
  ball in goal: {{points: 2, per: each, object: ball}}

# How long the parts of a match last.
periods: {{autonomous: 20 s, driven: 100 s}}
"""


CONTROL_UNIT = 0.285
"""Mass of a control unit with its radio [kg]; from memory, typical of its class."""
_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]*")
_SAME = 0.0005  # m; a wheel within half a millimetre of a class is of that class


@dataclass(frozen=True, slots=True)
class Answers:
    """What a team answers before its first file is written.

    Attributes
    ----------
    name : The robot's name
    season : The season file's name, beside the robot file
    inch : Whether lengths and masses are written in inches and pounds
    motor : Class of the drive motors, a name of the catalogue
    motors, wheels, tanks : How many drive motors, drive wheels and air tanks
    gearing : Teeth on the motor's side and on the wheel's side
    wheel, mass : Wheel diameter [m] and mass of the whole robot [kg]
    size : Length, width and height [m]
    """

    name: str
    season: str
    inch: bool
    motor: str
    motors: int
    wheels: int
    tanks: int
    gearing: tuple[int, int]
    wheel: float
    mass: float
    size: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Meets:
    """What the season offers: the names that the first match plan can use.

    Attributes
    ----------
    places, objects, tasks, structures : Names in the order of the season file; may be empty
    """

    places: tuple[str, ...] = ("start", "goal")
    objects: tuple[str, ...] = ("ball",)
    tasks: tuple[str, ...] = ("ball in goal",)
    structures: tuple[str, ...] = ("bar",)


def wheel_class(diameter: float) -> tuple[str, bool]:
    """Choose the class of drive wheel that is nearest to a diameter."""
    sizes = {
        name: parse(entry["diameter"]["value"], "length").si
        for name, entry in builtin()["wheels"].items()
        if name.startswith("rubber")
    }
    name = min(sizes, key=lambda n: abs(sizes[n] - diameter))
    return name, abs(sizes[name] - diameter) < _SAME


def bought(answers: Answers) -> dict[str, float]:
    """List the mass of what the team has bought for the drive, by part."""
    classes = builtin()

    def mass(section: str, name: str) -> float:
        return parse(classes[section][name]["mass"]["value"], "mass").si

    found = {
        "drive motors": answers.motors * mass("motors", answers.motor),
        "drive wheels": answers.wheels * mass("wheels", wheel_class(answers.wheel)[0]),
        "battery": mass("batteries", next(iter(classes["batteries"]))),
        "control unit": CONTROL_UNIT,
    }
    if answers.tanks:
        found["air tanks"] = answers.tanks * mass("tanks", next(iter(classes["tanks"])))
    return found


def word(text: str) -> str:
    """Write a name so that YAML reads it back as the same text."""
    plain = _PLAIN.fullmatch(text) and text.strip() == text and text.lower() not in ("true", "false", "null")
    return text if plain and not text[:1].isdigit() else json.dumps(text, ensure_ascii=False)


def _unit(kind: str, inch: bool) -> str:
    return KINDS[kind].inch if inch else KINDS[kind].metric


class Writer:
    """Writes lengths and masses in the team's units."""

    def __init__(self, inch: bool) -> None:
        self.inch = inch

    def of(self, kind: str, si: float) -> str:
        """Write a quantity."""
        unit = _unit(kind, self.inch)
        return f"{digits(to_unit(si, kind, unit), 4)} {unit}"

    def point(self, *values: float) -> str:
        """Write a place or a size."""
        return "[" + ", ".join(self.of("length", value) for value in values) + "]"

    def part(self, mass: float, position: tuple[float, ...], size: tuple[float, ...], basis: str = "") -> str:
        """Write one line of the parts."""
        written = self.of("mass", mass)
        written = f"{{value: {written}, basis: {basis}}}" if basis else written
        return f"{{mass: {written}, position: {self.point(*position)}, size: {self.point(*size)}}}"


@dataclass(frozen=True, slots=True)
class Begun:
    """What a system's part of a first robot file is written from: the team's answers, the season's names, the units."""

    answers: Answers
    meets: Meets
    write: Writer


def _of_systems(begun: Begun) -> list[str]:
    """What each system has a team uncomment; one that begins with its key goes on where the one before it ends."""
    found: list[str] = []
    for text in (system.starter(begun) for system in declared()):
        if text.startswith("#  ") and found:
            found[-1] += text
        elif text:
            found.append(text)
    return found


def starter_robot(answers: Answers, meets: Meets) -> str:
    """Write a first robot file."""
    write = Writer(answers.inch)
    sections = [
        _head(answers, write),
        _drive(answers, write),
        _parts(answers, write),
        _poses(answers, meets, write),
        _air(answers),
        *_of_systems(Begun(answers, meets, write)),
        _plan(meets),
        _catalogue(answers, write),
    ]
    return "\n".join(section for section in sections if section)


def _head(answers: Answers, write: Writer) -> str:
    length = write.of("length", answers.size[0])
    title = answers.name if _PLAIN.fullmatch(answers.name) else "Our robot"
    return f"""\
# {title}: a first description, to be made true one number at a time.
# Run 'fieldworthy check' on this file after every change.
#
# A number always has its unit. There are three ways to write one:
#   {length}
#       a guess; the tool assumes a sensible tolerance for it
#   {{value: {length}, basis: measured}}
#       basis says what it rests on: estimate, datasheet or measured; the better the basis, the smaller the tolerance
#   {{value: {length}, tolerance: {"0.1 in" if answers.inch else "2 mm"}, basis: measured}}
#       the same with a tolerance of your own: 95 times in 100 the true value is no farther off
#
# Places are measured from the point on the floor midway between the drive wheels:
# x to the front, y to the left, z up. [x, y, z]
fieldworthy: robot 1
robot: {word(answers.name)}
season: {word(answers.season)}   # the file with the season's limits, field and scoring, in the same folder
"""


def _wheel_rows(answers: Answers) -> list[tuple[str, float, float]]:
    """Name and place of every drive wheel: as many on the left as on the right, evenly from front to rear."""
    a_side = answers.wheels // 2
    reach = 0.45 * (answers.size[0] - answers.wheel)
    side = 0.42 * answers.size[1]
    names = {2: ("front", "rear"), 3: ("front", "middle", "rear")}.get(
        a_side, tuple(f"{i + 1} from the front" for i in range(a_side))
    )
    along = [reach - 2 * reach * i / (a_side - 1) for i in range(a_side)]
    return [
        (f"{left_right} {name}", x, sign * side)
        for left_right, sign in (("left", 1), ("right", -1))
        for name, x in zip(names, along, strict=True)
    ]


def _drive(answers: Answers, write: Writer) -> str:
    name, listed = wheel_class(answers.wheel)
    wheel = word(name if listed else "our wheel")
    rows = "\n".join(
        f"    {row}: {{position: {write.point(x, y)}, wheel: {wheel}}}" for row, x, y in _wheel_rows(answers)
    )
    sprint = "8 ft" if answers.inch else "2.4 m"
    driver, driven = answers.gearing
    if driver == driven:
        stages = "  stages: []   # no gears: the motors turn the wheels directly"
    else:
        stages = f"""\
  stages:   # gears or chain from motor to wheel: teeth on the motor's side, then on the wheel's side
    - {{driver: {driver}, driven: {driven}}}"""
    return f"""\
# The drive: which motors, what gearing, and where each wheel touches the floor.
drive:
  motor: {word(answers.motor)}
  motors: {answers.motors}
{stages}
  wheels:   # [x, y]
{rows}
  # What you want of it. Take away the '#' to have it judged:
  # targets: {{sprint_distance: {sprint}, sprint_time: 2.2 s, turn_time: 0.6 s, push_force: 30 N}}

battery: {word(next(iter(builtin()["batteries"])))}
"""


def _parts(answers: Answers, write: Writer) -> str:
    length, width, height = answers.size
    d = answers.wheel
    have = bought(answers)
    rest = answers.mass - sum(have.values())
    deck = min(d, 0.5 * height)
    upper = height - deck
    inner = 0.6 * width
    rows = {
        "frame": write.part(0.55 * rest, (0, 0, deck / 2), (length, width, deck)),
        "drive motors": write.part(have["drive motors"], (0, 0, d / 2), (0.6 * length, inner, d / 2), "datasheet"),
        "drive wheels": write.part(have["drive wheels"], (0, 0, d / 2), (0.9 * length, 0.9 * width, d), "datasheet"),
        "battery": write.part(have["battery"], (-0.3 * length, 0, deck), (0.2 * length, 0.2 * width, 0.05)),
        "control unit": write.part(have["control unit"], (-0.3 * length, 0, deck), (0.2 * length, 0.2 * width, 0.04)),
        "everything else": write.part(0.4 * rest, (0, 0, deck + upper / 2), (0.6 * length, inner, upper)),
    }
    if answers.tanks:
        rows["air tanks"] = write.part(have["air tanks"], (0, 0, deck), (0.4 * length, inner, 0.05))
    arm = write.part(0.05 * rest, (0.2 * length, 0, 0.8 * height), (0.4 * length, 0.5 * width, 0.02))
    rows["arm"] = arm[:-1] + ", rides: arm}"
    listed = "\n".join(f"  {name}: {row}" for name, row in rows.items())
    return f"""\
# The parts: what each weighs, where its middle is, and the box around it: length, width, height.
# Together they give the mass, the balance and the size. Weigh them, and split 'everything else' into what it is.
# (A long list fits better into a table: 'parts_list: parts.csv' names one.)
parts:
{listed}
"""


def _poses(answers: Answers, meets: Meets, write: Writer) -> str:
    height = answers.size[2]
    loaded = (
        f"  loaded: {{use: drive, carries: {{{word('load')}: {{object: {word(meets.objects[0])}, "
        f"position: {write.point(0.3 * answers.size[0], 0, 0.6 * height)}}}}}}}\n"
        if meets.objects
        else ""
    )
    return f"""\
# The poses: the ways the robot stands. 'start' must fit the starting size; in 'drive' it accelerates and turns.
# A pose can also move a group of parts (those with the same 'rides'), for example a lift that goes up.
poses:
  stowed: {{use: start}}
  driving empty: {{use: drive}}
{loaded}#  hooked: {{use: climb}}   # hooks up, for a climber
"""


def _air(answers: Answers) -> str:
    if not answers.tanks:
        return ""
    tank = word(next(iter(builtin()["tanks"])))
    cylinder = word("cylinder, 16 mm bore, 50 mm stroke")
    valve = word(next(iter(builtin()["valves"])))
    rows = "\n".join(f"    tank {i + 1}: {{tank: {tank}}}" for i in range(answers.tanks))
    return f"""\
# Compressed air: the tanks, and the cylinders that each one feeds. Pressures are what the gauge shows.
# Safety first: never charge above the rated pressure of the weakest part, release all air before you work on the
# robot, and wear eye protection.
air:
  supply: {{charge: 6 bar}}
  tanks:
{rows}
  cylinders:
    clamp:   # an example: put in your own, with the load it works against
      cylinder: {cylinder}
      tank: tank 1
      valve: {valve}
      push_load: 20 N
      mechanism: clamp

# The mechanisms: what is on the robot besides the drive, and what it lets you do.
# A plain one is only named, and nothing about its grip is judged; 'kind: clamp' has a jaw's numbers judged.
mechanisms:
  clamp: {{kind: plain}}
"""


def _plan(meets: Meets) -> str:
    if not meets.places:
        return "# The match plan: it needs places, and the season file names none yet.\n"
    first, last = meets.places[0], meets.places[-1]
    task = f", task: {word(meets.tasks[0])}" if meets.tasks else ""
    return f"""\
# The actions: what the robot does, how long one try takes, and how often it worked when you practised.
actions:
  pick up: {{time: 2 s, spread: 0.5 s, takes: 1, objects: 0}}
  score: {{time: 2 s, spread: 0.5 s{task}, practice: {{successes: 5, attempts: 10}}}}

# The match plan: what is done where, and in which order. 'repeat' goes on until 'times' or 'until' is reached.
plan:
  start: {word(first)}
  autonomous:   # the period in which the robot drives itself
    - {{action: score, at: {word(last)}}}
  driven:   # the period with a driver
    - times: 4
      repeat:
        - {{action: pick up, at: {word(first)}}}
        - {{action: score, at: {word(last)}}}
"""


def _catalogue(answers: Answers, write: Writer) -> str:
    name, listed = wheel_class(answers.wheel)
    if listed:
        return ""
    like: dict[str, Any] = builtin()["wheels"][name]
    diameter = write.of("length", answers.wheel)
    mass = write.of("mass", parse(like["mass"]["value"], "mass").si)
    return f"""\
# The catalogue: parts of your own, besides the generic ones that come with the tool. The wheel's numbers below,
# all but its diameter, are those of the nearest generic one ({name}): weigh it, and measure its grip.
catalogue:
  wheels:
    our wheel:
      diameter: {diameter}
      mass: {mass}
      grip: {like["grip"]["value"]}
      side_grip: {like["side_grip"]["value"]}
      rolling_resistance: {like["rolling_resistance"]["value"]}
"""
