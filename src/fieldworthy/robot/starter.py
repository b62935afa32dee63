"""A first robot: the questions before its file, what stands where nobody answers, and the text of the file."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

from fieldworthy.errors import Error
from fieldworthy.files.document import nearest
from fieldworthy.robot.loading import builtin, builtin_names, load_season
from fieldworthy.robot.model.machine import declared
from fieldworthy.units import KINDS, UnitError, digits, parse, to_unit


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


T = TypeVar("T")
_TEETH = re.compile(r"(\d{1,3}):(\d{1,3})")
_MOTOR = "smart motor, 11 W class, 600 rpm"
_TOO_LARGE = 3.0  # m; no robot of this kind is longer


class AnswerError(Error, ValueError):
    """An answer that cannot be used.

    Attributes
    ----------
    question : Which, for example ``wheel-size``
    message : What was expected
    """

    def __init__(self, question: str, message: str) -> None:
        super().__init__(message)
        self.question, self.message = question, message


class Ask(Protocol):
    """Gets one answer: from options, from a form, or from a person."""

    def __call__(self, question: str, default: str, words: str, read: Callable[[str], T]) -> T:
        """Ask one question."""


def gather(get: Ask, file: Path) -> Answers:
    """Ask everything that a first file is written from."""
    name = get("name", _title(file), "What is the robot called?", _name)
    inch = get("units", "metric", "Do you measure in metric or inch units?", _inch)
    season = get("season", "season.yaml", "Which season file, in the same folder?", _season)
    if season == file.name:
        raise AnswerError("season", "the season needs a file of its own")
    motor = get("motor", _MOTOR, _motor_question(), _motor)
    motors = get("motors", "4", "How many motors drive it?", _count(1, 20))
    wheels = get("wheels", "4", "On how many wheels (both sides together)?", _even)
    wheel = get("wheel-size", "2.75 in", "How large are they, across?", _length(0.01, 0.5))
    gearing = get("gearing", "48:60", "Teeth on motor's side : on wheel's side?", _gearing)
    size = _size(get, inch=inch)
    mass = get("mass", "14 lb" if inch else "6.5 kg", "What does it weigh, all of it?", _mass)
    tanks = get("tanks", "0", "How many air tanks (0 for none)?", _count(0, 20))
    answers = Answers(name, season, inch, motor, motors, wheels, tanks, gearing, wheel, mass, size)
    _consistent(answers)
    return answers


@dataclass(frozen=True, slots=True)
class Further:
    """What the first verdicts need besides, as far as the team knows it.

    Attributes
    ----------
    centre : Height of the centre of gravity as the file will say it; empty where nobody has measured it
    has : Names of what is on the robot, from those offered
    limits : What the season allows, as its file will say it
    """

    centre: str
    has: tuple[str, ...]
    limits: dict[str, str | list[str]]


def gather_further(get: Ask, offered: Sequence[str], height: float) -> Further:
    """Ask what the first verdicts need: the centre of gravity, what is on the robot, and the season's limits."""
    centre = get(
        "cg-height", "", "How high is its centre of gravity, if you measured it (empty: not)?", _centre(height)
    )
    has = get("has", "", _has_question(offered), _several(offered))
    mass = get("most-mass", "", "What may it weigh by your season's rules (empty: not known)?", _known(_mass))
    size = get("most-size", "", "How large may it start: length, width, height (empty: not known)?", _three)
    limits: dict[str, str | list[str]] = ({"mass": mass} if mass else {}) | ({"stowed_size": size} if size else {})
    return Further(centre, has, limits)


def _known(read: Callable[[str], object]) -> Callable[[str], str]:
    """Check an answer that may be left out, and keep it as it was written."""

    def kept(text: str) -> str:
        if text:
            read(text)
        return text

    return kept


def _centre(height: float) -> Callable[[str], str]:
    def inside(text: str) -> None:
        if not 0.0 < _quantity(text, "length") < height:
            raise ValueError(f"expected a height within the robot, below {digits(1000 * height)} mm")

    return _known(inside)


def _three(text: str) -> list[str]:
    parts = [part.strip() for part in text.split(",")] if text else []
    if len(parts) not in (0, 3):
        raise ValueError("expected three lengths, such as 450 mm, 450 mm, 450 mm")
    for part in parts:
        _length(0.05, _TOO_LARGE)(part)
    return parts


def _has_question(offered: Sequence[str]) -> str:
    rows = [f"  {i}  {name}" for i, name in enumerate(offered, 1)]
    return "\n".join(["What is on it? (numbers or names, parted by commas; empty for nothing yet)", *rows, "On it"])


def _several(offered: Sequence[str]) -> Callable[[str], tuple[str, ...]]:
    def read(text: str) -> tuple[str, ...]:
        found = []
        for word in (part.strip() for part in text.split(",") if part.strip()):
            if word.isdecimal() and 1 <= int(word) <= len(offered):
                found.append(offered[int(word) - 1])
            elif word in offered:
                found.append(word)
            else:
                near = nearest(word, offered)
                hint = f"; did you mean {near!r}?" if near else ""
                raise ValueError(f"expected some of: {'; '.join(offered)}{hint}")
        return tuple(dict.fromkeys(found))

    return read


def meets(season: Path) -> Meets:
    """Read what a season offers."""
    spec: Any = load_season(season)[1]
    return Meets(tuple(spec.field.places), tuple(spec.objects), tuple(spec.tasks), tuple(spec.structures))


def _size(get: Ask, *, inch: bool) -> tuple[float, float, float]:
    read = _length(0.05, _TOO_LARGE)
    length = get("length", "16 in" if inch else "400 mm", "How long is it?", read)
    width = get("width", "15 in" if inch else "380 mm", "How wide is it?", read)
    height = get("height", "14 in" if inch else "350 mm", "How tall is it?", read)
    return length, width, height


def _consistent(answers: Answers) -> None:
    """Refuse what cannot be built: wheels that do not fit, parts that outweigh the robot."""
    a_side = answers.wheels // 2
    if answers.size[0] < a_side * answers.wheel:
        raise AnswerError("length", f"{a_side} such wheels one behind the other do not fit into it")
    if answers.size[2] <= answers.wheel:
        raise AnswerError("height", "it must be taller than its wheels")
    least = sum(bought(answers).values())
    if answers.mass <= 1.05 * least:
        unit = "lb" if answers.inch else "kg"
        shown = digits(to_unit(1.05 * least, "mass", unit))
        raise AnswerError("mass", f"expected more than {shown} {unit}: motors, wheels and battery alone come near that")


def _title(file: Path) -> str:
    return file.stem.replace("_", " ").strip()[:60] or "our robot"


def _name(text: str) -> str:
    if not text or len(text) > 60 or not text.isprintable():
        raise ValueError("expected a name of 1 to 60 letters")
    return text


def _inch(text: str) -> bool:
    if text.lower() not in ("metric", "inch"):
        raise ValueError("expected metric or inch")
    return text.lower() == "inch"


def _season(text: str) -> str:
    if not text or text.startswith(".") or "/" in text or "\\" in text or not text.isprintable():
        raise ValueError("expected the name of a file in the same folder, such as season.yaml")
    if not text.endswith((".yaml", ".yml")):
        raise ValueError("expected a name that ends in .yaml")
    return text


def _motor_question() -> str:
    rows = [f"  {i}  {name}" for i, name in enumerate(builtin_names("motors"), 1)]
    return "\n".join(["Which motors drive it? (a number or the whole name)", *rows, "Motor"])


def _motor(text: str) -> str:
    names = builtin_names("motors")
    if text.isdecimal() and 1 <= int(text) <= len(names):
        return names[int(text) - 1]
    if text in names:
        return text
    near = nearest(text, names)
    hint = f"; did you mean {near!r}?" if near else ""
    raise ValueError(f"expected one of: {'; '.join(names)}{hint}")


def _count(low: int, high: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        if not text.isdecimal() or len(text) > 4 or not low <= int(text) <= high:
            raise ValueError(f"expected a whole number from {low} to {high}")
        return int(text)

    return read


def _even(text: str) -> int:
    count = _count(4, 12)(text)
    if count % 2:
        raise ValueError("expected an even number: as many on the left as on the right")
    return count


def _length(low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        si = _quantity(text, "length")
        if not low <= si <= high:
            raise ValueError(f"expected a length from {digits(1000 * low)} mm to {digits(1000 * high)} mm")
        return si

    return read


def _mass(text: str) -> float:
    si = _quantity(text, "mass")
    if not 0 < si <= 200:
        raise ValueError("expected a mass of more than 0 kg and at most 200 kg")
    return si


def _quantity(text: str, kind: str) -> float:
    try:
        return parse(text, kind).si
    except UnitError as error:
        hint = f"; did you mean {error.suggestion!r}?" if error.suggestion else ""
        raise ValueError(f"expected {error.expected} (found {text[:40]!r}){hint}") from error


def _gearing(text: str) -> tuple[int, int]:
    if text.lower() == "direct":
        return 1, 1
    match = _TEETH.fullmatch(text.replace(" ", ""))
    if match is None or not (int(match[1]) and int(match[2])):
        raise ValueError("expected teeth on the motor's side : teeth on the wheel's side, such as 48:60, or 'direct'")
    return int(match[1]), int(match[2])
