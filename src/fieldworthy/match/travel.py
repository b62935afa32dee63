"""Ways and turns inside the compiled loop, its random numbers, and how it is compiled.

Compiled; imported by the compiled loop alone.

Force, acceleration, voltage and current are the functions of `fieldworthy.physics` themselves, compiled; between the
corners of the force curve they are integrated over speed by Gauss's rule, so that no time step enters.
"""

from __future__ import annotations

import getpass
import inspect
import math
import os
import sys
import tempfile
import zlib
from collections.abc import Callable, Iterable
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar, cast

import numpy as np
from numba import config, njit

from fieldworthy.arrays import Array
from fieldworthy.match.state import (
    BRAKING,
    COUNT,
    EFFICIENCY,
    F_LIMIT,
    F_STALL,
    GEARING,
    GRIP,
    I_FREE,
    KE,
    KT,
    MASS,
    P_LIMIT,
    R_BATTERY,
    RESISTANCE,
    RESISTING,
    ROTATING,
    SLOPE,
    V_OPEN,
)
from fieldworthy.physics.motors import motion, motor

F = TypeVar("F", bound=Callable[..., Any])
_OPTIONS: dict[str, Any] = {"error_model": "numpy", "fastmath": {"contract", "nnan", "nsz"}}
_BARE = _OPTIONS | {"_nrt": False}


def compiled(function: F) -> F:
    """Compile a function: divisions as numpy's, products and sums fused; no NaN is looked for."""
    return cast(F, njit(**_OPTIONS)(function))


def bare(function: F) -> F:
    """Compile a function that makes no array: nothing counts references then, which took a third of the time."""
    return cast(F, njit(**_BARE)(function))


def kept(function: F) -> F:
    """Compile the outermost loop, of which threads each run a part, and keep it for the next time."""
    options = _OPTIONS | {"nogil": True, "cache": True}
    try:
        return cast(F, njit(**options)(function))
    except RuntimeError:  # neither beside the sources nor in the person's own cache can anything be written
        folder = _spare_folder()
        if folder is None:
            return cast(F, njit(**options | {"cache": False})(function))
        vars(config)["CACHE_DIR"] = str(folder)
        return cast(F, njit(**options)(function))


def _spare_folder() -> Path | None:
    """Make a folder among the temporary ones that is this person's alone; say so once, when it is made."""
    # by number where the system has one: who runs in a container often has no name
    owner = str(os.getuid()) if os.name == "posix" else getpass.getuser()
    folder = Path(tempfile.gettempdir()) / f"fieldworthy-{owner}"
    try:
        folder.mkdir(mode=0o700)
    except FileExistsError:
        # what is read from there is run: it must be this person's
        mine = os.name != "posix" or folder.stat().st_uid == os.getuid()
        return folder if folder.is_dir() and not folder.is_symlink() and mine else None
    except OSError:
        sys.stderr.write("No folder can be written to keep the compiled match in, so it is compiled each time.\n")
        return None
    sys.stderr.write(f"The compiled match is kept in {folder}, since no usual folder for it can be written.\n")
    return folder


def fingerprint(modules: Iterable[ModuleType]) -> int:
    """Sum up the sources that are compiled in: what was compiled from others is not used again."""
    return zlib.crc32("".join(inspect.getsource(module) for module in modules).encode())


_M0, _M1 = np.uint64(0xD2E7470EE14C6C93), np.uint64(0xCA5A826395121157)
_W0, _W1 = np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBB67AE8584CAA73B)
_LOW, _HALF = np.uint64(0xFFFFFFFF), np.uint64(32)
# 52 bits and a half fill a double's mantissa exactly, so neither 0 nor 1 comes up
_DROP, _SCALE = np.uint64(12), 1.0 / 4503599627370496.0
_ROUNDS = 10


@bare
def _high(a: np.uint64, b: np.uint64) -> np.uint64:
    """Upper half of the product of two 64-bit numbers."""
    a0, a1, b0, b1 = a & _LOW, a >> _HALF, b & _LOW, b >> _HALF
    middle = a1 * b0 + ((a0 * b0) >> _HALF)
    other = a0 * b1 + (middle & _LOW)
    return a1 * b1 + (middle >> _HALF) + (other >> _HALF)


@bare
def philox(
    counter: tuple[np.uint64, np.uint64, np.uint64, np.uint64], seed: np.uint64
) -> tuple[np.uint64, np.uint64, np.uint64, np.uint64]:
    """Scramble a counter into four random words.

    Notes
    -----
    Philox 4x64 with ten rounds.
    """
    x0, x1, x2, x3 = counter
    k0, k1 = seed, np.uint64(0)
    for _ in range(_ROUNDS):
        h0, h1 = _high(_M0, x0), _high(_M1, x2)
        x0, x1, x2, x3 = h1 ^ x1 ^ k0, _M1 * x2, h0 ^ x3 ^ k1, _M0 * x0
        k0, k1 = k0 + _W0, k1 + _W1
    return x0, x1, x2, x3


@bare
def uniform(word: np.uint64) -> float:
    """Turn a random word into a uniform number."""
    return (np.float64(word >> _DROP) + 0.5) * _SCALE


@bare
def normal(one: np.uint64, two: np.uint64) -> float:
    """Turn two random words into a standard normal number."""
    return math.sqrt(-2.0 * math.log(uniform(one))) * math.cos(2.0 * math.pi * uniform(two))


@bare
def gamma(shape: float, seed: np.uint64, run: np.uint64, stream: np.uint64, which: np.uint64) -> float:
    """Draw from a gamma distribution of scale 1."""
    d = shape - 1.0 / 3.0
    c = 1.0 / math.sqrt(9.0 * d)
    for count in range(1000):
        a, b, u, _ = philox((run, stream, np.uint64(count), which), seed)
        x = normal(a, b)
        v = 1.0 + c * x
        if v > 0.0:
            v = v * v * v
            if math.log(uniform(u)) < 0.5 * x * x + d * (1.0 - v + math.log(v)):
                return d * v
    return d


@bare
def beta(a: float, b: float, seed: np.uint64, run: np.uint64, stream: np.uint64) -> float:
    """Draw a success chance from a Beta distribution."""
    x = gamma(a, seed, run, stream, np.uint64(1))
    return x / (x + gamma(b, seed, run, stream, np.uint64(2)))


@bare
def lognormal(mean: float, sd: float, z: float) -> float:
    """Turn a standard normal number into a time."""
    if sd <= 0.0 or mean <= 0.0:
        return mean
    variance = math.log1p((sd / mean) * (sd / mean))
    return mean * math.exp(math.sqrt(variance) * z - 0.5 * variance)


drive_force: Any = bare(motion.drive_force)
acceleration: Any = bare(motion.acceleration)
torque_current: Any = bare(motor.torque_current)
terminal_voltage: Any = bare(motor.terminal_voltage)

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)
_SHARES, _PARTS = 0.5 + 0.5 * _NODES, 0.5 * _WEIGHTS
_NEAR_TOP = 18.0  # a run-up is called done at exp(-18) below top speed
_STEPS = 30
_CLOSE = 1e-11
PIECES = 4
PHASES = PIECES + 2
"""Four pieces of the run-up, the cruise, the stop."""


@bare
def speed_up(line: Array, load: Array, v: float) -> float:
    """Give the acceleration at full command."""
    force = drive_force(v, line[F_STALL], line[SLOPE], line[F_LIMIT], line[P_LIMIT])
    return float(acceleration(force, load[RESISTING], load[MASS], load[ROTATING], load[GRIP]))


@bare
def _corners(line: Array, load: Array) -> tuple[float, tuple[float, float, float, float]]:
    """Top speed, 0 where it is stuck, and the speeds at which one piece of the force curve gives way to the next."""
    stall, slope, power, resisting = line[F_STALL], line[SLOPE], line[P_LIMIT], load[RESISTING]
    held = min(line[F_LIMIT], load[GRIP] * (load[MASS] + load[ROTATING]) + resisting, stall)
    if not (held > resisting and power > 0.0):
        return 0.0, (0.0, 0.0, 0.0, 0.0)
    top = min((stall - resisting) / slope, min(power, 1e200) / max(resisting, 1e-100))
    most = top * -math.expm1(-_NEAR_TOP)
    root = math.sqrt(max(stall * stall - 4.0 * slope * power, 0.0))
    first = min(max(min((stall - held) / slope, power / held), 0.0), most)
    low = 2.0 * power / (stall + root) if root > 0.0 else 0.5 * stall / slope
    second = min(max(low, first), most)
    third = min(max((stall + root) / (2.0 * slope), second), most)
    return top, (first, second, third, most)


@bare
def _grid(low: float, high: float, top: float) -> tuple[float, float, float]:
    """Places of a Gauss rule that stay alike up to top speed: offset, start and width in the stretched speed."""
    c = 0.0 if low > 1e-3 * high else top
    start = math.log((low + c) / (top - low))
    return c, start, math.log((high + c) / (top - high)) - start


@bare
def _way(line: Array, load: Array, low: float, high: float, top: float) -> float:
    """Distance of the run-up between two speeds of one piece."""
    c, start, wide = _grid(low, high, top)
    way = 0.0
    for k in range(_SHARES.size):
        e = math.exp(start + _SHARES[k] * wide)
        v = max((top * e - c) / (1.0 + e), 0.0)
        way += _PARTS[k] * v * (v + c) * (top - v) / ((top + c) * speed_up(line, load, v))
    return way * wide


@bare
def _currents(force: float, v: float, drive: Array, motor_row: Array) -> tuple[float, float]:
    """Winding current of each motor and current from the battery, at a rim force and speed."""
    shaft = drive[GEARING] * v
    torque = force / (motor_row[COUNT] * drive[GEARING] * drive[EFFICIENCY])
    current = torque_current(torque, motor_row[KT], motor_row[I_FREE])
    source = motor_row[COUNT] * drive[R_BATTERY]
    voltage = terminal_voltage(shaft, drive[V_OPEN], source, motor_row[KE], motor_row[RESISTANCE], current)
    power = current * (current * motor_row[RESISTANCE] + motor_row[KE] * shaft)
    return current, motor_row[COUNT] * power / voltage


@bare
def _run_up(line: Array, load: Array, span: tuple[float, float, float], drive: Array, motor_row: Array,
            phase: Array) -> None:  # fmt: skip
    """Write time, squared current and charge of one piece of the run-up."""
    low, high, top = span
    c, start, wide = _grid(low, high, top)
    effective = load[MASS] + load[ROTATING]
    for k in range(_SHARES.size):
        e = math.exp(start + _SHARES[k] * wide)
        v = max((top * e - c) / (1.0 + e), 0.0)
        a = speed_up(line, load, v)
        time = _PARTS[k] * (v + c) * (top - v) / ((top + c) * a) * wide
        current, drawn = _currents(a * effective + load[RESISTING], v, drive, motor_row)
        phase[0] += time
        phase[1] += time * current * current
        phase[2] += time * drawn


@bare
def _level_start(line: Array, load: Array, high: float, drive: Array, motor_row: Array, phase: Array) -> None:
    """Write time, squared current and charge of the first piece, where the acceleration is constant."""
    a = speed_up(line, load, 0.0)
    force = a * (load[MASS] + load[ROTATING]) + load[RESISTING]
    time = high / a
    for k in range(_SHARES.size):
        current, drawn = _currents(force, _SHARES[k] * high, drive, motor_row)
        phase[1] += _PARTS[k] * time * current * current
        phase[2] += _PARTS[k] * time * drawn
    phase[0] = time


@bare
def _peak(line: Array, load: Array, edges: tuple[float, ...], top: float, distance: float) -> tuple[float, float]:
    """Speed at which braking starts, and the way left over at top speed."""
    half_stop = 0.5 / load[BRAKING]
    # on the first piece the acceleration is constant
    low, inverse = edges[0], 1.0 / speed_up(line, load, 0.0)
    done = 0.5 * inverse * low * low
    if done + half_stop * low * low >= distance:
        return math.sqrt(2.0 * distance / (inverse + 2.0 * half_stop)), 0.0
    for piece in range(1, PIECES):
        high = edges[piece]
        if high <= low:
            continue
        way = _way(line, load, low, high, top)
        if done + way + half_stop * high * high >= distance:
            return _search(line, load, (low, high, top), done, distance), 0.0
        low, done = high, done + way
    return low, max(distance - done - half_stop * low * low, 0.0)


@bare
def _search(line: Array, load: Array, span: tuple[float, float, float], done: float, distance: float) -> float:
    """Newton's rule, kept in a bracket, for ``x_up(v) + v**2 / (2 d) = distance`` within one piece.

    The unknown is ``s = -ln(1 - v / top)``: distance grows like its square at first and like s in the end.
    """
    low, high, top = span
    half_stop = 0.5 / load[BRAKING]
    left, right = -math.log1p(-low / top), -math.log1p(-high / top)
    # as if the acceleration stayed what it is in the middle of the piece
    inverse = 1.0 / speed_up(line, load, 0.5 * (low + high))
    v = math.sqrt(max((2.0 * (distance - done) + inverse * low * low) / (inverse + 2.0 * half_stop), 0.0))
    s = -math.log1p(-v / top) if low < v < high else 0.5 * (left + right)
    for _ in range(_STEPS):
        v = top * -math.expm1(-s)
        way = _way(line, load, low, v, top) if v > low else 0.0
        error = done + way + half_stop * v * v - distance
        if abs(error) < _CLOSE * distance:
            break
        if error < 0.0:
            left = s
        else:
            right = s
        slope = v * (1.0 / speed_up(line, load, v) + 2.0 * half_stop) * (top - v)
        s = s - error / slope if slope > 0.0 else right
        if not left < s < right:
            s = 0.5 * (left + right)
    return top * -math.expm1(-s)


@bare
def phases_of(line: Array, load: Array, distance: float, drive: Array, motor_row: Array, phases: Array) -> float:
    """Play one way from rest to rest.

    Notes
    -----
    As `fieldworthy.physics.motors.motion.move` and `driving.move_draw`, of which tests hold it within 5e-5. Braking
    heats the windings and feeds nothing back.
    """
    for k in range(PHASES):
        phases[k, 0] = phases[k, 1] = phases[k, 2] = 0.0
    if distance <= 0.0:
        return 0.0
    top, edges = _corners(line, load)
    if top <= 0.0:
        return math.inf
    peak, cruise = _peak(line, load, edges, top, distance)
    low = min(edges[0], peak)
    if low > 0.0:
        _level_start(line, load, low, drive, motor_row, phases[0])
    for piece in range(1, PIECES):
        high = min(edges[piece], peak)
        if high > low:
            _run_up(line, load, (low, high, top), drive, motor_row, phases[piece])
            low = high
    effective = load[MASS] + load[ROTATING]
    if cruise > 0.0:
        force = speed_up(line, load, peak) * effective + load[RESISTING]
        current, drawn = _currents(force, peak, drive, motor_row)
        time = cruise / top
        phases[PIECES] = time, time * current * current, time * drawn
    stop = peak / load[BRAKING]
    force = max(load[BRAKING] * effective - load[RESISTING], 0.0)
    torque = force * drive[EFFICIENCY] / (motor_row[COUNT] * drive[GEARING])
    current = max(torque / motor_row[KT] - motor_row[I_FREE], 0.0)
    phases[PIECES + 1] = stop, stop * current * current, 0.0
    total = 0.0
    for k in range(PHASES):
        total += phases[k, 0]
    return total


@bare
def least_turn(before: float, after: float) -> float:
    """Find the turn between two ways when a robot may also drive the second one backwards."""
    angle = abs((after - before + math.pi) % (2.0 * math.pi) - math.pi)
    return min(angle, math.pi - angle)
