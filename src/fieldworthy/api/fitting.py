"""What was measured on the real robot, fitted and held against its file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from fieldworthy.api.report import block, frame_of, table
from fieldworthy.api.robot import Robot
from fieldworthy.engine.finding import as_data
from fieldworthy.measure import Comparison, Measured, Procedure, load_measurements
from fieldworthy.measure.fit import FitReport, Touched, Ways, changes, laid_in
from fieldworthy.measure.fit import fit as fitted

Progress = Callable[[float], None]
_COLUMNS = ("key", "kind", "value", "half_width", "file_value", "file_tolerance", "file_basis", "standing", "sentence")


@dataclass(frozen=True)
class Fit:
    """Values with intervals that readings of the real robot give; `fit` makes it.

    Parameters
    ----------
    data : fieldworthy.measure.fit.FitReport
        What was fitted.
    measured : fieldworthy.measure.Measured
        The readings, and the robot that they were taken on.

    Examples
    --------
    >>> import fieldworthy as fw
    >>> found = fw.fit(fw.load("mk1.yaml"), "mk1_measurements.yaml", samples=0)
    >>> {item.standing for item in found.unlikely}
    {'unlikely'}
    """

    data: FitReport
    measured: Measured

    @property
    def procedures(self) -> tuple[Procedure, ...]:
        """What each procedure of the measurements file gave [SI]."""
        return self.data.procedures

    @property
    def comparisons(self) -> tuple[Comparison, ...]:
        """Every key of the robot file that was measured, beside what the file says [SI]."""
        return self.data.comparisons

    @property
    def unlikely(self) -> tuple[Comparison, ...]:
        """The comparisons in which the file's value lies outside of what both intervals allow."""
        return tuple(item for item in self.comparisons if item.standing == "unlikely")

    @property
    def touched(self) -> tuple[Touched, ...]:
        """Findings and facts that the measured values change, changed verdicts first."""
        return self.data.touched

    @cached_property
    def robot(self) -> Robot:
        """The robot with the measured values laid in; no file is written."""
        return Robot(laid_in(self.measured, changes(self.measured, self.procedures)))

    def to_frame(self) -> Any:
        """Put the comparisons into a data frame, one row a measured key.

        Returns
        -------
        pandas.DataFrame or polars.DataFrame
            Columns key, kind, value, half_width, file_value, file_tolerance [SI], file_basis, standing and sentence.

        Raises
        ------
        ImportError
            If neither pandas nor polars is installed; the text says what to install.
        """
        return frame_of({name: [getattr(item, name) for item in self.comparisons] for name in _COLUMNS})

    def to_dict(self) -> dict[str, Any]:
        """Give everything as plain data, as the command ``fit`` writes it with ``--json``.

        Returns
        -------
        dict
            Follows the schema of that output, which ``fieldworthy schema fit`` prints.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> "comparisons" in fw.fit(fw.load("mk1.yaml"), "mk1_measurements.yaml", samples=0).to_dict()
        True
        """
        return as_data(self.data)

    def __str__(self) -> str:
        told = (item.sentence for item in (*self.unlikely, *(c for c in self.comparisons if c not in self.unlikely)))
        return "\n".join([f"{self.data.robot}, measured: {self._counts()}", *told])

    def __repr__(self) -> str:
        return f"<Fit of {self.data.robot}: {self._counts()}>"

    def _counts(self) -> str:
        return f"{len(self.comparisons)} values measured, {len(self.unlikely)} of them unlike the file"

    def _repr_html_(self) -> str:
        rows = [(item.standing, item.sentence, item.key) for item in self.comparisons]
        refused = [f"The measured values cannot be laid into the robot file: {why}" for why in self.data.refused]
        head = f"{self.data.robot}, measured"
        return block(head, [self._counts(), *refused], table(("Standing", "What was measured", "Key"), rows))


def fit(
    robot: Robot, measurements: str | Path, samples: int = 1000, seed: int = 0, progress: Progress | None = None, *,
    readings_alone: bool = False,
) -> Fit:  # fmt: skip
    """Fit readings of the real robot: values with intervals, where the file is unlikely, and what that changes.

    Parameters
    ----------
    robot : Robot
        The robot that was measured.
    measurements : str or Path
        The measurements file (YAML), which names the robot's file.
    samples : int
        Robots within the tolerances over which chances are counted.
    seed : int
        Fixes the draws.
    progress : callable, optional
        Told the share of the work that is done, from 0 to 1.
    readings_alone : bool
        Whether to leave out what the robot file believes; else it counts within its tolerances, where the readings
        do not contradict it.

    Returns
    -------
    Fit
        Measured values beside those of the file, and the robot with them laid in.

    Raises
    ------
    BadFile
        If the measurements cannot be used, or were taken on another robot.

    Examples
    --------
    >>> import fieldworthy as fw
    >>> found = fw.fit(fw.load("mk1.yaml"), "mk1_measurements.yaml", samples=0)
    >>> len(found.comparisons) > 5, found.robot.name
    (True, 'Heron mk1')
    """
    measured = load_measurements(measurements, robot.loaded, alone=readings_alone)
    return Fit(fitted(measured, samples, seed, Ways(progress)), measured)
