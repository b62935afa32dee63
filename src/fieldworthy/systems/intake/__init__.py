"""Intakes: rollers and hooked chains in stages."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fieldworthy.engine.finding import DisplayUnits, Report
from fieldworthy.engine.system import Constants, Cost, Found, Numbers, Page, Stated, System, View, later
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical
from fieldworthy.robot.starter import Begun, word
from fieldworthy.systems.intake.check import check as judge
from fieldworthy.systems.intake.check import turned
from fieldworthy.systems.intake.model import Intake

_MOTOR = "smart motor, 11 W class, 600 rpm"


def _rollers(room: Room, climb: float, **more: object) -> dict[str, object]:
    """A stage of rollers on a motor of its own."""
    rollers = {
        "diameter": room.of("length", 0.06),
        "squeeze": room.of("length", 0.006),
        "press": room.of("force", 6.0),
        "friction": room.ratio(0.8),
    }
    return {"motor": _MOTOR, "rollers": rollers, "climb": f"{climb:g} deg", **more}


def _put(room: Room, wanted: str, stages: dict[str, object]) -> KeyPath:
    x, y = room.reach
    room.part(wanted, 0.7, (x + 0.02, 0, 0.12), (0.12, 1.6 * y, 0.16))
    entry = {"kind": "intake", "object": room.thing(), "stages": stages}
    return ("mechanisms", room.add(("mechanisms",), wanted, entry))


def _two_stages(room: Room) -> KeyPath:
    front = _rollers(room, 20.0, to_next=room.of("length", 0.1))
    return _put(room, "intake", {"front": front, "rear": _rollers(room, 60.0)})


def _hook_chain(room: Room) -> KeyPath:
    chain = {"size": "04C", "teeth": [16, 16], "centre": room.of("length", 0.3)}
    hooks = {
        "chain": chain,
        "links_between": 22,
        "height": room.of("length", 0.025),
        "thickness": room.of("length", 0.006),
    }
    front = _rollers(room, 20.0, to_next=room.of("length", 0.1))
    return _put(room, "hook chain", {"front": front, "chain": {"motor": _MOTOR, "hooks": hooks, "climb": "75 deg"}})


SHELF = (
    Typical("two-stage intake", "Two rollers, each on a motor, that take an object in and hand it on.", _two_stages),
    Typical("hook chain", "A roller, then a chain with hooks that lifts objects one by one.", _hook_chain),
)


def numbers(_robot: Robot, report: Report, _shown: DisplayUnits) -> Numbers:
    """How every chain is built and tightened."""
    chains = [(f.subject, f.because.partition(". ")[0]) for f in report.facts if f.id.startswith("intake.chain_built.")]
    return Numbers(tensions=tuple(f"{subject}: {said[:1].lower()}{said[1:]}" for subject, said in chains))


def starter(begun: Begun) -> str:
    """Two stages on one motor; with them go the lines of a sorter and a grabber."""
    answers, of = begun.answers, begun.write.of
    if not begun.meets.objects:
        return ""
    thing, motor = word(begun.meets.objects[0]), word(answers.motor)
    rollers = (
        f"{{diameter: {of('length', 0.06)}, squeeze: {of('length', 0.006)}, press: {of('force', 6.0)}, friction: 0.8}}"
    )
    head = "" if answers.tanks else "#mechanisms:\n"
    return f"""\
# An intake with two stages on one motor, and a colour sorter behind it. Keep hands away from rollers, chains and
# ejectors while the robot is enabled. Take away the '#' in front of every line below to have them judged.
{head}#  intake:
#    kind: intake
#    object: {thing}
#    throughput: 2 Hz   # objects a second
#    stages:
#      front:
#        motor: {motor}
#        rollers: {rollers}
#        to_next: {of("length", 0.1)}
#      rear: {{shares: front, rollers: {rollers}}}
"""


def costs(robot: Robot) -> Iterator[Cost]:
    """A piece that a stage does not grip, turn under or take over is not taken in."""
    for name, spec in robot.mechanisms.items():
        if isinstance(spec, Intake):
            for stem in ("intake.grip", "intake.stall", "intake.handover"):
                yield Cost(f"{stem}.{name}", takes=spec.object)


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """Tubing that has gone slack holds no chain on its teeth."""
    found: dict[str, tuple[str, ...]] = {}
    for name, spec in robot.mechanisms.items():
        for stage in spec.stages if isinstance(spec, Intake) else ():
            for ending in (f"{name}.{stage}", f"{name}.{stage}.hooks"):
                found[f"intake.chain_jump.{ending}"] = (f"intake.chain_tubing.{ending}",)
    return found


SYSTEM = System(
    name="intake",
    package=__name__,
    shelf=SHELF,
    check=judge,
    turned=turned,
    costs=costs,
    follows=follows,
    starter=starter,
    families={"intake": "whether every piece is gripped, carried, handed over and stopped where it belongs"},
    kinds=(Intake,),
    page=Page(
        title="Intake",
        question="Does it grip, carry and hand over every piece, and stop two of them where they belong?",
        formulas=(
            ("roller", ""),
            ("stop", "intake.hold"),
            ("runon", "intake.hold.run_on"),
            ("sweep", "intake.stages.hooks.shaft_height"),
            ("idler", "intake.stages.chain.tubing"),
            ("climbs", "intake.stages.chain.tubing"),
            ("idler", "intake.stages.belt.tubing"),
        ),
        telling=("intake.hold_rest", "intake.chain_built"),
    ),
    figures=later("fieldworthy.systems.intake.figure:figures"),
    sketches=later("fieldworthy.systems.intake.figure:sketches"),
    numbers=numbers,
    view=View(
        name="intake",
        label="Intake and sorting",
        purpose="Objects moving through the stages, and how the sorter tells them apart.",
        caution="Rollers and chains pull fingers in: cut the power before you reach into an intake.",
        words=("vote", "slip", "stall"),
        empty="This robot has no intake and no sorter. In Build, add one under Mechanisms.",
    ),
    shown=later("fieldworthy.systems.intake.side:shown"),
    card={"intake": "{name}: rollers grip, belts or chains tight; one piece through."},
    spares=("chain links, roller or belt of the intake",),
    constants=Constants(
        (
            Stated(
                "mechanisms.*.hold.period",
                "{0}/hold period",
                "time between two readings of the sensors that hold pieces",
            ),
            Stated(
                "mechanisms.*.hold.run_on", "{0}/hold run on", "the stage before runs on so long once a piece is read"
            ),
            Stated("mechanisms.*.hold.latency", "{0}/hold latency", "from a reading until the stage brakes"),
            Stated("mechanisms.*.hold.deceleration", "{0}/hold deceleration", "how hard the stage brakes"),
        ),
        (
            Found("intake.speed.*", "speed", "{0}/speed", "speed of a piece in '{0}'"),
            Found(
                "intake.hold_speed.*", "limit", "{0}/hold speed most", "two pieces are held reliably up to this speed"
            ),
            Found("intake.hold_speed.*", "longest", "{0}/stop distance", "longest way from sensor to rest"),
            Found("intake.hold_rest.*", "first", "{0}/rest distance", "where the first piece rests past its sensor"),
        ),
    ),
)

__all__ = ["SYSTEM", "Intake"]
