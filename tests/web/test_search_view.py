"""The view of a search, in a real browser: what may vary, what is found while it runs, a design kept as a variant."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from fieldworthy.robot import load_robot
from fieldworthy.web.judging import Source, texts_of
from fieldworthy.web.searching import varying
from robots import example
from web.browser import show, window


def test_a_slider_has_the_values_of_the_range():
    loaded = example()
    found = {row.key: row for row in varying(Source(loaded.document.file, texts_of(loaded.texts)))}
    pin = found["mechanisms.tray.fixed_pin[0]"]
    assert (pin.ticks[0], pin.now, pin.ticks[-1]) == ("65 mm", "115 mm", "165 mm")
    assert len(set(pin.ticks)) == 21
    assert found["drive.motors"].options == ("2", "4", "6", "8", "10")
    assert found["rollers.front left.position[1]"].more == 1


@pytest.mark.long
def test_a_search_is_followed_ended_and_its_best_kept(browser, server, heron):
    """Weight farther back tips forward later: the best design moves it there, and its file says so."""
    with window(browser, server) as page:
        show(page, server, "search", file=f"{heron}/mk1.yaml")
        page.locator("summary", has_text="parts: battery").click()
        page.get_by_label("parts.battery.position[0]: ").check()
        page.locator("#in-minutes").select_option("5")
        page.get_by_role("button", name="Search", exact=True).click()
        expect(page.locator("#fig-candidates")).to_be_visible(timeout=240_000)
        expect(page.locator("#fig-lines")).to_be_visible()
        page.locator("#axis-0").select_option(label="parts.battery.position[0]")
        expect(page.locator("#fig-candidates figcaption")).to_contain_text("parts.battery.position[0] against points")
        if page.get_by_role("button", name="Enough: show the best so far").is_visible():
            page.get_by_role("button", name="Enough: show the best so far").click()
        expect(page.locator("#search-found h2").first).to_have_text("What was found", timeout=240_000)
        cards = page.locator("#search-found .card")
        if not cards.count():  # nothing is better: that is said, and there is nothing to keep
            expect(page.locator("#search-found .panel")).to_contain_text("better than Heron mk1 as it is")
            return
        expect(page.locator("#search-design figure")).to_have_count(2)
        cards.first.get_by_role("button", name="Keep it as a variant").click()
        expect(page.locator("#search-problems")).to_contain_text("mk1_found")
    kept = load_robot(server.folder / heron / "mk1_found.yaml")
    assert kept.nominal.robot == "mk1 found"
    assert kept.nominal.parts["battery"].position[0] != example().nominal.parts["battery"].position[0]
