"""Clamps: what of the rim lies under the jaw on each seat, heights and stroke, and what they hold with little air."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, called, first
from fieldworthy.physics.contact import clamp as clamping
from fieldworthy.robot.model.season import GameObject
from fieldworthy.systems.clamp.mechanics import (
    RIGHT,
    Place,
    behind_edge,
    best_place,
    each_prong,
    gap_below,
    holds,
    missed_share,
    outline_of,
    places,
    under_jaw,
    way_to,
    windows,
)
from fieldworthy.systems.clamp.model import Clamp

_STROKES = (0.025, 0.050)  # m; the two that the trade speaks of


@dataclass(frozen=True, slots=True)
class Side:
    """A clamp from the side.

    Attributes
    ----------
    heights : Open and closed jaw against the rim [m]
    travel : Of the jaw over the whole stroke [m]
    stroke : Of the cylinder [m]
    below : Gap between the seat, or the tip of the hook in its place, and the rim's lower edge [m]
    """

    heights: clamping.Heights
    travel: Real
    stroke: Real
    below: Real


def side_of(context: Context, spec: Clamp, thing: GameObject) -> Side:
    """Look at a clamp from the side."""
    assert thing.rim is not None, "an object that a clamp grips has a rim"
    stroke = context.robot.catalogue.cylinders[context.robot.air.cylinders[spec.cylinder].cylinder].stroke
    travel = stroke * spec.lever
    top = spec.seat_height + spec.opening
    closed = np.maximum(spec.seat_height + spec.closed_gap, top - travel)
    # a sampled gap may wander past the opening
    closed = np.minimum(closed, top - 1e-6)
    heights = clamping.Heights(top, closed, thing.rim.height, thing.rim.thickness)
    tip = 0.0 if spec.under is None else spec.under.tip
    return Side(heights, travel, stroke, gap_below(spec, thing) - tip)


def check(context: Context) -> Iterator[Outcome]:
    """Judge every clamp of the robot."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, Clamp):
            thing = context.season.objects[spec.object]
            side = side_of(context, spec, thing)
            yield from _seats(context, name, spec, thing)
            yield _missed(context, name, spec, thing)
            yield from _prongs(context, name, spec, thing)
            yield from _under(context, name, spec, thing)
            yield from _heights(name, spec, side)
            yield _lift(name, spec, thing, side)
            yield from _release(context, name, spec, side)
            if spec.under is None:
                yield _strokes(context, name, spec, side)
            yield from holds(context, name, spec)


def _seats(context: Context, name: str, spec: Clamp, thing: GameObject) -> Iterator[Outcome]:
    """Every way the object can seat; judged is the one with most rim under the jaw among those that must work."""
    base = context.nominal
    outline, stated = outline_of(thing), outline_of(base.season.objects[spec.object])
    found = places(outline, stated)
    best = base.once(("clamp seat", name), lambda: best_place(base, name))
    for place in found:
        judged = place.label == best.label
        depth = under_jaw(spec, thing, outline, place, best.ways if judged else RIGHT)
        yield _seat(context, name, spec, (place, depth), judged)


def _missed(context: Context, name: str, spec: Clamp, thing: GameObject) -> Outcome:
    """How often the jaw misses, for the forecast of a clamp that nobody has practised with."""
    base, outline = context.nominal, outline_of(thing)
    best = base.once(("clamp seat", name), lambda: best_place(base, name))
    place = next(p for p in places(outline, outline_of(base.season.objects[spec.object])) if p.label == best.label)
    share = missed_share(spec, outline, place)
    numbers: dict[str, tuple[Real, str]] = {
        "share": (share, "share"), "yaw": (spec.yaw_error, "angle"), "side": (spec.side_error, "length"),
    }  # fmt: skip
    turned = "" if place.kind == "round" else "every turn up to {yaw} and "
    misses = "misses the {object} in {share} of tries." if first(share) > 0.0 else "never misses the {object}."
    text = f"If {turned}every place up to {{side}} off is equally likely, {{clamp}} {misses}"
    message = Message(text, "", numbers, {"clamp": called("clamp", name), "object": spec.object})
    return Outcome(f"clamp.miss.{name}", name, share, None, "ratio", message, sources=("plane-geometry",))


def _prongs(context: Context, name: str, spec: Clamp, thing: GameObject) -> Iterator[Outcome]:
    """How many prongs of a jaw catch at the worst of the object's turns and places."""
    if not spec.prongs:
        return
    base, outline = context.nominal, outline_of(thing)
    best = base.once(("clamp seat", name), lambda: best_place(base, name))
    place = next(p for p in places(outline, outline_of(base.season.objects[spec.object])) if p.label == best.label)
    assert thing.rim is not None, "an object that a clamp grips has a rim"
    count: Real = np.asarray(float(len(spec.prongs)))
    yaw, side = np.asarray(spec.yaw_error), np.asarray(spec.side_error)
    for a, b in best.ways:
        depths = np.minimum(each_prong(spec, outline, place.yaw + a * yaw, b * side), thing.rim.overhang)
        count = np.minimum(count, (depths >= spec.hook).sum(axis=0))
    least = float(spec.least_prongs or len(spec.prongs))
    numbers: dict[str, tuple[Real, str]] = {
        "count": (count, "count"), "all": (float(len(spec.prongs)), "count"), "least": (least, "count"),
        "yaw": (spec.yaw_error, "angle"), "side": (spec.side_error, "length"), "hook": (spec.hook, "length"),
    }  # fmt: skip
    text = (
        "With the {object} turned by up to {yaw} and off by up to {side}, {count} of {all} prongs of {clamp} have "
        "{hook} of rim or more under them; {least} must"
    )
    message = Message(text + ".", text + ". Set the prongs closer, or let them reach farther.", numbers,
                      {"clamp": called("clamp", name), "object": spec.object})  # fmt: skip
    yield Outcome(f"clamp.prongs.{name}", name, count, least, "ratio", message, sources=("plane-geometry",))


def _seat(context: Context, name: str, spec: Clamp, seated: tuple[Place, Array], judged: bool) -> Outcome:
    place, depth = seated
    turn, aside = windows(context.nominal, name, place)
    numbers: dict[str, tuple[Real, str]] = {
        "depth": (depth, "length"), "hook": (spec.hook, "length"), "size": (place.size, "length"),
        "corner": (place.size, "angle"), "yaw": (spec.yaw_error, "angle"), "side": (spec.side_error, "length"),
        "turn": (turn, "angle"), "aside": (aside, "length"),
    }  # fmt: skip
    where = {"side": "on a side of {size}", "corner": "on a corner of {corner}", "round": "on the round base"}
    turned = "" if place.kind == "round" else "turned by {turn} or "
    window = f"{{clamp}} catches the {{object}} {where[place.kind]} where it is {turned}off by {{aside}} to a side. "
    if turn <= 0.0 and aside <= 0.0:
        window = f"{{clamp}} does not catch the {{object}} {where[place.kind]} even where it stands just right. "
    stands = "Turned by up to {yaw} and off by up to {side}, " if judged else "Where it stands just right, "
    much = "{depth} of its rim is" if first(depth) > 0.0 else "none of its rim is"
    text = f"{window}{stands}{much} under the jaw; {{hook}} is needed."
    words = {"clamp": called("clamp", name), "object": spec.object}
    message = Message(text, text + " A wider throat, a longer reach or a narrower jaw helps.", numbers, words)
    limit = spec.hook if judged else None
    return Outcome(f"clamp.seat.{name}.{place.label}", f"{name}, {place.kind}", depth, limit, "length", message,
                   scale=np.maximum(spec.hook, 1e-3), sources=("plane-geometry",))  # fmt: skip


def _under(context: Context, name: str, spec: Clamp, thing: GameObject) -> Iterator[Outcome]:
    """Whether a hook from below gets under the rim and up to it."""
    if spec.under is None:
        return
    base, outline = context.nominal, outline_of(thing)
    best = base.once(("clamp seat", name), lambda: best_place(base, name))
    place = next(p for p in places(outline, outline_of(base.season.objects[spec.object])) if p.label == best.label)
    hook = replace(spec, jaw_reach=spec.under.reach, jaw_width=spec.under.width, prongs=(), least_prongs=None)
    depth = under_jaw(hook, thing, outline, place, best.ways)
    words = {"clamp": called("clamp", name), "object": spec.object}
    numbers: dict[str, tuple[Real, str]] = {
        "depth": (np.maximum(depth, 0.0), "length"), "hook": (spec.hook, "length"), "yaw": (spec.yaw_error, "angle"),
        "side": (spec.side_error, "length"),
    }  # fmt: skip
    text = "With the {object} turned by up to {yaw} and off by up to {side}, the hook of {clamp} goes {depth} in under "
    text += "its rim; {hook} is needed."
    yield Outcome(f"clamp.under.{name}", name, depth, spec.hook, "length",
                  Message(text, text + " Let the hook reach farther.", numbers, words),
                  scale=np.maximum(spec.hook, 1e-3), sources=("plane-geometry",))  # fmt: skip
    gap, behind = np.maximum(gap_below(spec, thing), 0.0), behind_edge(spec, thing)
    numbers = {"rises": (spec.under.rises, "length"), "gap": (gap, "length"), "behind": (behind, "length")}
    tip = "; its tip then stands {behind} behind the rim's edge" if first(behind) > 1e-6 else (
        "; nothing of it then stands behind an edge of the rim"
    )  # fmt: skip
    text = "The hook of {clamp} comes up by {rises}, and bears the rim after {gap}"
    short = "The hook of {clamp} comes up by {rises} and does not bear the rim, which takes {gap}: the jaw presses on "
    short += "the floor through the {object}. Raise the hook, or let it come up farther."
    yield Outcome(f"clamp.rise.{name}", name, spec.under.rises, gap, "length",
                  Message(text + tip + ".", short, numbers, words),
                  scale=np.maximum(gap, 1e-3), sources=("plane-geometry",))  # fmt: skip


def _heights(name: str, spec: Clamp, side: Side) -> Iterator[Outcome]:
    """Whether the rim goes in, whether the closed jaw reaches it, and whether the stroke closes the jaw."""
    heights = side.heights
    above, bite = clamping.entry_clearance(heights), clamping.bite(heights)
    gap = np.minimum(above, side.below)
    numbers: dict[str, tuple[Real, str]] = {
        "open": (heights.open, "length"), "rim": (heights.rim_top, "length"), "above": (np.abs(above), "length"),
        "below": (np.abs(side.below), "length"), "seat": (spec.seat_height, "length"),
    }  # fmt: skip
    hit = "its jaw hits the rim by {above}: open it wider" if first(above) < first(side.below) else (
        "its {seat_is} at {seat} runs into the rim by {below}: lower it"
    )  # fmt: skip
    words = {"clamp": called("clamp", name), "seat_is": "seat" if spec.under is None else "hook"}
    message = Message(
        "Open, {clamp} takes in the rim: its jaw is {above} over the rim's top at {rim}, and its {seat_is} {below} "
        "below.",
        f"Open, {{clamp}} does not take in the rim: its jaw is {{open}} up, the rim's top {{rim}}, and {hit}.",
        numbers,
        words,
    )
    yield Outcome(f"clamp.entry.{name}", name, gap, 0.0, "length", message, scale=heights.rim_thickness,
                  sources=("plane-geometry",))  # fmt: skip
    drop = clamping.hook_drop(heights, spec.lip)
    numbers = {"closed": (heights.closed, "length"), "rim": (heights.rim_top, "length"),
               "bite": (np.abs(bite), "length"), "drop": (drop, "length")}  # fmt: skip
    lip = "; its lip reaches {drop} down behind the rim" if first(spec.lip) > 0.0 else ""
    message = Message(
        f"Closed, {{clamp}} presses on the rim: it can come to {{closed}}, {{bite}} below the rim's top{lip}.",
        "Closed, {clamp} grips nothing: it comes only to {closed}, {bite} over the rim's top. Lower the jaw or "
        "lengthen "
        "its travel.",
        numbers,
        words,
    )
    yield Outcome(f"clamp.bite.{name}", name, bite, 0.0, "length", message, scale=heights.rim_thickness,
                  sources=("plane-geometry",))  # fmt: skip
    way = np.subtract(spec.opening, spec.closed_gap)
    numbers = {"travel": (side.travel, "length"), "way": (way, "length"), "stroke": (side.stroke, "length")}
    message = Message("The {stroke} stroke of {clamp} moves the jaw by {travel}; closing it takes {way}.",
                      "The {stroke} stroke of {clamp} moves the jaw only by {travel}, and closing it takes {way}.",
                      numbers, words)  # fmt: skip
    yield Outcome(f"clamp.stroke.{name}", name, side.travel, way, "length", message, sources=("plane-geometry",))


def _lift(name: str, spec: Clamp, thing: GameObject, side: Side) -> Outcome:
    way = way_to(spec, thing)
    lift = np.maximum(side.travel - way, 0.0)
    numbers: dict[str, tuple[Real, str]] = {
        "lift": (lift, "length"), "travel": (side.travel, "length"), "gap": (way, "length")
    }  # fmt: skip
    words = {"clamp": called("clamp", name)}
    text = "{clamp} can lift by {lift}: of the jaw's {travel} it takes {gap} to reach the rim"
    if spec.lift is None:
        return Outcome(f"clamp.lift.{name}", name, lift, None, "length", Message(f"{text}.", "", numbers, words),
                       sources=("plane-geometry",))  # fmt: skip
    numbers["wanted"] = (spec.lift, "length")
    message = Message(
        f"{text}; {{wanted}} is wanted.",
        f"{text}, and {{wanted}} is wanted: open it less, or take a longer stroke.",
        numbers,
        words,
    )
    return Outcome(f"clamp.lift.{name}", name, lift, spec.lift, "length", message, sources=("plane-geometry",))


def _loose(context: Context, spec: Clamp, side: Side) -> tuple[Real, Real, Real]:
    """What a loose object lies on, its height, and the share by which it yields."""
    assert spec.loose is not None, "asked for with a loose object only"
    surface = side.heights.rim_top if spec.loose.lies_on == "rim" else 0.0
    return surface, context.season.objects[spec.loose.object].size[2], spec.loose.squeeze


def _release(context: Context, name: str, spec: Clamp, side: Side) -> Iterator[Outcome]:
    if spec.loose is None:
        return
    surface, size, squeeze = _loose(context, spec, side)
    room = clamping.release_clearance(side.heights.open, surface, size, squeeze)
    numbers: dict[str, tuple[Real, str]] = {
        "gap": (np.subtract(side.heights.open, surface), "length"),
        "size": (size * (1.0 - np.asarray(squeeze)), "length"),
        "room": (np.abs(room), "length"),
    }  # fmt: skip
    words = {"loose": spec.loose.object, "on": spec.loose.lies_on, "clamp": called("clamp", name)}
    message = Message(
        "A loose {loose} on the {on} slides out from under {clamp} when it is open: the gap is {gap}, it needs {size}.",
        "A loose {loose} on the {on} stays caught under {clamp} when it is open: the gap is {gap}, it needs {size}. "
        "Open the jaw {room} wider, or keep the {loose} out.",
        numbers,
        words,
    )
    yield Outcome(f"clamp.release.{name}", name, room, 0.0, "length", message, scale=size, sources=("plane-geometry",))


def _strokes(context: Context, name: str, spec: Clamp, side: Side) -> Outcome:
    """The trade's word on 25 mm and 50 mm strokes, on this clamp."""
    short, long = (clamping.lift_height(side.heights, stroke * spec.lever) for stroke in _STROKES)
    gain = long - short
    numbers: dict[str, tuple[Real, str]] = {"a": (_STROKES[0], "length"), "b": (_STROKES[1], "length"),
               "short": (short, "length"), "long": (long, "length"), "gain": (gain, "length")}  # fmt: skip
    text = (
        "Common practice, no source: clamps have {a} strokes, and {b} buys lift and a gap through which a loose piece "
        "slides out. Computed for {clamp}: {a} lifts {short}, {b} lifts {long}"
    )
    text += (
        ", as the trade says" if first(gain) > 1e-6 else ": the longer stroke lifts no higher, unlike the trade says"
    )
    words = {"clamp": called("clamp", name)}
    if spec.loose is not None:
        surface, size, squeeze = _loose(context, spec, side)
        # opened as far as the stroke lets it and still closing on the rim
        tops = [side.heights.rim_top + stroke * np.asarray(spec.lever) for stroke in _STROKES]
        spare = [clamping.release_clearance(top, surface, size, squeeze) for top in tops]
        numbers |= {"spare_a": (np.abs(spare[0]), "length"), "spare_b": (np.abs(spare[1]), "length")}
        text += ". Opened as wide as each allows, " + _escapes(first(spare[0]), first(spare[1]))
        words["loose"] = spec.loose.object
    return Outcome(f"clamp.stroke_practice.{name}", name, gain, None, "length", Message(text + ".", "", numbers, words),
                   sources=("practice", "plane-geometry"))  # fmt: skip


def _escapes(short: float, long: float) -> str:
    if short >= 0.0:
        return ("the {loose} slides out with either, {spare_a} to spare with {a} and {spare_b} with {b}. So the gap is "
                "no reason for the longer one")  # fmt: skip
    if long >= 0.0:
        return (
            "the {loose} stays caught with {a}, by {spare_a}, and slides out with {b}, {spare_b} to spare, as it says"
        )
    return "the {loose} stays caught with either, by {spare_a} with {a} and {spare_b} with {b}, unlike the trade says"
