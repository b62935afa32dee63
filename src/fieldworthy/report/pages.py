"""The systems' pages of the notebook: which findings, facts and formulas stand on each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fieldworthy.engine.finding import Fact, Finding, Report
from fieldworthy.engine.system import Page, System, systems
from fieldworthy.report.numbers import items_of
from fieldworthy.robot.model.robot import Robot


@dataclass(frozen=True, slots=True)
class SystemPage:
    """A page and the systems whose findings stand on it."""

    page: Page
    systems: tuple[System, ...]

    @property
    def name(self) -> str:
        """Of the system that the page belongs to."""
        return self.systems[0].name

    @property
    def families(self) -> frozenset[str]:
        """First words of the ids of its findings."""
        return frozenset(family for system in self.systems for family in system.families)


def all_pages() -> list[SystemPage]:
    """Every page that there can be, in the order of the systems."""
    found = systems()
    return [
        SystemPage(one.page, (one, *(other for other in found if other.page_of == one.name)))
        for one in found
        if one.page is not None
    ]


def belongs(page: SystemPage, item: Finding | Fact) -> bool:
    """Tell by the first word of its id whether a finding or fact stands on a page."""
    return item.id.partition(".")[0] in page.families


def pages_of(report: Report) -> list[SystemPage]:
    """Choose the pages that have at least one finding or fact."""
    return [p for p in all_pages() if any(belongs(p, i) for i in items_of(report))]


def telling(page: Page, facts: Sequence[Fact], most: int) -> list[Fact]:
    """Choose the facts that say most, in the page's order."""

    def rank(fact: Fact) -> int:
        return next((i for i, stem in enumerate(page.telling) if fact.id.startswith(stem)), len(page.telling))

    return sorted(facts, key=rank)[:most]


def formulas_for(page: Page, robot: Robot) -> list[str]:
    """Choose the formulas of a page by the kinds of mechanism that the robot has."""
    kinds = {m.kind for m in robot.mechanisms.values()}
    return [key for key, kind in page.formulas if not kind or kind in kinds]
