"""Placing things in the drawing: what a drag writes into which file, and that pairs move as mirrored."""

from __future__ import annotations

import csv
import io
import re

import pytest
from playwright.sync_api import expect

from fieldworthy.robot.shelf import length_of
from fieldworthy.robot.things import changed, opened
from fieldworthy.web.judging import Source
from fieldworthy.web.placing import dropped, moved, partner_of, sized, spots_of
from robots import EXAMPLES
from web.browser import show, window

MK1 = EXAMPLES / "mk1.yaml"
SOURCE = Source(MK1, ())


def rows(texts):
    return {row["part"]: row for row in csv.DictReader(io.StringIO(texts[EXAMPLES / "mk1_parts.csv"]))}


def test_a_wheel_takes_its_mirror_image_with_it_and_keeps_its_unit():
    changes = moved(SOURCE, "drive.wheels.left front.position", (0.01, 0.005, 0.0), True)
    # by hand: 130 mm and 10 mm, 155 mm and 5 mm outwards on both sides
    wheels = ("drive", "wheels")
    assert changes == {
        (*wheels, "left front", "position", 0): "140 mm",
        (*wheels, "left front", "position", 1): "160 mm",
        (*wheels, "right front", "position", 0): "140 mm",
        (*wheels, "right front", "position", 1): "-160 mm",
    }
    alone = moved(SOURCE, "drive.wheels.left front.position", (0.01, 0.005, 0.0), False)
    assert alone == {path: value for path, value in changes.items() if path[2] == "left front"}


def test_a_part_of_the_table_is_moved_and_sized_there():
    changes = moved(SOURCE, "parts.left outer rail.position", (0.0, 0.0, 0.02), True)
    after = rows(changed(MK1, {}, changes))
    assert (after["left outer rail"]["z [mm]"], after["right outer rail"]["z [mm]"]) == ("80", "80")
    grown = rows(changed(MK1, {}, sized(SOURCE, "parts.left outer rail.position", (0.05, 0.0, 0.0), True)))
    # by hand: 400 mm and 50 mm; its middle goes half as far, from 10 mm to 35 mm
    for side in ("left", "right"):  # a pair stays one
        assert (grown[f"{side} outer rail"]["length [mm]"], grown[f"{side} outer rail"]["x [mm]"]) == ("450", "35")
    alone = sized(SOURCE, "parts.left outer rail.position", (0.05, 0.0, 0.0), False)
    assert {path[1] for path in alone} == {"left outer rail"}
    wider = rows(changed(MK1, {}, sized(SOURCE, "parts.left outer rail.position", (0.0, 0.01, 0.0), True)))
    # by hand: 25 mm and 10 mm; both grow outwards, from 185 mm to 190 mm on either side
    assert [wider[f"{side} outer rail"]["y [mm]"] for side in ("left", "right")] == ["190", "-190"]


def test_a_part_never_shrinks_to_nothing():
    changes = sized(SOURCE, "parts.left outer rail.position", (0.0, 0.0, -1.0), False)
    assert changes[("parts", "left outer rail", "size", 2)] == "5 mm"


def test_what_stands_in_the_middle_has_no_other_of_its_pair():
    spots = {spot.key: spot for spot in spots_of(opened(MK1, {}))}
    left = spots["drive.wheels.left rear.position"]
    found = partner_of(spots.values(), left)
    assert found is not None
    assert found.key == "drive.wheels.right rear.position"
    assert partner_of(spots.values(), spots["ballast.between the rear motors.position"]) is None


def test_a_pin_moves_in_the_plane_it_is_given_in():
    changes = moved(SOURCE, "mechanisms.tray.fixed_pin", (0.003, 0.5, -0.004), True)
    assert changes == {
        ("mechanisms", "tray", "fixed_pin", 0): "118 mm",
        ("mechanisms", "tray", "fixed_pin", 1): "225 mm",
    }


@pytest.mark.parametrize("key", ["parts.nothing.position", "drive.motors", ""])
def test_what_is_not_in_the_drawing_cannot_be_moved(key):
    assert moved(SOURCE, key, (0.1, 0.1, 0.1), True) == {}
    assert sized(SOURCE, key, (0.1, 0.1, 0.1), True) == {}


def answered(page):
    """How often the window has been told what follows from where a thing is dragged past."""
    return int(page.evaluate("Number(document.documentElement.dataset.moves ?? 0)"))


def test_a_thing_is_dragged_and_nudged_and_its_number_and_findings_follow(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="parts.battery")
        side = page.locator("svg[data-plane=xz]")
        spot = side.locator("[data-spot='parts.battery.position']")
        expect(side.locator(".cg")).to_have_count(1)
        expect(page.locator("#beside-about")).to_contain_text("that rest on 'battery'")
        box, scale = (
            spot.locator("rect:not(.handle)").bounding_box(),
            side.evaluate("svg => Number(svg.dataset.scale) * svg.getScreenCTM().a"),
        )
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        before = page.locator("#beside-rows").inner_text()
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + 0.040 * scale, y + 0.2 * scale, steps=6)
        expect(page.locator("#beside-rows")).not_to_have_text(before, use_inner_text=True)  # before it is let go
        expect(page.locator("#fw-state")).to_have_text("saved")
        page.mouse.move(x, y, steps=2)
        expect(page.locator("#beside-rows")).to_have_text(before, use_inner_text=True)
        told = answered(page)
        page.mouse.move(x + 0.040 * scale, y - 0.030 * scale, steps=6)
        page.wait_for_function("n => Number(document.documentElement.dataset.moves) > n", arg=told)
        page.mouse.up()
        # by hand: -120 mm and 40 mm forward, 110 mm and 30 mm up
        forward = page.locator("#f-parts_2e_battery_2e_position_5b_0_5d_")
        up = page.locator("#f-parts_2e_battery_2e_position_5b_2_5d_")
        expect(forward).to_have_value("-80 mm")
        expect(up).to_have_value("140 mm")
        expect(page.locator("#fw-state")).to_have_text(re.compile("^unsaved changes$"))
        spot.focus()
        page.keyboard.press("ArrowLeft")
        page.keyboard.press("Shift+ArrowLeft")
        expect(forward).to_have_value("-86 mm")
        page.click("#fw-undo")
        expect(up).to_have_value("110 mm")
        expect(forward).to_have_value("-120 mm")


@pytest.mark.long
def test_what_was_close_stays_so_while_something_else_moves(browser, server, heron):
    """The place of a ballast without mass changes no number: no verdict may turn by being asked about again."""
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="ballast.between the rear motors")
        spot = page.locator("svg[data-plane=xz] [data-spot='ballast.between the rear motors.position']")
        expect(page.locator("#beside-rows [data-verdict=close]").first).to_be_visible()
        before, told = page.locator("#beside-rows").inner_text(), answered(page)
        box = spot.locator("circle").bounding_box()
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.mouse.down()
        page.mouse.move(box["x"] + 60, box["y"] - 20, steps=4)
        page.wait_for_function("n => Number(document.documentElement.dataset.moves) > n", arg=told)
        page.wait_for_timeout(300)
        expect(page.locator("#beside-rows")).to_have_text(before, use_inner_text=True)
        page.mouse.up()


def middle(files, keys):
    """The middle of the box around some things, as a drawing shows them [m]."""
    found = [spot for spot in spots_of(files) if spot.key in keys]
    assert found
    ends = [[(s.at[i] - (s.size[i] if s.size else 0) / 2, s.at[i] + (s.size[i] if s.size else 0) / 2) for s in found]
            for i in range(3)]  # fmt: skip
    return [(min(low for low, _ in axis) + max(high for _, high in axis)) / 2 for axis in ends]


def test_what_is_dropped_stands_where_it_was_let_go_and_not_in_the_floor():
    before = {spot.key for spot in spots_of(opened(MK1, {}))}
    path, texts = dropped(SOURCE, ("parts",), None, {"x": 0.1, "z": 0.25})
    after = opened(MK1, dict(texts))
    x, _, z = middle(after, {spot.key for spot in spots_of(after)} - before)
    assert (x, z) == pytest.approx((0.1, 0.25))
    sunk = opened(MK1, dict(dropped(SOURCE, ("parts",), None, {"x": 0.1, "z": -0.2})[1]))
    size, at = (sunk.data((*path, key)) for key in ("size", "position"))
    assert length_of(at[2]) == pytest.approx(length_of(size[2]) / 2)  # by hand: it lies on the floor


@pytest.mark.long
def test_a_typical_thing_is_dragged_from_the_shelf_onto_the_drawing(browser, server, heron):
    """By the mouse, from its grip to a place in the view from the side; what it is put at is measured in the file."""
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml")
        side = page.locator("svg[data-plane=xz]")
        expect(side.locator(".cg")).to_have_count(1)
        page.click("[aria-label='Add a mechanism']")
        card = page.locator("li[data-shelf]", has=page.get_by_role("button", name="swinging tray", exact=True))
        expect(card).to_be_visible()
        assert side.evaluate("svg => svg.getBoundingClientRect().bottom") > 200, "the drawing is in sight"
        svg = side.bounding_box()
        across, down = svg["x"] + 0.7 * svg["width"], svg["y"] + 0.6 * svg["height"]
        told = side.evaluate(
            "(svg, [x, y]) => { const p = new DOMPoint(x, y).matrixTransform(svg.getScreenCTM().inverse());"
            " return [+svg.dataset.left + p.x / svg.dataset.scale, +svg.dataset.top - p.y / svg.dataset.scale] }",
            [across, down],
        )
        grip = card.locator(".grip").bounding_box()
        page.mouse.move(grip["x"] + 4, grip["y"] + 6)
        page.mouse.down()
        page.mouse.move(grip["x"] - 20, grip["y"] - 20, steps=3)
        page.mouse.move(across, down, steps=8)
        page.mouse.up()
        expect(page.locator("#build-name")).to_have_text(re.compile("^tray"))
        expect(page.locator("#fw-state")).to_have_text("unsaved changes")
        page.click("#fw-save")
        expect(page.locator("#fw-state")).to_have_text("saved")
        name = page.locator("#build-rename").input_value()
    file = server.folder / heron / "mk1.yaml"
    before, after = opened(MK1, {}), opened(file, {})
    fresh = {spot.key for spot in spots_of(after)} - {spot.key for spot in spots_of(before)}
    assert any(key.startswith(f"mechanisms.{name}") for key in fresh)
    x, _, z = middle(after, fresh)
    assert (x, z) == pytest.approx(told, abs=0.004)  # half a step of the drawing, and rounding


def test_the_scene_turns_without_a_network_and_a_double_click_opens_a_form(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", part="turning")
        box = page.locator(".turning canvas").bounding_box()
        page.wait_for_function("() => document.getAnimations().every(a => a.playState !== 'running')")
        for _ in range(20):  # the scene takes clicks only once it is drawn, and does not say when
            page.mouse.dblclick(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
            page.wait_for_timeout(500)
            if "key=" in page.url:
                break
        page.wait_for_url(re.compile("key="))
        expect(page.locator("#build-rename")).to_be_visible()
