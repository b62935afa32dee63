"""Inspection sheet and pit card: item by item what the season allows, and one page however much there is."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge import run
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.report import card
from fieldworthy.report.card import as_paper, inspection
from fieldworthy.report.formulas import belongs
from fieldworthy.report.formulas import pages_of as subjects_of
from fieldworthy.report.typeset import as_html, as_pdf, pages
from fieldworthy.robot import load_robot
from papers import flat, ink, pages_of, strict
from robots import EXAMPLES, example, example_file, load

MK1 = EXAMPLES / "mk1.yaml"
LIMITS = {"mass": "6 kg", "stowed_size": ["400 mm", "400 mm", "400 mm"], "motors": 4, "motor_power": "44 W"}


def sheet(folder, robot=None, season=None):
    loaded = load(folder, {"poses": {"start": {"use": "start"}}, **(robot or {})}, season)
    return inspection(evaluate(loaded, samples=200), loaded.nominal, loaded.nominal_season)


def test_items_by_hand(tmp_path):
    """7 kg of 6 kg; a box of 360 x 340 x 220 mm in 400 mm; four motors of 11 W in 4 and 44 W."""
    items = {i.rule: i for i in sheet(tmp_path, season={"limits": LIMITS}).items}
    assert (items["Mass"].allowed, items["Mass"].found, items["Mass"].verdict) == ("6 kg", "7 kg", "short")
    assert items["Mass"].chance == "under 1 %"
    assert (items["Length at the start"].found, items["Length at the start"].verdict) == ("0.36 m", "holds")
    assert items["Height at the start"].found == "0.22 m"
    assert (items["Number of motors"].found, items["Number of motors"].allowed) == ("4", "4")
    assert items["Power of all motors, as the rules count it"].found == "44 W"


def test_what_the_season_leaves_open_is_said(tmp_path):
    found = sheet(tmp_path, season={"limits": {"mass": "9 kg"}})
    assert [i.rule for i in found.items] == ["Mass"]
    assert "motor power" in found.unlimited
    assert "charge pressure" in found.unlimited
    assert "mass" not in found.unlimited


def test_without_a_starting_pose_its_size_is_unknown_not_guessed(tmp_path):
    loaded = load(tmp_path, season={"limits": LIMITS})
    found = inspection(evaluate(loaded, samples=0), loaded.nominal, loaded.nominal_season)
    assert [i.verdict for i in found.items if i.rule == "Size at the start"] == ["unknown"]


def test_hand_checks_follow_the_robot(tmp_path):
    bare = sheet(tmp_path).by_hand
    assert not any("gauge" in line for line in bare)
    loaded = example()
    full = inspection(evaluate(loaded, samples=0), loaded.nominal, loaded.nominal_season).by_hand
    assert any("gauge" in line for line in full)
    assert any("hangs" in line for line in full)


def test_the_command_prints_and_writes_the_numbers_of_check(tmp_path):
    printed = run("inspect", MK1)
    assert printed.code == 0  # nothing of the season's limits is short, whatever else is
    assert printed.out.count("measured: ________") == 14
    checked = json.loads(run("check", MK1, "--json", "--exit-zero").out)
    for name in ("i.pdf", "i.html"):
        assert run("inspect", MK1, "-o", tmp_path / name, "--date", "2026-11-25").code == 0
    text = "".join(pages_of((tmp_path / "i.pdf").read_bytes()))
    page = flat("".join(strict((tmp_path / "i.html").read_text("utf-8")).text))
    for finding in checked["findings"]:
        if finding["id"].startswith("limits.") and finding["unit"] != "1":
            # three digits, and every digit before the point
            value = finding["value"]
            shown = flat(f"{value:.0f} {finding['unit']}" if value >= 100 else f"{value:.3g} {finding['unit']}")
            assert shown in text
            assert shown in page
    assert flat("inspected by") in text


def test_the_sheet_begins_with_one_answer(tmp_path):
    kept = sheet(tmp_path, season={"limits": LIMITS | {"mass": "8 kg", "motors": 5}})
    # 44 W of 44 W is no doubt: a rule's count is exact
    assert kept.answer.startswith("The robot keeps every limit that the season states, as described.")
    near = sheet(tmp_path, season={"limits": LIMITS | {"mass": "7.01 kg", "motors": 5}})  # it weighs 7 kg
    assert near.answer.startswith("The robot keeps every limit as described, but not surely")
    over = sheet(tmp_path, season={"limits": LIMITS})
    assert over.answer.startswith("The robot cannot be entered as described: mass exceeds what is allowed.")
    assert "number of air tanks" in over.answer
    (unsaid,) = [sheet(tmp_path, season={"limits": {}})]
    assert unsaid.answer.startswith("The file and the season do not say enough for an answer.")


def test_the_command_ends_with_1_where_a_limit_is_not_kept(tmp_path):
    load(tmp_path, {"poses": {"start": {"use": "start"}}}, {"limits": LIMITS})
    done = run("inspect", tmp_path / "robot.yaml")
    assert done.code == 1
    assert "✗ short   Mass: 7 kg" in done.out


@pytest.mark.parametrize("name", ["mk1", "mk2", "otter"])
def test_a_card_is_one_page_with_all_that_it_must_hold(name, tmp_path):
    out = tmp_path / "card.pdf"
    assert run("card", example_file(name), "-o", out, "--date", "2026-11-25").out == f"wrote {out}\n"
    pdf = out.read_bytes()
    (text,) = pages_of(pdf)
    checked = json.loads(run("check", example_file(name), "--json", "--exit-zero").out)
    for finding in checked["findings"]:
        if finding["id"].startswith("air.pressure."):
            cylinder = finding["subject"].removeprefix("cylinder ")
            row = f"{cylinder}{finding['limit']:.3g} bar{finding['value']:.3g} bar{finding['verdict']}"
            assert flat(row) in text.replace("✓", "").replace("✗", "").replace("≈", "")
        if finding["id"] == "drive.cool_down":
            pause = f"cool for {finding['value']:.3g} s" if finding["value"] else "The drive motors need no pause."
            assert flat(pause) in text
    air = bool(example(name).nominal.air.tanks)
    assert (flat("Charge to") in text) == air
    assert ("6.9bar" in text) == air
    for caution in checked["cautions"]:
        assert flat(caution) in text
    for head in ("Checks, in this order", "Spares in the box", "Torque and tension", "Between matches"):
        assert flat(head) in text
    (grey,) = ink(pdf)
    assert (grey < 128).mean() > 0.01
    assert grey[:, :20].min() > 250
    assert grey[:, -20:].min() > 250


def many(count: int) -> dict:
    cylinders = {
        f"cylinder number {i} of the left side": {
            "cylinder": "test cylinder", "tank": f"tank {i % 9}", "valve": "test valve", "push_load": "20 N",
        } for i in range(count)
    }  # fmt: skip
    tanks = {f"tank {i}": {"tank": "test tank"} for i in range(9)}
    plain = {f"mechanism {i}": {"kind": "plain"} for i in range(count)}
    return {"air": {"tanks": tanks, "cylinders": cylinders}, "mechanisms": plain}


@pytest.mark.parametrize("count", [0, 1, 12, 40])
def test_however_much_a_robot_has_its_card_is_one_page(count, tmp_path):
    loaded = load(tmp_path, many(count) if count else None)
    paper = card.fitted(card.card(loaded, evaluate(loaded, samples=0), card.Asked()))
    assert pages(paper) == 1
    assert paper.scale >= 0.8  # letters stay large: 12 points times this
    (text,) = pages_of(as_pdf(paper))
    if count == 40:
        assert flat("more: see the notebook") in text
    assert flat("The event's own rules") in text  # cautions are never cut


def test_checks_are_in_order_safe_first_and_faults_next():
    robot, report = example().nominal, evaluate(example(), samples=0)
    listed = card.checks(robot, report, ("hook cylinder: it leaked twice",))
    assert listed[0].startswith("Air out")
    assert listed[1] == "hook cylinder: it leaked twice"
    assert listed[-1].startswith("Charge again")
    (charged,) = [i for i, line in enumerate(listed) if "charge every tank" in line]
    moved = {name: next(i for i, line in enumerate(listed) if line.startswith(f"{name}:")) for name in robot.mechanisms}
    on_air = {
        "tray",
        "clamp",
        "side arms",
        "hooks",
        "sorter",
    }  # as mk1.yaml gives them a cylinder; the intake has motors
    assert {name for name, i in moved.items() if i > charged} == on_air
    assert next(i for i, line in enumerate(listed) if line.startswith("Battery")) < moved["intake"] < charged
    assert sum(line.startswith(tuple(robot.mechanisms)) for line in listed) == len(robot.mechanisms)


def test_what_a_cylinder_says_it_moves_waits_for_the_air_too():
    """Marten's chute is a plain mechanism; only its cylinder names it. Its winch has motors and waits for none."""
    loaded = load_robot(EXAMPLES.parent / "marten" / "mk1.yaml")
    listed = card.checks(loaded.nominal, evaluate(loaded, samples=0))
    (charged,) = [i for i, line in enumerate(listed) if "charge every tank" in line]
    after = {line.partition(":")[0] for line in listed[charged + 1 : -1]}
    assert after == {"chute", "crate hook"}


def slide(length):
    """A carriage driven 100 mm beside its axis, friction 0.25: 2 mu e = 50 mm, and a shorter guide locks."""
    spec = {"kind": "guide", "length": length, "load": "5 N", "load_offset": "0 mm", "drive_offset": "100 mm"}
    return {"mechanisms": {"tray": spec | {"friction": "0.25"}}}


@pytest.mark.parametrize(("length", "locks"), [("40 mm", True), ("49 mm", True), ("51 mm", False), ("200 mm", False)])
def test_a_guide_that_binds_is_not_called_free(length, locks, tmp_path):
    loaded = load(tmp_path, slide(length))
    report = evaluate(loaded, samples=200)
    (text,) = pages_of(as_pdf(card.card(loaded, report, card.Asked())))
    assert (flat("tray: it can lock as built.") in text) is locks
    assert (flat("tray: runs out and back without binding.") in text) is not locks
    assert flat("nothing rubs") not in text


def test_findings_of_a_guide_stand_on_a_page_of_their_own(tmp_path):
    loaded = load(tmp_path, slide("40 mm"))
    report = evaluate(loaded, samples=0)
    (guides,) = [page for page in subjects_of(report) if page.name == "guide"]
    assert not [page for page in subjects_of(report) if page.name == "lift"]
    assert {item.id for item in (*report.findings, *report.facts) if belongs(guides, item)} == {
        "guide.binding.tray", "guide.return.tray", "guide.force.tray",
    }  # fmt: skip
    assert run("report", loaded.document.file, "-o", tmp_path / "n.pdf").code == 0
    text = "".join(pages_of((tmp_path / "n.pdf").read_bytes()))
    assert flat("Guide 'tray' locks however hard it is pushed") in text


def test_the_fault_log_puts_its_faults_first(tmp_path):
    """The fault that costs the most points comes right after making the robot safe, as ``faults --json`` ranks it."""
    log = EXAMPLES / "mk1_faults.yaml"
    assert run("card", MK1, "-o", tmp_path / "c.pdf", "--faults", log).code == 0
    ranked = json.loads(run("faults", MK1, log, "--json").out)["fixes"]
    live = [f for f in ranked if f["risk"]["times"]]
    (text,) = pages_of((tmp_path / "c.pdf").read_bytes())
    first = flat(f"{live[0]['risk']['where']}: {live[0]['risk']['what']}")
    assert text.index(flat("hands clear")) < text.index(first) < text.index(flat("Battery full, plugged in"))
    assert flat(f"costs {live[0]['points']:.1f} points a match") in text
    mended = [f for f in ranked if not f["risk"]["times"]]
    assert not any(flat(f"{m['risk']['where']}: {m['risk']['what']}") in text for m in mended)


def test_a_fault_log_that_is_wrong_is_refused(tmp_path):
    done = run("card", MK1, "-o", tmp_path / "c.pdf", "--faults", EXAMPLES / "glasshouse.yaml")
    assert done.code == 2
    assert not (tmp_path / "c.pdf").exists()


def test_spares_count_what_the_robot_has():
    """mk1: six drive motors and two of its intake in one class; two 10 mm by 75 mm cylinders."""
    listed = card.spares(example().nominal)
    assert "smart motor, 11 W class, 600 rpm (it has 8)" in listed
    assert "cylinder, 10 mm bore, 75 mm stroke (it has 2)" in listed


@settings(deadline=None, max_examples=15)
@given(name=st.text(st.sampled_from('#$*_@<&"\\`[]{}=ab \u2028'), min_size=1, max_size=40))
def test_hostile_names_on_sheets(name, tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheets")
    shown = "".join(c if c.isprintable() else " " for c in name)
    loaded = load(folder, {"robot": name, "poses": {"start": {"use": "start"}}}, {"limits": LIMITS})
    report = evaluate(loaded, samples=0)
    for paper in (
        as_paper(inspection(report, loaded.nominal, loaded.nominal_season)),
        card.card(loaded, report, card.Asked()),
    ):
        assert flat(shown) in "".join(pages_of(as_pdf(paper)))
        assert flat(shown) in flat("".join(strict(as_html(paper)).text))
