"""Objects on their way through the intake, and how the sorter tells them apart."""

from __future__ import annotations

from typing import Any

from fieldworthy.web.components import DisplayUnits, heading, is_new, pictures_of, share_of
from fieldworthy.web.figures import at_moment, intakes, sorted_by_hue, taken_in
from fieldworthy.web.markup import Content, Markup, plain_sentences, tag
from fieldworthy.web.page import Page

_CAUTION = "Rollers and chains pull fingers in: cut the power before you reach into an intake."
_SECONDS = 6  # that a run takes on the screen: slow enough to follow with the eye


async def build(page: Page) -> None:
    """Show intakes and sorters."""
    page.fill(
        heading("Intake and sorting"),
        tag(
            "p", "Rollers and chains pull fingers in: cut the power before you reach into an intake.", class_="caution"
        ),
        tag("div", id="intake-problems"),
        tag("div", id="intake-all"),
        tag("div", id="intake-sorters"),
    )
    state: DisplayUnits = {}
    page.on("moment", lambda data: _moment(page, data, state))
    page.on_judged(lambda: page.later(_show(page, state)))
    await _show(page, state)


async def _show(page: Page, state: DisplayUnits) -> None:
    page.put("intake-problems", plain_sentences(page.problems) if page.problems else "")
    if page.draft is None or not is_new(page, state):
        return
    found = await page.work.sketch(intakes, page.draft.source)
    sorters = await page.work.sketch(sorted_by_hue, page.draft.source, page.look())
    if found is None or sorters is None or page.view != "intake":
        return
    rows = [await _intake(page, name, number, state) for number, name in enumerate(found)]
    none = tag("p", "This robot has no intake and no sorter. In Build, add one under Mechanisms.")
    page.put("intake-all", rows or (none if not sorters else ""))
    page.put("intake-sorters", [_sorter(page, name, figures) for name, figures in sorters])


def _sorter(page: Page, name: str, figures: Any) -> Markup:
    shown: Content = pictures_of(page, figures)
    return tag("section", tag("h2", f"Sorter '{name}'"), tag("div", shown, class_="figures"))


async def _intake(page: Page, name: str, number: int, state: DisplayUnits) -> Markup:
    assert page.draft is not None
    source, look = page.draft.source, page.look()
    through = await page.work.sketch(taken_in, source, look, name) or ()
    rows: list[Content] = [tag("h2", f"Intake '{name}'")]
    for holding in (False, True)[: len(through)]:  # the second figure is the staged hold
        place = f"moment-{number}-{'held' if holding else 'moving'}"
        share = state.setdefault(place, 0.5)
        drawn = await page.work.sketch(at_moment, source, look, name, share, holding)
        rows += [_slider(name, place, share), tag("div", pictures_of(page, drawn or ()), id=place)]
    rows.append(tag("div", pictures_of(page, through), class_="figures"))
    return tag("section", rows)


def _slider(name: str, place: str, share: float) -> Markup:
    identifier, holding = f"{place}-at", place.endswith("held")
    what = "the staged hold" if holding else "objects passing through"
    box = tag("input", type="range", id=identifier, min="0", max="100", step="any", value=f"{100 * share:g}",
              data_slide="moment", data_name=name, data_place=place)  # fmt: skip
    run = tag("button", "Run", type="button", data_play=identifier, data_seconds=_SECONDS, aria_pressed="false",
              aria_label=f"Run {what}")  # fmt: skip
    return tag("div", tag("label", f"Time: {what}", for_=identifier), box, run, class_="slider")


async def _moment(page: Page, data: dict[str, Any], state: DisplayUnits) -> None:
    name, place, share = str(data.get("name")), str(data.get("place")), round(share_of(data.get("value")), 3)
    if page.draft is None or place not in state:
        return
    state[place] = share
    drawn = await page.work.sketch(at_moment, page.draft.source, page.look(), name, share, place.endswith("held"))
    page.put(place, pictures_of(page, drawn or ()))
    page.call("slid", "moment")
