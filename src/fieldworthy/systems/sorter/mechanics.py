"""What a sorter's sensor should face while nothing is before it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.finding import Message, Outcome, Worked, called, first
from fieldworthy.physics.colour import colour, sorting
from fieldworthy.physics.colour.sorting import facing, sectors, to_rgb
from fieldworthy.systems.sorter.model import Sorter

_SOURCES = ("detection",)
_CIRCLES = {"hexagonal": "the hexagonal circle that this sensor reckons on", "cielab": "the CIELAB circle"}


def backgrounds(name: str, spec: Sorter, means: Array, sds: Array) -> Iterator[Outcome]:
    """Judge the background of a sorter's sensor, then say what beats it."""
    behind = spec.background
    if behind is None:
        return
    at = colour.wrap(behind.hue)
    if behind.spread is None:
        rgb = to_rgb(at, behind.saturation, behind.brightness)
        spread = np.maximum(colour.noise(rgb, spec.sensor.noise), 1e-3)
    else:
        spread = behind.spread
    if means.ndim == 1 and (np.ndim(at) or np.ndim(spread)):
        means, sds = means[:, None], sds[:, None]  # classes lead, cases trail, also where only the background varies
    clear = sorting.detectability(at, spread, means, sds)
    best, most = sorting.best_hue(means, sds, spread)
    numbers: dict[str, tuple[Real, str]] = {
        "at": (at, "angle"), "clear": (clear, "count"), "limit": (behind.clear, "count"), "spread": (spread, "angle"),
        "best": (best, "angle"), "most": (most, "count"),
    }  # fmt: skip
    apart = [
        first(sorting.detectability(at, spread, means[i : i + 1], sds[i : i + 1])) for i in range(len(spec.classes))
    ]
    nearest = int(np.argmin(apart))
    words = {"sorter": called("sorter", name), "nearest": list(spec.classes)[nearest]}
    worked = Worked("background", {
        "d'": (apart[nearest], "count"), "a": (first(colour.distance(at, means[nearest])), "angle"),
        "s": (first(sds[nearest]), "angle"), "b": (first(spread), "angle"),
    })  # fmt: skip
    message = Message(
        "Every class stands out from the background of {sorter} (hue {at}) by {clear} standard deviations or more; "
        "{limit} "
        "are wanted.",
        "Class '{nearest}' stands out from the background of {sorter} (hue {at}) by only {clear} standard deviations; "
        "{limit} are wanted.",
        numbers,
        words,
    )
    yield Outcome(f"sort.background.{name}", name, clear, behind.clear, "ratio", message, sources=_SOURCES,
                  worked=(worked,))  # fmt: skip
    message = Message(
        "The best background for {sorter} is at {best}, with {most} standard deviations; yours at {at}, read to "
        "{spread}, "
        "gives {clear}.",
        "",
        numbers,
        words,
    )
    yield Outcome(f"sort.best_background.{name}", name, best, None, "angle", message, sources=_SOURCES)
    if spec.circle == "hexagonal":
        yield _edges(name, spec, (means, sds), at, spread)
    yield _yellow(name, spec, np.sqrt(np.mean(np.square(sds), axis=0)), spread)


def _edges(name: str, spec: Sorter, classes: tuple[Array, Array], at: Real, spread: Real) -> Outcome:
    """Share of an object's edge whose mixture with the background reads as another class; the worst class."""
    behind = spec.background
    assert behind is not None, "asked for with a background only"
    means, sds = (_with(a, b) for a, b in zip(classes, (at, spread), strict=True))
    arcs = sectors(means, sds)
    back = to_rgb(at, behind.saturation, behind.brightness)
    shares = {}
    for i, (label, spec_class) in enumerate(spec.classes.items()):
        thing = to_rgb(classes[0][i], spec_class.saturation, spec_class.brightness)
        shares[label] = sorting.false_share(back, thing, i, arcs)
    worst = max(shares, key=lambda label: first(shares[label]))
    if first(shares[worst]) > 0.0:
        text = (
            "While '{worst}' moves into the spot it reads as another class for {share} of its edge: "
            "do not decide on edges."
        )
    else:
        text = "While a piece moves into the spot its mixture with the background never reads as another class."
    message = Message(text, "", {"share": (shares[worst], "share")}, {"worst": worst})
    return Outcome(f"sort.edges.{name}", name, shares[worst], None, "ratio", message, sources=("practice", "smith1978"))


def _with(values: Array, last: Real) -> Array:
    """Put one more onto the leading axis."""
    extra = np.asarray(last, dtype=float)
    shape = np.broadcast_shapes(values.shape[1:], extra.shape)
    lined = np.broadcast_to(values.reshape(values.shape + (1,) * (len(shape) - values.ndim + 1)), (len(values), *shape))
    return np.concatenate([lined, np.broadcast_to(extra, shape)[None]])


def _yellow(name: str, spec: Sorter, class_sd: Real, spread: Real) -> Outcome:
    """The trade's word: face the sensor at yellow when sorting red from blue."""
    painter, own = facing("painter", class_sd, spread), facing(spec.circle, class_sd, spread)
    gain = own.best / own.yellow
    numbers: dict[str, tuple[Real, str]] = {
        "painter": (painter.yellow, "count"), "yellow": (own.yellow, "count"), "green": (own.green, "count"),
        "best": (own.best, "count"), "hue": (own.hue, "angle"), "level": (own.breakeven, "angle"),
        "spread": (spread, "angle"), "class_sd": (class_sd, "angle"), "gain": (gain, "count"),
    }  # fmt: skip
    circle = _CIRCLES[spec.circle]
    message = Message(
        "Common practice, no source: face the sensor at yellow when sorting red from blue. With classes read "
        "to {class_sd} "
        "and a background to {spread} that is right on a painter's wheel ({painter} standard deviations, and "
        "no hue does "
        f"better). On {circle} yellow gives {{yellow}}, green {{green}}, and {{hue}}, the best, {{best}}: the "
        f"computing "
        "disagrees by a factor of {gain}. Yellow wins there only if green's readings spread by more than "
        "{level}.",
        "",
        numbers,
    )
    return Outcome(f"sort.yellow.{name}", name, gain, None, "ratio", message,
                   sources=("detection", "artist-wheel", "smith1978", "practice"))  # fmt: skip
