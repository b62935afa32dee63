"""One browser and one server for all tests that need them; each test has windows and a folder of its own."""

from __future__ import annotations

import itertools
import shutil

import pytest

from robots import EXAMPLES

_copies = itertools.count(1)


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
