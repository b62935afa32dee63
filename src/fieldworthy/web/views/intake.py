"""Objects on their way through the intake, and how the sorter tells them apart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldworthy.checks.curves.intake import IntakeCurves
from fieldworthy.web.components import heading
from fieldworthy.web.markup import Content, Markup, tag
from fieldworthy.web.pictures import at_moment, intakes, sorted_by_hue, taken_in
from fieldworthy.web.screen import plain_sentences
from fieldworthy.web.views.robot import pictures_of, share_of

if TYPE_CHECKING:
    from fieldworthy.web.page import Page

_CAUTION = "Rollers and chains pull fingers in: cut the power before you reach into an intake."
_SECONDS = 6  # that a run takes on the screen: slow enough to follow with the eye


async def build(page: Page) -> None:
    """Show intakes and sorters.

    Parameters
    ----------
    page : Page
        The window [-].
    """
    page.fill(
        heading("Intake and sorting"),
        tag(
            "p", "Rollers and chains pull fingers in: cut the power before you reach into an intake.", class_="caution"
        ),
        tag("div", id="intake-problems"),
        tag("div", id="intake-all"),
        tag("div", id="intake-sorters"),
    )
    page.on("moment", lambda data: _moment(page, data))
    page.on_judged(lambda: page.later(_show(page)))
    await _show(page)


async def _show(page: Page) -> None:
    page.put("intake-problems", plain_sentences(page.problems) if page.problems else "")
    if page.draft is None or page.problems:
        return
    found = await page.sketch(intakes, page.draft.source)
    sorters = await page.sketch(sorted_by_hue, page.draft.source, page.look())
    if found is None or sorters is None or page.view != "intake":
        return
    rows = [await _intake(page, name, data, number) for number, (name, data) in enumerate(found.items())]
    none = tag("p", "This robot has no intake and no sorter. Under Describe, 'mechanisms' takes them.")
    page.put("intake-all", rows or (none if not sorters else ""))
    page.put("intake-sorters", [_sorter(page, name, figures) for name, figures in sorters])


def _sorter(page: Page, name: str, figures: Any) -> Markup:
    shown: Content = pictures_of(page, figures)
    return tag("section", tag("h2", f"Sorter '{name}'"), tag("div", shown, class_="figures"))


async def _intake(page: Page, name: str, data: IntakeCurves, number: int) -> Markup:
    assert page.draft is not None
    source, look = page.draft.source, page.look()
    rows: list[Content] = [tag("h2", f"Intake '{name}'")]
    for holding in (False, True) if data.hold is not None else (False,):
        place = f"moment-{number}-{'held' if holding else 'moving'}"
        drawn = await page.sketch(at_moment, source, look, name, 0.5, holding)
        rows += [_slider(name, place, holding), tag("div", pictures_of(page, drawn or ()), id=place)]
    rows.append(tag("div", pictures_of(page, await page.sketch(taken_in, source, look, name) or ()), class_="figures"))
    return tag("section", rows)


def _slider(name: str, place: str, holding: bool) -> Markup:
    identifier = f"{place}-at"
    what = "the staged hold" if holding else "objects passing through"
    box = tag("input", type="range", id=identifier, min="0", max="100", step="any", value="50", data_slide="moment",
              data_name=name, data_place=place, data_holding="yes" if holding else "no")  # fmt: skip
    run = tag("button", "Run", type="button", data_play=identifier, data_seconds=_SECONDS, aria_pressed="false",
              aria_label=f"Run {what}")  # fmt: skip
    return tag("div", tag("label", f"Time: {what}", for_=identifier), box, run, class_="slider")


async def _moment(page: Page, data: dict[str, Any]) -> None:
    name, place = str(data.get("name")), str(data.get("place"))
    found = await page.sketch(intakes, page.draft.source) if page.draft else None
    if page.draft is None or not found or name not in found or not place.startswith("moment-"):
        return
    share, holding = (
        round(share_of(data.get("value")), 3),
        data.get("holding") == "yes" and found[name].hold is not None,
    )
    drawn = await page.sketch(at_moment, page.draft.source, page.look(), name, share, holding)
    page.put(place, pictures_of(page, drawn or ()))
    page.call("slid", "moment")
