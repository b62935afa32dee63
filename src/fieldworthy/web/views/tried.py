"""The candidates of a search, while it runs and afterwards: drawn, listed, left out by ranges, one of them chosen.

A range is stated by dragging over an axis or over the plot, with a mouse or a finger, or by two sliders.
"""

from __future__ import annotations

import math
from typing import Any

from fieldworthy.decide.search.cloud import Cloud, Within
from fieldworthy.files.document import KeyPath
from fieldworthy.units import counted, digits
from fieldworthy.web.components import Rows, pictures_of, share_of
from fieldworthy.web.markup import Content, Markup, join, tag
from fieldworthy.web.page import Page
from fieldworthy.web.runs import Candidate, SoFar, candidate, drawn_candidate, drawn_search

_LISTED = 12  # candidates
_ENDS = ("from", "to")
_DRAG = (
    "Drag along an axis, or over the points, to leave out what lies outside; touch an axis to take all of it again. "
    "Touch a point, or press Show in the list, to see that robot."
)


def places() -> Content:
    """The places that it fills."""
    head = tag("thead", id="search-head")
    table = tag("table", tag("caption", "The best of those left", id="search-count"), head,
                tag("tbody", id="search-list"))  # fmt: skip
    return [
        tag("div", id="search-tools", class_="tools"),
        tag("div", id="search-live", class_="figures"),
        tag("div", table, class_="table", id="search-listed", tabindex="0", role="region", hidden=True,
            aria_label="Candidates of the search"),
        tag("div", id="search-candidate"),
    ]  # fmt: skip


class _Tools:
    """The two lists of what is drawn and the sliders of ranges, which stand where the ranges are."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._at: dict[str, str] = {}

    def begin(self, data: Cloud, of: tuple[int, int]) -> None:
        """Show them for other columns."""
        self._at = {}
        self._page.put("search-tools", self._shown(data, of))

    def _shown(self, data: Cloud, of: tuple[int, int]) -> list[Content]:
        """Which two things are drawn against each other, and between which values of each those shown lie."""
        shown: list[Content] = []
        for which, words in enumerate(("Up ", "across ")):
            options = [
                tag("option", column.title, value=i, selected=i == of[which]) for i, column in enumerate(data.columns)
            ]
            select = tag("select", options, data_change="axis", data_which=which, id=f"axis-{which}")
            shown.append(tag("label", words, select))
        rows = [_sliders(i, column.title) for i, column in enumerate(data.columns)]
        shown.append(tag("button", "Take all again", type="button", data_do="all", id="search-all", hidden=True))
        shown.append(tag("p", _DRAG, class_="fine"))
        summary = tag("summary", "Leave out by sliders", data_key="search sliders")
        return [*shown, tag("details", summary, rows, class_="varied")]

    def move(self, data: Cloud, within: Within) -> None:
        """Put the sliders where the ranges are."""
        lows, highs = (end.tolist() for end in data.ends)
        for i, column in enumerate(data.columns):
            between, span = within.get(i, (-math.inf, math.inf)), highs[i] - lows[i]
            for end, stated in zip(_ENDS, between, strict=True):
                value = min(max(stated, lows[i]), highs[i])
                place = 100.0 * (value - lows[i]) / span if span > 0 else 100.0 * (end == "to")
                self._mark(f"{end}-of-{i}", f"{place:.0f}", column.text(value))
        self._page.call("mark", "search-all", {"hidden": None if within else "hidden"})

    def _mark(self, slider: str, place: str, text: str) -> None:
        if self._at.get(slider) != f"{place} {text}":
            self._at[slider] = f"{place} {text}"
            self._page.call("mark", slider, {"value": place, "aria-valuetext": text})
            self._page.put(f"{slider}-said", text)


class Tried:
    """What a window shows of the candidates of a search."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._told: SoFar | None = None
        self._of = (0, 0)
        self._within: dict[int, tuple[float, float]] = {}
        self._names: tuple[str, ...] = ()
        self._tools = _Tools(page)
        self._head: Markup | None = None
        self._rows = Rows(page, "search-list")
        self._chosen: tuple[SoFar, Candidate] | None = None
        page.on("axis", self._axis)
        page.on("brush", self._brushed)
        page.on("within", self._slid)
        page.on("all", self._all)
        page.on("candidate", self._listed)

    @property
    def chosen(self) -> tuple[SoFar, tuple[tuple[KeyPath, object], ...]] | None:
        """The candidate that is shown, with the search that it is of."""
        return None if self._chosen is None else (self._chosen[0], self._chosen[1].changes)

    def forget(self) -> None:
        """Begin with another search."""
        self._told, self._chosen, self._names = None, None, ()
        self._page.put("search-candidate", "")

    async def show(self, told: SoFar) -> None:
        """Show what was found so far."""
        self._told = told
        data = told.cloud
        if data is None or not len(data.values):
            best = "" if told.best is None else f", best so far {digits(told.best)} points"
            self._page.put("search-live", tag("p", f"{told.candidates} plans, {told.matches} matches{best}."))
            return
        names = tuple(column.name for column in data.columns)
        if names != self._names:
            self._names, self._within = names, {}
            self._of = (0, 1 if len(names) > 1 else 0)
            self._tools.begin(data, self._of)
        await self._draw()

    async def _draw(self) -> None:
        told, page = self._told, self._page
        if told is None or told.cloud is None or page.view != "search":
            return
        data, within = told.cloud, dict(self._within)
        self._list(data)
        self._tools.move(data, self._within)
        drawn = (data, told.history), (self._of[1], self._of[0]), within, page.look()
        figures = await page.work.draw(drawn_search, told.source, *drawn)
        if figures is not None and page.view == "search":
            page.put("search-live", pictures_of(page, figures))

    def _list(self, data: Cloud) -> None:
        """List the best of those that are left."""
        kept = data.kept(self._within)
        shown = data.shown(self._within)
        heads = [tag("th", data.columns[i].label, scope="col") for i in shown]
        head = tag("tr", tag("th", "Place", scope="col"), heads, tag("th", "Robot", scope="col"))
        if head != self._head:
            self._head = head
            self._page.put("search-head", head)
        rows = {}
        for place, which in enumerate(kept[:_LISTED].tolist(), 1):
            cells = [tag("td", data.columns[i].bare(float(data.values[which, i]))) for i in shown]
            button = tag("button", "Show", type="button", data_do="candidate", data_row=_key(data, which),
                         aria_label=f"Show candidate {place}")  # fmt: skip
            key = _key(data, which)
            rows[key] = tag("tr", tag("th", place, scope="row"), cells, tag("td", button), data_row=key)
        self._rows.show(rows)
        words = counted(len(data.values), "candidate that is known best", "candidates that are known best")
        self._page.put("search-count", f"{kept.size} left of {words}: the best of them")
        self._page.call("mark", "search-listed", {"hidden": None})

    async def _axis(self, data: dict[str, Any]) -> None:
        which, value = str(data.get("which")), str(data.get("value"))
        if which not in ("0", "1") or not value.isdigit() or int(value) >= len(self._names):
            return
        pair = list(self._of)
        before, pair[int(which)] = pair[int(which)], int(value)
        if pair[0] == pair[1]:  # nothing is drawn against itself: the other takes what this one had
            pair[1 - int(which)] = before
            self._page.call("mark", f"axis-{1 - int(which)}", {"value": str(before)})
        self._of = (pair[0], pair[1])
        await self._draw()

    async def _brushed(self, data: dict[str, Any]) -> None:
        """Take what was dragged over: a stretch of one axis, or a part of the plot; or where it was touched."""
        of, shares = _columns(data, len(self._names)), _shares(data)
        if self._told is None or self._told.cloud is None or not of or shares is None:
            self._page.call("brushed")
            return
        if data.get("tap") is True and len(of) == 2:
            which = self._told.cloud.nearest((of[0], of[1]), (shares[0][0], shares[1][0]), self._within)
            if which is not None:
                await self._choose(which)
        elif data.get("tap") is True:
            self._within.pop(of[0], None)
            await self._ranged()
        else:
            for column, (low, high) in zip(of, shares, strict=False):
                self._range(column, low, high)
            await self._ranged()
        self._page.call("brushed")

    def _range(self, column: int, low: float, high: float) -> None:
        """Keep candidates between two values; an end that leaves nothing out leaves nothing out later either."""
        if self._told is None or self._told.cloud is None:
            return
        least, most = (float(end[column]) for end in self._told.cloud.ends)
        between = (-math.inf if low <= least else low, math.inf if high >= most else high)
        if between == (-math.inf, math.inf):
            self._within.pop(column, None)
        else:
            self._within[column] = between

    async def _ranged(self) -> None:
        await self._draw()
        if self._told is not None and self._told.cloud is not None:
            self._page.say(f"{counted(self._told.cloud.kept(self._within).size, 'candidate')} left.")

    async def _slid(self, data: dict[str, Any]) -> None:
        end, _, number = str(data.get("name")).partition(" ")
        told = self._told
        known = told is not None and told.cloud is not None and number.isdigit() and int(number) < len(self._names)
        if told is not None and told.cloud is not None and known and end in _ENDS:
            column = int(number)
            low, high = (float(e[column]) for e in told.cloud.ends)
            value = low + share_of(data.get("value")) * (high - low)
            before = self._within.get(column, (-math.inf, math.inf))
            self._range(column, *((value, max(before[1], value)) if end == "from" else (min(before[0], value), value)))
            await self._ranged()
        self._page.call("slid", "within")

    async def _all(self, _: dict[str, Any]) -> None:
        self._within = {}
        await self._ranged()

    async def _listed(self, data: dict[str, Any]) -> None:
        key, told = str(data.get("row")), self._told
        if told is not None and told.cloud is not None:
            which = next((i for i in range(len(told.cloud.rows)) if _key(told.cloud, i) == key), None)
            if which is not None:
                await self._choose(which)

    async def _choose(self, which: int) -> None:
        """Draw one candidate beside the present robot, with what changes."""
        told, page = self._told, self._page
        if told is None or told.cloud is None:
            return
        cloud = told.cloud
        found = await page.work.sketch(candidate, told.source, told.wanted, tuple(cloud.rows[which].tolist()))
        figures = None if found is None else await page.work.draw(drawn_candidate, told.source, found, page.look(420.0))
        if found is None or figures is None or page.view != "search":
            return
        self._chosen = (told, found)
        wanted = [(c, float(cloud.values[which, i])) for i, c in enumerate(cloud.columns) if c.wanted]
        keep = tag("button", "Keep it as a variant", type="button", data_do="keep-candidate")
        head = tag("h2", "The candidate that was chosen, beside the present robot", id="search-chosen", tabindex="-1")
        body = [
            head,
            tag(
                "p",
                "; ".join(f"{c.title} {c.text(value)}" for c, value in wanted),
                ", as the search tried it.",
            ),
            tag("ul", [tag("li", said) for said in found.sentences] or tag("li", "Nothing changes.")),
            tag("div", keep if page.may_change and found.changes else "", class_="tools"),
            tag("div", pictures_of(page, figures), class_="figures"),
        ]
        page.put("search-candidate", tag("section", join(body), class_="panel"))
        page.call("focus", "search-chosen")


def _sliders(i: int, name: str) -> Markup:
    boxes = []
    for end, at in zip(_ENDS, ("0", "100"), strict=True):
        identifier = f"{end}-of-{i}"
        box = tag("input", type="range", id=identifier, min="0", max="100", step="1", value=at, data_slide="within",
                  data_name=f"{end} {i}", aria_label=f"{name}, {end}")  # fmt: skip
        boxes.append(tag("label", f"{end} ", box, " ", tag("output", id=f"{identifier}-said", for_=identifier)))
    return tag("div", tag("b", name), tag("div", boxes, class_="ends"), class_="varying")


def _key(data: Cloud, which: int) -> str:
    return " ".join(f"{value:.9g}" for value in data.rows[which])


def _columns(data: dict[str, Any], count: int) -> tuple[int, ...]:
    said = str(data.get("of")).split()
    known = [int(one) for one in said if one.isdecimal() and int(one) < count]
    return tuple(known) if len(known) == len(said) and len(known) in (1, 2) else ()


def _shares(data: dict[str, Any]) -> list[tuple[float, float]] | None:
    """Values between which was dragged, by axis, from where on the drawing that was and which values stand there."""
    found = []
    for axis in ("x", "y"):
        try:
            ends = [float(data[f"{axis}{i}"]) for i in (0, 1)] if f"{axis}0" in data else None
            at = [float(data[key]) for key in (("left", "right") if axis == "x" else ("bottom", "top"))]
        except (KeyError, TypeError, ValueError):
            return None
        if ends is None:
            continue
        values = sorted(ends[0] + share * (ends[1] - ends[0]) for share in at)
        if not all(map(math.isfinite, values)):
            return None
        found.append((values[0], values[1]))
    return found
