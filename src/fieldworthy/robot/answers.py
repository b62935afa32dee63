"""The questions before a team's first file: what is asked, what stands where nobody answers, what cannot be."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

from fieldworthy.errors import Error
from fieldworthy.files.document import nearest
from fieldworthy.robot.loading import builtin_names, load_season
from fieldworthy.robot.starter import Answers, Meets, bought
from fieldworthy.units import UnitError, digits, parse, to_unit

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
