"""Documents as HTML in a real browser: WCAG 2.2 AA by axe-core, no request, nothing wider than the window."""

import pytest

from edge import run
from fieldworthy.measure.sheets import sheets
from robots import EXAMPLES, OTTER
from web.browser import judged

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


@pytest.mark.long
@pytest.mark.parametrize("document", COMMANDS)
def test_a_page_is_accessible_fits_asks_for_nothing_and_lets_nothing_run(browser, document, tmp_path):
    file = tmp_path / "page.html"
    assert run(*COMMANDS[document], "-o", file).code == 0
    # the page forbids every script, so the judge is let in past its policy; the page itself has none
    for width, judge in ((390, True), (1280, True), (1280, False)):
        context = browser.new_context(bypass_csp=judge, viewport={"width": width, "height": 900})
        page, asked, said = context.new_page(), [], []
        page.on("request", lambda request, asked=asked: asked.append(request.url))
        page.on("console", lambda message, said=said: said.append(message.text))
        page.goto(file.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.locator("h1").inner_text()
        found = judged(page) if judge else []
        context.close()
        assert found == []
        assert asked == [file.as_uri()]
        assert said == []  # without the judge: nothing on the page runs into its own policy
