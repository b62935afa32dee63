"""Unit strings at the edge, SI floats inside: the one place where they meet.

A quantity in a file is a number and a unit (``2.75 in``). The number is matched strictly here; the unit alone
is handed to pint and kept as one affine map, so that each unit is looked up once in a process.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from fieldworthy.errors import Error

if TYPE_CHECKING:
    import pint

_NUMBER = re.compile(
    r"""\s*(?P<sign>[+-]?)\s*
        (?:(?P<whole>\d+)\s+(?P<num>\d+)/(?P<den>\d+)        # 1 1/2
          |(?P<num2>\d+)/(?P<den2>\d+)                       # 3/4
          |(?P<decimal>(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?))
        (?P<rest>.*)""",
    re.VERBOSE | re.DOTALL,
)
_UNIT_TEXT = re.compile(r"[A-Za-z°µμΩ%\"'][A-Za-z0-9°µμΩ%\"'²³·*/^() ._-]*")
_POWER = re.compile(r"\^-?\d(?:\.\d)?(?![\d.^])")  # m^2, deg/h^0.5
_LOOSE = re.compile(r"\^|(?<![A-Za-z])\d")  # a tower of powers, or a number that would be reckoned with
_LONGEST = 64  # characters; no honest quantity is longer


@dataclass(frozen=True, slots=True)
class Kind:
    """What a quantity measures: its SI unit, what is shown by default, and how it is written."""

    name: str
    si: str
    metric: str
    inch: str
    example: str


def _kinds() -> dict[str, Kind]:
    rows = (
        ("length", "m", "mm", "in", "12.5 in"),
        ("area", "m^2", "mm^2", "in^2", "80 mm^2"),
        ("volume", "m^3", "mL", "mL", "200 mL"),
        ("mass", "kg", "kg", "lb", "0.45 kg"),
        ("density", "kg/m^3", "kg/m^3", "kg/m^3", "30 kg/m^3"),
        ("time", "s", "s", "s", "1.5 s"),
        ("frequency", "Hz", "Hz", "Hz", "50 Hz"),
        ("angle", "rad", "deg", "deg", "30 deg"),
        ("speed", "m/s", "m/s", "in/s", "1.2 m/s"),
        ("angular speed", "rad/s", "rpm", "rpm", "600 rpm"),
        ("acceleration", "m/s^2", "m/s^2", "m/s^2", "4 m/s^2"),
        ("force", "N", "N", "lbf", "20 N"),
        ("torque", "N*m", "N*m", "N*m", "0.35 N*m"),
        ("stiffness", "N/m", "N/m", "lbf/in", "150 N/m"),
        ("angular stiffness", "N*m/rad", "N*m/rad", "N*m/rad", "0.4 N*m/rad"),
        ("foundation modulus", "N/m^3", "N/mm^3", "N/mm^3", "0.02 N/mm^3"),
        ("inertia", "kg*m^2", "kg*cm^2", "kg*cm^2", "1.2 kg*cm^2"),
        ("power", "W", "W", "W", "11 W"),
        ("energy", "J", "J", "J", "0.8 J"),
        ("current", "A", "A", "A", "2.5 A"),
        ("voltage", "V", "V", "V", "12 V"),
        ("resistance", "ohm", "ohm", "ohm", "0.12 ohm"),
        ("charge", "A*s", "A*h", "A*h", "1.1 A*h"),
        ("pressure", "Pa", "kPa", "psi", "100 psi"),
        ("temperature", "K", "degC", "degC", "25 degC"),
        ("temperature step", "K", "K", "K", "60 K"),
        ("thermal resistance", "K/W", "K/W", "K/W", "4 K/W"),
        ("heat capacity", "J/K", "J/K", "J/K", "30 J/K"),
        ("sonic conductance", "m^3/(s*Pa)", "L/(s*bar)", "L/(s*bar)", "0.2 L/(s*bar)"),
        ("angular drift", "rad/s", "deg/min", "deg/min", "0.5 deg/min"),
        ("angular noise", "rad/s^0.5", "deg/h^0.5", "deg/h^0.5", "1 deg/h^0.5"),
        ("travel noise", "m^0.5", "mm/m^0.5", "mm/m^0.5", "1 mm/m^0.5"),
        ("heading noise", "rad/m^0.5", "deg/m^0.5", "deg/m^0.5", "0.2 deg/m^0.5"),
        ("ratio", "1", "1", "1", "0.85"),
        ("work time", "s", "h", "h", "6 h"),
    )
    return {row[0]: Kind(*row) for row in rows}


KINDS: dict[str, Kind] = _kinds()
"""Every kind of quantity that a file may hold, by name."""

PLAUSIBLE: dict[str, tuple[float, float]] = {
    "length": (1e-5, 100.0), "area": (1e-10, 1e4), "volume": (1e-12, 1.0), "mass": (1e-6, 1e3), "density": (1e-3, 1e5),
    "time": (1e-4, 1e5), "frequency": (1e-3, 1e5), "angle": (1e-6, 700.0), "speed": (1e-4, 100.0),
    "angular speed": (1e-3, 1e4), "acceleration": (1e-3, 1e4), "force": (1e-4, 1e5), "torque": (1e-6, 1e4),
    "stiffness": (1e-3, 1e8), "angular stiffness": (1e-6, 1e6), "foundation modulus": (1.0, 1e12),
    "inertia": (1e-12, 100.0), "power": (1e-3, 1e5), "energy": (1e-6, 1e6), "current": (1e-6, 1e3),
    "voltage": (1e-3, 1e3), "resistance": (1e-6, 1e6), "charge": (0.1, 1e7), "pressure": (1.0, 1e8),
    "temperature": (1.0, 3e3), "temperature step": (1e-3, 3e3), "thermal resistance": (1e-4, 1e4),
    "heat capacity": (1e-3, 1e6), "sonic conductance": (1e-12, 1e-5), "angular drift": (1e-9, 10.0),
    "angular noise": (1e-9, 10.0), "travel noise": (1e-9, 10.0), "heading noise": (1e-9, 10.0), "ratio": (1e-6, 1e4),
    "work time": (1.0, 1e7),
}  # fmt: skip
"""The smallest size and the greatest, by kind [SI], that a number of a student's robot, or of what is computed from it,
can sensibly have: far beyond any, so that a slip of a unit or of a nought is told. Common practice, no source."""

_TRADE: dict[str, str] = {
    '"': "inch",
    "''": "inch",
    "in": "inch",
    "amps": "ampere",
    "amp": "ampere",
    "volts": "volt",
    "watts": "watt",
    "lbs": "pound",
    "oz-in": "ounce_force*inch",
    "oz in": "ounce_force*inch",
    "oz*in": "ounce_force*inch",
    "ozf*in": "ounce_force*inch",
    "in-lb": "pound_force*inch",
    "lbf*in": "pound_force*inch",
    "in*lbf": "pound_force*inch",
    "in-lbs": "pound_force*inch",
    "lb-in": "pound_force*inch",
    "lbf-in": "pound_force*inch",
    "ft-lb": "pound_force*foot",
    "ft-lbs": "pound_force*foot",
    "Nm": "N*m",
    "N-m": "N*m",
    "°": "degree",
    "degrees": "degree",
    "°C": "degC",
    "°F": "degF",
    "C": "degC",
    "F": "degF",
    "%": "percent",
    "psig": "psi",
    "secs": "second",
    "sec": "second",
    "Ah": "A*h",
    "mAh": "mA*h",
    "cc": "cm^3",
    "l": "liter",
    "Ω": "ohm",
}
_TRADE_ONLY: dict[str, set[str]] = {"C": {"temperature"}, "F": {"temperature"}, "°": {"angle"}}
_SUGGEST = ("mm", "cm", "m", "in", "ft", "kg", "g", "lb", "oz", "psi", "kPa", "bar", "rpm", "deg", "rad", "mL",
            "L", "N", "lbf", "N*m", "oz-in", "W", "A", "V", "ohm", "s", "ms", "min", "h", "m/s", "in/s", "ft/s",
            "m/s^2", "degC", "K", "K/W", "J/K", "Hz", "A*h", "L/(s*bar)", "kg*cm^2", "N/m", "J")  # fmt: skip


_TURN, _HOUR, _INCH, _POUND, _GRAVITY = 2.0 * math.pi, 3600.0, 0.0254, 0.45359237, 9.80665
COMMON: dict[str, dict[str, float]] = {
    "length": {"m": 1.0, "cm": 0.01, "mm": 0.001, "inch": _INCH, "ft": 12.0 * _INCH},
    "volume": {"mL": 1e-6, "L": 1e-3},
    "mass": {"kg": 1.0, "g": 0.001, "lb": _POUND, "oz": _POUND / 16.0},
    "time": {"s": 1.0, "ms": 0.001, "min": 60.0},
    "frequency": {"Hz": 1.0},
    "angle": {"deg": _TURN / 360.0, "rad": 1.0},
    "speed": {"m/s": 1.0, "cm/s": 0.01, "mm/s": 0.001, "in/s": _INCH, "ft/s": 12.0 * _INCH},
    "angular speed": {"rpm": _TURN / 60.0, "rad/s": 1.0, "deg/s": _TURN / 360.0},
    "acceleration": {"m/s^2": 1.0},
    "force": {"N": 1.0, "lbf": _POUND * _GRAVITY},
    "torque": {"N*m": 1.0},
    "stiffness": {"N/m": 1.0, "N/mm": 1000.0},
    "inertia": {"kg*m^2": 1.0, "kg*cm^2": 1e-4},
    "power": {"W": 1.0},
    "energy": {"J": 1.0},
    "current": {"A": 1.0, "mA": 0.001},
    "voltage": {"V": 1.0, "mV": 0.001},
    "resistance": {"ohm": 1.0},
    "charge": {"A*h": _HOUR, "A*s": 1.0},
    "pressure": {"Pa": 1.0, "kPa": 1000.0, "bar": 1e5, "psi": _POUND * _GRAVITY / _INCH**2},
    "temperature step": {"K": 1.0},
    "thermal resistance": {"K/W": 1.0},
    "heat capacity": {"J/K": 1.0},
    "sonic conductance": {"L/(s*bar)": 1e-8},
    "angular drift": {"deg/min": _TURN / 360.0 / 60.0},
    "angular noise": {"deg/h^0.5": _TURN / 360.0 / 60.0},
    "travel noise": {"mm/m^0.5": 0.001},
    "heading noise": {"deg/m^0.5": _TURN / 360.0},
    "ratio": {"percent": 0.01},
    "work time": {"h": _HOUR, "min": 60.0},
}
"""The units that nearly every file uses, from their definitions: a file that uses no other need not load pint."""


class UnitError(Error, ValueError):
    """A quantity that cannot be read: says what was expected and, where near, what was probably meant."""

    def __init__(self, text: str, expected: str, suggestion: str | None = None) -> None:
        self.text = text
        self.expected = expected
        self.suggestion = suggestion
        hint = f"; did you mean {suggestion!r}?" if suggestion else ""
        super().__init__(f"{text!r} is not {expected}{hint}")


@dataclass(frozen=True, slots=True)
class Affine:
    """A unit as one affine map: SI = scale * number + offset."""

    scale: float
    offset: float


@dataclass(frozen=True, slots=True)
class Parsed:
    """A quantity read from text.

    Attributes
    ----------
    si : The value in the kind's SI unit
    unit : The unit as it was written
    """

    si: float
    unit: str


@cache
def _registry() -> pint.UnitRegistry[Any]:
    import pint  # noqa: PLC0415  a slow import, paid only when a file is read

    return pint.UnitRegistry()


def _normal(unit: str, kind: str) -> str:
    """Rewrite what the trade writes into what pint reads, for the kind it stands for."""
    tidy = " ".join(unit.split())
    if tidy in _TRADE and kind in _TRADE_ONLY.get(tidy, {kind}):
        return _TRADE[tidy]
    return tidy.replace("²", "^2").replace("³", "^3").replace("·", "*").replace("Ω", "ohm")


@cache
def affine(unit: str, kind: str) -> Affine:
    """Look one unit up for one kind."""
    expected = wanted(kind)
    honest = len(unit) <= _LONGEST and _UNIT_TEXT.fullmatch(unit) and "**" not in unit
    if not honest or _LOOSE.search(_POWER.sub("", unit)):
        raise UnitError(unit, expected)
    known = _normal(unit, kind)
    if known in COMMON.get(kind, {}):
        return Affine(COMMON[kind][known], 0.0)
    if (kind, known) == ("temperature", "degC"):
        return Affine(1.0, 273.15)
    registry = _registry()
    try:
        one = registry.Quantity(1.0, known).to(KINDS[kind].si)
        zero = registry.Quantity(0.0, known).to(KINDS[kind].si)
        two = registry.Quantity(2.0, known).to(KINDS[kind].si)
        scale, offset = float(one.magnitude - zero.magnitude), float(zero.magnitude)
        straight = math.isclose(float(two.magnitude - one.magnitude), scale, rel_tol=1e-6)  # a decibel is not
    except Exception as error:  # pint raises many kinds of error, TokenError and AttributeError among them
        raise UnitError(unit, expected, _nearest(unit, kind)) from error
    if not (math.isfinite(scale) and math.isfinite(offset) and straight) or scale <= 0:
        raise UnitError(unit, expected)
    return Affine(scale, 0.0 if kind == "temperature step" else offset)


@cache
def _fits(unit: str, kind: str) -> bool:
    return bool(_registry().is_compatible_with(_normal(unit, kind), KINDS[kind].si))


def _nearest(unit: str, kind: str) -> str | None:
    """The unit of the right kind that is written most like a wrong one."""
    same = [known for known in _SUGGEST if known.lower() == unit.lower()]
    alike = (*same, *difflib.get_close_matches(unit, _SUGGEST, 6, 0.4), unit + "f")
    return next((near for near in alike if near in _SUGGEST and _fits(near, kind)), None)


def an(word: str) -> str:
    """Put the article before a word."""
    return f"{'an' if word[:1].lower() in 'aeiou' else 'a'} {word}"


def wanted(kind: str) -> str:
    """Say in words what a quantity of a kind looks like."""
    example = KINDS[kind].example
    return f"a number, such as {example}" if kind == "ratio" else f"{an(kind)} with a unit, such as {example!r}"


def split(text: str) -> tuple[float, str]:
    """Take the leading number off a text."""
    match = _NUMBER.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        raise UnitError(text[:_LONGEST], "a number with a unit")
    part = match.groupdict()
    if part["decimal"] is not None:
        number = float(part["decimal"])
    else:
        bottom = int(part["den"] or part["den2"])
        if bottom == 0:
            raise UnitError(text, "a number: a fraction cannot have 0 below the line")
        number = int(part["whole"] or 0) + int(part["num"] or part["num2"]) / bottom
    rest = part["rest"].strip()
    if rest.startswith(","):
        pointed = text.replace(",", ".", 1)
        meant = pointed if re.match(r"\s*[+-]?\d+\.\d+\s*[^\d\s.,]", pointed) else None
        raise UnitError(text, "a number with a point as decimal mark", meant)
    if rest[:1].isdigit() or not math.isfinite(number):
        raise UnitError(text, "one finite number with a unit")
    return (-number if part["sign"] == "-" else number), rest


def parse(text: str | float, kind: str) -> Parsed:
    """Read one quantity."""
    try:
        number, unit = split(text if isinstance(text, str) else repr(float(text)))
    except OverflowError as error:
        raise UnitError("a whole number beyond reckoning", "a number of finite size") from error
    if unit:
        found = affine(unit, kind)
        si = found.scale * number + found.offset
        if not math.isfinite(si):
            raise UnitError(str(text), "a number of finite size")
        return Parsed(si, unit)
    if kind == "ratio":
        return Parsed(number, "1")
    if number == 0 and kind != "temperature":
        return Parsed(0.0, KINDS[kind].metric)
    raise UnitError(str(text), wanted(kind))


def to_unit(si: float, kind: str, unit: str) -> float:
    """Convert an SI number to a unit."""
    if unit == "1" or unit == KINDS[kind].si:
        return si
    found = affine(unit, kind)
    return (si - found.offset) / found.scale


_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_ROWS = (1e-4, 1e9)  # numbers outside would be a row of noughts


def digits(number: float, significant: int = 3) -> str:
    """Write a number with the digits that mean something; with a power of ten where it is very small or large."""
    if math.isnan(number):
        return "unknown"
    if math.isinf(number):
        return "no limit" if number > 0 else "minus no limit"
    if abs(number) < 1e-9:
        return "0"
    power = math.floor(math.log10(abs(number)))
    if not _ROWS[0] <= abs(number) < _ROWS[1]:
        front, _, tail = f"{number:.{significant - 1}e}".partition("e")
        return f"{_bare(front)}×10{str(int(tail)).translate(_RAISED)}"
    return _bare(f"{number:.{max(0, significant - 1 - power)}f}")


def _bare(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text


def percent(share: float) -> str:
    """Write a share of something: two or three digits, and never 0 or all of it where it is not."""
    if 0.0 < share < _RARE:
        return "under 0.01 %"
    if 1.0 - _RARE < share < 1.0:
        return "over 99.99 %"
    if 1.0 < share < 1.0 + 5.0 * _RARE:
        return "just over 100 %"
    near = abs(share)
    return f"{digits(100.0 * share, 2 if near < 0.995 else 3 if near < 0.9995 else 4)} %"


_RARE = 1e-4


def chance_text(chance: float) -> str:
    """Write how often something comes out of samples, which never prove "always" or "never"."""
    if 0.01 <= chance <= 0.99:
        return f"{100.0 * chance:.0f} %"
    return "over 99 %" if chance > 0.5 else "under 1 %"


def margin_text(margin: float | None) -> str:
    """Write a margin."""
    if margin is None:
        return "–"
    text = digits(abs(margin), 2)
    return text if margin == 0 else f"{'+' if margin > 0 else '−'}{text}"


_SHOWN = {
    "1": "",
    "inch": "in",
    "deg": "°",
    "degree": "°",
    "degC": "°C",
    "degF": "°F",
    '"': "in",
    "ohm": "Ω",
    "percent": "%",
    "A*h": "Ah",
}


def counted(number: float | str, noun: str, many: str = "") -> str:
    """Write a count before its noun: '1 check', '3 checks'; a text stands as it is."""
    shown = number if isinstance(number, str) else f"{number:,}" if isinstance(number, int) else f"{number:g}"
    if shown == "1":
        return f"1 {noun}"
    ending = {"ch": "ches", "ry": "ries"}.get(noun[-2:], f"{noun[-2:]}s")
    return f"{shown} {many or noun[:-2] + ending}"


def often(number: float | str) -> str:
    """Write how often something happens: 'once', '3 times', '0.5 times'."""
    return "once" if str(number) == "1" else counted(number, "time")


def unit_label(unit: str) -> str:
    """Write a unit as people read it beside a number."""
    if unit in _SHOWN:
        return _SHOWN[unit]
    return unit.replace("*", "·").replace("^2", "²").replace("^3", "³")


def labelled(number: str, unit: str) -> str:
    """Set a unit beside a number that is written already."""
    label = unit_label(unit)
    return number if not label else f"{number}{'' if label == '°' else ' '}{label}"


_NOTHING = {
    "length": 1e-6, "angle": 1e-5, "time": 1e-5, "mass": 1e-6, "force": 1e-4, "torque": 1e-6, "pressure": 1.0,
    "speed": 1e-6, "acceleration": 1e-6, "angular speed": 1e-5, "temperature step": 1e-4,
}  # fmt: skip
"""What no workshop can tell from nothing, by kind [SI]: rounding of the machine must not be read as a size."""


def show(si: float, kind: str, unit: str, significant: int = 3) -> str:
    """Write an SI number in a unit with sensible digits."""
    size = 0.0 if abs(si) < _NOTHING.get(kind, 0.0) else si
    return labelled(digits(to_unit(size, kind, unit), significant), unit)


def told(si: float, kind: str, unit: str, significant: int = 3) -> str:
    """Write an SI number for a sentence: beyond what any robot has, only that it lies beyond."""
    most = PLAUSIBLE[kind][1]
    if not most < abs(si) < math.inf:
        return show(si, kind, unit, significant)
    bound = float(f"{abs(to_unit(most, kind, unit)):.1g}")
    return f"{'over' if si > 0 else 'below minus'} {labelled(digits(bound, 1), unit)}"
