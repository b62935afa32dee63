"""The plan as cards: moved, repeated, taken out, in the file as on the page."""

from __future__ import annotations

import copy

import pytest
from playwright.sync_api import expect
from ruamel.yaml import YAML

from fieldworthy.web.judging import Source
from fieldworthy.web.placing import place_moved, way_of
from fieldworthy.web.views.plan import changes_of, moved, place_of, regrouped, without
from robots import EXAMPLES
from web.browser import show, window

A, B, C, D = ({"action": name, "at": "here"} for name in "abcd")
PLAN = {"start": "here", "autonomous": [A], "driven": [{"times": 3, "repeat": [B, C]}, D]}


def test_a_card_goes_before_another_in_the_same_list_or_in_another():
    before = copy.deepcopy(PLAN)
    assert moved(PLAN, place_of("driven 1"), place_of("driven 0"))["driven"] == [D, PLAN["driven"][0]]
    assert moved(PLAN, place_of("driven 0"), place_of("driven 2"))["driven"] == [D, PLAN["driven"][0]]
    assert moved(PLAN, place_of("driven 0 1"), place_of("driven 0 0"))["driven"][0]["repeat"] == [C, B]
    across = moved(PLAN, place_of("autonomous 0"), place_of("driven 0 1"))
    assert (across["autonomous"], across["driven"][0]["repeat"]) == ([], [B, A, C])
    assert before == PLAN, "the plan that was given stays as it was"


def test_a_group_stays_outside_of_groups_and_goes_when_it_is_empty():
    assert moved(PLAN, place_of("driven 0"), place_of("driven 0 1")) == PLAN
    once = moved(PLAN, place_of("driven 0 0"), place_of("autonomous 0"))
    twice = moved(once, place_of("driven 0 0"), place_of("autonomous 0"))
    assert twice == {"start": "here", "autonomous": [C, B, A], "driven": [D]}


def test_a_card_is_repeated_a_group_taken_apart_and_a_card_taken_out():
    assert regrouped(PLAN, place_of("driven 1"))["driven"][1] == {"times": 2, "repeat": [D]}
    assert regrouped(PLAN, place_of("driven 0"))["driven"] == [B, C, D]
    assert without(PLAN, place_of("driven 0"))["driven"] == [D]
    assert changes_of(PLAN, without(PLAN, place_of("driven 0"))) == {("plan", "driven"): [D]}


def test_cards_are_dragged_repeated_and_saved_with_the_match_drawn_under_them(browser, server, heron):
    file = server.folder / heron / "mk1.yaml"
    before = YAML(typ="safe", pure=True).load(file.read_text("utf-8"))["plan"]
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", part="plan")
        first = page.locator("[data-drag='autonomous 0']")
        expect(page.locator("#plan-time svg")).to_have_count(1, timeout=120_000)
        page.locator("[data-drag='autonomous 2']").drag_to(first, source_position={"x": 4, "y": 4})
        expect(first.locator("select").first).to_have_value("take pods")
        page.get_by_role("button", name="take pods at wall pods, later").first.click()
        expect(first.locator("select").first).to_have_value("grip planter")
        page.get_by_role("button", name="Take away climb at rafter").click()
        expect(page.locator("#plan-said")).to_contain_text("at least one step")
        page.get_by_role("button", name="Repeat: tip pods at gutter").first.click()
        expect(page.locator("[data-drag='autonomous 3'] input").first).to_have_value("2")
        page.keyboard.press("Control+s")
        expect(page.locator("#fw-state")).to_have_text("saved")
    after = YAML(typ="safe", pure=True).load(file.read_text("utf-8"))["plan"]
    steps = before["autonomous"]
    assert after["autonomous"] == [steps[0], steps[2], steps[1], {"times": 2, "repeat": [steps[3]]}]
    assert (after["driven"], after["finish"]) == (before["driven"], before["finish"])


def test_a_place_moves_within_the_field_and_the_way_is_each_leg_once():
    """The field is 4.2 m by 3 m about its centre; worked by hand."""
    at = ("season", "field", "places", "mid planter")
    key = "season.field.places.mid planter"
    source = Source(EXAMPLES / "mk1.yaml", ())
    assert place_moved(source, key, (0.25, -0.1, 0.0)) == {(*at, 0): "0.25 m", (*at, 1): "0.2 m"}
    assert place_moved(source, key, (0.0, 9.0, 0.0)) == {(*at, 1): "1.5 m"}
    assert place_moved(source, "season.field.size", (1.0, 1.0, 0.0)) == {}
    steps = [
        {"action": "a", "at": "one"},
        {"times": 3, "repeat": [{"action": "b", "at": "two"}, {"action": "a", "at": "one"}]},
    ]
    plan = {
        "start": "home",
        "autonomous": steps[:1],
        "driven": steps[1:],
        "finish": {"steps": [{"action": "c", "at": "two"}]},
    }
    assert way_of(plan) == [
        ("home", "one", "autonomous"), ("one", "two", "driven"), ("two", "one", "driven"), ("one", "two", "finish")
    ]  # fmt: skip


@pytest.mark.long
def test_a_place_is_dragged_on_the_field_by_mouse_and_keys_and_stands_in_the_season(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", part="plan")
        spot = page.locator("[data-spot='season.field.places.mid planter']")
        spot.scroll_into_view_if_needed()
        expect(page.locator("#plan-field .way")).not_to_have_count(0)
        scale = float(page.locator("#plan-field svg").get_attribute("data-scale"))
        across = page.evaluate("document.querySelector('#plan-field svg').getScreenCTM().a")
        box = spot.locator("circle").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + 0.5 * scale * across, y, steps=6)
        page.mouse.up()
        expect(page.locator("#fw-state")).to_have_text("unsaved changes")
        expect(spot).to_have_attribute("aria-label", "mid planter: 500 mm along, 300 mm across")
        spot.focus()
        page.keyboard.press("ArrowDown")
        expect(spot).to_have_attribute("aria-label", "mid planter: 500 mm along, 250 mm across")
        page.keyboard.press("Control+s")
        expect(page.locator("#fw-state")).to_have_text("saved")
        season = YAML(typ="safe", pure=True).load((server.folder / heron / "glasshouse.yaml").read_text("utf-8"))
        assert season["field"]["places"]["mid planter"] == ["0.5 m", "0.25 m"]
        spot.click()
        expect(page.locator("#build-name")).to_have_text("mid planter")
