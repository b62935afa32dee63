"""Every sentence of the examples' checks, read as a person would: short, in words, with digits that mean something."""

from __future__ import annotations

import dataclasses
import re

import pytest

from edge import run
from fieldworthy.api import load
from fieldworthy.decide.remedy import remedies
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.match.ability import stopped_by
from fieldworthy.robot import load_robot
from fieldworthy.robot.model.robot import Robot
from robots import EXAMPLES

MOST_WORDS = 35
"""In a sentence of an engineering report; common practice, no source."""
FILES = sorted(EXAMPLES.parent.glob("*/mk?.yaml"))
"""Every robot of the examples."""
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


@pytest.mark.long
@pytest.mark.parametrize("file", FILES, ids=[f"{f.parent.name}-{f.stem}" for f in FILES])
def test_sentences_of_remedies_are_short_and_in_words(file) -> None:  # type: ignore[no-untyped-def]
    loaded = load_robot(file)
    report = evaluate(loaded, samples=200)
    found = remedies(loaded, report, 4, None, report.failing, points=False)
    texts = [text for one in found for text in (one.answer, *(r.sentence for r in one.remedies))]
    texts += [b.because for one in found for r in one.remedies for b in r.breaks]
    assert bool(texts) == bool(report.failing)
    assert {text: faults for text in texts if (faults := faults_in(text))} == {}
    stopped = [one.sentence for cause in report.causes for one in stopped_by(loaded, [f.id for f in cause.findings])]
    assert {text: faults for text in stopped if (faults := faults_in(text))} == {}


READ = [
    *(("match", f, "--sensitivity", "--runs", "400") for f in FILES),
    *(("compare", f, f.with_stem("mk2")) for f in FILES if f.stem == "mk1"),
    ("faults", EXAMPLES / "mk1.yaml", EXAMPLES / "mk1_faults.yaml"),
    ("fit", EXAMPLES / "mk1.yaml", EXAMPLES / "mk1_measurements.yaml"),
]


@pytest.mark.long
@pytest.mark.parametrize("command", READ, ids=[f"{c[0]}-{c[1].parent.name}-{c[1].stem}" for c in READ])
def test_what_commands_tell_is_short_and_in_words(command) -> None:  # type: ignore[no-untyped-def]
    """Every line; but a fit's values have the digits that their intervals leave, and name the keys they go to."""
    lines = [line.strip() for line in run(*command).out.splitlines()]
    assert len(lines) > 5
    if command[0] == "fit":
        ids = {f.id for f in evaluate(load_robot(command[1]), samples=0).findings}
        lines = [line for line in lines if " ± " not in line and line.split(" · ")[0] not in ids and not is_key(line)]
    assert {line: faults for line in lines if (faults := faults_in(line))} == {}


def is_key(line: str) -> bool:
    """Whether a line is the key path of a value, as the file has it."""
    return "." in line and not line.endswith(".") and line.split(".", maxsplit=1)[0] in TOP


TOP = {field.name for field in dataclasses.fields(Robot)}
"""Keys of a robot file."""
