"""The page says what the commands say: a check sentence by sentence, the points of a match, the measuring sheets."""

import json
import re

import pytest
from playwright.sync_api import expect

from edge import run
from fieldworthy.files import read_document
from fieldworthy.measure.sheets import sheets, taken
from robots import example_file
from web.browser import show, wait_built, window

pytestmark = pytest.mark.long


BLANKS = "[...document.querySelectorAll('#fw-view input')].map(e => e.value || e.placeholder)"
"""What stands in the blanks of a sheet."""


def flat(text):
    return re.sub(r"\s+", " ", text)


def test_the_margins_are_those_of_the_check(browser, server, heron):
    """The view leads with what is short: as many rows, and each with the sentence of the check, number by number."""
    said = json.loads(run("check", example_file("mk1"), "--json", "--exit-zero").out)
    with window(browser, server) as page:
        show(page, server, "margins", file=f"{heron}/mk1.yaml")
        wait_built(page)
        page.wait_for_selector("#margins-rows li")
        short = [f for f in said["findings"] if f["verdict"] == "short"]
        expect(page.locator("#margins-rows li.finding")).to_have_count(len(short), timeout=60_000)
        shown = flat(page.locator("#fw-view").text_content())
    assert len(short) > 5
    assert [f["id"] for f in short if flat(f["because"]) not in shown] == []


def test_the_points_are_those_of_the_match_and_of_the_judges_pages(browser, server, heron, tmp_path):
    said = json.loads(run("match", example_file("mk1"), "--json").out)
    with window(browser, server) as page:
        show(page, server, "match", file=f"{heron}/mk1.yaml")
        expect(page.locator("#match-sum .big b")).to_have_text(f"{said['mean']:.1f}", timeout=90_000)
        expect(page.locator("#match-sum")).to_contain_text("2,000 matches")
        shown = flat(page.locator("#match-figures").text_content())
    low, high = said["interval"]
    assert re.search(rf"\b{low:.0f}(?:\.\d)?\b.{{1,12}}\b{high:.0f}(?:\.\d)?\b", shown)
    out = tmp_path / "judges.html"
    assert run("report", example_file("mk1"), "--for", "judges", "-o", out).code == 0
    assert f"between {low:.0f} and {high:.0f} (95 %)" in flat(out.read_text("utf-8"))


def test_the_sheets_on_the_page_are_those_that_are_printed(browser, server, heron):
    """Cautions and steps word by word, and the error that stands in where a team states none."""
    every = []
    with window(browser, server) as page:
        for name in ("scales", "tilt", "odometry", "drive"):
            one = sheets()[name]
            show(page, server, "measurements", file=f"{heron}/mk1.yaml", part=name)
            page.wait_for_selector("#fw-view .steps")
            page.wait_for_selector("#sheet-form input", state="attached")
            shown = flat(page.locator("#fw-view").text_content())
            assert [line for line in (*one.cautions, *one.steps) if flat(line) not in shown] == []
            blanks = page.evaluate(
                "[...document.querySelectorAll('#fw-view input')].map(e => e.value || e.placeholder)"
            )
            own = read_document(example_file("mk1").with_name("mk1_measurements.yaml")).data[name]
            near = [
                error
                for error, _, rest in (line.partition(" (") for line in taken(one))
                if rest.partition(")")[0] not in own
            ]  # what the team states itself stands there instead
            every += near
            assert [error for error in near if error.split()[0] not in " ".join([*blanks, shown])] == []
    assert every
