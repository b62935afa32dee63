"""A chain that carries hooks: hook spacing, the pick-up window, and clearance to the pieces already carried.

The window is that of an object pushed in from the side between two passing hooks. Hooks on a moving chain are
shear points: keep hands away while the robot is enabled.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.physics import _require as require
from fieldworthy.physics._types import Real
from fieldworthy.physics.motors.chain import pitch_radius

LOOSE_PACKING = 0.6
"""Share of its volume that a loose heap of compact pieces fills [-]; random packing of balls, from memory."""

_COUNT_SLACK = 1e-9  # a room for six pieces less rounding is a room for six


def hook_count(chain_links: Real, links_between: Real) -> Real:
    """Hooks that fit round a closed chain at an even distance.

    Parameters
    ----------
    chain_links : Real
        Links of the whole chain [-].
    links_between : Real
        Links from one hook to the next [-].

    Returns
    -------
    Real
        Hooks; where the links do not divide, one stretch stays longer than the others [-].

    Raises
    ------
    ValueError
        If a number of links is not positive.

    Notes
    -----
    floor(links / links between). Attachment links are inner or outer links: an even number between hooks
    keeps one kind.

    References
    ----------
    iso606: ISO 606, attachment links (from memory).
    """
    require.positive(chain_links=chain_links, links_between=links_between)
    return np.floor(chain_links / links_between + _COUNT_SLACK)


def hook_spacing(pitch: Real, links_between: Real) -> Real:
    """Distance along the chain from one hook to the next.

    Parameters
    ----------
    pitch : Real
        Chain pitch [m].
    links_between : Real
        Links from one hook to the next [-].

    Returns
    -------
    Real
        Distance [m].

    Raises
    ------
    ValueError
        If a quantity is not positive.

    References
    ----------
    plane-geometry: derived beside the formula.
    """
    require.positive(pitch=pitch, links_between=links_between)
    return pitch * links_between


def passing_frequency(chain_speed: Real, spacing: Real) -> Real:
    """Hooks per second that pass a point, the most objects that the chain can lift.

    Parameters
    ----------
    chain_speed : Real
        Speed of the chain [m/s].
    spacing : Real
        Distance between hooks [m].

    Returns
    -------
    Real
        Frequency [1/s].

    Raises
    ------
    ValueError
        If the speed is negative or the spacing is not positive.

    Notes
    -----
    v / s.

    References
    ----------
    continuity: conservation of the number of objects on a path.
    """
    require.not_negative(chain_speed=chain_speed)
    require.positive(spacing=spacing)
    return chain_speed / spacing


def window(spacing: Real, hook: Real, extent: Real, travel: Real = 0.0) -> Real:
    """Stretch of chain within which an object may come in between two hooks and be picked up by the next.

    Parameters
    ----------
    spacing : Real
        Distance between hooks [m].
    hook : Real
        Thickness of a hook along the chain [m].
    extent : Real
        Extent of the object along the chain [m].
    travel : Real, optional
        Chain that passes while the object comes in: chain speed times the time to come in [m].

    Returns
    -------
    Real
        Length of the window, 0 where the object never fits; over the chain speed it is a time [m].

    Raises
    ------
    ValueError
        If the spacing or the extent is not positive, or the hook or travel is negative.

    Notes
    -----
    spacing - hook - extent - travel. A slow entry against a fast chain closes the window.

    References
    ----------
    practice: clearances along a line.
    """
    require.positive(spacing=spacing, extent=extent)
    require.not_negative(hook=hook, travel=travel)
    return np.maximum(spacing - hook - extent - travel, 0.0)


def random_chance(window: Real, spacing: Real) -> Real:
    """Chance that an object which arrives at a random moment is picked up cleanly.

    Parameters
    ----------
    window : Real
        Length of the pick-up window, from `window` [m].
    spacing : Real
        Distance between hooks [m].

    Returns
    -------
    Real
        Chance [-].

    Raises
    ------
    ValueError
        If the window is negative or the spacing is not positive.

    Notes
    -----
    window / spacing, the phase of the hooks being uniform. An object that is knocked back and comes again at
    an independent phase is in after n tries with 1 - (1 - p)^n.

    References
    ----------
    practice: geometric probability.
    """
    require.not_negative(window=window)
    require.positive(spacing=spacing)
    return np.minimum(window / spacing, 1.0)


def waiting_chance(dwell: Real, chain_speed: Real, spacing: Real) -> Real:
    """Chance that a hook comes by while an object stays at the pick-up point.

    Parameters
    ----------
    dwell : Real
        Time for which the object stays [s].
    chain_speed : Real
        Speed of the chain [m/s].
    spacing : Real
        Distance between hooks [m].

    Returns
    -------
    Real
        Chance; 1 once the dwell is a full hook interval [-].

    Raises
    ------
    ValueError
        If the dwell or speed is negative, or the spacing is not positive.

    Notes
    -----
    min(1, v t / s), the phase of the hooks being uniform; the mean wait is s / (2 v).

    References
    ----------
    practice: geometric probability.
    """
    require.not_negative(dwell=dwell)
    return np.minimum(dwell * passing_frequency(chain_speed, spacing), 1.0)


def tip_radius(pitch: Real, teeth: Real, height: Real, offset: Real = 0.0) -> Real:
    """Radius that a hook's tip sweeps where the chain runs round a sprocket.

    Parameters
    ----------
    pitch : Real
        Chain pitch [m].
    teeth : Real
        Teeth of the sprocket [-].
    height : Real
        Height of the tip above the line through its link's two joints [m].
    offset : Real, optional
        Distance of the tip along the chain from the middle of its link [m].

    Returns
    -------
    Real
        Radius about the shaft [m].

    Raises
    ------
    ValueError
        If the pitch is not positive, the sprocket has fewer than three teeth, or the height is negative.

    Notes
    -----
    The link is a chord of the pitch circle: sqrt((r cos(pi / z) + h)^2 + offset^2).

    References
    ----------
    iso606: ISO 606, sprocket geometry (from memory).
    """
    require.not_negative(height=height)
    chord = pitch_radius(pitch, teeth) * np.cos(np.pi / np.asarray(teeth))
    return np.hypot(chord + height, offset)


def stack_height(count: Real, height: Real, nested: Real) -> Real:
    """Height of pieces stacked on one another.

    Parameters
    ----------
    count : Real
        Pieces in the stack [-].
    height : Real
        Height of one piece by itself [m].
    nested : Real
        What each further piece adds, the same height unless they nest [m].

    Returns
    -------
    Real
        Height, 0 without a piece [m].

    Raises
    ------
    ValueError
        If the count is negative, or a height is not positive.

    Notes
    -----
    h + (n - 1) h_nested.

    References
    ----------
    plane-geometry: derived beside the formula.
    """
    require.not_negative(count=count)
    require.positive(height=height, nested=nested)
    return np.where(np.asarray(count) > 0, height + (count - 1.0) * nested, 0.0)[()]


def heap_height(count: Real, volume: Real, area: Real, packing: Real = LOOSE_PACKING) -> Real:
    """Mean height of pieces that lie in a hopper in no order.

    Parameters
    ----------
    count : Real
        Pieces in the heap [-].
    volume : Real
        Volume of one piece, with its holes where others cannot enter them [m^3].
    area : Real
        Floor area of the hopper [m^2].
    packing : Real, optional
        Share of the heap's volume that pieces fill [-].

    Returns
    -------
    Real
        Mean height; single pieces stand above it by up to their own size [m].

    Raises
    ------
    ValueError
        If the count is negative, or volume, area or packing is not positive.

    Notes
    -----
    n V / (packing A).

    References
    ----------
    packing: random loose packing of balls (from memory); flat rings fill less.
    """
    require.not_negative(count=count)
    require.positive(volume=volume, area=area, packing=packing)
    return count * volume / (packing * area)


def pieces_cleared(room: Real, height: Real, nested: Real) -> Real:
    """Most pieces in a stack that hook tips still pass over.

    Parameters
    ----------
    room : Real
        Lowest point of the tips' path above the floor of the stack, less the clearance wanted [m].
    height : Real
        Height of one piece by itself [m].
    nested : Real
        What each further piece adds [m].

    Returns
    -------
    Real
        Number of pieces, 0 where not even one fits [-].

    Raises
    ------
    ValueError
        If a height is not positive.

    Notes
    -----
    floor((room - h) / h_nested) + 1. That hooks must clear five or six pieces is common practice, no
    source; it is a demand on the room, not a result.

    References
    ----------
    practice: hooks clear five or six pieces already carried.
    """
    require.positive(height=height, nested=nested)
    return np.maximum(np.floor((room - height) / nested + _COUNT_SLACK) + 1.0, 0.0)
