"""Take the pictures of the page that the README and docs/page.md show: ``python docs/make_screenshots.py``.

Needs Chromium, as the tests of the page do. The robots are those of the examples; nothing in them is real.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import Browser, Page, sync_playwright

ROOT = Path(__file__).resolve().parents[1]
IMAGES = ROOT / "docs" / "images"
FLAGS = ("--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--font-render-hinting=none")
DESK, PHONE = (1280, 800), (390, 760)
SHOTS = (
    # name, view, size, dark, what to wait for
    ("build", "build", DESK, False, "main svg"),
    ("margins", "margins", DESK, False, "#margins-rows li"),
    ("robot", "robot", DESK, False, "#robot-pose figure"),
    ("air", "air", DESK, True, "#air-figures figure"),
    ("path", "path", DESK, False, "#path-all figure"),
    ("phone", "margins", PHONE, True, "#margins-rows li"),
)


@contextmanager
def serving(folder: Path) -> Iterator[str]:
    """Start the page on a folder; gives its opening address."""
    command = [sys.executable, "-m", "fieldworthy", "open", str(folder), "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, encoding="utf-8") as process:
        assert process.stdout is not None
        try:
            for line in process.stdout:
                found = re.search(r"http://127\.0\.0\.1\S+key=\S+", line)
                if found:
                    yield found[0]
                    break
        finally:
            process.terminate()


def window(browser: Browser, address: str, size: tuple[int, int], *, dark: bool) -> Page:
    """Open a window that has come in."""
    width, height = size
    context = browser.new_context(
        viewport={"width": width, "height": height}, color_scheme="dark" if dark else "light", device_scale_factor=1.5
    )
    page = context.new_page()
    page.goto(address)
    page.wait_for_selector("#fw-title")
    return page


def main() -> None:
    """Take every picture."""
    IMAGES.mkdir(exist_ok=True)
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        folder = Path(scratch) / "heron"
        shutil.copytree(ROOT / "examples" / "heron", folder)
        browser = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        with serving(folder) as address:
            parts = urlsplit(address)
            base = f"{parts.scheme}://{parts.netloc}"
            for name, view, size, dark, ready in SHOTS:
                page = window(browser, address, size, dark=dark)
                page.goto(f"{base}/{view}?file=mk1.yaml")
                page.wait_for_selector(ready)
                page.wait_for_timeout(1500)
                page.screenshot(path=IMAGES / f"{name}.png")
                page.context.close()
                sys.stdout.write(f"{name}.png\n")
        browser.close()


if __name__ == "__main__":
    main()
