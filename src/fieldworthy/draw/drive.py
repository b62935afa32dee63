"""The drive: a run from rest to rest, a push against a wall, the motors' warmth over a match."""

from __future__ import annotations

import numpy as np

from fieldworthy.checks.curves.drive import HeatCurves, PushCurves, RunCurves
from fieldworthy.draw.axes import Chart, chart, panels
from fieldworthy.draw.axesmarks import Bars, Limit, Line, Mark, Spot
from fieldworthy.draw.axesscale import Axis
from fieldworthy.draw.figure import Figure
from fieldworthy.draw.style import Style


def run(data: RunCurves, style: Style) -> Figure:
    """Draw speed and acceleration against the distance of a run from rest to rest.

    Parameters
    ----------
    data : RunCurves
        The run [SI].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        Two charts over one distance [-].
    """
    far, whole = float(data.distance[-1]), float(data.time[-1])
    place = int(np.argmax(data.speed))
    peak = float(data.speed[place])
    x = Axis("Distance", "distance", low=0.0, high=far)
    time, speed = style.show(whole, "time"), style.show(peak, "speed")
    fast: list[Mark] = [
        Limit(at=data.top_speed, name=f"top speed {style.show(data.top_speed, 'speed')}", tone="quiet"),
        Line(x=data.distance, y=data.speed, tone=0),
        Spot(x=float(data.distance[place]), y=peak, name=f"brakes from {speed}", tone=0),
    ]
    hard: list[Mark] = [Line(x=data.distance, y=data.acceleration, tone=1, dash="")]
    wanted = "" if data.wanted is None else f", {style.show(data.wanted, 'time')} wanted"
    told = f"{style.show(far, 'distance')} in {time}{wanted}"
    title = f"{style.show(far, 'distance')} from rest to rest in {time}{wanted}"
    columns = {
        style.header("Time", "time"): style.value(data.time, "time").tolist(),
        style.header("Distance", "distance"): style.value(data.distance, "distance").tolist(),
        style.header("Speed", "speed"): style.value(data.speed, "speed").tolist(),
        style.header("Acceleration", "acceleration"): style.value(data.acceleration, "acceleration").tolist(),
    }
    above = Chart(title=told, alt="", x=Axis("", "distance", low=0.0, high=far), y=Axis("Speed", "speed", zero=True),
                  marks=fast, columns=columns)  # fmt: skip
    below = Chart(title="How hard it speeds up and brakes", alt="", x=x, marks=hard, columns=columns,
                  y=Axis("Acceleration", "acceleration", zero=True))  # fmt: skip
    alt = f"In pose '{data.pose}' it drives {title}; it reaches {speed} on the way."
    return panels(f"A run of {style.show(far, 'distance')}", alt, [above, below], style)


def push(data: PushCurves, style: Style) -> Figure:
    """Draw the motors' push beside the wheels' grip.

    Parameters
    ----------
    data : PushCurves
        Forces [N].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        Lying bars, with the wanted force as a line [-].
    """
    slips = data.motors > data.grip
    values = (max(data.motors, 0.0), data.grip, data.force)
    labels = [style.show(value, "force") for value in values]
    marks: list[Mark] = [Bars(at=[0, 1, 2], value=values, lying=True, tone=["edge", "edge", 0], labels=labels)]
    wanted = ""
    if data.wanted is not None:
        marks.append(Limit(at=data.wanted, side="x", name=f"wanted {style.show(data.wanted, 'force')}"))
        wanted = f"; {style.show(data.wanted, 'force')} are wanted"
    ends = "its wheels slip first" if slips else "its motors reach their limit first"
    what = Chart(
        title="Push against a wall",
        alt=f"It pushes with {labels[2]}: motors {labels[0]}, grip {labels[1]}, so {ends}{wanted}.",
        x=Axis("Force", "force", low=0.0, high=1.16 * max(*values, data.wanted or 0.0)),
        y=Axis("", names=("motors could push", "wheels hold", f"it pushes ({'slips' if slips else 'stalls'})")),
        marks=marks,
        columns={"What": ["motors", "grip", "push", "wanted"],
                 style.header("Force", "force"): [style.value(v, "force") for v in (*values, data.wanted or np.nan)]},
    )  # fmt: skip
    return chart(what, style)


def heat(data: HeatCurves, style: Style) -> Figure:
    """Draw the winding temperature of the drive motors over the match.

    Parameters
    ----------
    data : HeatCurves
        Along the plan [s, K].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        A line, with the controller's steps and the limit [-].
    """
    hottest = float(data.winding.max())
    place = int(np.argmax(data.winding))
    shown = style.show(hottest, "temperature")
    limit = style.show(data.limit, "temperature")
    marks: list[Mark] = [
        Limit(at=data.autonomous, side="x", name="driven period", tone="quiet", dash="2 3"),
        Limit(at=data.limit, name=f"not to be passed, {limit}"),
        Line(x=data.time, y=data.winding, tone=1, dash=""),
        Spot(x=float(data.time[place]), y=hottest, name=f"hottest {shown}", tone=1),
    ]
    if data.derating:
        first = data.derating[0]
        marks.insert(1, Limit(at=first, name=f"cut back from {style.show(first, 'temperature')}", tone="caution"))
    what = Chart(
        title="Winding temperature of the drive motors",
        alt=f"Driving the plan warms the drive motors' windings to {shown}; {limit} must not be passed.",
        x=Axis("Time in the match", "time", low=0.0, high=float(data.time[-1])),
        y=Axis("Winding", "temperature"),
        marks=marks,
        columns={style.header("Time", "time"): style.value(data.time, "time").tolist(),
                 style.header("Winding", "temperature"): style.value(data.winding, "temperature").tolist()},
    )  # fmt: skip
    return chart(what, style)
