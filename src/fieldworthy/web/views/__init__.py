"""The views of the page: one module each, and those that systems declare as their own.

A view is a module with a function ``build(page: Page) -> None`` (or a coroutine function). It is called whenever the
person comes to the view, and

- shows its content by ``page.fill(markup)``, written with `fieldworthy.web.markup.tag`, in which every text is
  escaped; or puts elements of the framework into ``with page.slot:``;
- renews a part by ``page.put(id, markup)``, or many keyed rows by `fieldworthy.web.components.Rows`;
- does what the person asks by ``page.on("name", handler)``: an element with ``data_do="name"`` (button),
  ``data_change="name"`` (select, checkbox), ``data_submit="name"`` (form) or ``data_open="name"`` (details) calls it
  with the element's data;
- hears of results by ``page.on_judged`` and ``page.on_preview``, and cleans up in ``page.on_leave``; all of these are
  forgotten when the view is left;
- finds the robot in ``page.draft`` (its texts, ``page.draft.source`` for work elsewhere) and what was found in
  ``page.judged`` (None until the first result, or where the file has mistakes: ``page.problems``);
- has anything computed by ``await page.work.compute(function, page.draft.source, ...)``: the function belongs to a
  module, takes hashable arguments, reads the robot by `fieldworthy.web.judging.robot_of` and returns what can be
  pickled, such as a `fieldworthy.drawing.svg.Figure`; long runs with progress go through ``page.queue.start`` and
  `Job`;
- changes the robot by ``await page.editor.change({path: value})``, which can be undone and is saved with the file;
- shows figures by `fieldworthy.web.components.figure`, in the style that ``page.style()`` gives.

Text never reaches the page but through ``tag``, ``page.say`` and ``page.note``.
"""

from __future__ import annotations

import importlib
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from functools import partial

from fieldworthy.engine.system import View as OfSystem
from fieldworthy.engine.system import systems
from fieldworthy.web.page import Page
from fieldworthy.web.views import shown

Build = Callable[["Page"], "Awaitable[None] | None"]


@dataclass(frozen=True, slots=True)
class View:
    """One view of the page.

    Attributes
    ----------
    name : In the address, and of its module here
    label : In the navigation
    purpose : One sentence: what it is for
    for_season : Whether a season can be opened in it too
    drawn : Whether it has figures, which are drawn anew in other colours
    alone : Whether it can be shown without an open file
    system : A system's own, which `fieldworthy.web.views.shown` builds; else a module here does
    """

    name: str
    label: str
    purpose: str
    for_season: bool = False
    drawn: bool = True
    alone: bool = False
    system: OfSystem | None = None

    def build(self) -> Build:
        """Find the function that builds it."""
        if self.system is not None:
            return partial(shown.build, view=self.system)
        found: Build = importlib.import_module(f"{__name__}.{self.name}").build
        return found


VIEWS: tuple[View, ...] = (
    View("build", "Build", "What the robot is made of: add, place, connect and see it; and the file's text.", True),
    View("margins", "Margins", "What holds and what does not, worst first, and what to do about it."),
    View("robot", "Robot", "The robot to scale in every pose, its arms moving, on the bar, and how it drives."),
    *(View(s.view.name, s.view.label, s.view.purpose, system=s.view) for s in systems() if s.view is not None),
    View("match", "Match", "One match over time, how the points of many spread, and what limits them."),
    View("measurements", "Measurements", "Sheets to measure by, what the readings tell, and what the robot takes."),
    View("compare", "Compare", "Variants over the same matches: which scores more, how sure, and where it flips."),
    View("search", "Search", "The best robot and the best plan within ranges that you state, and how sure that is."),
    View("work", "Faults and work", "Faults as they come in the pit, and what to do until the event.", drawn=False),
    View("versions", "Versions", "Variants of the robot, and what changed since it was saved.", drawn=False),
    View(
        "documents",
        "Documents",
        "Notebook, pit card, inspection sheet and constants: made, looked at, saved.",
        drawn=False,
    ),
    View(
        "guide",
        "Guide",
        "How to begin, to read a margin, to decide, to measure; what is computed and what is not.",
        for_season=True,
        drawn=False,
        alone=True,
    ),
)
"""Every view of an open file, in the order of the navigation."""
BY_NAME = {view.name: view for view in VIEWS}
