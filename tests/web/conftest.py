"""One browser and one server for all tests of a file."""

from __future__ import annotations

import shutil

import pytest

from robots import EXAMPLES
from web.browser import browsing, serving


@pytest.fixture(scope="module")
def browser():
    with browsing() as found:
        yield found


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """A server whose folder is empty at first; no request of any window may leave the machine."""
    with serving(tmp_path_factory.mktemp("team")) as found:
        yield found
        assert found.hosts <= {f"127.0.0.1:{found.port}"}, found.hosts
        assert found.process.poll() is None, "the server did not stay alive"
        assert not any("went wrong" in line for line in found.lines), found.lines


@pytest.fixture
def heron(server):
    """A copy of the examples in a folder of the test's own: its name."""
    name = f"heron_{len(list(server.folder.iterdir()))}"
    shutil.copytree(EXAMPLES, server.folder / name)
    return name
