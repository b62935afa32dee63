"""Constants for the robot's own program: they compile, run, follow their schema, and are what the findings say."""

import ast
import csv
import io
import json
import re
import runpy
import shutil
import subprocess

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge import run
from fieldworthy import __version__
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases, evaluate
from fieldworthy.engine.evaluate import run as run_checks
from fieldworthy.engine.finding import DisplayUnits, first, json_schema
from fieldworthy.report.blocks import LONGEST, names_of, slug, unit_words
from fieldworthy.report.export import Entry, Export, as_c, as_csv, as_json, as_python, export_of
from fieldworthy.units import KINDS
from robots import EXAMPLES, example, load

MK1 = EXAMPLES / "mk1.yaml"
HOSTILE = st.one_of(
    st.text(max_size=80),
    st.sampled_from(
        ["*/ int x; /*", "a\nb", "\\", "??/", "\u202e\u2028x", '"""', "=1+1", "#endif", "9 lives", "int", "", "é" * 70]
    ),
)


@pytest.fixture(scope="module", params=["mk1", "mk2", "otter"])
def exported(request):
    return export_of(example(request.param)), example(request.param)


def compile_c(folder, text: str, main: str = "int main(void) { return 0; }") -> None:
    """Compile a program that includes the header, as C and as C++ where a compiler is there."""
    (folder / "constants.h").write_text(text, encoding="utf-8")
    (folder / "main.c").write_text(f'#include "constants.h"\n#include "constants.h"\n{main}\n', encoding="utf-8")
    compiler = shutil.which("gcc") or shutil.which("cc")
    assert compiler, "a C compiler is needed for this test"
    flags = ["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror"]
    done = subprocess.run(
        [compiler, *flags, str(folder / "main.c"), "-o", str(folder / "main")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_json_follows_its_published_schema(capsys):
    out = run("export", MK1, "--to", "json").out
    published = json.loads(run("schema", "export").out)
    jsonschema.Draft202012Validator.check_schema(published)
    data = json.loads(out)
    jsonschema.validate(data, published)
    assert data["format"] == "fieldworthy export 1"
    wrong = data | {"format": "fieldworthy export 9"}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(wrong, published)


def test_c_header_compiles_and_holds_the_numbers(exported, tmp_path):
    export, _ = exported
    names = [f"ROBOT_{e.name.upper()}" for e in export.constants]
    prints = "\n".join(f'  printf("%.17g\\n", (double){name});' for name in names)
    compile_c(tmp_path, as_c(export), f"#include <stdio.h>\nint main(void) {{\n{prints}\n  return 0;\n}}")
    printed = subprocess.run([str(tmp_path / "main")], capture_output=True, text=True, check=True).stdout.split()
    assert [float(p) for p in printed] == [e.value for e in export.constants]


def test_python_module_runs_and_holds_the_numbers(exported, tmp_path):
    export, _ = exported
    file = tmp_path / "constants.py"
    file.write_text(as_python(export), encoding="utf-8")
    found = {k: v for k, v in runpy.run_path(str(file)).items() if k.isupper()}
    assert found == {e.name.upper(): e.value for e in export.constants}


def test_csv_holds_the_numbers(exported):
    export, _ = exported
    rows = list(csv.DictReader(io.StringIO(as_csv(export))))
    assert [(r["name"], float(r["value"])) for r in rows] == [(e.name, e.value) for e in export.constants]


def test_what_comes_from_findings_is_what_check_says(exported):
    """A constant with a finding's id as origin and that finding's own number or limit."""
    export, loaded = exported
    report = evaluate(loaded, samples=0)
    said = {}
    for item in (*report.findings, *report.facts):
        said.setdefault(item.id, []).extend(v for v in (item.value, getattr(item, "limit", None)) if v is not None)
    by_name = {e.name: e for e in export.constants}
    held = 0
    for entry in export.constants:
        if entry.origin in said and re.search(r"strokes|seam_speed|cool_down|tip_|pressure_least|time_up", entry.name):
            assert any(entry.value == pytest.approx(v, rel=5.1e-4) for v in said[entry.origin]), entry
            held += 1
    assert held >= (12 if loaded.nominal.air.cylinders else 7)  # without air: tips, seams, cooling, the arm's time
    assert by_name["drive_top_speed_m_per_s"].value == pytest.approx(said["drive.top_speed"][0], rel=5.1e-4)


def test_numbers_worked_by_hand():
    by_name = {e.name: e for e in export_of(example()).constants}
    # 2.75 in wheel, 48:60: 1.25 motor turns for one of the wheel, pi * 69.85 mm / 1.25 on one motor turn
    assert by_name["drive_wheel_diameter_mm"].value == pytest.approx(69.85)
    assert by_name["drive_ratio"].value == pytest.approx(60 / 48)
    assert by_name["drive_travel_per_motor_turn_mm"].value == pytest.approx(3.141592653589793 * 69.85 / 1.25)
    assert by_name["drive_track_mm"].value == pytest.approx(2 * 155.0)
    assert by_name["tracking_ahead_travel_per_count_mm"].value == pytest.approx(3.141592653589793 * 50.8 / 4096)
    assert by_name["tracking_across_offset_mm"].value == pytest.approx(-60.0)
    # 600 rpm at 12 V, 0.1755522 m on one turn: 1.755522 m/s without load
    assert by_name["drive_speed_gain_v_s_per_m"].value == pytest.approx(12 / (10 * 0.17555219748), rel=5.1e-4)
    assert by_name["air_charge_bar"].tolerance == pytest.approx(0.14)
    hues = [by_name[f"sorter_{label}_hue_{end}_deg"].value for label in ("copper", "indigo") for end in ("from", "to")]
    assert hues[0] == hues[3]  # the circle is shared out without a gap
    assert hues[1] == hues[2]
    assert by_name["field_gutter_y_mm"].value == pytest.approx(1500.0)


def test_what_is_safe_is_the_least_of_what_the_drive_can_do_and_what_tips(exported):
    export, loaded = exported
    by_name = {e.name: e.value for e in export.constants}
    found = {o.id: o for o in run_checks(loaded, Cases(0, 0, 0, []), Context(loaded.nominal, loaded.nominal_season))}
    can = found["drive.top_speed"].because.numbers
    for name, number, way in (("acceleration", "launch", "back"), ("deceleration", "brake", "forward")):
        safe = by_name[f"drive_{name}_most_m_per_s2"]
        assert safe == pytest.approx(min(first(can[number][0]), by_name[f"drive_tip_{way}_m_per_s2"]), rel=5.1e-4)


def test_counts_are_whole_numbers_and_the_head_says_what_was_computed_when():
    export = export_of(example(), "2026-11-28")
    counts = [e for e in export.constants if re.search(r"_counts$|_strokes$|_readings$", e.name)]
    assert len(counts) >= 6
    assert all(isinstance(e.value, int) for e in counts)
    assert "tracking_ahead_counts" in {e.name for e in counts}
    assert "#define ROBOT_TRACKING_AHEAD_COUNTS (4096)" in as_c(export)
    for text in (as_c(export), as_python(export)):
        assert f"from mk1.yaml on 2026-11-28 by fieldworthy {__version__}" in text.splitlines()[0]
    assert json.loads(as_json(export))["date"] == "2026-11-28"


def test_a_bare_robot_gives_what_it_has(tmp_path):
    names = {e.name for e in export_of(load(tmp_path)).constants}
    assert {"drive_wheel_diameter_m", "drive_ratio"} <= names
    assert not any(n.startswith(("air", "tracking", "sorter")) for n in names)


def test_the_command_writes_a_file_and_refuses_what_it_does_not_know(tmp_path):
    out = tmp_path / "constants.h"
    done = run("export", MK1, "--to", "c", "-o", out)
    assert (done.code, done.out) == (0, f"wrote {out}\n")
    assert out.read_text("utf-8").startswith("/* Constants of Heron mk1")
    wrong = run("export", MK1, "--to", "jso")
    assert wrong.code == 2
    assert "did you mean 'json'?" in wrong.err
    assert run("export", MK1, "-o", tmp_path / "none" / "x.json").code == 2


def test_units_in_names():
    assert [unit_words(u) for u in ("mm", "m/s^2", "L/(s*bar)", "1", '"', "deg/h^0.5", "V*s^2/m", "°")] == [
        "mm", "m_per_s2", "l_per_s_bar", "", "in", "deg_per_h_root", "v_s2_per_m", "deg",
    ]  # fmt: skip
    shown = DisplayUnits.of(())
    for kind in KINDS:  # every unit that a file may show gives a name of its own kind
        assert re.fullmatch(r"[a-z0-9_]*", unit_words(shown.units[kind]))
    assert slug("Left Arm (2)") == "left_arm_2"
    assert slug("Bélier droit") == "belier_droit"


@settings(deadline=None)
@given(st.lists(st.tuples(st.lists(HOSTILE, min_size=1, max_size=3), st.sampled_from(["mm", "1", "m/s"])), max_size=12))
def test_names_are_identifiers_and_unique_whatever_people_type(wanted):
    names = names_of(wanted)
    assert len(names) == len(wanted)
    assert len(set(names)) == len(names)
    for name, (_, unit) in zip(names, wanted, strict=True):
        assert re.fullmatch(r"[a-z][a-z0-9_]*", name)
        assert len(name) <= LONGEST
        assert name.endswith(unit_words(unit))


def hostile_export(texts: list[str]) -> Export:
    names = names_of([(("drive", t), "mm") for t in texts])
    entries = tuple(Entry(n, 1.5, "mm", t, t, "computed", None) for n, t in zip(names, texts, strict=True))
    return Export(texts[0], texts[-1], texts[0], "", texts[-1], entries)


@settings(deadline=None, max_examples=15)
@given(texts=st.lists(HOSTILE, min_size=1, max_size=30))
def test_hostile_words_stay_in_the_comments_of_c(texts, tmp_path_factory):
    compile_c(tmp_path_factory.mktemp("c"), as_c(hostile_export(texts)))


@settings(deadline=None)
@given(texts=st.lists(HOSTILE, min_size=1, max_size=5))
def test_hostile_words_stay_in_the_comments_of_python_json_and_csv(texts):
    export = hostile_export(texts)
    tree = ast.parse(as_python(export))
    assert all(isinstance(node, ast.Assign) for node in tree.body)
    assert len(tree.body) == len(texts)
    jsonschema.validate(json.loads(as_json(export)), json_schema(Export))
    rows = list(csv.reader(io.StringIO(as_csv(export))))
    assert len(rows) == len(texts) + 1
    assert not any(cell[:1] in tuple("=+@\t\r") and cell for row in rows[1:] for cell in row)
