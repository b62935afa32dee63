"""A sorter's constants: its sensor's times, the hues of each class, and when to eject."""

from __future__ import annotations

import re
from collections.abc import Iterator

from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Constant, Constants, Context, Found, Quantities, Stated
from fieldworthy.systems.sorter.check import check
from fieldworthy.systems.sorter.model import Sorter

_SECTOR = re.compile(r"(from|to)(\d+)_(\d+)")


def computed(context: Context, _quantities: Quantities) -> Iterator[Constant]:
    """Hues between which a reading counts as one class."""
    sorters = {n: spec for n, spec in context.robot.mechanisms.items() if isinstance(spec, Sorter)}
    outcomes = {o.id: o for o in check(context)} if sorters else {}
    for name, spec in sorters.items():
        labels, vote = list(spec.classes), outcomes.get(f"sort.vote.{name}")
        for number, (value, kind) in vote.because.numbers.items() if vote is not None else ():
            match = _SECTOR.fullmatch(number)
            if match:
                label, again = labels[int(match[2])], int(match[3])  # a class may speak for several arcs
                end = f"hue {match[1]}" if again == 0 else f"hue {match[1]} {again + 1}"
                about = f"hue {match[1]} which a reading counts as '{label}', going up and round the circle"
                yield Constant((name, label, end), first(value), kind, about, f"sort.vote.{name}")


CONSTANTS = Constants(
    (
        Stated("mechanisms.*.sensor.period", "{0}/sensor period", "time between two readings of the sensor of '{0}'"),
        Stated("mechanisms.*.sensor.latency", "{0}/sensor latency",
               "age of a reading of '{0}' when the program gets it"),
    ),
    (
        Found("sort.vote.*", "used", "{0}/readings", "readings of one piece that it decides on", counted=True),
        Found("sort.eject.*", "decided", "{0}/decision time", "after a piece reaches the sensor it has decided"),
        Found("sort.eject.*", "actuator", "{0}/ejector time", "what the ejector takes"),
        Found("sort.eject.*", "aim", "{0}/eject aim", "after the sensor, when the ejector should be in place"),
        Found("sort.best_background.*", "value", "{0}/background hue best", "hue of the background that reads best"),
    ),
    computed,
)  # fmt: skip
