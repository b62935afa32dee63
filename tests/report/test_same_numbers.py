"""One number, one thing: what stands in several documents is the same in all, to the digits that are shown.

The reference is what the command ``check --json`` prints; a number is read out of each document as a person reads it.
"""

import json
import re

import pytest

from edge import run
from fieldworthy.engine.finding import DisplayUnits
from fieldworthy.report import Wanted, as_html, export_of, make_card, make_inspection, make_judges, make_notebook
from fieldworthy.report.blocks import Mark, Side, Table
from fieldworthy.units import digits, labelled
from robots import example, example_file

NAMES = ["mk1", "mk2", "otter", "marten"]
RUNS = 200
TAKEN = ("air.pressure.", "air.time.", "lift.time.", "arm.time.", "drive.top_speed", "drive.push", "balance.tip.")
"""Findings of which a constant is the value or the limit; others take one of the numbers within their sentence."""


@pytest.fixture(scope="module", params=NAMES)
def name(request):
    return request.param


@pytest.fixture(scope="module")
def checked(name):
    found = json.loads(run("check", example_file(name), "--json", "--exit-zero").out)
    return {(f["id"], f["subject"]): f for f in found["findings"]} | {
        (f["id"], f["subject"]): f for f in found["facts"]
    }


def by_id(checked, identifier):
    return [found for (one, _), found in checked.items() if one == identifier]


def tables(blocks):
    """Every table of a document, those beside each other too."""
    for block in blocks:
        if isinstance(block, Table):
            yield block
        elif isinstance(block, Side):
            for column in block.columns:
                yield from tables(column)


def words(cell):
    return cell.text if isinstance(cell, Mark) else cell


def plain(page):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page)).replace("&#x27;", "'").replace("&quot;", '"')


def test_the_constants_are_those_of_the_check(name, checked):
    """Each computed constant names the finding it is taken from, and has its value or its limit, to its own digits."""
    computed = []
    for entry in export_of(example(name)).constants:
        told = [value for found in by_id(checked, entry.origin) if found["unit"] == entry.unit
                for value in (found["value"], found.get("limit")) if value is not None]  # fmt: skip
        if told and entry.origin.startswith(TAKEN):
            computed.append((entry, told))
    assert computed
    for entry, told in computed:
        assert any(float(entry.value) == pytest.approx(value, rel=2e-3) for value in told), (entry.name, told)


def test_the_pit_card_has_the_pressures_of_the_check(name, checked):
    loaded = example(name)
    found = [table for section in make_card(loaded).sections for table in tables(section.blocks)
             if "Fails below" in [words(head) for head in table.heads]]  # fmt: skip
    assert len(found) == bool(loaded.nominal.air.cylinders)
    for table in found:
        for row in table.rows:
            mechanism, fails, leaves, verdict = (words(cell) for cell in row)
            (judged,) = by_id(checked, f"air.pressure.{mechanism}")
            assert fails == labelled(digits(judged["limit"]), judged["unit"])
            assert leaves == labelled(digits(judged["value"]), judged["unit"])
            assert verdict == judged["verdict"]


def test_a_mechanism_fails_below_one_pressure_alone(name, checked):
    """Every sentence that says at which gauge pressure a mechanism fails says that of ``air.pressure``."""
    unit = DisplayUnits.of(example(name).quantities).units["pressure"]
    limits = {f["id"].removeprefix("air.pressure."): f["limit"] for (identifier, _), f in checked.items()
              if identifier.startswith("air.pressure.")}  # fmt: skip
    said = [(float(number), limits[mechanism]) for found in checked.values() for mechanism in limits
            if f"'{mechanism}'" in found["because"]
            for number in re.findall(rf"fails below ([0-9.]+) {unit}", found["because"])]  # fmt: skip
    assert said or name != "mk1"  # the others have no mechanism that says it in a sentence of its own
    assert [number for number, _ in said] == pytest.approx([limit for _, limit in said], rel=5e-3)


def test_the_inspection_sheet_has_the_numbers_of_the_check(name, checked):
    items = make_inspection(example(name)).items
    assert items
    shown = {(found["because"], found["verdict"]) for found in checked.values() if "verdict" in found}
    verdicts = {verdict for _, verdict in shown}
    for item in items:
        assert item.verdict in verdicts
        numbers = [labelled(digits(f["value"]), f["unit"]) for f in checked.values()
                   if f["id"].startswith("limits.") and f["value"] is not None]  # fmt: skip
        assert any(item.found.startswith(number.split(" ")[0]) for number in numbers) or item.found in ("–", "?")


@pytest.mark.long
def test_the_notebook_has_the_sentences_of_the_check_and_the_points_of_the_match(name, checked):
    text = plain(as_html(make_notebook(example(name), Wanted(runs=RUNS))))
    told = [f["because"] for f in checked.values() if f.get("verdict") in ("short", "close")]
    assert [sentence for sentence in told if sentence not in text] == []
    played = json.loads(run("match", example_file(name), "--json", "--runs", RUNS).out)
    low, high = played["interval"]
    assert f"{played['mean']:.1f} points are to be expected" in text
    assert f"lies between {low:.0f} and {high:.0f}" in text
    judges = plain(as_html(make_judges(example(name), Wanted(runs=RUNS))))
    assert f"is expected to score {played['mean']:.0f} points a match" in judges
    assert f"between {low:.0f} and {high:.0f}" in judges
