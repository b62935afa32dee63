"""The worst of several poses, chosen anew in every case of a batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.vehicle.body import stacked


@dataclass(frozen=True, slots=True)
class Worst:
    """Which of several rows is the worst, case by case.

    Attributes
    ----------
    row : By case
    """

    row: npt.NDArray[np.intp]

    @classmethod
    def of(cls, scores: Sequence[Real]) -> Worst:
        """Take the row with the lowest score."""
        return cls(np.asarray(np.argmin(stacked(scores), axis=0)))

    @property
    def nominal(self) -> int:
        """The row of the nominal case."""
        return int(self.row.flat[0])

    def take(self, values: Sequence[Real]) -> Array:
        """Take each case's value out of its own row."""
        wide = stacked(values)
        shape = np.broadcast_shapes(wide.shape[1:], self.row.shape)
        wide = np.broadcast_to(wide.reshape(len(wide), *(wide.shape[1:] or (1,) * len(shape))), (len(wide), *shape))
        return np.asarray(np.take_along_axis(wide, np.broadcast_to(self.row, shape)[None], axis=0)[0])
