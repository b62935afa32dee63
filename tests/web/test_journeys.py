"""Whole jobs of a team on the page, by touch on a phone's width and by the keyboard alone."""

from __future__ import annotations

import re
from contextlib import contextmanager

import pytest
from playwright.sync_api import expect
from ruamel.yaml import YAML

from fieldworthy.robot import load_robot
from fieldworthy.units import an
from web.browser import enter, serving, show, watched, window

pytestmark = pytest.mark.long
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}


@contextmanager
def phone(browser, server):
    """A window on a phone, which is only tapped; nothing that is shown is wider than it."""
    context, errors = browser.new_context(**PHONE), []
    try:
        page = watched(context, server, errors)
        enter(page, server)
        yield page
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), "something is cut"
        assert not errors, errors
    finally:
        context.close()


def tab_to(page, selector, most=500):
    """Come to an element as who has no mouse does."""
    for _ in range(most):
        if page.evaluate("s => Boolean(document.activeElement?.matches(s))", selector):
            return
        page.keyboard.press("Tab")
    pytest.fail(f"Tab does not come to {selector}")


def in_file(server, name):
    return YAML(typ="safe").load((server.folder / name).read_text("utf-8"))


def saved(page):
    expect(page.locator("#fw-state")).to_have_text(re.compile("^saved"))


def test_by_touch_from_an_empty_folder_to_causes(browser, tmp_path):
    folder = tmp_path / "team"
    folder.mkdir()
    with serving(folder) as server, phone(browser, server) as page:
        page.fill("#in-name", "Plover")
        for name in ("swinging tray", "clamp", "two-stage intake"):
            page.get_by_label(name, exact=True).tap()
        page.get_by_role("button", name="Make the file").tap()
        expect(page.locator("#fw-title")).not_to_have_text("What will the robot really do?")
        assert (folder / "plover.yaml").exists()
        load_robot(folder / "plover.yaml")
        page.goto(f"{server.base}/build?file=plover.yaml")
        strip = page.locator(".strip")
        expect(strip).to_contain_text(re.compile("short|close"))
        expect(strip).to_contain_text("not judged")
        page.locator("nav a", has_text="Margins").first.tap()
        page.wait_for_selector("#margins-rows li")
        page.locator("#margins-rows").get_by_role("button", name="Clamp").tap()
        page.locator("#margins-rows summary").first.tap()
        expect(page.locator("#margins-rows dl").first).to_be_visible()


class Touch:
    """What a finger does."""

    window = staticmethod(phone)

    @staticmethod
    def press(page, selector):
        page.locator(selector).first.scroll_into_view_if_needed()
        page.locator(selector).first.tap()

    @staticmethod
    def choose_last(page, selector):
        box = page.locator(selector).last
        box.select_option(box.locator("option").last.get_attribute("value"))

    @staticmethod
    def write(page, selector, text):
        page.fill(selector, text)
        page.press(selector, "Enter")


class Keyboard:
    """What hands do that have no mouse."""

    window = staticmethod(window)

    @staticmethod
    def press(page, selector):
        tab_to(page, selector)
        page.keyboard.press("Enter")

    @staticmethod
    def choose_last(page, selector):
        tab_to(page, selector)
        page.keyboard.press("End")

    @staticmethod
    def write(page, selector, text):
        tab_to(page, selector)
        page.keyboard.press("Control+a")
        page.keyboard.type(text)
        page.keyboard.press("Enter")


def _add(hands, page, what, typical=""):
    if page.locator("#build-made:not([open])").count():
        hands.press(page, "#build-made > summary")
    hands.press(page, f"[aria-label='Add {an(what)}']")
    if typical:
        expect(page.locator(".shelf button").first).to_be_visible()
        found = page.locator(".shelf").get_by_role("button", name=typical, exact=True)
        hands.press(page, f".shelf [data-place='{found.get_attribute('data-place')}']")


@pytest.mark.parametrize("hands", [Touch, Keyboard])
def test_a_tank_pair_cylinders_a_lift_and_its_action_are_added_and_seen_in_air_and_match(hands, browser, server, heron):
    file = f"{heron}/mk1.yaml"
    with hands.window(browser, server) as page:
        show(page, server, "build", file=file, key="air.tanks.left")
        page.wait_for_selector("#build-rows li")
        _add(hands, page, "tank", "tank pair")
        expect(page.locator("#build-name")).to_have_text("left 2")
        for name in ("cylinder", "cylinder 2"):
            _add(hands, page, "cylinder")
            expect(page.locator("#build-name")).to_have_text(name)
            box = "#f-air_2e_cylinders_2e_" + name.replace(" ", "_20_") + "_2e_tank"
            hands.choose_last(page, box)
            expect(page.locator(box)).to_have_value("right 2")
        _add(hands, page, "mechanism", "swinging tray")
        expect(page.locator("#build-name")).to_have_text("tray 2")
        _add(hands, page, "action")
        expect(page.locator("#build-name")).to_have_text("action")
        hands.write(page, "#build-rename", "tip tray 2")
        expect(page.locator("#build-name")).to_have_text("tip tray 2")
        hands.press(page, ".parts a[href*='part=plan']")
        steps = page.locator("[data-change=card][data-part=action][data-of^='driven ']")
        page.wait_for_selector("[data-do=one-more][data-of=driven]")
        before = steps.count()
        hands.press(page, "[data-do=one-more][data-of=driven]")
        expect(steps).to_have_count(before + 1)
        last = f"[data-change=card][data-part=action][data-of='{steps.last.get_attribute('data-of')}']"
        hands.choose_last(page, last)
        expect(page.locator("[data-part=action] option[value='tip tray 2']:checked")).to_have_count(1)
        hands.press(page, "#fw-save")
        saved(page)
        data = in_file(server, file)
        assert {"cylinder", "cylinder 2", "tray 2"} <= set(data["air"]["cylinders"])
        assert "tip tray 2" in str(data["plan"])
        load_robot(server.folder / file)
        hands.press(page, "nav a[href^='/air']")
        expect(page.locator("section", has=page.locator("[data-drag='cylinder 2']")).last).to_contain_text("right 2")
        hands.press(page, "nav a[href^='/match']")
        expect(page.locator("#match-sum b")).to_be_visible(timeout=90_000)
        expect(page.locator("#fig-timeline")).to_contain_text("tip tray 2")


def test_by_keyboard_a_stage_is_renamed_and_what_others_refer_to_is_taken_away(browser, server, heron):
    file = f"{heron}/mk1.yaml"
    with window(browser, server) as page:
        show(page, server, "build", file=file, key="mechanisms.intake.object")
        page.wait_for_selector("[data-change=rename][data-of='mechanisms.intake.stages.rear']")
        tab_to(page, "[data-change=rename][data-of='mechanisms.intake.stages.rear']")
        page.keyboard.press("Control+a")
        page.keyboard.type("upper flight")
        page.keyboard.press("Enter")
        expect(page.locator("#f-mechanisms_2e_intake_2e_hold_2e_stage")).to_have_value("upper flight")
        page.keyboard.press("Control+s")
        saved(page)
        data = in_file(server, file)["mechanisms"]
        assert data["intake"]["hold"]["stage"] == data["sorter"]["stage"] == "upper flight"
        assert list(data["intake"]["stages"])[-1] == "upper flight"
        show(page, server, "build", file=file, key="air.tanks.left.tank")
        page.wait_for_selector("#build-rows li")
        tab_to(page, "[data-do=take][data-of='air.tanks.left']")
        page.keyboard.press("Enter")
        expect(page.locator("#take-title")).to_be_focused()
        expect(page.locator("#build-panel")).to_contain_text("cylinder 'hooks'")
        tab_to(page, "[data-do=taken]", 20)
        page.keyboard.press("Space")
        expect(page.locator("#take-title")).to_have_count(0)
        page.keyboard.press("Control+s")
        saved(page)
        left = in_file(server, file)["air"]
        assert "left" not in left["tanks"]
        assert all(cylinder["tank"] != "left" for cylinder in left["cylinders"].values())


def test_by_keyboard_a_variant_is_made_changed_and_compared(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "versions", file=f"{heron}/mk1.yaml")
        tab_to(page, "#in-variant")
        page.keyboard.press("Control+a")
        page.keyboard.type("Heron light")
        page.keyboard.press("Enter")
        page.wait_for_url(re.compile("build"))
        show(page, server, "build", file=f"{heron}/heron_light.yaml", key="parts.battery.mass")
        tab_to(page, "#f-parts_2e_battery_2e_mass")
        page.keyboard.press("Control+a")
        page.keyboard.type("300 g")
        page.keyboard.press("Tab")
        expect(page.locator("#fw-state")).to_have_text("unsaved changes")
        page.keyboard.press("Control+s")
        saved(page)
        tab_to(page, "nav a[href^='/compare']")
        page.keyboard.press("Enter")
        page.wait_for_url(re.compile("compare"))
        box = page.locator("fieldset input[type=checkbox], fieldset input[type=radio]").first
        expect(box).to_be_visible()
        tab_to(page, "fieldset input")
        if not page.evaluate("document.activeElement.checked"):
            page.keyboard.press("Space")
        tab_to(page, "#fw-view button[type=submit], #fw-view [data-do]", 60)
        page.keyboard.press("Enter")
        expect(page.locator("#compare-found")).to_contain_text("Recommendation", timeout=90_000)
