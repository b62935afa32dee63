"""Take a picture of every view and dialog of the page, to look at: ``python docs/make_every_view.py FOLDER [WORD …]``.

Each at 1280 and 390 px, light and dark, of the example Heron and of an empty folder; with words, only those whose name
holds one of them. Nothing in the pictures is real.
"""

from __future__ import annotations

import base64
import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlsplit

from make_screenshots import FLAGS, ROOT, serving, window
from playwright.sync_api import Browser, Error, Page, sync_playwright

SIZES = ((1280, 900), (390, 844))
SCREENS = {1280: 2, 390: 4}  # of a long view; what comes after them goes on alike
LAP = 60  # px that a screen repeats of the one before
SETTLED = "() => !/Working it out|being played/.test(document.getElementById('fw-main').innerText)"
Do = Callable[[Page, Path], None]


def _click(*selectors: str) -> Do:
    def do(page: Page, folder: Path) -> None:
        del folder
        for selector in selectors:
            page.locator(selector).first.click()
            page.wait_for_timeout(700)

    return do


def _made(*selectors: str) -> Do:
    """Open the list of what it is made of, which a phone folds away, and click."""

    def do(page: Page, folder: Path) -> None:
        page.evaluate("document.getElementById('build-made').open = true")
        _click(*selectors)(page, folder)

    return do


def _typed(selector: str, text: str) -> Do:
    def do(page: Page, folder: Path) -> None:
        del folder
        page.fill(selector, text)
        page.keyboard.press("Tab")

    return do


def _conflict(page: Page, folder: Path) -> None:
    area = page.locator("#text-area")
    area.fill(area.input_value().replace("hours_left: 14 h", "hours_left: 20 h"))
    page.wait_for_timeout(1500)
    file = folder / "mk1.yaml"
    before = file.read_text("utf-8")
    file.write_text(before.replace("hours_left: 14 h", "hours_left: 25 h"), "utf-8")
    page.wait_for_selector("#fw-conflict[open]")
    file.write_text(before, "utf-8")


def _compared(page: Page, folder: Path) -> None:
    page.locator("#fw-view form button.main").click()
    _played(page, folder)


def _lost(page: Page, folder: Path) -> None:
    del folder
    page.context.set_offline(True)
    page.evaluate("window.socket?.disconnect?.()")


def _played(page: Page, folder: Path) -> None:
    del folder
    page.wait_for_selector("main figure", timeout=90_000)


SHOTS: tuple[tuple[str, str, Do | None], ...] = (
    # name, address within the page, what is done there
    ("start", "", None),
    ("start_new", "", _click("details.panel summary")),
    ("start_display", "", _click("summary:has-text('Display')")),
    ("build", "build?file=mk1.yaml", None),
    ("build_thing", "build?file=mk1.yaml&key=air.cylinders", _made(".made summary:has-text('Cylinders')")),
    ("build_clamp", "build?file=mk1.yaml&key=mechanisms.clamp", None),
    ("build_add", "build?file=mk1.yaml", _made("[aria-label='Add a mechanism']")),
    ("build_add_action", "build?file=mk1.yaml", _made("[aria-label='Add an action'], [aria-label='Add a action']")),
    ("build_remove", "build?file=mk1.yaml&key=air.tanks.left", _click("[data-do=take]")),
    ("build_error", "build?file=mk1.yaml&key=air.supply.charge", _typed("#f-air_2e_supply_2e_charge", "7 bananas")),
    ("build_strip", "build?file=mk1.yaml", _click(".strip summary")),
    ("build_season", "build?file=glasshouse.yaml", None),
    ("build_limits", "build?file=mk1.yaml&key=season.limits", None),
    ("build_parts", "build?file=mk1.yaml&part=parts", None),
    ("build_plan", "build?file=mk1.yaml&part=plan", None),
    ("build_turning", "build?file=mk1.yaml&part=turning", None),
    ("build_text", "build?file=mk1.yaml&part=text", None),
    ("margins", "margins?file=mk1.yaml", None),
    ("margins_open", "margins?file=mk1.yaml", _click("#margins-rows details > summary")),
    ("term", "margins?file=mk1.yaml", _click("[data-term]")),
    ("robot", "robot?file=mk1.yaml", None),
    ("air", "air?file=mk1.yaml", None),
    ("intake", "intake?file=mk1.yaml", None),
    ("path", "path?file=mk1.yaml", None),
    ("match", "match?file=mk1.yaml", _played),
    ("measurements", "measurements?file=mk1.yaml", None),
    ("fit", "measurements?file=mk1.yaml", _click("button:has-text('Fit the readings')")),
    ("compare", "compare?file=mk1.yaml", _compared),
    ("search", "search?file=mk1.yaml", None),
    ("work", "work?file=mk1.yaml", None),
    ("versions", "versions?file=mk1.yaml", None),
    ("documents", "documents?file=mk1.yaml", None),
    ("guide", "guide?file=mk1.yaml", None),
    ("conflict", "build?file=mk1.yaml&part=text", _conflict),
    ("lost", "build?file=mk1.yaml", _lost),
)


def take(browser: Browser, folder: Path, into: Path, words: list[str]) -> None:
    """Take those pictures whose names hold one of the words."""
    with serving(folder) as address:
        parts = urlsplit(address)
        for name, where, do in SHOTS if folder.name == "heron" else SHOTS[:1]:
            for size in SIZES:
                shot = f"{folder.name}_{name}_{size[0]}"
                if words and not any(word in shot for word in words):
                    continue
                page = window(browser, address, size, dark=False, scale=1.0)
                try:
                    page.goto(f"{parts.scheme}://{parts.netloc}/{where}")
                    page.wait_for_selector("#fw-title")
                    page.wait_for_function(SETTLED)
                    page.wait_for_timeout(1500)
                    if do is not None:
                        do(page, folder)
                    for scheme in ("light", "dark"):
                        page.emulate_media(color_scheme=scheme)
                        page.wait_for_timeout(2000)
                        _shoot(page, into / f"{shot}_{scheme}.png", size)
                except Error as error:
                    sys.stdout.write(f"{shot}: {str(error)[:300]}\n")
                page.context.close()


def _shoot(page: Page, path: Path, size: tuple[int, int]) -> None:
    """Take screen after screen, as a person scrolls, and put them side by side: what sticks to an edge stays there."""
    tall = int(page.evaluate("document.documentElement.scrollHeight"))
    more = max(0, -(-(tall - size[1]) // (size[1] - LAP)))
    screens = min(SCREENS[size[0]], 1 + more)
    taken = []
    for n in range(screens):
        page.evaluate("y => scrollTo({ top: y, behavior: 'instant' })", n * (size[1] - LAP))
        page.wait_for_timeout(300)
        taken.append(base64.b64encode(page.screenshot()).decode("ascii"))
    page.evaluate("scrollTo({ top: 0, behavior: 'instant' })")
    width = screens * (size[0] + 6)
    sheet = page.context.new_page()
    sheet.set_viewport_size({"width": width, "height": size[1]})
    images = "".join(f'<img src="data:image/png;base64,{one}" style="margin-right:6px">' for one in taken)
    sheet.set_content(f'<body style="margin:0;background:#888;display:flex">{images}')
    sheet.screenshot(path=path)
    sheet.close()
    sys.stdout.write(f"{path.name}\n")
    sys.stdout.flush()


def main() -> None:
    """Take every picture that is asked for."""
    into, words = Path(sys.argv[1]), sys.argv[2:]
    into.mkdir(exist_ok=True)
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    with tempfile.TemporaryDirectory(prefix="every-") as scratch, sync_playwright() as playwright:
        folder, empty = Path(scratch) / "heron", Path(scratch) / "our_team"
        shutil.copytree(ROOT / "examples" / "heron", folder)
        empty.mkdir()
        browser = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        take(browser, empty, into, words)
        take(browser, folder, into, words)
        browser.close()


if __name__ == "__main__":
    main()
