"""The examples in the docstrings of the public face run, each public thing has one, and the names are these."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import subprocess
import sys

import pytest

import fieldworthy
import fieldworthy.api
from robots import EXAMPLES

MODULES = ["fieldworthy", *(f"fieldworthy.api.{m.name}" for m in pkgutil.iter_modules(fieldworthy.api.__path__))]
NAMES = [
    "BadFile", "Comparison", "Error", "Fact", "Finding", "Fit", "Forecast", "Points", "Problem", "Report", "Robot",
    "Search", "UnknownFinding", "compare", "fit", "load",
]  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name, monkeypatch):
    monkeypatch.chdir(EXAMPLES)
    failed, tried = doctest.testmod(importlib.import_module(name))
    assert failed == 0
    assert tried or name.rpartition(".")[2] in ("html", "frames")


def test_the_public_names():
    assert sorted(fieldworthy.__all__) == NAMES == sorted(fieldworthy.api.__all__)
    assert set(NAMES) <= set(dir(fieldworthy))
    for name in NAMES:
        assert getattr(fieldworthy, name) is getattr(fieldworthy.api, name)
    with pytest.raises(AttributeError, match="lod"):
        fieldworthy.lod  # noqa: B018


def test_every_public_function_shows_an_example():
    """Of the things made here; what passes through from below is described by its attributes."""
    for name in NAMES:
        thing = getattr(fieldworthy, name)
        if not thing.__module__.startswith("fieldworthy.api") or name in ("Points", "UnknownFinding"):
            continue
        assert ">>>" in inspect.getdoc(thing), name
        if inspect.isclass(thing):
            methods = [m for n, m in inspect.getmembers(thing, inspect.isfunction) if not n.startswith("_")]
            bare = [m.__name__ for m in methods if ">>>" not in inspect.getdoc(m)]
            # a frame needs a library that is not installed everywhere; test_face.py holds it
            assert bare in ([], ["to_frame"]), name


def test_importing_the_package_loads_nothing_else():
    code = (
        "import sys, fieldworthy\n"
        "assert not [m for m in sys.modules if m.startswith('fieldworthy.')]\n"
        "assert 'numpy' not in sys.modules\n"
        "fieldworthy.load\n"
        "assert not {'numba', 'nicegui', 'typst', 'rich', 'typer'} & set(sys.modules)\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
