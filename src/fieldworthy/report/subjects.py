"""The pages of the notebook: which question each answers, which findings belong to it, and what it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fieldworthy.checks.finding import Fact, Finding, Report
from fieldworthy.report.numbers import items_of
from fieldworthy.robot.model.robot import Robot


@dataclass(frozen=True, slots=True)
class Page:
    """One subsystem's page.

    Attributes
    ----------
    key : str
        Its name.
    title, question : str
        What it is about.
    families : tuple of str
        How the ids of its findings begin.
    formulas : tuple of tuple of str
        Keys of formulas, each with the kind of mechanism that it needs; empty for always.
    caution : str
        What can hurt here; empty for nothing of its own.
    telling : tuple of str
        How the ids of those facts begin that say most; empty for the first that there are.
    wide : float
        Width of its figure across the page [px]; 0 for one with text beside it.
    """

    key: str
    title: str
    question: str
    families: tuple[str, ...]
    formulas: tuple[tuple[str, str], ...]
    caution: str = ""
    telling: tuple[str, ...] = ()
    wide: float = 0.0


PAGES: tuple[Page, ...] = (
    Page("drive", "Drive", "Is it quick enough, does it push hard enough, and do its motors stay cool?", ("drive",),
         (("motor_line", ""), ("sprint", "")), telling=("drive.ratio", "drive.top_speed")),
    Page("balance", "Balance", "Does it stay on its wheels when it starts, stops, turns and is pushed?", ("balance",),
         (("tip", ""), ("impact", "")), telling=("balance.ballast", "balance.limit")),
    Page("air", "Air", "Does every cylinder still have the pressure it needs at the end of the plan?", ("air",),
         (("draw", ""), ("flow", "")),
         "Never charge above the rated pressure of the weakest part. Wear eye protection. Let all air out before you "
         "work on the robot.", ("air.layout", "air.tank")),
    Page("intake", "Intake", "Does it grip, carry and hand over every piece, and stop two of them where they belong?",
         ("intake",), (("roller", ""), ("stop", "")), telling=("intake.hold_rest", "intake.chain_built")),
    Page("sorter", "Colour sorting", "Does it tell the colours apart, and throw the unwanted out in time?", ("sort",),
         (("threshold", ""), ("background", "")), telling=("sort.vote", "sort.best_background")),
    Page("clamp", "Clamp", "Does it catch the object, and hold it against a rival's pull?", ("clamp",),
         (("wedge", ""),),
         "A clamp closes faster than a hand moves: keep fingers away while there is air in the tanks.",
         ("clamp.slip", "clamp.stroke_practice", "clamp.lift")),
    Page("grabber", "Grabber", "Does its hook reach, catch and pull without tipping the robot?", ("grabber",),
         (("tipover", ""),)),
    Page("climb", "Climb", "Does it lift itself off the floor, and hang steady until the end?", ("climb",),
         (("hang", ""), ("hoist", "")),
         "A robot that hangs can fall. Nobody stands or reaches beneath it; practise over a mat, low, with a second "
         "person at the air valve.", ("climb.hook",), 640.0),
    Page("lift", "Arms and lifts", "Does it raise its load high enough and in time, and what happens without power?",
         ("lift", "arm", "slide"), (("lever", "lift"), ("push", "lift"), ("arm", "motor arm"), ("guide", "slide")),
         "A raised arm and a stretched band store energy. Let the arm down and unhook the bands before you reach in.",
         ("lift.rest", "arm.speed"), 760.0),
    Page("tracking", "Knowing where it is", "How far off is the robot from where it thinks it is, and why?",
         ("tracking",), (("heading", ""), ("seam", "")), "", ("tracking.relocation", "tracking.source"), 640.0),
)  # fmt: skip


def belongs(page: Page, item: Finding | Fact) -> bool:
    """Tell whether a finding or fact stands on a page.

    Parameters
    ----------
    page : Page
        The page [-].
    item : Finding or Fact
        What a check found [-].

    Returns
    -------
    bool
        By the first word of its id [-].
    """
    return item.id.partition(".")[0] in page.families


def pages_of(report: Report) -> list[Page]:
    """Choose the pages that a robot needs.

    Parameters
    ----------
    report : Report
        What the checks found on it [-].

    Returns
    -------
    list of Page
        Those with at least one finding or fact [-].
    """
    return [p for p in PAGES if any(belongs(p, i) for i in items_of(report))]


def telling(page: Page, facts: Sequence[Fact], most: int) -> list[Fact]:
    """Choose the facts that say most.

    Parameters
    ----------
    page : Page
        The page [-].
    facts : sequence of Fact
        Those that belong to it [-].
    most : int
        How many [-].

    Returns
    -------
    list of Fact
        The telling ones first, in the page's order [-].
    """

    def rank(fact: Fact) -> int:
        return next((i for i, stem in enumerate(page.telling) if fact.id.startswith(stem)), len(page.telling))

    return sorted(facts, key=rank)[:most]


def formulas_for(page: Page, robot: Robot) -> list[str]:
    """Choose the formulas of a page.

    Parameters
    ----------
    page : Page
        The page [-].
    robot : Robot
        For the kinds of its mechanisms [-].

    Returns
    -------
    list of str
        Keys of formulas [-].
    """
    kinds = {m.kind for m in robot.mechanisms.values()}
    return [key for key, kind in page.formulas if not kind or kind in kinds]
