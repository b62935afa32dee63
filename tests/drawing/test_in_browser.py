"""Texts as a real browser sets them: all inside the figure, none on another."""

from __future__ import annotations

import pytest

from drawn import everything
from fieldworthy.drawing import LIGHT, Style

FAULTS = """() => {
  const faults = [], frame = document.querySelector('svg').getBoundingClientRect();
  const texts = [...document.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()])
    .filter(([words]) => words.trim());
  for (const [words, box] of texts)
    if (box.left < frame.left - 0.5 || box.right > frame.right + 0.5 || box.top < frame.top - 0.5
        || box.bottom > frame.bottom + 1.5) faults.push(`outside: ${words}`);
  texts.forEach(([words, a], i) => texts.slice(i + 1).forEach(([other, b]) => {
    const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (wide > 1.5 && high > 3.5) faults.push(`${words} meets ${other}`);
  }));
  return faults;
}"""


@pytest.fixture(scope="module")
def page(browser):
    """An empty page."""
    context = browser.new_context(viewport={"width": 1000, "height": 900})
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("style", [Style(LIGHT, "metric", 340.0), Style(LIGHT, "inch", 900.0)], ids=["phone", "wide"])
def test_no_text_leaves_the_figure_or_meets_another(page, style):
    faults = []
    for label, draw, data in everything():
        figure = draw(data, style)
        assert figure is not None
        page.set_content(f"<body style='margin:0'>{figure.svg}")
        faults += [f"{label}: {fault}" for fault in page.evaluate(FAULTS)]
    assert faults == []
