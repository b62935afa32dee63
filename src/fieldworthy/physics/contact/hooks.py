"""A chain that carries hooks: hook spacing, the pick-up window, and clearance to the pieces already carried.

The window is that of an object pushed in from the side between two passing hooks. Hooks on a moving chain are
shear points: keep hands away while the robot is enabled.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.motors.chain import pitch_radius

_ASIDE, _PARTLY = 0.4, 0.05
_THROWN, _WIDE = 0.8, 4.0
_COUNT_SLACK = 1e-9  # a room for six pieces less rounding is a room for six


def hook_count(chain_links: Real, links_between: Real) -> Real:
    """Hooks that fit round a closed chain at an even distance.

    Parameters
    ----------
    chain_links, links_between : Real
        Links of the whole chain; links from one hook to the next [-].

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
    pitch, links_between : Real
        Chain pitch [m]; links from one hook to the next [-].

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
    chain_speed, spacing : Real
        Speed of the chain [m/s]; distance between hooks [m].

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
    spacing, hook, extent : Real
        Distance between hooks; thickness of a hook along the chain; extent of the object along the chain [m].
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
    window, spacing : Real
        Length of the pick-up window, from `window`; distance between hooks [m].

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


def tip_radius(pitch: Real, teeth: Real, height: Real, offset: Real = 0.0) -> Real:
    """Radius that a hook's tip sweeps where the chain runs round a sprocket.

    Parameters
    ----------
    pitch, teeth : Real
        Chain pitch [m]; teeth of the sprocket [-].
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
    count, height : Real
        Pieces in the stack [-]; height of one piece by itself [m].
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


def heap_height(count: Real, size: tuple[Real, Real, Real], floor: tuple[Real, Real], *, ball: bool) -> Real:
    """Height of the topmost of some pieces that were dropped into a hopper with upright walls.

    Parameters
    ----------
    count : Real
        Pieces in the heap [-].
    size : tuple[Real, Real, Real]
        Length, width and height of one piece; of a ball the first is taken as its diameter [m].
    floor : tuple[Real, Real]
        Length and width of the hopper's floor [m].
    ball : bool
        Whether the pieces are balls, which sink in between those below; others lie flat on each other.

    Returns
    -------
    Real
        Height, never below that of one piece; 0 without a piece [m].

    Raises
    ------
    ValueError
        If the count is negative, or a size is not positive.

    Notes
    -----
    As many layers as the floor's width and length ask for. Each further layer of balls adds
    D / (1 + 0.55 e^2 + 0.35 e^4), e the room to step aside in diameters, near sqrt(1 - e^2) for a zigzag in a shaft;
    wider floors leave 0.4 of a diameter a side to that, and the rest holds more. A floor for four or more that is
    thrown full at random counts as the mean of full and of four fifths full. Within half a ball of the mean of dropped
    balls for up to nine in hoppers from 1 to 4.5 diameters wide.

    References
    ----------
    packing: fitted to balls dropped in a general physics engine; layers derived beside the formula.
    """
    require.not_negative(count=count)
    require.positive(length=size[0], width=size[1], height=size[2], floor_length=floor[0], floor_width=floor[1])
    n = np.asarray(count, dtype=float)
    if ball:
        (a, slack_a), (b, slack_b) = (_lanes(np.asarray(side) / size[0]) for side in floor)
        e2 = slack_a**2 + slack_b**2
        each, added, high = a * b, size[0] / (1.0 + 0.55 * e2 + 0.35 * e2**2), size[0]
    else:
        ways = [
            np.maximum(np.floor(floor[0] / np.asarray(size[i]) + _COUNT_SLACK), 1.0)
            * np.maximum(np.floor(floor[1] / np.asarray(size[1 - i]) + _COUNT_SLACK), 1.0)
            for i in (0, 1)
        ]
        each, added, high = np.maximum(*ways), np.asarray(size[2]), size[2]
    full, loose = (np.ceil(n / (each * share) - _PARTLY) for share in (1.0, _THROWN))
    layers = np.where(each >= _WIDE, 0.5 * (full + loose), full)
    return np.where(n > 0, high + (np.maximum(layers, 1.0) - 1.0) * added, 0.0)[()]


def _lanes(side: Array) -> tuple[Array, Array]:
    """How many balls lie side by side on a floor so many diameters wide, and how far each may step aside."""
    whole = np.maximum(np.floor(side + _COUNT_SLACK), 1.0)
    left = np.maximum(side - whole, 0.0)
    # in a shaft all of it is for stepping aside; on a wider floor what goes beyond makes room for more
    return np.where(whole > 1.0, whole + np.maximum(left - _ASIDE, 0.0), 1.0), np.where(
        whole > 1.0, np.minimum(left, _ASIDE), left
    )


def pieces_cleared(room: Real, height: Real, nested: Real) -> Real:
    """Most pieces in a stack that hook tips still pass over.

    Parameters
    ----------
    room : Real
        Lowest point of the tips' path above the floor of the stack, less the clearance wanted [m].
    height, nested : Real
        Height of one piece by itself; what each further piece adds [m].

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
