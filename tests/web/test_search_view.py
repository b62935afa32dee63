"""The view of a search, in a real browser: what may vary, what is found while it runs, a design kept as a variant."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from fieldworthy.robot import load_robot
from fieldworthy.web.judging import Source, texts_of
from fieldworthy.web.runs import varying
from robots import example
from web.browser import show, window


def test_a_slider_has_the_values_of_the_range():
    loaded = example()
    found = {row.key: row for row in varying(Source(loaded.document.file, texts_of(loaded.texts)))}
    pin = found["mechanisms.tray.fixed_pin[0]"]
    assert (pin.ticks[0], pin.now, pin.ticks[-1]) == ("65 mm", "115 mm", "165 mm")
    assert len(set(pin.ticks)) == 21
    assert found["drive.motors"].options == ("2", "4", "6", "8", "10")
    assert found["drive.motor"].words == "motor of the drive"
    assert not [row.words for row in found.values() if re.search(r"\w\.\w|_|\[\d", row.words)], "no keys of the file"
    assert found["rollers.front left.position[1]"].more == 1


@pytest.mark.long
def test_a_mechanism_is_left_out_on_the_page(browser, server, heron):
    """The file of mk2 says 11 h for its arm: without it none are left, and the variant that is kept has no arm."""
    with window(browser, server) as page:
        show(page, server, "search", file=f"{heron}/mk2.yaml")
        expect(page.locator("details.varied").first).to_be_visible()
        page.evaluate("document.querySelectorAll('details.varied').forEach((one) => { one.open = true; })")
        page.locator(".varying > label", has_text="With or without 'arm'").locator("input").check()
        for words, wanted in (("points of a match, on average", False), ("few hours of work", True)):
            page.get_by_label(words).set_checked(wanted)
        page.get_by_label("What holds now must go on holding").uncheck()
        page.get_by_role("button", name="Search", exact=True).click()
        card = page.locator("#search-found .card").first
        expect(card).to_contain_text("Leave out 'arm'", timeout=240_000)
        expect(card).to_contain_text("hours 0 h (11 now)")
        card.get_by_role("button", name="Keep it as a variant").click()
        expect(page.locator("#search-problems")).to_contain_text("mk2_found")
    assert "arm" not in load_robot(server.folder / heron / "mk2_found.yaml").nominal.mechanisms


@pytest.mark.long
def test_a_search_goes_on_without_a_window_and_can_be_stopped(browser, server, heron):
    """A plan is searched for minutes; its window is closed; another finds it further on, and ends it."""
    with window(browser, server) as page:
        show(page, server, "search", file=f"{heron}/mk1.yaml")
        page.get_by_label("The order of actions").check()
        page.get_by_label("What holds now must go on holding").uncheck()
        page.locator("#in-minutes").select_option("15")
        page.get_by_role("button", name="Search", exact=True).click()
        expect(page.locator("#search-live")).to_contain_text("plans", timeout=120_000)
        before = tried_in(page)
    with window(browser, server) as page:
        show(page, server, "search", file=f"{heron}/mk1.yaml")
        expect(page.locator("#search-live")).to_contain_text("plans", timeout=60_000)
        for _ in range(60):
            if tried_in(page) > before:
                break
            page.wait_for_timeout(500)
        assert tried_in(page) > before
        page.get_by_role("button", name="Enough: show the best so far").click()
        expect(page.locator("#search-found h2").first).to_have_text("What was found", timeout=120_000)


def tried_in(page):
    """How many plans the page says were tried."""
    return int(re.match(r"(\d+) plans", page.locator("#search-live").inner_text())[1])


@pytest.mark.long
def test_a_search_is_followed_ended_and_its_best_kept(browser, server, heron):
    """Every cylinder may go on another tank and every tank may fill to another pressure: more air may be left."""
    with window(browser, server) as page:
        show(page, server, "search", file=f"{heron}/mk1.yaml")
        expect(page.locator("details.varied").first).to_be_visible()
        keys = [
            k
            for k in page.locator(".varying > label").all_text_contents()
            if "Tank of cylinder" in k or "pressure" in k
        ]
        for name in page.locator(
            "details.varied > summary", has_text=re.compile("Cylinders|Tanks|Charge")
        ).all_text_contents():
            page.get_by_text(name, exact=True).click()
        for key in keys:
            page.get_by_label(key.strip(), exact=True).check()
        # the file says another number on the disk: the list is drawn anew, and what is ticked and open stays so
        file = server.folder / heron / "mk1.yaml"
        squeeze = page.locator(".varying > label", has_text="Squeeze of the rollers of stage 'rear' of 'intake': ")
        was = file.read_text(encoding="utf-8")
        file.write_text(was.replace("squeeze: 6 mm", "squeeze: 7 mm"), encoding="utf-8")
        expect(squeeze).to_contain_text("7 mm now")
        for key in keys:
            expect(page.get_by_label(key.strip(), exact=True)).to_be_checked()
            expect(page.get_by_label(key.strip(), exact=True)).to_be_visible()
        page.get_by_label("points of a match, on average").uncheck()
        page.get_by_label("air left in the emptiest tank").check()
        page.locator("#in-minutes").select_option("5")
        page.get_by_role("button", name="Search", exact=True).click()
        expect(page.locator("#fig-candidates")).to_be_visible(timeout=240_000)
        expect(page.locator("#fig-lines")).to_be_visible()
        page.locator("#axis-0").select_option(index=1)
        expect(page.locator("#fig-candidates figcaption")).to_contain_text("against air left")
        page.get_by_role("button", name="Enough: show the best so far").click()
        expect(page.locator("#search-found h2").first).to_have_text("What was found", timeout=240_000)
        expect(page.locator("#search-design figure")).not_to_have_count(0)
        cards = page.locator("#search-found .card")
        changes = cards.first.locator("li").all_text_contents()
        cards.first.get_by_role("button", name="Keep it as a variant").click()
        expect(page.locator("#search-problems")).to_contain_text("mk1_found")
    kept = load_robot(server.folder / heron / "mk1_found.yaml")
    assert kept.nominal.robot == "mk1 found"
    assert changes
    before, after = example().nominal.air, kept.nominal.air
    assert (before.tanks, before.cylinders) != (after.tanks, after.cylinders)
