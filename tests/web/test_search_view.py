"""The view of a search, in a real browser: what may vary, what is found while it runs, a design kept as a variant."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect

from fieldworthy.robot import load_robot
from fieldworthy.web.judging import Source, texts_of
from fieldworthy.web.runs import varying
from robots import example
from web.browser import enter, judged, show, watched, window


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


@pytest.mark.long
def test_candidates_are_left_out_by_mouse_by_touch_and_by_keyboard(browser, server, heron):
    """What is left is counted here from the numbers behind the figure, saved as the page saves them."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    errors = []
    page = watched(context, server, errors)
    enter(page, server)
    show(page, server, "search", file=f"{heron}/mk1.yaml")
    hours, forward = _searched_for_hours(page)
    left = page.locator("#search-count")
    expect(left).to_contain_text(f"{len(hours)} left of {len(hours)} ")
    names = page.locator("#fig-lines text").all_text_contents()
    assert {"Hours [h]", "Forward position of part 'battery' [mm]"} <= set(names)
    assert not [name for name in names if re.search(r"\w\.\w\w|_|\[\d", name)], "no keys of the file"

    _by_mouse_on_an_axis(page, hours)
    _by_touch_on_the_plot(context, page, hours, forward)
    _by_keyboard(page, hours)

    plot = page.locator('#fig-candidates [data-brush="xy"]')
    _dragged(context, page, _box(plot), ((0.05, 0.5),))  # a touch of the plot shows the candidate that is nearest
    expect(page.locator("#search-candidate figure")).to_have_count(2)
    page.locator("#search-list button").nth(1).click()
    page.get_by_role("button", name="Keep it as a variant").first.click()
    expect(page.locator("#search-problems")).to_contain_text("mk1_found")
    assert not judged(page)
    context.close()
    assert not errors
    kept = load_robot(server.folder / heron / "mk1_found.yaml")
    assert kept.nominal.parts["battery"].position != example().nominal.parts["battery"].position


def _by_mouse_on_an_axis(page, hours):
    left = page.locator("#search-count")
    axis = page.locator('#fig-lines [data-brush="x"][data-of="0"]')
    ends = [float(axis.get_attribute(f"data-x{i}")) for i in (0, 1)]
    box = _box(axis)
    page.mouse.move(box["x"] + 1, box["y"] + 18)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 18, steps=4)
    page.mouse.up()
    most = ends[0] + 0.3 * (ends[1] - ends[0])
    few = hours <= most
    assert 0 < few.sum() < len(hours)
    expect(left).to_contain_text(f"{few.sum()} left of {len(hours)} ")
    assert page.locator("#search-list tr").count() == min(12, few.sum())
    listed = page.locator("#search-list tr td:nth-child(2)").all_text_contents()
    assert all(float(text) <= most * (1 + 1e-3) for text in listed)
    expect(page.locator("#fig-candidates desc")).to_contain_text(f"{len(hours) - few.sum()} others left out")
    expect(page.locator("#fig-lines desc")).to_contain_text(f"{few.sum()} candidates are left")


def _by_touch_on_the_plot(context, page, hours, forward):
    left = page.locator("#search-count")
    page.locator("#axis-0").select_option(label="Forward position of part 'battery'")  # it goes up, hours across
    expect(page.locator("#fig-candidates figcaption")).to_contain_text(
        "Forward position of part 'battery' against hours"
    )
    plot = page.locator('#fig-candidates [data-brush="xy"]')
    edges = [float(plot.get_attribute(f"data-{end}")) for end in ("x0", "x1", "y0", "y1")]
    box = _box(plot)
    _dragged(context, page, box, ((0.02, 0.02), (0.9, 0.5)))
    low = edges[3] + 0.5 * (edges[2] - edges[3])
    both = (hours <= edges[0] + 0.9 * (edges[1] - edges[0])) & (forward >= low)
    assert 0 < both.sum() < len(hours)
    expect(left).to_contain_text(f"{both.sum()} left of {len(hours)} ")
    expect(page.locator("#fig-lines desc")).to_contain_text(f"{both.sum()} candidates are left")  # drawn anew
    axis = page.locator('#fig-lines [data-brush="x"][data-of="0"]')
    _dragged(context, page, _box(axis), ((0.5, 0.5),))  # a touch takes all of an axis again
    expect(left).to_contain_text(f"{(forward >= low).sum()} left of {len(hours)} ")
    page.get_by_role("button", name="Take all again").click()
    expect(left).to_contain_text(f"{len(hours)} left of {len(hours)} ")


def _by_keyboard(page, hours):
    left = page.locator("#search-count")
    page.get_by_text("Leave out by sliders").click()
    page.get_by_label("Hours, to", exact=True).focus()
    for _ in range(70):
        page.keyboard.press("ArrowLeft")
    few = hours <= hours.min() + 0.3 * np.ptp(hours) + 1e-9
    expect(left).to_contain_text(f"{few.sum()} left of {len(hours)} ")
    expect(page.locator("#fig-candidates desc")).to_contain_text(f"{len(hours) - few.sum()} others left out")
    expect(page.get_by_label("Hours, to", exact=True)).to_be_focused()


def _searched_for_hours(page):
    """Search where the battery may lie for the fewest hours: no matches; hours and places of what was tried."""
    expect(page.locator("details.varied").first).to_be_visible()
    page.evaluate("document.querySelectorAll('details.varied').forEach((one) => { one.open = true; })")
    for box in page.locator(".varying > label", has_text="Part 'battery'").all():
        box.locator("input").check()
    page.get_by_label("What holds now must go on holding").uncheck()
    page.get_by_label("points of a match, on average").uncheck()
    page.get_by_label("few hours of work").check()
    page.locator("#in-minutes").select_option("0.5")
    page.get_by_role("button", name="Search", exact=True).click()
    expect(page.locator("#fig-lines")).to_be_visible(timeout=100_000)
    page.get_by_role("button", name="Enough: show the best so far").click()
    expect(page.locator("#search-found h2").first).to_have_text("What was found", timeout=100_000)
    page.evaluate("document.querySelectorAll('details.varied').forEach((one) => { one.open = false; })")
    with page.expect_download() as saved:
        page.get_by_label("Save Each candidate as a line").last.click()
    rows = list(csv.DictReader(Path(saved.value.path()).read_text(encoding="utf-8").splitlines()))
    names = ("Hours [h]", "Forward position of part 'battery' [mm]")
    return tuple(np.array([float(row[name]) for row in rows]) for name in names)


def _box(element):
    element.evaluate("(at) => at.scrollIntoView({ block: 'center' })")
    return element.bounding_box()


def _dragged(context, page, box, places):
    """Put a finger down, move it, and take it away."""
    session = context.new_cdp_session(page)
    points = [{"x": box["x"] + x * box["width"], "y": box["y"] + y * box["height"]} for x, y in places]
    session.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": points[:1]})
    for share in (0.2, 0.5, 1.0) if points[1:] else ():
        at = {key: points[0][key] + share * (points[1][key] - points[0][key]) for key in ("x", "y")}
        session.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [at]})
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


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
