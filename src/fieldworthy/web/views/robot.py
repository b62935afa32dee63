"""The robot to scale in any pose, and what the systems show with it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldworthy.files.document import BadInput, dotted
from fieldworthy.web.components import DisplayUnits, heading, is_new, pictures_of
from fieldworthy.web.figures import in_pose, poses, shown
from fieldworthy.web.markup import Markup, address, plain_sentences, tag
from fieldworthy.web.page import Page
from fieldworthy.web.placing import TREAD, Spot, Whole, rods_of, solid
from fieldworthy.web.views.shown import listen, sections_of

if TYPE_CHECKING:
    from nicegui import ui
    from nicegui.events import SceneClickEventArguments

    from fieldworthy.drawing.style import Theme

_TALL = 560  # px; of the scene that turns
_CG = "centre of gravity"
_ABOVE = """((id, name) => {
  const look = (left) => {
    let there = false;
    getElement(id)?.scene?.traverse((one) => {
      if (one.name !== name) return;
      one.material.depthTest = false;
      one.renderOrder = 9;
      there = true;
    });
    if (!there && left) setTimeout(look, 100, left - 1);
  };
  look(100);
})(%s, "%s")"""
"""Draws it over the parts, within which it lies."""
_SEEN_THROUGH = 0.3  # opacity of a part; many lie in front of the centre of gravity
_POINT = 0.008  # m; radius of what has a place and no size
_KEEPS = "robot"  # under which a window remembers its pose


async def build(page: Page) -> None:
    """Show the robot."""
    page.fill(
        heading("Robot", "pose", "centre of gravity", "support polygon"),
        tag("p", "To scale, as the file says it. Where it can hurt someone, keep hands and heads away: it is drawn "
            "without its cables, bands and pressure.", class_="lead"),
        tag("div", id="robot-problems"),
        tag("div", id="robot-pose", class_="figures"),
        tag("div", id="robot-shown"),
    )  # fmt: skip
    state: DisplayUnits = {}
    page.on("pose", lambda data: _turn(page, str(data.get("value"))))
    listen(page)
    page.on_judged(lambda: page.later(_show(page, state)))
    await _show(page, state)


def _kept(page: Page) -> dict[str, Any]:
    kept: Any = page.tab.notes.setdefault(f"{_KEEPS}|{page.file}", {})
    found: dict[str, Any] = kept
    return found


async def _show(page: Page, state: DisplayUnits) -> None:
    """Draw everything anew; the last drawing stays while the file has mistakes."""
    page.put("robot-problems", plain_sentences(page.problems) if page.problems else "")
    if page.draft is None or not is_new(page, state):
        return
    source, look = page.draft.source, page.look()
    names = await page.work.sketch(poses, source)
    if names is None or page.view != "robot":
        return
    if not names:
        page.put("robot-pose", tag("p", "The file lists no parts yet: weigh them, measure where they sit, and they "
                 "are drawn here."))  # fmt: skip
    else:
        await _pose(page, names)
    page.put("robot-shown", await sections_of(page, await page.work.sketch(shown, source, look) or ()))


async def _pose(page: Page, names: tuple[str, ...]) -> None:
    assert page.draft is not None
    kept = _kept(page)
    chosen = kept.get("pose") if kept.get("pose") in names else names[0]
    options = [tag("option", name, value=name, selected=name == chosen) for name in names]
    choice = tag("label", "Pose ", tag("select", options, data_change="pose", id="pose"))
    found = await page.work.sketch(in_pose, page.draft.source, page.look(), chosen)
    page.put("robot-pose", tag("div", choice, class_="tools"), pictures_of(page, found or ()))


async def _turn(page: Page, name: str) -> None:
    _kept(page)["pose"] = name
    names = await page.work.sketch(poses, page.draft.source) if page.draft else None
    if names:
        await _pose(page, names)


def turning_body(page: Page) -> Markup:
    """Say what can be done with the scene."""
    del page
    told = (
        "Drag to turn it; the mouse wheel, or two fingers, bring it nearer. A double click on a thing opens its form. "
        "Green on the floor is what it stands on, the large ball its centre of gravity."
    )
    return tag("p", told, class_="lead")


async def build_turning(page: Page) -> None:
    """Show the scene; it is drawn anew when the file changes."""
    shown: list[tuple[tuple[Spot, ...], Whole]] = []

    async def draw() -> None:
        if page.draft is None:
            return
        try:
            found = await page.queue.sketch(solid, page.draft.source)
        except BadInput:  # its problems are told where they are mended
            return
        if not shown or shown[-1] != found:
            shown[:] = [found]
            _scene(page, *found)

    page.on_judged(lambda: page.later(draw()))
    await draw()


def _whole(scene: ui.scene, whole: Whole, theme: Theme) -> None:
    """Wheels, what it stands on, and its centre of gravity."""
    for wheel in whole.wheels:  # a cylinder stands along y, as an axle lies
        round_ = scene.cylinder(wheel.diameter / 2, wheel.diameter / 2, TREAD, 24)
        round_.move(wheel.x, wheel.y, wheel.diameter / 2).material(theme.ink, 0.85)
        round_.with_name(dotted(("drive", "wheels", wheel.name)))
    corners = [[x, y, 0.002] for x, y in whole.polygon]
    for start, end in zip(corners, [*corners[1:], *corners[:1]], strict=True):
        scene.line(start, end).material(theme.good)
    if whole.cg is not None:
        scene.sphere(2.5 * _POINT).move(*whole.cg).material(theme.caution).with_name(_CG)


def _scene(page: Page, spots: tuple[Spot, ...], whole: Whole) -> None:
    from nicegui import ui  # noqa: PLC0415  the scene's library is only loaded where one is shown

    theme = page.style().theme
    room = max((abs(c) for s in spots for c in s.at), default=0.3)
    page.slot.clear()

    def clicked(event: SceneClickEventArguments) -> None:
        known = {s.thing for s in spots}
        key = next((hit.object_name for hit in event.hits if hit.object_name in known), "")
        if event.click_type == "dblclick" and key:
            page.later(page.go(address("build", file=page.file, key=key)))  # type: ignore[arg-type]

    with page.slot, ui.scene(
        width=900, height=_TALL, grid=(2, 20), background_color=theme.paper, on_click=clicked
    ) as scene:  # fmt: skip
        scene.classes("turning").props('role=img aria-label="The robot, turning"')
        for spot in spots:
            colour = (theme.series[2] if spot.rides else theme.edge) if spot.size else theme.ink
            x, y, z = spot.at
            block = scene.box(*spot.size) if spot.size is not None else scene.sphere(_POINT)
            block.move(x, y, z).material(colour, _SEEN_THROUGH if spot.size else 1.0).with_name(spot.thing)
        _whole(scene, whole, theme)
        scene.on("init", lambda: page.client.run_javascript(_ABOVE % (scene.id, _CG)))
        for one, other in rods_of(spots):
            scene.line(list(one.at), list(other.at)).material(theme.series[0])
        scene.move_camera(x=0.75 * room, y=-0.9 * room, z=0.8 * room, look_at_z=0.4 * room, duration=0)
