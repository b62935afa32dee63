"""The strip that stays in sight in a view: what is short by its cause, what is not judged yet, and one change to try.

A change that is tried is in the window's copy of the file, not on the disk, until it is kept and saved.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from fieldworthy.decide.change import Edit
from fieldworthy.decide.remedy import FoundRemedies
from fieldworthy.engine.finding import Cause, Finding, Report
from fieldworthy.files.document import KeyPath, plain_scalar
from fieldworthy.robot.editing import GONE
from fieldworthy.units import digits
from fieldworthy.web.components import counted, end_newest, follow
from fieldworthy.web.form import words_of_key
from fieldworthy.web.jobs import Job
from fieldworthy.web.judging import Source, mended
from fieldworthy.web.markup import SAID, Content, Markup, address, key_of, plain_sentences, tag
from fieldworthy.web.page import Page
from fieldworthy.web.runs import mean_points

TRYING = "Trying out changes"
_CAUSES = 6  # that are listed before 'and n more'
_RUNS = 200  # matches before and after a change; the same ones


@dataclass(slots=True)
class Tried:
    """A change that is being tried.

    Attributes
    ----------
    sentence : What it is
    before, source : What was found before it, and for which files
    points : Mean points before and after it; None as long as they are not known
    """

    sentence: str
    before: Report
    source: Source
    points: tuple[float | None, float | None] | None = None


@dataclass(slots=True)
class Strip:
    """What the strip of one window shows.

    Attributes
    ----------
    asked : Whether remedies were asked for
    mendings : Remedies by finding, once they are found, and for which files
    tried : The change that is being tried
    """

    page: Page
    asked: bool = False
    mendings: dict[str, FoundRemedies] | None = None
    source: Source | None = None
    tried: Tried | None = None

    def markup(self) -> Markup:
        """The place that it stands in."""
        inner = [tag("div", id=f"strip-{part}", role=role)
                 for part, role in (("tried", "status"), ("run", "status"), ("body", None))]  # fmt: skip
        head = tag("summary", tag("span", id="strip-head"), data_key="strip")
        return tag("section", tag("details", head, inner, id="strip-more"), class_="strip", aria_label="Verdicts")

    def listen(self) -> None:
        """Do what its buttons ask, until the view is left."""
        self.page.on("mend", lambda _: self._mend())
        self.page.on("stop", lambda _: end_newest(self.page, mended))
        self.page.on("try", self._try)
        self.page.on("keep-tried", lambda _: self._keep())
        self.page.on("drop-tried", lambda _: self._drop())
        self.page.on_judged(self.show)
        self.show()

    def show(self) -> None:
        """Show what was found last; greyed, with the reason, while the file has mistakes."""
        page = self.page
        if page.judged is None:
            said = tag("span", "not judged: the file has mistakes") if page.problems else "Working it out …"
            page.put("strip-head", said)
            page.put("strip-body", plain_sentences(page.problems[:3]) if page.problems else "")
            return
        report = page.judged.report
        if page.draft is not None and self.source != page.draft.source:
            self.mendings, self.asked = None, False
        page.put("strip-head", [counts(report), " ", tag("span", first_line(report), class_="first")])
        page.put("strip-body", self._body(report))
        self._show_tried(report)

    def _body(self, report: Report) -> Content:
        page = self.page
        stale = tag("p", "These are from before the mistakes that the file has now.") if page.problems else ""
        causes = [tag("li", self._cause(cause)) for cause in report.causes[:_CAUSES]]
        more = len(report.causes) - _CAUSES
        listed: Content = [tag("h2", "Causes"), tag("ol", causes, class_="causes")] if causes else ""
        rest = tag("p", f"and {more} more, in ", tag("a", "Margins", href=address("margins", file=page.file),
                                                     data_go=True)) if more > 0 else ""  # fmt: skip
        ask = ""
        if causes and page.may_change and not self.asked and not page.problems:
            ask = tag("button", "What would mend them?", type="button", class_="main", data_do="mend")
        return [stale, listed, rest, ask, self._open(report)]

    def _cause(self, cause: Cause) -> Content:
        behind = [f for f in cause.findings if f is not cause.lead]
        also = tag("p", f"With it {counted(len(behind), 'more finding')}.", class_="fine") if behind else ""
        return [tag("p", cause.lead.because), also, self._remedy(cause.lead)]

    def _remedy(self, finding: Finding) -> Content:
        if self.mendings is None:
            return ""
        found = self.mendings.get(key_of(finding))
        if found is None or not found.remedies:
            return tag("p", found.answer if found is not None else "No change was found for it.", class_="fine")
        remedy = found.remedies[0]
        breaks = [tag("li", f"then short: {b.because}") for b in remedy.breaks]
        button = tag("button", "Try", type="button", data_do="try", data_of=key_of(finding),
                     aria_label=f"Try: {remedy.sentence}")  # fmt: skip
        said = tag("span", f"{remedy.sentence} ({remedy.cost}).")
        return tag("div", said, " ", button, tag("ul", breaks) if breaks else "", class_="remedy")

    def _open(self, report: Report) -> Content:
        """What is not judged yet, with a link to each box that is missing."""
        unknown = report.of("unknown")
        if not unknown:
            return ""
        file = self.page.file
        rows = [
            tag("li", f.because, " ", [
                [tag("a", words_of_key(key), href=address("build", file=file, key=key), data_go=True), " "]
                for key in f.missing
            ])
            for f in unknown[:_CAUSES * 2]
        ]  # fmt: skip
        return [tag("h2", f"Not judged yet: {len(unknown)}"), tag("ul", rows, class_="open")]

    def _mend(self) -> None:
        page = self.page
        if page.draft is None or page.judged is None:
            return
        source, self.asked, self.mendings = page.draft.source, True, None
        self.source = source
        self.show()

        async def found(page: Page, job: Job) -> None:
            page.put("strip-run", "")
            if page.draft is not None and page.draft.source == source:
                self.mendings = {f"{m.id}|{m.subject}": m for m in job.result}
                self.show()

        job = page.queue.start(TRYING, mended, source, page.display.units, brief=True)
        follow(page, job, found, "strip-run", first="")
        page.on_leave(job.listen(self._ended))

    def _ended(self, job: Job) -> None:
        """Offer it again where it was ended before it had an answer."""
        if job.state in ("stopped", "failed"):
            self.asked = False
            self.show()

    async def _try(self, data: dict[str, Any]) -> None:
        page, found = self.page, (self.mendings or {}).get(str(data.get("of")))
        if found is None or not found.remedies or page.judged is None or page.draft is None:
            return
        remedy = found.remedies[0]
        tried = Tried(remedy.sentence, page.judged.report, page.draft.source)
        if await page.editor.change(changes_of(remedy.edits), remedy):
            self.tried = tried
            page.later(self._compare(tried, page.draft.source))

    async def _compare(self, tried: Tried, after: Source) -> None:
        """Play the same matches before and after it."""
        page = self.page
        points = [await page.work.aside(mean_points, source, _RUNS) for source in (tried.source, after)]
        if self.tried is tried:
            tried.points = (points[0], points[1])
            if page.judged is not None:
                self._show_tried(page.judged.report)

    def _show_tried(self, report: Report) -> None:
        tried = self.tried
        if tried is None:
            self.page.put("strip-tried", "")
            return
        if report is tried.before:
            return
        self.page.call("mark", "strip-more", {"open": "open"})
        self.page.put("strip-tried", _held_against(tried, report))

    def _keep(self) -> None:
        self.tried = None
        self.page.put("strip-tried", "")
        self.page.note("Kept in this window; save it to have it in the file.")

    def _drop(self) -> None:
        page = self.page
        if self.tried is not None and page.draft is not None:
            self.tried = None
            if page.draft.undo():
                page.editor.refresh_state()
                page.checker.judge()


def changes_of(edits: Iterable[Edit]) -> dict[KeyPath, object]:
    """Turn a remedy's edits into changes of the file."""
    return {edit.path: _written(edit.after) if edit.after else GONE for edit in edits}


def _written(text: str) -> object:
    """What the file says: a list, or a plain value."""
    return json.loads(text) if text.startswith("[") else plain_scalar(text)


def counts(report: Report) -> Markup:
    """Count the verdicts in a few words."""
    words = (("short", "short"), ("close", "close"), ("unknown", "not judged"), ("holds", "hold"))
    shown = [
        tag("span", tag("b", n), f" {word}", data_verdict=verdict, class_="count")
        for verdict, word in words
        if (n := sum(f.verdict == verdict for f in report.findings))
    ]
    return tag("span", shown, class_="counts")


def first_line(report: Report) -> str:
    """What to look at first, in one sentence."""
    if report.causes:
        return report.causes[0].lead.because
    unknown = len(report.of("unknown"))
    if unknown:
        return f"Nothing is short among what is judged; {counted(unknown, 'finding')} cannot be judged yet."
    return "Nothing is short."


def _held_against(tried: Tried, after: Report) -> Markup:
    """Say what a change did: verdicts that turned, and points."""
    old = {key_of(f): f for f in tried.before.findings}
    turned = [f for f in after.findings if key_of(f) in old and old[key_of(f)].verdict != f.verdict]
    fresh = [f for f in after.findings if key_of(f) not in old and f.verdict == "short"]
    was, now = len(tried.before.short), len(after.short)
    rows = [tag("li", f"{SAID[old[key_of(f)].verdict]} → {SAID[f.verdict]}: {f.because}") for f in turned[:8]]
    rows += [tag("li", f"new, short: {f.because}") for f in fresh[:4]]
    points: Content = tag("p", "Points: the same matches are being played …", class_="fine")
    if tried.points is not None:
        points = tag("p", _points(*tried.points))
    return tag(
        "div",
        tag("h2", f"Tried: {tried.sentence}"),
        tag("p", f"Short: {was} before, {now} after."),
        tag("ul", rows) if rows else tag("p", "No verdict turned."),
        points,
        tag(
            "div",
            tag("button", "Keep it", type="button", class_="main", data_do="keep-tried"),
            tag("button", "Drop it", type="button", data_do="drop-tried"),
            class_="choices",
        ),
        class_="tried",
    )


def _points(before: float | None, after: float | None) -> str:
    if before is None or after is None:
        return "Points: there is no plan to play."
    change = after - before
    sign = "+" if change >= 0 else "−"
    means = f"{digits(before, 3)} before, {digits(after, 3)} after"
    return f"Points in {_RUNS} matches, the same before and after: {means} ({sign}{digits(abs(change), 2)})."
