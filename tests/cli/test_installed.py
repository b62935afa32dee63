"""The wheel, installed into an environment of its own, works from any folder: nothing of the source is needed."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
import sysconfig
import tomllib
import venv
from email.parser import Parser
from importlib.metadata import packages_distributions
from pathlib import Path
from zipfile import ZipFile

import pytest

ROOT = Path(__file__).parents[2]
SRC = ROOT / "src" / "fieldworthy"


def test_every_package_that_is_imported_is_declared():
    """By what each installed package says it provides; what only an extra needs is imported where the extra is used."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"]
    declared = [*project["dependencies"], *extras["cluster"], *extras["mesh"]]
    known = {re.split(r"[>=\[]", line)[0].lower().replace("_", "-") for line in declared}
    imported = set()
    for file in SRC.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                imported |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level:
                imported.add(str(node.module).split(".")[0])
    provided = packages_distributions()
    outside = imported - set(sys.stdlib_module_names) - {"fieldworthy"}
    assert {"numpy", "typer"} <= outside
    missing = {name: provided.get(name) for name in outside
               if not {d.lower().replace("_", "-") for d in provided.get(name, [])} & known}  # fmt: skip
    # these come with fastapi and pydantic; pandas and polars only where the person has them
    assert set(missing) <= {"starlette", "pydantic_core", "pandas", "polars"}, missing


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "pip", "wheel", "-q", str(ROOT), "--no-deps", "-w", str(folder)]
    subprocess.run(command, check=True, capture_output=True)
    [made] = folder.glob("*.whl")
    return made


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """An environment in which the wheel alone was installed; what it depends on is lent by this one."""
    folder = tmp_path_factory.mktemp("empty") / "env"
    venv.create(folder, with_pip=False)
    scheme = {"base": str(folder), "platbase": str(folder)}
    site = Path(sysconfig.get_path("purelib", "venv", vars=scheme))
    ZipFile(wheel).extractall(site)
    # a plain path, so that no link from here to the source is followed
    (site / "lent.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    return Path(sysconfig.get_path("scripts", "venv", vars=scheme)) / Path(sys.executable).name


def run(python, folder, *words):
    command = [str(python), "-m", "fieldworthy", *words]
    return subprocess.run(command, cwd=folder, capture_output=True, encoding="utf-8", env={"PATH": ""}, check=False)


@pytest.mark.long
def test_the_wheel_says_what_it_is(wheel):
    names = ZipFile(wheel).namelist()
    [metadata] = [name for name in names if name.endswith("METADATA")]
    told = Parser().parsestr(ZipFile(wheel).read(metadata).decode("utf-8"))
    assert told["Version"] == tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["version"]
    versions = {c.rpartition(" ")[2] for c in told.get_all("Classifier") if "Python :: 3." in c}
    assert versions == {"3.11", "3.12", "3.13"}
    assert not [name for name in names if name.startswith(("tests", "docs", "benchmarks"))]
    assert "fieldworthy/docs/guide/README.md" in names


@pytest.mark.long
def test_an_installed_wheel_checks_reports_and_shows_its_guide_from_any_folder(installed, tmp_path):
    shutil.copytree(ROOT / "examples" / "marten", tmp_path / "robots")
    where = subprocess.run([str(installed), "-c", "import fieldworthy; print(fieldworthy.__file__)"], cwd=tmp_path,
                           capture_output=True, encoding="utf-8", env={"PATH": ""}, check=True).stdout  # fmt: skip
    assert str(SRC) not in where
    checked = run(installed, tmp_path, "check", "robots/mk1.yaml")
    assert (checked.returncode, checked.stderr) == (1, "")
    assert "winch" in checked.stdout
    report = run(installed, tmp_path, "report", "robots/mk2.yaml", "-o", "notebook.html", "--date", "2026-11-25")
    assert (report.returncode, report.stderr) == (0, "")
    assert "Marten" in (tmp_path / "notebook.html").read_text("utf-8")


@pytest.mark.long
def test_an_installed_wheel_opens_the_page_from_any_folder(installed, tmp_path):
    command = [str(installed), "-m", "fieldworthy", "open", str(tmp_path), "--no-browser", "--port", "8619"]
    with subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, encoding="utf-8", env={"PATH": ""}) as process:
        try:
            assert any("http://127.0.0.1:" in line for line in process.stdout)
        finally:
            process.terminate()
