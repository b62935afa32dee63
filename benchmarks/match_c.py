"""Compiles the match loop in C and drives it by ctypes."""

from __future__ import annotations

import ctypes
import subprocess
from pathlib import Path

import numpy as np

from fieldworthy.match import Setup
from fieldworthy.match.state import REASONS

SOURCE = Path(__file__).with_name("match_loop.c")
_ARRAYS = (
    "step", "item", "action", "draw", "draws", "work", "worker", "way_tank", "key", "until", "period", "distance",
    "direction", "chance", "points", "stock", "drive", "lines", "loads", "lever", "motors", "above", "factor", "tanks",
    "ways", "time", "share",
)  # fmt: skip
_SIZES = (
    "steps", "items", "places", "actions", "tasks", "kinds", "levels", "poses", "nmotors", "deep", "ntanks", "nways",
    "nshares", "start",
)  # fmt: skip


class Match(ctypes.Structure):
    _fields_ = [(name, ctypes.c_void_p) for name in _ARRAYS] + [(name, ctypes.c_int64) for name in _SIZES]


class Loop:
    """The loop in C over one setup."""

    def __init__(self, setup: Setup, folder: Path) -> None:
        library = folder / "match_loop.so"
        flags = ["-O3", "-march=native", "-shared", "-fPIC"]
        subprocess.run(["gcc", *flags, "-o", str(library), str(SOURCE), "-lm"], check=True)
        self.play = ctypes.CDLL(str(library)).play_all
        self.setup = setup
        st, nu = setup.structure, setup.numbers
        # kept, so that the pointers stay good
        self.held = {name: np.ascontiguousarray(getattr(st if hasattr(st, name) else nu, name)) for name in _ARRAYS}
        sizes = (
            st.step.shape[0], st.item.shape[0], st.distance.shape[0], st.action.shape[0], st.points.shape[0],
            st.stock.shape[0], nu.lines.shape[1], nu.loads.shape[2], nu.motors.shape[1], nu.above.shape[2],
            nu.tanks.shape[1], nu.ways.shape[1], nu.share.shape[1], st.start,
        )  # fmt: skip
        assert max(sizes[3:6]) <= 16
        assert max(sizes[8], sizes[10]) <= 16
        self.match = Match(*(self.held[name].ctypes.data for name in _ARRAYS), *sizes)

    def __call__(self, runs: int, seed: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        st = self.setup.structure
        totals, pressure = np.zeros((runs, 4)), np.zeros((runs, len(self.setup.tanks)))
        finished = np.zeros((runs, st.step.shape[0]))
        ended = np.zeros((runs, len(self.setup.actions), len(REASONS)), dtype=np.int64)
        first, each = (0, 0) if self.setup.cases == 1 else (1, 1)
        self.play(
            ctypes.byref(self.match), ctypes.c_int64(runs), ctypes.c_int64(first), ctypes.c_int64(each),
            ctypes.c_uint64(seed), *(ctypes.c_void_p(a.ctypes.data) for a in (totals, pressure, finished, ended)),
        )  # fmt: skip
        return totals, pressure, finished, ended
