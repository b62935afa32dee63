"""Shows numbers in the units that the robot file uses."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fieldworthy.engine.finding import Outcome, Real, Say, Verdict
from fieldworthy.files import Quantity
from fieldworthy.files.problems import KeyPath
from fieldworthy.units import KINDS, digits, show, to_unit


def first(value: Real) -> float:
    """Take the nominal case of a batch.

    Parameters
    ----------
    value : float or ndarray of shape (n,)
        Over cases [SI].

    Returns
    -------
    float
        The first case [SI].
    """
    array = np.asarray(value)
    return float(array) if array.ndim == 0 else float(array[0])


@dataclass(frozen=True, slots=True)
class Shown:
    """Which unit each kind of quantity is shown in.

    Attributes
    ----------
    units : dict
        Unit by kind.
    """

    units: dict[str, str]

    @classmethod
    def of(cls, entries: Iterable[tuple[KeyPath, Quantity]]) -> Shown:
        """Choose the units that a robot's file uses most.

        Parameters
        ----------
        entries : iterable of tuple
            Key path and quantity; those of the catalogue and the season do not count [-].

        Returns
        -------
        Shown
            Units by kind; what the file never uses follows its unit of length [-].
        """
        counts: dict[str, Counter[str]] = {}
        for path, quantity in entries:
            if path[0] not in ("catalogue", "season") and not quantity.assumed and quantity.unit != "1":
                counts.setdefault(quantity.kind, Counter())[quantity.unit] += 1
        chosen = {kind: c.most_common(1)[0][0] for kind, c in counts.items() if kind != "ratio"}
        inch = chosen.get("length", "mm") in ("in", "inch", '"', "ft")
        rest = {name: (kind.inch if inch else kind.metric) for name, kind in KINDS.items()}
        return cls(rest | chosen)

    def number(self, si: Real, kind: str) -> str:
        """Write the nominal case of a number.

        Parameters
        ----------
        si : float or ndarray
            Over cases [SI].
        kind : str
            Kind of quantity; ``share`` is a ratio in percent, ``count`` a bare number [-].

        Returns
        -------
        str
            With its unit [-].
        """
        value = first(si)
        if kind == "share":
            return f"{digits(100 * value, 2 if value < 0.995 else 3)}%"
        if kind == "count":
            return digits(value)
        return show(value, kind, self.units[kind])

    def plain(self, si: float, kind: str) -> float | None:
        """Convert a number for a table or a file.

        Parameters
        ----------
        si : float
            The value [SI].
        kind : str
            Kind of quantity [-].

        Returns
        -------
        float or None
            In the shown unit; None where it is infinite [-].
        """
        return to_unit(si, kind, self.units[kind]) if math.isfinite(si) else None

    def sentence(self, outcome: Outcome, verdict: Verdict | None) -> str:
        """Fill a sentence with the nominal numbers.

        Parameters
        ----------
        outcome : Outcome
            Its `because` is filled [-].
        verdict : str or None
            Chooses the wording [-].

        Returns
        -------
        str
            One sentence [-].
        """
        say: Say = outcome.because
        text = say.short if verdict == "short" and say.short else say.holds
        shown = {name: self.number(*number) for name, number in say.numbers.items()}
        return text.format_map({**say.words, **shown})
