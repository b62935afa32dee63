"""The field with the route, and what the robot does not know of its place on it."""

from __future__ import annotations

from fieldworthy.drawing.style import Style
from fieldworthy.systems.tracking.figure import PathCurves, Waypoint
from fieldworthy.web.components import DisplayUnits, heading, is_new, pictures_of, table
from fieldworthy.web.figures import on_the_field
from fieldworthy.web.markup import Content, plain_sentences, tag
from fieldworthy.web.page import Page


async def build(page: Page) -> None:
    """Show the route."""
    page.fill(
        heading("Path"),
        tag("p", "Where the plan drives, and within which ellipse the robot knows its place 95 times of 100 when it "
            "drives by itself.", class_="lead"),
        tag("div", id="path-problems"),
        tag("div", id="path-all", class_="figures"),
    )  # fmt: skip
    state: DisplayUnits = {}
    page.on_judged(lambda: page.later(_show(page, state)))
    await _show(page, state)


async def _show(page: Page, state: DisplayUnits) -> None:
    page.put("path-problems", plain_sentences(page.problems) if page.problems else "")
    if page.draft is None or not is_new(page, state):
        return
    found = await page.work.sketch(on_the_field, page.draft.source, page.look())
    if found is None or page.view != "path":
        return
    data, figures, style = found
    if data is None:
        page.put("path-all", tag("p", "There is no match plan yet. In Build, Plan says what it does where."))
        return
    page.put("path-all", pictures_of(page, figures), _table(style, data))


def _table(style: Style, data: PathCurves) -> Content:
    if not data.waypoints:
        return tag("p", "The robot does not say how it tracks its place, or drives nowhere by itself: no ellipses.")
    head = ("Place", f"Error, 95 % [{style.unit('length')}]", "Most of it from")
    rows = [
        [f"{w.number} {w.place}", f"{float(style.value(w.oval.reach, 'length')):.3g}", _source(w)]
        for w in data.waypoints
    ]
    return table(head, rows, "Where the robot knows its place least")


def _source(waypoint: Waypoint) -> str:
    name = waypoint.dominating
    return "–" if name is None else f"{name} ({100 * waypoint.shares[name]:.0f} % of it)"
