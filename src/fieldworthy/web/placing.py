"""The drawing as an editor: things to scale, from the side and from above, and what a drag means for the file.

Nothing here is judged: places and sizes are taken from the file as it stands, and written back into it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, get_args

from fieldworthy.engine.evaluate import NominalFinding
from fieldworthy.files.declare import hints
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.robot.model.machine import mechanism_kinds, points_from_side
from fieldworthy.robot.shelf import length_of
from fieldworthy.robot.things import Opened
from fieldworthy.units import KINDS, UnitError, digits, parse, to_unit
from fieldworthy.vehicle.views import Wheel, body_curves, first_pose
from fieldworthy.web.figures import context_of
from fieldworthy.web.form import files_of, mistakes_of
from fieldworthy.web.judging import Source, Texts, Units, edit, put_on, shifted, texts_of
from fieldworthy.web.markup import Content, Markup, tag

_ON_FLOOR = ((("drive", "wheels"), "wheel"), (("contacts",), "caster"), (("rollers",), "roller"))
_SAME = 0.0015  # m; things of a pair stand so alike that a team meant it
_MARGIN = 0.03  # m around everything
_SNAP = 0.005  # m; a drag goes in such steps
TREAD = 0.025  # m; how wide a wheel is drawn
_PIXELS = 400.0  # width of one view


@dataclass(frozen=True, slots=True)
class Spot:
    """One thing of the drawing.

    Attributes
    ----------
    path : Of its place in the file, whose entries are its coordinates
    thing : Key of the thing that it belongs to
    label : What it is called
    at : Its middle, x forward, y left, z up [m]
    size : Of its box [m]; None for a point
    axes : The axes that the file gives for it, in the order of its entries
    rides : Whether a group carries it along
    """

    path: KeyPath
    thing: str
    label: str
    at: tuple[float, float, float]
    size: tuple[float, float, float] | None
    axes: str
    rides: bool = False

    @property
    def key(self) -> str:
        """Names it on the page."""
        return dotted(self.path)


def spots_of(files: Opened) -> tuple[Spot, ...]:
    """Every thing of a robot that has a place, the largest first."""
    found = [*_parts(files), *_floor(files), *_points(files)]
    volume = {spot.key: 0.0 if spot.size is None else spot.size[0] * spot.size[1] * spot.size[2] for spot in found}
    return tuple(sorted(found, key=lambda spot: -volume[spot.key]))


def _named(files: Opened, path: KeyPath) -> Iterator[tuple[str, Mapping[str, Any]]]:
    there = files.data(path)
    for name, entry in there.items() if isinstance(there, dict) else ():
        if isinstance(entry, dict):
            yield str(name), entry


def _numbers(raw: Any, count: int) -> tuple[float, ...] | None:
    return tuple(length_of(v) for v in raw) if isinstance(raw, list) and len(raw) == count else None


def _parts(files: Opened) -> Iterator[Spot]:
    for collection in (("parts",), ("ballast",)):
        for name, entry in _named(files, collection):
            at, size = _numbers(entry.get("position"), 3), _numbers(entry.get("size"), 3)
            path: KeyPath = (*collection, name)
            if at is not None:
                box = (size[0], size[1], size[2]) if size else None
                rides = entry.get("rides", "chassis") != "chassis"
                yield Spot((*path, "position"), dotted(path), name, (at[0], at[1], at[2]), box, "xyz", rides)


def _floor(files: Opened) -> Iterator[Spot]:
    for collection, word in _ON_FLOOR:
        for name, entry in _named(files, collection):
            at = _numbers(entry.get("position"), 2)
            path: KeyPath = (*collection, name)
            if at is not None:
                yield Spot((*path, "position"), dotted(path), f"{word} {name}", (at[0], at[1], 0.0), None, "xy")


def _points(files: Opened) -> Iterator[Spot]:
    for name, entry in _named(files, ("mechanisms",)):
        kind = next((k for k in mechanism_kinds() if entry.get("kind") in get_args(hints(k)["kind"])), None)
        for key, words in (points_from_side(kind) if kind is not None else {}).items():
            at = _numbers(entry.get(key), 2)
            path: KeyPath = ("mechanisms", name)
            if at is not None:
                yield Spot((*path, key), dotted(path), f"{name}: {words}", (at[0], 0.0, at[1]), None, "xz")


def solid(source: Source) -> tuple[tuple[Spot, ...], Whole]:
    """Every thing of a robot that has a place, and the robot as a whole, for a view in three dimensions."""
    return spots_of(files_of(source)), whole_of(source)


def partner_of(spots: Iterable[Spot], spot: Spot) -> Spot | None:
    """The other one of a pair: the same kind of thing on the other side, as far forward and as high."""
    if "y" not in spot.axes or abs(spot.at[1]) < _SAME:
        return None
    mirrored = (spot.at[0], -spot.at[1], spot.at[2])
    for other in spots:
        alike = other.path[:-2] == spot.path[:-2] and other.key != spot.key and other.size == spot.size
        if alike and all(abs(a - b) <= _SAME for a, b in zip(other.at, mirrored, strict=True)):
            return other
    return None


@dataclass(frozen=True, slots=True)
class How:
    """What a drag does: whether it makes the thing larger, and whether the other one of a pair follows."""

    sizes: bool
    pair: bool


Goals = dict[KeyPath, tuple[float, float]]
"""Where numbers of the files are, and where they go [SI]."""


def moved(source: Source, key: str, by: tuple[float, float, float], pair: bool) -> dict[KeyPath, object]:
    """Move a thing, and the other one of its pair the same way mirrored: what to change in the files."""
    files = files_of(source)
    return _written(files, _moves(spots_of(files), key, by, pair))


def sized(source: Source, key: str, by: tuple[float, float, float], pair: bool) -> dict[KeyPath, object]:
    """Make a part larger on its far sides, and the other one of its pair; the near sides stay where they are."""
    files = files_of(source)
    return _written(files, _sizes(spots_of(files), key, by, pair))


def drifted(
    source: Source, key: str, by: tuple[float, float, float], how: How, units: Units
) -> tuple[NominalFinding, ...]:
    """Say what a robot would be like with a thing dragged somewhere, or made larger.

    All of its numbers are asked about, those that stay as well: as long as it is dragged, what does not rest on any of
    them is then kept from one place to the next.
    """
    spots = spots_of(files_of(source))
    goals = (_sizes if how.sizes else _moves)(spots, key, by, how.pair)
    return shifted(source, {path: there for path, (_, there) in goals.items()}, units) if goals else ()


def dropped(source: Source, into: KeyPath, place: int | None, at: Mapping[str, float]) -> tuple[KeyPath, Texts]:
    """Put a typical thing on a robot, its middle where it was let go in a drawing [m], and none of it in the floor."""
    here = {spot.key for spot in spots_of(files_of(source))}
    path, texts = put_on(source, into, place)
    after = Source(source.file, texts_of({**dict(source.texts), **dict(texts)}))
    files = files_of(after)
    fresh = [spot for spot in spots_of(files) if spot.key not in here]
    by = [0.0, 0.0, 0.0]
    for axis, there in at.items():
        ends = [end for spot in fresh if axis in spot.axes for end in _ends(spot, "xyz".index(axis))]
        if ends:
            by["xyz".index(axis)] = there - (min(ends) + max(ends)) / 2
            if axis == "z":
                by[2] = max(by[2], -min(ends))
    goals = {path: goal for spot in fresh for path, goal in _shifted(spot, (by[0], by[1], by[2])).items()}
    moves = _written(files, goals)
    return path, edit(after, tuple(moves.items())) if moves else after.texts


def _ends(spot: Spot, axis: int) -> tuple[float, float]:
    half = spot.size[axis] / 2 if spot.size is not None else 0.0
    return spot.at[axis] - half, spot.at[axis] + half


def _moves(spots: tuple[Spot, ...], key: str, by: tuple[float, float, float], pair: bool) -> Goals:
    spot = next((s for s in spots if s.key == key), None)
    if spot is None:
        return {}
    other = partner_of(spots, spot) if pair else None
    return _shifted(spot, by) | (_shifted(other, (by[0], -by[1], by[2])) if other else {})


def _sizes(spots: tuple[Spot, ...], key: str, by: tuple[float, float, float], pair: bool) -> Goals:
    spot = next((s for s in spots if s.key == key and s.size is not None), None)
    if spot is None or spot.size is None:
        return {}
    size = spot.size
    x, y, z = (max(by[i], _SNAP - size[i]) for i in range(3))
    found = _moves(spots, key, (x / 2, y / 2, z / 2), pair)
    for one in {path[:-2]: None for path in found}:
        found |= {(*one, "size", i): (size[i], size[i] + grown) for i, grown in enumerate((x, y, z))}
    return found


def _shifted(spot: Spot, by: tuple[float, float, float]) -> Goals:
    here = [(place, "xyz".index(axis)) for place, axis in enumerate(spot.axes)]
    return {(*spot.path, place): (spot.at[axis], spot.at[axis] + by[axis]) for place, axis in here}


def _written(files: Opened, goals: Goals) -> dict[KeyPath, object]:
    """What to change in the files: numbers that stay are left as they are written."""
    return {
        path: _again(files.data(path[:-1])[path[-1]], there)
        for path, (here, there) in goals.items()
        if abs(there - here) > 1e-9
    }


def _again(raw: Any, si: float) -> str:
    """Write a length in the unit that stands there."""
    text = raw.get("value") if isinstance(raw, dict) else raw
    try:
        unit = parse(text, "length").unit if isinstance(text, str) else KINDS["length"].metric
    except UnitError:
        unit = KINDS["length"].metric
    return f"{digits(to_unit(si, 'length', unit), 5)} {unit}"


@dataclass(frozen=True, slots=True)
class Whole:
    """What is known of the robot as a whole, empty beside a mistake: centre of gravity, support polygon, wheels."""

    cg: tuple[float, float, float] | None = None
    polygon: tuple[tuple[float, float], ...] = ()
    wheels: tuple[Wheel, ...] = ()


def drawn(source: Source, chosen: str) -> tuple[Markup, Markup]:
    """Draw a robot's things from the side and from above."""
    spots = spots_of(files_of(source))
    whole = whole_of(source)
    return _view(spots, whole, chosen, "xz", "From the side"), _view(spots, whole, chosen, "xy", "From above")


def whole_of(source: Source) -> Whole:
    """What is known of a robot as a whole, in the pose it starts in."""
    if mistakes_of(source):
        return Whole()
    context = context_of(source)
    pose = first_pose(context)
    data = body_curves(context, pose) if pose is not None else None
    if data is None:
        return Whole()
    x, y, z = (float(c) for c in data.cg)
    corners = tuple((float(a), float(b)) for a, b in data.polygon)
    return Whole((x, y, z), corners, tuple(wheel for wheel in data.wheels if wheel.diameter))


def rods_of(spots: Iterable[Spot]) -> tuple[tuple[Spot, Spot], ...]:
    """The cylinders that lie between two pins of one mechanism."""
    pins: dict[str, list[Spot]] = {}
    for spot in spots:
        if str(spot.path[-1]).endswith("_pin"):
            pins.setdefault(spot.thing, []).append(spot)
    return tuple((pair[0], pair[1]) for pair in pins.values() if len(pair) == 2)


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where a view's metres are on its paper."""

    left: float
    top: float
    scale: float

    def point(self, across: float, up: float) -> tuple[float, float]:
        return (across - self.left) * self.scale, (self.top - up) * self.scale


def _view(spots: tuple[Spot, ...], whole: Whole, chosen: str, plane: str, title: str) -> Markup:
    a, b = ("xyz".index(axis) for axis in plane)
    boxes = [(*_ends(s, a), *_ends(s, b)) for s in spots] or [(-0.2, 0.2, 0.0, 0.3)]
    left, right = min(x[0] for x in boxes) - _MARGIN, max(x[1] for x in boxes) + _MARGIN
    low, high = min(0.0, *(x[2] for x in boxes)) - _MARGIN, max(x[3] for x in boxes) + _MARGIN
    scale = _PIXELS / max(right - left, 1e-3)
    frame = _Frame(left, high, scale)
    shown = [s for s in spots if all(axis in s.axes for axis in plane) or (plane == "xz" and s.axes == "xy")]
    ordered = [s for s in shown if s.thing != chosen] + [s for s in shown if s.thing == chosen]
    inner: list[Content] = [_ground(frame, plane, left, right, whole)]
    inner += [_wheel(frame, wheel, plane) for wheel in whole.wheels]
    inner += [_rod(frame, *pair) for pair in rods_of(spots) if plane == "xz"]
    inner += [_spot(frame, s, plane, chosen=s.thing == chosen) for s in ordered]
    if whole.cg is not None:
        inner.append(_cg(frame, whole.cg[a], whole.cg[b]))
    height = (high - low) * scale
    svg = tag(
        "svg", inner, viewBox=f"0 0 {_PIXELS:.0f} {height:.1f}", data_plane=plane, data_scale=f"{scale:.3f}",
        data_left=f"{left:.5f}", data_top=f"{high:.5f}", data_snap=_SNAP, class_="placing", role="group",
        aria_label=title,
    )  # fmt: skip
    ahead = tag("span", "front →", class_="fine")
    return tag("figure", tag("figcaption", title, " ", ahead), svg, class_="sheet-of")


def _ground(frame: _Frame, plane: str, left: float, right: float, whole: Whole) -> Content:
    x0, y = frame.point(left, 0.0)
    x1, _ = frame.point(right, 0.0)
    line = tag("line", x1=f"{x0:.1f}", x2=f"{x1:.1f}", y1=f"{y:.1f}", y2=f"{y:.1f}", class_="floor")
    if plane == "xz" or not whole.polygon:
        return line if plane == "xz" else ""
    corners = " ".join(f"{px:.1f},{py:.1f}" for px, py in (frame.point(*p) for p in whole.polygon))
    return tag("polygon", tag("title", "what it stands on"), points=corners, class_="support")


def _wheel(frame: _Frame, wheel: Wheel, plane: str) -> Markup:
    """A wheel to scale, behind the point by which it is moved; how wide it is no file says."""
    told, radius = tag("title", f"wheel {wheel.name}"), wheel.diameter / 2
    if plane == "xz":
        x, y = frame.point(wheel.x, radius)
        return tag("circle", told, cx=f"{x:.1f}", cy=f"{y:.1f}", r=f"{radius * frame.scale:.1f}", class_="wheel")
    x, y = frame.point(wheel.x - radius, wheel.y + TREAD / 2)
    return tag("rect", told, x=f"{x:.1f}", y=f"{y:.1f}", width=f"{wheel.diameter * frame.scale:.1f}",
               height=f"{TREAD * frame.scale:.1f}", class_="wheel")  # fmt: skip


def _rod(frame: _Frame, one: Spot, other: Spot) -> Markup:
    (x1, y1), (x2, y2) = (frame.point(s.at[0], s.at[2]) for s in (one, other))
    return tag("line", tag("title", "cylinder"), x1=f"{x1:.1f}", y1=f"{y1:.1f}", x2=f"{x2:.1f}", y2=f"{y2:.1f}",
               class_="rod")  # fmt: skip


def _cg(frame: _Frame, across: float, up: float) -> Markup:
    x, y = frame.point(across, up)
    cross = tag("path", d=f"M{x - 8:.1f} {y:.1f}H{x + 8:.1f}M{x:.1f} {y - 8:.1f}V{y + 8:.1f}")
    return tag("g", tag("title", "centre of gravity"), tag("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r="5"), cross,
               class_="cg")  # fmt: skip


def _spot(frame: _Frame, spot: Spot, plane: str, *, chosen: bool) -> Markup:
    a, b = ("xyz".index(axis) for axis in plane)
    x, y = frame.point(spot.at[a], spot.at[b])
    inner: list[Content] = [tag("title", spot.label)]
    if spot.size is not None:
        w, h = spot.size[a] * frame.scale, spot.size[b] * frame.scale
        inner.append(tag("rect", x=f"{x - w / 2:.1f}", y=f"{y - h / 2:.1f}", width=f"{w:.1f}", height=f"{h:.1f}"))
        if chosen and spot.axes == "xyz":
            handles = ((x + w / 2, y, plane[0]), (x, y - h / 2, plane[1]))
            inner += [
                tag("rect", x=f"{hx - 5:.1f}", y=f"{hy - 5:.1f}", width="10", height="10", class_="handle",
                    data_size=axis)
                for hx, hy, axis in handles
            ]  # fmt: skip
    else:
        inner.append(tag("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r="6"))
    place = ", ".join(f"{word} {1000 * spot.at[i]:.0f} mm" for i, word in ((a, _WORD[a]), (b, _WORD[b])))
    fixed = "" if all(axis in spot.axes for axis in plane) else "yes"
    kind = "spot" + (" rides" if spot.rides else "") + (" chosen" if chosen else "") + ("" if spot.size else " point")
    return tag(
        "g", inner, class_=kind, data_spot=spot.key, data_thing=spot.thing, data_axes=spot.axes, data_fixed=fixed,
        tabindex="0" if not fixed else None, role="button" if not fixed else None,
        aria_label=f"{spot.label}: {place}" if not fixed else None, data_key=f"{plane} {spot.key}",
    )  # fmt: skip


_WORD = ("forward", "left", "up")


_FIELD_PIXELS, _FIELD_SNAP = 560.0, 0.05  # width of the field's drawing, and m in which its places go
_PLACES: KeyPath = ("season", "field", "places")


def places_of(files: Opened) -> tuple[Spot, ...]:
    """The places of the field, as things that can be moved."""
    found = []
    for name, raw in (files.data(_PLACES) or {}).items():
        at = _numbers(raw, 2)
        if at is not None:
            found.append(
                Spot((*_PLACES, str(name)), dotted((*_PLACES, str(name))), str(name), (at[0], at[1], 0.0), None, "xy")
            )
    return tuple(found)


def place_moved(source: Source, key: str, by: tuple[float, float, float]) -> dict[KeyPath, object]:
    """Move a place of the field: what to change in the season, within the field."""
    files = files_of(source)
    spot = next((s for s in places_of(files) if s.key == key), None)
    size = _numbers(files.data(("season", "field", "size")), 2)
    if spot is None or size is None:
        return {}
    ends = [max(-size[i] / 2, min(size[i] / 2, spot.at[i] + by[i])) - spot.at[i] for i in range(2)]
    return _written(files, _shifted(spot, (ends[0], ends[1], 0.0)))


def way_of(plan: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """The ways that a plan drives: from, to, and in which period; each once."""
    here, found = str(plan.get("start")), []
    for period in ("autonomous", "driven", "finish"):
        there = plan.get(period)
        for name in _stops(there.get("steps") if isinstance(there, dict) else there):
            found.append((here, name, period))
            here = name
    return list(dict.fromkeys(way for way in found if way[0] != way[1]))


def _stops(steps: Any) -> Iterator[str]:
    for step in steps if isinstance(steps, list) else ():
        if isinstance(step, dict) and "repeat" in step:
            yield from _stops(step["repeat"])
        elif isinstance(step, dict) and step.get("at"):
            yield str(step["at"])


def field_drawn(source: Source) -> Markup:
    """Draw the field with its places, and the ways that the plan drives."""
    files = files_of(source)
    size, spots = _numbers(files.data(("season", "field", "size")), 2), places_of(files)
    if size is None or not spots:
        return Markup("")
    scale = _FIELD_PIXELS / max(size[0], 0.1)
    edge = 18.0 / scale  # m, for the names at the border
    frame = _Frame(-size[0] / 2 - edge, size[1] / 2 + edge, scale)
    at = {spot.label: frame.point(spot.at[0], spot.at[1]) for spot in spots}
    plan = files.data(("plan",))
    ways = way_of(plan) if isinstance(plan, dict) else []
    lines = [
        tag("line", x1=f"{at[a][0]:.1f}", y1=f"{at[a][1]:.1f}", x2=f"{at[b][0]:.1f}", y2=f"{at[b][1]:.1f}",
            class_=f"way {period}")
        for a, b, period in ways
        if a in at and b in at
    ]  # fmt: skip
    wide, tall = (size[0] + 2 * edge) * scale, (size[1] + 2 * edge) * scale
    ground = tag(
        "rect", x="18", y="18", width=f"{size[0] * scale:.1f}", height=f"{size[1] * scale:.1f}", class_="field"
    )
    svg = tag(
        "svg", ground, lines, [_place(frame, spot, wide) for spot in spots], viewBox=f"0 0 {wide:.0f} {tall:.0f}",
        data_plane="xy", data_scale=f"{scale:.3f}", data_snap=_FIELD_SNAP, class_="placing", role="group",
        aria_label="The field with its places",
    )  # fmt: skip
    told = tag("span", "solid: by itself; dashed: driven", class_="fine")
    return tag("figure", tag("figcaption", "The field", " ", told), svg, class_="sheet-of")


def _place(frame: _Frame, spot: Spot, wide: float) -> Markup:
    x, y = frame.point(spot.at[0], spot.at[1])
    right = x > 0.7 * wide
    above = y > 40.0  # at the upper border the name stands below, where it is not cut
    name = tag("text", spot.label, x=f"{x - 10 if right else x + 10:.1f}", y=f"{y - 8 if above else y + 20:.1f}",
               text_anchor="end" if right else "start")  # fmt: skip
    said = f"{spot.label}: {1000 * spot.at[0]:.0f} mm along, {1000 * spot.at[1]:.0f} mm across"
    return tag("g", tag("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r="7"), name, class_="spot point", data_spot=spot.key,
               data_thing=spot.thing, tabindex="0", role="button", aria_label=said, data_key=spot.key)  # fmt: skip
