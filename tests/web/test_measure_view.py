"""Measurements on the page, in a real browser: sheets, tables, the fit, what the robot takes, two windows at once."""

from __future__ import annotations

import shutil
from urllib.parse import quote

import pytest
from playwright.sync_api import expect

from fieldworthy.files.document import read_text
from fieldworthy.robot import load_robot
from robots import EXAMPLES
from web.browser import serving, show, wait_built, window
from web.test_access import in_both_themes, violations

FILE, ROBOT = "mk1_measurements.yaml", "mk1.yaml"
# by hand: four wheels of 2.000, 2.100, 1.800 and 1.900 kg add up to 7.800 kg
WHEELS = {"left front": "2.000", "right front": "2.100", "left rear": "1.800", "right rear": "1.900"}
LOG = "\n".join(["t [s],pos [m]", *(f"{0.02 * i:.2f},{0.5 * (0.02 * i) ** 2:.6f}" for i in range(101))]) + "\n"


HANDLERS = (
    "put", "typed", "grow", "put-mine", "take-theirs", "accept", "accept-all", "readings-of", "readings", "back",
    "table-replace", "table-leave", "stop",
)  # fmt: skip


@pytest.fixture
def bare(server, heron):
    """The example without its measurements: the folder's name."""
    for file in (server.folder / heron).glob("*measure*"):
        file.unlink()
    return heron


def sheet(page, server, folder, part=""):
    show(page, server, "measurements", file=f"{folder}/{ROBOT}", **({"part": part} if part else {}))
    page.wait_for_selector("#sheet-form form" if part else "#measured-file *")


def box(page, key):
    return page.locator(f"[name={key!r}]")


def fill(page, **typed):
    for key, text in typed.items():
        box(page, key).fill(text)
        box(page, key).blur()


def put(page):
    page.click("#sheet-form button[type=submit]")


def weigh(page, wheels):
    for wheel, text in wheels.items():
        box(page, f"scales.level[0].readings.{wheel}").fill(text)
    put(page)


def test_a_weighing_is_entered_by_form_and_tells_the_mass(browser, server, bare):
    with window(browser, server) as page:
        sheet(page, server, bare)
        expect(page.locator("#measured-file")).to_contain_text("No file of measurements names mk1.yaml yet")
        page.click("text=Start a measurements file")
        expect(page.locator("#measured-rows")).to_contain_text("not yet")
        file = server.folder / bare / FILE
        begun = file.read_text("utf-8")
        assert begun.startswith("# What was measured on Heron mk1; begun on 20")
        page.get_by_role("link", name="Open the sheet, Scales under the wheels").click()
        expect(page.locator("ul.caution")).to_contain_text("A robot on blocks can fall")
        page.wait_for_selector("#sheet-form form")
        weigh(page, WHEELS)
        expect(page.locator("#sheet-told")).to_contain_text("Mass of the whole robot: 7.80", timeout=20_000)
        assert file.read_text("utf-8").startswith(begun)
        assert "left front: 2.000 kg" in file.read_text("utf-8")
        assert page.locator("#sheet-told figure").count() == 2
        page.click("text=All procedures")
        expect(page.locator("#measured-rows")).to_contain_text("1 of 25 measured")
        page.click("text=Take the last entry back")
        expect(page.locator("#measured-rows")).to_contain_text("0 of 25 measured")
        assert file.read_text("utf-8") == begun


@pytest.mark.long
def test_what_cannot_be_is_said_at_its_blank_and_nothing_is_lost(browser, server, heron):
    file = server.folder / heron / FILE
    before = file.read_bytes()
    with window(browser, server) as page:
        sheet(page, server, heron, "scales")
        first, second = (
            box(page, "scales.level[0].readings.left front"),
            box(page, "scales.level[1].readings.left rear"),
        )
        first.fill("heavy")
        second.fill("-2")
        put(page)
        expect(page.locator("#sheet-said")).to_contain_text("Nothing was written")
        expect(first).to_have_attribute("aria-invalid", "true")
        expect(first).to_be_focused()
        expect(page.locator(".field", has=second).locator(".said")).to_contain_text("at least 0 kg")
        expect(first).to_have_value("heavy")
        assert file.read_bytes() == before
        page.reload()
        expect(first).to_have_value("heavy")
        first.fill("2.5")
        second.fill("1.8")
        put(page)
        expect(page.locator("#fw-notes")).to_contain_text("Your readings are in mk1_measurements.yaml")
    now = file.read_text("utf-8").splitlines()
    changed = [line for line in now if line not in before.decode().splitlines()]
    assert len(changed) == 2
    assert "left front: 2.5 kg" in changed[0]
    assert "left rear: 1.8 kg" in changed[1]


def test_of_several_files_the_person_chooses_one(browser, server, heron):
    other = server.folder / heron / "at_the_event.yaml"
    other.write_text("fieldworthy: measurements 1\nrobot: mk1.yaml\n", "utf-8")
    with window(browser, server) as page:
        sheet(page, server, heron)
        expect(page.locator("#measured-file")).to_contain_text("2 files name mk1.yaml")
        expect(page.locator("#measured-rows")).to_contain_text("0 of 25 measured")
        page.select_option("#measured-name", f"{heron}/{FILE}")
        expect(page.locator("#measured-rows")).to_contain_text("13 of 25 measured")
        page.reload()
        expect(page.locator("#measured-rows")).to_contain_text("13 of 25 measured")


@pytest.mark.long
@pytest.mark.parametrize("part", ["scales", "frames:+tray", "cycles:<b>a.b", "leaks:", "nothing:at:all", ""])
def test_what_no_form_sends_does_no_harm(browser, server, heron, part):
    before = {path.name: path.read_bytes() for path in (server.folder / heron).iterdir()}
    with window(browser, server) as page:
        show(page, server, "measurements", file=f"{heron}/{ROBOT}", part=quote(part))
        wait_built(page)
        for name in HANDLERS:
            for data in (
                {},
                {"values": [1]},
                {"values": {"x": {}}, "of": [], "value": {}, "place": "99"},
                {"of": "x" * 9999},
            ):
                page.evaluate("told => emitEvent('fw', told)", {"what": "do", "do": name, **data})
        page.wait_for_timeout(500)
        assert page.locator("#fw-view b b, #fw-title b").count() == 0
        assert "did not work" not in page.locator("#fw-notes").inner_text()
        sheet(page, server, heron, "tilt")
    assert {path.name: path.read_bytes() for path in (server.folder / heron).iterdir()} == before


def test_a_list_of_readings_grows(browser, server, heron):
    with window(browser, server) as page:
        sheet(page, server, heron, "leaks:left")
        count = page.locator("#sheet-form input.number").count()
        page.click("text=+ one more")
        expect(box(page, "leaks.left.readings[5].time")).to_be_visible()
        assert page.locator("#sheet-form input.number").count() == count + 2
        fill(page, **{"leaks.left.readings[5].time": "75", "leaks.left.readings[5].pressure": "1.7"})
        put(page)
        expect(page.locator("#fw-notes")).to_contain_text("Your readings are in")
    text = (server.folder / heron / FILE).read_text("utf-8")
    assert "{time: 75 min, pressure: 1.7 bar}" in text
    assert "leaks:  # filled, five minutes' wait" in text


@pytest.mark.long
def test_what_is_typed_keeps_its_unit_when_the_person_changes_units(browser, server, bare):
    with window(browser, server) as page:
        sheet(page, server, bare)
        page.click("text=Start a measurements file")
        sheet(page, server, bare, "scales")
        first = box(page, "scales.level[0].readings.left front")
        first.fill("2.000")
        first.blur()
        first.evaluate("box => box.dataset.before = 'yes'")
        page.click("text=Display")
        page.select_option("#fw-units", "inch")
        expect(page.locator("[data-before]")).to_have_count(0)  # the form was built anew
        expect(first).to_have_value("2.000")
        weigh(page, WHEELS)
        # 7.8 kg are 17.196 lb, at 0.45359237 kg a pound
        expect(page.locator("#sheet-told")).to_contain_text("Mass of the whole robot: 17.19", timeout=20_000)
    assert "left front: 2.000 kg" in (server.folder / bare / FILE).read_text("utf-8")


def test_a_sheet_is_filled_in_by_keyboard_alone(browser, server, heron):
    with window(browser, server) as page:
        sheet(page, server, heron, "practice:climb")
        box(page, "practice.climb.successes").focus()
        for text in ("17", "20"):
            page.keyboard.press("Control+a")
            page.keyboard.type(text)
            page.keyboard.press("Tab")
        page.locator("[data-of='practice.climb.times'][data-do=grow]").focus()
        page.keyboard.press("Enter")
        expect(page.locator("[name='practice.climb.times[14]']")).to_be_focused()
        page.keyboard.type("5.5")
        page.keyboard.press("Enter")
        expect(page.locator("#fw-notes")).to_contain_text("Your readings are in")
    text = (server.folder / heron / FILE).read_text("utf-8")
    assert "successes: 17" in text
    assert "attempts: 20" in text
    assert ", 5.5 s]" in text


@pytest.mark.long
def test_a_second_window_is_not_overwritten_silently(browser, server, heron):
    file, key = server.folder / heron / FILE, "scales.level[0].readings.left front"
    with window(browser, server) as first, window(browser, server) as second:
        for page, text in ((first, "2.111"), (second, "2.222")):
            sheet(page, server, heron, "scales")
            fill(page, **{key: text})
        put(first)
        expect(first.locator("#fw-notes")).to_contain_text("Your readings are in")
        put(second)
        expect(second.locator("#sheet-said")).to_contain_text("says 2.111 now; you have 2.222")
        assert "2.111 kg" in file.read_text("utf-8")
        second.click("text=Put mine in its place")
        expect(second.locator("#fw-notes")).to_contain_text("Your readings are in")
        assert "2.222 kg" in file.read_text("utf-8")
        expect(first.locator("#sheet-said")).to_contain_text("has other readings of this procedure now")
        expect(box(first, key)).to_have_value("2.111")
        first.click("text=Show them")
        expect(box(first, key)).to_have_value("2.222")


@pytest.mark.long
def test_two_windows_at_two_procedures_both_get_in(browser, server, heron):
    with window(browser, server) as first, window(browser, server) as second:
        sheet(first, server, heron, "scales")
        sheet(second, server, heron, "tilt")
        fill(first, **{"scales.level[0].readings.left front": "2.111"})
        fill(second, **{"tilt.angles.forward[0]": "43.25"})
        for page in (first, second):
            put(page)
            expect(page.locator("#fw-notes")).to_contain_text("Your readings are in")
    text = (server.folder / heron / FILE).read_text("utf-8")
    assert "2.111 kg" in text
    assert "43.25 deg" in text


def bring(page, name, content):
    page.wait_for_selector("#sheet-table input[type=file]")
    page.set_input_files("#sheet-table input[type=file]",
                         {"name": name, "mimeType": "text/csv", "buffer": content.encode()})  # fmt: skip


def test_a_good_log_is_looked_at_and_named_in_the_form(browser, server, heron):
    gap = LOG.replace("1.00,0.500000\n", "1.00,0.500000\n1.00,0.500000\n")
    with window(browser, server) as page:
        sheet(page, server, heron, "drive")
        bring(page, "new_run.csv", gap)
        # the form names the columns of the example's logs: this one calls them otherwise
        expect(page.locator("#sheet-table .said")).to_contain_text("expected a row with the names of the columns: ")
        assert not (server.folder / heron / "new_run.csv").exists()
        sheet(page, server, heron, quote("frames:+tray"))
        bring(page, "new_run.csv", gap)
        expect(page.locator("#sheet-table .said")).to_contain_text(
            "new_run.csv is beside mk1_measurements.yaml and named"
        )
        expect(page.locator("#table-asked")).to_contain_text("101 rows can be used over 2 s")
        expect(page.locator("#table-asked")).to_contain_text("Line 53: the same time as an earlier row; left out")
        expect(box(page, "frames.tray.file")).to_have_value("new_run.csv")
        expect(box(page, "frames.tray.columns.position.column")).to_have_value("pos [m]")
        assert (server.folder / heron / "new_run.csv").read_text("utf-8") == gap
        bring(page, "new_run.csv", LOG)
        expect(page.locator("#table-asked")).to_contain_text("Nothing has been overwritten")
        assert (server.folder / heron / "new_run.csv").read_text("utf-8") == gap
        page.click("text=keep a dated copy")
        expect(page.locator("#table-asked")).to_contain_text("the old one is kept as new_run.20")
    assert (server.folder / heron / "new_run.csv").read_text("utf-8") == LOG
    copies = list((server.folder / heron).glob("new_run.2*.csv"))
    assert [copy.read_text("utf-8") for copy in copies] == [gap]


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("bad.csv", LOG.replace("0.02,", "soon,", 1).replace("0.04,", "later,", 1)[:40], "expected a number for time"),
        ("nameless.csv", "1,2\n3,4\n5,6\n", "expected a row that names the columns: time"),
        ("big.csv", "t,x\n" + "1,2\n" * 600_000, "too large"),
        ("log.exe", "MZ", "Expected a file that ends in .csv"),
        ("still.csv", LOG.replace("pos [m]", "pos [km]"), "thousandths read as whole ones"),
    ],
)
def test_a_bad_table_is_refused_and_nothing_is_written(browser, server, heron, name, content, said):
    before = sorted(path.name for path in (server.folder / heron).iterdir())
    with window(browser, server) as page:
        sheet(page, server, heron, quote("frames:+tray"))
        bring(page, name, content)
        expect(page.locator("#sheet-table .said")).to_contain_text(said)
    assert sorted(path.name for path in (server.folder / heron).iterdir()) == before


@pytest.mark.long
def test_a_fit_is_taken_into_the_robot_and_saved(browser, server, heron):
    robot = server.folder / heron / ROBOT
    before = robot.read_text("utf-8")
    with window(browser, server) as page:
        sheet(page, server, heron)
        page.click("text=Fit the readings")
        rows = page.locator("#fit-found .held").first
        expect(rows).to_contain_text("Mass of the whole robot: 8.7177 ± 0.009", timeout=240_000)
        expect(page.locator("#fit-found")).to_contain_text("The robot weighs 8718 g; 9000 g is allowed")
        page.locator("#fit-found summary", has_text="Readings against the model").first.click()
        expect(page.locator("#fit-found figure").first).to_be_visible()
        with page.expect_download() as saved:
            page.locator("#fit-found figure button", has_text="CSV").first.click()
        assert "left over" in saved.value.path().read_text("utf-8")
        for ticked in page.locator("#fit-found input[type=checkbox]").all():
            ticked.set_checked(ticked.get_attribute("value") in ("weighed.mass", "air.tanks.left.leak_half_time"))
        page.click("text=Take the ticked ones into the robot")
        expect(page.locator("#fit-taken")).to_contain_text("2 measured values are in the robot now")
        expect(page.locator("#fit-taken")).to_contain_text("air.tanks.left.leak_half_time: 38.6")
        expect(page.locator("#fit-taken")).to_contain_text("was 45 min")
        expect(page.locator("#fit-stale")).to_contain_text("The robot has changed since this fit")
        assert robot.read_text("utf-8") == before
        page.click("#fw-save")
        expect(page.locator("#fw-state")).to_have_text("saved")
        loaded = load_robot(robot)
        taken = {path: q for path, q in loaded.quantities if q.date in ("2026-11-20",)}
        assert set(taken) == {("weighed", "mass"), ("air", "tanks", "left", "leak_half_time")}
        assert {q.basis for q in taken.values()} == {"measured"}
        page.click("#fw-undo")
        page.click("#fw-save")
        expect(page.locator("#fw-state")).to_have_text("saved")
        assert robot.read_text("utf-8") == before


def test_procedures_that_contradict_each_other_come_first_and_are_not_ticked(browser, server, heron):
    file = server.folder / heron / FILE
    # tilts of a robot whose centre of gravity lies 5 cm higher than the scales say, to each side
    higher = {"    forward: [": 32.4, "    back: [": 43.0, "    left: [": 37.7, "    right: [": 37.9}
    lines = [next((f"{side}{angle} deg, {angle + 0.5} deg, {angle - 0.5} deg]" for side, angle in higher.items()
                   if line.startswith(side)), line) for line in read_text(file).splitlines()]  # fmt: skip
    file.write_text("\n".join(lines) + "\n", "utf-8")
    with window(browser, server) as page:
        sheet(page, server, heron)
        page.click("text=Fit the readings")
        trouble = page.locator("#fit-found .trouble")
        expect(trouble).to_contain_text("Contradictions", timeout=240_000)
        expect(trouble).to_contain_text("find out which of them went wrong")
        first = page.locator("#fit-found .held").first.locator("li").first
        expect(first).to_contain_text("Height of the centre of gravity")
        expect(first.locator("input")).not_to_be_checked()


@pytest.mark.long
@pytest.mark.parametrize("width", [390, 1280])
def test_sheets_and_fits_are_accessible_and_fit_the_window(browser, server, heron, width):
    with window(browser, server, width=width) as page:
        found = []
        for part in ("scales", "samples:sorter", "frames:+tray", "cycles:+tray"):
            sheet(page, server, heron, quote(part))
            found += in_both_themes(page, f"{part} at {width}", drawn=True)
            box(page, "scales.level[0].readings.left front").fill("heavy") if part == "scales" else None
            put(page)
            expect(page.locator("#sheet-said")).to_contain_text("Nothing was written")
            found += violations(page, f"{part} with mistakes at {width}")
            assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
        sheet(page, server, heron)
        page.click("text=Fit the readings")
        expect(page.locator("#fit-found")).to_contain_text("Mass of the whole robot", timeout=240_000)
        found += in_both_themes(page, f"fit at {width}", drawn=True)
        assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
        assert found == []


def test_a_broken_measurements_file_is_said_with_its_line(browser, server, heron):
    file = server.folder / heron / FILE
    text = file.read_text("utf-8")
    with window(browser, server) as page:
        sheet(page, server, heron)
        page.wait_for_selector("#measured-rows li")
        file.write_text(text + "<b>: [\n", "utf-8")  # another program saves it while the page is open
        expect(page.locator("#measured-problems")).to_contain_text("line")
        assert page.locator("#fw-view b b").count() == 0
        file.write_text(text, "utf-8")
        expect(page.locator("#measured-problems")).to_be_empty()


def test_text_of_a_measurements_file_never_becomes_part_of_the_page(browser, server, heron):
    file = server.folder / heron / FILE
    evil = "<img src=x onerror=document.title='broken'>"
    file.write_text(
        file.read_text("utf-8").replace("pose: stowed", f"pose: {evil!r}".replace("'b", "''b", 1), 1), "utf-8"
    )
    with window(browser, server) as page:
        sheet(page, server, heron, "scales")
        expect(page.locator("[name='scales.pose'] option", has_text="<img src=x")).to_have_count(1)
        put(page)
        expect(page.locator("#sheet-said")).to_contain_text("Nothing was written")
        assert page.locator("#app img").count() == 0
        assert "broken" not in page.title()


@pytest.mark.long
def test_a_visitor_looks_at_sheets_and_fit_and_changes_nothing(browser, tmp_path):
    shutil.copytree(EXAMPLES, tmp_path / "team")
    before = {path.name: path.read_bytes() for path in (tmp_path / "team").iterdir()}
    with serving(tmp_path, "--share") as server:
        page = browser.new_context().new_page()
        page.goto(server.base)
        page.fill("#code", server.code)
        page.click("text=Come in")
        page.wait_for_selector("#fw-title")
        sheet(page, server, "team", "scales")
        expect(box(page, "scales.level[0].readings.left front")).to_have_attribute("readonly", "")
        assert page.locator("#sheet-form button[type=submit], #sheet-form [data-do], input[type=file]").count() == 0
        told = {"what": "do", "do": "put", "values": {"scales.level[0].readings.left front": "1"}}
        page.evaluate("told => emitEvent('fw', told)", told)
        expect(page.locator("#fw-notes")).to_contain_text("change nothing")
        sheet(page, server, "team")
        page.click("text=Fit the readings")
        expect(page.locator("#fit-found")).to_contain_text("Mass of the whole robot", timeout=240_000)
        assert page.locator("#fit-found input").count() == 0
        for name in ("accept-all", "begin", "back"):
            page.evaluate("name => emitEvent('fw', {what: 'do', do: name})", name)
        page.wait_for_timeout(500)
        page.context.close()
    assert {path.name: path.read_bytes() for path in (tmp_path / "team").iterdir()} == before
