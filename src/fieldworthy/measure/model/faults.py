"""What failed on the robot, where and when, and how often each thing was used meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from fieldworthy.schema import Of, Ref, exact, need
from fieldworthy.schema.faults import Fault
from fieldworthy.schema.kinds import Count, Real, is_day


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """One thing that failed, once."""

    what: str = need("what failed, in the same few words each time, such as 'gate tube came off'")
    where: Annotated[str, Ref(("actions", "mechanisms"))] = need("the action or mechanism of the robot file")
    date: str = exact("", "the day, such as 2026-11-21")
    event: str = exact("", "the event, or practice")
    match: str = exact("", "which match, as its schedule calls it")
    lost: Annotated[Real, Of("time", 0.0, fixed=True)] | None = exact(None, "time that it cost, if known")
    failed: bool = exact(True, "whether the action failed by it; false where it only cost time")
    mended: bool = exact(False, "true once it cannot come again")

    def faults(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if not self.what.strip():
            yield ("what",), "expected a few words"
        if self.date and not is_day(self.date):
            yield ("date",), "expected a date such as 2026-11-21: year, month, day"


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultLog:
    """A log of what failed, and of how often each thing was used while it was kept."""

    fieldworthy: Literal["faults 1"] = need("what kind of file this is, and which version of its form: faults 1")
    about: str = exact("", "a sentence or two for people")
    uses: dict[Annotated[str, Ref(("actions", "mechanisms"))], Count] = exact(
        dict, "how often each action or mechanism was used while the log was kept, the uses that failed too"
    )
    failures: tuple[Failure, ...] = exact((), "what failed, each time")

    def faults(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        for name, uses in self.uses.items():
            failed = sum(failure.where == name and failure.failed for failure in self.failures)
            if failed > uses:
                yield ("uses", name), f"expected at least the {failed} uses that failed (found {uses})"
