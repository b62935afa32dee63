"""Reads a season file and checks what the schema alone cannot."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from fieldworthy.schema import BadInput, Document, Problem, read_document
from fieldworthy.schema.declare import Spec
from fieldworthy.schema.faults import faults_of
from fieldworthy.schema.problems import nearest
from fieldworthy.schema.reading import checked
from fieldworthy.schema.realise import realise, references
from fieldworthy.season.model import Season


def load_season(file: Path, text: str | None = None) -> tuple[Document, Spec]:
    """Read a season file.

    Parameters
    ----------
    file : Path
        The file [-].
    text : str or None
        Its text, where it is already at hand [-].

    Returns
    -------
    tuple of Document and Spec
        The file's places and the validated specification [-].

    Raises
    ------
    BadInput
        With every problem found.
    """
    document = read_document(file, text)
    spec, problems = checked(document, Season)
    problems += _unknown_names(document)
    if spec is not None:
        season = realise(spec, Season)
        problems += [document.problem(path, expected) for path, expected in faults_of(season)]
        problems += _outside(document, season)
    if spec is None or problems:
        raise BadInput(problems)
    return document, spec


def _unknown_names(document: Document) -> Iterator[Problem]:
    for path, targets, name in references(document.data, Season):
        named = [document.data.get(target) for target in targets]
        known = [key for names in named if isinstance(names, dict) for key in names]
        if name not in known:
            listed = ", ".join(known) or "none are declared"
            yield document.problem(path, f"expected one of {' and '.join(targets)}: {listed}", nearest(name, known))


def _outside(document: Document, season: Season) -> Iterator[Problem]:
    for name, place in season.field.places.items():
        for i, (at, size) in enumerate(zip(place, season.field.size, strict=True)):
            if abs(float(at)) > float(size) / 2:
                yield document.problem(("field", "places", name, i), "expected a place inside the field")
