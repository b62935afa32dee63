"""Compressed air: pressure along the plan, what each cylinder needs, how fast it moves, and the best layout."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, Worked, first, unknown
from fieldworthy.physics.gas.tank import Draw, draws_before_short, volume_needed
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import aligned, stacked
from fieldworthy.vehicle.drivetrain import together
from fieldworthy.vehicle.supply import (
    ENDLESS,
    AirUse,
    PlanAir,
    air_along_plan,
    best_layout,
    lowest_after,
    planned,
    pressed,
    stroke_time,
    use_of,
)

_SOURCES = ("cengel", "iso6358")
_WAYS = ("out", "back")


def check(context: Context) -> Iterator[Outcome]:
    """Judge whether every cylinder still has the air it needs, and whether it is fast enough."""
    air = context.robot.air
    if not air.cylinders:
        return
    plan = air_along_plan(context)
    yield from _ratings(context)
    for name in air.cylinders:
        use = use_of(context, name)
        yield from _pressure(context, use, plan)
        yield from _return(use)
    for name in air.cylinders:
        use = use_of(context, name)
        if context.facts:
            yield from _count(context, use)
        yield from _times(context, use)
    for name in air.tanks:
        yield from _end_of_plan(name, plan)
        if context.facts:
            yield from _volume(context, name, plan)
    if context.facts:
        yield from _layout(context, plan)


def _ratings(context: Context) -> Iterator[Outcome]:
    """The charge against the rated pressure of the weakest part on each tank."""
    air, classes = context.robot.air, context.robot.catalogue
    for name, tank in air.tanks.items():
        charge = air.supply.charge if tank.charge is None else tank.charge
        behind = charge if tank.regulator is None else tank.regulator
        parts: list[tuple[str, Real, Real]] = [("the tank itself", charge, classes.tanks[tank.tank].rated_pressure)]
        for user, cylinder in air.cylinders.items():
            if cylinder.tank == name:
                parts.append((f"cylinder '{user}'", behind, classes.cylinders[cylinder.cylinder].rated_pressure))
        part, value, limit = min(parts, key=lambda p: first(p[2]) - first(p[1]))
        yield Outcome(
            "air.rating", f"tank {name}", value, limit, "pressure",
            Message("The weakest part on tank '{tank}' is {part}: it gets {value} and is rated for {limit}.",
                    "The weakest part on tank '{tank}', {part}, gets {value} and is rated for {limit}: do not "
                    "charge it.",
                    {"value": (value, "pressure"), "limit": (limit, "pressure")}, {"part": part, "tank": name}),
            "at most",
        )  # fmt: skip


def _pressure(context: Context, use: AirUse, plan: PlanAir) -> Iterator[Outcome]:
    """The lowest pressure with which it is filled along the plan, against what it needs, on its worse way."""
    key = f"air.cylinders.{use.name}"
    if use.needs_gauge is None:
        because = (
            f"The pressure that cylinder '{use.name}' needs is not known: give its load or the pressure it fails at."
        )
        yield unknown("air.pressure", f"cylinder {use.name}", "pressure", because, (f"{key}.needs", f"{key}.push_load"))
        return
    if max(first(need) for need in use.needs_gauge) >= ENDLESS:
        because = f"At some place of its way no pressure of cylinder '{use.name}' moves its mechanism: that is its "
        because += "geometry, and no more air mends it."
        yield unknown("air.pressure", f"cylinder {use.name}", "pressure", because, ("mechanisms",))
        return
    hindered = state.undrivable(context) if use.name in planned(context) else ""
    if hindered and use.name not in plan.lowest:
        because = f"The plan does not get to cylinder '{use.name}': {hindered}, so its lowest pressure is not known."
        yield unknown("air.pressure", f"cylinder {use.name}", "pressure", because, ("plan",), state.UNDRIVABLE)
        return
    if use.name not in plan.lowest:
        because = f"The plan never uses cylinder '{use.name}', so its lowest pressure is not known."
        yield unknown("air.pressure", f"cylinder {use.name}", "pressure", because, ("actions", "plan"))
        return
    worst = worse_way(context, use, plan)
    if hindered and first(worst.gauge) >= first(worst.need):
        because = f"The plan stops half-way: {hindered}, so the lowest pressure of cylinder '{use.name}' is not known."
        yield unknown("air.pressure", f"cylinder {use.name}", "pressure", because, ("plan",), state.UNDRIVABLE)
        return
    words = {"name": use.name, "tank": use.tank, "when": worst.when, "way": _WAYS[worst.way]}
    does = "going {way} in {when}, it gets {value} from tank '{tank}' and needs {need}."
    if worst.kept:
        does = "holding what it moved {way}, it has {value} from tank '{tank}' {when} and needs {need}."
    numbers: dict[str, tuple[Real, str]] = {"value": (worst.gauge, "pressure"), "need": (worst.need, "pressure")}
    message = Message(
        "Cylinder '{name}' has enough air: " + does, "Cylinder '{name}' lacks air: " + does, numbers, words
    )
    worked = () if worst.kept else (_drawn(context, use, plan, worst),)
    yield Outcome(f"air.pressure.{use.name}", f"cylinder {use.name}", worst.gauge, worst.need, "pressure", message,
                  sources=_SOURCES, worked=worked)  # fmt: skip


def _drawn(context: Context, use: AirUse, plan: PlanAir, worst: Worst) -> Worked:
    """What the stroke leaves in the tank, with the numbers put in; absolute pressures."""
    draw, outside = use.draws[worst.way], state.p_atm(context)
    filled = worst.gauge + outside
    numbers: dict[str, tuple[Real, str]] = {
        "p": (plan.lowest[use.name][worst.way].before, "pressure"), "p_\"atm\"": (outside, "pressure"),
        "p_\"fill\"": (filled, "pressure"), "V_\"after\"": (draw.V_after, "volume"),
        "V_\"before\"": (draw.V_before, "volume"), "V_\"tank\"": (use.circuit.volume, "volume"),
    }  # fmt: skip
    if first(use.circuit.p_set) > 1.000001 * first(filled):  # without a regulator in between it is the tank's own
        numbers["p'"] = (filled, "pressure")
    return Worked("draw", numbers)


def _return(use: AirUse) -> Iterator[Outcome]:
    """Whether its spring draws the load of a spring-return cylinder back."""
    if use.cylinder.double_acting:
        return
    back = [np.max(load.force, axis=0) for load in use.asked if load.way == 1]
    load = use.spec.pull_load if first(use.spec.pull_load) > 0.0 or not back else reduce(np.maximum, back)
    spring = use.spring_back
    numbers = {"spring": (spring, "force"), "load": (load, "force")}
    text = "Cylinder '{name}' is drawn back by its spring with {spring}, friction of the seals taken off"
    if first(use.spec.pull_load) == 0.0 and not back:
        message = Message(text + "; nothing is said to hold it.", "", numbers, {"name": use.name})
        yield Outcome(f"air.return.{use.name}", f"cylinder {use.name}", spring, None, "force", message)
        return
    holds = text + ("; {load} holds it." if first(load) > 0.0 else "; its load helps.")
    stays = "Cylinder '{name}' stays out: its spring draws it back with {spring} only, and {load} holds it."
    message = Message(holds, stays, numbers, {"name": use.name})
    scale = np.maximum(np.maximum(load, 0.1 * spring), 1e-3)
    yield Outcome(f"air.return.{use.name}", f"cylinder {use.name}", spring, load, "force", message, scale=scale,
                  sources=("meriam_statics",))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Worst:
    """Where a cylinder has least pressure to spare.

    Attributes
    ----------
    gauge, need : Gauge pressure that it has and needs, of the worst way in each case [Pa]
    way : 0 out, 1 back, of the nominal case
    when : In words
    kept : Whether it is what it holds after its stroke
    """

    gauge: Array
    need: Array
    way: int
    when: str
    kept: bool


def worse_way(context: Context, use: AirUse, plan: PlanAir) -> Worst:
    """Find the way on which a cylinder has least to spare: on its strokes, or holding on after one."""
    assert use.needs_gauge is not None, "asked for where the need is known"
    ways = [(low.gauge, _servable(need), way, low.when, False)
            for low, need, way in zip(plan.lowest[use.name], use.needs_gauge, range(2), strict=False)]  # fmt: skip
    low = lowest_after(context, use.name)
    ways += [(low.gauge, _servable(need), way, low.when, True) for way, need in use.keeps_gauge.items()]
    together = np.stack(np.broadcast_arrays(*(way[0] for way in ways), *(way[1] for way in ways)))
    gauge, need = together[: len(ways)], together[len(ways) :]
    # of ways that get no air at all the one that needs most is told
    spare = (gauge - need) / np.maximum(need, 1.0) - 1e-9 * need / np.maximum(need.max(axis=0), 1.0)
    worst = np.argmin(spare, axis=0)[None]
    had, asked = (np.take_along_axis(each, worst, axis=0)[0] for each in (gauge, need))
    return Worst(had, asked, *ways[int(first(worst[0]))][2:])


def _servable(need: Real) -> Real:
    """What is asked of the air: nothing in cases in which no pressure moves the mechanism, which its geometry says."""
    return np.where(np.asarray(need) >= ENDLESS, 0.0, need)


def _count(context: Context, use: AirUse) -> Iterator[Outcome]:
    """How often it can be used from a full tank that nothing else draws from."""
    if use.needs_gauge is None or max(first(need) for need in use.needs_gauge) >= ENDLESS:
        return
    cycles = context.once("cycles", lambda: _cycles(context))[use.name]
    often = {0: "cannot go out and back even once", 1: "can go out and back once"}
    ways = often.get(int(first(cycles)), "can go out and back {count} times")
    message = Message(f"From a full tank that nothing else uses, cylinder '{{name}}' {ways}.", "",
                      {"count": (cycles, "count")}, {"name": use.name})  # fmt: skip
    yield Outcome(f"air.strokes.{use.name}", f"cylinder {use.name}", cycles, None, "ratio", message, sources=_SOURCES)


def _cycles(context: Context) -> dict[str, Array]:
    """How often each cylinder works from a full tank of its own; those with as many ways are counted together."""
    uses = [use_of(context, name) for name in context.robot.air.cylinders]
    found: dict[str, Array] = {}
    for ways in {len(use.draws) for use in uses}:
        mine = [use for use in uses if len(use.draws) == ways]
        charge, volume = (stacked([getattr(use.circuit, name) for use in mine]) for name in ("p_charge", "volume"))
        draws = [together([use.draws[way] for use in mine]) for way in range(ways)]
        p_atm = np.asarray(state.p_atm(context))[None]
        said = [np.asarray(part) for d in draws for part in (d.V_before, d.V_after, d.p_set, d.p_need)]
        charge, volume, p_atm, *said = aligned([charge, volume, p_atm, *said])
        draws = [Draw(*said[4 * way : 4 * way + 4]) for way in range(ways)]
        counts = draws_before_short(charge, volume, draws, p_atm)
        found |= {use.name: np.floor(count / ways) for use, count in zip(mine, counts, strict=True)}
    return found


def _times(context: Context, use: AirUse) -> Iterator[Outcome]:
    """Time of the slower stroke: of air at the lowest pressure of the plan, of a spring from the fullest tank of it."""
    times = [stroke_time(context, use.name, way) for way in (0, 1)]
    slower = max(times, key=first)
    limit = use.spec.time_limit
    words = {"name": use.name, "way": "out" if slower is times[0] else "back"}
    spring = slower is times[1] and not use.cylinder.double_acting
    words["by"] = " by its spring" if spring else ""
    at = ", filled from the fullest tank of the plan" if spring else f" {pressed(context, use.name)}"
    numbers = {"value": (slower, "time")} | ({"limit": (limit, "time")} if limit is not None else {})
    stuck = "Cylinder '{name}' cannot move its load {way}{by}" + ("." if spring else f"{at}.")
    late = f"Cylinder '{{name}}' takes {{value}} to go {{way}}{{by}}{at}"
    if limit is None:
        message = Message(f"{late}." if np.isfinite(first(slower)) else stuck, "", numbers, words)
        yield Outcome(f"air.time.{use.name}", f"cylinder {use.name}", slower, None, "time", message, sources=_SOURCES)
        return
    short = f"{late}, longer than the {{limit}} wanted." if np.isfinite(first(slower)) else stuck
    message = Message(f"{late}; at most {{limit}}.", short, numbers, words)
    yield Outcome(
        f"air.time.{use.name}", f"cylinder {use.name}", slower, limit, "time", message, "at most", sources=_SOURCES
    )


def _end_of_plan(name: str, plan: PlanAir) -> Iterator[Outcome]:
    if name not in plan.end_gauge:
        return
    numbers = {"end": (plan.end_gauge[name], "pressure"), "fast": (plan.fast_gauge[name], "pressure")}
    message = Message("Tank '{name}' has {end} left after the plan; right after fast use its gauge would read {fast}.",
                      "", numbers, {"name": name})  # fmt: skip
    yield Outcome(f"air.tank.{name}", f"tank {name}", plan.end_gauge[name], None, "pressure", message, sources=_SOURCES)


def _volume(context: Context, name: str, plan: PlanAir) -> Iterator[Outcome]:
    """The smallest tank that serves every draw of the plan on it, charged as it is."""
    users = {user for user, spec in context.robot.air.cylinders.items() if spec.tank == name}
    outside = state.p_atm(context)
    draws = [replace(drawn.draw, p_need=outside + _servable(drawn.draw.p_need - outside))
             for drawn in (*plan.draws, *plan.kept) if drawn.name in users]  # fmt: skip
    if not draws or all(use_of(context, user).needs_gauge is None for user in users):
        return
    circuit = state.circuits(context)[name]
    needed = volume_needed(circuit.p_charge, draws, outside)
    enough = "Tank '{name}' needs a volume of {needed} to serve every stroke of the plan, leaks aside; it has {own}."
    never = "No size of tank '{name}' serves the plan: a stroke needs more pressure than charge or regulator give."
    numbers = {"needed": (needed, "volume"), "own": (circuit.volume, "volume")}
    message = Message(enough if np.isfinite(first(needed)) else never, "", numbers, {"name": name})
    yield Outcome(f"air.volume.{name}", f"tank {name}", needed, None, "volume", message, sources=("cengel",))


def _layout(context: Context, plan: PlanAir) -> Iterator[Outcome]:
    best = best_layout(context, plan)
    if best is None or len(context.robot.air.tanks) < 2:
        return
    groups: dict[str, list[str]] = {}
    for user, tank in best.tanks.items():
        groups.setdefault(tank, []).append(user)
    quoted = {tank: ", ".join(f"'{user}'" for user in users) for tank, users in groups.items()}
    heads = {tank: "the joined tanks" if tank == "joined" else f"tank '{tank}'" for tank in quoted}
    listed = "; ".join(f"{heads[tank]} for {users}" for tank, users in quoted.items())
    text = "The best layout of cylinders is {layout}. Its worst margin is {best}, that of the present one {now}."
    if best.margin <= best.now + 1e-9:
        text = "The layout of cylinders on tanks is the best one; its worst margin is {now}."
    blind = [user for user in best.tanks if use_of(context, user).needs_gauge is None]
    if blind:
        are = "need is not known: their air is counted, but they are" if len(blind) > 1 else ""
        are = are or "needs is not known: its air is counted, but it is"
        text += f" What {', '.join(blind)} {are} never the worst."
    numbers = {"best": (best.margin, "count"), "now": (best.now, "count")}
    message = Message(text, "", numbers, {"layout": listed})
    yield Outcome("air.layout", "robot", best.margin, None, "ratio", message, sources=("cengel", "practice"))
