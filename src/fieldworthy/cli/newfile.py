"""Writes a first robot file from a few answers: from options, and by asking where there is a person to ask."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import typer

from fieldworthy.files.writing import written
from fieldworthy.robot.answers import AnswerError, gather, meets
from fieldworthy.robot.starter import Meets, starter_robot, starter_season

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Options:
    """The options of the command as typed; None where the person did not give one."""

    name: str | None = None
    season: str | None = None
    units: str | None = None
    motor: str | None = None
    motors: int | None = None
    wheels: int | None = None
    wheel_size: str | None = None
    gearing: str | None = None
    mass: str | None = None
    length: str | None = None
    width: str | None = None
    height: str | None = None
    tanks: int | None = None


def run_new(file: Path, options: Options, *, force: bool) -> None:
    """Write a first robot file, and a season file beside it where there is none yet."""
    if file.exists() and not force:
        raise _refused("FILE", f"{file} exists already; --force writes over it")
    try:
        answers = gather(_Asker(options, ask=_person()), file)
    except AnswerError as error:
        raise _refused(f"--{error.question}", error.message) from error
    season = file.parent / answers.season
    write_season = not season.exists()
    offered = Meets() if write_season else meets(season)
    texts = {file: starter_robot(answers, offered)}
    if write_season:
        texts[season] = starter_season(answers.inch)
    written(texts, copy_dated=None, expect={each: "" for each in texts if each != file or not force})
    named = f"{file} and {season}" if write_season else str(file)
    typer.echo(f"Wrote {named}. Next: fieldworthy check {file}")


def _person() -> bool:
    """Whether there is a person to ask: both ends are a terminal."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stdout.isatty()


def _refused(option: str, message: str) -> typer.BadParameter:
    return typer.BadParameter(message, param_hint=f"'{option}'")


class _Asker:
    """Takes an answer from an option, from the person, or from the default, in this order."""

    def __init__(self, options: Options, *, ask: bool) -> None:
        self._options = options
        self._ask = ask

    def __call__(self, question: str, default: str, words: str, read: Callable[[str], T]) -> T:
        given: Any = getattr(self._options, question.replace("-", "_"))

        def checked(text: str) -> T:
            """Read an answer; a bad one is refused under its option's name."""
            try:
                return read(str(text).strip())
            except ValueError as error:
                raise _refused(f"--{question}", str(error)) from error

        if given is not None or not self._ask:
            return checked(default if given is None else given)
        answer: T = typer.prompt(words, default=default, value_proc=checked)
        return answer
