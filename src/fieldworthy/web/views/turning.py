"""The robot as blocks in a scene that turns; a click on one opens its form."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldworthy.files.document import BadInput
from fieldworthy.web.markup import address
from fieldworthy.web.page import Page
from fieldworthy.web.placing import Spot, solid

if TYPE_CHECKING:
    from nicegui.events import SceneClickEventArguments

_TALL = 560  # px
_POINT = 0.008  # m; radius of what has a place and no size


async def build_turning(page: Page) -> None:
    """Show the scene; it is drawn anew when the file changes."""
    shown: list[tuple[Spot, ...]] = []

    async def draw() -> None:
        if page.draft is None:
            return
        try:
            spots = await page.queue.sketch(solid, page.draft.source)
        except BadInput:  # its problems are told where they are mended
            return
        if not shown or shown[-1] != spots:
            shown[:] = [spots]
            _scene(page, spots)

    page.on_judged(lambda: page.later(draw()))
    await draw()


def _scene(page: Page, spots: tuple[Spot, ...]) -> None:
    from nicegui import ui  # noqa: PLC0415  the scene's library is only loaded where one is shown

    theme = page.style().theme
    room = max((abs(c) for s in spots for c in s.at), default=0.3)
    page.slot.clear()

    def clicked(event: SceneClickEventArguments) -> None:
        key = next((hit.object_name for hit in event.hits if hit.object_name), "")
        if event.click_type == "dblclick" and any(s.thing == key for s in spots):
            page.later(page.go(address("build", file=page.file, key=key)))  # type: ignore[arg-type]

    with page.slot, ui.scene(
        width=900, height=_TALL, grid=(2, 20), background_color=theme.paper, on_click=clicked
    ) as scene:  # fmt: skip
        scene.classes("turning").props('role=img aria-label="The robot, turning"')
        for spot in spots:
            colour = theme.series[2 if spot.rides else 0] if spot.size else theme.caution
            x, y, z = spot.at
            block = scene.box(*spot.size) if spot.size is not None else scene.sphere(_POINT)
            block.move(x, y, z).material(colour, 0.55 if spot.size else 1.0).with_name(spot.thing)
        scene.move_camera(x=0.9 * room, y=-1.1 * room, z=1.0 * room, look_at_z=0.4 * room, duration=0)
