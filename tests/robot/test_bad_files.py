"""Every kind of wrong robot file: exit 2, the place, the key, what was expected; never a traceback."""

import json

import pytest

from edge import PARTS, ROBOT, SEASON, changed, place, run, written

PUSH = "push_force: 30 N"

OWN = "catalogue: {tanks: {t: {rated_pressure: 10 bar, mass: 50 g, "
RIM = "catalogue: {wheels: {w: {diameter: 80 mm, mass: 90 g, side_grip: 1, rolling_resistance: 0.02, "
SHAFT = (
    "catalogue: {motors: {m: {free_speed: 200 rpm, stall_torque: 0 N*m, free_current: 0.1 A, stall_current: 2 A, "
    "rated_voltage: 12 V, counted_power: 5.5 W, mass: 95 g}}}"
)

# what stands in the file, what is put there instead, the words at whose place the problem must be reported,
# the key, what the message must say
ONE = [
    (PUSH, "push_force: 30 kg", "30 kg", "drive.targets.push_force", "expected a force with a unit, such as '20 N'"),
    (PUSH, "push_force: 30 lb", "30 lb", "drive.targets.push_force", "did you mean 'lbf'?"),
    (PUSH, "push_force: 30", "30\nbattery", "drive.targets.push_force", "(found 30)"),
    (PUSH, "push_force: 3,5 N", "3,5 N", "drive.targets.push_force", "did you mean '3.5 N'?"),
    (PUSH, "push_force: nan N", "nan N", "drive.targets.push_force", "expected a number with a unit"),
    (PUSH, "push_force: .nan", ".nan", "drive.targets.push_force", "expected a number with a unit"),
    (PUSH, "push_force: .inf", ".inf", "drive.targets.push_force", "expected a number with a unit"),
    (PUSH, "push_force: -inf N", "-inf N", "drive.targets.push_force", "expected a number with a unit"),
    (PUSH, "push_force: 1e999 N", "1e999 N", "drive.targets.push_force", "finite"),
    (PUSH, f"push_force: {'9' * 5000}", "9" * 5000, "drive.targets.push_force", "expected a number with a unit"),
    (PUSH, f"push_force: {'9 ' * 50000}", "9 " * 49999, "drive.targets.push_force", "expected a number with a unit"),
    (PUSH, "push_force: true", "true", "drive.targets.push_force", "expected a force with a unit"),
    (PUSH, "push_force: [1, 2]", "[1, 2]", "drive.targets.push_force", "expected a force with a unit"),
    (PUSH, "push_force: 0 N", "0 N\nbattery", "drive.targets.push_force", "expected more than 0 N (found 0 N)"),
    (PUSH, "push_force: {tolerance: 1 N}", "{tolerance: 1 N}", "drive.targets.push_force", "the key 'value'"),
    (PUSH, "push_force: {value: 3 N, tolerance: -1 N}", "-1 N", "drive.targets.push_force.tolerance", "zero or more"),
    (PUSH, "push_force: {value: 3 N, basis: guess}", "guess", "drive.targets.push_force.basis", "one of measured"),
    (PUSH, "push_force: {value: 3 N, tolerence: 1 N}", "1 N}", "drive.targets.push_force.tolerence", "'tolerance'?"),
    (PUSH, "push_force: {value: 3 N, tolerance: 1 s}", "1 s}", "drive.targets.push_force.tolerance", "a force"),
    ("  motors: 4", "  motors: six", "six", "drive.motors", "expected a whole number (found 'six')"),
    ("  motors: 4", "  motors: 4.5", "4.5", "drive.motors", "expected a whole number (found 4.5)"),
    ("  motors: 4", "  motors: 0", "0\n  stages", "drive.motors", "expected at least 1 (found 0)"),
    ("  motors: 4", "  motors: -4", "-4", "drive.motors", "expected at least 1 (found -4)"),
    ("  motors: 4", "  motors: 5000", "5000", "drive.motors", "expected at most 1000"),
    ("  motors: 4", f"  motors: {'9' * 5000}", "9" * 5000, "drive.motors", "expected a whole number"),
    # what other numbers are divided by: a sheet of nothing is no wheel, a drive that never brakes never stops
    ("  motors: 4", "  motors: 4\n  braking: 0", "0\n  stages", "drive.braking", "expected more than 0 (found 0)"),
    ("battery:", f"{OWN}volume: 0 mL}}}}}}\nbattery:", "0 mL}", "catalogue.tanks.t.volume", "expected more than 0 mL"),
    ("battery:", f"{RIM}grip: 0}}}}}}\nbattery:", "0}}}", "catalogue.wheels.w.grip", "expected more than 0 (found 0)"),
    ("battery:", f"{SHAFT}\nbattery:", "0 N*m", "catalogue.motors.m.stall_torque", "expected more than 0 N*m"),
    ("  motors: 4\n", "", "motor: smart motor, 11", "drive.motors", "this key is missing"),
    ("  motors: 4", "  motors: 4\n  motors: 6", "motors: 6", "drive.motors", "expected each key only once"),
    ("  targets:", "  tragets:", "tragets", "drive.tragets", "did you mean 'targets'?"),
    ("poses:", "pose:", "pose:", "pose", "did you mean 'poses'?"),
    ("robot: Small", "robot: 4711", "4711", "robot", "expected a text: put 4711 in quotes"),
    ("robot: Small", "robot:", "robot:", "robot", "expected a text (found nothing)"),
    ("fieldworthy: robot 1", "fieldworthy: robot 2", "robot 2", "fieldworthy", "expected 'robot 1' (found 'robot 2')"),
    ("mass: 1 kg", "mass: -1 kg", "-1 kg", "parts.lift.mass", "expected more than 0 kg (found -1 kg)"),
    ("[0 mm, 0 mm, 80 mm]", "[0 mm, 0 mm]", "[0 mm, 0 mm]\n", "parts.frame.position[2]", "one more value"),
    ("[0 mm, 0 mm, 80 mm]", "[0, 0, 0, 0]", "[0, 0, 0, 0]", "parts.frame.position", "3"),
    ("[0 mm, 0 mm, 80 mm]", "80 mm", "80 mm\n", "parts.frame.position", "expected a list"),
    ("size: [400 mm", "size: [0 mm", "0 mm, 380", "parts.frame.size[0]", "expected more than 0 mm"),
    ("{use: start}", "{use: statr}", "statr", "poses.stowed.use", "did you mean 'start'?"),
    ("rides: lift}\nair", "rides: lfit}\nair", "lfit", "poses.raised.carries.ball.rides", "a group that a part rides"),
    ("      lift: {turn", "      lfit: {turn", "{turn", "poses.raised.moves.lfit", "a group that a part rides"),
    (", pivot: [0 mm, 0 mm, 200 mm]", "", "10 deg", "poses.raised.moves.lift.turn", "expected the key 'pivot' too"),
    ("tank: left", "tank: lefd", "lefd", "air.cylinders.clamp.tank", "did you mean 'left'?"),
    ("mechanism: clamp", "mechanism: clam", "clam\n", "air.cylinders.clamp.mechanism", "did you mean 'clamp'?"),
    ("600 rpm", "60 rpm", "smart motor, 11 W class, 60 rpm", "drive.motor", "class, 600 rpm'?"),
    ("  start: start", "  start: strat", "strat", "plan.start", "did you mean 'start'?"),
    ("object: ball", "object: bal", "bal,", "poses.raised.carries.ball.object", "did you mean 'ball'?"),
    ("strokes: {clamp: 1}", "strokes: {clmp: 1}", "1}, practice", "actions.score.strokes.clmp", "'clamp'?"),
    ("successes: 5", "successes: 11", "11,", "actions.score.practice.successes", "at most the number of attempts"),
    ("    - times: 4\n      repeat:", "    - repeat:", "- {action", "plan.driven[0].repeat", "'times' or 'until'"),
    (
        "      repeat:\n        - {action: score, at: goal}",
        "      repeat: []",
        "[]",
        "plan.driven[0].repeat",
        "at least one step",
    ),
    ("{action: score, at: goal}", "score", "score\n", "plan.driven[0].repeat[0]", "expected a mapping of keys"),
    ("kind: plain", "kind: plian", "plian", "mechanisms.clamp.kind", "did you mean 'plain'?"),
    ("{kind: plain, ", "{", "{motors: [", "mechanisms.clamp.kind", "this key is missing"),
    ("season: season.yaml\n", "", "fieldworthy: robot", "season", "the name of the season file"),
    ("season: season.yaml", "season: seson.yaml", "seson.yaml", "season", "did you mean 'season.yaml'?"),
    ("season: season.yaml", "season: ../season.yaml", "../season.yaml", "season", "beside this one"),
    ("season: season.yaml", "season: x/../../season.yaml", "x/../..", "season", "beside this one"),
    ("season: season.yaml", "season: /etc/hostname", "/etc/hostname", "season", "beside this one"),
    ("season: season.yaml", "season: 'C:\\season.yaml'", "'C:", "season", "beside this one"),
    ("season: season.yaml", "season: '..\\season.yaml'", "'..", "season", "beside this one"),
    ("season: season.yaml", 'season: "a\\0b"', '"a', "season", "found the control character 0x00"),
    ("robot: Small", 'robot: "a\\e[31mb"', '"a', "robot", "found the control character 0x1b"),
    ("robot: Small", 'robot: "\\ud83e"', '"\\u', "robot", "found the control character 0xd83e"),
    ("season: season.yaml", "season: .", ".\ndrive", "season", "beside this one"),
    ("robot: Small", "robot: Small\nparts_list: part.csv", "part.csv", "parts_list", "did you mean 'parts.csv'?"),
    ("robot: Small", "robot: Small\nparts_list: ../parts.csv", "../parts.csv", "parts_list", "beside this one"),
    ("robot: Small", "robot: Small\nparts_list: /dev/zero", "/dev/zero", "parts_list", "beside this one"),
    (
        "[150 mm, 150 mm]",
        "[1000 km, 150 mm]",
        "1000 km",
        "drive.wheels.left front.position[0]",
        "a size that a robot can",
    ),
    (
        "[150 mm, 150 mm]",
        "[7.5 m, 150 mm]",
        "7.5 m",
        "drive.wheels.left front.position[0]",
        "at most 4 m from the robot's",
    ),
    ("size: [400 mm, 380 mm", "size: [400 m, 380 mm", "400 m,", "parts.frame.size[0]", "at most 10 m (found 400 m)"),
    ("[400 mm, 380 mm, 100 mm]", "[400 mm, 380 mm, 1e-9 mm]", "1e-9 mm", "parts.frame.size[2]", "at least 0.01 mm"),
    (
        "driven: 60}]",
        "driven: 60}" + ", {driver: 1, driven: 1000}" * 20 + "]",
        "[{driver",
        "drive.stages",
        "10000 turns",
    ),
    ("push_force: 30 N", "push_force: 1e9 N", "1e9 N", "drive.targets.push_force", "at most 100000 N"),
    ("robot: Small", f"robot: {'x' * 100_000}", f"{'x' * 100_000}", "robot", "at most 1000 characters"),
    ("robot: Small", "robot: &name Small\nabout: *name", "*name", "about", "expected no aliases"),
]


@pytest.mark.parametrize(("old", "new", "at", "key", "says"), ONE, ids=[f"{n[:40]!r}" for _, n, _, _, _ in ONE])
def test_one_thing_wrong_is_reported_once_at_its_place(tmp_path, old, new, at, key, says):
    text = changed(old, new) if old != "600 rpm" else ROBOT.replace("11 W class, 600 rpm", "11 W class, 60 rpm")
    ended = run("check", written(tmp_path, text))
    assert ended.code == 2
    assert ended.out == ""
    ((file, line, column, rest),) = ended.problems
    assert (file, line, column) == ("robot.yaml", *place(at, text))
    assert rest.startswith(f"{key}: ")
    assert says in rest


def test_the_unchanged_file_is_good(tmp_path):
    ended = run("check", "--exit-zero", written(tmp_path))
    assert (ended.code, ended.err) == (0, "")
    assert ended.out.startswith("Small in Test season")


@pytest.mark.parametrize(
    ("old", "new", "key", "says"),
    [
        ("driven: 100 s}", "driven: 1e9 s}", "periods.driven", "at most 100000 s"),
        ("size: [3.6 m, 3.6 m]", "size: [1e9 m, 3.6 m]", "field.size[0]", "at most 100 m"),
        ("{points: 2,", "{points: 1e18,", "tasks.ball in goal.points", "at most 10000"),
        ("{points: 2,", "{points: -5,", "tasks.ball in goal.points", "at least 0"),
        ("limits: {mass: 9 kg,", "limits: {charge_pressure: 1e9 psi, mass: 9 kg,", "limits.charge_pressure", "at most"),
    ],
)
def test_what_no_season_has_is_told_at_its_place(tmp_path, old, new, key, says):
    season = changed(old, new, SEASON)
    ended = run("check", written(tmp_path, ROBOT, season))
    assert ended.code == 2
    ((file, line, _, rest),) = ended.problems
    assert (file, line) == ("season.yaml", place(new, season)[0])
    assert rest.startswith(f"{key}: expected ")
    assert says in rest
    assert len(rest) < 160


def test_all_problems_of_a_file_at_once_in_its_order(tmp_path):
    text = changed("  motors: 4", "  motors: six\n  motors: 5\n  frction_torque: 1 N*m")
    text = changed("push_force: 30 N", "push_force: 30 kg", text)
    text = changed("mass: 1 kg", "mass: *mass", text)
    ended = run("check", written(tmp_path, text))
    assert ended.code == 2
    lines = [line for _, line, _, _ in ended.problems]
    words = ("six", "frction", "30 kg", "*mass")
    assert sorted({place(word, text)[0] for word in words} | {place("motors: 5", text)[0]}) == lines


def test_unknown_names_of_robot_and_season_come_together(tmp_path):
    text = changed("tank: left", "tank: lefd")
    text = changed("at: goal", "at: gaol", text)
    text = changed("successes: 5", "successes: 50", text)
    ended = run("check", written(tmp_path, text))
    assert [rest.partition(":")[0] for *_, rest in ended.problems] == [
        "air.cylinders.clamp.tank",
        "actions.score.practice.successes",
        "plan.driven[0].repeat[0].at",
    ]


def test_a_missing_season_does_not_hide_the_robots_own_problems(tmp_path):
    text = changed("season: season.yaml", "season: none.yaml")
    ended = run("check", written(tmp_path, changed("tank: left", "tank: lefd", text)))
    assert [rest.partition(":")[0] for *_, rest in ended.problems] == ["season", "air.cylinders.clamp.tank"]


def test_drive_without_driven_wheels(tmp_path):
    text = ROBOT.replace('2.75 in"}', '2.75 in", driven: false}')
    ended = run("check", written(tmp_path, text))
    ((_, line, _, rest),) = ended.problems
    assert line == place("left front", text)[0]
    assert rest == "drive.wheels: expected at least one driven wheel"


BIG = ROBOT.replace(
    '[-150 mm, 150 mm], wheel: "rubber wheel, 2.75 in"', '[-150 mm, 150 mm], wheel: "rubber wheel, 4 in"'
)


def test_driven_wheels_of_different_size(tmp_path):
    ended = run("check", written(tmp_path, BIG))
    assert ended.code == 2
    ((_, line, column, rest),) = ended.problems
    assert (line, column) == place('"rubber wheel, 4 in"', BIG)
    assert rest.startswith("drive.wheels.left rear.wheel: expected a wheel as large as 'left front', 69.8 mm")
    assert "(found 102 mm)" in rest  # 4 in and 2.75 in at 25.4 mm an inch


def test_a_wheel_of_another_size_may_roll_along(tmp_path):
    text = BIG.replace('"rubber wheel, 4 in"', '"rubber wheel, 4 in", driven: false')
    assert run("check", written(tmp_path, text), "--exit-zero").code == 0


def test_wheels_that_wear_differently_are_one_size(tmp_path):
    own = """\
catalogue:
  wheels:
    worn: {diameter: 69.4 mm, mass: 90 g, grip: 1, side_grip: 1, rolling_resistance: 0.02}
"""
    text = ROBOT.replace('[-150 mm, 150 mm], wheel: "rubber wheel, 2.75 in"', "[-150 mm, 150 mm], wheel: worn") + own
    assert run("check", written(tmp_path, text), "--exit-zero").code == 0


CLASSES = """\
catalogue:
  cylinders:
    short: {bore: 10 mm, rod: 4 mm, stroke: 50 mm, closed_length: 50 mm, mass: 30 g}
    thick: {bore: 10 mm, rod: 10 mm, stroke: 50 mm, closed_length: 90 mm, mass: 30 g}
  motors:
    odd:
      free_speed: 100 rpm
      stall_torque: 1 N*m
      free_current: 2 A
      stall_current: 2 A
      rated_voltage: 12 V
      counted_power: 11 W
      mass: 100 g
      derating: [{above: 60 degC, factor: 0.5}, {above: 55 degC, factor: 0.25}]
"""


def test_classes_that_cannot_be_built(tmp_path):
    text = ROBOT + CLASSES
    ended = run("check", written(tmp_path, text))
    assert [(line, rest) for _, line, _, rest in ended.problems] == [
        (
            place("short:", text)[0],
            "catalogue.cylinders.short.closed_length: expected more than the stroke: the rod must fit in",
        ),
        (place("thick:", text)[0], "catalogue.cylinders.thick.rod: expected less than the bore"),
        (place("free_current", text)[0], "catalogue.motors.odd.free_current: expected less than the stall current"),
        (
            place("55 degC", text)[0],
            "catalogue.motors.odd.derating[1].above: expected a higher temperature than that of the step before",
        ),
    ]


@pytest.mark.parametrize(
    ("stall", "verdict"),
    [("0.6 A", "wrong"), ("1.8 A", "wrong"), ("3.1 A", "right"), ("3.6 A", "right"), ("36 A", "wrong")],
)
def test_motor_numbers_that_contradict_each_other_are_said_with_their_line(tmp_path, stall, verdict):
    """Torque per ampere times speed over the volts that it induces is what the shaft gives of the power put in.

    By hand, 0.7 N*m at 600 rpm, 12 V and 0.13 A: 0.7 w (I - I0)^-1 / (12 (1 - I0 / I)) is 9.9 at 0.6 A, 2.37 at 1.8 A,
    1.29 at 3.1 A, 1.10 at 3.6 A and 0.10 at 36 A; a third more than 1 is let pass as rounding.
    """
    text = (
        ROBOT
        + f"""\
catalogue:
  motors:
    odd:
      free_speed: 600 rpm
      stall_torque: 0.7 N*m
      free_current: 0.13 A
      stall_current: {stall}
      rated_voltage: 12 V
      counted_power: 11 W
      mass: 100 g
"""
    )
    ended = run("check", written(tmp_path, text))
    told = [(line, rest) for _, line, _, rest in ended.problems if "motors.odd" in rest]
    if verdict == "right":
        assert not told
        return
    ((line, rest),) = told
    assert line == place("stall_torque", text)[0]
    assert rest.startswith("catalogue.motors.odd.stall_torque: expected ")
    assert rest.endswith("with this free speed, voltage and stall current: one of them is wrong")


@pytest.mark.parametrize(
    ("old", "new", "at", "says"),
    [
        ("season 1", "season 2", "season 2", "fieldworthy: expected 'season 1' (found 'season 2')"),
        ("season 1", "robot 1", "robot 1", "fieldworthy: expected 'season 1' (found 'robot 1')"),
        ("goal: [1 m", "goal: [2 m", "2 m", "field.places.goal[0]: expected a place inside the field"),
        ("object: ball", "object: bal", "bal}", "tasks.ball in goal.object: expected one of objects: ball"),
        ("shape: ball", "shape: ball, carries: ball", "ball}\ntasks", "objects.ball.carries: expected an object that"),
        ("mass: 9 kg", "mass: 0 kg", "0 kg", "limits.mass: expected more than 0 kg"),
        ("points: 2", "points: .nan", ".nan", "tasks.ball in goal.points: expected a number"),
        ("driven: 100 s", "drivn: 100 s", "drivn", "periods.drivn: unknown key"),
    ],
)
def test_a_bad_season_is_reported_in_the_seasons_file(tmp_path, old, new, at, says):
    season = changed(old, new, SEASON)
    ended = run("check", written(tmp_path, season=season))
    assert ended.code == 2
    found = [(line, column) for file, line, column, rest in ended.problems if rest.startswith(says)]
    assert {file for file, *_ in ended.problems} == {"season.yaml"}
    assert found == [place(at, season)]


LISTED = changed("robot: Small", "robot: Small\nparts_list: parts.csv")

# what stands in the table, what is put there instead, row, column (counted in cells), what is said
TABLES = [
    ("width [mm]", "widht [mm]", 1, 7, "did you mean 'width'?"),
    ("width [mm],", "", 1, 1, "expected the columns width too"),
    ("width [mm]", "height [mm]", 1, 8, "expected each column only once; 'height' stands twice"),
    ("brace,110", "rail,110", 3, 1, "'rail' stands twice"),
    ("brace,110", "frame,110", 3, 1, "'frame' stands twice"),
    ("brace,110", ",110", 3, 1, "expected the part's name"),
    ("brace,110", "bra[ce,110", 3, 1, "expected a name of 1 to 60 letters"),
    ("brace,110", '"brace,110', 3, 1, "a quote is not closed"),
    ("brace,110", '"brace"x,110', 3, 1, "expected a table of cells"),
    ("brace,110", "brace,-110", 3, 2, "parts.brace.mass: expected more than 0 g (found -110 g)"),
    ("brace,110", "brace,", 3, 2, "parts.brace.mass.value: expected a number with a unit"),
    ("brace,110", "brace,110 mm", 3, 2, "expected a mass with a unit"),
    ("brace,110", 'brace,"110,5"', 3, 2, "did you mean '110.5 g'?"),
    ("brace,110", "brace,110,5", 3, 12, "expected at most 11 cells"),
    ("brace,110", "brace,nan", 3, 2, "expected a number with a unit"),
    (",60,0,395", ",60,zero,395", 3, 4, "parts.brace.position[1]: expected a number with a unit (found 'zero')"),
    (",25,300,25,", ",25,0,25,", 3, 7, "parts.brace.size[1]: expected more than 0 mm"),
    ("lift,1,", "lift,1.5,", 3, 10, "parts.brace.count: expected a whole number"),
    ("lift,1,", "lift,²,", 3, 10, "parts.brace.count: expected a whole number"),
    ("lift,1,", f"lift,{'1' * 5000},", 3, 10, "parts.brace.count: expected a whole number"),
    ("estimate", "gues", 3, 11, "parts.brace.mass.basis: expected one of measured, datasheet, estimate"),
]


@pytest.mark.parametrize(("old", "new", "row", "column", "says"), TABLES, ids=[f"{n[:30]!r}" for _, n, *_ in TABLES])
def test_a_parts_list_is_judged_by_row_and_column(tmp_path, old, new, row, column, says):
    ended = run("check", written(tmp_path, LISTED, parts=changed(old, new, PARTS)))
    assert ended.code == 2
    places = [(file, line, its) for file, line, its, rest in ended.problems if says in rest]
    assert places == [("parts.csv", row, column)]


@pytest.mark.parametrize(
    "table",
    [
        PARTS,
        PARTS.replace(",", ";"),
        PARTS.replace(",", "\t"),
        PARTS.replace("\n", "\r\n"),
        PARTS.replace("\n", "\r"),
        "\ufeff" + PARTS,
        PARTS.replace("\n", ",,\n"),
        PARTS + "\n,,,,\n",
        PARTS.replace("brace,110,", "brace,0.11 kg,"),
        PARTS.replace("mass [g]", "Mass [g]").replace("brace", '"brace"'),
    ],
    ids=["comma", "semicolon", "tab", "crlf", "cr", "bom", "empty columns", "empty rows", "unit in cell", "quotes"],
)
def test_what_spreadsheets_write_is_read_alike(tmp_path, table):
    plain = run("check", "--json", "--exit-zero", written(tmp_path, LISTED))
    (mass,) = [f for f in json.loads(plain.out)["findings"] if f["id"] == "limits.mass"]
    kilograms = mass["value"] * {"g": 0.001, "kg": 1.0}[mass["unit"]]
    # the frame, the lift, two rails of 310 g each, one brace of 110 g; 0.1 g allows for rounding
    assert kilograms == pytest.approx(5 + 1 + 2 * 0.31 + 0.11, abs=1e-4)
    assert run("check", "--json", "--exit-zero", written(tmp_path, LISTED, parts=table)).out == plain.out


def test_several_problems_of_a_table_at_once(tmp_path):
    table = changed("rail,310", "rail,-310", changed(",60,0,395", ",sixty,0,395", PARTS)) + "rail,1,0,0,0,1,1,1\n"
    ended = run("check", written(tmp_path, LISTED, parts=table))
    assert [(file, line, column) for file, line, column, _ in ended.problems] == [
        ("parts.csv", 2, 2),
        ("parts.csv", 3, 3),
        ("parts.csv", 4, 1),
    ]


@pytest.mark.parametrize(
    ("table", "line", "says"),
    [
        ("", 1, "expected a first row"),
        ("\n\n", 1, "expected a first row"),
        (b"part,mass\n\xff", 2, "expected UTF-8 text"),
        (b"\x00" * 100, 1, "unknown column"),
        (PARTS.replace("310", "9" * 200_000), 2, "expected a table of cells"),
        ("[" * 100_000, 1, "unknown column"),
        (" " * 100_000 + "[", 1, "unknown column"),
    ],
)
def test_what_is_no_table(tmp_path, table, line, says):
    ended = run("check", written(tmp_path, LISTED, parts=table))
    assert ended.code == 2
    assert any((file, its) == ("parts.csv", line) and says in rest for file, its, _, rest in ended.problems)


def test_a_wrong_number_hides_no_unknown_name(tmp_path):
    """All problems of a file at once: units, keys and names, each at its line."""
    text = ROBOT.replace("tank: left\n", "tank: lft\n").replace("sprint_distance: 2 m", "sprint_distance: 2,5 m")
    ended = run("check", written(tmp_path, text))
    assert ended.code == 2
    assert "drive.targets.sprint_distance" in ended.err
    assert (
        "air.cylinders.clamp.tank: expected a name from air.tanks: left (found 'lft'); did you mean 'left'?"
        in ended.err
    )


def test_a_name_of_digits_is_looked_for_like_any_other(tmp_path):
    ended = run("check", written(tmp_path, ROBOT.replace("tank: left\n", "tank: 7\n")))
    assert ended.code == 2
    assert "air.cylinders.clamp.tank: expected a name from air.tanks: left" in ended.err
    assert run(
        "check",
        written(tmp_path, ROBOT.replace("tank: left\n", "tank: 7\n").replace("    left: {tank", "    7: {tank")),
    ).code in (0, 1)
