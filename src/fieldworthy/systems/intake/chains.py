"""The chains of an intake: whole links, tensioner, unevenness; and hooks over the pieces already carried."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.engine.finding import Message, Outcome, called, first, unknown
from fieldworthy.physics.contact import handover
from fieldworthy.physics.motors import chain
from fieldworthy.systems.intake.mechanics import Row, Running
from fieldworthy.systems.intake.model import Chain as ChainDrive
from fieldworthy.systems.intake.model import Hooks, fewest_links

_SOURCES = ("iso606", "shigley")


def chains(row: Row, stage: Running) -> Iterator[Outcome]:
    """Judge the chains of one stage."""
    subject, ending = f"{row.name}, stage {stage.name}", f"{row.name}.{stage.name}"
    whose = f"stage '{stage.name}'"
    if stage.spec.chain is not None:
        yield from _chain(stage.spec.chain, f"drive chain of {whose}", subject, ending)
    carrier = stage.spec.hooks
    if carrier is not None:
        yield from _chain(carrier.chain, f"hooked chain of {whose}", subject, f"{ending}.hooks")
        yield from _pickup(row, stage, carrier, subject)
        yield from _clearance(row, carrier, subject, ending)


def links_of(spec: ChainDrive) -> float:
    """Links that a chain has, or that a team would build it with."""
    if spec.links is not None:
        return float(spec.links)
    pitch = chain.SIZES[spec.size].pitch
    taut = first(chain.whole_links(chain.length(pitch, *spec.teeth, spec.centre)))
    return max(taut, 2.0 * math.ceil(fewest_links(*spec.teeth) / 2))  # a variant may set the shafts too close


def _chain(spec: ChainDrive, word: str, subject: str, ending: str) -> Iterator[Outcome]:
    pitch, (a, b) = chain.SIZES[spec.size].pitch, spec.teeth
    touching = chain.pitch_radius(pitch, a) + chain.pitch_radius(pitch, b)
    numbers: dict[str, tuple[Real, str]] = {"centre": (spec.centre, "length"), "touching": (touching, "length")}
    message = Message("The shafts of the {word} are {centre} apart; its sprockets clear each other from {touching}.",
                      "The shafts of the {word} are {centre} apart: its sprockets touch below {touching}.",
                      numbers, {"word": word})  # fmt: skip
    yield Outcome(
        f"intake.chain_centre.{ending}", subject, spec.centre, touching, "length", message, sources=("iso606",)
    )
    taut, links = chain.length(pitch, a, b, spec.centre), links_of(spec)
    built = chain.centre_distance(pitch, a, b, links)
    numbers = {"taut": (taut, "count"), "links": (links, "count"), "built": (built, "length"),
               "uneven": (chain.speed_variation(float(min(a, b))), "share"), "pitch": (pitch, "length")}  # fmt: skip
    words = {"word": word, "size": spec.size, "small": str(min(a, b))}
    if spec.links is None:
        text = "The {word} ({size}) goes {taut} links round: build it with {links}, just taut at {built}"
    else:
        text = "The {word} ({size}) has {links} links and goes {taut} round; it would be just taut at {built}"
    uneven = f"{text}. On {{small}} teeth its speed swings by {{uneven}}."
    yield Outcome(f"intake.chain_built.{ending}", subject, built, None, "length", Message(uneven, "", numbers, words),
                  sources=(*_SOURCES, "jiang"))  # fmt: skip
    if spec.links is not None:
        short = "The {word} ({size}) has {links} links but goes {taut} round: too short; it would fit at {built}."
        message = Message("The {word} ({size}) has {links} links and goes {taut} round.", short, numbers, words)
        yield Outcome(
            f"intake.chain_links.{ending}", subject, links, taut, "ratio", message, scale=2.0, sources=_SOURCES
        )
    yield _tensioner(spec, word, subject, ending)


def _tensioner(spec: ChainDrive, word: str, subject: str, ending: str) -> Outcome:
    pitch, (a, b) = chain.SIZES[spec.size].pitch, spec.teeth
    loose = chain.slack(pitch, chain.length(pitch, a, b, spec.centre), links_of(spec), spec.wear)
    run = np.maximum(chain.span(pitch, a, b, spec.centre), 1e-3)
    travel = chain.tensioner_travel(run, loose)
    has = spec.tensioner_travel
    numbers: dict[str, tuple[Real, str]] = {"travel": (travel, "length"), "has": (has, "length"),
               "loose": (np.maximum(loose, 0.0), "length"), "wear": (spec.wear, "share")}  # fmt: skip
    message = Message(
        "Worn by {wear}, the {word} has {loose} to spare; a tensioner takes that up with {travel} of its {has}.",
        "Worn by {wear}, the {word} has {loose} to spare; a tensioner needs {travel} for that and has {has}. "
        "Set the shafts farther apart, or give it more travel.",
        numbers,
        {"word": word},
    )
    return Outcome(f"intake.chain_tension.{ending}", subject, travel, has, "length", message, "at most",
                   scale=np.maximum(has, pitch), sources=("plane-geometry", "practice"))  # fmt: skip


def _pickup(row: Row, stage: Running, carrier: Hooks, subject: str) -> Iterator[Outcome]:
    """The window between two hooks, and the rate at which they pass."""
    pitch, ending = chain.SIZES[carrier.chain.size].pitch, f"{row.name}.{stage.name}"
    spacing = handover.hook_spacing(pitch, float(carrier.links_between))
    opening = handover.window(spacing, carrier.thickness, row.length, stage.speed * carrier.entry_time)
    chance = handover.random_chance(opening, spacing)
    count = handover.hook_count(links_of(carrier.chain), float(carrier.links_between))
    numbers: dict[str, tuple[Real, str]] = {
        "opening": (opening, "length"), "spacing": (spacing, "length"), "chance": (chance, "share"),
        "wanted": (carrier.first_try, "share"), "count": (count, "count"), "speed": (stage.speed, "speed"),
    }  # fmt: skip
    words = {"stage": f"stage '{stage.name}' of {called('intake', row.name)}"}
    message = Message(
        "{stage} takes a piece in at the first try {chance} of the time: its {count} hooks pass {spacing} apart at "
        "{speed} and leave a window of {opening}; {wanted} is wanted.",
        "{stage} takes a piece in at the first try only {chance} of the time: its {count} hooks pass {spacing} "
        "apart at "
        "{speed} and leave a window of {opening}; {wanted} is wanted. Space the hooks wider or run slower.",
        numbers,
        words,
    )
    yield Outcome(
        f"intake.hooks_window.{ending}", subject, chance, carrier.first_try, "ratio", message, sources=("practice",)
    )
    rate = handover.passing_frequency(stage.speed, spacing)
    wanted = row.spec.throughput
    if wanted is not None:
        numbers = {"rate": (rate, "count"), "wanted": (wanted, "count")}
        message = Message("{stage} brings {rate} hooks a second; {wanted} pieces a second are wanted.",
                          "{stage} brings only {rate} hooks a second; {wanted} pieces a second are wanted.",
                          numbers, words)  # fmt: skip
        yield Outcome(
            f"intake.hooks_rate.{ending}", subject, rate, wanted, "frequency", message, sources=("continuity",)
        )


def _clearance(row: Row, carrier: Hooks, subject: str, ending: str) -> Iterator[Outcome]:
    """Hook tips over the pieces already carried."""
    if carrier.shaft_height is None:
        because = (
            f"Whether the hooks of {called('intake', row.name)} clear the pieces already carried is not known "
            f"without the "
            "height of the lower shaft."
        )
        key = f"mechanisms.{row.name}.stages.{ending.removeprefix(row.name + '.')}.hooks.shaft_height"
        yield unknown("intake.hooks_clearance", subject, "length", because, (key,))
        return
    tip = handover.tip_radius(chain.SIZES[carrier.chain.size].pitch, carrier.chain.teeth[1], carrier.height)
    room = carrier.shaft_height - tip - carrier.clearance
    nested = row.height if carrier.nested is None else carrier.nested
    pile = handover.stack_height(float(carrier.carried), row.height, nested)
    if carrier.hopper is not None:
        size = row.length, row.across, row.height
        pile = handover.heap_height(float(carrier.carried), size, carrier.hopper, ball=row.ball)
    cleared = handover.pieces_cleared(np.maximum(room, 0.0), row.height, nested)
    numbers: dict[str, tuple[Real, str]] = {
        "room": (room, "length"), "pile": (pile, "length"), "cleared": (cleared, "count"),
        "gap": (carrier.clearance, "length"), "tip": (tip, "length"),
    }  # fmt: skip
    how = "in a heap" if carrier.hopper is not None else "in a stack, enough for {cleared}"
    message = Message(
        f"The hooks of {{intake}} sweep {{tip}} round the lower shaft and leave {{room}} below them ({{gap}} "
        f"kept clear) "
        f"for {{pieces}} pieces {how}, {{pile}} high. Five or six must fit: common practice, no source.",
        "The hooks of {intake} hit the pieces already carried: they sweep {tip} round the lower shaft and leave {room} "
        "below them ({gap} kept clear), and {pieces} pieces are {pile} high. Five or six must fit (common practice, no "
        "source): raise the shaft or shorten the hooks.",
        numbers,
        {"pieces": str(carrier.carried), "intake": called("intake", row.name)},
    )
    yield Outcome(f"intake.hooks_clearance.{ending}", subject, room, pile, "length", message, scale=row.height,
                  sources=("iso606", "packing", "practice"))  # fmt: skip
