"""A server of its own process and a real browser, for tests of the page as a person meets it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
HOW_TO = "These tests need a browser: on Debian and Ubuntu 'apt-get install chromium', or 'make browser'."
_PATIENCE = 30.0  # s for the server to say its address
# what passes is not told: a list of every element that does took longer than judging them
RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]},
    "resultTypes": ["violations"],
}
expect.set_options(timeout=40_000)  # ms; a busy machine is slow, and no test is about that


@dataclass
class Server:
    """The page's server, started as a person starts it."""

    process: subprocess.Popen[str]
    folder: Path
    lines: list[str] = field(default_factory=list)
    hosts: set[str] = field(default_factory=set)

    @property
    def opening(self) -> str:
        """The address that the terminal shows, with its key."""
        return next(m[0] for line in self.lines if (m := re.search(r"http://127\.0\.0\.1\S+key=\S+", line)))

    @property
    def base(self) -> str:
        """The address without path and key."""
        parts = urlsplit(self.opening)
        return f"{parts.scheme}://{parts.netloc}"

    @property
    def port(self) -> int:
        return int(urlsplit(self.opening).port or 0)

    @property
    def code(self) -> str:
        """The code for visitors."""
        return next(m[1] for line in self.lines if (m := re.search(r"with the code (\w{8})", line)))


@contextmanager
def serving(folder: Path, *flags: str) -> Iterator[Server]:
    """Start the server on a folder and end it afterwards."""
    command = [sys.executable, "-m", "fieldworthy", "open", str(folder), "--no-browser", *flags]
    own = plain_environment() | {"XDG_CACHE_HOME": str(folder.parent / "cache")}
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, encoding="utf-8", env=own
    )
    server = Server(process, folder)
    reader = threading.Thread(target=_read, args=(process, server.lines), daemon=True)
    reader.start()
    try:
        until = time.monotonic() + _PATIENCE
        while not any("Ctrl+C" in line for line in server.lines):
            assert process.poll() is None, "".join(server.lines)
            assert time.monotonic() < until, "the server does not start"
            time.sleep(0.02)
        yield server
    finally:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(10)
        reader.join(5)
        if process.stdout is not None:
            process.stdout.close()


def plain_environment() -> dict[str, str]:
    """The environment without what pytest puts there, by which the page's framework would know that it is tested."""
    return {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}


def _read(process: subprocess.Popen[str], lines: list[str]) -> None:
    assert process.stdout is not None
    lines.extend(iter(process.stdout.readline, ""))


@contextmanager
def browsing() -> Iterator[Browser]:
    """Start the browser; without one the test fails and says how to get it."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        pytest.fail(HOW_TO)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def window(browser: Browser, server: Server, *, width: int = 1280, dark: bool = False) -> Iterator[Page]:
    """Open a window in a fresh profile that has come in; every request it makes is noted, every error fails."""
    scheme = "dark" if dark else "light"
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    errors: list[str] = []
    try:
        page = watched(context, server, errors)
        enter(page, server)
        yield page
        assert not errors, errors
    finally:
        context.close()


def watched(context: BrowserContext, server: Server, errors: list[str]) -> Page:
    """A page whose requests and errors are noted."""
    # what the page made itself (blob:) comes from no host
    context.on("request", lambda request: server.hosts.update(filter(None, [urlsplit(request.url).netloc])))
    page = context.new_page()
    page.on("pageerror", lambda error: errors.append(str(error)))
    # a refused request is told on the console too; what the page does about it is tested where it is refused
    told = ("Failed to load", "ERR_CONNECTION_REFUSED")  # the second where a test ends the server itself
    page.on(
        "console",
        lambda m: errors.append(m.text) if m.type == "error" and not any(t in m.text for t in told) else None,
    )
    page.set_default_timeout(40_000)
    return page


def enter(page: Page, server: Server) -> None:
    """Come in by the address that the terminal shows."""
    page.goto(server.opening)
    page.wait_for_selector("#fw-title")


def show(page: Page, server: Server, view: str, **query: str) -> None:
    """Go to a view of a file and wait for it."""
    asked = "&".join(f"{key}={value}" for key, value in query.items())
    page.goto(f"{server.base}/{view}?{asked}")
    page.wait_for_selector("#fw-title")


def builds(page: Page) -> int:
    """How often the window's document has been given a view, whole."""
    return int(page.evaluate("Number(document.getElementById('fw-main')?.dataset.built ?? 0)"))


def wait_built(page: Page, after: int = 0) -> None:
    """Wait until a view was built more often than this, with all that it computes before it is shown."""
    page.wait_for_function("n => Number(document.getElementById('fw-main')?.dataset.built ?? 0) > n", arg=after)


def judged(page: Page, where: str | None = None) -> list[tuple[str, str, str]]:
    """What breaks a rule of accessibility: the rule, the element, why."""
    found = Axe().run(page, context=where, options=RULES).response["violations"]
    return [(v["id"], node["html"][:160], node["failureSummary"]) for v in found for node in v["nodes"]]
