"""Runs every check over one batch and turns outcomes into findings.

One batch holds the nominal case, one case for a small move of each quantity of the file, and samples of the
tolerances. From it come verdict, chance, what a finding depends on and which measurement would sharpen it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from fieldworthy.arrays import Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.display import DisplayUnits
from fieldworthy.engine.finding import VERDICTS, Assumption, Fact, Finding, Outcome, Report
from fieldworthy.engine.judging import Said, Table, Tally, judged
from fieldworthy.engine.sampling import Cases, batches
from fieldworthy.engine.system import cautions, consequences, systems
from fieldworthy.files import Quantity, instantiate
from fieldworthy.files.declare import Spec
from fieldworthy.files.problems import KeyPath, dotted
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot, settled
from fieldworthy.robot.model.season import Season
from fieldworthy.units import show

Progress = Callable[[int], None]


def evaluate(loaded: Loaded, samples: int = 1000, seed: int = 0, progress: Progress | None = None) -> Report:
    """Check one robot."""
    table = Table(entries_of(loaded.nominal, loaded.quantities), DisplayUnits.of(loaded.quantities))
    base = Context(loaded.nominal, loaded.nominal_season)
    outcomes: list[Outcome] = []
    tallies: list[Tally] = []
    done = 0
    for cases in batches(seed, samples, [path for path, _ in table.entries], len(loaded.quantities)):
        found = run(loaded, cases, base)
        outcomes = outcomes or found  # those of the first batch speak: each batch has the nominal case
        tallies = tallies or [Tally() for _ in found]
        for tally, outcome in zip(tallies, found, strict=True):
            tally.add(outcome, len(cases.nudged), cases.sampled)
        done += cases.samples
        if progress and outcomes is not found:
            progress(done)
    said = [judged(o, t, table) for o, t in zip(outcomes, tallies, strict=True)]
    return report_of(loaded, loaded.nominal, said, samples, seed)


def entries_of(robot: Robot, quantities: Iterable[tuple[KeyPath, Quantity]]) -> list[tuple[KeyPath, Quantity]]:
    """List the quantities of which a batch holds a nudge: all but the season's numbers that are what they are."""
    return [(path, settled(robot, path, q)) for path, q in quantities if q.tolerance > 0 or path[0] != "season"]


def report_of(loaded: Loaded, described: Robot, said: Sequence[Said], samples: int, seed: int) -> Report:
    """Put together what a person reads."""
    robot: Any = loaded.robot
    season: Any = loaded.season
    return Report(
        robot.robot,
        season.season,
        tuple(sorted(_tied(described, (one for one in said if isinstance(one, Finding))), key=_worst_first)),
        tuple(one for one in said if isinstance(one, Fact)),
        assumptions(loaded),
        samples,
        seed,
        cautions(described),
    )


def run(loaded: Loaded, cases: Cases, base: Context | None = None) -> list[Outcome]:
    """Run every check over the cases of a batch."""

    def of_season(path: KeyPath, quantity: Quantity) -> Real:
        """Draw a quantity of the season."""
        return cases.draw(("season", *path), quantity)

    def of_robot(path: KeyPath, quantity: Quantity) -> Real:
        """Draw a quantity of the robot; what the scales have settled does not vary."""
        return cases.draw(path, settled(loaded.nominal, path, quantity))

    robot = instantiate(loaded.robot, Robot, of_robot)
    season = instantiate(loaded.season, Season, of_season)
    context = Context(robot, season, base or Context(loaded.nominal, loaded.nominal_season))
    return [outcome for system in systems() for outcome in system.check(context)]


def assumptions(loaded: Loaded) -> tuple[Assumption, ...]:
    """List the defaults that stand in for what the files do not say."""
    found = []
    for path, quantity in loaded.quantities:
        if quantity.assumed:
            spec, inside = (loaded.season, path[1:]) if path[0] == "season" else (loaded.robot, path)
            value = show(quantity.si, quantity.kind, quantity.unit)
            found.append(Assumption(dotted(path), value, _reason(spec, inside)))
    return (*found, *_usual(loaded), *_weights(loaded))


def _weights(loaded: Loaded) -> Iterable[Assumption]:
    """To which parts list the weights belong, where the file does not say."""
    scales = loaded.nominal.weighed
    if scales is not None and scales.listed is None:
        why = "the parts list that belongs to the weights; until it is given, a part changed since then does not count"
        yield Assumption("weighed.listed", "the parts as they are now", why)


def _usual(loaded: Loaded) -> Iterable[Assumption]:
    """Usual tolerances that stand in where the parts of the file state none: guessed places and masses."""
    guessed = [(path, q) for path, q in loaded.quantities if path[0] == "parts" and q.usual and q.basis == "estimate"]
    for word, what, value in (("position", "places", "at least 10 mm"), ("mass", "masses", "10 %")):
        first_of = next((path for path, _ in guessed if word in path[2:]), None)
        count = sum(word in path[2:] for path, _ in guessed)
        if first_of is not None:
            why = f"tolerance of it and all {count} numbers of guessed {what} of parts; common practice, no source"
            yield Assumption(dotted(first_of), value, why)


def _reason(spec: Any, path: KeyPath) -> str:
    """The documented reason of a default, from the schema."""
    for key in path[:-1]:
        spec = getattr(spec, str(key)) if isinstance(spec, Spec) else spec[key]
    return str(type(spec).model_fields[str(path[-1])].description or "").partition(" (assumed")[0]


def _tied(robot: Robot, findings: Iterable[Finding]) -> Iterator[Finding]:
    """Say of each finding what it follows from, as the systems declare it."""
    follows = consequences(robot)
    for finding in findings:
        yield dataclasses.replace(finding, follows=follows[finding.id]) if finding.id in follows else finding


def _worst_first(finding: Finding) -> tuple[int, float, str, str]:
    margin = 0.0 if finding.margin is None else finding.margin
    return VERDICTS.index(finding.verdict), margin, finding.id, finding.subject
