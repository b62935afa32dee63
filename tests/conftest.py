"""One browser and one server for all tests that need them; each test has windows and a folder of its own."""

from __future__ import annotations

import itertools
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings

from robots import EXAMPLES

_copies = itertools.count(1)
_EVIDENCE = pytest.StashKey[list]()


def pytest_addoption(parser):
    parser.addoption("--evidence", default=None, help="write what tests computed against what to this JSON file")


def pytest_configure(config):
    # on a busy machine any example may take long: no test hangs on speed
    settings.register_profile("patient", deadline=None)
    settings.load_profile("patient")
    config.stash[_EVIDENCE] = []


@pytest.fixture
def evidence(request):
    """Keep what was computed beside what something outside says, for docs/validation.md."""

    def keep(system, claim, reference, tried, unit, computed, expected):
        pairs = np.stack(np.broadcast_arrays(np.ravel(computed), np.ravel(expected))).astype(float)
        pairs = pairs[:, ~(np.isinf(pairs).all(axis=0) & (pairs[0] == pairs[1]))]  # both without bound: no deviation
        assert np.all(np.isfinite(pairs)), claim
        if not pairs.size:
            return
        row = {"system": system, "claim": claim, "reference": reference, "range": tried, "unit": unit}
        row |= {"computed": pairs[0].tolist(), "expected": pairs[1].tolist()}
        row |= {"test": request.node.nodeid.partition("[")[0]}
        request.config.stash[_EVIDENCE].append(row)

    return keep


def pytest_sessionfinish(session):
    file = session.config.getoption("--evidence")
    if file:
        rows = session.config.stash[_EVIDENCE]
        Path(file).write_text(json.dumps(rows, ensure_ascii=False), encoding="utf-8")


@pytest.fixture(scope="session")
def browser():
    from web.browser import browsing

    with browsing() as found:
        yield found


@pytest.fixture(scope="session")
def server(tmp_path_factory):
    """A server whose folder is empty at first; no request of any window may leave the machine."""
    from web.browser import serving

    with serving(tmp_path_factory.mktemp("team")) as found:
        yield found
        assert found.hosts <= {f"127.0.0.1:{found.port}"}, found.hosts
        assert found.process.poll() is None, "the server did not stay alive"
        assert not any("went wrong" in line for line in found.lines), found.lines


@pytest.fixture
def heron(server):
    """A copy of the examples in a folder of the test's own: its name."""
    name = f"heron_{next(_copies)}"
    shutil.copytree(EXAMPLES, server.folder / name)
    yield name
    shutil.rmtree(server.folder / name)
