"""Counter-based random numbers: the same seed, run, stream and count give the same numbers on any core.

Compiled; imported by the compiled loop alone.
"""

from __future__ import annotations

import math

import numpy as np

from fieldworthy.match.compiling import bare

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
