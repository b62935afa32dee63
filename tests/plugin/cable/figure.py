"""What every pose needs of a cable, against its length."""

from __future__ import annotations

from cable.mechanics import apart
from cable.model import Cable
from fieldworthy.drawing.axes import Row, draw_rows, rows_height
from fieldworthy.drawing.frame import Axis, Limit
from fieldworthy.drawing.svg import Figure, Sheet
from fieldworthy.engine.finding import first


def figures(context, style):
    """One figure a cable."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, Cable):
            yield _cable(name, spec, context.robot.poses, style)


def _cable(name, spec, poses, style):
    needed = {pose: first(apart(spec, whole) + spec.slack) for pose, whole in poses.items()}
    rows = [Row(label=pose, note=style.show(way, "length"), bar=(0.0, way)) for pose, way in needed.items()]
    axis = Axis("Length needed", "length", 0.0, 1.1 * max(*needed.values(), first(spec.length)))
    sheet = Sheet(style, rows_height(rows, axis, style.width))
    draw_rows(sheet, 0.0, rows, axis, [Limit(at=first(spec.length), side="x", name="its length", tone="good")])
    title = f"Cable '{name}'"
    alt = f"Cable '{name}' is {style.show(first(spec.length), 'length')} long."
    columns = {"pose": list(needed), style.header("needed", "length"): list(needed.values())}
    return Figure(title, alt, sheet.document(title, alt), columns)
