"""Documents as HTML in a real browser: WCAG 2.2 AA by axe-core, no request, nothing wider than the window."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from edge import run
from fieldworthy.measure.sheets import sheets
from robots import EXAMPLES, OTTER

RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
}
COMMANDS = {
    "notebook": ("report", EXAMPLES / "mk1.yaml", "--date", "2026-11-25", "--runs", "100", "--compare",
                 EXAMPLES / "mk2.yaml"),
    "changes": ("report", OTTER.with_name("mk2.yaml"), "--runs", "100", "--since", OTTER),
    "judges": ("report", EXAMPLES / "mk1.yaml", "--for", "judges", "--runs", "100", "--compare",
               EXAMPLES / "mk2.yaml"),
    "card": ("card", EXAMPLES / "mk1.yaml", "--faults", EXAMPLES / "mk1_faults.yaml"),
    "card without air": ("card", OTTER),
    "inspection": ("inspect", EXAMPLES / "mk1.yaml"),
    "inspection without air": ("inspect", OTTER),
    **{f"sheet of {name}": ("sheet", name) for name in sheets()},
}  # fmt: skip


@pytest.fixture(scope="module", params=COMMANDS)
def page_file(request, tmp_path_factory):
    file = tmp_path_factory.mktemp("pages") / "page.html"
    assert run(*COMMANDS[request.param], "-o", file).code == 0
    return file


@pytest.mark.long
@pytest.mark.parametrize("width", [390, 1280])
def test_a_page_is_accessible_fits_and_asks_for_nothing(browser, page_file, width):
    # the page forbids every script, so the judge is let in past its policy; the page itself has none
    context = browser.new_context(bypass_csp=True, viewport={"width": width, "height": 900})
    page, asked, said = context.new_page(), [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto(page_file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    found = Axe().run(page, options=RULES).response["violations"]
    context.close()
    assert [(v["id"], node["html"][:120]) for v in found for node in v["nodes"]] == []
    assert asked == [page_file.as_uri()]
    assert said == []


@pytest.mark.long
def test_without_a_judge_the_policy_lets_nothing_run(browser, page_file):
    context = browser.new_context()
    page, said = context.new_page(), []
    page.on("console", lambda message: said.append(message.text))
    page.goto(page_file.as_uri())
    assert page.locator("h1").inner_text()
    context.close()
    assert said == []  # nothing on the page runs into its own policy
