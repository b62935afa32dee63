"""The clamp over cases: its jaw, its force, and how it engages an object."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache, reduce
from typing import TypeAlias

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, Worked, called, first, unknown
from fieldworthy.engine.system import RodLoad
from fieldworthy.physics.contact import clamp as clamping
from fieldworthy.physics.statics.support import (
    STANDARD_GRAVITY,
    Circle,
    Outline,
    Polygon,
    corner_angles,
    flat_lengths,
    greatest_width,
    rectangle,
    regular_polygon,
)
from fieldworthy.robot.model.season import GameObject
from fieldworthy.systems.clamp.model import Clamp, Rival, Toggle
from fieldworthy.vehicle.stance import flat
from fieldworthy.vehicle.supply import BREAKAWAY, AirUse, Low, lowest_after, use_of


def rod_force(use: AirUse, way: int, gauge: Real) -> tuple[Real, Real]:
    """Take the force of a cylinder's rods at a pressure, friction of the seals taken off."""
    area = use.cylinder.piston_area if way == 0 else use.cylinder.ring_area
    per = area * use.efficiency * use.spec.count
    return np.maximum(per * gauge - returning(use, way), 0.0), per


def returning(use: AirUse, way: int) -> Real:
    """Take the force of the return springs at the end of the way out."""
    return use.cylinder.spring_force(use.cylinder.stroke) * use.spec.count if way == 0 else 0.0


def rods(context: Context) -> Iterator[RodLoad]:
    """What every clamp asks of its rods: to hold against a rival's pull, or to get its knee through the centre."""
    for spec in context.robot.mechanisms.values():
        if not isinstance(spec, Clamp):
            continue
        way = 0 if spec.working == "out" else 1
        if spec.toggle is not None:
            yield RodLoad.held(spec.cylinder, way, _peak(spec.toggle) / spec.efficiency)
        elif spec.rival is not None:
            per, thing = spec.efficiency / spec.lever, context.season.objects[spec.object]
            gain = clamping.hook_gain(np.minimum(spec.face, 0.5 * np.pi), spec.friction)
            spring, pull = spring_at(spec, way_to(spec, thing)), _pull(spec.rival)
            # a pressure per pascal of one newton is a force
            force = clamping.slip_pressure(pull, per, spring, gain, below(spec, thing))
            # bands that hold the pull alone close the jaw too; a face that locks itself still has to be closed
            force = np.where(np.asarray(force) > 0.0, force, -np.maximum(spring, 0.0) / per)
            if np.isfinite(first(force)):
                yield RodLoad.held(spec.cylinder, way, force, kept=True)


def gap_below(spec: Clamp, thing: GameObject) -> Real:
    """Gap between what bears the rim and its lower edge, before anything closes."""
    assert thing.rim is not None, "an object that a clamp grips has a rim"
    skirt = 0.0 if thing.rim.skirt is None else thing.rim.skirt
    return thing.rim.height - thing.rim.thickness - skirt - spec.seat_height


def short_of(spec: Clamp, thing: GameObject) -> Real:
    """How far a hook from below stays under the rim's edge, risen as far as it can; nothing where it bears it."""
    assert spec.under is not None, "asked for with a hook only"
    return np.maximum(gap_below(spec, thing) - spec.under.rises, 0.0)


def behind_edge(spec: Clamp, thing: GameObject) -> Array:
    """How far the tip of a hook from below stands up behind the rim's edge."""
    assert spec.under is not None, "asked for with a hook only"
    assert thing.rim is not None, "an object that a clamp grips has a rim"
    skirt = 0.0 if thing.rim.skirt is None else thing.rim.skirt
    return clamping.edge_overlap(spec.under.tip, skirt, short_of(spec, thing))


def way_to(spec: Clamp, thing: GameObject) -> Real:
    """Way of the jaw until it stands on the rim; a hook that comes up to meet it takes its share of that."""
    assert thing.rim is not None, "an object that a clamp grips has a rim"
    above: Real = np.maximum(spec.seat_height + spec.opening - thing.rim.height, 0.0)
    if spec.under is None:
        return above
    up: Real = np.clip(gap_below(spec, thing), 0.0, spec.under.rises)
    return above + up


def spring_at(spec: Clamp, way: Real) -> Real:
    """Force of the bands on the jaw at a place of its way."""
    return spec.spring if spec.spring_rate is None else spec.spring - spec.spring_rate * way


def rubs_below(spec: Clamp, thing: GameObject) -> Real:
    """Friction under the rim; none on a hook that does not come up to bear it."""
    if spec.under is None:
        return spec.seat_friction
    return np.where(short_of(spec, thing) > _TINY, 0.0, spec.seat_friction)


def below(spec: Clamp, thing: GameObject) -> Real:
    """Pull held below for each newton that presses the rim down: by friction, or by a tip behind the rim's edge."""
    if spec.under is None:
        return spec.seat_friction
    tip = clamping.hook_gain(np.minimum(spec.under.face, 0.5 * np.pi), spec.seat_friction)
    caught = (behind_edge(spec, thing) > _TINY) & (short_of(spec, thing) <= _TINY)
    return np.where(caught, tip, rubs_below(spec, thing))


def _peak(toggle: Toggle) -> Array:
    """Force at the knee that takes it through the centre."""
    return np.asarray(
        clamping.over_centre_peak(toggle.preload, toggle.stiffness, toggle.past, toggle.link, toggle.other)
    )


def _pull(rival: Rival) -> Array:
    """What a rival pulls with at the limit of its wheels' grip."""
    return np.asarray(rival.mass * STANDARD_GRAVITY * rival.grip)


@dataclass(frozen=True, slots=True)
class Grip:
    """What a clamp that air presses down holds: force per pressure, spring, and what its hook makes of it.

    Attributes
    ----------
    per : Force of the jaw for each pascal of gauge pressure [N/Pa]
    spring : Force of springs on the jaw [N]
    gain : Pull held for each newton that presses down [-]
    seat : Pull held below for each newton: friction on the seat, or what a hook there makes of it [-]
    aside : Pull along the rim held for each newton [-]
    """

    per: Real
    spring: Real
    gain: Real
    seat: Real
    aside: Real

    def held(self, gauge: Real) -> Array:
        """Pull that it holds at a gauge pressure [N]."""
        down = clamping.jaw_force(gauge, self.per, self.spring)
        return np.asarray(clamping.holding_force(down, self.gain, self.seat))


def grip_of(context: Context, spec: Clamp) -> Grip:
    """Take what a clamp makes of the pressure in its tank."""
    use, way = use_of(context, spec.cylinder), 0 if spec.working == "out" else 1
    thing = context.season.objects[spec.object]
    per = rod_force(use, way, 0.0)[1] * spec.efficiency / spec.lever
    spring = spring_at(spec, way_to(spec, thing)) - returning(use, way) * spec.efficiency / spec.lever
    gain = clamping.hook_gain(np.minimum(spec.face, 0.5 * np.pi), spec.friction)
    return Grip(per, spring, gain, below(spec, thing), np.add(spec.friction, rubs_below(spec, thing)))


def pull_of(spec: Clamp) -> Array | None:
    """What a rival pulls with; None where the file does not say."""
    return None if spec.rival is None else _pull(spec.rival)


def holds(context: Context, name: str, spec: Clamp) -> Iterator[Outcome]:
    """Judge what a clamp holds."""
    use, low = use_of(context, spec.cylinder), lowest_after(context, spec.cylinder)
    way = 0 if spec.working == "out" else 1
    grip = grip_of(context, spec)
    per, spring, gain = grip.per, grip.spring, grip.gain
    down = clamping.jaw_force(low.gauge, per, spring) if spec.toggle is None else spec.toggle.preload
    if spec.toggle is not None:
        yield from _locks(name, spec.toggle, rod_force(use, way, low.gauge)[0] * spec.efficiency, low)
    yield from _goes(context, name, spec, low)
    if spec.under is not None:
        yield _sideways(name, spec, (down, grip.aside), low)
        yield _upwards(name, spec, down, low)
    if spec.rival is None:
        yield unknown("clamp.hold." + name, name, "force", f"How hard a rival pulls at what "
                                                           f"{called('clamp', name)} holds is not known.",
                      (f"mechanisms.{name}.rival",))  # fmt: skip
        return
    pull = _pull(spec.rival)
    yield _hold(name, spec, (down, clamping.holding_force(down, gain, grip.seat), pull), low)
    if spec.toggle is None:
        slips = clamping.slip_pressure(pull, per, spring, gain, grip.seat)
        yield _slip(name, spec, (slips, use.needs_gauge[way] if use.needs_gauge else slips), pull, low)


def _whole_way(context: Context, spec: Clamp) -> Real:
    """Way of the jaw over the whole stroke of its cylinder."""
    stroke: Real = context.robot.catalogue.cylinders[context.robot.air.cylinders[spec.cylinder].cylinder].stroke
    return stroke * spec.lever


def _force_open(context: Context, spec: Clamp, gauge: Real) -> tuple[Real, Real]:
    """Force on the open jaw at a pressure, and by how much less is left for each metre of its way."""
    use, way = use_of(context, spec.cylinder), 0 if spec.working == "out" else 1
    per = rod_force(use, way, 0.0)[1] * spec.efficiency / spec.lever
    spring = spec.spring - returning(use, way) * spec.efficiency / spec.lever
    return per * gauge + spring, 0.0 if spec.spring_rate is None else spec.spring_rate


def reached(context: Context, spec: Clamp, gauge: Real) -> Array:
    """How far the jaw goes at a pressure, from where it stands open."""
    return clamping.reached_way(*_force_open(context, spec, gauge), _whole_way(context, spec))


def _goes(context: Context, name: str, spec: Clamp, low: Low) -> Iterator[Outcome]:
    """Whether the jaw gets to the end of its way over the rim with the pressure that is left."""
    if spec.toggle is not None or (spec.under is None and spec.spring_rate is None):
        return
    to = way_to(spec, context.season.objects[spec.object])
    goes = reached(context, spec, low.gauge)
    numbers: dict[str, tuple[Real, str]] = {
        "low": (low.gauge, "pressure"), "goes": (goes, "length"), "way": (to, "length"),
        "stroke": (_whole_way(context, spec), "length"),
    }  # fmt: skip
    much = "does not move" if first(goes) <= 0.0 else "goes {goes}"
    text = f"On the {{low}} that is left {{when}}, the jaw of {{clamp}} {much}"
    whole = first(goes) >= first(_whole_way(context, spec)) - _TINY
    why = "a longer stroke, or a lever, helps" if whole else "weaker bands, a larger bore or more air helps"
    message = Message(f"{text}; it stands on the rim after {{way}}.",
                      f"{text}, and it stands on the rim only after {{way}}: it presses on nothing; {why}.",
                      numbers, {"when": low.when, "clamp": called("clamp", name)})  # fmt: skip
    yield Outcome(f"clamp.way.{name}", name, goes, to, "length", message, scale=np.maximum(to, 1e-3),
                  sources=("meriam_statics",))  # fmt: skip


def _on(spec: Clamp) -> str:
    """What presses the rim down, in words."""
    return "locked over centre" if spec.toggle is not None else "on the {low} that is left {when}"


def _sideways(name: str, spec: Clamp, pressed: tuple[Real, Real], low: Low) -> Outcome:
    """What keeps the rim from being pulled out along the jaw."""
    assert spec.under is not None, "asked for with a hook only"
    pull, (down, rubs) = pull_of(spec), pressed
    aside: Real = down * rubs
    letters = {"F": (aside, "force"), "N": (down, "force"), "mu": (spec.friction, "ratio")}
    worked = Worked("aside", {**letters, "mu_h": (rubs - spec.friction, "ratio")})
    numbers: dict[str, tuple[Real, str]] = {
        "aside": (aside, "force"), "low": (low.gauge, "pressure"), "pull": (0.0 if pull is None else pull, "force")
    }  # fmt: skip
    words = {"clamp": called("clamp", name), "object": spec.object, "when": low.when}
    if spec.under.cheeks is not None:
        numbers["play"] = (spec.under.cheeks, "length")
        text = "Sideways the cheeks of {clamp} keep the rim within {play}, whatever pulls, until something bends."
        aside = np.full(np.shape(aside), np.inf)
        message = Message(text, "", numbers, words)
    else:
        pulls = "." if pull is None else ". A rival at the limit of its wheels' grip pulls with {pull}."
        text = f"Sideways only friction keeps the rim in {{clamp}}, with {{aside}} {_on(spec)}{pulls}"
        message = Message(text, text + " Cheeks beside the rim hold without air.", numbers, words)
    return Outcome(f"clamp.sideways.{name}", name, aside, pull, "force", message, sources=("meriam_statics",),
                   worked=() if spec.under.cheeks is not None else (worked,))  # fmt: skip


def _upwards(name: str, spec: Clamp, down: Real, low: Low) -> Outcome:
    """What keeps the rim from being lifted out of the hook."""
    assert spec.under is not None, "asked for with a hook only"
    wanted = spec.under.upward
    numbers: dict[str, tuple[Real, str]] = {
        "down": (down, "force"), "low": (low.gauge, "pressure"), "wanted": (0.0 if wanted is None else wanted, "force")
    }  # fmt: skip
    text = f"Upwards {{down}} lifts the rim out of {{clamp}}, {_on(spec)}"
    end = "" if wanted is None else "; {wanted} is wanted"
    end += ". Downwards its hook bears the rim."
    message = Message(text + end, text + end + " A larger bore, a longer lever or a lock over centre helps.", numbers,
                      {"clamp": called("clamp", name), "when": low.when})  # fmt: skip
    return Outcome(f"clamp.up.{name}", name, down, wanted, "force", message, sources=("meriam_statics",))


def _hold(name: str, spec: Clamp, forces: tuple[Real, Real, Real], low: Low) -> Outcome:
    down, held, pull = forces
    numbers: dict[str, tuple[Real, str]] = {
        "down": (down, "force"), "held": (held, "force"), "pull": (pull, "force"), "low": (low.gauge, "pressure")
    }  # fmt: skip
    on = "pressing with {down} on the {low} that is left {when}" if spec.toggle is None else (
        "pressing with {down}, locked over centre, whatever the air"
    )  # fmt: skip
    much = "holds whatever pulls, until something bends," if not np.isfinite(first(held)) else "holds {held},"
    message = Message(
        f"{{clamp}} {much} {on}. A rival at the limit of its wheels' grip pulls with {{pull}}.",
        f"{{clamp}} lets go of the {{object}}: it {much} {on}. A rival at the limit of its wheels' grip pulls with "
        "{pull}. A steeper hook, more grip, a larger bore or an over-centre lock helps.",
        numbers,
        {"when": low.when, "clamp": called("clamp", name), "object": spec.object},
    )
    face = clamping.holding_force(down, clamping.hook_gain(np.minimum(spec.face, 0.5 * np.pi), spec.friction), 0.0)
    worked = Worked("wedge", {"F": (face, "force"), "N": (down, "force"), "beta": (spec.face, "angle"),
                              "mu": (spec.friction, "ratio")})  # fmt: skip
    return Outcome(f"clamp.hold.{name}", name, held, pull, "force", message, sources=("meriam_statics", "practice"),
                   worked=(worked,))  # fmt: skip


def _slip(name: str, spec: Clamp, pressures: tuple[Real, Real], pull: Real, low: Low) -> Outcome:
    """Tell below which pressure it fails: where it slips, or where it does not close or was found to fail."""
    slips, fails = pressures
    numbers: dict[str, tuple[Real, str]] = {
        "slips": (slips, "pressure"), "low": (low.gauge, "pressure"), "pull": (pull, "force"),
        "fails": (fails, "pressure"),
    }  # fmt: skip
    text = "{clamp} slips below {slips} under a pull of {pull}"
    if first(slips) <= 0.0:
        text = "{clamp} holds a pull of {pull} by its springs alone, without air"
        if first(spec.spring) <= 0.0:
            text = "{clamp} locks itself by its face under a pull of {pull}, once air has closed it,"
    elif not np.isfinite(first(slips)):
        text = "{clamp} holds a pull of {pull} at no pressure"
    if np.isfinite(first(slips)) and abs(first(fails) - first(slips)) > 1e-6 * max(first(fails), 1.0):
        closes = first(slips) < first(fails) <= BREAKAWAY
        why = "where its cylinder no longer closes it" if closes else "by what the file says of its cylinder"
        text += f" and fails below {{fails}}, {why}"
    text += "; its lowest pressure is {low}, {when}" if np.isfinite(first(slips)) and first(fails) > 0.0 else ""
    told = np.where(np.isfinite(slips), fails, slips)
    return Outcome(f"clamp.slip.{name}", name, told, None, "pressure",
                   Message(text + ".", "", numbers, {"when": low.when, "clamp": called("clamp", name)}),
                   sources=("meriam_statics",))  # fmt: skip


def _locks(name: str, toggle: Toggle, force: Real, low: Low) -> Iterator[Outcome]:
    """Whether the toggle stays locked without air, and whether the cylinder brings it past its centre."""
    kept = clamping.over_centre_release(toggle.preload, toggle.past, toggle.link, toggle.other, toggle.stop_force)
    numbers: dict[str, tuple[Real, str]] = {
        "kept": (kept, "force"), "past": (toggle.past, "length"), "preload": (toggle.preload, "force"),
    }  # fmt: skip
    message = Message(
        "The knee of {clamp} stands {past} past the centre: without air it takes {kept} to unlock it.",
        "The knee of {clamp} stands {past} past the centre: without air nothing keeps it locked. Set the stop farther "
        "past.",
        numbers,
        {"clamp": called("clamp", name)},
    )
    # what it takes to lift the knee by hand is not asked: any force above that of a bump, a newton, keeps it
    yield Outcome(f"clamp.lock.{name}", name, kept, 1.0, "force", message, sources=("meriam_statics", "practice"))
    peak = _peak(toggle)
    numbers = {"force": (force, "force"), "peak": (peak, "force"), "low": (low.gauge, "pressure")}
    message = Message(
        "The cylinder of {clamp} pushes the knee with {force} on the {low} that is left {when}; {peak} takes it "
        "through "
        "the centre.",
        "The cylinder of {clamp} does not lock the knee: it pushes with {force} on the {low} that is left {when}, and "
        "{peak} takes it through the centre.",
        numbers,
        {"when": low.when, "clamp": called("clamp", name)},
    )
    yield Outcome(f"clamp.centre.{name}", name, force, peak, "force", message, sources=("meriam_statics",))


_TINY = 1e-6  # m
_STEPS = 13
_GRID = 9
"""Turns and places tried up to each error."""


def outline_of(thing: GameObject) -> Outline:
    """Take the outline of an object's base."""
    base = thing.base
    if base is not None and base.corners is not None:
        return Polygon(flat(list(base.corners)))
    if base is not None and base.sides is not None:
        assert base.across_flats is not None, "sides come with their width"
        return regular_polygon(base.sides, base.across_flats)
    if thing.shape != "box":
        return Circle(0.5 * np.asarray(thing.size[0]))
    return rectangle(thing.size[0], thing.size[1])


@dataclass(frozen=True, slots=True)
class Place:
    """One way an object can seat.

    Attributes
    ----------
    kind : ``side``, ``corner`` or ``round``
    label : Kind and number, for an id
    index : Of the side or corner
    yaw : The object's turn on this seat [rad]
    size : Nominal length of the side [m] or angle of the corner [rad]; 0 for a round base
    limit : Nominal turn to the next seat [rad]
    """

    kind: str
    label: str
    index: int
    yaw: Real
    size: float
    limit: float


def places(outline: Outline, nominal: Outline) -> list[Place]:
    """List the ways an object can seat; those that are alike, or mirror images, once."""
    if isinstance(outline, Circle) or isinstance(nominal, Circle):
        return [Place("round", "round", 0, 0.0, 0.0, np.pi)]
    lengths = np.round(_plain(flat_lengths(nominal)), 6)
    angles = np.round(_plain(corner_angles(nominal)), 6)
    count, found = len(lengths), []
    turn = [float(min(np.pi - angles[i], np.pi - angles[(i + 1) % count]) / 2.0) for i in range(count)]
    sides: dict[tuple[float, ...], int] = {}
    corners: dict[tuple[float, ...], int] = {}
    for i in range(count):
        sides.setdefault((lengths[i], *sorted((angles[i], angles[(i + 1) % count]))), i)
        corners.setdefault((angles[i], *sorted((lengths[i - 1], lengths[i]))), i)
    for number, i in enumerate(sides.values(), 1):
        found.append(Place("side", f"side {number}", i, clamping.flat_yaw(outline, i), float(lengths[i]), turn[i]))
    for number, i in enumerate(corners.values(), 1):
        yaw = clamping.corner_yaw(outline, i)
        found.append(Place("corner", f"corner {number}", i, yaw, float(angles[i]), float(np.pi - angles[i]) / 2.0))
    return found


def _plain(values: Array) -> Array:
    return values if values.ndim == 1 else values[:, 0]


def jaw_of(spec: Clamp) -> clamping.Seat:
    """Take stops and the whole jaw in plan, from its outermost prong on one side to that on the other."""
    width: Real = spec.jaw_width
    middle: Real = 0.0
    if spec.prongs:
        left, right = reduce(np.maximum, spec.prongs), reduce(np.minimum, spec.prongs)
        width, middle = width + left - right, 0.5 * (left + right)
    return _seat(spec, width, middle)


def _seat(spec: Clamp, width: Real, middle: Real) -> clamping.Seat:
    """Stops, and a jaw so wide and so far to the left.

    The frame's face is a plain bar: the nearest point of the object touches it. Without stops it stands off from it.
    """
    if spec.stop_gap is not None:
        throat = np.inf if spec.throat is None else spec.throat
        return clamping.Seat(spec.stop_gap, throat, spec.jaw_reach, width, spec.hook, middle)
    off = spec.stand_off + np.asarray(spec.stand_error) if spec.stops == "none" else 0.0
    return clamping.Seat(spec.jaw_width, 0.0, np.maximum(spec.jaw_reach - off, _TINY), width, spec.hook, middle)


def caught(spec: Clamp, outline: Outline, yaw: Real, aside: Real) -> Array:
    """Find how deep the rim lies under as many prongs as must catch: the shallowest of those [m]."""
    if not spec.prongs:
        return clamping.engagement(jaw_of(spec), outline, yaw, aside)
    depths = each_prong(spec, outline, yaw, aside)
    return np.asarray(np.sort(depths, axis=0)[len(spec.prongs) - (spec.least_prongs or len(spec.prongs))])


def each_prong(spec: Clamp, outline: Outline, yaw: Real, aside: Real) -> Array:
    """Find how deep the rim lies under each prong, prongs leading [m]."""
    seats = [_seat(spec, spec.jaw_width, prong) for prong in spec.prongs]
    return np.stack(np.broadcast_arrays(*(clamping.engagement(seat, outline, yaw, aside) for seat in seats)))


Ways: TypeAlias = tuple[tuple[float, float], ...]
"""Shares of the errors in turn and place, -1 to 1, pair by pair."""

RIGHT: Ways = ((0.0, 0.0),)
"""The object stands just right."""


def under_jaw(spec: Clamp, thing: GameObject, outline: Outline, place: Place, ways: Ways) -> Array:
    """Find how much rim is under the jaw, at the worst of some turns and places of the object."""
    assert thing.rim is not None, "an object that a clamp grips has a rim"
    yaw, side = np.asarray(spec.yaw_error), np.asarray(spec.side_error)
    depth: Real = thing.rim.overhang
    for a, b in ways:
        depth = np.minimum(depth, caught(spec, outline, place.yaw + a * yaw, b * side))
    worst: Array = np.maximum(depth, -np.asarray(spec.jaw_reach))
    return worst


def missed_share(spec: Clamp, outline: Outline, place: Place) -> Array:
    """Find the share of tries with too little rim under the jaw, every turn and place within the errors alike.

    Midpoints of a grid: each is one part in 81 of the tries.
    """
    middles = (np.arange(_GRID) + 0.5) * 2.0 / _GRID - 1.0
    turn, aside = (grid.reshape(-1, 1) for grid in np.meshgrid(middles, middles))
    yaw, side = np.asarray(spec.yaw_error), np.asarray(spec.side_error)
    depth = caught(spec, outline, place.yaw + turn * yaw, aside * side)
    share: Array = (depth < np.asarray(spec.hook)).mean(axis=0)
    return share if share.size > 1 else share.reshape(())


def worst_ways(spec: Clamp, outline: Outline, place: Place) -> Ways:
    """Find the worst turn and place within the errors, of each combination of their signs."""
    share = np.linspace(0.0, 1.0, _STEPS)
    found = []
    for a, b in ((-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)):
        turn, aside = (grid.ravel() for grid in np.meshgrid(a * share, b * share))
        yaw = place.yaw + turn * np.asarray(spec.yaw_error)
        worst = int(np.argmin(caught(spec, outline, yaw, aside * np.asarray(spec.side_error))))
        found.append((float(turn[worst]), float(aside[worst])))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Judged:
    """The seat that is judged.

    Attributes
    ----------
    label : Of the place
    ways : The worst turns and places on it
    """

    label: str
    ways: Ways


def best_place(context: Context, name: str) -> Judged:
    """Choose the seat that is judged: of those that must work, the one with most rim under the jaw."""
    spec = context.robot.mechanisms[name]
    assert isinstance(spec, Clamp), "asked for with a clamp only"
    thing = context.season.objects[spec.object]
    outline = outline_of(thing)
    wanted = [p for p in places(outline, outline) if spec.grips in ("any", p.kind) or p.kind == "round"]
    ways = {p.label: worst_ways(spec, outline, p) for p in wanted}

    def rank(place: Place) -> tuple[float, float]:
        """Room under the jaw first, then the size of the place."""
        return round(float(under_jaw(spec, thing, outline, place, ways[place.label])), 9), place.size

    label = max(wanted, key=rank).label
    return Judged(label, ways[label])


def windows(context: Context, name: str, place: Place) -> tuple[float, float]:
    """Find how far the object may be turned, or be off to a side, and still be caught: the smaller way of both."""
    return context.once(("clamp window", name, place.label), lambda: _windows(context, name, place))


def _windows(context: Context, name: str, place: Place) -> tuple[float, float]:
    spec = context.robot.mechanisms[name]
    assert isinstance(spec, Clamp), "asked for with a clamp only"
    outline = outline_of(context.season.objects[spec.object])
    at = next(p.yaw for p in places(outline, outline) if p.label == place.label)
    jaw = jaw_of(spec)
    plain = tuple(float(v) for v in (jaw.stop_gap, jaw.throat, jaw.jaw_reach, jaw.jaw_width, jaw.hook, jaw.jaw_at))
    if isinstance(outline, Circle):
        return np.pi, _searched(plain, float(outline.radius), float(at), None)[1]
    return _searched(plain, tuple(map(tuple, outline.vertices.tolist())), float(at), place.limit)


@lru_cache(maxsize=64)
def _searched(
    jaw: tuple[float, ...], base: float | tuple[tuple[float, float], ...], yaw: float, limit: float | None
) -> tuple[float, float]:
    """Search both windows; kept, since a page that edits something else asks for the same again."""
    seat = clamping.Seat(*jaw)
    outline = Circle(base) if isinstance(base, float) else Polygon(np.array(base))
    aside = clamping.sideways_window(seat, outline, yaw, 0.5 * float(greatest_width(outline)))
    turn = np.pi
    if limit is not None:
        found = clamping.yaw_window(seat, outline, yaw, limit)
        turn = float(np.minimum(found.below, found.above))
    return turn, float(np.minimum(aside.below, aside.above))
