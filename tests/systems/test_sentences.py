"""Every sentence of the examples' checks, read as a person would: short, in words, with digits that mean something."""

from __future__ import annotations

import re

import pytest

from fieldworthy.api import load
from robots import EXAMPLES

MOST_WORDS = 35
"""In a sentence of an engineering report; common practice, no source."""
FILES = sorted(EXAMPLES.parent.glob("*/mk?.yaml"))
KEY = re.compile(r"\b[a-z_]+\.[a-z_]+(?:\.\w+)*\b")
NUMBER = re.compile(r"(?<![\w.,'])\d+(?:\.\d+)?(?![\w.']*'|\d)")


def faults_in(text: str) -> list[str]:
    """What is wrong with the sentences of a text."""
    plain = re.sub(r"'[^']*'", "'x'", text)  # names are the team's own words
    found = [f"{len(s.split())} words: {s}" for s in re.split(r"(?<=[.!?])\s+", text) if len(s.split()) > MOST_WORDS]
    found += [f"a key: {key}" for key in KEY.findall(plain)]
    found += [
        f"too many digits: {number}"
        for number in NUMBER.findall(plain)
        if "." in number and len(number.replace(".", "").lstrip("0")) > 4
    ]
    return found


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("The robot " + "really " * 40 + "tips.", "words"),
        ("Lower weighed.mass first.", "a key"),
        ("It holds in 99.9996 % of runs.", "too many digits"),
    ],
)
def test_a_bad_sentence_is_found(text: str, fault: str) -> None:
    (found,) = faults_in(text)
    assert fault in found


@pytest.mark.parametrize("file", FILES, ids=[f"{f.parent.name}-{f.stem}" for f in FILES])
def test_sentences_of_checks_are_short_and_in_words(file) -> None:  # type: ignore[no-untyped-def]
    report = load(file).check(samples=2).data
    items = [*report.findings, *report.facts]
    assert len(items) > 50
    assert {item.id: faults for item in items if (faults := faults_in(item.because))} == {}
