"""Building a robot on the page, by mouse and keyboard: add, fill in, rename, take away, and go on beside a mistake."""

from __future__ import annotations

import itertools
import re

import pytest
from playwright.sync_api import expect
from ruamel.yaml import YAML

from fieldworthy.engine.evaluate import evaluate
from fieldworthy.robot import load_robot
from robots import EXAMPLES
from web.browser import show, window

UNSAVED = re.compile("^unsaved changes$")
SAVED = re.compile("^saved$")


def in_file(server, name):
    """What the file says, read by another reader than the program's own."""
    return YAML(typ="safe", pure=True).load((server.folder / name).read_text("utf-8"))


def save(page):
    expect(page.locator("#fw-state")).to_have_text(UNSAVED)
    page.keyboard.press("Control+s")
    expect(page.locator("#fw-state")).to_have_text(SAVED)


def pick(page, name):
    page.locator(".pick", has_text=re.compile(f"^{name}$")).first.click()
    expect(page.locator("#build-name")).to_have_text(name)


@pytest.mark.long
def test_tanks_a_cylinder_and_a_lift_are_added_connected_and_taken_away(browser, server, heron):
    file = f"{heron}/mk1.yaml"
    with window(browser, server) as page:
        show(page, server, "build", file=file, key="air.tanks.left")
        page.get_by_role("button", name="Add a tank", exact=True).click()
        page.get_by_role("button", name="tank pair").click()
        expect(page.locator("#build-name")).to_have_text("left 2")
        page.get_by_role("button", name="Add a mechanism").click()
        page.get_by_role("button", name="swinging tray").click()
        expect(page.locator("#build-name")).to_have_text("tray 2")
        expect(page.locator("#build-list")).to_contain_text("still typical")
        expect(page.locator("#beside-about")).to_contain_text("on 'tray 2'")
        cylinder = page.locator("#f-mechanisms_2e_tray_20_2_2e_cylinder")
        expect(cylinder).to_have_value("tray 2")
        page.locator("[data-of='air.cylinders.tray 2']").click()
        tank = page.locator("#f-air_2e_cylinders_2e_tray_20_2_2e_tank")
        tank.select_option("right 2")
        load = page.locator("#f-air_2e_cylinders_2e_tray_20_2_2e_push_5f_load")
        load.fill("22 N")
        load.press("Tab")
        save(page)
        data = in_file(server, file)
        assert list(data["air"]["tanks"]) == ["left", "right", "left 2", "right 2"]
        made = data["air"]["cylinders"]["tray 2"]
        assert (made["tank"], made["mechanism"]) == ("right 2", "tray 2")
        assert made["push_load"] in ("22 N", {"value": "22 N", "basis": "estimate"}), "the shelf's tolerance is gone"
        load_robot(server.folder / file)
        page.get_by_role("button", name="Take away tray 2").click()
        expect(page.locator("#take-title")).to_be_focused()
        expect(page.locator("#build-panel")).to_contain_text("mechanism 'tray 2'")
        page.get_by_role("button", name="Keep it").click()
        expect(page.locator("#take-title")).to_have_count(0)
        page.get_by_role("button", name="Take away tray 2").click()
        page.get_by_role("button", name="Take it all away").click()
        save(page)
        data = in_file(server, file)
        assert "tray 2" not in data["air"]["cylinders"]
        assert "tray 2" not in data["mechanisms"]
        assert "tray" in data["mechanisms"]


def test_a_thing_is_renamed_and_copied_and_what_names_it_follows(browser, server, heron):
    file = f"{heron}/mk1.yaml"
    with window(browser, server) as page:
        show(page, server, "build", file=file, key="actions.take pods")
        page.fill("#build-rename", "climb")
        page.press("#build-rename", "Enter")
        expect(page.locator("#build-said")).to_contain_text("there is a 'climb' already")
        page.fill("#build-rename", "collect")
        page.press("#build-rename", "Enter")
        expect(page.locator("#build-name")).to_have_text("collect")
        page.get_by_role("button", name="Copy collect").click()
        expect(page.locator("#build-name")).to_have_text("collect 2")
        save(page)
        data = in_file(server, file)
        assert data["plan"]["autonomous"][2]["action"] == "collect"
        assert data["actions"]["collect 2"] == data["actions"]["collect"]
        assert "take pods" not in (server.folder / file).read_text("utf-8")


def test_a_mistake_is_told_at_its_box_and_the_form_goes_on_beside_one_elsewhere(browser, server, heron):
    file = f"{heron}/mk1.yaml"
    box, other = "#f-air_2e_cylinders_2e_hooks_2e_push_5f_load", "#f-air_2e_cylinders_2e_hooks_2e_moved"
    path = server.folder / file
    path.write_text(path.read_text("utf-8").replace("push_load: 18 N", "push_load: 18 bar"), "utf-8")
    with window(browser, server) as page:
        show(page, server, "build", file=file, key="air.cylinders.hooks.push_load")
        expect(page.locator("#build-problems")).to_contain_text("push load: expected a force")
        expect(page.locator("#build-list .pick", has_text="tray to mend")).to_have_count(1)
        page.fill(box, "50 psi")
        page.press(box, "Tab")
        expect(page.locator(f"{box}-said")).to_contain_text("force")
        expect(page.locator("#fw-notes")).to_be_empty()
        page.fill(box, "17 N")
        page.press(box, "Tab")
        expect(page.locator(f"{box}-said")).to_be_empty()
        page.fill(other, "7 kg")
        page.press(other, "Tab")
        save(page)
        made = in_file(server, file)["air"]["cylinders"]["hooks"]
        assert (made["push_load"], made["moved"]) == ("17 N", "7 kg")
        page.locator("#build-list .pick", has_text="tray to mend").click()
        wrong = "#f-air_2e_cylinders_2e_tray_2e_push_5f_load"
        expect(page.locator(f"{wrong}-said")).to_contain_text("force")
        page.fill(wrong, "18 N")
        page.press(wrong, "Tab")
        expect(page.locator("#build-problems")).to_be_empty()
        expect(page.locator("#beside-rows li").first).to_be_visible()


def test_what_the_season_leaves_open_is_typed_into_the_form(browser, server, heron):
    season = server.folder / heron / "glasshouse.yaml"
    text = season.read_text("utf-8")
    lines = [line for line in text.splitlines(True) if not line.startswith(("  stowed_size", "  motors:", "  tanks:"))]
    season.write_text("".join(lines), "utf-8")
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="season.limits.mass")
        page.locator("#build-more > summary").click()
        for key, said in (("stowed_5f_size", "18 in, 18 in, 18 in"), ("motors", "8"), ("tanks", "2")):
            box = f"#f-season_2e_limits_2e_{key}"
            page.fill(box, said)
            page.press(box, "Tab")
            expect(page.locator("#fw-state")).to_have_text(UNSAVED)
            expect(
                page.locator("#build-rows [data-row='season.limits." + key.replace("_5f_", "_") + "']")
            ).to_be_visible()
        save(page)
        limits = in_file(server, f"{heron}/glasshouse.yaml")["limits"]
        assert limits["stowed_size"] == ["18 in", "18 in", "18 in"]
        assert (limits["motors"], limits["tanks"]) == (8, 2)


def test_a_section_that_the_file_does_not_have_is_added_with_what_it_needs(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="mechanisms.clamp")
        page.locator("#build-more > summary").click()
        page.get_by_role("button", name="Add toggle").click()
        form = page.locator("form[data-submit=fill]")
        expect(form.locator("input[type=text]")).to_have_count(4)
        for box, said in zip(form.locator("input[type=text]").all(), ("40 mm", "35 mm", "3 mm", "a lot"), strict=True):
            box.fill(said)
        form.get_by_role("button", name="Add toggle").click()
        expect(page.locator("#blank-said")).to_contain_text("number with a unit")
        form.locator("input[type=text]").last.fill("60 N")
        form.get_by_role("button", name="Add toggle").click()
        expect(page.locator("#f-mechanisms_2e_clamp_2e_toggle_2e_past")).to_have_value("3 mm")
        save(page)
        toggle = in_file(server, f"{heron}/mk1.yaml")["mechanisms"]["clamp"]["toggle"]
        assert toggle == {"link": "40 mm", "other": "35 mm", "past": "3 mm", "preload": "60 N"}


@pytest.mark.long
def test_the_strip_leads_with_causes_and_a_change_is_tried_held_against_and_dropped(browser, server, heron):
    file = f"{heron}/mk1.yaml"
    found = evaluate(load_robot(server.folder / file))
    with window(browser, server) as page:
        show(page, server, "build", file=file)
        strip = page.locator(".strip")
        expect(strip.locator(".first")).to_have_text(found.causes[0].lead.because)
        expect(strip.locator(".count[data-verdict=short] b")).to_have_text(str(len(found.short)))
        strip.locator("summary").first.click()
        expect(strip.locator(".causes > li")).to_have_count(min(6, len(found.causes)))
        for then in ("Cancel", None):  # it can be ended, and asked for again
            strip.get_by_role("button", name="What would mend them?").click()
            if then:
                strip.get_by_role("button", name=then).click()
                expect(strip.locator("#strip-run")).to_have_text("Cancelled.")
        strip.get_by_role("button", name=re.compile("^Try: ")).first.click(timeout=90_000)
        expect(strip.locator(".tried")).to_contain_text(f"Short: {len(found.short)} before")
        expect(strip.locator(".tried")).to_contain_text("the same before and after", timeout=120_000)
        expect(page.locator("#fw-state")).to_have_text(UNSAVED)
        strip.get_by_role("button", name="Drop it").click()
        expect(page.locator("#fw-state")).to_have_text(SAVED)
        expect(strip.locator(".count[data-verdict=short] b")).to_have_text(str(len(found.short)))
    assert (server.folder / file).read_bytes() == (EXAMPLES / "mk1.yaml").read_bytes()


HOLD_BACK = """
window.late = [];
for (const name of ["rows", "settled"]) {
  const now = fw[name];
  if (now) fw[name] = (...what) => late.push({ text: JSON.stringify(what), go: () => now(...what) });
}"""
"""What the server has the browser do waits until the test lets it come, in its order."""


@pytest.mark.long
def test_a_number_never_jumps_back_while_a_slow_machine_draws_late(browser, server, heron):
    box = "#f-air_2e_cylinders_2e_hooks_2e_pull_5f_load"
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="air.cylinders.hooks.pull_load")
        expect(page.locator(box)).to_be_focused()
        expect(page.locator("#beside-rows li").first).to_be_visible()
        page.evaluate(HOLD_BACK)
        shown = [page.locator(box).input_value()]
        for _ in range(6):
            page.press(box, "ArrowUp")
            shown.append(page.locator(box).input_value())
            page.wait_for_function("text => late.some((each) => each.text.includes(text))", arg=f'value=\\"{shown[-1]}')
            held = page.evaluate("late.length")
            page.press(box, "ArrowUp")
            shown.append(page.locator(box).input_value())
            page.wait_for_timeout(1800)
            page.evaluate("many => late.splice(0, many).forEach((each) => each.go())", held)
            expect(page.locator(box)).to_have_value(shown[-1])
        numbers = [float(text.partition(" ")[0]) for text in shown]
        assert all(b > a for a, b in itertools.pairwise(numbers)), shown
        page.fill(box, "15")
        page.wait_for_timeout(1800)
        page.evaluate("late.splice(0).forEach((each) => each.go())")
        expect(page.locator(box)).to_have_value("15")
        page.evaluate("setInterval(() => late.splice(0).forEach((each) => each.go()), 50)")
        page.fill(box, "151 N")
        page.press(box, "Tab")
        save(page)
        expect(page.locator(box)).to_have_value("151 N")
        assert in_file(server, f"{heron}/mk1.yaml")["air"]["cylinders"]["hooks"]["pull_load"] == "151 N"
