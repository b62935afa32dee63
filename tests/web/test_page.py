"""The page as a person meets it, in a real browser: from an empty folder to a verdict, and what happens to files."""

from __future__ import annotations

import re
import shutil
import socket

import pytest
from playwright.sync_api import expect

from fieldworthy.engine.evaluate import evaluate
from fieldworthy.robot import load_robot
from robots import EXAMPLES
from web.browser import serving, show, window

CHARGE = "#f-air_2e_supply_2e_charge"
SAVED = re.compile("^saved$")
UNSAVED = re.compile("^unsaved changes$")


def state(page):
    return page.locator("#fw-state")


def put(page, selector, text):
    """Type a value and leave the field, as a person does."""
    page.fill(selector, text)
    page.press(selector, "Tab")
    expect(state(page)).to_have_text(UNSAVED)


def sentences(page):
    return [text.strip() for text in page.locator("#margins-rows .because").all_inner_texts()]


def test_a_newcomer_gets_from_an_empty_folder_to_causes_and_is_told_what_is_not_judged(browser, tmp_path):
    with serving(tmp_path) as server, window(browser, server) as page:
        expect(page.get_by_text("There is no robot here yet")).to_be_visible()
        expect(page.locator(".steps-form legend")).to_have_count(7)
        page.fill("#in-name", "First try")
        page.fill("#in-mass", "a lot")
        page.click("text=Make the file")
        expect(page.locator("#new-said")).to_contain_text("a number with a unit")
        page.fill("#in-mass", "6.5 kg")
        for name in ("two-stage intake", "swinging tray", "motor arm", "hooks"):
            page.get_by_label(name, exact=True).check()
        page.fill("#in-limit-mass", "9 bar")
        page.fill("#in-limit-stowed_size", "18 in, 18 in, 18 in")
        page.fill("#in-hours", "20 h")
        page.click("text=Make the file")
        expect(page.locator("#in-limit-mass")).to_have_attribute("aria-invalid", "true")
        assert not list(tmp_path.iterdir()), "nothing is written before the answers fit"
        page.fill("#in-limit-mass", "9 kg")
        page.click("text=Make the file")
        page.wait_for_selector(".strip .count")
        expect(page).to_have_url(re.compile("/build\\?file=first_try.yaml"))
        assert {p.name for p in tmp_path.iterdir()} == {"first_try.yaml", "season.yaml"}
        made = load_robot(tmp_path / "first_try.yaml")
        kinds = sorted(m.kind for m in made.robot.mechanisms.values())
        assert kinds == ["climber", "intake", "lift", "motor arm"]
        report = evaluate(made)
        short = sum(f.verdict == "short" for f in report.findings)
        assert short, "a robot of typical things is not without its causes"
        expect(page.locator(".strip .count[data-verdict=short] b")).to_have_text(str(short))
        page.locator(".strip summary").first.click()
        expect(page.locator(".causes > li")).to_have_count(min(6, len(report.causes)))
        unsaid = {key for f in report.of("unknown") for key in f.missing}
        assert {"season.limits.motor_power", "season.limits.tanks"} <= unsaid
        assert not {"season.limits.mass", "season.limits.stowed_size"} & unsaid, "these were answered"
        missing = page.locator(".strip .open a[href$='season.limits.tanks']")
        missing.first.click()
        box = page.locator("#f-season_2e_limits_2e_tanks")
        expect(box).to_be_focused()
        put(page, "#f-season_2e_limits_2e_tanks", "8")
        expect(page.locator(".strip .open a").first).to_be_attached()
        expect(missing).to_have_count(0)


def test_the_list_of_findings_is_that_of_the_command(browser, server, heron):
    with window(browser, server) as page:
        page.goto(server.base)
        page.click(f"a[href*='{heron}%2Fmk1.yaml']")
        page.wait_for_selector("#margins-rows li")
        page.select_option("[data-change=by]", "list")
        expect(page.locator("#margins-rows .group-head")).to_have_count(0)
        shown = page.locator("#margins-rows > li").evaluate_all(
            "rows => rows.map(r => [r.dataset.verdict, r.querySelector('.because').textContent,"
            " r.querySelector('.chance').textContent])"
        )
        found = evaluate(load_robot(EXAMPLES / "mk1.yaml")).findings
        assert [(v, b) for v, b, _ in shown] == [(f.verdict, f.because) for f in found]
        for (_, _, chance), finding in zip(shown, found, strict=True):
            if finding.chance in (0.0, 1.0):
                assert chance == {0.0: "under 1 %", 1.0: "over 99 %"}[finding.chance]


def test_a_number_moves_at_least_three_others_at_once_and_saves_as_one_line(browser, server, heron):
    file = server.folder / heron / "mk1.yaml"
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="air.supply.charge")
        page.wait_for_selector("#beside-rows li")
        expect(page.locator(CHARGE)).to_be_focused()
        before = dict(rows_of(page))
        page.locator(CHARGE).press_sequentially("")
        page.fill(CHARGE, "5.5 bar")
        page.wait_for_function("() => Number(document.documentElement.dataset.moves || 0) > 0")
        at_once = dict(rows_of(page))
        moved = [key for key, text in at_once.items() if before.get(key) != text]
        assert len(moved) >= 3, moved
        page.press(CHARGE, "Tab")
        expect(state(page)).to_have_text(UNSAVED)
        page.keyboard.press("Control+s")
        expect(state(page)).to_have_text(SAVED)
        old = (EXAMPLES / "mk1.yaml").read_text("utf-8").splitlines()
        new = file.read_text("utf-8").splitlines()
        changed = [(a, b) for a, b in zip(old, new, strict=True) if a != b]
        assert changed == [
            (
                "    charge: {value: 6.9 bar, tolerance: 0.14 bar, basis: measured}",
                "    charge: {value: 5.5 bar, tolerance: 0.14 bar, basis: measured}",
            )
        ]
        report = {f"{f.id}|{f.subject}": f.because for f in evaluate(load_robot(file)).findings}
        settled = dict(rows_of(page))
        still = [key for key in moved if key in settled]
        assert len(still) >= 3
        for key in still:
            assert at_once[key] == settled[key] == report[key]


def rows_of(page):
    found = page.locator("#beside-rows > li").evaluate_all(
        "rows => rows.map(r => [r.dataset.row, r.querySelector('.because').textContent])"
    )
    return [(key, text) for key, text in found]


def test_undo_and_redo_go_through_the_changes(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="air.supply.charge")
        put(page, CHARGE, "90 psi")
        page.locator("#build-more > summary").click()
        put(page, "#f-air_2e_supply_2e_tube_5f_bore", "3 mm")
        page.click("#fw-undo")
        expect(page.locator("#f-air_2e_supply_2e_tube_5f_bore")).to_have_value("2.5 mm")
        page.locator("#fw-title").click()
        page.keyboard.press("Control+z")
        expect(page.locator(CHARGE)).to_have_value("6.9 bar")
        expect(state(page)).to_have_text(SAVED)
        page.keyboard.press("Control+y")
        expect(page.locator(CHARGE)).to_have_value("90 psi")
        page.focus(CHARGE)
        expect(page.locator("#beside-rows")).to_contain_text("charged to 90 psi")


def test_two_windows_never_overwrite_each_other_silently(browser, server, heron):
    file, name = server.folder / heron / "mk1.yaml", f"{heron}/mk1.yaml"
    with window(browser, server) as first, window(browser, server) as second:
        for page, value in ((first, "90 psi"), (second, "70 psi")):
            show(page, server, "build", file=name, key="air.supply.charge")
            put(page, CHARGE, value)
        first.click("#fw-save")
        expect(state(first)).to_have_text(SAVED)
        second.wait_for_selector("#fw-conflict[open]")
        expect(second.locator("#fw-conflict")).to_contain_text("90 psi")
        second.click("text=Decide later")
        second.click("#fw-save")
        second.wait_for_selector("#fw-conflict[open]")
        assert "90 psi" in file.read_text("utf-8")
        expect(second.locator(".difference .theirs").first).to_contain_text("90 psi")
        expect(second.locator(".difference .mine").first).to_contain_text("70 psi")
        second.click("text=Keep mine")
        expect(state(second)).to_have_text(SAVED)
        assert "{value: 70 psi" in file.read_text("utf-8")
        expect(first.locator(CHARGE)).to_have_value("70 psi")


@pytest.mark.long
def test_changes_of_different_lines_come_together_without_a_question(browser, server, heron):
    file, name = server.folder / heron / "mk1.yaml", f"{heron}/mk1.yaml"
    hours = "#f-hours_5f_left"
    with window(browser, server) as first, window(browser, server) as second:
        show(first, server, "build", file=name, key="air.supply.charge")
        put(first, CHARGE, "90 psi")
        show(second, server, "build", file=name, key="hours_left")
        put(second, hours, "9 h")
        first.click("#fw-save")
        expect(state(first)).to_have_text(SAVED)
        expect(second.locator("#fw-notes")).to_contain_text("both changes stand here now")
        expect(second.locator("#fw-conflict[open]")).to_have_count(0)
        expect(state(second)).to_have_text(UNSAVED)
        second.click("#fw-save")
        expect(state(second)).to_have_text(SAVED)
        old = (EXAMPLES / "mk1.yaml").read_text("utf-8").splitlines()
        new = file.read_text("utf-8").splitlines()
        changed = [b.strip() for a, b in zip(old, new, strict=True) if a != b]
        assert len(changed) == 2
        assert any("9 h" in line for line in changed)
        assert any("90 psi" in line for line in changed)
        second.click("#fw-undo")  # takes back what was done here, and not what the other window did
        expect(second.locator(hours)).to_have_value("14 h")
        second.click("#fw-save")
        expect(state(second)).to_have_text(SAVED)
        assert "90 psi" in file.read_text("utf-8")


@pytest.mark.long
def test_a_lost_server_is_said_and_a_restart_takes_the_window_up_again(browser, tmp_path):
    shutil.copytree(EXAMPLES, tmp_path / "team")
    with socket.socket() as probe:  # a port of its own: another test's server would take the usual one in between
        probe.bind(("127.0.0.1", 0))
        port = str(probe.getsockname()[1])
    with serving(tmp_path / "team", "--port", port) as server, window(browser, server) as page:
        show(page, server, "build", file="mk1.yaml", key="air.supply.charge")
        put(page, CHARGE, "88 psi")
        expect(state(page)).to_have_text(UNSAVED)
        server.process.kill()
        expect(page.locator("#fw-lost")).to_contain_text("does not answer")
        assert page.evaluate("document.getElementById('fw-main').inert"), "nobody would hear what is typed"
        with serving(tmp_path / "team", "--port", str(server.port)) as again:
            assert again.port == server.port
            expect(page.locator("#fw-lost")).to_be_empty()
            expect(page.locator("#fw-notes")).to_contain_text("Taken up again")
            expect(page.locator(CHARGE)).to_have_value("88 psi")
            expect(state(page)).to_have_text(UNSAVED)
            page.click("#fw-undo")
            expect(page.locator(CHARGE)).to_have_value("6.9 bar")
            page.click("#fw-redo")
            page.click("#fw-save")
            expect(state(page)).to_have_text(SAVED)
            assert "88 psi" in (tmp_path / "team" / "mk1.yaml").read_text("utf-8")


def test_the_files_text_can_be_taken_instead_and_undone(browser, server, heron):
    file = server.folder / heron / "mk1.yaml"
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="air.supply.charge")
        put(page, CHARGE, "90 psi")
        file.write_text(file.read_text("utf-8").replace("value: 6.9 bar", "value: 60 psi"), "utf-8")
        page.wait_for_selector("#fw-conflict[open]")
        page.click("text=give up mine")
        expect(page.locator(CHARGE)).to_have_value("60 psi")
        expect(state(page)).to_have_text(SAVED)
        page.click("#fw-undo")
        expect(page.locator(CHARGE)).to_have_value("90 psi")


def test_a_window_without_changes_follows_the_disk(browser, server, heron):
    file = server.folder / heron / "mk1.yaml"
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="air.supply.charge")
        charge = page.locator(CHARGE)
        expect(charge).to_have_value("6.9 bar")
        text = file.read_text("utf-8").replace("value: 6.9 bar", "value: 60 psi")
        file.write_text(text, "utf-8")
        expect(charge).to_have_value("60 psi")


def test_a_reload_keeps_what_is_not_saved(browser, server, heron):
    with window(browser, server) as page:
        page.on("dialog", lambda dialog: dialog.accept())
        show(page, server, "build", file=f"{heron}/mk1.yaml", key="air.supply.charge")
        put(page, CHARGE, "91 psi")
        page.reload()
        expect(page.locator(CHARGE)).to_have_value("91 psi")
        expect(state(page)).to_have_text(UNSAVED)


def test_units_follow_the_person_and_not_the_file(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "margins", file=f"{heron}/mk1.yaml")
        expect(page.locator("#margins-rows")).to_contain_text(re.compile(r"\d bar"))
        page.click("text=Display")
        page.select_option("#fw-units", "metric")
        expect(page.locator("#margins-rows")).to_contain_text("kPa")
        expect(page.locator("#margins-rows")).not_to_contain_text(re.compile(r"\d bar"))
        page.select_option("#fw-units", "inch")
        expect(page.locator("#margins-rows")).to_contain_text("lbf")
        expect(state(page)).to_have_text(SAVED)
        page.reload()
        expect(page.locator("#margins-rows")).to_contain_text("lbf")


def test_a_mistake_in_the_text_is_shown_at_its_line(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "build", file=f"{heron}/mk1.yaml", part="text")
        area = page.locator("#text-area")
        text = area.input_value()
        line = 1 + text[: text.index("charge:")].count("\n")
        area.fill(text.replace("value: 6.9 bar", "value: 6.9 baar"))
        expect(page.locator("#text-problems")).to_contain_text("did you mean".replace("d", "D", 1))
        expect(page.locator("#text-problems")).to_contain_text(f"line {line}, column")
        expect(page.locator("#text-lines .bad")).to_have_text(f"▶ {line}")
        page.click("#text-problems button")
        expect(area).to_be_focused()
        area.fill(text)
        expect(page.locator("#text-problems")).to_contain_text("without a mistake")


def test_an_input_of_a_finding_leads_to_where_it_is_edited(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "margins", file=f"{heron}/mk1.yaml")
        page.locator("#margins-rows summary", has_text="After 60 s").click()
        page.locator(".detail a", has_text=re.compile("^air supply charge$")).click()
        expect(page.locator(CHARGE)).to_be_focused()
        page.go_back()
        expect(page.locator("#fw-title")).to_have_text("Margins")


def test_margins_are_grouped_by_cause_and_system_found_by_words_and_worked_out(browser, server, heron):
    report = evaluate(load_robot(server.folder / heron / "mk1.yaml"))
    with window(browser, server) as page:
        show(page, server, "margins", file=f"{heron}/mk1.yaml")
        rows = page.locator("#margins-rows > li.finding")
        short = [f.because for cause in report.causes for f in cause.findings]
        expect(rows).to_have_count(len(short))
        assert rows.locator(".because").all_inner_texts() == short
        counts = page.locator("#margins-rows .group-head .count b").all_inner_texts()
        assert sum(map(int, counts)) == len(report.findings), "every finding is in one group"
        page.get_by_role("button", name="Balance", exact=True).click()
        balance = [f for f in report.findings if f.id.startswith("balance.") and f.because not in short]
        expect(rows).to_have_count(len(short) + len(balance))
        page.fill("input[type=search]", "tray mass")
        expect(page.locator("#margins-rows .group-head")).to_have_count(0)
        expect(rows.first).to_be_visible()
        found = rows.locator(".because").all_inner_texts()
        resting = [f.because for f in report.findings if any("tray" in key and "mass" in key for key in f.inputs)]
        assert set(resting) <= set(found)
        page.fill("input[type=search]", "")
        expect(page.locator("#margins-rows .group-head")).not_to_have_count(0)
        lead = report.causes[0].lead
        rows.first.locator("summary").first.click()
        expect(rows.first.locator("dd", has_text="=")).to_contain_text(f"/ {lead.limit:.3g} = −{-lead.margin:.2g}")
        expect(rows.first.locator(".detail math").first).to_be_visible()
        expect(rows.first.locator(".detail ol li").first).to_contain_text("mm")
        page.get_by_role("button", name="margin", exact=True).first.click()
        expect(page.locator("#fw-term")).to_contain_text("0 at the limit")
        page.keyboard.press("Escape")
        expect(page.locator("#fw-term")).to_be_hidden()


@pytest.mark.long
def test_remedies_come_on_request_and_can_be_tried(browser, server, heron):
    with window(browser, server) as page:
        show(page, server, "margins", file=f"{heron}/mk1.yaml")
        page.locator("#margins-rows summary", has_text="After 60 s").click()
        page.click("text=What would mend it?")
        expect(page.locator(".mend progress")).to_be_visible()
        page.locator(".mend").get_by_role("button", name="Cancel").click()
        page.click("text=What would mend it?")
        page.wait_for_selector(".remedies")
        page.select_option("[data-change=by]", "list")
        page.locator(".remedies button").first.click()
        expect(state(page)).to_have_text(UNSAVED)
        expect(page.locator("#margins-rows summary", has_text="A latch holds")).to_contain_text("holds")
        page.click("#fw-undo")
        expect(page.locator("#margins-rows summary", has_text="After 60 s")).to_contain_text("short")


def test_text_from_a_file_never_becomes_part_of_the_page(browser, server, heron):
    evil = "<img src=x onerror=document.title='broken'><script>document.title='broken'</script>${7*7}`"
    file = server.folder / heron / "mk1.yaml"
    text = file.read_text("utf-8")
    quoted = "'" + evil.replace("'", "''") + "'"
    file.write_text(text.replace("robot: Heron mk1", f"robot: {quoted}", 1), "utf-8")
    with window(browser, server) as page:
        page.goto(server.base)
        expect(page.get_by_text("<img src=x").first).to_be_visible()
        show(page, server, "build", file=f"{heron}/mk1.yaml")
        expect(page.locator("#f-robot")).to_have_value(evil)
        page.fill("#f-robot", evil + "!")
        page.press("#f-robot", "Tab")
        show(page, server, "build", file=f"{heron}/mk1.yaml", part="text")
        page.locator("#text-area").fill(text.replace("motors: 6", f"motors: {quoted}", 1))
        expect(page.locator("#text-problems")).to_contain_text("<img src=x")
        assert page.locator("#app img").count() == 0
        assert "broken" not in page.title()


@pytest.mark.long
def test_a_visitor_with_the_code_sees_everything_and_changes_nothing(browser, tmp_path):
    for file in EXAMPLES.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    with serving(tmp_path, "--share") as server:
        context = browser.new_context()
        page = context.new_page()
        page.goto(server.base)
        expect(page.get_by_role("alert")).to_contain_text("code that the terminal shows")
        page.fill("#code", "AAAAAAAA")
        page.click("text=Come in")
        expect(page.get_by_role("alert")).to_contain_text("not the code")
        page.fill("#code", server.code.lower())
        page.click("text=Come in")
        page.wait_for_selector("#fw-title")
        assert page.locator("text=New robot").count() == 0
        show(page, server, "build", file="mk1.yaml", key="air.supply.charge")
        expect(page.locator("#fw-state")).to_have_text("visitor: read-only")
        assert page.locator("#fw-save").count() == 0
        expect(page.locator(CHARGE)).to_have_attribute("readonly", "")
        told = {"what": "set", "path": "air.supply.charge", "part": "value", "value": "1 psi"}
        page.evaluate("told => emitEvent('fw', told)", told)
        page.evaluate("emitEvent('fw', {what: 'do', do: 'save'})")
        expect(page.locator("#fw-notes")).to_contain_text("change nothing")
        context.close()
    assert (tmp_path / "mk1.yaml").read_bytes() == (EXAMPLES / "mk1.yaml").read_bytes()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("new.yaml", b"fieldworthy: robot 1\n", "is in the folder now"),
        ("new.exe", b"MZ", "Expected a file that ends in"),
        ("big.csv", b"x" * 2_000_001, "too large"),
        ("latin.csv", "é".encode("latin-1"), "expected UTF-8"),
    ],
)
def test_files_are_brought_along_within_bounds(browser, server, name, content, said):
    with window(browser, server) as page:
        page.goto(server.base)
        page.wait_for_selector("input[type=file]")
        page.set_input_files("input[type=file]", {"name": name, "mimeType": "text/plain", "buffer": content})
        expect(page.locator("#app")).to_contain_text(said)
    assert (server.folder / name).exists() == (name == "new.yaml")
