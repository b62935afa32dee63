"""The drive: a run from rest to rest, a push against a wall, the motors' warmth over a match."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import Chart, chart, panels
from fieldworthy.drawing.frame import Axis, Bars, Limit, Line, Mark, Spot
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Section
from fieldworthy.physics.motors.motion import move, speed_curve
from fieldworthy.systems.drive.check import pushing
from fieldworthy.systems.drive.mechanics import drive_use, shared_use
from fieldworthy.vehicle import state
from fieldworthy.vehicle.drivetrain import picked

_POINTS = 60  # of each piece of a run
_USUAL = 2.0  # m; the run that is shown where the team names none


@dataclass(frozen=True, slots=True)
class RunCurves:
    """A straight run from rest to rest.

    Attributes
    ----------
    pose : In which it drives
    time, distance, speed, acceleration : Along the run; where it starts to brake stands twice, with either
        acceleration [s, m, m/s, m/s2]
    wanted : Time within which the team wants it [s]
    top_speed : That it could reach with room enough [m/s]
    """

    pose: str
    time: Array
    distance: Array
    speed: Array
    acceleration: Array
    wanted: float | None
    top_speed: float


@dataclass(frozen=True, slots=True)
class PushCurves:
    """The robot against a wall.

    Attributes
    ----------
    force : What it pushes with [N]
    motors, grip : What the motors would give, and what the wheels hold on the floor [N]
    wanted : What the team wants [N]
    """

    force: float
    motors: float
    grip: float
    wanted: float | None


@dataclass(frozen=True, slots=True)
class HeatCurves:
    """Winding temperature of a drive motor over the match.

    Attributes
    ----------
    time, winding : From the start of the match [s], and then [K]
    limit : Not to be passed [K]
    derating : From which the controller cuts the current, step by step [K]
    autonomous : When the driven period begins [s]
    name : Of a motor that several mechanisms share; empty for those of the drive
    """

    time: Array
    winding: Array
    limit: float
    derating: tuple[float, ...]
    autonomous: float
    name: str = ""


def run_curves(context: Context, distance: float | None = None) -> RunCurves | None:
    """Follow a straight run from rest to rest."""
    context = context.nominal
    pose, targets = state.driving_pose(context), context.robot.drive.targets
    if pose is None or not context.robot.parts:
        return None
    performance = state.performance(context, pose)
    line, load = picked(performance.line), picked(performance.load)
    own = None if targets.sprint_distance is None else first(targets.sprint_distance)
    far = distance or own or _USUAL
    made, curve = move(line, load, far), speed_curve(line, load)
    if not np.isfinite(first(made.time)):
        return None
    peak, whole, brake = first(made.peak_speed), first(made.time), first(load.deceleration)
    rising = peak * (1.0 - np.linspace(1.0, 0.0, _POINTS) ** 2)  # denser towards the peak
    time, way = curve.run_up(rising)
    up = (np.asarray(curve.force(rising)) - first(load.resistance)) / (first(load.mass) + first(load.rotating_mass))
    slowing = peak * np.linspace(1.0, 0.0, _POINTS)
    to_go = slowing / brake
    wanted = targets.sprint_time if own is not None and far == own else None
    return RunCurves(
        pose, np.concatenate([time, whole - to_go]), np.concatenate([way, far - 0.5 * slowing * to_go]),
        np.concatenate([rising, slowing]), np.concatenate([up, np.full(_POINTS, -brake)]),
        None if wanted is None else first(wanted), first(performance.top_speed),
    )  # fmt: skip


def push_curves(context: Context) -> PushCurves | None:
    """Weigh the motors' push against the wheels' grip."""
    context = context.nominal
    pose = state.driving_pose(context)
    if pose is None or not context.robot.parts:
        return None
    force, motors, grip = (first(part) for part in pushing(state.performance(context, pose)))
    wanted = context.robot.drive.targets.push_force
    return PushCurves(force, motors, grip, None if wanted is None else first(wanted))


def heat_curves(context: Context) -> HeatCurves | None:
    """Follow the winding temperature of the drive motors along the plan."""
    context = context.nominal
    if not context.robot.parts or state.driving_pose(context) is None or state.undrivable(context):
        return None
    use = drive_use(context)
    if use is None:
        return None
    drive = context.robot.drive
    start = first(state.start_temperature(context))
    winding = np.concatenate([[start], [first(w) for w in use.winding]])
    steps = tuple(first(step.above) for step in context.robot.catalogue.motors[drive.motor].derating)
    clock = np.concatenate([[0.0], use.clock])
    return HeatCurves(clock, winding, first(drive.motor_hot), steps, first(context.season.periods.autonomous))


def shared_curves(context: Context) -> dict[str, HeatCurves]:
    """Follow the winding temperature of every motor that several mechanisms share."""
    context = context.nominal
    robot, found = context.robot, {}
    drivable = robot.parts and not state.undrivable(context)
    uses = {name: shared_use(context, name) for name in robot.motors} if drivable else {}
    for name, use in uses.items():
        if use is None:
            continue
        winding = np.concatenate([[first(state.start_temperature(context))], [first(w) for w in use.winding]])
        steps = tuple(first(step.above) for step in robot.catalogue.motors[robot.motors[name].motor].derating)
        clock, begins = np.concatenate([[0.0], use.clock]), first(context.season.periods.autonomous)
        found[name] = HeatCurves(clock, winding, first(robot.drive.motor_hot), steps, begins, name)
    return found


def run(data: RunCurves, style: Style) -> Figure:
    """Draw speed and acceleration against the distance of a run from rest to rest."""
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
    """Draw the motors' push beside the wheels' grip."""
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
    """Draw the winding temperature of motors over the match."""
    whose = f"motor '{data.name}'" if data.name else "the drive motors"
    cause = f"All that motor '{data.name}' turns in the plan warms its winding" if data.name else (
        "Driving the plan warms the drive motors' windings"
    )  # fmt: skip
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
        title=f"Winding temperature of {whose}",
        alt=f"{cause} to {shown}; {limit} must not be passed.",
        x=Axis("Time in the match", "time", low=0.0, high=float(data.time[-1])),
        y=Axis("Winding", "temperature"),
        marks=marks,
        columns={style.header("Time", "time"): style.value(data.time, "time").tolist(),
                 style.header("Winding", "temperature"): style.value(data.winding, "temperature").tolist()},
    )  # fmt: skip
    return chart(what, style)


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    data = run_curves(context)
    if data is not None:
        yield run(data, style)
    for shared in shared_curves(context).values():
        yield heat(shared, style)


def shown(context: Context, style: Style) -> Iterator[Section]:
    """How it runs, how hard it pushes, and how warm its motors and those that several share become."""
    moves, pushes, warms = run_curves(context), push_curves(context), heat_curves(context)
    yield Section(
        figures=(
            ("run", None if moves is None else run(moves, style)),
            ("push", None if pushes is None else push(pushes, style)),
            ("heat", None if warms is None else heat(warms, style)),
            *((f"heat of {name}", heat(shared, style)) for name, shared in shared_curves(context).items()),
        )
    )
