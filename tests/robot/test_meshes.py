"""Meshes: mass, centre of gravity and size against solids whose volume a ruler gives; and files that mean harm.

Volumes and centroids are those of elementary geometry (box, prism, tetrahedron, cylinder as a regular prism, a box
with a hollow): worked by hand beside each case. The files are written here, byte by byte, not by the library that
reads them.
"""

from __future__ import annotations

import io
import json
import math
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest

from fieldworthy.files import BadInput
from fieldworthy.robot import load_robot, meshes
from fieldworthy.robot.meshes import Reading, read_mesh, reading_of, solids, usual
from fieldworthy.robot.partstables import flow_in_mesh
from robots import EXAMPLES

ALUMINIUM = Reading(density=2700.0)
_CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
_SIDES = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]


def box(low, high):
    """Triangles of a box, outward by the right hand: each side a rectangle in two."""
    low, high = np.asarray(low, float), np.asarray(high, float)
    corners = low + _CORNERS * (high - low)
    return np.array([corners[list(t)] for a, b, c, d in _SIDES for t in ((a, b, c), (a, c, d))])


def prism(sides, radius, height):
    """A regular prism about z, from the floor up: what a drawing program makes of a cylinder."""
    angles = 2 * math.pi * np.arange(sides) / sides
    ring = np.stack([radius * np.cos(angles), radius * np.sin(angles), np.zeros(sides)], axis=1)
    up = np.array([0.0, 0.0, height])
    found = []
    for i in range(sides):
        a, b = ring[i], ring[(i + 1) % sides]
        found += [[a, b, b + up], [a, b + up, a + up], [np.zeros(3), b, a], [up, a + up, b + up]]
    return np.array(found)


def stl(triangles):
    head = b"made for a test".ljust(80) + struct.pack("<I", len(triangles))
    return head + b"".join(struct.pack("<12fH", 0, 0, 0, *t.ravel(), 0) for t in triangles)


def ascii_stl(triangles):
    lines = ["solid x"]
    for t in triangles:
        lines += ["facet normal 0 0 0", "outer loop", *(f"vertex {x} {y} {z}" for x, y, z in t), "endloop", "endfacet"]
    return "\n".join([*lines, "endsolid x"]).encode()


def obj(triangles):
    lines = ["mtllib /etc/passwd", *(f"v {x} {y} {z}" for t in triangles for x, y, z in t)]
    return "\n".join([*lines, *(f"f {3 * i + 1} {3 * i + 2} {3 * i + 3}" for i in range(len(triangles)))]).encode()


def glb(triangles, **more):
    points = np.ascontiguousarray(triangles.reshape(-1, 3), "<f4")
    scene = {
        "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}], "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": len(points), "type": "VEC3",
                       "min": points.min(0).tolist(), "max": points.max(0).tolist()}],
        "bufferViews": [{"buffer": 0, "byteLength": points.nbytes}], "buffers": [{"byteLength": points.nbytes}],
    } | more  # fmt: skip
    text = json.dumps(scene).encode()
    text += b" " * (-len(text) % 4)
    data = points.tobytes()
    body = struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(data), b"BIN\0") + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


def three_mf(triangles, unit="inch", model=None):
    rows = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for t in triangles for x, y, z in t)
    faces = "".join(f'<triangle v1="{3 * i}" v2="{3 * i + 1}" v3="{3 * i + 2}"/>' for i in range(len(triangles)))
    space = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    model = model or (
        f'<model unit="{unit}" xmlns="{space}"><resources><object id="1" type="model"><mesh><vertices>{rows}'
        f"</vertices><triangles>{faces}</triangles></mesh></object></resources>"
        f'<build><item objectid="1"/></build></model>'
    )
    return packed({"3D/3dmodel.model": model.encode()})


def packed(files):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in files.items():
            made.writestr(name, content)
    return out.getvalue()


def one(name, raw, how=ALUMINIUM):
    found = solids(read_mesh(Path(name), raw), how)
    assert len(found) == 1
    return found[0]


HOLLOW = np.concatenate([box((0, 0, 0), (20, 30, 40)), box((5, 5, 5), (15, 25, 10))[:, ::-1]])
_OUTER, _INNER = 20 * 30 * 40, 10 * 20 * 5
_SIXTY = 0.5 * 60 * 8**2 * math.sin(2 * math.pi / 60) * 25  # regular polygon: n r² sin(2 pi / n) / 2, times height
CASES = {  # triangles [mm], volume [mm³], centroid [mm]
    "box": (box((100, -10, 40), (120, 20, 80)), _OUTER, (110, 5, 60)),
    "tetrahedron": (
        np.array([[[0, 0, 0], [0, 30, 0], [30, 0, 0]], [[0, 0, 0], [30, 0, 0], [0, 0, 30]],
                  [[0, 0, 0], [0, 0, 30], [0, 30, 0]], [[30, 0, 0], [0, 30, 0], [0, 0, 30]]], float),
        30**3 / 6, (7.5, 7.5, 7.5),
    ),
    "cylinder of 60 sides": (prism(60, 8.0, 25.0), _SIXTY, (0, 0, 12.5)),
    # two boxes, the inner one missing: z = (24000 · 20 - 1000 · 7.5) / 23000
    "hollow box": (HOLLOW, _OUTER - _INNER, (10, 15, (_OUTER * 20 - _INNER * 7.5) / (_OUTER - _INNER))),
    "box turned inside out": (box((0, 0, 0), (20, 30, 40))[:, ::-1], _OUTER, (10, 15, 20)),
}  # fmt: skip


@pytest.fixture
def here(monkeypatch):
    """Read in this very program, which is faster than one of its own for each."""
    monkeypatch.setattr(meshes, "_asked", lambda _file, suffix, raw: meshes._answer(suffix, raw))


@pytest.mark.parametrize("name", list(CASES))
def test_mass_and_centre_are_those_of_the_solid(name, here):
    triangles, volume, centre = CASES[name]
    found = one("part.stl", stl(triangles))
    assert found.mass == pytest.approx(2700.0 * volume * 1e-9, rel=1e-5)
    assert found.centre == pytest.approx([1e-3 * v for v in centre], abs=1e-8)
    low, high = triangles.reshape(-1, 3).min(0), triangles.reshape(-1, 3).max(0)
    assert found.size == pytest.approx((high - low) * 1e-3, rel=1e-5)


@pytest.mark.parametrize(
    ("file", "raw", "scale"),
    [
        ("a.stl", ascii_stl(CASES["box"][0]), 1e-3),
        ("a.obj", obj(CASES["box"][0]), 1e-3),
        ("a.3mf", three_mf(CASES["box"][0], "inch"), 0.0254),  # says its unit
    ],
)
def test_every_format_says_the_same_of_a_box(file, raw, scale, here):
    found = one(file, raw, Reading(density=1.0))
    assert found.mass == pytest.approx(_OUTER * scale**3, rel=1e-5)
    assert found.centre == pytest.approx([v * scale for v in (110, 5, 60)], rel=1e-5)


def test_a_glb_is_turned_as_its_standard_says(here):
    # glTF 2.0, 3.4: metres, y up, z forward, so that x points to the left: a box 0.2 up, 0.3 ahead, 0.1 to the left
    raw = glb(box((0.09, 0.15, 0.28), (0.11, 0.25, 0.32)))
    found = one("a.glb", raw, reading_of(Path("a.glb"), {"material": "aluminium"}))
    assert found.centre == pytest.approx((0.3, 0.1, 0.2), abs=1e-7)
    assert found.size == pytest.approx((0.04, 0.02, 0.1), rel=1e-5)


def body(**more):
    usual_body = {"name": "b", "volume": 1000.0, "centre": (1.0, 2.0, 3.0), "low": (0.0, 0.0, 0.0),
                  "high": (10.0, 20.0, 30.0), "open_edges": 0, "faces": 12}  # fmt: skip
    return meshes.Mesh(Path("b.stl"), "", (meshes.Body(**(usual_body | more)),))


def test_axes_are_turned_as_a_right_hand_turns_them():
    # forward -y and up z leave the left to be x: up × forward = z × -y = x
    found = solids(body(), Reading(1000.0, unit="mm", forward="-y", up="z"))[0]
    assert found.centre == pytest.approx((-0.002, 0.001, 0.003))
    assert found.size == pytest.approx((0.020, 0.010, 0.030))


def test_a_printed_part_weighs_its_share_and_a_weighed_one_what_it_was_said_to():
    assert solids(body(), Reading(1240.0, fill=0.4))[0].mass == pytest.approx(1e-6 * 1240 * 0.4)
    assert solids(body(), Reading(mass=0.12))[0].mass == pytest.approx(0.12)


def test_an_open_surface_is_refused_unless_its_mass_is_said():
    with pytest.raises(BadInput, match="4 open edges"):
        solids(body(open_edges=4), ALUMINIUM)
    found = solids(body(open_edges=4), Reading(mass=0.2))[0]
    assert (found.mass, found.centre) == (pytest.approx(0.2), pytest.approx((0.005, 0.010, 0.015)))
    assert "open" in found.note


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({}, "without one it weighs nothing"),
        ({"material": "alumnium"}, "a material"),
        ({"density": "3 mm"}, "density as 30 kg/m"),
        ({"material": "steel", "fill": "0"}, "a fill"),
        ({"material": "steel", "unit": "parsec"}, "a unit"),
        ({"material": "steel", "forward": "z"}, "two different axes"),
        ({"colour": "red"}, "one of material"),
    ],
)
def test_what_is_said_of_a_mesh_is_checked(said, expected):
    with pytest.raises(BadInput, match=expected):
        reading_of(Path("a.stl"), said)
    assert usual(Path("a.glb")).unit == "m"


def test_what_cannot_be_a_part_of_a_robot_is_refused():
    with pytest.raises(BadInput, match="is it mm"):
        solids(body(), Reading(2700.0, unit="m"))


_SMALL = 1_000_000
BOMB = {"3D/3dmodel.model": b"0" * (10 * _SMALL + 1)}
ENTITIES = '<!DOCTYPE m [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">]><model>&b;</model>'
CLAIMS = {"accessors": [{"componentType": 5126, "count": 10**9, "type": "VEC3"}]}
OUTSIDE = {"buffers": [{"uri": "/etc/passwd", "byteLength": 10}]}


@pytest.mark.parametrize(
    ("file", "make", "expected"),
    [
        ("a.stl", lambda: b"", "this file is empty"),
        ("a.stl", lambda: b"\n \n", "this file is empty"),
        ("a.stl", lambda: stl(CASES["box"][0])[:-20], "says 12 triangles and holds 11"),
        ("a.stl", lambda: b"x" * 80 + struct.pack("<I", 2**32 - 1) + b"y" * 100, "holds 2"),
        ("a.stl", lambda: b"x" * 50, "no triangles"),
        ("a.stl", lambda: b"x" * (_SMALL + 1), "at most 1 MB"),
        ("a.step", lambda: b"x", "ends in .stl"),
        ("a.3mf", lambda: packed(BOMB), "far more"),
        ("a.3mf", lambda: packed({f"{i}": b"" for i in range(3000)}), "far more"),
        ("a.3mf", lambda: three_mf(CASES["box"][0])[:-30], "cannot be unpacked"),
        ("a.3mf", lambda: b"PK\x03\x04" + b"\0" * 100, "cannot be unpacked"),
        ("a.3mf", lambda: three_mf([], model=ENTITIES), "definitions"),
        ("a.3mf", lambda: packed({"3D/3dmodel.model": ENTITIES.encode("utf-16")}), "definitions"),
        ("a.glb", lambda: glb(CASES["box"][0], **OUTSIDE), "names '/etc/passwd'"),
        ("a.glb", lambda: glb(CASES["box"][0], **CLAIMS), "holds the numbers"),
        ("a.glb", lambda: glb(CASES["box"][0], extensionsRequired=["KHR_draco_mesh_compression"]), "without compr"),
        ("a.glb", lambda: b"glTF" + b"\xff" * 40, "glTF 2.0"),
        ("a.glb", lambda: glb(CASES["box"][0], accessors=["x"]), "glTF 2.0"),
    ],
)
def test_a_hostile_file_is_refused_before_anything_reads_it(file, make, expected, monkeypatch):
    monkeypatch.setattr(meshes, "_asked", lambda *_: pytest.fail("it was read"))
    monkeypatch.setattr(meshes, "LARGEST", _SMALL)
    with pytest.raises(BadInput, match=expected):
        read_mesh(Path(file), make())


def _ladder(rungs):
    """Every object is ten of the one before: ten to the power of the rungs at the end."""
    space = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    rows = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in ((0, 0, 0), (1, 0, 0), (0, 1, 0)))
    first = f'<object id="0"><mesh><vertices>{rows}</vertices><triangles><triangle v1="0" v2="1" v3="2"/></triangles>'
    objects = first + "</mesh></object>"
    for i in range(1, rungs):
        ten = f'<component objectid="{i - 1}"/>' * 10
        objects += f'<object id="{i}"><components>{ten}</components></object>'
    build = f'<build><item objectid="{rungs - 1}"/></build>'
    return f'<model xmlns="{space}"><resources>{objects}</resources>{build}</model>'


@pytest.mark.parametrize(
    ("file", "make", "expected"),
    [
        ("a.stl", lambda: b"solid facet\n" + b"vertex 1 2\n" * 50, "broken|surface"),
        ("a.obj", lambda: b"f 1 2 3\n", "broken|surface"),
        ("a.obj", lambda: b"v 0 0 0\nv nan 0 0\nv 0 1 0\nf 1 2 3\n", "broken|numbers"),
        ("a.obj", lambda: b"v 0 0 0\nv 1e300 0 0\nv 0 1e300 0\nf 1 2 3\n", "broken|numbers"),
        ("a.obj", lambda: b"\xff\xfe\x00" * 50, "broken|surface"),
        ("a.glb", lambda: glb(CASES["box"][0], bufferViews=[{"buffer": 3, "byteLength": 1}]), "broken"),
        ("a.glb", lambda: glb(CASES["box"][0], meshes=[]), "broken|surface"),
        ("a.3mf", lambda: packed({"3D/3dmodel.model": b"<model"}), "broken"),
        ("a.3mf", lambda: packed({"else": b""}), "broken"),
    ],
)
def test_what_only_the_reader_can_see_ends_in_a_sentence(file, make, expected, here):
    with pytest.raises(BadInput, match=expected):
        read_mesh(Path(file), make())


@pytest.mark.long
def test_a_file_that_grows_without_end_is_given_up(monkeypatch):
    monkeypatch.setattr(meshes, "_SECONDS", 10.0)
    with pytest.raises(BadInput, match=r"can be read within|gave up|fits into memory|at most 200"):
        read_mesh(Path("a.3mf"), three_mf([], model=_ladder(9)))


def test_without_the_library_it_says_what_to_install(monkeypatch):
    monkeypatch.setattr(meshes, "find_spec", lambda name: None)
    with pytest.raises(BadInput, match=r"pip install fieldworthy\[mesh\]"):
        read_mesh(Path("a.stl"), stl(CASES["box"][0]))


@pytest.mark.long
def test_a_mesh_flows_into_the_parts_and_leaves_a_weighed_mass(tmp_path):  # read by a program of its own
    loaded = load_robot(EXAMPLES / "mk1.yaml")
    known = next(name for name, part in loaded.robot.parts.items() if part.mass.basis == "measured")
    before = loaded.robot.parts[known].mass.si
    for name in (known, "new bracket"):
        (tmp_path / f"{name}.stl").write_bytes(stl(CASES["box"][0]))
    inflow, told = flow_in_mesh(loaded, tmp_path / f"{known}.stl", {"material": "aluminium"})
    assert inflow.parts[known].mass.si == before
    assert [p.si for p in inflow.parts[known].position] == pytest.approx([0.110, 0.005, 0.060])
    assert told[0].startswith(f"{known}: 0.0648 kg")  # 24 cm³ of 2.7 g/cm³
    inflow, _ = flow_in_mesh(loaded, tmp_path / "new bracket.stl", {"material": "aluminium", "fill": "50 %"})
    assert inflow.parts["new bracket"].mass.si == pytest.approx(0.0324, rel=1e-3)
    assert set(inflow.parts) == {*loaded.robot.parts, "new bracket"}
