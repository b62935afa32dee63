"""Pressure in each tank along the plan, and which cylinder draws from which tank."""

from __future__ import annotations

from fieldworthy.drawing.style import Style
from fieldworthy.systems.air.figure import AirCurves, PressureNeeded
from fieldworthy.web.components import DisplayUnits, heading, is_new, pictures_of
from fieldworthy.web.figures import AirShown, air_shown
from fieldworthy.web.markup import Content, Markup, margin_text, plain_sentences, tag
from fieldworthy.web.page import Page

_CAUTION = (
    "Compressed air can hurt: release it before you work on the robot, wear eye protection, stay below the rated "
    "pressure of the weakest part, and keep to the event's own rules."
)


async def build(page: Page) -> None:
    """Show the air along the plan."""
    page.fill(
        heading("Air"),
        tag("p", _CAUTION, class_="caution"),
        tag("div", id="air-problems"),
        tag("p", id="air-worst", role="status"),
        tag("p", "Drag a cylinder to another tank, or choose the tank in its list.", class_="fine")
        if page.may_change
        else "",
        tag("div", id="air-tanks", class_="tanks"),
        tag("div", id="air-figures", class_="figures"),
    )
    state: DisplayUnits = {}
    page.on("drop", lambda data: _put(page, str(data.get("of")), str(data.get("value"))))
    page.on("tank", lambda data: _put(page, str(data.get("of")), str(data.get("value"))))
    page.on_judged(lambda: page.later(_show(page, state)))
    await _show(page, state)


async def _show(page: Page, state: DisplayUnits) -> None:
    page.put("air-problems", plain_sentences(page.problems) if page.problems else "")
    if page.draft is None or not is_new(page, state):
        return
    found = await page.work.sketch(air_shown, page.draft.source, page.look())
    if found is None or page.view != "air":
        return
    if not found.cylinders:
        page.put("air-tanks", tag("p", "This robot has no cylinders. In Build, add a tank and a cylinder."))
        return
    page.put("air-tanks", [_tank(page, found, name) for name in found.tanks])
    page.put("air-worst", _worst(found.curves, state))
    page.put("air-figures", pictures_of(page, found.figures))


def _worst(curves: AirCurves | None, state: DisplayUnits) -> str:
    """The tightest cylinder, and what it was before the last change."""
    if curves is None:
        return "The match plan draws no air: write it under 'plan', and the pressure is followed along it."
    tight = [tank.worst for tank in curves.tanks if tank.worst is not None]
    if not tight:
        return "No cylinder says what it must push or pull: give it a load, and what it needs is known."
    level = min(tight, key=lambda found: found.margin or 0.0)
    margin = margin_text(level.margin)
    told = f"Tightest is '{level.cylinder}' with a margin of {margin}."
    was = state.get("margin")
    state["margin"] = margin
    return told if was in (None, margin) else f"{told} Before, the tightest margin was {was}."


def _tank(page: Page, found: AirShown, name: str) -> Markup:
    curve = next((t for t in found.curves.tanks if t.name == name), None) if found.curves else None
    levels = {level.cylinder: level for level in curve.levels} if curve else {}
    rows = [_cylinder(page, found, c, levels.get(c)) for c, tank in found.cylinders if tank == name]
    empty = tag("li", "No cylinder draws from it.", class_="fine")
    return tag(
        "section", tag("h2", f"Tank '{name}'"), tag("ul", rows or empty), class_="tank", data_drop=name,
        aria_label=f"Tank {name}",
    )  # fmt: skip


def _cylinder(page: Page, found: AirShown, name: str, level: PressureNeeded | None) -> Markup:
    choice: Content = ""
    if page.may_change and len(found.tanks) > 1:
        on = dict(found.cylinders)[name]
        options = [tag("option", f"tank {tank}", value=tank, selected=tank == on) for tank in found.tanks]
        choice = tag("select", options, data_change="tank", data_of=name, aria_label=f"Tank of {name}")
    verdict = None if level is None or level.margin is None else "holds" if level.margin >= 0 else "short"
    return tag(
        "li", tag("span", tag("span", "⠿ ", aria_hidden="true", class_="grip") if page.may_change else "", name,
                  class_="name"), tag("span", _told(found.style, level), class_="told"), choice,
        class_="cylinder", draggable="true" if page.may_change else None, data_drag=name, data_verdict=verdict,
    )  # fmt: skip


def _told(style: Style, level: PressureNeeded | None) -> str:
    """What it needs and gets, in words and signs."""
    if level is None or level.lowest is None:
        return "not used by the plan"

    def shown(gauge: float) -> str:
        return style.show(gauge, "pressure", 3)

    if level.need is None or level.margin is None:
        return f"gets at least {shown(level.lowest)}; its load is not in the file"
    sign = "✓" if level.margin >= 0 else "✗"
    told = f"needs {shown(level.need)}, gets {shown(level.lowest)} at its lowest"
    return f"{sign} {told}; margin {margin_text(level.margin)}"


async def _put(page: Page, cylinder: str, tank: str) -> None:
    """Have a cylinder draw from another tank."""
    if page.draft is None:
        return
    found = await page.work.sketch(air_shown, page.draft.source, page.look())
    if found is None or tank not in found.tanks or dict(found.cylinders).get(cylinder, tank) == tank:
        return
    if await page.editor.change({("air", "cylinders", cylinder, "tank"): tank}):
        page.say(f"{cylinder} draws from tank {tank} now.")
