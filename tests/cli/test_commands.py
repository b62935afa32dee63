"""The command line: how commands end, what they print, and that the schemas fit what they describe."""

import json
import re
import subprocess
import sys
from functools import cache
from itertools import pairwise
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from jsonschema import Draft202012Validator
from typer.main import get_command

import fieldworthy
from edge import ROBOT, SEASON, changed, run, written
from fieldworthy.cli.app import app
from fieldworthy.cli.output import SCHEMAS
from fieldworthy.engine.finding import title_of
from fieldworthy.files import read_document
from robots import example_copy

EXAMPLES = Path(__file__).parents[2] / "examples"
FILES = [
    (kind, f) for f in sorted(EXAMPLES.glob("*/*.yaml")) for kind in (read_document(f).data["fieldworthy"].split()[0],)
]


@cache
def schema_of(kind):
    printed = run("schema", kind)
    assert (printed.code, printed.err) == (0, "")
    schema = json.loads(printed.out)
    Draft202012Validator.check_schema(schema)
    return schema


def test_a_good_robot_ends_with_0(tmp_path):
    ended = run("check", written(tmp_path))
    assert (ended.code, ended.err) == (0, "")
    assert "✗" not in ended.out
    assert "none short; 0 close, 3 not judged, 19 hold" in ended.out
    assert "✓ holds" in run("check", "--all", written(tmp_path)).out


def test_something_short_ends_with_1_unless_told_otherwise(tmp_path):
    heavy = written(tmp_path, season=changed("mass: 9 kg", "mass: 5.9 kg", SEASON))  # it weighs 6 kg
    ended = run("check", heavy)
    assert (ended.code, ended.err) == (1, "")
    assert "1 short, from 1 cause" in ended.out
    assert "✗ 1 The parts weigh 6 kg" in ended.out
    assert run("check", "--exit-zero", heavy).code == 0
    assert run("check", "--exit-zero", heavy).out == ended.out


def test_the_verdict_on_the_mass_turns_at_the_limit(tmp_path):
    for limit, verdict in (("5.99 kg", "close"), ("6.01 kg", "close"), ("5.6 kg", "short"), ("6.4 kg", "holds")):
        file = written(tmp_path, season=changed("mass: 9 kg", f"mass: {limit}", SEASON))
        data = json.loads(run("check", "--json", file).out)
        assert [f["verdict"] for f in data["findings"] if f["id"] == "limits.mass"] == [verdict]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["chekc", "robot.yaml"], "No such command"),
        (["check"], "Missing argument"),
        (["check", "robot.yaml", "--sampels", "3"], "No such option"),
        (["check", "robot.yaml", "--samples", "many"], "a valid integer"),
        (["check", "robot.yaml", "--samples", "-1"], "greater than or equal to 0"),
        (["check", "robot.yaml", "--samples", "99999999999"], "less than or equal to 10000000"),
        (["check", "robot.yaml", "--seed", "-1"], "greater than or equal to 0"),
        (["schema", "robto"], f"expected one of {', '.join(SCHEMAS)}; did you mean 'robot'?"),
        (["check", "a\0b"], "embedded null"),
    ],
)
def test_bad_arguments_end_with_2(tmp_path, monkeypatch, arguments, says):
    written(tmp_path)
    monkeypatch.chdir(tmp_path)
    ended = run(*arguments)
    assert (ended.code, ended.out) == (2, "")
    assert says in ended.err


def test_version_and_help(tmp_path):
    assert run("--version").out == f"fieldworthy {fieldworthy.__version__}\n"
    shown = run("--help")
    assert shown.code == 0
    assert all(word in shown.out for word in ("check", "new", "schema"))


@pytest.mark.parametrize("samples", [0, 1, 7, 1000])
def test_json_fits_its_schema(tmp_path, samples):
    ended = run("check", "--json", "--samples", samples, written(tmp_path))
    data = json.loads(ended.out)
    Draft202012Validator(schema_of("check")).validate(data)
    assert data["format"] == "fieldworthy check 2"
    assert data["samples"] == samples
    assert data["robot"] == "Small"
    known = [f for f in data["findings"] if f["verdict"] != "unknown"]
    assert known
    assert all((f["chance"] is None) == (samples == 0) for f in known)
    assert all((f["spread"] is None) == (samples == 0) for f in known if f["value"] is not None)


def test_the_check_schema_refuses_what_is_no_report(tmp_path):
    validator = Draft202012Validator(schema_of("check"))
    good = json.loads(run("check", "--json", written(tmp_path)).out)
    for spoil in ({"format": "fieldworthy check 3"}, {"samples": "many"}, {"findings": [{"id": 1}]}):
        assert not validator.is_valid(good | spoil)


@pytest.mark.parametrize("arguments", [[], ["--all"], ["--json"], ["--json", "--seed", "7"], ["--samples", "0"]])
def test_the_same_seed_gives_the_same_bytes(tmp_path, arguments):
    file = written(tmp_path)
    first = run("check", *arguments, file)
    assert first.code in (0, 1)
    assert run("check", *arguments, file).out == first.out


def test_another_process_gives_the_same_bytes(tmp_path):
    file = written(tmp_path)
    here = run("check", "--json", file)
    there = subprocess.run(
        [sys.executable, "-m", "fieldworthy", "check", "--json", str(file)], capture_output=True, check=False
    )
    assert there.stderr == b""
    assert there.stdout.decode("utf-8").replace("\r\n", "\n") == here.out
    assert there.returncode == here.code


def test_another_seed_moves_chances_but_no_verdict(tmp_path):
    file = written(tmp_path, season=changed("mass: 9 kg", "mass: 6.02 kg", SEASON))
    reports = [json.loads(run("check", "--json", "--seed", seed, file).out) for seed in (0, 1)]
    one, two = ({f["id"] + f["subject"]: f for f in r["findings"]} for r in reports)
    assert {key: f["verdict"] for key, f in one.items()} == {key: f["verdict"] for key, f in two.items()}
    assert one != two


def test_the_order_of_keys_does_not_matter(tmp_path):
    head, _, rest = ROBOT.partition("drive:\n")
    drive, _, after = rest.partition("battery:")
    moved = f"{head}battery:{after}drive:\n{drive}"
    plain = json.loads(run("check", "--json", written(tmp_path)).out)
    other = json.loads(run("check", "--json", written(tmp_path, moved)).out)
    assert moved != ROBOT
    assert other == plain


@pytest.mark.parametrize("kind", ["robot", "season"])
def test_every_key_of_a_file_says_what_it_is_for(kind):
    schema = schema_of(kind)
    lacking = [
        f"{name}.{key}"
        for name, part in {kind: schema, **schema["$defs"]}.items()
        for key, described in part.get("properties", {}).items()
        if len(described.get("description", "")) < 8
    ]
    assert lacking == []


def described(node, place=""):
    """Every entry of a schema, wherever it stands, with what it says of it."""
    if isinstance(node, dict):
        properties = node.get("properties", {})
        for name, entry in properties.items() if isinstance(properties, dict) else ():
            yield f"{place}.{name}", entry.get("description", "" if "$ref" not in entry else "as its kind says")
        for key, inner in node.items():
            yield from described(inner, place if key == "properties" else f"{place}.{key}")
    elif isinstance(node, list):
        for inner in node:
            yield from described(inner, place)


@pytest.mark.parametrize("kind", SCHEMAS)
def test_every_schema_has_an_id_of_its_own_and_says_plainly_what_each_entry_is(kind):
    """JSON Schema draft 2020-12, core 8.2.1: `$id` is an absolute URI without a fragment; read from memory."""
    schema = schema_of(kind)
    address = urlsplit(schema["$id"])
    assert address.scheme
    assert not address.fragment
    assert [other for other in SCHEMAS if other != kind and SCHEMAS[other]()["$id"] == schema["$id"]] == []
    assert len(schema["title"]) > 8
    assert len(schema["description"].split()) > 3
    entries = list(described(schema))
    assert len(entries) > 10
    assert [place for place, words in entries if len(words) < 5] == []
    code = re.compile(r"``|\bNone\b|\[SI\]|\bshape\b|ndarray|\n")
    assert [(place, words) for place, words in entries if code.search(words)] == []


@pytest.mark.parametrize(("kind", "file"), FILES, ids=[f"{f.parent.name}/{f.name}" for _, f in FILES])
def test_the_examples_fit_the_schema_that_editors_use(kind, file):
    name = {"faults": "faultlog"}.get(kind, kind)  # 'faults' is what the command prints
    errors = list(Draft202012Validator(schema_of(name)).iter_errors(read_document(file).data))
    assert [f"{list(e.absolute_path)}: {e.message[:200]}" for e in errors] == []


def test_the_schemas_refuse_what_the_reader_refuses(tmp_path):
    validator = Draft202012Validator(schema_of("robot"))

    def fits(text):
        return validator.is_valid(read_document(tmp_path / "robot.yaml", text).data)

    assert fits(ROBOT)
    for old, new in (
        ("  targets:", "  tragets:"),
        ("  motors: 4", "  motors: 0"),
        ("  motors: 4", "  motors: many"),
        ("{use: start}", "{use: stort}"),
        ("push_force: 30 N", "push_force: 30"),
        ("push_force: 30 N", "push_force: {tolerance: 1 N}"),
        ("push_force: 30 N", "push_force: {value: 1 N, basis: guess}"),
        ("[0 mm, 0 mm, 80 mm]", "[0 mm, 0 mm]"),
        ("fieldworthy: robot 1", "fieldworthy: season 1"),
        ("kind: plain", "kind: plian"),
    ):
        assert not fits(changed(old, new)), new


def test_an_interruption_ends_with_130_and_a_closed_pipe_with_0(tmp_path, monkeypatch):
    for raised, code in ((KeyboardInterrupt, 130), (BrokenPipeError, 0)):

        def interrupted(*_, raised=raised, **__):
            raise raised

        monkeypatch.setattr("fieldworthy.cli.checking.run_check", interrupted)
        assert run("check", written(tmp_path)).code == code


@pytest.mark.parametrize("name", ["mk1", "mk2"])
def test_a_plain_check_is_one_screen_that_leads_with_causes(name):
    """A terminal of old has 80 columns; 40 lines are read without scrolling (common practice, no source)."""
    ended = run("check", EXAMPLES / "heron" / f"{name}.yaml")
    lines = ended.out.splitlines()
    assert len(lines) <= 40
    assert max(len(line) for line in lines) <= 80
    found = json.loads(run("check", EXAMPLES / "heron" / f"{name}.yaml", "--json").out)
    verdicts = [f["verdict"] for f in found["findings"]]
    counts = {v: verdicts.count(v) for v in ("close", "unknown", "holds")}
    failing = sum(f["verdict"] == "close" and f["chance"] < 0.5 for f in found["findings"])
    close = f"{counts['close']} close" + f" ({failing} likelier to fail than to work)" * (failing > 0)
    unknown = f", {counts['unknown']} not judged" * (counts["unknown"] > 0)
    assert lines[1].endswith(f"; {close}{unknown}, {counts['holds']} hold")
    numbers = [line[2:4].strip() for line in lines if line.startswith("✗ ")]
    assert numbers == [str(i) for i in range(1, len(found["causes"]) + 1)]
    assert sum(line.startswith("    → ") for line in lines) == len(numbers)
    flat = " ".join(line.strip() for line in lines)
    for finding in found["findings"]:
        assert finding["id"] not in flat, "a person reads names"
        if finding["verdict"] in ("close", "unknown"):
            title = title_of(finding["id"], finding["subject"])
            assert finding["because"] in flat or f"'{title[:1].lower()}{title[1:]}'" in flat
    leads = [cause["lead"] for cause in found["causes"]]
    assert [f["id"] for f in found["findings"] if f["id"] in leads and f["because"] not in flat] == []
    if numbers:  # the file leaves 14 h, and of its causes the climb alone earns points by itself
        hours = sum(float(each) for each in re.findall(r"\(about ([\d.]+) h", flat))
        told = re.search(
            r"The forecast takes off up to 13 points a match for cause (\d) and none for causes (\d) to (\d), "
            r"whose harm it does not play\. All remedies take about ([\d.]+) h; 14 h are left\. "
            r"Made together they mend all that they should and break nothing else\.",
            flat,
        )
        named = [told[1], *map(str, range(int(told[2]), int(told[3]) + 1))]
        assert sorted(named) == numbers, "the points of every cause are told"
        assert float(told[4]) == pytest.approx(hours, rel=0.05)
        assert hours <= 14.0
        assert "So 'climb' fails" in flat.partition(f"✗ {told[1]} ")[2].partition("✗")[0]
    assert sum(line.startswith("! ") for line in lines) == 1
    assert not any(re.search(r"\d$", line) and re.match(r" *(%|mm|bar|m/s)", after) for line, after in pairwise(lines))


def test_where_hours_are_short_it_is_told_which_remedies_fit(tmp_path):
    """With 5 h what costs most points comes first, and no remedy that is left out would have fitted."""
    robot = example_copy(tmp_path, ("hours_left: 14 h", "hours_left: 5 h"))
    flat = " ".join(line.strip() for line in run("check", robot).out.splitlines())
    each = {n: float(h) for n, h in re.findall(r"✗ (\d) (?:(?!✗).)*?\(about ([\d.]+) h", flat)}
    fit = re.search(r"only 5 h are left\. Those of causes ([\d, and]+) fit \(([\d.]+) h\)\. Made together", flat)
    inside = re.findall(r"\d", fit[1])
    assert "1" in inside
    assert float(fit[2]) == pytest.approx(sum(each[i] for i in inside), rel=0.05)
    assert float(fit[2]) <= 5.0 < float(fit[2]) + min(each[i] for i in each if i not in inside)


IMPERATIVES = {
    "Add", "Ask", "Call", "Check", "Date", "Decide", "Draw", "End", "Fix", "Give", "Keep", "Leave", "Let", "List",
    "Name", "Play", "Print", "Read", "Say", "Search", "Show", "Stop", "Take", "Try", "Use", "Want", "Weigh", "Write",
}  # fmt: skip


def test_help_says_whole_sentences_in_80_columns(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    lines = run("--help").out.splitlines()
    commands = [line.split()[0] for line in lines[lines.index("Commands:") + 1 :]]
    assert len(commands) >= 15
    assert not any(line.endswith("...") for line in lines[lines.index("Commands:") :])
    texts = {name: run(name, "--help").out for name in commands}
    told = {command.name: command.params for command in get_command(app).commands.values()}
    assert told.keys() == set(commands)
    said = {f"{name} {one.name}": one.help for name, params in told.items() for one in params if one.name != "help"}
    assert len(said) > 90
    assert [name for name, help_ in said.items() if not re.fullmatch(r"[A-Z][a-z]+ .*\.", help_ or "", re.DOTALL)] == []
    assert {help_.split()[0] for help_ in said.values()} <= IMPERATIVES
    assert max(len(line) for text in (*texts.values(), *lines) for line in text.splitlines()) <= 80
    assert [name for name, text in texts.items() if re.search(r"\.\.\.$", text, re.MULTILINE)] == ["compare", "report"]
