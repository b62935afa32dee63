"""The one number type of this room: a scalar, or an array over cases."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Array: TypeAlias = npt.NDArray[np.float64]
"""An array of SI numbers."""

Real: TypeAlias = float | Array
"""A scalar, or an array over cases; every function of the room broadcasts over it."""
