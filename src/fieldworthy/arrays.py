"""The number types of all rooms: an array over cases, and a scalar or such an array."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Array: TypeAlias = npt.NDArray[np.float64]
"""An array of SI numbers."""

Real: TypeAlias = float | Array
"""A scalar, or an array over cases; what takes one broadcasts over it."""
