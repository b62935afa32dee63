"""A second process that judges some of the checks, on a core of its own.

It is a plain child process that reads questions from one pipe and writes answers to another. It ends when the pipe of
questions does, so it cannot outlive the process that asked, however that one ends.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
import weakref
from collections.abc import Mapping
from typing import IO, Any

from fieldworthy.checks.judging import Said
from fieldworthy.checks.part import Asked, Broken, Field, Part, Stated
from fieldworthy.checks.reading import Place
from fieldworthy.checks.showing import Shown

_READY, _ENDED = 0, -1
"""In place of the number of the question that is answered."""
_PATIENCE = 5.0  # s that it may take to end by itself


class Helper:
    """A second process with a part of the checks.

    Parameters
    ----------
    asked : Asked
        Which checks, and how chances are sampled.

    Attributes
    ----------
    ended : bool
        Whether it was found to have ended when its answer was asked for.

    Raises
    ------
    OSError
        If no process can be started.
    """

    def __init__(self, asked: Asked) -> None:
        paths = os.pathsep.join(path for path in sys.path if path)
        environment = os.environ | {"PYTHONPATH": paths}
        process = subprocess.Popen(
            # -P: modules come from where this process has them, not from the folder that it happens to stand in
            [sys.executable, "-P", "-m", "fieldworthy.checks.helper"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),  # Windows alone has it, and would open one
        )
        self._process = process
        assert process.stdin is not None, "it was asked for"
        assert process.stdout is not None, "it was asked for"
        self._questions: IO[bytes] = process.stdin
        self._answers: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._ready = False
        self._asked = 0
        self.ended = False
        listener = threading.Thread(target=_listen, args=(process.stdout, self._answers), daemon=True)
        listener.start()
        self.close = weakref.finalize(self, _end, process, listener)  # called at the latest when this process ends
        self._send(asked)

    def ready(self, wait: float = 0.0) -> bool:
        """Tell whether the process has started up.

        Parameters
        ----------
        wait : float
            How long to wait for it at most [s].

        Returns
        -------
        bool
            Whether it can be asked [-].
        """
        if not (self._ready or self.ended):
            with contextlib.suppress(queue.Empty):
                number, _ = self._answers.get(timeout=wait) if wait else self._answers.get_nowait()
                self._ready, self.ended = number == _READY, number == _ENDED
        return self._ready

    def begin(self, stated: Stated, shown: Shown) -> None:
        """Give it a robot; it starts at once to judge it.

        Parameters
        ----------
        stated : tuple
            Robot and season [-].
        shown : Shown
            Units to show [-].
        """
        self._ask("begin", stated, shown)

    def change(self, fields: Mapping[Place, Field], anew: bool = False) -> None:
        """Give it other numbers; it starts at once to judge them.

        Parameters
        ----------
        fields : mapping
            As `Part.change` takes them [-].
        anew : bool
            Whether everything is to be judged again [-].
        """
        self._ask("change", fields, anew)

    def said(self) -> dict[int, list[Said]]:
        """Wait for its answer to the last question.

        Returns
        -------
        dict
            As `Part.said` gives it [-].

        Raises
        ------
        Broken
            When it cannot answer.
        """
        number, answer = 0, None
        while number < self._asked and not self.ended:  # an answer that nobody waited for comes first
            number, answer = self._answers.get()
            self.ended = number == _ENDED
        if answer is None:
            raise Broken
        found: dict[int, list[Said]] = answer
        return found

    def _ask(self, *question: object) -> None:
        self._asked += 1
        self._send((self._asked, *question))

    def _send(self, question: object) -> None:
        # one that has ended says so when its answer is asked for
        with contextlib.suppress(OSError):
            pickle.dump(question, self._questions, pickle.HIGHEST_PROTOCOL)
            self._questions.flush()


def _listen(answers: IO[bytes], into: queue.SimpleQueue[Any]) -> None:
    """Take in what the process answers, until it ends."""
    with answers:
        try:
            while True:
                into.put(pickle.load(answers))
        except (EOFError, OSError, pickle.UnpicklingError):
            into.put((_ENDED, None))


def _end(process: subprocess.Popen[bytes], listener: threading.Thread) -> None:
    if process.stdin is not None:
        with contextlib.suppress(OSError):
            process.stdin.close()
    try:
        process.wait(_PATIENCE)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
    listener.join(_PATIENCE)


def _answer(part: Part, question: list[Any]) -> dict[int, list[Said]] | None:
    """Do what is asked; None where the robot cannot be judged, so that the other process finds out why."""
    name, *given = question
    try:
        getattr(part, name)(*given)
        return part.said()
    except Exception:
        return None


def main() -> None:
    """Answer questions until there are no more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that asks
    questions, answers = sys.stdin.buffer, sys.stdout.buffer
    sys.stdout = sys.stderr  # whatever prints must not get in between the answers

    def tell(answer: object) -> None:
        """Send an answer at once."""
        pickle.dump(answer, answers, pickle.HIGHEST_PROTOCOL)
        answers.flush()

    with contextlib.suppress(EOFError, OSError):
        part = Part(pickle.load(questions))
        tell((_READY, None))
        while True:
            number, *question = pickle.load(questions)
            tell((number, _answer(part, question)))


if __name__ == "__main__":
    main()
