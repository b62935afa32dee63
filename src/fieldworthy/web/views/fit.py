"""What the readings tell: beside the robot file, in figures, and taken into the robot where the person wants that."""

from __future__ import annotations

import os
from datetime import date
from typing import Any

from fieldworthy.engine.finding import title_of
from fieldworthy.measure import Comparison
from fieldworthy.measure.fit import FitReport, Touched, matters
from fieldworthy.units import counted, digits, labelled
from fieldworthy.web.components import follow, pictures_of, values_of
from fieldworthy.web.jobs import Job
from fieldworthy.web.markup import SAID, Content, Markup, chance_text, tag
from fieldworthy.web.page import Page
from fieldworthy.web.readings import Readings
from fieldworthy.web.runs import Card, FitShown, changed_words, drawn_readings, fitted, taken

SIGNS = {
    "agrees": "✓ agrees",
    "sharper": "✓ sharper",
    "unlikely": "✗ unlikely",
    "unstated": "+ new",
    "differs": "+ newer",
}
_WAITS = "All procedures are fitted, then every finding is held against them: some seconds, with logs half a minute."


def build_fit(page: Page, readings: Readings, some: bool) -> None:
    """Show the button that fits, and what came of it where it was fitted before."""
    job = page.queue.newest(fitted, page.draft.file) if page.draft else None
    shown = job is not None and job.over and isinstance(job.result, FitShown)
    button = tag("button", "Fit the readings", type="button", data_do="fit", class_="main")
    page.put(
        "measured-fit",
        tag("h2", "What the readings tell") if some else "",
        tag("div", button, class_="tools") if some else "",
        tag("div", id="fit-run", role="status"),
        tag("div", id="fit-stale"),
        tag("div", id="fit-taken", role="status"),
        tag("div", id="fit-found"),
    )
    page.on("fit", lambda _: _fit(page, readings))
    page.on("stop", lambda _: _stop(page))
    page.on_judged(lambda: _stale(page, readings))
    if job is not None and (shown or not job.over):
        follow(page, job, _show, "fit-run", _WAITS)
        _stale(page, readings)


def _fit(page: Page, readings: Readings) -> None:
    if page.draft is None or page.problems:
        page.note("The robot's file has mistakes: mend them first.", bad=True)
        return
    title = f"Fit of {readings.file.name}"
    page.put("fit-stale", "")
    page.put("fit-taken", "")
    follow(page, page.queue.start(title, fitted, page.draft.source, readings, page.display.units), _show, "fit-run",
           _WAITS)  # fmt: skip


def _stop(page: Page) -> None:
    job = page.queue.newest(fitted, page.draft.file) if page.draft else None
    if job is not None and not job.over:
        page.queue.stop(job)


def _stale(page: Page, readings: Readings) -> None:
    """Say whether what is shown belongs to other readings, or to another state of the robot."""
    job = page.queue.newest(fitted, page.draft.file) if page.draft else None
    if page.draft is None or job is None or not isinstance(job.result, FitShown):
        return
    old = []
    if job.result.readings != readings:
        old.append("The readings have changed since this fit")
    if job.result.source != page.draft.source:
        old.append("The robot has changed since this fit")
    if job.result.units != page.display.units:
        old.append("This fit is told in other units")
    page.put("fit-stale", tag("p", ". ".join(old) + ": fit again.", class_="caution") if old else "")


async def _show(page: Page, job: Job) -> None:
    if page.view != "measurements" or page.query.get("part"):
        return
    shown: FitShown = job.result
    report = shown.report
    page.on("accept", lambda data: _accept(page, shown, values_of(data)))
    page.on("accept-all", lambda _: _take(page, shown, tuple(item.key for item in shown.held)))
    page.on("readings-of", lambda data: _figures(page, shown, str(data.get("place"))))
    page.put(
        "fit-found",
        _predicted(shown.cards),
        _contradictions(shown.held),
        _against(page, shown.held) if shown.held else tag("p", "These readings tell no number of the robot file."),
        _untold(shown.cards),
        _refused(page, report),
        _touched(report),
        tag("h3", "Each procedure"),
        [_card(card, place) for place, card in enumerate(shown.cards)],
        tag("h3", "Cautions"),
        tag("ul", [tag("li", caution) for caution in report.cautions], class_="caution"),
    )


def _predicted(cards: tuple[Card, ...]) -> Content:
    """Readings that the robot file did not lead one to expect, before anything was fitted."""
    odd = [one for card in cards for one in card.procedure.predictions if not one.agrees]
    if not odd:
        return ""
    rows = [tag("li", one.sentence) for one in sorted(odd, key=lambda one: -abs(one.deviations))]
    title = tag("h3", "Readings that the robot file does not predict")
    return tag("div", title, tag("ul", rows), class_="caution", id="fit-predicted")


def _contradictions(held: tuple[Comparison, ...]) -> Content:
    apart = [item for item in held if item.contradict]
    if not apart:
        return ""
    rows = [tag("li", item.sentence) for item in apart]
    return tag("div", tag("h3", "Contradictions: look for what went wrong"), tag("ul", rows), class_="trouble")


def _against(page: Page, held: tuple[Comparison, ...]) -> Markup:
    """Each value beside the file's, with a box where the person may take it."""
    rows = [_compared(page, item, place) for place, item in enumerate(held)]
    title, listed = f"Measured beside {page.file.rpartition('/')[2]}", tag("ul", rows, class_="held")
    if not page.may_change:
        return tag("section", tag("h3", title), listed)
    some = tag("button", "Take the ticked ones into the robot", type="submit", class_="main")
    every = tag("button", "Take all", type="button", data_do="accept-all")
    fine = tag("p", "Value, tolerance, 'measured' and the day go into the robot as a change that you can undo; it is "
               "in the file once you save.", class_="fine")  # fmt: skip
    fields = tag("fieldset", tag("legend", title), listed)
    return tag("form", fields, tag("div", some, every, class_="tools"), fine, data_submit="accept")


def _compared(page: Page, item: Comparison, place: int) -> Markup:
    words = [tag("span", SIGNS[item.standing], class_="verdict"), " ", tag("span", item.sentence)]
    if not page.may_change:
        return tag("li", tag("p", words), data_standing=item.standing)
    ticked = not item.contradict and item.standing != "agrees"
    box = tag("input", type="checkbox", name=f"k{place}", value=item.key, checked=ticked)
    return tag("li", tag("label", box, tag("span", words)), data_standing=item.standing)


def _untold(cards: tuple[Card, ...]) -> Content:
    rows = [tag("li", why, " ", tag("b", "→ "), reading) for card in cards for why, reading in card.untold]
    return tag("section", tag("h3", "What cannot be told, and what would tell it"), tag("ul", rows)) if rows else ""


def _refused(page: Page, report: FitReport) -> Content:
    if not report.refused:
        return ""
    root = f"{page.workspace.folder.root}{os.sep}"
    rows = [tag("li", f"{why.replace(root, '')}.") for why in report.refused]
    said = "All of them together cannot be taken into the robot; fewer may:"
    return tag("div", tag("p", said), tag("ul", rows), class_="trouble")


def _touched(report: FitReport) -> Content:
    """What the findings say with the measured values in place of the file's."""
    if report.refused or not report.comparisons:
        return ""
    findings = [t for t in report.touched if t.verdict_after or t.verdict_before]
    much = [t for t in findings if matters(t)]
    little = [t for t in findings if not matters(t)]
    facts = [t for t in report.touched if not (t.verdict_after or t.verdict_before)]
    if not report.touched:
        return tag("p", "No check changes with the measured values laid in.")
    more = ""
    if little or facts:
        less = counted(len(little), "finding that moves", "findings that move")
        told = f"{less} by less than a hundredth, and {counted(len(facts), 'number')} without a limit"
        more = tag("details", tag("summary", told), tag("ul", [_moved(t) for t in (*little, *facts)], class_="held"))
    rows = tag("ul", [_moved(t) for t in much], class_="held")
    return tag("section", tag("h3", "Findings, by the file and as measured"), rows, more)


def _moved(item: Touched) -> Markup:
    verdict = item.verdict_after or item.verdict_before
    turned = item.verdict_before != item.verdict_after and item.verdict_after
    before, after = (SAID.get(one, one) for one in (item.verdict_before, item.verdict_after))
    head = f"{before} → {after}" if turned else SAID.get(verdict, verdict)
    numbers = f"{title_of(item.id, item.subject)}: {_value(item.before, item.unit)} → {_value(item.after, item.unit)}"
    if item.chance_before is not None and item.chance_after is not None:
        numbers += f"; chance {chance_text(item.chance_before)} → {chance_text(item.chance_after)}"
    signed = {"holds": "✓ ", "close": "≈ ", "short": "✗ ", "unknown": "? "}.get(verdict, "")
    mark = tag("span", f"{signed}{head}", class_="verdict") if head else ""
    return tag("li", tag("p", mark, " ", item.because), tag("span", numbers, class_="path"), data_verdict=verdict)


def _value(value: float | None, unit: str) -> str:
    if value is None:
        return "not known"
    return labelled(digits(value), unit)


def _card(card: Card, place: int) -> Markup:
    day = f", {card.date}" if card.date else ""
    figures = ""
    if card.procedure.residuals:
        figures = tag("details", tag("summary", "Readings against the model"), tag("div", id=f"fig-of-{place}",
                      class_="figures"), data_open="readings-of", data_place=place)  # fmt: skip
    return tag("section", tag("h4", f"{card.title}{day}"), card_body(card), figures, class_="panel told")


def card_body(card: Card) -> Markup:
    """Say what one procedure tells."""
    values = [tag("li", f"{text}.") for text in card.told]
    blind = [tag("li", f"? {why}", " ", tag("b", "→ "), reading) for why, reading in card.untold]
    notes = [tag("li", note, class_="fine") for note in card.notes]
    return tag("ul", values, blind, notes)


async def _figures(page: Page, shown: FitShown, place: str) -> None:
    if place.isdigit() and int(place) < len(shown.cards):
        found = await page.work.draw(drawn_readings, shown.source, shown.cards[int(place)].procedure, page.look())
        page.put(f"fig-of-{place}", pictures_of(page, found or ()))


async def _accept(page: Page, shown: FitShown, values: dict[str, Any]) -> None:
    known = {item.key for item in shown.held}
    chosen = tuple(str(key) for name, key in values.items() if name.startswith("k") and key in known)
    if not chosen:
        page.note("Nothing is ticked: tick what the robot is to take.", bad=True)
        return
    await _take(page, shown, chosen)


async def _take(page: Page, shown: FitShown, chosen: tuple[str, ...]) -> None:
    """Put measured values into the robot, unsaved, and say what that changes."""
    if page.draft is None or not page.may_change:
        return
    source = page.draft.source
    found = await page.work.draw(taken, source, shown.readings, shown.report.procedures, chosen, date.today())
    words = await page.work.draw(changed_words, source, found) if found else None
    if not found or words is None:
        return
    if not await page.editor.change(dict(found)):
        return
    title = f"{len(chosen)} measured values are in the robot now; save to keep them."
    page.put("fit-taken", tag("div", tag("p", tag("b", title)), tag("ul", [tag("li", word) for word in words]),
             class_="panel"))  # fmt: skip
    page.note(title)
