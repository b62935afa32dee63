"""The parts as a table: sorted as numbers are, changed in its cells, pasted, and read back as a parts list."""

from __future__ import annotations

import csv
import re

import pytest
from playwright.sync_api import expect

from fieldworthy.robot.things import changed, opened
from fieldworthy.web.judging import Source
from fieldworthy.web.views.parts import change_of, lines_of, pasted, sorted_by
from robot import test_meshes
from robots import EXAMPLES
from web.browser import show, window

MK1 = EXAMPLES / "mk1.yaml"


def in_the_table():
    with (EXAMPLES / "mk1_parts.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_the_table_says_what_the_file_says_and_sorts_numbers_as_numbers():
    found, lines = in_the_table(), lines_of(Source(MK1, ()))
    assert [line.name for line in lines] == [row["part"] for row in found]
    assert [line.cells[0] for line in lines] == [f"{row['mass [g]']} g" for row in found]
    heaviest = sorted_by(lines, "mass", down=True)[0].name
    assert heaviest == max(found, key=lambda row: float(row["mass [g]"]))["part"]
    assert [line.name for line in sorted_by(lines, "part", down=False)] == sorted(
        (row["part"] for row in found), key=str.lower
    )


def test_pasted_rows_change_what_is_known_and_add_what_is_new():
    new = "new plate\t120 g\t0 mm\t0 mm\t90 mm\t200 mm\t100 mm\t3 mm\ttray\t2"
    rows = f"part\tmass\tx\nleft outer rail\t300 g\t\t\t\t\t\t\n{new}\n"
    changes = pasted(rows, ("left outer rail",))
    assert changes == {
        ("parts", "left outer rail", "mass"): "300 g",
        ("parts", "new plate"): {
            "mass": "120 g", "position": ["0 mm", "0 mm", "90 mm"], "size": ["200 mm", "100 mm", "3 mm"],
            "rides": "tray", "count": 2,
        },
    }  # fmt: skip
    after = opened(MK1, changed(MK1, {}, changes))
    assert after.data(("parts", "new plate", "count")) == 2
    assert pasted("only\ttwo", ()) == {}


@pytest.mark.parametrize("column", ["part", "tolerance", "", "fieldworthy"])
def test_only_the_cells_of_the_table_can_be_changed_there(column):
    assert change_of("left outer rail", column, "1") == {}


def test_a_cell_is_changed_and_a_wrong_one_refused_where_it_stands(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", part="parts")
        expect(page.locator("#parts-rows tr")).to_have_count(len(in_the_table()))
        cell = page.get_by_label("mass of left outer rail")
        cell.fill("5 bar")
        cell.press("Tab")
        expect(page.locator("#parts-said")).to_contain_text("left outer rail, mass: expected")
        cell.fill("305 g")
        cell.press("Tab")
        expect(page.locator("#parts-said")).to_be_empty()
        expect(page.locator("#fw-state")).to_have_text(re.compile("^unsaved changes$"))
        page.keyboard.press("Control+s")
        expect(page.locator("#fw-state")).to_have_text(re.compile("^saved$"))
        page.fill("[data-watch=word]", "rail")
        expect(page.locator("#parts-rows tr")).to_have_count(sum("rail" in row["part"] for row in in_the_table()))
    text = (server.folder / heron / "mk1_parts.csv").read_text("utf-8")
    assert text == (EXAMPLES / "mk1_parts.csv").read_text("utf-8").replace("left outer rail,310", "left outer rail,305")


@pytest.mark.long
def test_a_mesh_becomes_a_part_and_a_broken_one_a_sentence(browser, server, heron):
    # a box of 20 × 30 × 40 mm of aluminium: 24 cm³ of 2.7 g/cm³ are 64.8 g, worked by hand
    triangles = test_meshes.box((0, 0, 0), (20, 30, 40))
    whole = {"name": "bracket.stl", "mimeType": "model/stl", "buffer": test_meshes.stl(triangles)}
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", part="parts")
        page.get_by_text("Take in a mesh").click()
        page.get_by_role("button", name="Show what it gives").click()
        expect(page.locator("#mesh-said")).to_contain_text("choose its file")
        field = page.get_by_label("Mesh (.stl")
        said = page.locator("[role=status].said")
        field.set_input_files(whole | {"buffer": whole["buffer"][:-9]})
        expect(said).to_contain_text("says 12 triangles and holds 11", timeout=30_000)
        for name, content, told in (
            ("bomb.3mf", test_meshes.packed({"3D/3dmodel.model": bytes(210_000_000)}), "unpacks to far more"),
            ("huge.stl", bytes(20_000_001), "20 MB"),
        ):
            field.set_input_files({"name": name, "mimeType": "model/any", "buffer": content})
            expect(said).to_contain_text(told, timeout=30_000)
        field.set_input_files(whole)
        expect(said).to_contain_text("1 body", timeout=60_000)
        page.get_by_role("button", name="Show what it gives").click()
        expect(page.locator("#mesh-said")).to_contain_text("it weighs nothing")
        page.get_by_label("Material").select_option("aluminium")
        page.get_by_role("button", name="Show what it gives").click()
        expect(page.locator("#mesh-found")).to_contain_text("bracket: 0.0648 kg")
        page.get_by_role("button", name="Put 1 part in").click()
        expect(page.get_by_label("mass of bracket")).to_have_value("0.0648 kg")
        expect(page.get_by_label("height of bracket")).to_have_value("40 mm")
        page.keyboard.press("Control+z")
        expect(page.get_by_label("mass of bracket")).to_have_count(0)
