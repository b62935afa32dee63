"""What the lengths mean of things that every robot and season has: pictures not to scale, by declaration."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.drawing.sketch import Sketch, Span, block, disc, floor, line
from fieldworthy.robot.model.catalogue import CylinderClass, WheelClass
from fieldworthy.robot.model.machine import (
    Ballast,
    Carried,
    Contact,
    Move,
    Part,
    Roller,
    Tow,
    TrackingWheel,
    Weighed,
    Wheel,
)
from fieldworthy.robot.model.season import Field, GameObject, Limits, Rim, Structure

_SIDE, _ABOVE = "seen from the left, forward to the right", "seen from above, forward to the right"
_BOTH = "above from the left, below from above"
_ORIGIN = (70.0, 132.0)  # the floor under the middle of the drive wheels, where all places begin
_MIDDLE = line((20.0, 222.0), (320.0, 222.0), look="dashed")


def _place(key: str, at: tuple[float, float], drop: float = _ORIGIN[1]) -> tuple[Span, Span]:
    """How far forward and how high a point is, from the side."""
    x, y = at
    return (
        Span(f"{key}[0]", (_ORIGIN[0], drop - 14.0), (x, drop - 14.0), "above", "forward"),
        Span(f"{key}[2]", (x, drop), (x, y), "right", "up"),
    )


_WHEELS = (disc(40.0, 120.0, 12.0), disc(100.0, 120.0, 12.0), line((70.0, 126.0), (70.0, 138.0)))
_PART = Sketch(
    _BOTH,
    240.0,
    (floor(132.0), *_WHEELS, block(170, 44, 90, 36), _MIDDLE, line((70.0, 216.0), (70.0, 228.0)),
     block(170, 178, 90, 26), disc(215.0, 191.0, 2.0)),
    (*_place("position", (215.0, 62.0)),
     Span("size[0]", (170.0, 34.0), (260.0, 34.0), "above", "length"),
     Span("size[2]", (268.0, 44.0), (268.0, 80.0), "right", "height"),
     Span("position[1]", (160.0, 222.0), (160.0, 191.0), "left", "left"),
     Span("size[1]", (268.0, 178.0), (268.0, 204.0), "right", "width")),
)  # fmt: skip
_LOAD = Sketch(
    _BOTH,
    240.0,
    (floor(132.0), *_WHEELS, disc(235.0, 62.0, 22.0, "thing"), _MIDDLE, line((70.0, 216.0), (70.0, 228.0)),
     disc(235.0, 191.0, 22.0, "thing")),
    (*_place("position", (235.0, 62.0)),
     Span("position[1]", (200.0, 222.0), (200.0, 191.0), "left", "left")),
)  # fmt: skip
_ON_FLOOR = Sketch(
        _ABOVE,
        190.0,
        (line((20.0, 120.0), (320.0, 120.0), look="dashed"), block(36, 34, 140, 14), block(36, 176, 140, 14),
         line((100.0, 112.0), (100.0, 128.0)), block(232, 48, 36, 14), disc(250.0, 55.0, 2.5)),
        (Span("position[0]", (100.0, 136.0), (250.0, 136.0), "below", "forward"),
         Span("position[1]", (250.0, 120.0), (250.0, 66.0), "right", "left")),
)  # fmt: skip
_ROLLER = Sketch(
    _SIDE,
    170.0,
    (floor(132.0), disc(70.0, 102.0, 30.0), line((70.0, 126.0), (70.0, 138.0)), disc(250.0, 98.0, 16.0)),
    (Span("position[0]", (70.0, 60.0), (250.0, 60.0), "above", "forward"),
     Span("clearance", (250.0, 132.0), (250.0, 114.0), "right")),
)  # fmt: skip
_SCALES = Sketch(
    _SIDE,
    150.0,
    (floor(132.0), *_WHEELS, block(36, 40, 190, 70), disc(150.0, 78.0, 4.0, "line"),
     line((70.0, 40.0), (70.0, 112.0), look="dashed")),
    (Span("x", (70.0, 30.0), (150.0, 30.0), "above"), Span("z", (150.0, 132.0), (150.0, 78.0), "right")),
)  # fmt: skip
_TRACKER = Sketch(
    _ABOVE,
    230.0,
    (line((20.0, 150.0), (320.0, 150.0), look="dashed"), line((110.0, 20.0), (110.0, 210.0), look="dashed"),
     block(190, 60, 90, 20), line((110.0, 144.0), (110.0, 156.0)), line((104.0, 150.0), (116.0, 150.0))),
    (Span("along", (110.0, 166.0), (235.0, 166.0), "below"), Span("offset", (235.0, 150.0), (235.0, 70.0), "right"),
     Span("diameter", (190.0, 48.0), (280.0, 48.0), "above"), Span("width", (182.0, 60.0), (182.0, 80.0), "left")),
)  # fmt: skip
_CYLINDER = Sketch(
    "the rod drawn in; dashed: out",
    190.0,
    (block(84, 60, 100, 44), block(96, 60, 6, 44), block(102, 76, 90, 12), disc(77.0, 82.0, 7.0),
     disc(198.0, 82.0, 7.0),     line((205.0, 76.0), (300.0, 76.0), look="dashed"), line((205.0, 88.0),
     (300.0, 88.0), look="dashed"),
     disc(300.0, 82.0, 7.0, "dashed")),
    (Span("closed_length", (77.0, 126.0), (198.0, 126.0), "below"), Span("stroke", (198.0, 126.0), (300.0, 126.0),
     "below"), Span("bore", (66.0, 60.0), (66.0, 104.0), "left"), Span("rod", (250.0, 76.0), (250.0, 88.0), "above")),
)  # fmt: skip
_SIZE = Sketch(
    "what it must fit into; forward to the right",
    190.0,
    (line((90.0, 60.0), (210.0, 60.0), (210.0, 140.0), (90.0, 140.0), (90.0, 60.0)),
     line((90.0, 60.0), (130.0, 30.0), (250.0, 30.0), (210.0, 60.0)), line((250.0, 30.0), (250.0, 110.0),
     (210.0, 140.0))),
    (Span("stowed_size[0]", (90.0, 154.0), (210.0, 154.0), "below", "length"),
     Span("stowed_size[1]", (218.0, 146.0), (258.0, 116.0), "right", "width"),
     Span("stowed_size[2]", (80.0, 60.0), (80.0, 140.0), "left", "height")),
)  # fmt: skip
_OBJECT = Sketch(
    "as it lies on the floor",
    210.0,
    (floor(160.0), block(90, 70, 130, 90, "thing"), line((90.0, 70.0), (130.0, 40.0), (260.0, 40.0), (220.0, 70.0)),
     line((260.0, 40.0), (260.0, 130.0), (220.0, 160.0)), disc(150.0, 120.0, 3.0, "line")),
    (Span("size[0]", (90.0, 176.0), (220.0, 176.0), "below", "length"),
     Span("size[1]", (228.0, 164.0), (268.0, 134.0), "right", "width"),
     Span("size[2]", (80.0, 70.0), (80.0, 160.0), "left", "height"),
     Span("cg_height", (150.0, 160.0), (150.0, 120.0), "right", "centre of gravity")),
)  # fmt: skip
_RIM = Sketch(
    "cut through the rim, seen from the side",
    190.0,
    (floor(160.0), block(40, 70, 90, 90, "thing"), block(40, 56, 150, 14, "thing")),
    (Span("overhang", (130.0, 84.0), (190.0, 84.0), "below"), Span("thickness", (200.0, 56.0), (200.0, 70.0), "above"),
     Span("height", (240.0, 160.0), (240.0, 56.0), "right")),
)  # fmt: skip
_BAR = Sketch(
    "seen along the bar",
    190.0,
    (floor(160.0), line((150.0, 160.0), (150.0, 62.0)), disc(150.0, 50.0, 13.0, "thing")),
    (Span("height", (200.0, 160.0), (200.0, 37.0), "right"), Span("diameter", (137.0, 28.0), (163.0, 28.0), "left")),
)
_FIELD = Sketch(
    "the field from above; places count from its middle",
    230.0,
    (block(84, 30, 200, 150, "thing"), line((134.0, 30.0), (134.0, 180.0), look="dashed"), line((178.0, 105.0),
     (190.0, 105.0)), line((184.0, 99.0), (184.0, 111.0)), line((84.0, 80.0), (284.0, 80.0), look="dashed")),
    (Span("size[0]", (84.0, 194.0), (284.0, 194.0), "below", "length, x"),
     Span("size[1]", (74.0, 30.0), (74.0, 180.0), "left", "width, y"),
     Span("tile", (84.0, 70.0), (134.0, 70.0), "above")),
)  # fmt: skip
_MOVE = Sketch(
    _SIDE,
    190.0,
    (floor(150.0), block(70, 96, 110, 18), line((70.0, 105.0), (146.0, 29.0), look="dashed"), disc(70.0, 105.0, 4.0),
     line((160.0, 90.0), (140.0, 50.0), look="move"), block(200, 60, 100, 16, "thing"),
     line((250.0, 110.0), (250.0, 82.0), look="move")),
    (Span("turn", (104.0, 88.0), (104.0, 88.0), "right"), Span("pivot", (70.0, 105.0), (70.0, 105.0), "below"),
     Span("shift", (262.0, 96.0), (262.0, 96.0), "right")),
)  # fmt: skip
_TOW = Sketch(
    _SIDE,
    180.0,
    (floor(140.0), block(150, 60, 130, 62), disc(180.0, 128.0, 12.0), disc(250.0, 128.0, 12.0),
     line((146.0, 90.0), (60.0, 90.0), look="move"), line((146.0, 90.0), (146.0, 134.0), look="move")),
    (Span("position", (148.0, 90.0), (148.0, 90.0), "right"), Span("drag", (70.0, 78.0), (70.0, 78.0), "above"),
     Span("down", (134.0, 118.0), (134.0, 118.0), "left")),
)  # fmt: skip
_WHEEL = Sketch(
    "seen from the side",
    170.0,
    (floor(140.0), disc(120.0, 90.0, 50.0), disc(120.0, 90.0, 6.0, "line")),
    (Span("diameter", (190.0, 40.0), (190.0, 140.0), "right"),),
)

GENERAL: Mapping[type, Sketch] = {
    Part: _PART, Ballast: _LOAD, Carried: _LOAD, Wheel: _ON_FLOOR, Contact: _ON_FLOOR,
    Roller: _ROLLER, Weighed: _SCALES, TrackingWheel: _TRACKER, CylinderClass: _CYLINDER, WheelClass: _WHEEL,
    Limits: _SIZE, GameObject: _OBJECT, Rim: _RIM, Structure: _BAR, Field: _FIELD, Move: _MOVE, Tow: _TOW,
}  # fmt: skip
"""By what a file declares."""
