"""A straight guide: the force that moves its load against the length between its pads."""

from __future__ import annotations

from typing import Any

import numpy as np

from fieldworthy.checks.curves.guide import GuideCurves
from fieldworthy.draw.axes import Chart, chart
from fieldworthy.draw.axesmarks import Limit, Line, Mark, Span, Spot
from fieldworthy.draw.axesscale import Axis
from fieldworthy.draw.figure import Figure
from fieldworthy.draw.robotview import near
from fieldworthy.draw.style import Style

_LOOK: dict[bool, dict[str, Any]] = {False: {"tone": 0}, True: {"tone": "bad", "shape": "cross"}}
_HIGHEST = 4.0  # times the load; more than that nobody would build


def guide(data: GuideCurves, style: Style) -> Figure:
    """Draw the force that a carriage needs against the length of its guide.

    Parameters
    ----------
    data : GuideCurves
        The guide [SI].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        A line, with the length at which it locks and what the cylinder gives [-].
    """
    top = max(_HIGHEST * data.load, 1.1 * (data.has or 0.0), 1.0)
    here = data.needed if np.isfinite(data.needed) else top
    locks = not np.isfinite(data.needed)
    words = "locks" if locks else f"needs {style.show(data.needed, 'force')}"
    marks: list[Mark] = [
        Line(x=data.lengths, y=np.where(data.forces <= top, data.forces, np.nan), tone=0),
        Limit(at=data.length, side="x", name=f"as it is, {near(data.length, style)}", tone="ink", dash="2 3"),
        Spot(
            x=data.length, y=min(here, top), name=words, tone="bad" if locks else 0, shape="cross" if locks else "dot"
        ),
    ]
    if data.least > 0.0:
        low = float(data.lengths[0])
        marks.insert(0, Span(low=min(low, data.least), high=data.least, name="locks", tone="bad"))
    if data.has is not None:
        marks.append(Limit(at=data.has, name=f"its cylinder pushes with {style.show(data.has, 'force')}", tone="good"))
    has = "" if data.has is None else f"; its cylinder pushes with {style.show(data.has, 'force')}"
    what = Chart(
        title=f"Guide '{data.name}'",
        alt=f"With {near(data.length, style)} between its pads guide '{data.name}' {words}; it locks below "
        f"{near(data.least, style)}{has}.",
        x=Axis("Length between the pads", "length", low=float(data.lengths[0]), high=float(data.lengths[-1])),
        y=Axis("Force to move it", "force", low=0.0, high=top),
        marks=marks,
        columns={
            style.header("Length between the pads", "length"): style.value(data.lengths, "length").tolist(),
            style.header("Force to move it", "force"): style.value(data.forces, "force").tolist(),
        },
    )
    return chart(what, style)
