"""Mechanisms that the file names without saying how they work: nothing of them can be judged."""

from __future__ import annotations

from collections.abc import Iterator

from fieldworthy.checks.finding import Outcome, unknown
from fieldworthy.checks.subject import Subject
from fieldworthy.robot.model import Plain


def check(subject: Subject) -> Iterator[Outcome]:
    """Say of every plain mechanism that it is not judged, and what would change that.

    Parameters
    ----------
    subject : Subject
        Robot and season over cases [SI].

    Yields
    ------
    Outcome
        ``unknown``, one for each plain mechanism [-].
    """
    for name, mechanism in subject.robot.mechanisms.items():
        if isinstance(mechanism, Plain):
            because = (
                f"How '{name}' works is not said, so only its motors and its air are judged: "
                "give it a kind that the tool knows."
            )
            yield unknown(f"mechanism.{name}", f"mechanism {name}", "ratio", because, (f"mechanisms.{name}.kind",))
