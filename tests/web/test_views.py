"""Robot, air, match, intake, path and comparison as a person meets them, in a real browser."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from datetime import date
from urllib.parse import unquote

import numpy as np
import pytest
from playwright.sync_api import expect
from ruamel.yaml import YAML

from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.match import forecast
from fieldworthy.robot import load_robot
from fieldworthy.systems.air.figure import air_curves
from fieldworthy.units import margin_text
from fieldworthy.web.views import guide
from robots import EXAMPLES, example, find, nominal, on_tanks
from web.browser import show, window

UNSAVED = re.compile("^unsaved changes$")


def tank_of(page, cylinder):
    return page.locator(f".holder:has([data-drag='{cylinder}'])")


def saved(page, figure, kind):
    """What a figure's button sends to the person's folder, under a name that says what it is and of when."""
    with page.expect_download() as coming:
        page.locator(f"#fig-{figure} button", has_text=kind.upper()).click()
    view = re.search(r"/(\w+)\?", page.url)[1]
    assert coming.value.suggested_filename == f"heron_mk1_{view}_{figure}_{date.today():%Y_%m_%d}.{kind}"
    return coming.value.path().read_bytes()


def test_the_robot_is_drawn_in_every_pose(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "robot", file=f"{heron}/mk1.yaml")
        poses = list(example().nominal.poses)
        expect(page.locator("#pose option")).to_have_text(poses)
        for pose in poses:
            page.select_option("#pose", pose)
            expect(page.locator("#robot-pose figcaption")).to_contain_text(pose)
        expect(page.locator("[data-title='On the bar'] figure")).to_have_count(1)
        moves = page.locator("[data-title='How it moves'] figure")
        expect(moves).to_have_count(6)  # the clamp has no drawing elsewhere


def test_the_open_view_is_in_sight_in_the_bar_of_a_phone(browser, server, heron):
    with window(browser, server, width=390) as page:
        for view in ("documents", "build"):
            show(page, server, view, file=f"{heron}/mk1.yaml")
            here = page.locator("#fw-views [aria-current=page]")
            expect(here).to_be_in_viewport(ratio=0.99)
            assert here.get_attribute("href").startswith(f"/{view}")


def test_an_arm_follows_its_slider_by_hand_and_by_itself(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "robot", file=f"{heron}/mk1.yaml")
        slider = page.get_by_label("'tray', from down to up")
        caption = page.locator(".slid", has=slider).locator("figcaption span").first
        for share in ("0", "40", "100"):
            slider.fill(share)
            expect(caption).to_contain_text(f"{share} %")
        slider.focus()
        page.keyboard.press("ArrowLeft")
        expect(caption).to_contain_text("99 %")
        slider.fill("0")
        page.get_by_role("button", name="Run 'tray' up").click()
        expect(caption).to_contain_text("100 %")
        expect(page.get_by_role("button", name="Run 'tray' up")).to_have_attribute("aria-pressed", "false")


def test_a_cylinder_is_dragged_to_another_tank_and_its_margin_moves(browser, server, heron):
    """The other tank's curve is that of the same robot with that one word changed in its file."""
    file = server.folder / heron / "mk1.yaml"
    with window(browser, server) as page:
        show(page, server, "air", file=f"{heron}/mk1.yaml")
        clamp = page.locator("[data-drag=clamp] .told")
        expect(clamp).to_contain_text("needs")
        before = clamp.inner_text()
        page.locator("[data-drag=tray]").drag_to(page.locator("[data-drop=right]"))
        expect(tank_of(page, "tray")).to_have_attribute("data-drop", "right")
        expect(clamp).not_to_have_text(before)
        expect(page.locator("#shown-told")).to_contain_text("Before, the tightest margin was")
        expect(page.locator("#fw-state")).to_have_text(UNSAVED)
        page.keyboard.press("Control+s")
        expect(page.locator("#fw-state")).to_have_text("saved")
        told = page.locator("[data-drag=clamp] .told").inner_text()
    loaded = load_robot(file)
    assert loaded.nominal.air.cylinders["tray"].tank == "right"
    changed = [(a, b) for a, b in zip(_lines(EXAMPLES / "mk1.yaml"), _lines(file), strict=True) if a != b]
    assert changed == [("      tank: left", "      tank: right")]
    moved = air_curves(on_tanks(nominal(example()), {"tray": "right"}))
    level = next(level for tank in moved.tanks for level in tank.levels if level.cylinder == "clamp")
    finding = find(evaluate(loaded, samples=0), "air.pressure.clamp")
    assert np.isclose(level.margin, finding.margin)
    assert margin_text(finding.margin) in told


def _lines(file):
    return file.read_text("utf-8").splitlines()


def test_who_cannot_drag_chooses_from_a_list(browser, server, heron):
    with window(browser, server, width=390) as page:
        show(page, server, "air", file=f"{heron}/mk1.yaml")
        page.get_by_label("Tank of gate").select_option("left")
        expect(tank_of(page, "gate")).to_have_attribute("data-drop", "left")
        page.click("#fw-undo")
        expect(tank_of(page, "gate")).to_have_attribute("data-drop", "right")


def test_matches_are_played_with_progress_and_say_what_the_command_says(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "match", file=f"{heron}/mk1.yaml")
        page.get_by_role("button", name="Play").click()
        expect(page.locator("#run-meter progress")).to_be_visible()
        told = page.locator("#match-figures")
        expect(told).to_contain_text("points on average over 2,000 matches", timeout=90_000)
        found = forecast(example(), 2000)
        expect(told.locator(".big b")).to_have_text(f"{found.mean:.1f}")
        low, high = found.interval
        expect(told).to_contain_text(f"lies between {low:.0f} and {high:.0f} (95 %)")
        expect(told.locator("figure")).to_have_count(3)
        rows = list(csv.DictReader(io.StringIO(saved(page, "timeline", "csv").decode("utf-8"))))
        assert [row["action"] for row in rows] == [event.action for event in found.timeline.events]


def test_the_view_has_an_answer_before_anything_is_asked(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "match", file=f"{heron}/mk1.yaml")
        expect(page.locator("#match-figures")).to_contain_text("over 2,000 matches", timeout=90_000)
        found = forecast(example(), 2000)
        expect(page.locator("#match-figures .big b")).to_have_text(f"{found.mean:.1f}")


@pytest.mark.long
def test_a_run_is_cancelled_and_one_goes_on_without_its_window(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "match", file=f"{heron}/mk1.yaml")
        page.fill("#in-runs", "200000")
        page.get_by_role("button", name="Play").click()
        page.get_by_role("button", name="Cancel").click()
        expect(page.locator("#match-run")).to_contain_text("Cancelled")
        expect(page.locator("#match-sum")).not_to_contain_text("200,000")
        page.fill("#in-runs", "4,000")
        page.get_by_role("button", name="Play").click()
        expect(page.locator("#run-meter")).to_be_visible()
    with window(browser, server) as page:  # another profile, another window: the run is the robot's
        show(page, server, "match", file=f"{heron}/mk1.yaml")
        expect(page.locator("#match-figures")).to_contain_text("over 4,000 matches", timeout=90_000)


@pytest.mark.long
@pytest.mark.parametrize("runs", ["", "9", "-5", "many", "1e3", "200001"])
def test_a_number_of_matches_that_is_none_is_refused_in_a_sentence(browser, server, heron, runs):
    with window(browser, server) as page:
        show(page, server, "match", file=f"{heron}/mk1.yaml")
        page.fill("#in-runs", runs)
        page.get_by_role("button", name="Play").click()
        expect(page.locator("#fw-notes")).to_contain_text("expected a number from 10 to 200,000")


def test_the_intake_moves_with_its_slider_and_the_sorter_shows_its_hues(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "intake", file=f"{heron}/mk1.yaml")
        slider = page.get_by_label("Time: objects passing through")
        caption = page.locator(".slid", has=slider).locator("figcaption span").first
        slider.fill("0")
        expect(caption).to_have_text(re.compile("at 0 s"))
        slider.fill("100")
        expect(caption).not_to_have_text(re.compile("at 0 s"))
        expect(page.locator("[data-title^=Sorter] figure")).to_have_count(4)


def test_the_path_names_the_dominating_source(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "path", file=f"{heron}/mk1.yaml")
        rows = page.locator("#shown-all tbody tr")
        expect(rows).to_have_count(4)
        expect(rows.first).to_contain_text("placing the robot")


def test_variants_are_held_against_each_other(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "compare", file=f"{heron}/mk1.yaml")
        for box in page.locator("fieldset input").all():
            box.set_checked(box.get_attribute("value") == f"{heron}/mk2.yaml")
        page.fill("#in-runs", "200")
        page.get_by_role("button", name="Compare", exact=True).click()
        expect(page.locator("#compare-found figure").first).to_be_visible(timeout=90_000)
        expect(page.locator("#compare-found")).to_contain_text("Recommendation")
        gains = page.locator("#compare-found table").first
        expect(gains).to_contain_text("Where the points of Heron mk2 come from, against Heron mk1")
        points = [float(text.replace("−", "-")) for text in gains.locator("tbody td:nth-of-type(1)").all_inner_texts()]
        assert len(points) >= 2
        assert [abs(p) for p in points] == sorted((abs(p) for p in points), reverse=True)
        expect(page.locator("#compare-found")).to_contain_text("Findings that differ")
        page.evaluate("document.querySelector('.liking').open = true")
        page.locator("#fw-units").select_option("inch")
        expect(page.locator("#compare-found")).not_to_contain_text(re.compile(r"\d (bar|mm|m/s|N)\b(?!·)"))
        expect(page.locator("#compare-found")).to_contain_text(re.compile(r"\d psi"))


def test_figures_are_saved_as_svg_png_and_csv(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "air", file=f"{heron}/mk1.yaml")
        assert saved(page, "pressure", "svg").startswith(b"<svg") or b"<svg" in saved(page, "pressure", "svg")[:300]
        assert saved(page, "pressure", "png").startswith(b"\x89PNG\r\n\x1a\n")
        table = list(csv.reader(io.StringIO(saved(page, "pressure", "csv").decode("utf-8"))))
        assert any("bar" in head for head in table[0])
        # four digits, as no number of a robot is known better
        assert all(len(re.sub(r"\D", "", cell).strip("0")) <= 4 for row in table[1:] for cell in row)
        assert len(table) > 10


def test_views_of_a_robot_that_has_none_of_it_say_so(browser, server):
    folder = server.folder / "bare"
    folder.mkdir()
    from edge import SEASON  # the smallest season

    (folder / "season.yaml").write_text(SEASON, "utf-8")
    (folder / "bare.yaml").write_text(BARE, "utf-8")
    with window(browser, server) as page:
        for view, said in (("robot", "lists no parts yet"), ("air", "has no cylinders"),
                           ("intake", "no intake and no sorter"), ("path", "no match plan yet")):  # fmt: skip
            show(page, server, view, file="bare/bare.yaml")
            expect(page.locator("#fw-view")).to_contain_text(said)
        show(page, server, "match", file="bare/bare.yaml")
        page.get_by_role("button", name="Play").click()
        expect(page.locator("#match-run")).to_contain_text("plan", timeout=240_000)
    assert Context(load_robot(folder / "bare.yaml").nominal, load_robot(folder / "bare.yaml").nominal_season)


BARE = """\
fieldworthy: robot 1
robot: Bare
season: season.yaml
drive:
  motor: smart motor, 11 W class, 600 rpm
  motors: 4
  stages: [{driver: 48, driven: 60}]
  wheels:
    left front: {position: [150 mm, 150 mm], wheel: "rubber wheel, 2.75 in"}
    left rear: {position: [-150 mm, 150 mm], wheel: "rubber wheel, 2.75 in"}
    right front: {position: [150 mm, -150 mm], wheel: "rubber wheel, 2.75 in"}
    right rear: {position: [-150 mm, -150 mm], wheel: "rubber wheel, 2.75 in"}
battery: "lithium pack, 12.8 V class, 1.1 Ah"
"""


def made(page, kind, form, **more):
    """Make a document, and give what its button sends to the person's folder."""
    panel = page.locator("form.panel", has=page.locator(f"input[name=kind][value={kind}]"))
    panel.locator("select").select_option(form)
    for name in more:
        panel.locator(f"input[name={name}]").check()
    panel.locator("button").click()
    page.wait_for_selector("#document-made [data-do=keep]", timeout=120_000)
    with page.expect_download() as coming:
        page.locator("#document-made [data-do=keep]").click()
    return coming.value.suggested_filename, coming.value.path().read_bytes()


def test_documents_are_made_looked_at_and_saved(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "documents", file=f"{heron}/mk1.yaml")
        name, content = made(page, "inspection", "pdf")
        assert re.fullmatch(r"heron_mk1_inspection_\d{4}_\d\d_\d\d\.pdf", name)
        assert content.startswith(b"%PDF")
        expect(page.locator("#document-made img")).to_have_count(1)
        page.reload()  # what was made is still there
        page.wait_for_selector("#document-made img")


def test_constants_of_unsaved_changes_are_those_of_the_window(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="air.supply.charge")
        page.fill("#f-air_2e_supply_2e_charge", "90 psi")
        page.press("#f-air_2e_supply_2e_charge", "Tab")
        expect(page.locator("#fw-state")).to_have_text(UNSAVED)
        page.click("nav >> text=Documents")
        name, content = made(page, "constants", "c")
        assert name.endswith(".h")
        assert "#define ROBOT_AIR_CHARGE_PSI (90.0)" in content.decode("utf-8")
        expect(page.locator("#document-made pre")).to_contain_text("ROBOT_AIR_CHARGE_PSI")


def test_a_file_with_a_mistake_makes_no_document(browser, server, heron):
    file = server.folder / heron / "mk1.yaml"
    file.write_text(file.read_text("utf-8").replace("drive:", "drivee:", 1), "utf-8")
    with window(browser, server) as page:
        show(page, server, "documents", file=f"{heron}/mk1.yaml")
        page.locator("form.panel button").first.click()
        expect(page.locator("body")).to_contain_text(re.compile("drivee: unknown key|The file has mistakes"))
        expect(page.locator("#document-made button")).to_have_count(0)


@pytest.mark.long
def test_a_variant_is_made_changed_seen_to_differ_and_played_against_the_first(browser, server, heron):
    """A whole job: its parts list is its own, so that the first robot stays what it is."""
    before = {path.name: path.read_bytes() for path in (server.folder / heron).iterdir()}
    with window(browser, server) as page:
        show(page, server, "versions", file=f"{heron}/mk1.yaml")
        page.fill("#in-variant", "Heron mk1")
        page.get_by_role("button", name="Make the variant").click()
        expect(page.locator("#variant-said")).to_contain_text("already")
        page.fill("#in-variant", "Heron mk3, lighter")
        page.get_by_role("button", name="Make the variant").click()
        page.wait_for_url(re.compile("build"))
        expect(page.locator("header")).to_contain_text("heron_mk3_lighter.yaml")
        made = server.folder / heron / "heron_mk3_lighter.yaml"
        old, new = before["mk1.yaml"].decode().splitlines(), made.read_text("utf-8").splitlines()
        changed = [b for a, b in zip(old, new, strict=True) if a != b]
        assert changed == ['robot: "Heron mk3, lighter"', "parts_list: heron_mk3_lighter_parts.csv"]
        assert made.with_name("heron_mk3_lighter_parts.csv").read_bytes() == before["mk1_parts.csv"]
        show(page, server, "build", file=f"{heron}/heron_mk3_lighter.yaml", key="parts.battery.mass")
        page.fill("#f-parts_2e_battery_2e_mass", "300 g")
        page.press("#f-parts_2e_battery_2e_mass", "Tab")
        page.keyboard.press("Control+s")
        expect(page.locator("#fw-notes")).to_contain_text("Saved heron_mk3_lighter_parts.csv")
        assert {name: (server.folder / heron / name).read_bytes() for name in before} == before
        show(page, server, "versions", file=f"{heron}/mk1.yaml")
        row = page.locator(".entries > li", has_text="Heron mk3, lighter")
        row.locator("summary").click()
        expect(row.locator("tbody tr", has_text="battery")).to_contain_text("300 g")
        row.get_by_role("link", name="Play Heron mk3, lighter").click()
        expect(page.locator("fieldset input:checked")).to_have_count(1)
        expect(page.locator("#compare-found")).to_contain_text("Recommendation", timeout=90_000)


@pytest.mark.long
def test_history_says_what_changed_since_a_save_and_a_day_and_goes_back(browser, server, heron):
    file = server.folder / heron / "mk1.yaml"
    first = file.read_bytes()
    with window(browser, server) as page:
        for value in ("6.1 bar", "5.2 bar"):
            show(page, server, "build", file=f"{heron}/mk1.yaml", key="air.supply.charge")
            page.fill("#f-air_2e_supply_2e_charge", value)
            page.press("#f-air_2e_supply_2e_charge", "Tab")
            expect(page.locator("#fw-state")).to_have_text("unsaved changes")
            if value == "6.1 bar":
                page.keyboard.press("Control+s")
                expect(page.locator("#fw-state")).to_have_text("saved")
        page.get_by_role("link", name="Versions").click()
        unsaved = page.locator("#versions-unsaved tbody tr")
        expect(unsaved).to_have_count(1)
        expect(unsaved).to_contain_text("6.1 bar")
        expect(unsaved).to_contain_text("5.2 bar")
        page.get_by_role("button", name="Go back to what is saved").click()
        expect(page.locator("#fw-state")).to_have_text("saved")
        page.locator("#versions-past summary").click()
        past = page.locator("#versions-past tbody tr")
        expect(past).to_have_count(1)
        expect(past).to_contain_text("6.9 bar")
        page.get_by_role("button", name="Go back to this").click()
        expect(page.locator("#fw-state")).to_have_text("unsaved changes")
        page.keyboard.press("Control+s")
        expect(page.locator("#fw-state")).to_have_text("saved")
        assert file.read_bytes() == first
        assert len(list(file.parent.glob("mk1.*-*-*.yaml"))) == 1, "one copy a day"


def test_the_guide_is_read_without_a_file_and_without_the_internet(browser, server):
    with window(browser, server) as page:
        show(page, server, "guide")
        expect(page.locator("#fw-title")).to_have_text("Guide")
        page.click(".guide a[href*='first-evening']")
        expect(page.locator("#fw-title")).to_have_text("Your robot in one evening")
        pictures = page.locator(".guide img")
        expect(pictures).to_have_count(3)
        assert pictures.evaluate_all("all => all.every(one => one.complete && one.naturalWidth > 100)")
        page.locator(".guide a[href*='margins-and-chances']").last.click()
        expect(page.locator("#fw-title")).to_have_text("Reading a margin and a chance")
        page.locator(".guide a[href*='findings']").first.click()
        expect(page.locator("#fw-title")).to_contain_text("finding")
        page.click("text=All chapters")
        expect(page.locator("#fw-title")).to_have_text("Guide")


def test_the_guide_reads_no_file_but_its_own():
    assert guide.found(guide.FIRST) is not None
    for name in (
        "../README.md",
        "guide/../../pyproject.toml",
        "/etc/passwd",
        "make_files.py",
        "guide/none.md",
        "guide\\x.md",
    ):
        assert guide.found(name) is None
        assert "not here" in guide.chapter(name, "")


def test_what_the_guide_leads_to_is_in_the_package():
    """A document that is not packed for installing would be missing on a machine without the source."""
    packed = tomllib.loads((EXAMPLES.parents[1] / "pyproject.toml").read_text("utf-8"))
    listed = packed["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert all(into == f"fieldworthy/{source}" for source, into in listed.items())
    shown = [guide.chapter(f"guide/{place.name}", "") for place in guide.library().joinpath("guide").iterdir()
             if place.name.endswith(".md")]  # fmt: skip
    parts = {unquote(part) for html in shown for part in re.findall(r"part=([^\"&]+)", html)}
    assert len(parts) > 10
    assert {f"docs/{part}" for part in parts if not part.startswith("guide/")} <= set(listed)


@pytest.mark.long
def test_a_fault_is_entered_on_a_phone_counted_ranked_and_taken_back(browser, server, heron):
    log = server.folder / heron / "mk1_faults.yaml"
    log.unlink()
    with window(browser, server, width=390) as page:
        show(page, server, "work", file=f"{heron}/mk1.yaml")
        expect(page.locator("#in-where option")).not_to_have_count(0)
        for match, lost in (("Q3", "20 bar"), ("Q3", "20 s"), ("Q8", "")):
            page.fill("#in-what", "gate tube came off")
            if match == "Q3":  # what is chosen stays chosen for the next one
                page.select_option("#in-where", "tip pods")
            page.fill("#in-match", match)
            page.fill("#in-lost", lost)
            page.get_by_role("button", name="Write it down").click()
            if "bar" in lost:
                expect(page.locator("#fault-said")).to_contain_text("time")
                assert not log.exists()
            else:
                expect(page.locator("#in-what")).to_have_value("")
        expect(page.locator("#faults-list")).to_contain_text("came 2 times")
        page.select_option("#in-used", "tip pods")
        page.fill("#in-times", "12")
        page.get_by_role("button", name="Count it").click()
        expect(page.locator("#faults-list")).to_contain_text("points more", timeout=120_000)
        data = YAML(typ="safe", pure=True).load(log.read_text("utf-8"))
        assert [(f["what"], f["match"], f.get("lost")) for f in data["failures"]] == [
            ("gate tube came off", "Q3", "20 s"), ("gate tube came off", "Q8", None)]  # fmt: skip
        assert data["uses"] == {"tip pods": 12}
        expect(page.locator("#work-list .jobs li").first).to_be_visible(timeout=120_000)
        page.get_by_role("button", name="gate tube came off is mended").click()
        expect(page.locator("#faults-list")).to_contain_text("mended after 2")
        page.get_by_role("button", name="Take the last entry back").click()
        expect(page.locator("#faults-list")).to_contain_text("came 2 times")
        assert "mended: true" not in log.read_text("utf-8")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.long
def test_a_document_opens_in_a_window_of_its_own_to_be_printed(browser, server, heron):
    with window(browser, server, width=390) as page:
        show(page, server, "documents", file=f"{heron}/mk1.yaml")
        page.select_option("#form-inspection", "html")
        page.get_by_role("button", name="Make the inspection sheet").click()
        with page.expect_popup(timeout=120_000) as opened:
            page.get_by_role("button", name="Open to print").click(timeout=120_000)
        expect(opened.value).to_have_title(re.compile("Inspection: Heron mk1"))
