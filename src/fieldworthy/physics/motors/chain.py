"""Drives by roller chain or toothed belt: length, centre distance, unevenness of speed, and the tensioner's travel.

Lengths in pitches count links, or the teeth of a belt. A chain with an odd number of links needs an offset link, which
is weaker, so the even number above is what a team builds with; a belt has any whole number of teeth. A belt lies on its
pulley as an arc, a chain on its sprocket as chords. Both are pinch points where they run on: guard them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.physics import _require as require

_ITERATIONS = 8  # Newton's method on a nearly straight line: three are enough, eight cost nothing
_COUNT_SLACK = 1e-9  # a length this close above a whole number is that number, off by rounding


@dataclass(frozen=True, slots=True)
class ChainSize:
    """One size of roller or bush chain, or of toothed belt.

    Attributes
    ----------
    designation : ISO 606 number, or a belt's profile [-]
    pitch : Distance between neighbouring joints, or teeth along the belt's pitch line [m]
    roller_diameter : Largest diameter of the roller, or of the bush where there is no roller; 0 for a belt [m]
    basis : What the numbers rest on: a key of the list of sources [-]
    belt : Whether it is a toothed belt [-]
    """

    designation: str
    pitch: float
    roller_diameter: float
    basis: str
    belt: bool = False


SIZES: dict[str, ChainSize] = {
    size.designation: size
    for size in (
        ChainSize("04C", 0.006350, 0.00330, "ansi-b29-1"),
        ChainSize("05B", 0.008000, 0.00500, "iso606"),
        ChainSize("06B", 0.009525, 0.00635, "iso606"),
        ChainSize("06C", 0.009525, 0.00508, "ansi-b29-1"),
        ChainSize("085", 0.012700, 0.00777, "iso606"),
        ChainSize("08A", 0.012700, 0.00792, "iso606"),
        ChainSize("08B", 0.012700, 0.00851, "iso606"),
        ChainSize("10A", 0.015875, 0.01016, "iso606"),
        ChainSize("12A", 0.019050, 0.01191, "iso606"),
        ChainSize("MXL", 0.002032, 0.0, "iso5296", belt=True),
        ChainSize("XL", 0.005080, 0.0, "iso5296", belt=True),
        ChainSize("L", 0.009525, 0.0, "iso5296", belt=True),
        ChainSize("H", 0.012700, 0.0, "iso5296", belt=True),
        ChainSize("T2.5", 0.0025, 0.0, "iso17396", belt=True),
        ChainSize("T5", 0.005, 0.0, "iso17396", belt=True),
        ChainSize("T10", 0.010, 0.0, "iso17396", belt=True),
        ChainSize("2M", 0.002, 0.0, "iso13050", belt=True),
        ChainSize("3M", 0.003, 0.0, "iso13050", belt=True),
        ChainSize("5M", 0.005, 0.0, "iso13050", belt=True),
        ChainSize("8M", 0.008, 0.0, "iso13050", belt=True),
    )
}
"""Chain sizes by ISO 606 number (C and A are the sizes of the inch series, B the others), and belts by profile."""

BELT_SHARE = 1.0 / 7.0
"""Of the pull that a belt's slack run must keep: pulls in the runs of 8 to 1 at most; common practice, no source."""


def _check(teeth_1: Real, teeth_2: Real) -> None:
    for name, teeth in (("teeth_1", teeth_1), ("teeth_2", teeth_2)):
        if not np.all(np.asarray(teeth) >= 3):
            msg = f"{name} must be at least 3 teeth, got {teeth!r}"
            raise ValueError(msg)


def _radius(teeth: Real, belt: bool) -> Real:
    """Pitch radius in pitches."""
    z = np.asarray(teeth)
    return (z / (2.0 * np.pi) if belt else 0.5 / np.sin(np.pi / z))[()]


def pitch_radius(pitch: Real, teeth: Real, *, belt: bool = False) -> Real:
    """Radius of the circle through a sprocket's seated chain joints, or of a belt's pitch line on its pulley.

    r = p / (2 sin(pi / z)) for a chain, r = p z / (2 pi) for a belt, for any whole number of teeth.

    Parameters
    ----------
    pitch, teeth : Chain pitch [m]; number of teeth, three or more [-]
    belt : Whether it is a toothed belt [-]

    Returns
    -------
    Pitch radius [m].

    Raises
    ------
    ValueError : If the pitch is not positive or a sprocket has fewer than three teeth

    References
    ----------
    iso606: ISO 606, sprocket geometry (from memory).
    iso5296: ISO 5296, pulley geometry (from memory).
    """
    require.positive(pitch=pitch)
    _check(teeth, teeth)
    return pitch * _radius(teeth, belt)


def _length(teeth_1: Real, teeth_2: Real, centre: Real, belt: bool) -> tuple[Real, Real]:
    """Links of a taut chain and the growth of that number with the centre distance, all in pitches."""
    step = _radius(teeth_2, belt) - _radius(teeth_1, belt)
    sine = np.clip(step / centre, -1.0, 1.0)
    cosine = np.sqrt(1.0 - sine**2)
    wrap = 0.5 * (teeth_1 + teeth_2) + (teeth_2 - teeth_1) * np.arcsin(sine) / np.pi
    return 2.0 * centre * cosine + wrap, 2.0 * cosine


def length(pitch: Real, teeth_1: Real, teeth_2: Real, centre: Real, *, belt: bool = False) -> Real:
    """Length of a taut chain round two sprockets, or belt round two pulleys, from the tangents to the pitch circles.

    L = 2 C cos(a) + (z1 + z2) / 2 + (z2 - z1) a / pi in pitches, sin(a) = (r2 - r1) / C. A chain's wrap counts teeth,
    not arc, since links lie as chords; on a belt's larger circle both are the
    same. Where one sprocket would lie inside the other the chain lies on the larger.

    Parameters
    ----------
    pitch : Chain pitch [m]
    teeth_1, teeth_2 : Teeth of the sprockets, in either order [-]
    centre : Distance between the shafts [m]
    belt : Whether it is a toothed belt [-]

    Returns
    -------
    Length in pitches, with its fraction [-].

    Raises
    ------
    ValueError : If the pitch or the centre distance is not positive, or a sprocket has fewer than three teeth

    References
    ----------
    shigley: Mechanical Engineering Design, roller-chain section (from memory), before its approximation.
    """
    require.positive(pitch=pitch, centre=centre)
    _check(teeth_1, teeth_2)
    return _length(teeth_1, teeth_2, centre / pitch, belt)[0]


def whole_links(pitches: Real, multiple: int = 2) -> Real:
    """Links to build with: the next multiple at or above a computed length.

    Parameters
    ----------
    pitches : Computed length in pitches [-]
    multiple : 2 for an even number (no offset link), 1 for any whole number [-]

    Returns
    -------
    Links [-].

    Raises
    ------
    ValueError : If the length is not positive, or the multiple is below one

    References
    ----------
    iso606: ISO 606, offset links (from memory).
    """
    require.positive(pitches=pitches, multiple=float(multiple))
    return multiple * np.ceil(pitches / multiple - _COUNT_SLACK)


def centre_distance(pitch: Real, teeth_1: Real, teeth_2: Real, links: Real, *, belt: bool = False) -> Real:
    """Distance between the shafts at which a chain of so many links is just taut.

    Newton's method on `length`, a fixed number of steps over all cases at once. A chain cannot close where
    the pitch circles would touch before it is slack.

    Parameters
    ----------
    pitch : Chain pitch [m]
    teeth_1, teeth_2 : Teeth of the sprockets, in either order [-]
    links : Number of links; a fraction is allowed, for a stretched chain [-]
    belt : Whether it is a toothed belt [-]

    Returns
    -------
    Centre distance [m]; 0 for those cases of a batch whose chain cannot close.

    Raises
    ------
    ValueError : If the pitch is not positive, a sprocket has fewer than three teeth, or the chain cannot close in any
        case

    References
    ----------
    shigley: Mechanical Engineering Design, roller-chain section (from memory); solved, not approximated.
    """
    require.positive(pitch=pitch, links=links)
    _check(teeth_1, teeth_2)
    touching = _radius(teeth_1, belt) + _radius(teeth_2, belt)
    closes = links >= _length(teeth_1, teeth_2, touching, belt)[0] - _COUNT_SLACK
    if not np.any(closes):
        msg = f"links: a chain of {links!r} cannot close round sprockets of {teeth_1!r} and {teeth_2!r} teeth"
        raise ValueError(msg)
    c = np.maximum(touching, 0.5 * links - 0.25 * (teeth_1 + teeth_2))
    for _ in range(_ITERATIONS):
        value, slope = _length(teeth_1, teeth_2, c, belt)
        c = np.maximum(touching, c - (value - links) / slope)
    return pitch * np.where(closes, c, 0.0)[()]


def speed_variation(teeth: Real) -> Real:
    """Unevenness of chain speed from the polygon that a sprocket is: the whole swing over the mean.

    (pi / z) (1 / sin(pi / z) - 1 / tan(pi / z)), the sprocket turning evenly.

    Parameters
    ----------
    teeth : Number of teeth, three or more [-]

    Returns
    -------
    (v_max - v_min) / v_mean [-].

    Raises
    ------
    ValueError : If a sprocket has fewer than three teeth

    References
    ----------
    jiang: Analysis and Design of Machine Elements, eq. 7.13.
    """
    _check(teeth, teeth)
    half = np.pi / np.asarray(teeth, dtype=float)
    return half * np.tan(0.5 * half)


def slack(pitch: Real, pitches: Real, links: Real, elongation: Real = 0.0) -> Real:
    """Chain that is left over once a whole number of links goes round fixed shafts.

    Parameters
    ----------
    pitch, pitches, links : Chain pitch [m]; taut length at the built centre distance, from `length` [-]; links in the
        chain [-]
    elongation : Growth of the chain by wear; 0.02 to 0.03 is where a chain is replaced (common practice, no source) [-]

    Returns
    -------
    Length to be taken up; negative if the chain is too short to be fitted [m].

    Raises
    ------
    ValueError : If the pitch or a length is not positive, or the elongation is negative

    References
    ----------
    plane-geometry: derived beside the formula.
    """
    require.positive(pitch=pitch, pitches=pitches, links=links)
    require.not_negative(elongation=elongation)
    return pitch * (links * (1.0 + elongation) - pitches)


def span(pitch: Real, teeth_1: Real, teeth_2: Real, centre: Real, *, belt: bool = False) -> Real:
    """Free length of chain between two sprockets.

    sqrt(C^2 - (r2 - r1)^2).

    Parameters
    ----------
    pitch : Chain pitch [m]
    teeth_1, teeth_2 : Teeth of the sprockets, in either order [-]
    centre : Distance between the shafts [m]
    belt : Whether it is a toothed belt [-]

    Returns
    -------
    Length of one straight run, 0 where the pitch circles lie inside each other [m].

    Raises
    ------
    ValueError : If the pitch or the centre distance is not positive, or a sprocket has fewer than three teeth

    References
    ----------
    plane-geometry: derived beside the formula.
    """
    require.positive(centre=centre)
    step = pitch_radius(pitch, teeth_2, belt=belt) - pitch_radius(pitch, teeth_1, belt=belt)
    return np.sqrt(np.maximum(centre**2 - step**2, 0.0))


def tensioner_travel(span: Real, slack: Real) -> Real:
    """Sideways travel at mid-span that takes up a given slack.

    h = sqrt((S + e)^2 - S^2) / 2: the run becomes two straight lines over a small idler at its middle. A larger idler
    wraps some chain and needs less. The travel grows as the root of the slack: the first millimetre costs most.

    Parameters
    ----------
    span : Free length of the slack run [m]
    slack : Length to be taken up; negative counts as none [m]

    Returns
    -------
    Travel of the idler from the taut line [m].

    Raises
    ------
    ValueError : If the span is not positive

    References
    ----------
    plane-geometry: derived beside the formula.
    """
    require.positive(span=span)
    e = np.maximum(slack, 0.0)
    return 0.5 * np.sqrt(e * (2.0 * span + e))


def run_tension(force: Real, span: Real, slack: Real) -> Real:
    """Tension of a run whose slack an idler takes up at its middle.

    F = 2 T sin(a), with sin(a) = 2 h / (S + e) and the travel h of `tensioner_travel`: the two halves of the run hold
    the idler between them. The weight of the run, and what its speed throws outwards, are left out.

    Parameters
    ----------
    force : Of the idler across the run [N]
    span, slack : Free length of the run, straight [m]; length that the idler takes up; none or less leaves no angle [m]

    Returns
    -------
    Tension [N]; infinite where there is no slack, since the idler then presses on a taut chain.

    Raises
    ------
    ValueError : If the span is not positive

    References
    ----------
    meriam_statics: equilibrium of a point between two cords.
    """
    e = np.maximum(slack, 0.0)
    sine = 2.0 * tensioner_travel(span, e) / (span + e)
    return require.ratio(force, 2.0 * sine)[()]


def wrapped_teeth(pitch: Real, teeth: Real, other: Real, centre: Real, *, belt: bool = False) -> Real:
    """Teeth of a sprocket that the chain lies on.

    z (1 / 2 - asin((r' - r) / C) / pi). An idler that presses from outside adds to it, which is left out.

    Parameters
    ----------
    pitch : Chain pitch [m]
    teeth, other : Teeth of this sprocket and of the other [-]
    centre : Distance between the shafts [m]
    belt : Whether it is a toothed belt [-]

    Returns
    -------
    Teeth, with their fraction [-].

    Raises
    ------
    ValueError : If the pitch or the centre distance is not positive, or a sprocket has fewer than three teeth

    References
    ----------
    plane-geometry: derived beside the formula.
    """
    require.positive(centre=centre)
    step = (pitch_radius(pitch, other, belt=belt) - pitch_radius(pitch, teeth, belt=belt)) / centre
    on: Real = teeth * (0.5 - np.arcsin(np.clip(step, -1.0, 1.0)) / np.pi)
    return on


def slack_needed(pull: Real, teeth: Real, wrapped: Real) -> Real:
    """Tension of the slack run below which a chain climbs the teeth of a sprocket.

    From joint to joint the tension falls by q = sin(f) / sin(f + 2 pi / z), where the teeth press at f = 35 degrees
    less 120 degrees / z at most. Over k whole teeth T = (T + P) q^(k - 1), so T = P q^(k - 1) / (1 - q^(k - 1)).
    Friction on the teeth, which helps, is left out.

    Parameters
    ----------
    pull : Tension of the tight run over that of the slack one: torque over pitch radius [N]
    teeth, wrapped : Teeth of the sprocket, four or more; teeth that the chain lies on [-]

    Returns
    -------
    Tension [N]; infinite where fewer than two whole teeth are under the chain.

    Raises
    ------
    ValueError : If there are fewer than four teeth

    References
    ----------
    chain_handbook: tension of a chain round a sprocket, pressure angle.
    """
    z = np.asarray(teeth, dtype=float)
    require.refuse(z >= 4.0, lambda: f"teeth must be at least 4, got {teeth!r}")
    press = np.radians(35.0 - 120.0 / z)
    falls = np.sin(press) / np.sin(press + 2.0 * np.pi / z)
    left = falls ** np.maximum(np.floor(np.asarray(wrapped) + _COUNT_SLACK) - 1.0, 0.0)
    return require.ratio(np.maximum(pull, 0.0) * left, 1.0 - left)[()]
