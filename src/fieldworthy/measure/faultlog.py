"""Reads a fault log and tells from it how often each thing fails."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from fieldworthy.files import BadInput, Document, Problem, instantiate, read_document
from fieldworthy.files.document import faults_of, nearest, shorten
from fieldworthy.files.reading import checked, references
from fieldworthy.measure.model import Failure, FaultLog
from fieldworthy.physics.chance.chance import posterior
from fieldworthy.robot import Loaded


@dataclass(frozen=True, slots=True)
class Risk:
    """One fault, as often as it came.

    Attributes
    ----------
    what : What failed
    where : The action or mechanism
    times : How often it came and is not mended
    failed : How often the action failed by it
    uses : How often the thing was used meanwhile; None where the log does not say
    chance : That it makes the next use fail, the mean of what the counts leave likely
    interval : Where that chance lies in 95 of 100
    lost : Mean time that it cost where that is known [s]
    mended : How often it came before it was mended
    """

    what: str
    where: str
    times: int
    failed: int
    uses: int | None
    chance: float | None
    interval: tuple[float, float] | None
    lost: float | None
    mended: int


def load_faults(file: Path, robot: Loaded) -> FaultLog:
    """Read a fault log."""
    document = read_document(file)
    spec, problems = checked(document, FaultLog)
    problems += _unknown_names(document, robot)
    if spec is not None:
        log = instantiate(spec, FaultLog)
        problems += [document.problem(key, expected) for key, expected in faults_of(log)]
    if spec is None or problems:
        raise BadInput(problems)
    return log


def _unknown_names(document: Document, robot: Loaded) -> Iterator[Problem]:
    """Names that are neither an action nor a mechanism of the robot."""
    known = [*robot.nominal.actions, *robot.nominal.mechanisms]
    for path, _, name in references(document.data, FaultLog):
        if name not in known:
            listed = "; ".join(known[:12]) + ("; …" if len(known) > 12 else "") or "none are declared"
            expected = f"expected an action or mechanism of the robot: {listed} (found {shorten(name)})"
            yield document.problem(path, expected, nearest(name, known))


def risks(log: FaultLog) -> tuple[Risk, ...]:
    """Count each fault and tell how often it makes a use fail."""
    groups: dict[tuple[str, str], list[Failure]] = {}
    for failure in log.failures:
        groups.setdefault((failure.where, " ".join(failure.what.split()).casefold()), []).append(failure)
    return tuple(_risk(group, log.uses.get(group[0].where)) for group in groups.values())


def _risk(group: list[Failure], uses: int | None) -> Risk:
    live = [failure for failure in group if not failure.mended]
    failed = sum(failure.failed for failure in live)
    belief = posterior(failed, uses) if uses is not None else None
    lost = [float(failure.lost) for failure in live if failure.lost is not None]
    ends = belief.interval() if belief is not None else None
    return Risk(
        group[0].what,
        group[0].where,
        len(live),
        failed,
        uses,
        float(belief.mean) if belief is not None else None,
        (float(ends[0]), float(ends[1])) if ends is not None else None,
        sum(lost) / len(lost) if lost else None,
        len(group) - len(live),
    )
