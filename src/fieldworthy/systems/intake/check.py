"""The intake: grip and torque of each stage, what happens where stages meet, throughput, and the staged hold."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, Worked, called, first, unknown
from fieldworthy.engine.system import MotorLoad
from fieldworthy.physics.contact import handover, rolling, timing
from fieldworthy.physics.contact.rolling import rim_force
from fieldworthy.systems.intake.mechanics import Row, Running, chains, geared_even, row_of, surface_ratio
from fieldworthy.systems.intake.model import Hold, Intake
from fieldworthy.vehicle.drivetrain import picked

_ALIKE = 0.1  # within a tenth counts as "about as well"
_SAME = 0.005  # less is not told of two speeds
_EVEN = 0.05  # surface speeds nearer than this are called even


def check(context: Context) -> Iterator[Outcome]:
    """Judge every intake of the robot."""
    for name, spec in context.robot.mechanisms.items():
        if not isinstance(spec, Intake):
            continue
        row = row_of(context, name)
        for stage in row.stages.values():
            yield from _stage(row, stage)
            yield from chains(context, row, stage)
        for pair in row.pairs():
            yield from _handover(row, *pair)
        yield from _throughput(row)
        yield from _fast_first(row)
        if spec.hold is not None:
            yield from _hold(row, spec.hold)


def _stage(row: Row, stage: Running) -> Iterator[Outcome]:
    """Speed, grip, width, and the motor's torque."""
    subject, ending = f"{row.name}, stage {stage.name}", f"{row.name}.{stage.name}"
    numbers: dict[str, tuple[Real, str]] = {
        "free": (stage.free, "angular speed"),
        "turning": (stage.turning, "angular speed"),
        "speed": (stage.speed, "speed"),
        "wide": (2.0 * rolling.rolling_radius(stage.surface.radius, stage.surface.squeeze), "length"),
        "diameter": (2.0 * stage.surface.radius, "length"),
    }
    text = "{stage} moves a piece at {speed}: it turns at {free} empty and at {turning} with a piece in it"
    if stage.spec.rollers is not None:
        text += ". Squeezed, its {diameter} rollers run as if {wide} across"
        if row.ball and stage.spec.rollers.against == "guide":
            rolls = first(np.asarray(stage.surface.share)) < 0.75
            text += ", and a ball rolls on its guide half as fast" if rolls else (
                ", and a ball slides on so smooth a guide, it does not roll"
            )  # fmt: skip
    words = {"stage": stage_of(row, stage)}
    message = Message(f"{text}.", "", numbers, words)
    radius = rolling.rolling_radius(stage.surface.radius, stage.surface.squeeze)
    worked = Worked("roller", {"R": (stage.surface.radius, "length"), "delta": (stage.surface.squeeze, "length"),
                               "R_e": (radius, "length")})  # fmt: skip
    yield Outcome(f"intake.speed.{ending}", subject, stage.speed, None, "speed", message,
                  sources=("hughes", "tyre-radius"),
                  worked=(worked,) if first(stage.surface.squeeze) > 0.0 else ())  # fmt: skip
    if stage.spec.rollers is not None:
        yield from _grip(row, stage, subject, ending)
    jam = rolling.held_torque(stage.surface)
    most = stage.motor.limit
    stalls = "stalls" if first(jam) > first(most) else "keeps slipping on it"
    jammed = f". On a jammed piece it {stalls} ({{jam}})" if stage.spec.rollers is not None else ""
    numbers = {"asked": (stage.asked, "torque"), "most": (most, "torque"), "jam": (jam, "torque")}
    message = Message(
        f"{{stage}} has {{most}} of torque at its motor, and a piece in every stage asks {{asked}}{jammed}.",
        "{stage} stalls: it has {most} of torque at its motor, and a piece in every stage asks {asked}. Gear it "
        "slower, "
        "squeeze less, or add a motor.",
        numbers,
        words,
    )
    yield Outcome(f"intake.stall.{ending}", subject, stage.asked, most, "torque", message, "at most",
                  sources=("hughes", "practice"))  # fmt: skip


def turned(context: Context) -> Iterator[MotorLoad]:
    """What every intake asks of its motors with a piece in every stage; of several, the one that is asked for most."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, Intake):
            for stage in row_of(context, name).stages.values():
                if stage.spec.motor is not None:
                    yield MotorLoad(name, stage.spec.motor, stage.asked / stage.motor.count)


def stage_of(row: Row, stage: Running) -> str:
    """Name a stage in a sentence."""
    return f"stage '{stage.name}' of {called('intake', row.name)}"


def _grip(row: Row, stage: Running, subject: str, ending: str) -> Iterator[Outcome]:
    surface, soft = stage.surface, stage.spec.rollers
    grip = surface.grip
    numbers = {"grip": (grip, "force"), "drag": (surface.drag, "force")}
    slips = (
        "{stage} slips: its rollers grip a piece with {grip}, and guide and slope hold it back with {drag}. A grippier "
        "roller or a smoother guide helps; more squeeze does not."
    )
    if first(grip) < first(np.asarray(surface.friction * surface.normal_force)):
        slips = (
            "{stage} does not move a ball up its slope: the ball takes {grip} from the rollers before it spins "
            "in place, "
            "and the slope asks {drag}. A grippier guide or more press helps."
        )
    words = {"stage": stage_of(row, stage)}
    grips = "{stage} grips a piece with {grip}; guide and slope hold it back with {drag}."
    message = Message(grips, slips, numbers, words)
    yield Outcome(f"intake.grip.{ending}", subject, grip, surface.drag, "force", message, sources=("practice",))
    if soft is not None and soft.width is not None:
        numbers = {"width": (soft.width, "length"), "across": (row.across, "length")}
        message = Message("{stage} has rollers {width} wide; a piece is {across} across.",
                          "{stage} has rollers {width} wide, and a piece is {across} across: it slips past their ends.",
                          numbers, words)  # fmt: skip
        yield Outcome(f"intake.width.{ending}", subject, soft.width, row.across, "length", message,
                      sources=("plane-geometry",))  # fmt: skip


def _handover(row: Row, here: Running, there: Running) -> Iterator[Outcome]:
    """Whether a piece gets across, and whether pieces pull apart or pile up."""
    distance = here.spec.to_next
    assert distance is not None, "every stage but the last has its distance"
    held = row.held(here, there)
    # from where it is taken hold of to where it is let go, and on from there by itself
    reach = held + distance + row.coasts(here, there)
    words, subject = {"here": here.name, "there": there.name}, f"{row.name}, {here.name} to {there.name}"
    numbers: dict[str, tuple[Real, str]] = {
        "far": (distance, "length"), "both": (np.abs(held), "length"), "reach": (reach, "length")
    }  # fmt: skip
    across = "The next takes hold while the first still holds the last {both}" if first(held) >= 0.0 else (
        "It coasts {both} that neither holds"
    )  # fmt: skip
    message = Message(
        f"A piece crosses the {{far}} from stage '{{here}}' to '{{there}}'. {across}; it gets as far as {{reach}}.",
        "A piece rests between the stages '{here}' and '{there}': they are {far} apart, and it gets only {reach} far. "
        "Move them closer.",
        numbers,
        words,
    )
    yield Outcome(f"intake.handover.{row.name}.{here.name}", subject, distance, reach, "length", message, "at most",
                  sources=("plane-geometry", "practice"))  # fmt: skip
    yield _meeting(row, here, there, held)


def _meeting(row: Row, here: Running, there: Running, held: Real) -> Outcome:
    """How the spacing of pieces changes where two stages meet, and which roller rubs."""
    slow = 1e-6  # m/s; a stage that stands still is judged under its torque
    v = np.maximum(here.speed, slow), np.maximum(there.speed, slow)
    pull, rub = handover.rubbing(held, v, (grip_of(here), grip_of(there)))
    rub = rub / here.surface.share  # a ball that rolls stays twice as long
    pair = handover.alongside(*v, row.closest(here), row.closest(there))
    closest = handover.feed_spacing(*pair)
    ratio = v[1] / v[0]
    numbers: dict[str, tuple[Real, str]] = {
        "ratio": (ratio, "count"), "closest": (closest, "length"), "rub": (rub, "length"),
        "force": (np.abs(pull), "force"), "here_v": (here.speed, "speed"), "there_v": (there.speed, "speed"),
    }  # fmt: skip
    times = "as fast" if abs(first(ratio) - 1.0) < _SAME else "{ratio} times as fast"
    start = f"Stage '{{there}}' ({{there_v}}) runs {times} as stage '{{here}}' ({{here_v}}): "
    if abs(first(ratio) - 1.0) <= _EVEN:
        text = "pieces neither pull apart nor pile up."
    elif first(ratio) > 1.0:
        text = "it pulls pieces apart."
    else:
        text = "pieces pile up there unless they come {closest} apart, nose to nose, in '{here}'."
    if first(rub) > 0.0 and abs(first(ratio) - 1.0) > _EVEN:
        text += " While both hold a piece the weaker roller rubs {rub} on it with {force}."
    return Outcome(f"intake.meeting.{row.name}.{here.name}", f"{row.name}, {here.name} to {there.name}", ratio, None,
                   "ratio", Message(start + text, "", numbers, {"here": here.name, "there": there.name}),
                   sources=("continuity", "practice"))  # fmt: skip


def grip_of(stage: Running) -> Real:
    """Find the force with which a stage grips a piece."""
    return stage.surface.friction * stage.surface.normal_force


def rate_of(row: Row) -> Real:
    """Pieces a second that a row passes on: nose to tail through rollers, one on each hook of a chain."""
    return handover.throughput(row.speeds(), row.lengths())


def _throughput(row: Row) -> Iterator[Outcome]:
    rate = rate_of(row)
    slowest = list(row.stages)[int(np.asarray(handover.limiting_stage(row.speeds(), row.lengths())).flat[0])]
    wanted = row.spec.throughput
    close = "one on each hook" if row.stages[slowest].spec.hooks is not None else "nose to tail"
    if wanted is None:
        because = f"How many pieces a second {called('intake', row.name)} must take in is not known."
        yield unknown("intake.throughput", row.name, "frequency", because, (f"mechanisms.{row.name}.throughput",))
        return
    numbers = {"rate": (rate, "count"), "wanted": (wanted, "count"), "length": (row.length, "length")}
    words = {"slowest": slowest, "close": close, "intake": called("intake", row.name)}
    message = Message(
        "{intake} passes {rate} pieces a second, {close}, through '{slowest}', its slowest stage; {wanted} are wanted.",
        "{intake} passes only {rate} pieces a second, {close}, through '{slowest}', its slowest stage; {wanted} are "
        "wanted. Only a faster '{slowest}' helps.",
        numbers,
        words,
    )
    yield Outcome(
        f"intake.throughput.{row.name}", row.name, rate, wanted, "frequency", message, sources=("continuity",)
    )


def _pickup(row: Row) -> tuple[Real, Real]:
    """Rate at which it picks up from a heap, and the time in which the first stage draws one in."""
    one = next(iter(row.stages.values()))
    force = np.minimum(grip_of(one), rim_force(one.surface, one.motor.limit)) - one.surface.drag
    soft = one.spec.rollers
    if soft is not None:
        # one that starts to roll is pushed by its guide too, by 3/7 of the roller's force if that grips so much
        guide = np.minimum(3.0 / 7.0 * np.maximum(force, 0.0), soft.guide_friction * soft.press)
        force = force + np.where(np.asarray(one.surface.share) < 0.75, guide, 0.0)
    if one.spec.hooks is not None:
        force = rim_force(one.surface, one.motor.limit) - one.surface.drag
    time = handover.swallow_time(row.length, one.speed, force, row.mass)
    return handover.pickup_rate(time, rate_of(row)), time


def _fast_first(row: Row) -> Iterator[Outcome]:
    """The trade's word on a first stage that runs faster than the next."""
    pairs = row.pairs()
    if not pairs or pairs[0][0].spec.rollers is None:
        return
    one, two = pairs[0]
    times = surface_ratio(one, two)
    if first(times) < 1.0 + _EVEN:
        return
    (rate, draw), (even, even_draw) = _pickup(row), _pickup(geared_even(row))
    gain = np.divide(rate, np.maximum(even, 1e-9))
    through = rate_of(row)
    limit = "the hand-over: the row passes no more" if first(rate) >= first(through) * (1 - 1e-9) else (
        "drawing in a piece that lies still, not the hand-over, which would pass {through}"
    )  # fmt: skip
    off = first(gain) - 1.0
    word = "the computing agrees, to {share}" if abs(off) <= _ALIKE else (
        "the computing says {share} more" if off > 0.0 else "the computing says {share} less"
    )  # fmt: skip
    numbers: dict[str, tuple[Real, str]] = {
        "times": (times, "count"), "rate": (rate, "count"), "even": (even, "count"), "draw": (draw, "time"),
        "even_draw": (even_draw, "time"), "through": (through, "count"), "share": (np.abs(gain - 1.0), "share"),
    }  # fmt: skip
    message = Message(
        f"The first stage '{{one}}' of {{intake}} runs {{times}} times as fast as '{{two}}' and picks up "
        f"{{rate}} pieces "
        f"a second (one in {{draw}}). Geared even, it would pick up {{even}} (one in {{even_draw}}). What limits it is "
        f"{limit}. Common practice, no source: a first stage at twice the speed picks up about as well as an even one; "
        f"{word}.",
        "",
        numbers,
        {"one": one.name, "two": two.name, "intake": called("intake", row.name)},
    )
    yield Outcome(
        f"intake.fast_first.{row.name}", row.name, gain, None, "ratio", message, sources=("practice", "continuity")
    )


def hold_stops(row: Row, hold: Hold) -> tuple[timing.Stop, timing.Stop, timing.Path]:
    """Say how the two stages of a staged hold stop, and where things lie along its path."""
    upper = row.stages[hold.stage]
    lower = next(a for a, b in row.pairs() if b is upper)
    slow = 1e-6  # m/s; a stage that stands still is judged under its torque
    down = hold.deceleration if hold.lower_deceleration is None else hold.lower_deceleration
    spacing = row.spacing(lower) if hold.spacing is None else np.maximum(hold.spacing, row.length)
    # what the file gives is the stage's; a ball that rolls slows half as fast
    slows = hold.deceleration * upper.surface.share, down * lower.surface.share
    below = np.maximum(row.length if hold.below is None else np.maximum(hold.below, row.length), hold.handover)
    return (
        timing.Stop(np.maximum(upper.speed, slow), hold.period, hold.latency, slows[0]),
        timing.Stop(np.maximum(lower.speed, slow), hold.period, hold.latency, slows[1]),
        timing.Path(row.length, np.maximum(spacing, row.length), below, hold.handover, hold.room, hold.run_on),
    )


def one_motor(row: Row, hold: Hold) -> bool:
    """Whether the two stages of a staged hold are turned by one motor, so that neither runs on alone."""
    names = list(row.stages)
    before = names[names.index(hold.stage) - 1]
    return row.spec.driver(hold.stage) == row.spec.driver(before)


def _tied(row: Row, hold: Hold, stops: tuple[timing.Stop, timing.Stop], path: timing.Path) -> Iterator[Outcome]:
    """A hold whose stages share a motor: the second stays where it is as the first stops."""
    upper, lower = stops
    names = list(row.stages)
    subject = f"{row.name}, stage {hold.stage}"
    words = {"stage": hold.stage, "before": names[names.index(hold.stage) - 1]}
    text = (
        "Stages '{before}' and '{stage}' share one motor: '{before}' cannot run on to bring a second piece while "
        "'{stage}' stops, at no speed. Give one of them a motor of its own."
    )
    message = Message("", text, {"speed": (upper.speed, "speed")}, words)
    yield Outcome(f"intake.hold_speed.{row.name}", subject, upper.speed, 0.0, "speed", message, "at most",
                  scale=upper.speed, sources=("practice",))  # fmt: skip
    ran = timing.stop_distance(upper, 0.5)
    behind = path.below - timing.head_start(upper.speed, lower.speed, path) - ran * lower.speed / upper.speed
    gap = ran + behind - path.length
    text = (
        "The first piece rests {first} past its sensor; as both stages stop together, the second rests "
        "{second} before it."
    )
    numbers: dict[str, tuple[Real, str]] = {"first": (ran, "length"), "second": (behind, "length")}
    yield Outcome(f"intake.hold_rest.{row.name}", subject, gap, None, "length", Message(text, "", numbers, words),
                  sources=("stopping-sight",))  # fmt: skip


def _failing(upper: timing.Stop, lower: timing.Stop, path: timing.Path) -> tuple[str, dict[str, tuple[Real, str]]]:
    """Say what goes wrong first at the worst moment of a reading, and the numbers of it; nominal."""
    one, two, way = picked(upper), picked(lower), picked(path)
    rest = timing.simulate(one, two, way, np.linspace(0.0, 1.0, 65))
    ran, second, gap = np.asarray(rest.first), np.asarray(rest.second), np.asarray(rest.gap)
    if not (np.isfinite(ran).all() and np.isfinite(second).all()):
        return "a piece can pass a sensor unread", {}
    if ran.max() > way.room:
        return "the first may run on by {longest}, and there is {room} of room", {}
    if second.max() > -way.handover:
        numbers: dict[str, tuple[Real, str]] = {
            "stops": (np.maximum(-second.max(), 0.0), "length"), "takes": (way.handover, "length")
        }  # fmt: skip
        return "the second may come as near as {stops}, and is taken over from {takes} on", numbers
    return "the second may push the first on by {push}", {"push": (np.maximum(-gap.min(), 0.0), "length")}


def _sensors(row: Row, below: Real, subject: str, words: dict[str, str]) -> Outcome:
    """Whether the lower sensor is far enough back for the first piece to have left it."""
    numbers: dict[str, tuple[Real, str]] = {"below": (below, "length"), "length": (row.length, "length")}
    message = Message(
        "The lower sensor of {intake} is {below} before the upper one; a piece, {length} long, has left it by then.",
        "The lower sensor of {intake} is {below} before the upper one, less than a piece is long ({length}): it sees "
        "the first piece again. Move it back.",
        numbers,
        words,
    )
    return Outcome(f"intake.hold_sensors.{row.name}", subject, below, row.length, "length", message,
                   sources=("plane-geometry",))  # fmt: skip


def _stopped(stop: timing.Stop, share: float) -> Worked:
    """How far a piece runs on that is read with a share of the time between readings gone by."""
    numbers: dict[str, tuple[Real, str]] = {
        "d": (timing.stop_distance(stop, share), "length"), "v": (stop.speed, "speed"), "phi": (share, "ratio"),
        "T_s": (stop.sample_period, "time"), "t": (stop.latency, "time"), "a": (stop.deceleration, "acceleration"),
    }  # fmt: skip
    return Worked("stop", numbers)


def _hold(row: Row, hold: Hold) -> Iterator[Outcome]:
    """Where both objects rest, and up to which speed of the stage that holds for every moment of a reading."""
    upper, lower, path = hold_stops(row, hold)
    subject, words = f"{row.name}, stage {hold.stage}", {"stage": hold.stage}
    words["intake"] = called("intake", row.name)
    if hold.below is not None:
        yield _sensors(row, hold.below, subject, words)
    if one_motor(row, hold):
        yield from _tied(row, hold, (upper, lower), path)
        return
    limit = timing.hold_limit_speed(upper, lower, path)
    numbers: dict[str, tuple[Real, str]] = {
               "speed": (upper.speed, "speed"), "limit": (limit, "speed"), "room": (hold.room, "length"),
               "longest": (timing.stop_distance(upper, 1.0), "length")}  # fmt: skip
    failing, more = _failing(upper, lower, path)
    one, mend = "", "Slow it, read more often, or brake harder."
    if hold.run_on is not None:
        one = ", with one sensor and {on} by the clock"
        mend = "Slow it, let the stage before run on for less, or give it a sensor."
        numbers["on"] = (hold.run_on, "time")
    message = Message(
        f"{{intake}} holds two pieces reliably up to {{limit}} in stage '{{stage}}'{one}; the stage runs at {{speed}}. "
        "The first piece stops within {longest} of its sensor; there is {room} of room.",
        f"{{intake}} holds two pieces reliably only up to {{limit}}{one}, and stage '{{stage}}' runs at {{speed}}: "
        f"{failing}. {mend}",
        numbers | more,
        words,
    )
    yield Outcome(f"intake.hold_speed.{row.name}", subject, upper.speed, limit, "speed", message, "at most",
                  sources=("stopping-sight",), worked=(_stopped(upper, 1.0),))  # fmt: skip
    rest = timing.simulate(upper, lower, path, 0.5)
    numbers = {"first": (rest.first, "length"), "second": (np.negative(rest.second), "length"),
               "gap": (np.abs(rest.gap), "length"),
               "spread": (timing.stop_moments(upper)[1], "length")}  # fmt: skip
    seen = np.isfinite(first(rest.gap))
    space = "{gap} are left between them" if first(rest.gap) >= 0.0 else "it pushes the first on by {gap}"
    text = "The first piece rests {first} past its sensor (give or take {spread}, by when it is read), the second "
    text += f"{{second}} before it; {space}."
    if first(rest.second) > -first(path.handover):
        text = "The first piece rests {first} past its sensor; the second is not stopped before '{stage}' takes it too."
    elif hold.run_on is not None:
        text += " Nothing sees the second: it rests as much farther back as it comes later."
    if not seen:
        text = "A piece passes a sensor of {intake} unread at this speed and runs on."
    yield Outcome(f"intake.hold_rest.{row.name}", subject, rest.gap, None, "length", Message(text, "", numbers, words),
                  sources=("stopping-sight",), worked=(_stopped(upper, 0.5),))  # fmt: skip
