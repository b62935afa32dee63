"""Which figures stand on which page: curves of the checks, drawn for paper."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterable, Sequence

from fieldworthy.checks.curves.air import air_curves
from fieldworthy.checks.curves.balance import PoseLimits, balance_curves
from fieldworthy.checks.curves.body import body_curves
from fieldworthy.checks.curves.drive import run_curves
from fieldworthy.checks.curves.hanging import hanging_curves
from fieldworthy.checks.curves.intake import intake_curves
from fieldworthy.checks.curves.lift import lift_curves
from fieldworthy.checks.curves.path import path_curves
from fieldworthy.checks.curves.sorter import sorter_curves
from fieldworthy.checks.showing import Shown
from fieldworthy.checks.subject import Subject
from fieldworthy.draw import air, balance, drive, hanging, hues, intake, lift, path
from fieldworthy.draw import robot as body
from fieldworthy.draw.figure import Figure
from fieldworthy.draw.style import PRINT, Style
from fieldworthy.robot import Loaded

WIDTH, HALF = 640.0, 440.0
"""Width of a figure across the paper, and of one with text beside it [px]: its letters are then nearly as large as
those of the text."""
Drawer = Callable[[Subject, Style], Iterable[Figure | None]]


def style_of(loaded: Loaded, width: float = WIDTH) -> Style:
    """Choose how figures on paper look.

    Parameters
    ----------
    loaded : Loaded
        For the units of its file [-].
    width : float
        Of the figure [px].

    Returns
    -------
    Style
        Colours of print, units of the file [-].
    """
    units = Shown.of(loaded.quantities).units
    inch = units["length"] in ("in", "inch", '"', "ft")
    return Style(PRINT, "inch" if inch else "metric", width, tuple(units.items()))


def _robot(subject: Subject, style: Style) -> Iterable[Figure | None]:
    poses = subject.robot.poses
    pose = next((name for name, it in poses.items() if it.use == "start"), next(iter(poses), None))
    data = body_curves(subject, pose) if pose is not None else None
    if data is not None:
        yield body.robot(data, style)


def _drive(subject: Subject, style: Style) -> Iterable[Figure | None]:
    data = run_curves(subject)
    if data is not None:
        yield drive.run(data, style)


def _balance(subject: Subject, style: Style) -> Iterable[Figure | None]:
    data = balance_curves(subject)
    if data is not None:
        yield balance.balance(dataclasses.replace(data, poses=_tightest(data.poses)), style)


def _tightest(poses: Sequence[PoseLimits], most: int = 2) -> tuple[PoseLimits, ...]:
    """The poses that come nearest to lifting a wheel; those that are the same body are shown once."""

    def room(pose: PoseLimits) -> float:
        asked = pose.asked or (0.0,) * len(pose.limits)
        return min(limit.acceleration - a for limit, a in zip(pose.limits, asked, strict=True))

    different = {tuple(limit.acceleration for limit in p.limits): p for p in reversed(poses)}
    return tuple(sorted(different.values(), key=room)[:most])


def _air(subject: Subject, style: Style) -> Iterable[Figure | None]:
    data = air_curves(subject)
    if data is not None:
        yield air.pressures(data, style)


def _intake(subject: Subject, style: Style) -> Iterable[Figure | None]:
    for data in intake_curves(subject).values():
        yield intake.through(data, style)


def _sorter(subject: Subject, style: Style) -> Iterable[Figure | None]:
    for data in sorter_curves(subject).values():
        yield hues.hue_circle(data, style)


def _climb(subject: Subject, style: Style) -> Iterable[Figure | None]:
    for data in hanging_curves(subject).values():
        yield hanging.hanging(data, style)


def _lift(subject: Subject, style: Style) -> Iterable[Figure | None]:
    for data in lift_curves(subject, 1.0).values():
        yield lift.lift(data, style)


def _tracking(subject: Subject, style: Style) -> Iterable[Figure | None]:
    data = path_curves(subject)
    if data is not None:
        yield path.route(data, style)


DRAWERS: dict[str, Drawer] = {
    "robot": _robot,
    "drive": _drive,
    "balance": _balance,
    "air": _air,
    "intake": _intake,
    "sorter": _sorter,
    "climb": _climb,
    "lift": _lift,
    "tracking": _tracking,
}
"""Figures by the page's key."""


def figures_for(key: str, subject: Subject, style: Style) -> list[Figure]:
    """Draw the figures of a page.

    Parameters
    ----------
    key : str
        Of the page [-].
    subject : Subject
        Robot and season, nominal [SI].
    style : Style
        How they look [-].

    Returns
    -------
    list of Figure
        None where there is nothing to show [-].
    """
    drawer = DRAWERS.get(key)
    return [figure for figure in drawer(subject, style) if figure is not None] if drawer is not None else []


def tall(figure: Figure) -> bool:
    """Tell a figure that needs a page of its own.

    Parameters
    ----------
    figure : Figure
        The figure [-].

    Returns
    -------
    bool
        Whether it is clearly higher than wide [-].
    """
    match = re.search(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"', figure.svg)
    return match is not None and float(match[2]) > 1.2 * float(match[1])
