"""Changes every number of the examples, and every file at random, and says what a person must never see of it.

``python tests/sweeping.py numbers 0 8`` sweeps every eighth number, beginning with the first; ``python
tests/sweeping.py files 0 5000`` tries 5,000 mutations from seed 0. Both print what they find and how much they tried.
"""

from __future__ import annotations

import json
import math
import random
import re
import shutil
import sys
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from edge import PARTS, SEASON, changed
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.finding import as_data
from fieldworthy.files import BadInput
from fieldworthy.measure.files import load_measurements
from fieldworthy.measure.fit import procedures
from fieldworthy.measure.practice import load_faults, risks
from fieldworthy.robot import load_robot

EXAMPLES = Path(__file__).parents[1] / "examples"
TIMES = ("0", "1e-9", "10", "100", "-1")
_NUMBER = re.compile(r"(?<![\w.\"'/:#-])-?\d+(?:\.\d+)?(?![\w.:]*[:/]|\d|-\d)")
_NO_WORD = re.compile(r"\b(nan|NaN|inf|infinity|Traceback)\b|\bNone\b(?! of)")
_ABSURD = re.compile(r"(?<![\d.])\d{8,}|×10[⁰¹²³⁴-⁹]+|×10⁻[⁰¹²³⁴-⁹]{2,}")


def places(file: Path) -> Iterator[tuple[int, int, int]]:
    """Line and the ends of every number in a file, outside of comments."""
    for i, line in enumerate(file.read_text("utf-8").splitlines()):
        code = re.sub(r"(^|\s)#.*", "", line)
        for found in _NUMBER.finditer(code):
            yield i, found.start(), found.end()


def with_number(file: Path, place: tuple[int, int, int], times: str) -> str:
    """The text of a file with one number so many times what it is."""
    lines = file.read_text("utf-8").splitlines()
    i, start, end = place
    was = lines[i][start:end]
    now = f"{float(was) * float(times):.12g}"
    lines[i] = lines[i][:start] + now + lines[i][end:]
    return "\n".join(lines) + "\n"


def faults_of_report(file: Path) -> list[str]:
    """What is wrong with the report on a file, in words; nothing for one that is refused in words."""
    found: list[str] = []
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        try:
            report = evaluate(load_robot(file), samples=40)
        except BadInput as error:
            return [f"refused badly: {p}" for p in error.problems if not _is_good(p.expected)]
    found += [f"warning: {w.message} ({Path(w.filename).name}:{w.lineno})" for w in heard]
    for each in (*report.findings, *report.facts):
        found += [f"{each.id} {each.subject}: {each.because}"] if not _is_good(each.because) else []
    for each in report.findings:
        margin = each.margin
        if margin is None:
            found += [f"{each.id}: {each.verdict} without a margin"] if each.verdict != "unknown" else []
        elif math.isnan(margin) or each.verdict == ("short" if margin >= 0 else "holds"):
            found.append(f"{each.id} {each.subject}: {each.verdict} with the margin {margin}")
    try:
        json.dumps(as_data(report), allow_nan=False)
    except ValueError as error:
        found.append(f"JSON: {error}")
    return found


def _is_good(sentence: str) -> bool:
    # what the person wrote is theirs
    for own in (r"'[^']*'", r"\(found .*?\)", r"put \S+ in quotes", r"expected (a name from|one of).*"):
        sentence = re.sub(own, "", sentence)
    return not (_NO_WORD.search(sentence) or _ABSURD.search(sentence)) and len(sentence) < 1200


def faults_of_readings(file: Path, robot: Path) -> list[str]:
    """What is wrong with what a fit says of a measurements file."""
    try:
        measured = load_measurements(file, robot)
        with warnings.catch_warnings(record=True) as heard:
            warnings.simplefilter("always")
            found = list(procedures(measured))
    except BadInput as error:
        return [f"refused badly: {p}" for p in error.problems if not _is_good(p.expected)]
    said = [f"warning: {w.message} ({Path(w.filename).name}:{w.lineno})" for w in heard]
    for procedure in found:
        sentences = [
            *procedure.notes,
            *(p.sentence for p in procedure.predictions),
            *(b.why for b in procedure.unidentified),
        ]
        said += [f"{procedure.name}: {text}" for text in sentences if not _is_good(text)]
        said += [f"{procedure.name}: {f.name} is {f.value}" for f in procedure.fitted if not math.isfinite(f.value)]
    return said


def numbers_of(robot: Path) -> list[tuple[Path, tuple[int, int, int]]]:
    """Every number of a robot file, its parts list and its season."""
    loaded = load_robot(robot)
    return [(file, place) for file in loaded.texts for place in places(file)]


def swept(robot: Path, begin: int, step: int, most: int = 10**9) -> Iterator[tuple[str, list[str]]]:
    """Try each number of a robot's files, one in so many; what was tried, and what was wrong."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "team"
        shutil.copytree(robot.parent, folder)
        tries = [(file, place, times) for file, place in numbers_of(robot) for times in TIMES]
        for file, place, times in tries[begin::step][:most]:
            own = folder / file.name
            before = own.read_bytes()
            own.write_text(with_number(own, place, times), "utf-8")
            line = own.read_text("utf-8").splitlines()[place[0]].strip()
            yield f"{file.name}:{place[0] + 1} times {times}: {line}"[:160], _caught(folder / robot.name)
            own.write_bytes(before)


def _caught(file: Path) -> list[str]:
    try:
        return faults_of_report(file)
    except Exception:  # any of them is a traceback for a person
        return ["".join(traceback.format_exc().splitlines(keepends=True)[-5:])]


_ODD = ("0", "-1", "1e9", "1e-9", "nan", "true", "[]", "{}", "''", "0 mm", "-5 mm", "1e5 s", "100 %", "300 degC",
        "1 kg", "5 psi", "{value: 1 mm, tolerance: 9 m}", "{value: 3}", "[1 mm, 2 mm]", "a b", "~", "9 N")  # fmt: skip


def mutated(text: str, draw: random.Random) -> str:
    """A text with a few changes such as a slip of the hand, a merge or a bad mood make."""
    lines = text.splitlines()
    for _ in range(draw.choice((1, 1, 1, 2, 4))):
        if not lines:
            break
        i, j = draw.randrange(len(lines)), draw.randrange(len(lines))
        how = draw.choice(("gone", "twice", "swap", "number", "number", "number", "value", "word", "cut", "in"))
        spots = list(_NUMBER.finditer(lines[i]))
        if how == "gone":
            del lines[i]
        elif how == "twice":
            lines.insert(j, lines[i])
        elif how == "swap":
            lines[i], lines[j] = lines[j], lines[i]
        elif how == "number" and spots:
            spot = draw.choice(spots)
            other = draw.choice(("0", "-1", "1e-6", "1000", "1e7", str(draw.uniform(-9, 9)), spot[0] + "0", "7" * 30))
            lines[i] = lines[i][: spot.start()] + other + lines[i][spot.end() :]
        elif how == "value" and ":" in lines[i]:
            lines[i] = f"{lines[i].partition(':')[0]}: {draw.choice(_ODD)}"
        elif how == "word":
            words = lines[i].split(" ")
            words[draw.randrange(len(words))] = draw.choice((*_ODD, draw.choice(lines[j].split(" "))))
            lines[i] = " ".join(words)
        elif how == "cut":
            lines[i] = lines[i][: draw.randrange(len(lines[i]) + 1)]
        elif how == "in":
            lines[i] = " " * draw.randrange(9) + lines[i].lstrip()
    return "\n".join(lines) + "\n"


LISTED = changed("robot: Small", "robot: Small\nparts_list: parts.csv")
KINDS = ("small robot", "small season", "small parts", "robot", "parts", "season", "readings", "faults", "log")


def fuzzed(seed: int, count: int) -> Iterator[tuple[str, list[str]]]:
    """Try mutations of files of all kinds; what was tried, and what was wrong."""
    with tempfile.TemporaryDirectory() as name:
        for number in range(seed, seed + count):
            draw = random.Random(number)
            kind = draw.choices(KINDS, (6, 3, 3, 4, 2, 2, 3, 1, 1))[0]
            folder = Path(name) / "team"
            shutil.copytree(EXAMPLES / "heron", folder)
            for file, text in (("robot.yaml", LISTED), ("season.yaml", SEASON), ("parts.csv", PARTS)):
                (folder / file).write_text(text, "utf-8")
            target = {"small robot": "robot.yaml", "small season": "season.yaml", "small parts": "parts.csv",
                      "robot": "mk1.yaml", "parts": "mk1_parts.csv", "season": "glasshouse.yaml",
                      "readings": "mk1_measurements.yaml", "faults": "mk1_faults.yaml",
                      "log": draw.choice(("mk1_coast.csv", "mk1_hues.csv", "mk1_hooks_up.csv"))}[kind]  # fmt: skip
            file = folder / target
            file.write_text(mutated(file.read_text("utf-8"), draw), "utf-8")
            try:
                if kind in ("readings", "log"):
                    found = faults_of_readings(folder / "mk1_measurements.yaml", folder / "mk1.yaml")
                elif kind == "faults":
                    found = _faults_of_log(file, folder / "mk1.yaml")
                else:
                    found = faults_of_report(folder / ("robot.yaml" if kind.startswith("small") else "mk1.yaml"))
            except Exception:  # any of them is a traceback for a person
                found = ["".join(traceback.format_exc().splitlines(keepends=True)[-5:])]
            yield f"{kind}, seed {number}", found
            shutil.rmtree(folder)


def _faults_of_log(file: Path, robot: Path) -> list[str]:
    try:
        found = risks(load_faults(file, load_robot(robot)))
    except BadInput as error:
        return [f"refused badly: {p}" for p in error.problems if not _is_good(p.expected)]
    return [f"{risk.what}: {risk.chance}" for risk in found if risk.chance is not None and not 0 <= risk.chance <= 1]


def main() -> None:
    """Print what a sweep or a fuzz finds."""
    what, begin, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    robots = sorted(p for p in EXAMPLES.glob("*/*.yaml") if "fieldworthy: robot" in p.read_text("utf-8"))
    runs = [swept(robot, begin, count) for robot in robots] if what == "numbers" else [fuzzed(begin, count)]
    tally: Counter[str] = Counter()
    for tried, found in (one for run in runs for one in run):
        tally["bad" if found else "good"] += 1
        for each in found[:3]:
            print(f"{tried}\n    {each[:600]}", flush=True)
    print(dict(tally))


if __name__ == "__main__":
    main()
