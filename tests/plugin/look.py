"""Prints, as JSON, what the program shows of a robot in a process where the package is installed."""

from __future__ import annotations

import json
import runpy
import sys
from contextlib import redirect_stdout, suppress
from io import StringIO
from pathlib import Path

import fieldworthy as fw
from fieldworthy.cli.app import main
from fieldworthy.decide.remedy import remedies
from fieldworthy.drawing.style import Style
from fieldworthy.engine.system import systems
from fieldworthy.report.card import as_paper
from fieldworthy.report.making import Wanted, make_card, make_inspection, make_notebook
from fieldworthy.report.typeset import as_html
from fieldworthy.robot.starter import Answers, Meets, starter_robot
from fieldworthy.web.figures import Look, shown
from fieldworthy.web.form import Field, rows_of
from fieldworthy.web.judging import Source

ANSWERS = Answers(
    "Ours", "season.yaml", False, "smart motor, 11 W class, 200 rpm", 4, 4, 0, (1, 1), 0.1, 6.0, (0.4, 0.4, 0.3)
)


def said(*words):
    """What a command prints."""
    out = StringIO()
    with redirect_stdout(out), suppress(SystemExit):
        main(list(words))
    return out.getvalue()


def everything(file, root, mechanism):
    """All that is looked at of a robot, in the form of one of its mechanisms."""
    robot = fw.load(file)
    source = Source(file, ())
    report = robot.check(samples=200)
    return {
        "systems": [s.name for s in systems()],
        "check": json.loads(said("check", str(file), "--samples", "200", "--json")),
        "text": said("check", str(file), "--all"),
        "schema": json.loads(said("schema", "robot")),
        "notebook": as_html(make_notebook(robot.loaded, Wanted())),
        "sheet": as_html(as_paper(make_inspection(robot.loaded))),
        "starter": starter_robot(ANSWERS, Meets()),
        "card": as_html(make_card(robot.loaded)),
        "form": [
            [f.key, f.sort, f.value, f.kind, f.about, f.label]
            for f in rows_of(source, ("mechanisms", mechanism))
            if isinstance(f, Field)
        ],
        "pictures": [
            [name, figure.svg] for part in shown(source, Look(Style(), "file")) for name, figure in part.figures
        ],
        "files": runpy.run_path(str(root / "docs" / "make_files.py"))["text"](),
        "findings": runpy.run_path(str(root / "docs" / "make_findings.py"))["text"](),
        "mend": {m.id: [remedy.sentence for remedy in m.remedies] for m in remedies(robot.loaded, report.data)},
    }


def of_cable(file):
    """What the Python face says of a cable, and of a longer one."""
    robot = fw.load(file)
    longer = robot.changed({"mechanisms.to the arm.length": "0.8 m"}).check(samples=0)
    found = "cable.reach.to the arm"
    return {"api": robot.check(samples=0)[found].because, "longer": longer[found].verdict}


if __name__ == "__main__":
    file, root, mechanism = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
    of_it = of_cable(file) if mechanism == "to the arm" else {}
    print(json.dumps(everything(file, root, mechanism) | of_it))
