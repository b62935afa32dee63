"""What a system gives to the robot's own program: constants from the file, from findings, and of its own computing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from fieldworthy.engine.context import Context
from fieldworthy.files import Quantity
from fieldworthy.files.problems import KeyPath, dotted

EXACT = 8
"""Digits of what is stated, or follows from counts and sizes alone."""
COMPUTED = 4
"""Digits of what the model gives: at most a twentieth of a per cent is lost."""


@dataclass(frozen=True, slots=True)
class Constant:
    """One number for the robot's program.

    Attributes
    ----------
    words : What it is called, from the general to the particular; some are the person's own
    value : In SI
    kind : Kind of quantity; ``count`` for a bare number; or a unit of SI of its own, such as ``V*s/m``
    about : What it is, in a few words
    origin : Key of the file, or id of the finding or fact, that it comes from
    basis : What it rests on
    tolerance : Half width of its 95 % interval in SI; None for what is computed or exact
    figures : Significant digits that mean something
    """

    words: tuple[str, ...]
    value: float
    kind: str
    about: str
    origin: str
    basis: str = "computed"
    tolerance: float | None = None
    figures: int = EXACT


@dataclass(frozen=True, slots=True)
class Stated:
    """A number that goes out as the file states it.

    Attributes
    ----------
    key : Its key path, with ``*`` for a name of the person's own
    words, about : What it is called, with ``/`` between the words, and what it is; ``{0}``, ``{1}`` are those names
    """

    key: str
    words: str
    about: str


@dataclass(frozen=True, slots=True)
class Found:
    """A number that a finding or fact tells.

    Attributes
    ----------
    id : Of the outcome; ends in ``*`` for the name of a mechanism
    number : Which number of its sentence, or ``value``
    words, about : As of `Stated`
    at_most : Ids of outcomes whose value it may not exceed either, as what is safe is less than what can be done
    counted : Whether it is a whole number
    """

    id: str
    number: str
    words: str
    about: str
    at_most: tuple[str, ...] = ()
    counted: bool = False


Quantities = Mapping[KeyPath, Quantity]
Computed = Callable[[Context, Quantities], Iterable[Constant]]


def _nothing(_context: Context, _quantities: Quantities) -> Iterable[Constant]:
    return ()


EXACT = 8
"""Digits of what is stated, or follows from counts and sizes alone."""
COMPUTED = 4
"""Digits of what the model gives: at most a twentieth of a per cent is lost."""


@dataclass(frozen=True, slots=True)
class Constants:
    """The constants of one system.

    Attributes
    ----------
    computed : Those of the nominal robot that no file and no finding states
    """

    stated: tuple[Stated, ...] = ()
    found: tuple[Found, ...] = ()
    computed: Computed = _nothing


def stated(path: KeyPath, quantity: Quantity, words: tuple[str, ...], about: str) -> Constant:
    """Make a constant of a number of the file."""
    exact = quantity.tolerance == 0.0
    basis = "exact" if exact else quantity.basis
    tolerance = None if exact else quantity.tolerance
    return Constant(words, quantity.si, quantity.kind, about, dotted(path), basis, tolerance)
