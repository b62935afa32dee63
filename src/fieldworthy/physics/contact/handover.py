"""Where stages meet: pulling apart, piling up, ramps, and the hooks of a chain.

Arrays of speeds carry the stages on the leading axis and the cases on the trailing ones. What holds: the
nose of every object changes speed at the same place, whichever roller wins the tug, so times between noses
stay and distances change in the ratio of the speeds.

The window is that of an object pushed in from the side between two passing hooks. Hooks on a moving chain are
shear points: keep hands away while the robot is enabled.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.motors.chain import pitch_radius
from fieldworthy.physics.statics.support import STANDARD_GRAVITY

_STEPS = 32


def _checked(speeds: Array) -> Array:
    require.not_negative(speeds=speeds)
    if np.ndim(speeds) < 1 or len(speeds) < 1:
        msg = "speeds must hold at least one stage on its leading axis"
        raise ValueError(msg)
    return speeds


def alongside(speed: Real, next_speed: Real, length: Real, next_length: Real) -> tuple[Array, Array]:
    """Put speeds and lengths of two neighbouring stages on a leading axis of their own.

    Parameters
    ----------
    speed, next_speed, length, next_length : Of the objects in this stage and in the next [m/s]; least distance nose to
        nose in each [m]

    Returns
    -------
    Speeds [m/s], and distances [m].
    """
    a, b, c, d = np.broadcast_arrays(speed, next_speed, length, next_length)
    return np.stack([a, b]), np.stack([c, d])


def throughput(speeds: Array, length: Real, gap: Real = 0.0) -> Real:
    """Largest number of objects per second that a row of stages passes on without a pile-up.

    min(v) / (L + gap): the slowest stage alone limits, wherever it stands in the row. A faster neighbour
    before it piles up at the hand-over, one after it only spreads the objects out.

    Parameters
    ----------
    speeds : Speed of the object in each stage, stages on the leading axis [m/s]
    length : Length of an object along the path, or the least distance nose to nose of each stage, as where hooks carry
        them, stages leading [m]
    gap : Space that must stay between two objects, in the slowest stage [m]

    Returns
    -------
    Rate, 0 where a stage stands still [1/s].

    Raises
    ------
    ValueError : If a speed is negative, the length is not positive, or the gap is negative

    References
    ----------
    continuity: conservation of the number of objects on a one-dimensional path.
    """
    require.positive(length=length)
    require.not_negative(gap=gap)
    rate: Array = np.min(_checked(speeds) / (length + np.asarray(gap)), axis=0)
    return rate


def limiting_stage(speeds: Array, length: Real = 1.0) -> Array:
    """Index of the stage that limits the throughput.

    Parameters
    ----------
    speeds : Speed of the object in each stage, stages on the leading axis [m/s]
    length : Least distance nose to nose, as in `throughput`; alike in all stages if not given [m]

    Returns
    -------
    Index from 0; the first of equals [-].

    Raises
    ------
    ValueError : If a speed is negative or there is no stage

    References
    ----------
    continuity: conservation of the number of objects on a one-dimensional path.
    """
    index: Array = np.argmin(_checked(speeds) / np.asarray(length), axis=0)
    return index


def feed_spacing(speeds: Array, length: Real, gap: Real = 0.0) -> Real:
    """Smallest distance, nose to nose in the first stage, at which objects never touch further on.

    v_1 / min(v / (L + gap)).

    Parameters
    ----------
    speeds : Speed of the object in each stage, stages on the leading axis [m/s]
    length : Length of an object along the path, or the least distance of each stage as in `throughput` [m]
    gap : Space that must stay between two objects, in the slowest stage [m]

    Returns
    -------
    Spacing, infinite where a stage stands still [m].

    Raises
    ------
    ValueError : If a speed is negative, the length is not positive, or the gap is negative

    References
    ----------
    continuity: conservation of the number of objects on a one-dimensional path.
    """
    rate = np.asarray(throughput(speeds, length, gap))
    spacing: Array = np.divide(speeds[0], rate, out=np.full(np.shape(rate), np.inf), where=rate > 0.0)
    return spacing


def overlap(length: Real, distance: Real) -> Real:
    """Length of path over which two neighbouring stages hold the same object.

    L - D.

    Parameters
    ----------
    length, distance : Length of an object along the path; distance between the two nips [m]

    Returns
    -------
    Overlap; negative is a stretch over which neither holds it [m].

    Raises
    ------
    ValueError : If the length or distance is not positive

    References
    ----------
    plane-geometry: derived beside the formula.
    """
    require.positive(length=length, distance=distance)
    return length - distance


def rubbing(overlap: Real, speeds: tuple[Real, Real], grips: tuple[Real, Real]) -> tuple[Real, Real]:
    """Force and sliding distance at the roller that loses the tug while two stages hold one object.

    The weaker grip slips: force min(mu N), pulling where the next stage is the faster; it slides
    overlap |v_weak - v_strong| / v_strong. Equal speeds slide nowhere and carry no force.

    Parameters
    ----------
    overlap : Length over which both hold it, from `overlap` [m]
    speeds : Surface speed of this stage and the next [m/s]
    grips : Grip (friction coefficient times normal force) of this stage and the next [N]

    Returns
    -------
    Force in the object, positive a pull and negative a push [N]; sliding distance at the weaker roller [m].

    Raises
    ------
    ValueError : If a speed is not positive or a grip is negative

    References
    ----------
    practice: Coulomb friction, textbook statics.
    """
    require.positive(this_speed=speeds[0], next_speed=speeds[1])
    require.not_negative(this_grip=grips[0], next_grip=grips[1])
    first, second = np.asarray(speeds[0]), np.asarray(speeds[1])
    strong = np.where(np.asarray(grips[0]) >= grips[1], first, second)
    force = np.sign(second - first) * np.minimum(*grips)
    both = np.maximum(overlap, 0.0)
    return np.where(both > 0.0, force, 0.0)[()], both * np.abs(second - first) / strong


def coast_reach(speed: Real, gap: Real, slopes: tuple[Real, Real], friction: Real, turning: Real = 0.0) -> Real:
    """How far an object coasts along a path that bends evenly from one slope to another.

    It rests where the work g integral of (sin + mu cos) ds reaches (1 + turning) v^2 / 2. What bending adds to the
    push on the guide is left out. Along the gap in 32 steps, straight between.

    Parameters
    ----------
    speed : Speed with which it leaves the stage behind it [m/s]
    gap : Length over which the path bends; 0 or less counts as none [m]
    slopes : Slope where it leaves, and where the gap ends and from there on, upwards positive [rad]
    friction : Friction coefficient of an object that slides on the guide; 0 for one that rolls [-]
    turning : Energy of its turning as a share of that of its motion, 2/5 for a ball that rolls [-]

    Returns
    -------
    Way to where it comes to rest; very long where it runs on by itself [m].

    Raises
    ------
    ValueError : If the speed, friction or turning is negative

    References
    ----------
    practice: work and energy, textbook dynamics.
    """
    require.not_negative(speed=speed, friction=friction, turning=turning)
    s = np.linspace(0.0, 1.0, _STEPS + 1)
    first, last, rub, way, energy = np.broadcast_arrays(
        *slopes, friction, np.maximum(gap, 0.0), 0.5 * (1.0 + np.asarray(turning)) * np.asarray(speed) ** 2
    )
    slope = first[..., None] + (last - first)[..., None] * s
    asks = STANDARD_GRAVITY * (np.sin(slope) + rub[..., None] * np.cos(slope))
    pieces = 0.5 * (asks[..., 1:] + asks[..., :-1]) * (way / _STEPS)[..., None]
    done = np.concatenate([np.zeros((*way.shape, 1)), np.cumsum(pieces, axis=-1)], axis=-1)
    stops = done[..., 1:] > energy[..., None]
    i = np.argmax(stops, axis=-1)[..., None]
    before, step = (np.take_along_axis(x, i, -1)[..., 0] for x in (done, pieces))
    part = (energy - before) / np.where(stops.any(axis=-1), step, 1.0)
    inside = (i[..., 0] + part) * way / _STEPS
    beyond = way + (energy - done[..., -1]) / np.maximum(asks[..., -1], 1e-3)
    reach: Real = np.where(stops.any(axis=-1), inside, beyond)[()]
    return reach


def swallow_time(length: Real, speed: Real, force: Real, mass: Real) -> Real:
    """Time from first touch until a stage has drawn in a whole object that lay still.

    Even acceleration a = F / m up to v: L / v + v / (2 a), or sqrt(2 L / a) where the object is short. The
    faster a roller turns, the longer it slips first: past v = sqrt(2 a L) more speed draws nothing in sooner.

    Parameters
    ----------
    length, speed : Length of the object along the path [m]; speed of the object once it runs with the surface [m/s]
    force : Force that is left to accelerate it: the smaller of grip and motor force, less the drag [N]
    mass : Mass of the object [kg]

    Returns
    -------
    Time, infinite where speed or force is zero or less [s].

    Raises
    ------
    ValueError : If the length or mass is not positive

    References
    ----------
    practice: uniformly accelerated motion.
    """
    require.positive(length=length, mass=mass)
    works = (np.asarray(speed) > 0.0) & (np.asarray(force) > 0.0)
    v = np.where(works, speed, 1.0)
    a = np.where(works, force, 1.0) / mass
    reached = v**2 < 2.0 * a * length
    time = np.where(reached, length / v + v / (2.0 * a), np.sqrt(2.0 * length / a))
    return np.where(works, time, np.inf)[()]


def pickup_rate(swallow_time: Real, throughput: Real) -> Real:
    """Objects per second that an intake takes in from a heap that offers the next one at once.

    min(1 / t, throughput).

    Parameters
    ----------
    swallow_time : Time that the first stage takes for one object, from `swallow_time` [s]
    throughput : What the row of stages passes on, from `throughput` [1/s]

    Returns
    -------
    Rate [1/s].

    Raises
    ------
    ValueError : If the swallow time is not positive or the throughput is negative

    References
    ----------
    continuity: conservation of the number of objects on a one-dimensional path.
    """
    if not np.all(np.asarray(swallow_time) > 0.0):
        msg = f"swallow_time must be positive, got {swallow_time!r}"
        raise ValueError(msg)
    require.not_negative(throughput=throughput)
    return np.minimum(1.0 / np.asarray(swallow_time), throughput)


_ASIDE, _PARTLY = 0.4, 0.05
_THROWN, _WIDE = 0.8, 4.0
_COUNT_SLACK = 1e-9  # a room for six pieces less rounding is a room for six


def hook_count(chain_links: Real, links_between: Real) -> Real:
    """Hooks that fit round a closed chain at an even distance.

    floor(links / links between). Attachment links are inner or outer links: an even number between hooks
    keeps one kind.

    Parameters
    ----------
    chain_links, links_between : Links of the whole chain; links from one hook to the next [-]

    Returns
    -------
    Hooks; where the links do not divide, one stretch stays longer than the others [-].

    Raises
    ------
    ValueError : If a number of links is not positive

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
    pitch, links_between : Chain pitch [m]; links from one hook to the next [-]

    Returns
    -------
    Distance [m].

    Raises
    ------
    ValueError : If a quantity is not positive

    References
    ----------
    plane-geometry: derived beside the formula.
    """
    require.positive(pitch=pitch, links_between=links_between)
    return pitch * links_between


def passing_frequency(chain_speed: Real, spacing: Real) -> Real:
    """Hooks per second that pass a point, the most objects that the chain can lift.

    v / s.

    Parameters
    ----------
    chain_speed, spacing : Speed of the chain [m/s]; distance between hooks [m]

    Returns
    -------
    Frequency [1/s].

    Raises
    ------
    ValueError : If the speed is negative or the spacing is not positive

    References
    ----------
    continuity: conservation of the number of objects on a path.
    """
    require.not_negative(chain_speed=chain_speed)
    require.positive(spacing=spacing)
    return chain_speed / spacing


def window(spacing: Real, hook: Real, extent: Real, travel: Real = 0.0) -> Real:
    """Stretch of chain within which an object may come in between two hooks and be picked up by the next.

    spacing - hook - extent - travel. A slow entry against a fast chain closes the window.

    Parameters
    ----------
    spacing, hook, extent : Distance between hooks; thickness of a hook along the chain; extent of the object along the
        chain [m]
    travel : Chain that passes while the object comes in: chain speed times the time to come in [m]

    Returns
    -------
    Length of the window, 0 where the object never fits; over the chain speed it is a time [m].

    Raises
    ------
    ValueError : If the spacing or the extent is not positive, or the hook or travel is negative

    References
    ----------
    practice: clearances along a line.
    """
    require.positive(spacing=spacing, extent=extent)
    require.not_negative(hook=hook, travel=travel)
    return np.maximum(spacing - hook - extent - travel, 0.0)


def random_chance(window: Real, spacing: Real) -> Real:
    """Chance that an object which arrives at a random moment is picked up cleanly.

    window / spacing, the phase of the hooks being uniform. An object that is knocked back and comes again at
    an independent phase is in after n tries with 1 - (1 - p)^n.

    Parameters
    ----------
    window, spacing : Length of the pick-up window, from `window`; distance between hooks [m]

    Returns
    -------
    Chance [-].

    Raises
    ------
    ValueError : If the window is negative or the spacing is not positive

    References
    ----------
    practice: geometric probability.
    """
    require.not_negative(window=window)
    require.positive(spacing=spacing)
    return np.minimum(window / spacing, 1.0)


def tip_radius(pitch: Real, teeth: Real, height: Real, offset: Real = 0.0) -> Real:
    """Radius that a hook's tip sweeps where the chain runs round a sprocket.

    The link is a chord of the pitch circle: sqrt((r cos(pi / z) + h)^2 + offset^2).

    Parameters
    ----------
    pitch, teeth : Chain pitch [m]; teeth of the sprocket [-]
    height : Height of the tip above the line through its link's two joints [m]
    offset : Distance of the tip along the chain from the middle of its link [m]

    Returns
    -------
    Radius about the shaft [m].

    Raises
    ------
    ValueError : If the pitch is not positive, the sprocket has fewer than three teeth, or the height is negative

    References
    ----------
    iso606: ISO 606, sprocket geometry (from memory).
    """
    require.not_negative(height=height)
    chord = pitch_radius(pitch, teeth) * np.cos(np.pi / np.asarray(teeth))
    return np.hypot(chord + height, offset)


def stack_height(count: Real, height: Real, nested: Real) -> Real:
    """Height of pieces stacked on one another.

    h + (n - 1) h_nested.

    Parameters
    ----------
    count, height : Pieces in the stack [-]; height of one piece by itself [m]
    nested : What each further piece adds, the same height unless they nest [m]

    Returns
    -------
    Height, 0 without a piece [m].

    Raises
    ------
    ValueError : If the count is negative, or a height is not positive

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
    count : Pieces in the heap [-]
    size : Length, width and height of one piece; of a ball the first is taken as its diameter [m]
    floor : Length and width of the hopper's floor [m]
    ball : Whether the pieces are balls, which sink in between those below; others lie flat on each other

    Returns
    -------
    Height, never below that of one piece; 0 without a piece [m].

    Raises
    ------
    ValueError : If the count is negative, or a size is not positive

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

    floor((room - h) / h_nested) + 1. That hooks must clear five or six pieces is common practice, no
    source; it is a demand on the room, not a result.

    Parameters
    ----------
    room : Lowest point of the tips' path above the floor of the stack, less the clearance wanted [m]
    height, nested : Height of one piece by itself; what each further piece adds [m]

    Returns
    -------
    Number of pieces, 0 where not even one fits [-].

    Raises
    ------
    ValueError : If a height is not positive

    References
    ----------
    practice: hooks clear five or six pieces already carried.
    """
    require.positive(height=height, nested=nested)
    return np.maximum(np.floor((room - height) / nested + _COUNT_SLACK) + 1.0, 0.0)
