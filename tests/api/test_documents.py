"""The page about the Python face is what the docstrings say, and the first steps run, as a script and as a notebook."""

from __future__ import annotations

import ast
import json
import runpy
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import fieldworthy as fw
from robots import EXAMPLES

ROOT = Path(__file__).parents[2]
STEPS = ROOT / "examples" / "first_steps.ipynb"


def test_the_page_is_what_the_docstrings_say():
    made = runpy.run_path(str(ROOT / "docs" / "make_api.py"))["text"]()
    assert (ROOT / "docs" / "api.md").read_text("utf-8") == made, "run: python docs/make_api.py"


def test_the_page_has_every_public_name():
    page = (ROOT / "docs" / "api.md").read_text("utf-8")
    assert [name for name in fw.__all__ if f"## `fw.{name}" not in page] == []


def test_the_notebook_is_what_the_script_says():
    made = runpy.run_path(str(ROOT / "examples" / "make_notebook.py"))["text"]()
    assert STEPS.read_text("utf-8") == made, "run: python examples/make_notebook.py"


def test_the_first_steps_run_as_a_script(tmp_path):
    shutil.copytree(EXAMPLES, tmp_path / "heron")
    script = ROOT / "examples" / "first_steps.py"
    run = subprocess.run(
        [sys.executable, "-W", "error", str(script)], cwd=tmp_path, capture_output=True, encoding="utf-8", check=True
    )
    assert "did you mean tray floor" in run.stdout
    assert "330 g becomes 200 g" in run.stdout
    assert run.stderr == ""


@pytest.mark.long
def test_the_first_steps_run_as_a_notebook(tmp_path, monkeypatch, capsys):
    """Cell by cell in one namespace; each last expression is shown as a notebook would show it."""
    shutil.copytree(EXAMPLES, tmp_path / "heron")
    monkeypatch.chdir(tmp_path)
    steps = json.loads(STEPS.read_text("utf-8"))
    assert (steps["nbformat"], steps["nbformat_minor"]) == (4, 5)
    assert len({cell["id"] for cell in steps["cells"]}) == len(steps["cells"])
    code = [cell for cell in steps["cells"] if cell["cell_type"] == "code"]
    assert all(cell["outputs"] == [] and cell["execution_count"] is None for cell in code)
    space: dict[str, object] = {}
    shown = []
    monkeypatch.setattr(sys, "displayhook", shown.append)
    for cell in code:
        tree = ast.parse("".join(cell["source"]))
        whole = ast.Module(tree.body[:-1], [])
        exec(compile(whole, "cell", "exec"), space)
        exec(compile(ast.Interactive(tree.body[-1:]), "cell", "single"), space)
    pictures = [value for value in shown if hasattr(value, "_repr_svg_")]
    tables = [value for value in shown if hasattr(value, "_repr_html_")]
    assert len(pictures) == 4
    assert len(tables) == 2
