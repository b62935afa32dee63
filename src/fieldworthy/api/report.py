"""What a check found, by id: verdicts, margins and chances, as text, table, figure, HTML and plain data."""

from __future__ import annotations

import importlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

from fieldworthy.engine import finding as found
from fieldworthy.engine.finding import VERDICTS, Assumption, Cause, DisplayUnits, Fact, Finding, as_data
from fieldworthy.errors import Error
from fieldworthy.files.document import nearest
from fieldworthy.robot import Loaded
from fieldworthy.units import chance_text, digits

if TYPE_CHECKING:
    from fieldworthy.drawing.svg import Figure

LIBRARIES = ("pandas", "polars")


def frame_of(columns: Mapping[str, Sequence[Any]]) -> Any:
    """Make a data frame with the first library of `LIBRARIES` that is installed."""
    for name in LIBRARIES:
        try:
            library = importlib.import_module(name)
        except ImportError:
            continue
        return library.DataFrame({heading: list(values) for heading, values in columns.items()})
    raise ImportError(
        "to_frame needs pandas or polars, and neither is installed: run 'python -m pip install pandas', "
        "or 'python -m pip install polars'"
    )


_CELL = "text-align:left;vertical-align:top"


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Write a table; every text is escaped."""
    head = "".join(f'<th style="{_CELL}">{escape(text)}</th>' for text in heads)
    body = "".join(
        "<tr>" + "".join(f'<td style="{_CELL}">{escape(cell)}</td>' for cell in row) + "</tr>" for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def block(title: str, sentences: Sequence[str], *parts: str) -> str:
    """Write a title and sentences, which are escaped, and parts that are HTML already."""
    told = "".join(f"<p>{escape(sentence)}</p>" for sentence in sentences)
    return f"<div><strong>{escape(title)}</strong>{told}{''.join(parts)}</div>"


_SIGN = {"short": "✗ short", "close": "≈ close", "unknown": "? unknown", "holds": "✓ holds"}
_LISTED = 10  # ids in a message
_COLUMNS = ("id", "subject", "verdict", "value", "limit", "unit", "need", "margin", "chance", "because")


class UnknownFinding(Error, KeyError):
    """A report holds no such finding; the text names the id that was probably meant."""

    def __str__(self) -> str:
        return str(self.args[0])


@dataclass(frozen=True)
class _Findings:
    """Findings and facts, by id: the short ones first, and within a verdict the worst margin first."""

    data: found.Report

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding that has a limit, the worst first."""
        return self.data.findings

    @property
    def facts(self) -> tuple[Fact, ...]:
        """Computed numbers that nothing limits."""
        return self.data.facts

    @property
    def short(self) -> tuple[Finding, ...]:
        """The findings that the robot misses, the worst first."""
        return self.data.short

    @property
    def unknown(self) -> tuple[Finding, ...]:
        """The findings that cannot be judged, because the files do not say enough."""
        return self.data.of("unknown")

    @property
    def close(self) -> tuple[Finding, ...]:
        """The findings that the tolerances decide: neither surely met nor surely missed."""
        return self.data.of("close")

    def every(self, identifier: str) -> tuple[Finding | Fact, ...]:
        """List all findings and facts of one id: one for each pose, tank, mechanism or other subject.

        Parameters
        ----------
        identifier : str
            Such as ``balance.tip.forward``.

        Returns
        -------
        tuple of Finding or Fact
            In the order of the report, the worst first; empty where there is none.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> report = fw.load("mk1.yaml").check(samples=0)
        >>> sorted(finding.subject for finding in report.every("air.rating"))
        ['tank left', 'tank right']
        """
        return tuple(item for item in self._items() if item.id == identifier)

    def __getitem__(self, wanted: str | tuple[str, str]) -> Any:
        """Give the finding or fact of an id; of several subjects the worst, of an id and a subject that one."""
        identifier, subject = (wanted, None) if isinstance(wanted, str) else wanted
        same = self.every(identifier)
        if not same:
            raise UnknownFinding(_missing(f"no finding {identifier!r}", identifier, self._ids()))
        if subject is None:
            return same[0]
        for item in same:
            if item.subject == subject:
                return item
        head = f"no finding {identifier!r} about {subject!r}"
        raise UnknownFinding(_missing(head, subject, [item.subject for item in same]))

    def _ids(self) -> list[str]:
        return list(dict.fromkeys(item.id for item in self._items()))

    def _items(self) -> tuple[Finding | Fact, ...]:
        return (*self.findings, *self.facts)

    def __contains__(self, identifier: object) -> bool:
        return identifier in self._ids()

    def __iter__(self) -> Iterator[Finding]:
        return iter(self.findings)

    def __len__(self) -> int:
        return len(self.findings)


@dataclass(frozen=True)
class Report(_Findings):
    """What a check of one robot found; `Robot.check` makes it.

    A report is a collection of findings, the short ones first, and within a verdict the worst margin
    first. Index it by the id of a finding or fact.

    Parameters
    ----------
    data : fieldworthy.engine.finding.Report
        What the engine found.
    loaded : fieldworthy.robot.Loaded
        The robot that was checked, for its units.

    Examples
    --------
    >>> import fieldworthy as fw
    >>> report = fw.load("mk1.yaml").check(samples=100)
    >>> finding = report["balance.tip.forward"]
    >>> finding.verdict, finding.margin < 0, finding in report.short
    ('short', True, True)
    >>> report["air.rating", "tank right"].subject
    'tank right'
    >>> report["balance.tip.foward"]
    Traceback (most recent call last):
    fieldworthy.api.report.UnknownFinding: no finding 'balance.tip.foward'; did you mean 'balance.tip.forward'?
    """

    loaded: Loaded

    @property
    def robot(self) -> str:
        """Name of the robot."""
        return self.data.robot

    @property
    def season(self) -> str:
        """Name of the season."""
        return self.data.season

    @property
    def causes(self) -> tuple[Cause, ...]:
        """What is short, by what it comes from: each cause with the findings that follow from it."""
        return self.data.causes

    @property
    def assumptions(self) -> tuple[Assumption, ...]:
        """Defaults that stand in for what the files do not say."""
        return self.data.assumptions

    @property
    def cautions(self) -> tuple[str, ...]:
        """What can hurt on this robot, one sentence each."""
        return self.data.cautions

    def to_frame(self) -> Any:
        """Put the findings into a data frame, one row each.

        Returns
        -------
        pandas.DataFrame or polars.DataFrame
            Columns id, subject, verdict, value, limit, unit, need, margin [-], chance [-] and because.

        Raises
        ------
        ImportError
            If neither pandas nor polars is installed; the text says what to install.
        """
        return frame_of({name: [getattr(finding, name) for finding in self.findings] for name in _COLUMNS})

    def to_dict(self) -> dict[str, Any]:
        """Give everything as plain data, as the command ``check`` writes it with ``--json``.

        Returns
        -------
        dict
            Follows the schema of that output, which ``fieldworthy schema check`` prints.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> fw.load("mk1.yaml").check(samples=0).to_dict()["format"].rpartition(" ")[0]
        'fieldworthy check'
        """
        return as_data(self.data)

    def plot(self, most: int = 25) -> Figure:
        """Draw the margins of the findings with their 95 % intervals.

        Parameters
        ----------
        most : int
            How many findings to draw, the worst first.

        Returns
        -------
        Figure
            Shows itself in a notebook; ``figure.svg`` is the drawing, ``figure.alt`` says it in words.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> fw.load("mk1.yaml").check(samples=0).plot(most=3).title
        'Margins, the worst first'
        """
        from fieldworthy.engine.figure import margins, margins_of  # noqa: PLC0415  a check draws nothing

        return margins(margins_of(self.data)[:most], DisplayUnits.of(self.loaded.quantities).style())

    def __str__(self) -> str:
        short = "".join(f"\n✗ {finding.because}" for finding in self.short)
        return f"{self.robot} in {self.season}: {self._counts()}{short}"

    def __repr__(self) -> str:
        return f"<Report of {self.robot}: {self._counts()}>"

    def _counts(self) -> str:
        counts = {verdict: len(self.data.of(verdict)) for verdict in VERDICTS}
        return ", ".join(f"{n} {'hold' if verdict == 'holds' else verdict}" for verdict, n in counts.items())

    def _repr_html_(self) -> str:
        rows = [
            (_SIGN[f.verdict], f.because, f.id, "" if f.margin is None else digits(f.margin, 2), _share(f.chance))
            for f in self.findings
        ]
        heads = ("Verdict", "What was found", "Finding", "Margin", "Holds in")
        return block(f"{self.robot} in {self.season}", [self._counts()], table(heads, rows))


def _share(chance: float | None) -> str:
    return "" if chance is None else chance_text(chance)


def _missing(head: str, word: str, known: list[str]) -> str:
    near = nearest(word, known)
    if near:
        return f"{head}; did you mean {near!r}?"
    return f"{head}; it has {', '.join(map(repr, known[:_LISTED]))}{', …' if len(known) > _LISTED else ''}"
