"""What a clamp holds against a rival's pull, with the air that the plan leaves it and without any."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.finding import Message, Outcome, called, first, unknown
from fieldworthy.engine.system import Context, RodLoad
from fieldworthy.physics.contact import clamp as clamping
from fieldworthy.physics.gas.tank import fill_pressure
from fieldworthy.physics.statics.support import STANDARD_GRAVITY
from fieldworthy.systems.clamp.model import Clamp, Rival, Toggle
from fieldworthy.vehicle import state
from fieldworthy.vehicle.supply import AirUse, air_along_plan, use_of


@dataclass(frozen=True, slots=True)
class Low:
    """The least air that a cylinder has from its first stroke in the plan on.

    Attributes
    ----------
    gauge : Gauge pressure [Pa]
    when : In words
    """

    gauge: Real
    when: str


def lowest_after(context: Context, name: str) -> Low:
    """Find the lowest pressure behind a cylinder from its first stroke to the end of the plan."""
    use, plan = use_of(context, name), air_along_plan(context)
    begins = next((d.time for d in plan.draws if d.name == name), None)
    if begins is None:
        full = fill_pressure(use.circuit.p_charge, use.circuit.p_set) - state.p_atm(context)
        return Low(full, "at the full charge, as the plan does not use it")
    times = plan.times[use.tank]
    later = [i for i, time in enumerate(times) if time >= begins]
    worst = min(later, key=lambda i: first(plan.gauge[use.tank][i]))
    gauge = plan.gauge[use.tank][worst] + state.p_atm(context)
    return Low(fill_pressure(gauge, use.circuit.p_set) - state.p_atm(context), f"at {times[worst]:.0f} s of the plan")


def rod_force(use: AirUse, way: int, gauge: Real) -> tuple[Real, Real]:
    """Take the force of a cylinder's rods at a pressure, friction of the seals taken off."""
    area = use.cylinder.piston_area if way == 0 else use.cylinder.ring_area
    per = area * use.efficiency * use.spec.count
    return np.maximum(per * gauge - returning(use, way), 0.0), per


def returning(use: AirUse, way: int) -> Real:
    """Take the force of the return springs at the end of the way out."""
    return use.cylinder.spring_force(use.cylinder.stroke) * use.spec.count if way == 0 else 0.0


def rods(context: Context) -> Iterator[RodLoad]:
    """What every clamp asks of its rods: to hold against a rival's pull, or to get its knee through the centre."""
    for spec in context.robot.mechanisms.values():
        if not isinstance(spec, Clamp):
            continue
        way = 0 if spec.working == "out" else 1
        if spec.toggle is not None:
            yield RodLoad.held(spec.cylinder, way, _peak(spec.toggle) / spec.efficiency)
        elif spec.rival is not None:
            per = spec.efficiency / spec.lever
            gain = clamping.hook_gain(np.minimum(spec.face, 0.5 * np.pi), spec.friction)
            # a pressure per pascal of one newton is a force
            force = clamping.slip_pressure(_pull(spec.rival), per, spec.spring, gain, spec.seat_friction)
            if np.isfinite(first(force)):
                yield RodLoad.held(spec.cylinder, way, force)


def _peak(toggle: Toggle) -> Array:
    """Force at the knee that takes it through the centre."""
    return np.asarray(
        clamping.over_centre_peak(toggle.preload, toggle.stiffness, toggle.past, toggle.link, toggle.other)
    )


def _pull(rival: Rival) -> Array:
    """What a rival pulls with at the limit of its wheels' grip."""
    return np.asarray(rival.mass * STANDARD_GRAVITY * rival.grip)


def holds(context: Context, name: str, spec: Clamp) -> Iterator[Outcome]:
    """Judge what a clamp holds."""
    use, low = use_of(context, spec.cylinder), lowest_after(context, spec.cylinder)
    way = 0 if spec.working == "out" else 1
    per = rod_force(use, way, 0.0)[1] * spec.efficiency / spec.lever
    spring = spec.spring - returning(use, way) * spec.efficiency / spec.lever
    gain = clamping.hook_gain(np.minimum(spec.face, 0.5 * np.pi), spec.friction)
    down = clamping.jaw_force(low.gauge, per, spring) if spec.toggle is None else spec.toggle.preload
    if spec.toggle is not None:
        yield from _locks(name, spec.toggle, rod_force(use, way, low.gauge)[0] * spec.efficiency, low)
    if spec.rival is None:
        yield unknown("clamp.hold." + name, name, "force", f"How hard a rival pulls at what "
                                                           f"{called('clamp', name)} holds is not known.",
                      (f"mechanisms.{name}.rival",))  # fmt: skip
        return
    pull = _pull(spec.rival)
    yield _hold(name, spec, (down, clamping.holding_force(down, gain, spec.seat_friction), pull), low)
    if spec.toggle is None:
        slips = clamping.slip_pressure(pull, per, spring, gain, spec.seat_friction)
        yield _slip(name, spec, (slips, use.needs_gauge[way] if use.needs_gauge else slips), pull, low)


def _hold(name: str, spec: Clamp, forces: tuple[Real, Real, Real], low: Low) -> Outcome:
    down, held, pull = forces
    numbers: dict[str, tuple[Real, str]] = {
        "down": (down, "force"), "held": (held, "force"), "pull": (pull, "force"), "low": (low.gauge, "pressure")
    }  # fmt: skip
    on = "pressing with {down} on the {low} that is left {when}" if spec.toggle is None else (
        "pressing with {down}, locked over centre, whatever the air"
    )  # fmt: skip
    much = "holds whatever pulls, until something bends," if not np.isfinite(first(held)) else "holds {held},"
    message = Message(
        f"{{clamp}} {much} {on}; a rival at the limit of its wheels' grip pulls with {{pull}}.",
        f"{{clamp}} lets go of the {{object}}: it {much} {on}, and a rival at the limit of its wheels' grip pulls with "
        "{pull}. A steeper hook, more grip, a larger bore or an over-centre lock helps.",
        numbers,
        {"when": low.when, "clamp": called("clamp", name), "object": spec.object},
    )
    return Outcome(f"clamp.hold.{name}", name, held, pull, "force", message, sources=("meriam_statics", "practice"))


def _slip(name: str, spec: Clamp, pressures: tuple[Real, Real], pull: Real, low: Low) -> Outcome:
    """Tell below which pressure it fails: where it slips, or where it does not close or was found to fail."""
    slips, fails = pressures
    numbers: dict[str, tuple[Real, str]] = {
        "slips": (slips, "pressure"), "low": (low.gauge, "pressure"), "pull": (pull, "force"),
        "fails": (fails, "pressure"),
    }  # fmt: skip
    text = "{clamp} slips below {slips} under a pull of {pull}"
    if first(slips) <= 0.0:
        by = "springs" if first(spec.spring) > 0.0 else "hook"
        text = "{clamp} holds a pull of {pull} by its " + by + " alone, without air"
    elif not np.isfinite(first(slips)):
        text = "{clamp} holds a pull of {pull} at no pressure"
    if np.isfinite(first(slips)) and abs(first(fails) - first(slips)) > 1e-6 * max(first(fails), 1.0):
        text += " and fails below {fails}, by what the file says of its cylinder"
    text += "; its lowest pressure is {low}, {when}" if np.isfinite(first(slips)) and first(fails) > 0.0 else ""
    told = np.where(np.isfinite(slips), fails, slips)
    return Outcome(f"clamp.slip.{name}", name, told, None, "pressure",
                   Message(text + ".", "", numbers, {"when": low.when, "clamp": called("clamp", name)}),
                   sources=("meriam_statics",))  # fmt: skip


def _locks(name: str, toggle: Toggle, force: Real, low: Low) -> Iterator[Outcome]:
    """Whether the toggle stays locked without air, and whether the cylinder brings it past its centre."""
    kept = clamping.over_centre_release(toggle.preload, toggle.past, toggle.link, toggle.other, toggle.stop_force)
    numbers: dict[str, tuple[Real, str]] = {
        "kept": (kept, "force"), "past": (toggle.past, "length"), "preload": (toggle.preload, "force"),
    }  # fmt: skip
    message = Message(
        "The knee of {clamp} stands {past} past the centre: without air it takes {kept} to unlock it.",
        "The knee of {clamp} stands {past} past the centre: without air nothing keeps it locked. Set the stop farther "
        "past.",
        numbers,
        {"clamp": called("clamp", name)},
    )
    # what it takes to lift the knee by hand is not asked: any force above that of a bump, a newton, keeps it
    yield Outcome(f"clamp.lock.{name}", name, kept, 1.0, "force", message, sources=("meriam_statics", "practice"))
    peak = _peak(toggle)
    numbers = {"force": (force, "force"), "peak": (peak, "force"), "low": (low.gauge, "pressure")}
    message = Message(
        "The cylinder of {clamp} pushes the knee with {force} on the {low} that is left {when}; {peak} takes it "
        "through "
        "the centre.",
        "The cylinder of {clamp} does not lock the knee: it pushes with {force} on the {low} that is left {when}, and "
        "{peak} takes it through the centre.",
        numbers,
        {"when": low.when, "clamp": called("clamp", name)},
    )
    yield Outcome(f"clamp.centre.{name}", name, force, peak, "force", message, sources=("meriam_statics",))
