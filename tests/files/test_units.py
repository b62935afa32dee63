"""Units against the definitions kept in scipy.constants and exact conversion factors; what people really type."""

import math
import re

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants as c

from fieldworthy.units import (
    COMMON,
    KINDS,
    UnitError,
    chance_text,
    counted,
    digits,
    often,
    parse,
    percent,
    show,
    split,
    to_unit,
)

# number, unit, kind, SI value by scipy.constants (CODATA and the exact definitions of the international inch,
# pound and standard gravity). A relative 1e-12 allows for the rounding of a few products.
OUTSIDE = [
    (1, "mm", "length", c.milli),
    (1, "cm", "length", c.centi),
    (1, "in", "length", c.inch),
    (1, '"', "length", c.inch),
    (1, "''", "length", c.inch),
    (1, "inch", "length", c.inch),
    (1, "ft", "length", c.foot),
    (1, "in^2", "area", c.inch**2),
    (1, "mm²", "area", c.milli**2),
    (1, "mL", "volume", c.milli * c.liter),
    (1, "cc", "volume", c.centi**3),
    (1, "L", "volume", c.liter),
    (1, "in^3", "volume", c.inch**3),
    (1, "g", "mass", c.gram),
    (1, "lb", "mass", c.pound),
    (1, "lbs", "mass", c.pound),
    (1, "oz", "mass", c.ounce),
    (1, "lb/ft^3", "density", c.pound / c.foot**3),
    (1, "min", "time", c.minute),
    (1, "h", "work time", c.hour),
    (1, "ms", "time", c.milli),
    (1, "kHz", "frequency", c.kilo),
    (1, "deg", "angle", c.degree),
    (1, "°", "angle", c.degree),
    (1, "rpm", "angular speed", c.pi / 30),
    (1, "deg/s", "angular speed", c.degree),
    (1, "in/s", "speed", c.inch),
    (1, "mph", "speed", c.mph),
    (1, "km/h", "speed", c.kmh),
    (1, "ft/s^2", "acceleration", c.foot),
    (1, "lbf", "force", c.pound_force),
    (1, "kgf", "force", c.kilogram_force),
    (1, "oz-in", "torque", c.ounce * c.g * c.inch),
    (1, "oz*in", "torque", c.ounce * c.g * c.inch),
    (1, "in-lb", "torque", c.pound_force * c.inch),
    (1, "ft-lb", "torque", c.pound_force * c.foot),
    (1, "Nm", "torque", 1.0),
    (1, "lbf/in", "stiffness", c.pound_force / c.inch),
    (1, "N*m/deg", "angular stiffness", 1 / c.degree),
    (1, "N/mm^3", "foundation modulus", 1 / c.milli**3),
    (1, "kg*cm^2", "inertia", c.centi**2),
    (1, "hp", "power", c.hp),
    (1, "kJ", "energy", c.kilo),
    (1, "mA", "current", c.milli),
    (1, "amps", "current", 1.0),
    (1, "mV", "voltage", c.milli),
    (1, "Ω", "resistance", 1.0),
    (1, "mohm", "resistance", c.milli),
    (1, "Ah", "charge", c.hour),
    (1, "mAh", "charge", c.milli * c.hour),
    (1, "psi", "pressure", c.psi),
    (1, "psig", "pressure", c.psi),
    (1, "bar", "pressure", c.bar),
    (1, "atm", "pressure", c.atm),
    (0, "degC", "temperature", c.zero_Celsius),
    (100, "degC", "temperature", c.zero_Celsius + 100),
    (68, "degF", "temperature", c.convert_temperature(68, "F", "K")),
    (-40, "°F", "temperature", c.convert_temperature(-40, "C", "K")),
    (1, "degF", "temperature step", c.degree_Fahrenheit),
    (1, "degC", "temperature step", 1.0),
    (1, "K/W", "thermal resistance", 1.0),
    (1, "kJ/K", "heat capacity", c.kilo),
    (1, "L/(s*bar)", "sonic conductance", c.liter / c.bar),
    (1, "deg/min", "angular drift", c.degree / c.minute),
    (1, "deg/h^0.5", "angular noise", c.degree / math.sqrt(c.hour)),
    (1, "deg/m^0.5", "heading noise", c.degree),
    (1, "mm/m^0.5", "travel noise", c.milli),
    (1, "%", "ratio", 0.01),
]


@pytest.mark.parametrize(("number", "unit", "kind", "si"), OUTSIDE, ids=[f"{u} of {k}" for _, u, k, _ in OUTSIDE])
def test_a_unit_is_worth_what_its_definition_says(number, unit, kind, si):
    assert parse(f"{number} {unit}", kind).si == pytest.approx(si, rel=1e-12)
    assert to_unit(si, kind, unit) == pytest.approx(number, rel=1e-12, abs=1e-11)


def test_every_kind_is_anchored_to_an_outside_value():
    assert {kind for _, _, kind, _ in OUTSIDE} == set(KINDS)


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("1 1/2 in", "length", 1.5 * c.inch),
        ("3/4 in", "length", 0.75 * c.inch),
        ("-1/2 in", "length", -0.5 * c.inch),
        ("1.25e2 mm", "length", 0.125),
        (" 12.5in ", "length", 12.5 * c.inch),
        ('12"', "length", 12 * c.inch),
        ("3 amps", "current", 3.0),
        ("5 oz*in", "torque", 5 * c.ounce * c.g * c.inch),
        ("20 degC", "temperature", 293.15),
        ("0", "length", 0.0),
        ("0.85", "ratio", 0.85),
        ("1/2", "ratio", 0.5),
        (7, "ratio", 7.0),
    ],
)
def test_what_the_trade_writes_is_understood(text, kind, si):
    assert parse(text, kind).si == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "suggestion"),
    [
        ("2,5 mm", "length", "2.5 mm"),
        ("1,234.5 mm", "length", None),
        ("20:1", "ratio", None),
        ("36:60", "ratio", None),
        ("2**9999999 m", "length", None),
        ("5 m^(9^9^9^9)", "area", None),
        ("5 m^9^9^9^9", "area", None),
        ("5 m^99999999", "area", None),
        ("5 m*1000", "length", None),
        ("5 m; 3", "length", None),
        ("5 __import__('os')", "length", None),
        ("nan m", "length", None),
        ("inf m", "length", None),
        ("-inf m", "length", None),
        ("1e400 m", "length", None),
        ("1e308 km", "length", None),
        ("1/0 in", "length", None),
        ("", "length", None),
        ("mm", "length", None),
        ("5", "length", None),
        ("0", "temperature", None),
        ("20", "temperature", None),
        ("1 2 m", "length", None),
        ("1.2.3 m", "length", None),
        ("0x10 m", "length", None),
        ("1_000 m", "length", None),
        ("+-1 m", "length", None),
        ("5 ft 3 in", "length", None),
        ("9" * 5000 + " m", "length", None),
        ("5 dB", "ratio", None),
        ("2.2 kg", "time", None),
        ("2 lb", "force", "lbf"),
        ("600 RPM", "angular speed", "rpm"),
        ("100 PSI", "pressure", "psi"),
        ("5 KG", "mass", "kg"),
        (math.nan, "ratio", None),
        (math.inf, "ratio", None),
        (10**400, "ratio", None),
    ],
)
def test_what_is_no_quantity_is_refused_and_what_was_meant_is_suggested(text, kind, suggestion):
    with pytest.raises(UnitError) as caught:
        parse(text, kind)
    assert caught.value.suggestion == suggestion


# Kinds that share one dimension in the SI (BIPM, The International System of Units, 9th edition, table 4 and 2.3.4:
# the radian is 1, the newton metre and the joule are both kg m2/s2).
ALIKE = [
    {"energy", "torque", "angular stiffness"},
    {"frequency", "angular speed", "angular drift"},
    {"time", "work time"},
    {"temperature", "temperature step"},
    {"ratio", "angle"},
]


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_unit_serves_no_kind_of_another_dimension(kind):
    own = next((group for group in ALIKE if kind in group), {kind})
    units = {KINDS[other].metric for other in set(KINDS) - own} - {"1"}
    assert units
    for unit in units:
        with pytest.raises(UnitError):
            parse(f"1 {unit}", kind)


@given(st.sampled_from(sorted(KINDS)), st.booleans(), st.floats(-1e6, 1e6))
def test_a_number_in_a_unit_comes_back(kind, inch, number):
    unit = KINDS[kind].inch if inch else KINDS[kind].metric
    text = f"{number:.6f}" if unit == "1" else f"{number:.6f} {unit}"
    read = parse(text, kind)
    assert to_unit(read.si, kind, unit) == pytest.approx(float(f"{number:.6f}"), rel=1e-9, abs=1e-9)


# As many units as are shown otherwise than typed; each must be read back from how it is shown.
@given(
    st.sampled_from([k for k in sorted(KINDS) if k != "work time"]),
    st.booleans(),
    st.floats(0.001, 9e5),
    st.integers(3, 6),
)
def test_what_is_shown_can_be_typed_again(kind, inch, number, significant):
    unit = KINDS[kind].inch if inch else KINDS[kind].metric
    si = parse(str(round(number, 6)) + ("" if unit == "1" else f" {unit}"), kind).si
    again = parse(show(si, kind, unit, significant), kind).si
    shift = parse(f"0 {unit}", kind).si if kind == "temperature" else 0.0
    # half a unit of the last digit kept, at most; the digits are counted in the unit shown
    assert again - shift == pytest.approx(si - shift, rel=0.5001 * 10 ** (1 - significant))


def read_back(written: str) -> float:
    """A number as a person reads it, with its power of ten."""
    front, _, power = written.partition("×10")
    return float(front) * 10.0 ** int(power.translate(str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")) or 0)


@given(st.floats(1e-8, 1e60), st.sampled_from((1.0, -1.0)), st.integers(1, 6))
def test_digits_keep_what_they_promise(number, sign, significant):
    written = digits(sign * number, significant)
    assert "e" not in written.lower()
    assert len(written) <= 16  # a number that a person takes in: never 61 digits, never a row of noughts
    step = 10.0 ** (math.floor(math.log10(number)) + 1 - significant)
    # half a step of the last digit, and of ones before the point, which are never rounded away below a milliard
    most = 0.5000001 * (step if not 1e-4 <= number < 1e9 else min(step, 1.0))
    assert read_back(written) == pytest.approx(sign * number, abs=most, rel=1e-14)


@pytest.mark.parametrize("kind", sorted(KINDS))
@pytest.mark.parametrize("size", [0.0, -0.0, 1e-13, -1e-13, 1e-10, 1e60, -1e60, math.inf, -math.inf, math.nan])
def test_no_kind_is_ever_shown_as_a_row_of_noughts_or_digits(kind, size):
    for unit in {KINDS[kind].metric, KINDS[kind].inch}:
        shown = show(size, kind, unit)
        assert len(shown) <= 30
        assert "000000" not in shown
        assert not re.match(r"-0(?![.\d])", shown)
        assert "*" not in shown
        assert "^2" not in shown


# What a workshop cannot measure is nothing: a micrometre, a thousandth of a degree, a hundredth of a millisecond;
# common practice, no source.
@pytest.mark.parametrize(
    ("size", "kind", "unit", "said"),
    [
        (-3.8e-10, "angle", "deg", "0°"),
        (5e-7, "length", "mm", "0 mm"),
        (2e-6, "length", "mm", "0.002 mm"),
        (-2e-6, "time", "s", "0 s"),
        (0.49, "ratio", "percent", "49 %"),
        (0.35, "torque", "N*m", "0.35 N·m"),
        (9.81, "acceleration", "m/s^2", "9.81 m/s²"),
        (295.15, "temperature", "degC", "22 °C"),
        (1.5, "angular stiffness", "N*m/rad", "1.5 N·m/rad"),
    ],
)
def test_numbers_stand_beside_their_unit_in_one_style(size, kind, unit, said):
    assert show(size, kind, unit) == said


def test_a_share_is_never_all_or_nothing_where_it_is_not():
    assert [percent(s) for s in (0.0, 1.0, 0.494, 0.0512, 1.32)] == ["0 %", "100 %", "49 %", "5.1 %", "132 %"]
    assert [percent(s) for s in (3e-6, 0.9996, 1.0004)] == ["under 0.01 %", "99.96 %", "just over 100 %"]
    assert percent(1.0 - 1e-9) == "over 99.99 %"
    assert [chance_text(c) for c in (0.0, 0.004, 0.494, 0.994, 1.0)] == [
        "under 1 %", "under 1 %", "49 %", "over 99 %", "over 99 %"
    ]  # fmt: skip


def test_digits_say_that_nothing_limits():
    assert digits(math.inf) == "no limit"
    assert digits(-math.inf) == "minus no limit"
    assert digits(0.0) == "0"
    assert split("-3 mm") == (-3.0, "mm")


@given(st.text(max_size=80), st.sampled_from(sorted(KINDS)))
def test_any_text_is_a_finite_quantity_or_refused(text, kind):
    try:
        read = parse(text, kind)
    except UnitError:
        return
    assert math.isfinite(read.si)
    assert any(sign.isdigit() for sign in text)


def test_the_units_known_by_heart_are_those_of_pint():
    registry = pint.UnitRegistry()
    known = [(kind, unit, scale) for kind, units in COMMON.items() for unit, scale in units.items()]
    assert len(known) > 40
    for kind, unit, scale in known:
        assert registry.Quantity(1.0, unit).to(KINDS[kind].si).magnitude == pytest.approx(scale, rel=1e-14), unit
        assert parse(f"1 {unit}" if unit != "percent" else "1 %", kind).si == pytest.approx(scale, rel=1e-15)
    assert registry.Quantity(0.0, "degC").to("K").magnitude == pytest.approx(parse("0 degC", "temperature").si)


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (counted(1, "check"), "1 check"),
        (counted(0, "check"), "0 checks"),
        (counted(2000, "match"), "2,000 matches"),
        (counted(1, "default stands", "defaults stand"), "1 default stands"),
        (counted(4, "default stands", "defaults stand"), "4 defaults stand"),
        (counted(1.0, "point"), "1 point"),
        (counted("1.0", "point"), "1.0 points"),
        (counted(2, "try"), "2 tries"),
        (often(1), "once"),
        (often("1"), "once"),
        (often("0.5"), "0.5 times"),
        (often(3), "3 times"),
    ],
)
def test_a_count_stands_before_its_noun_as_in_english(said, expected):
    assert said == expected
