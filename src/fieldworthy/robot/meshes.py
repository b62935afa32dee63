"""Takes parts from meshes (STL, 3MF, OBJ, GLB): size from their outline, centre of gravity and mass from their volume.

A mesh is read by a program of its own, ``python -m fieldworthy.robot.meshes``, that ends after a time and may only use
so much memory: a file can look harmless and unpack to anything. What it names outside itself is not looked at.
"""

from __future__ import annotations

import contextlib
import io
import json
import math
import os
import re
import struct
import subprocess
import sys
import threading
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from fieldworthy.files import BadInput, Problem
from fieldworthy.files.document import nearest, shorten
from fieldworthy.units import KINDS, UnitError, digits, parse, percent, to_unit

MESHES = (".stl", ".3mf", ".obj", ".glb")
LARGEST = 20_000_000
"""Bytes of a file, and with ten times that what a packed one may unpack to."""
DENSITIES: Mapping[str, float] = {
    "aluminium": 2700.0, "steel": 7850.0, "stainless steel": 7950.0, "brass": 8500.0, "titanium": 4430.0,
    "polycarbonate": 1200.0, "acetal": 1410.0, "nylon": 1140.0, "polyethylene": 950.0, "acrylic": 1180.0,
    "printed ABS": 1040.0, "printed PETG": 1270.0, "printed PLA": 1240.0, "plywood": 680.0,
    "carbon fibre laminate": 1550.0, "rubber": 1150.0,
}  # fmt: skip
"""Of materials, solid [kg/m³]; from memory, as handbooks round them: grades differ by some per cent."""
AXES = ("x", "-x", "y", "-y", "z", "-z")
UNITS = ("mm", "cm", "m", "in")
_UNITLESS = (".stl", ".obj")
_BODIES, _FACES = 200, 3_000_000
_SECONDS = 25.0
_MEMORY = 3_000_000_000  # bytes of address space
_ENTRIES = 2000  # files in a packed one
_SCENE = 5_000_000  # bytes of what a GLB says of itself
_FAR = 0.005  # m; a box so far from its true place is told
_NO_LIBRARY = "expected the library that reads meshes: install it by 'pip install fieldworthy[mesh]'"
_one_at_a_time = threading.Lock()


@dataclass(frozen=True, slots=True)
class Body:
    """One body of a mesh, in the units and axes of its file.

    Attributes
    ----------
    name : As the file has it
    volume, centre : Of what its surface encloses; meaningless while `open_edges` is not 0
    low, high : Corners of its box
    open_edges : Edges at which its surface ends, or more than two faces meet
    faces : Triangles
    """

    name: str
    volume: float
    centre: tuple[float, float, float]
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    open_edges: int
    faces: int


@dataclass(frozen=True, slots=True)
class Mesh:
    """What a mesh holds.

    Attributes
    ----------
    file : Its name
    unit : Of its lengths; empty where the file does not say
    bodies : In its own axes
    """

    file: Path
    unit: str
    bodies: tuple[Body, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """How a person wants a mesh to be read.

    Attributes
    ----------
    density : Of its material, solid [kg/m³]; 0 where `mass` says all
    fill : Share of the volume that is material, as of a printed part
    unit : Of lengths, where the file does not say
    forward, up : Axes of the file that are the robot's
    mass : Weighed, of all bodies together [kg]; 0 for what material and volume give
    """

    density: float = 0.0
    fill: float = 1.0
    unit: str = "mm"
    forward: str = "x"
    up: str = "z"
    mass: float = 0.0


@dataclass(frozen=True, slots=True)
class Solid:
    """A body as a part of a robot, in SI and the robot's axes.

    Attributes
    ----------
    name : As the file has it
    mass, centre, size : What the part weighs, where its centre of gravity is, and how large its box is
    note : What is to be known of it; empty for nothing
    """

    name: str
    mass: float
    centre: tuple[float, float, float]
    size: tuple[float, float, float]
    note: str = ""


def usual(file: Path) -> Reading:
    """How a file is read where nothing is said: GLB has y up and z forward, 3MF says its unit; others are in mm.

    Notes
    -----
    glTF 2.0, chapter 3.4: metres, y up, z forward. 3MF core specification: z up, millimetres where no unit is given.
    """
    return Reading(unit="m", forward="z", up="y") if file.suffix.lower() == ".glb" else Reading()


def reading_of(file: Path, said: Mapping[str, str]) -> Reading:
    """Take what a person said of a mesh: material or density, fill, unit, forward, up, mass."""
    now = usual(file)
    known = ("material", "density", "fill", "unit", "forward", "up", "mass")
    for word in said:
        if word not in known:
            raise _wrong(file, f"one of {', '.join(known)} (found {shorten(word)})", nearest(word, known))
    material = said.get("material", "")
    if material and material not in DENSITIES:
        raise _wrong(file, f"a material: {', '.join(DENSITIES)}; or its density", nearest(material, DENSITIES))
    density = DENSITIES[material] if material else _number(file, said, "density", "density", 0.0)
    mass = _number(file, said, "mass", "mass", 0.0)
    if density <= 0.0 and mass <= 0.0:
        raise _wrong(file, "a material, a density or a mass: without one it weighs nothing")
    fill = _number(file, said, "fill", "ratio", 1.0)
    if not 0.0 < fill <= 1.0:
        raise _wrong(file, "a fill of more than 0 and at most 100 %")
    found = Reading(
        density, fill, said.get("unit") or now.unit, said.get("forward") or now.forward, said.get("up") or now.up, mass
    )
    if found.unit not in UNITS or found.forward not in AXES or found.up not in AXES:
        raise _wrong(file, f"a unit ({', '.join(UNITS)}) and axes ({', '.join(AXES)})")
    if found.forward[-1] == found.up[-1]:
        raise _wrong(file, "two different axes forward and up")
    return found


def _wrong(file: Path, expected: str, near: str | None = None) -> BadInput:
    return BadInput([Problem(file, 1, 1, (), f"expected {expected}", near)])


def _number(file: Path, said: Mapping[str, str], word: str, kind: str, default: float) -> float:
    text = said.get(word, "").strip()
    if not text:
        return default
    try:
        return float(parse(text, kind).si)
    except UnitError as error:
        raise _wrong(file, f"{word} as {KINDS[kind].example}: {error.expected}", error.suggestion) from error


def solids(mesh: Mesh, how: Reading) -> tuple[Solid, ...]:
    """Turn the bodies of a mesh into parts of a robot."""
    closed = all(body.open_edges == 0 for body in mesh.bodies)
    if not closed and how.mass <= 0.0:
        body = next(body for body in mesh.bodies if body.open_edges)
        what = f"'{shorten(body.name)}' has {body.open_edges} open edges, so that nobody knows its volume"
        raise _wrong(mesh.file, f"a closed surface: {what}; export it as a solid, or say its mass")
    scale = float(parse(f"1 {mesh.unit or how.unit}", "length").si)
    sizes = [abs(b.volume) if closed else _box_volume(b) for b in mesh.bodies]
    share = how.mass / sum(sizes) if how.mass > 0.0 else how.density * how.fill * scale**3
    found = tuple(_solid(b, size * share, scale, how, closed) for b, size in zip(mesh.bodies, sizes, strict=True))
    for solid in found:
        if not 1e-6 < solid.mass < 200.0 or max(solid.size) > 10.0 or min(solid.size) < 1e-5:
            box = " × ".join(f"{1e3 * side:.3g}" for side in solid.size)
            raise _wrong(mesh.file, f"parts of a robot: {solid.name} is {box} mm and {solid.mass:.3g} kg; is it mm?")
    return found


def _box_volume(body: Body) -> float:
    sides = [max(high - low, 1e-9) for low, high in zip(body.low, body.high, strict=True)]
    return sides[0] * sides[1] * sides[2]


def _solid(body: Body, mass: float, scale: float, how: Reading, closed: bool) -> Solid:
    def turned(point: Sequence[float]) -> tuple[float, float, float]:
        x, z = _along(point, how.forward) * scale, _along(point, how.up) * scale
        return x, _left(point, how) * scale, z

    middle = [(low + high) / 2.0 for low, high in zip(body.low, body.high, strict=True)]
    box = turned([high - low for low, high in zip(body.low, body.high, strict=True)])
    centre = turned(body.centre if closed else middle)
    apart = max(abs(a - b) for a, b in zip(centre, turned(middle), strict=True))
    note = ""
    if not closed:
        note = "its surface is open: the middle of its box stands for its centre of gravity"
    elif apart > _FAR:
        note = f"its box is drawn round its centre of gravity, {1e3 * apart:.0f} mm from where it truly is"
    return Solid(body.name, mass, centre, (abs(box[0]), abs(box[1]), abs(box[2])), note)


def _along(point: Sequence[float], axis: str) -> float:
    value = point["xyz".index(axis[-1])]
    return -value if axis.startswith("-") else value


def _left(point: Sequence[float], how: Reading) -> float:
    """Left is up × forward, as in a right-handed system."""
    up, forward = _unit_of(how.up), _unit_of(how.forward)
    left = [up[i - 2] * forward[i - 1] - up[i - 1] * forward[i - 2] for i in range(3)]
    return sum(a * b for a, b in zip(left, point, strict=True))


def _unit_of(axis: str) -> list[float]:
    return [_along([float(i == j) for j in range(3)], axis) for i in range(3)]


def cells_of(solid: Solid, *, inch: bool) -> dict[str, str]:
    """Write a part as the cells of a parts list."""
    places = dict(zip(("x", "y", "z"), solid.centre, strict=True))
    places |= dict(zip(("length", "width", "height"), solid.size, strict=True))
    return {"mass": _written(solid.mass, "mass", inch)} | {
        column: _written(value, "length", inch) for column, value in places.items()
    }


def _written(si: float, kind: str, inch: bool) -> str:
    unit = KINDS[kind].inch if inch else KINDS[kind].metric
    return f"{digits(to_unit(si, kind, unit) + 0.0, 4)} {unit}" if abs(si) > 5e-6 else f"0 {unit}"


def told_of(solid: Solid, *, inch: bool) -> str:
    """Say what a part is in one line."""
    cells = cells_of(solid, inch=inch)
    place = ", ".join(cells[c] for c in ("x", "y", "z"))
    size = " × ".join(cells[c] for c in ("length", "width", "height"))
    note = f"; {solid.note}" if solid.note else ""
    return f"{solid.name}: {cells['mass']}, centre of gravity at {place}, box {size}{note}"


def filled(how: Reading) -> str:
    """Say what a mass rests on."""
    if how.mass > 0.0:
        return "by the mass that was said, shared by volume"
    solid = "solid" if how.fill == 1.0 else f"{percent(how.fill)} of it filled"
    return f"at {digits(how.density, 4)} kg/m³, {solid}"


def read_mesh(file: Path, raw: bytes) -> Mesh:
    """Read a mesh within a bounded time and memory."""
    suffix = file.suffix.lower()
    if suffix not in MESHES:
        raise _wrong(file, f"a mesh that ends in {', '.join(MESHES)}")
    if any(find_spec(name) is None for name in ("trimesh", *(("lxml", "networkx") if suffix == ".3mf" else ()))):
        raise BadInput([Problem(file, 1, 1, (), _NO_LIBRARY)])
    if len(raw) > LARGEST:
        raise _wrong(file, f"a mesh of at most {LARGEST // 1_000_000} MB: export it with fewer triangles")
    if not raw.strip():
        raise _wrong(file, "a mesh; this file is empty")
    {".3mf": _refuse_bomb, ".glb": _refuse_scene, ".stl": _refuse_count}.get(suffix, _fine)(file, raw)
    said = _asked(file, suffix, raw)
    if "trouble" in said:
        raise _wrong(file, str(said["trouble"]))
    bodies = tuple(_body_of(**told) for told in said["bodies"])
    own = "" if suffix in _UNITLESS else "m" if suffix == ".glb" else str(said["unit"])
    return Mesh(file, own, _named(file.stem, bodies))


def _body_of(**told: Any) -> Body:
    corners = {key: tuple(told[key]) for key in ("centre", "low", "high")}
    return Body(**{**told, **corners})


def _named(stem: str, bodies: tuple[Body, ...]) -> tuple[Body, ...]:
    """Call bodies that have no name of their own after the file."""
    if len(bodies) == 1:
        return (replace(bodies[0], name=stem),)
    bare = re.compile(r"(geometry|object|mesh|node)?[ _-]?\d*", re.IGNORECASE)
    names = [f"{stem} {i}" if bare.fullmatch(b.name) else b.name for i, b in enumerate(bodies, 1)]
    return tuple(replace(body, name=name) for body, name in zip(bodies, names, strict=True))


def _fine(_file: Path, _raw: bytes) -> None:
    pass


def _refuse_bomb(file: Path, raw: bytes) -> None:
    """A 3MF file is a packed folder: refuse one that unpacks to far more, or defines entities."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            infos = packed.infolist()
            if len(infos) > _ENTRIES or sum(info.file_size for info in infos) > 10 * LARGEST:
                raise _wrong(file, "a mesh; this file unpacks to far more than one")
            for info in infos:
                if info.filename.lower().endswith((".model", ".xml", ".rels")):
                    # a reader stops at the size that the folder states, so the sum above bounds what is read
                    text = packed.read(info).replace(b"\0", b"")
                    if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
                        raise _wrong(file, "a 3MF file without definitions of its own in it")
    except BadInput:
        raise
    except Exception as error:  # whatever a broken packing makes the library raise: zlib, lzma, OSError, ...
        raise _wrong(file, "a 3MF file: this one cannot be unpacked") from error


def _refuse_scene(file: Path, raw: bytes) -> None:
    """Refuse a GLB that names files outside of it, or claims more numbers than it has."""
    try:
        magic, version, _total, length, kind = struct.unpack_from("<4sIII4s", raw)
        if magic != b"glTF" or version != 2 or kind != b"JSON" or length > _SCENE:
            raise ValueError(magic)
        scene: Any = json.loads(raw[20 : 20 + length].decode("utf-8"))
        outside = [str(b["uri"]) for b in scene.get("buffers", []) if "uri" in b]
        counts = [int(a["count"]) for a in scene.get("accessors", [])]
        needed = [str(name) for name in scene.get("extensionsRequired", []) if "compression" in str(name)]
    except (ValueError, TypeError, KeyError, AttributeError, struct.error, RecursionError) as error:
        raise _wrong(file, "a GLB file of glTF 2.0") from error
    if outside:
        raise _wrong(file, f"a GLB file with everything in it; this one names {shorten(outside[0])}")
    if needed:
        raise _wrong(file, f"a GLB file without compression; this one uses {shorten(needed[0])}")
    if min(counts, default=0) < 0 or sum(counts) * 4 > len(raw) + 1_000_000:
        raise _wrong(file, "a GLB file that holds the numbers that it speaks of")


def _refuse_count(file: Path, raw: bytes) -> None:
    """Refuse a binary STL file that is shorter than it says."""
    if raw.lstrip()[:5].lower() == b"solid" and b"facet" in raw[:2000].lower():
        return
    count = int.from_bytes(raw[80:84], "little") if len(raw) >= 84 else -1
    if count < 1 or len(raw) < 84 + 50 * count:
        says = f"it says {count} triangles and holds {(len(raw) - 84) // 50}" if count > 0 else "it has no triangles"
        raise _wrong(file, f"a whole STL file: {says}")


def _asked(file: Path, suffix: str, raw: bytes) -> Any:
    """Have a program of its own read a mesh."""
    one_thread = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    command = [sys.executable, "-m", "fieldworthy.robot.meshes", suffix]
    path = {"PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry)}
    try:
        with _one_at_a_time:
            done = subprocess.run(
                command, input=raw, capture_output=True, timeout=_SECONDS, check=False,
                env={**os.environ, **one_thread, **path},
            )  # fmt: skip
        return json.loads(done.stdout)
    except subprocess.TimeoutExpired as error:
        raise _wrong(
            file, f"a mesh that can be read within {_SECONDS:.0f} s: export it with fewer triangles"
        ) from error
    except (OSError, ValueError) as error:
        raise _wrong(file, "a mesh; what reads it gave up: it is broken, or far too large") from error


def _bodies(suffix: str, raw: bytes) -> dict[str, Any]:
    """Read a mesh; runs in the program of its own."""
    from trimesh import load_scene  # noqa: PLC0415  an extra, and only here

    scene = load_scene(io.BytesIO(raw), file_type=suffix[1:], resolver=None, skip_materials=True, process=False)
    places = sorted(scene.graph.nodes_geometry)
    if not places:
        return {"trouble": "a mesh with a surface: this one has none"}
    faces = sum(len(getattr(scene.geometry[scene.graph[place][1]], "faces", ())) for place in places)
    if len(places) > _BODIES or faces > _FACES:
        few = f"at most {_BODIES} bodies and {_FACES // 1_000_000} million triangles"
        return {"trouble": f"{few}: this one has {len(places)} and {faces}"}
    found = []
    for place in places:
        matrix, name = scene.graph[place]
        surface = scene.geometry[name]
        if len(getattr(surface, "faces", ())):
            found.append(_body(str(place if len(places) > 1 else name), surface, matrix))
    if not found:
        return {"trouble": "a mesh with a surface: this one has points or lines only"}
    return {"bodies": found, "unit": _unit_said(scene)}


def _unit_said(scene: Any) -> str:
    """The unit that a file states; millimetres where it does not."""
    short = {"millimeter": "mm", "centimeter": "cm", "meter": "m", "inch": "in", "foot": "ft", "micron": "um"}
    said = str(getattr(scene, "units", "") or "millimeter").lower()
    return next((unit for word, unit in short.items() if said.rstrip("s") == word), "mm")


def _body(name: str, surface: Any, matrix: Any) -> dict[str, Any]:
    """Measure one body where its file puts it."""
    import numpy as np  # noqa: PLC0415
    from trimesh import Trimesh, grouping, repair  # noqa: PLC0415

    fix_winding: Any = repair.fix_winding
    group_rows: Any = grouping.group_rows
    mesh = Trimesh(vertices=surface.vertices, faces=surface.faces, process=False)
    mesh.apply_transform(matrix)
    if not np.isfinite(mesh.vertices).all():
        raise ValueError("corners that are no numbers")
    mesh.merge_vertices(merge_tex=True, merge_norm=True)
    mesh.update_faces(mesh.nondegenerate_faces())
    if not mesh.is_winding_consistent:
        fix_winding(mesh)
    edges = np.sort(mesh.edges, axis=1)
    shared = 2 * len(group_rows(edges, require_count=2))
    open_edges = len(edges) - shared if mesh.is_winding_consistent else max(len(edges) - shared, 1)
    low, high = mesh.bounds
    return {
        "name": name, "volume": float(mesh.volume), "centre": [float(v) for v in mesh.center_mass],
        "low": [float(v) for v in low], "high": [float(v) for v in high],
        "open_edges": int(open_edges), "faces": len(mesh.faces),
    }  # fmt: skip


def _within_bounds() -> None:
    """Take no more memory and time than a mesh may; where the system cannot say so, the one who asked ends us."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource  # noqa: PLC0415  not on Windows

        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (int(_SECONDS) + 5, int(_SECONDS) + 5))


def _answer(suffix: str, raw: bytes) -> dict[str, Any]:
    """Tell the bodies of a mesh, or what is wrong with it."""
    try:
        said = _bodies(suffix, raw)
        numbers = [v for body in said.get("bodies", ()) for v in (body["volume"], *body["low"], *body["high"])]
        return said if all(math.isfinite(n) for n in numbers) else {"trouble": "a mesh whose corners are numbers"}
    except MemoryError:
        return {"trouble": "a mesh that fits into memory: export it with fewer triangles"}
    except Exception:  # whatever a broken file makes the library raise
        return {"trouble": f"a whole {suffix[1:].upper()} file: this one is broken"}


def _main() -> None:
    _within_bounds()
    out, sys.stdout = sys.stdout, sys.stderr  # a library that prints would spoil the answer
    out.write(json.dumps(_answer(sys.argv[1], sys.stdin.buffer.read())))


if __name__ == "__main__":
    _main()
