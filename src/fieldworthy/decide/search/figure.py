"""Pictures of a search: what was tried as points and as lines over everything that varies, and how it went on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.search.propose import Known
from fieldworthy.decide.search.result import Amount, Design
from fieldworthy.decide.search.space import Variable
from fieldworthy.decide.search.wanted import Asked
from fieldworthy.drawing.axes import Chart, chart
from fieldworthy.drawing.frame import Axis, Line, Mark, Points, Spot
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure
from fieldworthy.match.state import Whole
from fieldworthy.units import counted, digits, to_unit

_MOST_AXES = 8
_MOST_LINES = 48


@dataclass(frozen=True, slots=True)
class Column:
    """One thing that candidates differ in.

    Attributes
    ----------
    name, unit : As people know it
    wanted : Whether it is an objective, not a thing that varies
    ends : What its ends are, in words
    short : A name for where there is little room
    """

    name: str
    unit: str
    wanted: bool
    ends: tuple[str, str]
    short: str = ""

    @property
    def label(self) -> str:
        """The name with the unit."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


@dataclass(frozen=True, slots=True, eq=False)
class Cloud:
    """Candidates that were tried, as people read them.

    Attributes
    ----------
    columns : What they differ in: what is wanted first, then what varies
    values : In the units of the columns, the best candidate first, shape (n, columns)
    holds : Which hold what they must
    now : The present robot; not a number where it was not tried
    """

    columns: tuple[Column, ...]
    values: Array
    holds: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    now: Array

    def places(self) -> Array:
        """Where each stands between the ends of its columns, 0 to 1."""
        low, high = np.nanmin(self.values, axis=0), np.nanmax(self.values, axis=0)
        return np.asarray((self.values - low) / np.where(high > low, high - low, 1.0))

    def kept(self, least: Sequence[float]) -> Whole:
        """Candidates that reach so much of each thing that is wanted, as a share from its least to its best."""
        places = self.places()
        wanted = [i for i, column in enumerate(self.columns) if column.wanted]
        good = self.holds.copy()
        for column, share in zip(wanted, least, strict=False):
            good &= places[:, column] >= share - 1e-9
        return np.flatnonzero(good)


def cloud(asked: Asked, known: Known, names: Sequence[str]) -> Cloud:
    """Read tried candidates as people do; what varies is named as given."""
    played = np.isfinite(known.worth).all(axis=1)
    rows, worth = known.rows[played], known.worth[played]
    holds = np.asarray((known.rooms[played] >= 0).all(axis=1))
    better = np.array([o.better for o in asked.objectives])
    values = np.hstack([worth * better, *(_shown(v, rows[:, i])[:, None] for i, v in enumerate(asked.space.variables))])
    columns = [Column(o.name, o.unit, True, ("", "")) for o in asked.objectives]
    for variable, name in zip(asked.space.variables, names, strict=True):
        unit = "" if variable.quantity is None else variable.quantity.unit.replace("1", "")
        ends = (variable.text(float(variable.grid[0])), variable.text(float(variable.grid[-1])))
        columns.append(Column(name, unit, False, ends, _short(variable.key)))
    same = (rows == asked.space.now).all(axis=1)
    now = values[same][0] if same.any() else np.full(values.shape[1], np.nan)
    return Cloud(tuple(columns), values, holds, now)


def _shown(variable: Variable, values: Array) -> Array:
    if variable.quantity is None:
        return values
    kind, unit = variable.quantity.kind, variable.quantity.unit
    return np.array([to_unit(float(value), kind, unit) for value in values])


def scatter(data: Cloud, of: tuple[int, int], least: Sequence[float], style: Style) -> Figure:
    """Draw two things that candidates differ in against each other."""
    x, y = (data.columns[i] for i in of)
    chosen = data.kept(least)
    others = np.setdiff1d(np.flatnonzero(data.holds), chosen)
    across, up = data.values[:, of[0]], data.values[:, of[1]]
    marks: list[Mark] = []
    if others.size:
        marks.append(Points(x=across[others], y=up[others], name="left out", tone="quiet", size=3.0))
    if chosen.size:
        marks.append(Points(x=across[chosen], y=up[chosen], name="hold what they must", tone=0, size=5.0))
        best = int(chosen[0])
        marks.append(Spot(x=float(across[best]), y=float(up[best]), name="best so far", tone="ink", shape="diamond"))
    if np.isfinite(data.now).all():
        marks.append(Spot(x=float(data.now[of[0]]), y=float(data.now[of[1]]), name="now", tone="ink", shape="ring"))
    title = f"{y.name} against {x.name}"
    alt = (
        f"{counted(int(chosen.size), 'candidate that holds', 'candidates that hold')} what they must, "
        f"{others.size} others left out."
    )
    return chart(Chart(title=title, alt=alt, x=Axis(x.label), y=Axis(y.label), marks=marks), style)


def coordinates(data: Cloud, least: Sequence[float], style: Style) -> Figure:
    """Draw each candidate as a line over what is wanted and what varies: from the least to the greatest tried."""
    shown, places, chosen = _columns(data), data.places(), data.kept(least)
    at = np.arange(len(shown), dtype=float)
    others = np.setdiff1d(np.arange(len(data.values)), chosen)
    marks: list[Mark] = [
        Line(x=at, y=places[i, shown], tone="quiet", width=0.6, dash="") for i in others[: _MOST_LINES // 2]
    ]
    marks += [Line(x=at, y=places[i, shown], tone=0, width=1.0, dash="") for i in chosen[1:_MOST_LINES]]
    if chosen.size:
        marks.append(Line(x=at, y=places[chosen[0], shown], tone="ink", width=2.6, dash="", name="best so far"))
    names = tuple(data.columns[i].short or data.columns[i].name for i in shown)
    best = ""
    if chosen.size:
        told = [
            f"{data.columns[i].name} {digits(float(data.values[chosen[0], i]))} {data.columns[i].unit}" for i in shown
        ]
        best = f" The best so far: {'; '.join(t.strip() for t in told)}."
    return chart(
        Chart(
            title="Each candidate as a line, from the least that was tried to the greatest",
            alt=f"{counted(int(chosen.size), 'candidate holds', 'candidates hold')} what they must.{best}",
            x=Axis("", names=names),
            y=Axis("Least to greatest tried", "share", 0.0, 1.0),
            marks=marks,
            columns={c.label: data.values[:, i].tolist() for i, c in enumerate(data.columns)},
        ),
        style,
    )


def _columns(data: Cloud) -> list[int]:
    """What is wanted, and what varies most with it."""
    wanted = [i for i, column in enumerate(data.columns) if column.wanted]
    varied = [i for i, column in enumerate(data.columns) if not column.wanted]
    good = data.values[: max(len(data.values) // 5, 2)]
    spread = np.maximum(np.ptp(data.values, axis=0), 1e-12)
    drawn = np.ptp(good, axis=0) / spread  # the best agree in what matters
    varied.sort(key=lambda i: float(drawn[i]))
    return [*wanted, *sorted(varied[: _MOST_AXES - len(wanted)])]


def _short(key: str) -> str:
    """The last word of a key, with the letter of its axis."""
    last = key.rpartition(".")[2].replace("_", " ")
    for place, letter in enumerate("xyz"):
        last = last.replace(f"[{place}]", f" {letter}")
    return last


def front(designs: Sequence[Design], knee: int | None, names: Sequence[str], style: Style) -> Figure:
    """Draw designs that nothing beats by the first two things that are wanted, with the present robot."""
    x, y = designs[0].amounts[:2]
    across, up = names[:2]
    spots: list[Mark] = [
        Spot(
            x=d.amounts[0].value,
            y=d.amounts[1].value,
            name=f"{i + 1}{', the knee' if i == knee else ''}",
            tone=0,
            shape="diamond" if i == knee else "dot",
        )
        for i, d in enumerate(designs)
    ]
    if np.isfinite([x.now, y.now]).all():
        spots.append(Spot(x=x.now, y=y.now, name="now", tone="ink", shape="ring"))
    ends = [(min(d.amounts[i].value for d in designs), max(d.amounts[i].value for d in designs)) for i in (0, 1)]
    alt = (
        f"{counted(len(designs), 'design')}: {across} from {digits(ends[0][0])} to {digits(ends[0][1])} {x.unit}, "
        f"{up} from {digits(ends[1][0])} to {digits(ends[1][1])} {y.unit}."
    )
    what = Chart(
        title=f"What nothing beats: {up} against {across}",
        alt=alt.replace(" ,", ",").replace(" .", "."),
        x=Axis(_titled(across, x)),
        y=Axis(_titled(up, y)),
        marks=spots,
        columns={_titled(a.name, a): [d.amounts[i].value for d in designs] for i, a in enumerate(designs[0].amounts)},
    )
    return chart(what, style)


def _titled(name: str, amount: Amount) -> str:
    return f"{name} [{amount.unit}]" if amount.unit else name


def so_far(history: Sequence[tuple[int, float]], name: str, style: Style) -> Figure:
    """Draw how good the best was after so many candidates."""
    tried, best = zip(*history, strict=True)
    what = Chart(
        title=f"Best so far: {name}",
        alt=f"{digits(best[-1])} after {counted(tried[-1], 'candidate')}, {digits(best[0])} after the first "
        f"{tried[0]}.",
        x=Axis("Candidates", zero=True),
        y=Axis(name),
        marks=[Line(x=tried, y=best, step=True, tone=0)],
        height=180.0,
    )
    return chart(what, style)
