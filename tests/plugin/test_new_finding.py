"""CONTRIBUTING's recipe for a finding, followed: three files of one folder, and every reader has it.

The package is copied, a finding is put into a system that is there already, and the copy is looked at.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from robots import ROBOT, SEASON, changed

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
WANTED = "gap wanted above the rim"
MODEL = f'''    clear: Annotated[Real, Of("length", 0.0, fixed=True)] | None = exact(
        None, "above the rim, with the jaw open; not judged where absent", role="wish", label="{WANTED}"
    )
    loose: Loose | None = exact('''
CHECK = """            if spec.clear is not None:
                gap = side.heights.open - side.heights.rim_top
                numbers: dict[str, tuple[Real, str]] = {"gap": (gap, "length"), "wanted": (spec.clear, "length")}
                said = "{clamp} opens {gap} above the rim"
                because = Message(
                    f"{said}; {{wanted}} is wanted.", f"{said}, and {{wanted}} is wanted: open it more.", numbers,
                    {"clamp": called("clamp", name)},
                )
                yield Outcome(f"clamp.clear.{name}", name, gap, spec.clear, "length", because)
            yield _lift("""
FINDINGS = "| `clamp.clear.*` | how far above the rim the open jaw stands, where `clear` wants it |\n| `clamp.bite.*`"
EDITS = (
    ("model.py", "    loose: Loose | None = exact(", MODEL),
    ("check.py", "            yield _lift(", CHECK),
    ("findings.md", "| `clamp.bite.*`", FINDINGS),
)

MAIN = {
    "air": {
        "tanks": {"one": {"tank": "test tank"}},
        "cylinders": {"jaw": {"cylinder": "test cylinder", "tank": "one", "valve": "test valve"}},
    },
    "mechanisms": {
        "jaw": {
            "kind": "clamp", "object": "pot", "stop_gap": "160 mm", "jaw_reach": "40 mm", "jaw_width": "90 mm",
            "hook": "12 mm", "seat_height": "20 mm", "opening": "45 mm", "closed_gap": "8 mm", "cylinder": "jaw",
            "working": "out", "friction": 0.4, "clear": "30 mm",
        },
    },
}  # fmt: skip
RIM = {"height": "40 mm", "thickness": "15 mm", "overhang": "60 mm"}
OBJECTS = {"objects": {"pot": {"mass": "1 kg", "size": ["300 mm", "200 mm", "120 mm"], "rim": RIM}}}


@pytest.fixture(scope="module")
def seen(tmp_path_factory):
    """What the changed copy shows of a robot with a jaw that wants 30 mm above the rim."""
    folder = tmp_path_factory.mktemp("changed")
    for part in ("src", "docs"):
        shutil.copytree(ROOT / part, folder / part, ignore=shutil.ignore_patterns("__pycache__", "*.png"))
    for name, before, after in EDITS:
        file = folder / "src" / "fieldworthy" / "systems" / "clamp" / name
        text = file.read_text("utf-8")
        assert text.count(before) == 1, name
        file.write_text(text.replace(before, after), encoding="utf-8")
    robot = folder / "robot.yaml"
    robot.write_text(json.dumps(changed(ROBOT, MAIN), indent=1), encoding="utf-8")
    (folder / "season.yaml").write_text(json.dumps(changed(SEASON, OBJECTS), indent=1), encoding="utf-8")
    around = os.environ | {"PYTHONPATH": str(folder / "src"), "PYTHONIOENCODING": "utf-8"}
    words = [sys.executable, str(HERE / "look.py"), str(robot), str(folder), "jaw"]
    done = subprocess.run(words, env=around, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


@pytest.mark.long
def test_every_reader_has_it(seen):
    """By hand: the jaw opens 45 mm above its seat at 20 mm, and the rim's top is at 40 mm: 25 mm."""
    (found,) = [f for f in seen["check"]["findings"] if f["id"] == "clamp.clear.jaw"]
    assert (found["verdict"], found["need"]) == ("short", "at least")
    assert found["value"] == pytest.approx(0.025)
    assert "mechanisms.jaw.opening" in found["inputs"]
    assert "opens 0.025 m above the rim, and 0.03 m is wanted" in seen["text"]
    assert any("opening" in sentence for sentence in seen["mend"]["clamp.clear.jaw"]), seen["mend"]
    assert "opens 0.025 m above the rim" in seen["notebook"]
    assert "clear" in seen["schema"]["$defs"]["Clamp"]["properties"]
    assert WANTED in [field[-1] for field in seen["form"]]
    assert "with the jaw open; not judged where absent" in seen["files"]
    assert "`clamp.clear.*`" in seen["findings"]
