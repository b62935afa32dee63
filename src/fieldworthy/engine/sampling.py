"""Draws the cases of a batch: the nominal one, one nudge of each quantity, and samples of the tolerances.

The draws of a quantity depend on the seed and on its key path alone, so two variants that share a key share its
draws (common random numbers), and a longer run repeats the shorter one.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.files import Quantity
from fieldworthy.files.problems import KeyPath, dotted

BLOCK = 8192
"""Samples are drawn in blocks of this size, so that memory stays flat however many are asked for."""
ROOM = 10_000_000
"""Numbers that a batch may hold, all quantities over all cases: what is computed from them takes some times as much."""
_FEWEST = 100  # cases of a batch, however many quantities there are
_WIDEST = 3.0  # standard deviations; no tape or scale is off by more without someone noticing
_PER_95 = 1.959963984540054  # standard normal quantile at 97.5 %
# glibc hands a large array back to the system when it is freed and asks for the next one anew, page by page, which took
# a tenth of the time of a batch; once it has freed a block of nearly 32 MB, it keeps those up to that size
np.empty(31 * 2**20, dtype=np.uint8)


@lru_cache(maxsize=1024)
def standard_draws(seed: int, key: str, block: int, size: int) -> Array:
    """Draw standard normal numbers for one key path."""
    digest = hashlib.blake2b(f"{seed}/{block}/{key}".encode(), digest_size=16).digest()
    source = np.random.Generator(np.random.Philox(key=int.from_bytes(digest, "little")))
    drawn = np.clip(source.standard_normal(size), -_WIDEST, _WIDEST)
    drawn.flags.writeable = False
    return drawn


def sampled(quantity: Quantity, key: str, seed: int, block: int, size: int) -> Array:
    """Sample one quantity within its tolerance."""
    drawn = quantity.si + quantity.tolerance / _PER_95 * standard_draws(seed, key, block, size)
    if math.isfinite(quantity.low) or math.isfinite(quantity.high):
        # a hair inside, so that 'more than 0' stays more than 0
        inside = 1e-3 * abs(quantity.si)
        low = min(quantity.si, quantity.low + inside)
        high = max(quantity.si, quantity.high - inside if quantity.si < quantity.high else quantity.high)
        return np.clip(drawn, low, high)
    return drawn


_NUDGE = 1e-3
_SMALLEST: dict[str, float] = {
    "length": 1e-5,
    "angle": 1e-4,
    "temperature": 0.01,
    "mass": 1e-5,
    "pressure": 10.0,
}


def nudge(quantity: Quantity) -> float:
    """Choose how far to move a quantity to see what depends on it."""
    step = max(_NUDGE * max(abs(quantity.si), quantity.tolerance), _SMALLEST.get(quantity.kind, 1e-9))
    if quantity.kind == "temperature":
        step = _SMALLEST["temperature"]
    return step if quantity.si + step <= quantity.high else -step


@dataclass(slots=True, eq=False)
class Cases:
    """The cases of one batch: nominal, then a nudge of each quantity, then samples.

    Attributes
    ----------
    seed, block, samples : Which samples; `samples` may be 0
    nudged : Key paths to nudge, one case each, in this order
    begin, whole : Where in the block the samples begin, and how many the block has in all; 0 where these are all
    """

    seed: int
    block: int
    samples: int
    nudged: Sequence[KeyPath]
    begin: int = 0
    whole: int = 0
    _row: dict[KeyPath, int] = field(init=False)

    def __post_init__(self) -> None:
        self._row = {path: i + 1 for i, path in enumerate(self.nudged)}

    @property
    def size(self) -> int:
        """Cases in the batch."""
        return 1 + len(self.nudged) + self.samples

    @property
    def sampled(self) -> slice:
        """Where the samples stand."""
        return slice(1 + len(self.nudged), self.size)

    def draw(self, path: KeyPath, quantity: Quantity) -> float | Array:
        """Give the number or array of one quantity over the batch."""
        row = self._row.get(path)
        if row is None and not (self.samples > 0 and quantity.tolerance > 0):
            # another batch nudges it: an array here too, for what the checks line up with it has its cases
            return np.broadcast_to(quantity.si, (self.size,)) if self.nudged and self.whole else quantity.si
        make = _remembered if self.block == 0 and not self.whole else _drawn
        return make(dotted(path), quantity, row, self)

    def __hash__(self) -> int:
        return hash((self.seed, self.block, self.samples, len(self.nudged), self.begin, self.whole))

    def __eq__(self, other: object) -> bool:
        """Equal where the same draws stand in the same rows."""
        return isinstance(other, Cases) and hash(self) == hash(other)


def batches(seed: int, samples: int, nudged: Sequence[KeyPath], quantities: int) -> Iterator[Cases]:
    """Part nudges and samples into batches that fit into the room; what is drawn does not depend on how."""
    first = min(samples, BLOCK)
    if (1 + len(nudged) + first) * quantities <= ROOM:
        yield Cases(seed, 0, first, nudged)
        blocks = range(1, math.ceil(samples / BLOCK))
    else:
        rows = most_cases(quantities)
        for start in range(0, max(len(nudged), 1), rows):
            yield Cases(seed, 0, 0, nudged[start : start + rows], whole=first)
        blocks = range(math.ceil(samples / BLOCK))
    for block in blocks:
        size = min(BLOCK, samples - block * BLOCK)
        rows = min(size, most_cases(quantities))
        for begin in range(0, size, rows):
            yield Cases(seed, block, min(rows, size - begin), [], begin, size)


def most_cases(quantities: int) -> int:
    """Tell how many cases a batch may have, so that a robot of thousands of parts does not fill the memory."""
    return max(ROOM // max(quantities, 1), _FEWEST)


def _drawn(key: str, quantity: Quantity, row: int | None, cases: Cases) -> Array:
    drawn = np.full(cases.size, quantity.si)
    if row is not None:
        drawn[row] += nudge(quantity)
    if cases.samples > 0 and quantity.tolerance > 0:
        some = slice(cases.begin, cases.begin + cases.samples)
        drawn[cases.sampled] = sampled(quantity, key, cases.seed, cases.block, cases.whole or cases.samples)[some]
    drawn.flags.writeable = False
    return drawn


_remembered = lru_cache(maxsize=8192)(_drawn)
"""The first block's draws are kept: a page that edits one number redraws that number alone."""
