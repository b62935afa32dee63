"""WCAG 2.2 AA on every view, light and dark, on a phone and on a desk: judged by axe-core in a real browser.

axe-core finds what a machine can find: contrast, names, roles, landmarks. The keyboard is tried here besides.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from fieldworthy.web.views import BY_NAME, VIEWS
from fieldworthy.web.views.guide import library
from web.browser import builds, judged, serving, show, wait_built, window

SIZES = (pytest.param(390, marks=pytest.mark.long), 1280)


def violations(page, what, where=None):
    page.wait_for_function("() => document.getAnimations().every(a => a.playState !== 'running')")
    return [(what, *one) for one in judged(page, where)]


JUDGED = {"build": ("#build-rows li", "#beside-rows li", ".strip .first"), "margins": ("#margins-rows li",)}
"""What comes once the robot is judged, after the view itself."""


def ready(page, view):
    """Wait for everything that a view shows by itself."""
    wait_built(page)
    for place in JUDGED.get(view, ()):
        page.wait_for_selector(place, state="attached")  # a phone hides what rests on nothing that is chosen


def fits(page, what):
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, (what, wide)
    assert page.evaluate(CUT) == [], what


CUT = """() => [...document.querySelectorAll('#fw-view p, #fw-view li, #fw-view dd, #fw-view svg, #fw-view .equation')]
  .filter(e => {
    const at = e.getBoundingClientRect();
    if (!at.width || at.right <= innerWidth + 1) return false;
    for (let up = e; up.id !== 'fw-view'; up = up.parentElement)  // what scrolls of its own can be reached
      if (/auto|scroll/.test(getComputedStyle(up).overflowX)) return false;
    return true;
  }).map(e => e.outerHTML.slice(0, 120))"""
"""What is cut at the right edge, though the page as a whole is not wider than the window."""


def in_both_themes(page, what, *, drawn):
    found = []
    for scheme in ("light", "dark"):
        now, before = page.evaluate("document.documentElement.dataset.theme"), builds(page)
        page.emulate_media(color_scheme=scheme)
        page.wait_for_function(f"() => document.documentElement.dataset.theme === '{scheme}'")
        if drawn and now != scheme:  # figures are drawn anew
            wait_built(page, before)
        found += violations(page, f"{what}, {scheme}")
    return found


@pytest.mark.long
@pytest.mark.parametrize("width", SIZES)
@pytest.mark.parametrize("view", [view.name for view in VIEWS])
def test_every_view_is_accessible_and_not_wider_than_the_window(browser, server, heron, view, width):
    with window(browser, server, width=width) as page:
        show(page, server, view, file=f"{heron}/mk1.yaml")
        ready(page, view)
        fits(page, view)
        found = in_both_themes(page, f"{view} at {width}", drawn=BY_NAME[view].drawn)
        if view != "guide":  # which has a glossary of its own
            page.locator("[data-term]").first.click()
            expect(page.locator("#fw-term")).to_be_visible()
            found += violations(page, f"a word of {view} at {width}", "#fw-term")
            page.keyboard.press("Escape")
        if view == "margins":
            page.locator("#margins-rows summary").first.click()
            page.wait_for_selector("#margins-rows dl")
            page.wait_for_selector("#margins-rows .equation")
            fits(page, "an opened finding")
            found += violations(page, f"an opened finding at {width}", "#margins-rows > li.finding:has(details[open])")
        if view == "build":
            page.goto(f"{server.base}/build?file={heron}/mk1.yaml&part=text")
            wait_built(page)
            page.wait_for_selector("#beside-rows li", state="attached")
            found += in_both_themes(page, f"the text at {width}", drawn=False)
        assert found == []


CHAPTERS = sorted(
    f"{folder}{place.name}"
    for folder in ("guide/", "")
    for place in library().joinpath(folder).iterdir()
    if place.name.endswith(".md") and ".template." not in place.name
)


@pytest.mark.long
def test_every_chapter_of_the_guide_is_accessible_and_fits(browser, server, heron):
    """Each chapter, and each page of the documents that the chapters lead to."""
    assert len([name for name in CHAPTERS if name.startswith("guide/")]) >= 7
    found = []
    with window(browser, server, width=390) as page:
        for name in CHAPTERS:
            show(page, server, "guide", file=f"{heron}/mk1.yaml", part=name)
            page.wait_for_selector(".guide h1")
            fits(page, name)
            found += violations(page, name, "main")
    assert found == []


@pytest.mark.long
@pytest.mark.parametrize("width", SIZES)
def test_the_start_page_and_the_question_of_a_conflict_are_accessible(browser, server, heron, width):
    with window(browser, server, width=width) as page:
        fits(page, "start")
        page.locator("details.panel summary").click()
        page.locator("summary", has_text="Display").click()
        found = in_both_themes(page, f"start at {width}", drawn=False)
        show(page, server, "build", file=f"{heron}/mk1.yaml", part="text")
        wait_built(page)
        area = page.locator("#text-area")
        area.fill(area.input_value() + "# mine\n")
        expect(page.locator("#fw-state")).to_have_text("unsaved changes")
        file = server.folder / heron / "mk1.yaml"
        file.write_text(file.read_text("utf-8") + "# theirs\n", "utf-8")
        page.wait_for_selector("#fw-conflict[open]")
        found += in_both_themes(page, f"conflict at {width}", drawn=False)
        assert found == []


def test_the_page_before_the_page_is_accessible(browser, tmp_path):
    with serving(tmp_path, "--share") as server:
        context = browser.new_context(color_scheme="dark")
        page = context.new_page()
        page.goto(server.base)
        found = violations(page, "code, dark")
        page.emulate_media(color_scheme="light")
        assert found + violations(page, "code, light") == []
        context.close()


def test_the_keyboard_reaches_everything_and_shows_where_it_is(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "margins", file=f"{heron}/mk1.yaml")
        page.wait_for_selector("#margins-rows li")
        page.keyboard.press("Tab")
        expect(page.locator(".skip")).to_be_focused()
        page.keyboard.press("Enter")
        expect(page.locator("#fw-main")).to_be_focused()
        for _ in range(9):  # two words that are explained, three tools, two more words, the head of the causes
            page.keyboard.press("Tab")
        expect(page.locator("#margins-rows summary").first).to_be_focused()
        page.keyboard.press("Enter")
        expect(page.locator("#margins-rows dl").first).to_be_visible()
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline == "solid"
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="air.supply.charge")
        charge = page.locator("#f-air_2e_supply_2e_charge")
        expect(charge).to_be_focused()
        page.keyboard.press("ArrowDown")
        expect(charge).to_have_value("6.8 bar")
        page.keyboard.press("Shift+ArrowUp")
        expect(charge).to_have_value("7.8 bar")


def test_a_verdict_that_turns_is_told_to_who_cannot_see_it(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="air.supply.charge")
        page.wait_for_selector("#beside-rows li")
        page.fill("#f-air_2e_supply_2e_charge", "50 psi")
        page.keyboard.press("Tab")
        expect(page.locator("#fw-said")).to_contain_text("Now short:")


@pytest.mark.long
@pytest.mark.parametrize("width", SIZES)
@pytest.mark.parametrize(
    ("part", "seen"),
    [
        ("plan", "#plan-cards .card"),
        ("parts", "#parts-rows tr"),
        ("turning", ".turning canvas"),
        ("", "#shelf-title"),
    ],
)
def test_every_way_to_build_is_accessible(browser, server, heron, part, seen, width):
    with window(browser, server, width=width) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", part=part, key="mechanisms.intake")
        wait_built(page)
        if not part:
            page.evaluate("document.getElementById('build-made').open = true")
            page.get_by_role("button", name="Add a mechanism").click()
            page.locator(".strip summary").first.click()
            # what has scrolled half under a bar is no target there; it is one when it is scrolled to
            page.evaluate("document.querySelectorAll('.strip, .fw-top').forEach(e => e.style.position = 'static')")
        page.wait_for_selector(seen)
        expect(page.locator(".strip .first")).to_contain_text("lacks air")  # always in sight
        assert in_both_themes(page, f"{part} at {width}", drawn=False) == []
