"""Whatever number or file a person changes: an answer in words, without traceback, warning, nan or absurd number."""

from __future__ import annotations

import re

import pytest

from robots import example_copy
from sweeping import EXAMPLES, KINDS, TIMES, faults_of_report, fuzzed, numbers_of, swept

ROBOTS = ("heron/mk1.yaml", "heron/mk2.yaml", "otter/mk1.yaml")


def test_the_examples_themselves_are_without_fault():
    assert [fault for name in ROBOTS for fault in faults_of_report(EXAMPLES / name)] == []


@pytest.mark.parametrize(
    ("old", "new"),
    [('stroke"\n      count: 2\n      tank: left\n      valve: small 5/2 solenoid valve\n      tube: 500 mm',
      'stroke"\n      count: 20\n      tank: left\n      valve: small 5/2 solenoid valve\n      tube: 500 mm')],
)  # fmt: skip
def test_numbers_that_once_gave_a_warning_give_none(tmp_path, old, new):
    assert faults_of_report(example_copy(tmp_path, (old, new))) == []


def test_a_bad_report_would_be_told(monkeypatch):
    """The sweep must be able to find something: a sentence with nothing in it is none."""
    monkeypatch.setattr("sweeping._ABSURD", re.compile("kg|mm|m/s"))
    assert len(faults_of_report(EXAMPLES / ROBOTS[2])) > 5


@pytest.mark.long
@pytest.mark.parametrize("name", ROBOTS)
def test_a_number_times_nought_or_a_hundred_or_minus_one(name):
    robot = EXAMPLES / name
    whole = len(numbers_of(robot)) * len(TIMES)
    assert whole > 1500
    tried = list(swept(robot, 17, whole // 60))
    assert len(tried) >= 60
    assert [one for one in tried if one[1]] == []


@pytest.mark.long
def test_a_file_of_any_kind_with_slips_of_the_hand():
    tried = list(fuzzed(300, 150))
    assert {what.partition(",")[0] for what, _ in tried} == set(KINDS)
    assert [one for one in tried if one[1]] == []
