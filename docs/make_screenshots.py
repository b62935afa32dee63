"""Take the pictures that the README, docs/page.md and the guide show: ``python docs/make_screenshots.py``.

``python docs/make_screenshots.py guide`` takes those of the guide alone, which are small and light. Needs Chromium, as
the tests of the page do, but for the picture of the decision. The robots are those of the examples; nothing in them is
real.
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

import fieldworthy as fw
from fieldworthy.decide.figure import differences, flip
from fieldworthy.drawing.style import LIGHT, Style

ROOT = Path(__file__).resolve().parents[1]
IMAGES = ROOT / "docs" / "images"
GUIDE = ROOT / "docs" / "guide" / "images"
FLAGS = ("--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--font-render-hinting=none")
DESK, PHONE, SMALL = (1280, 800), (390, 760), (1080, 640)
Shot = tuple[str, str, tuple[int, int], bool, str]
SHOTS: tuple[Shot, ...] = (
    # name, view, size, dark, what to wait for
    ("build", "build", DESK, False, "main svg"),
    ("margins", "margins", DESK, False, "#margins-rows li"),
    ("robot", "robot", DESK, False, "#robot-pose figure"),
    ("air", "air", DESK, True, "#shown-all figure"),
    ("path", "path", DESK, False, "#shown-all figure"),
    ("phone", "margins", PHONE, True, "#margins-rows li"),
)
GUIDE_SHOTS: tuple[Shot, ...] = (
    ("start", "", SMALL, False, "form.steps-form"),
    ("build", "build", SMALL, False, "main svg"),
    ("margins", "margins", SMALL, False, "#margins-rows li"),
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


def window(browser: Browser, address: str, size: tuple[int, int], *, dark: bool, scale: float) -> Page:
    """Open a window that has come in."""
    width, height = size
    context = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme="dark" if dark else "light",
        device_scale_factor=scale,
    )
    page = context.new_page()
    page.goto(address)
    page.wait_for_selector("#fw-title")
    return page


def decision() -> None:
    """Draw what the README shows of a decision: two variants over the same matches, and where the answer turns."""
    heron = ROOT / "examples" / "heron"
    data = fw.compare(fw.load(heron / "mk1.yaml"), fw.load(heron / "mk2.yaml")).data
    style = Style(LIGHT, "metric", 720.0)
    drawn = [differences(data, style).svg, flip(data.flip[0], style).svg]
    sizes = [tuple(map(float, re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg).groups())) for svg in drawn]
    width, height = max(w for w, _ in sizes), sum(h for _, h in sizes)
    tops = [0.0, sizes[0][1]]
    inner = "".join(svg.replace("<svg ", f'<svg y="{top:g}" ', 1) for svg, top in zip(drawn, tops, strict=True))
    whole = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}">{inner}</svg>'
    )
    (IMAGES / "decision.svg").write_text(whole + "\n", encoding="utf-8")
    sys.stdout.write("decision.svg\n")


def shoot(browser: Browser, folder: Path, into: Path, shots: tuple[Shot, ...], scale: float) -> None:
    """Take pictures of a folder's page."""
    into.mkdir(exist_ok=True)
    with serving(folder) as address:
        parts = urlsplit(address)
        base = f"{parts.scheme}://{parts.netloc}"
        for name, view, size, dark, ready in shots:
            page = window(browser, address, size, dark=dark, scale=scale)
            if view:
                page.goto(f"{base}/{view}?file=mk1.yaml")
            page.wait_for_selector(ready)
            page.wait_for_timeout(1500)
            page.screenshot(path=into / f"{name}.png")
            page.context.close()
            sys.stdout.write(f"{name}.png\n")


def main() -> None:
    """Take every picture, those of the guide alone, or that of the decision alone."""
    if "decision" in sys.argv[1:]:
        decision()
        return
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        folder, empty = Path(scratch) / "heron", Path(scratch) / "our_team"
        shutil.copytree(ROOT / "examples" / "heron", folder)
        empty.mkdir()
        browser = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        shoot(browser, empty, GUIDE, GUIDE_SHOTS[:1], 1.0)
        shoot(browser, folder, GUIDE, GUIDE_SHOTS[1:], 1.0)
        if "guide" not in sys.argv[1:]:
            shoot(browser, folder, IMAGES, SHOTS, 1.5)
        browser.close()
    decision()


if __name__ == "__main__":
    main()
