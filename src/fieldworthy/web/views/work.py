"""Until the next event: faults as they come in the pit, which costs most, and what to do in the hours that are left."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from fieldworthy.decide.faults import FixFirst
from fieldworthy.decide.work import REMEDIES, Work
from fieldworthy.files.document import BadInput, Problem
from fieldworthy.files.writing import fingerprint, written
from fieldworthy.measure.practice import log_of, with_fault, with_mended, with_uses
from fieldworthy.web.components import field, follow, heading, values_of
from fieldworthy.web.jobs import Job
from fieldworthy.web.markup import Markup, address, sentences, tag
from fieldworthy.web.page import Page
from fieldworthy.web.runs import faults_ranked, faults_told, work_left, working_names

_RUNS = 600
_PAST, _NAMES, _USES = "faults past", "faults names", "faults uses"
_ASKED = ("what", "where", "date", "event", "match", "lost")
_SLOW = "The plan is being played with each of them mended, and the plans next to it as well."


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the form of a fault asks: key, label, hint."""

    key: str
    label: str
    hint: str = ""


_REST = (
    _Asked("event", "Event", "Or: practice."),
    _Asked("match", "Match", "As the schedule calls it."),
    _Asked("lost", "Time lost", "Such as 20 s, if you know."),
)


def build(page: Page) -> None:
    """Show the form of a fault first: it is filled in beside the field, on a phone."""
    page.fill(
        heading("Faults and work", "remedy", "value of information"),
        tag("p", "What fails, what that costs, and what to do until the next event.", class_="lead"),
        _form() if page.may_change else "",
        tag("section", tag("h2", "Mend first"), tag("div", id="faults-list"), tag("div", id="faults-uses"),
            tag("div", id="match-run", role="status")),
        tag("section", tag("h2", "Work to the next event"), tag("div", id="work-list"),
            tag("div", id="work-run", role="status")),
    )  # fmt: skip
    page.on("fault", lambda data: _enter(page, values_of(data)))
    page.on("uses", lambda data: _count(page, values_of(data)))
    page.on("mended", lambda data: _mended(page, str(data.get("of"))))
    page.on("take-back", lambda _: _take_back(page))
    page.on("stop", lambda _: _stop(page))
    page.on_judged(lambda: page.later(_read(page)))
    page.later(_read(page))


def _form() -> Markup:
    day = field("Day", "date", date.today().isoformat())
    boxes = [
        tag("div", tag("label", "What failed", for_="in-what"),
            tag("input", type="text", id="in-what", name="what", list="faults-known", maxlength=120, required=True,
                autocomplete="off", aria_describedby="in-what-hint"),
            tag("datalist", id="faults-known"),
            tag("small", "In the same few words each time.", id="in-what-hint"), class_="field"),
        tag("div", tag("label", "Where", for_="in-where"), tag("select", id="in-where", name="where"), class_="field"),
        *(field(asked.label, asked.key, "", hint=asked.hint) for asked in _REST),
        day,
    ]  # fmt: skip
    only = tag("label", tag("input", type="checkbox", name="harmless", value="yes"),
               " it only cost time, the action worked", class_="choice")  # fmt: skip
    return tag(
        "form",
        tag("h2", "Something failed"),
        tag("p", "Switch the robot off and let the air out before you reach into it.", class_="caution"),
        tag("div", boxes, class_="fields"),
        only,
        tag("p", id="fault-said", role="alert", class_="said"),
        tag("button", "Write it down", type="submit", class_="main"),
        data_submit="fault",
        class_="panel entering",
    )


def _log(page: Page) -> Path | None:
    return log_of(page.draft.file) if page.draft else None


def _text_of(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return ""


async def _read(page: Page) -> None:
    """Show the faults that are written down, and have them ranked."""
    draft, log = page.draft, _log(page)
    if draft is None or log is None or page.view != "work":
        return
    if page.problems:
        page.put("faults-list", tag("p", "The file has mistakes: mend them first."))
        return
    names = await page.work.compute(working_names, draft.source)
    if names is not None and page.tab.notes.get(_NAMES) != (page.builds, names):  # what is chosen there stays chosen
        page.tab.notes[_NAMES] = (page.builds, names)
        page.put("in-where", [tag("option", name, value=name) for name in names])
    text = _text_of(log)
    _show_known(page)
    if text:
        page.put("faults-list", tag("p", "Working it out …"))
        told = await page.work.compute(faults_told, draft.source, log, text)
        if told is not None:
            _show_faults(page, told, None)
    else:
        page.put("faults-list", tag("p", f"No fault is written down yet. They go into {log.name}."))
        _ask_uses(page, ())
    if page.judged is not None and page.view == "work":
        _start(page, log, text)


def _start(page: Page, log: Path, text: str) -> None:
    """Have the matches played that the order hangs on."""
    assert page.draft is not None
    source = page.draft.source
    before = page.queue.newest(faults_ranked, source.file)
    if before is not None and before.state == "waits":
        page.queue.stop(before)  # it is about a log that says something else by now
    if text:
        follow(page, page.queue.start("Faults, by what they cost", faults_ranked, source, log, text, _RUNS), _ranked,
               first=_SLOW)  # fmt: skip
    follow(
        page, page.queue.start("Work, by points an hour", work_left, source, _RUNS), _worked, "work-run", first=_SLOW
    )


def _stop(page: Page) -> None:
    for function in (faults_ranked, work_left):
        job = page.queue.newest(function, page.draft.file) if page.draft else None
        if job is not None and not job.over:
            page.queue.stop(job)


async def _ranked(page: Page, job: Job) -> None:
    found: FixFirst = job.result
    if page.view == "work" and page.draft and page.queue.newest(faults_ranked, page.draft.file) is job:
        _show_faults(page, tuple((f.risk.what, f.risk.where, f.because, f.risk.times) for f in found.fixes), found)
        page.put("match-run", "")


def _show_known(page: Page) -> None:
    past = page.tab.notes.get(_PAST)
    page.put("fault-said", "")
    if past and page.may_change:
        page.put("fault-said", tag("button", "Take the last entry back", type="button", class_="quiet",
                                   data_do="take-back"))  # fmt: skip


def _show_faults(page: Page, told: tuple[tuple[str, str, str, int], ...], found: FixFirst | None) -> None:
    rows = []
    for place, (what, where, because, times) in enumerate(told):
        fix = found.fixes[place] if found is not None else None
        cost = ""
        if fix is not None and fix.points is not None and fix.interval is not None:
            low, high = fix.interval
            cost = tag("small", f"{low:.1f} to {high:.1f} points (95 %)") if round(high, 1) else ""
        button = tag("button", "It is mended", type="button", data_do="mended", data_of=f"{where}|{what}",
                     aria_label=f"{what} is mended") if times and page.may_change else ""  # fmt: skip
        rows.append(tag("li", tag("span", because), cost, button, class_="fault"))
    page.put("faults-known", [tag("option", value=what) for what in dict.fromkeys(what for what, *_ in told)])
    more = tag("p", found.note, class_="fine") if found is not None else ""
    _ask_uses(page, tuple(dict.fromkeys(where for _, where, _, _ in told)) if page.may_change else ())
    page.put(
        "faults-list", tag("ol", rows, class_="faults") if rows else tag("p", "No fault is written down yet."), more
    )


def _ask_uses(page: Page, places: tuple[str, ...]) -> None:
    """Ask how often a thing was used, without which nobody can tell what a fault costs."""
    if page.tab.notes.get(_USES) == (page.builds, places):
        return  # what is typed there stays when the order arrives
    page.tab.notes[_USES] = (page.builds, places)
    boxes = [field("How often was this used?", "used", "", options=places), field("Times", "times", "")]
    form = tag("form", tag("div", boxes, class_="fields"), tag("button", "Count it", type="submit"),
               tag("p", id="uses-said", role="alert", class_="said"), data_submit="uses")  # fmt: skip
    page.put("faults-uses", form if places else "")


async def _worked(page: Page, job: Job) -> None:
    found: Work = job.result
    if page.view != "work":
        return
    left = "The file does not say how many hours are left." if found.left is None else f"{found.left:.0f} h are left."
    link = tag("a", "Change the hours", href=address("build", file=page.file, key="hours_left"), data_go=True)
    here = "'What would mend it?' in Margins"  # in place of the command, for who has no terminal
    jobs = [tag("li", one.sentence.replace(REMEDIES, here)) for one in found.jobs]
    skills = [tag("li", one.sentence) for one in found.skills[:5]]
    page.put("work-run", "")
    page.put(
        "work-list",
        tag("p", left, " ", link),
        tag("ol", jobs, class_="jobs") if jobs else tag("p", "Nothing is found that brings points."),
        tag("p", found.told),
        tag("p", found.spare.sentence) if found.spare is not None else "",
        [tag("h3", "Practice"), tag("ul", skills)] if skills else "",
    )


async def _enter(page: Page, values: dict[str, Any]) -> None:
    """Write a fault down, at once: nobody saves in the pit."""
    said = {
        key: str(values.get(key) or "").strip()[:120] for key in ("what", "where", "date", "event", "match", "lost")
    }
    entry: dict[str, object] = {key: value for key, value in said.items() if value}
    if values.get("harmless"):
        entry["failed"] = False
    if await _put(page, "fault-said", with_fault, entry):
        page.note(f"Written down: {said['what']}.")
        page.call("clear", "in-what")


async def _count(page: Page, values: dict[str, Any]) -> None:
    times = str(values.get("times") or "").strip()
    if not times.isdecimal() or len(times) > 6:
        page.put("uses-said", "Expected a whole number.")
        return
    if await _put(page, "uses-said", with_uses, {str(values.get("used")): int(times)}):
        page.put("uses-said", "")
        page.call("clear", "in-times")


async def _mended(page: Page, key: str) -> None:
    where, _, what = key.partition("|")
    await _put(page, "fault-said", with_mended, {"what": what, "where": where})


async def _put(page: Page, place: str, change: Any, entry: dict[str, object]) -> bool:
    """Change the log, whole or not at all, and never over another's entry."""
    draft, log = page.draft, _log(page)
    if draft is None or log is None or not page.editor.allowed():
        return False
    before = _text_of(log)
    try:
        after = await page.queue.quick.run(change, draft.source.file, before, tuple(entry.items()))
        await page.queue.quick.run(faults_told, draft.source, log, after)  # raises what cannot be
        written({log: after}, copy_dated=None, expect={log: fingerprint(before) if before else ""})
    except BadInput as error:
        page.put(place, _said(error.problems))
        return False
    past: list[tuple[str, str]] = page.tab.notes.setdefault(_PAST, [])  # type: ignore[assignment]
    past.append((before, after))
    await _read(page)
    return True


def _said(problems: tuple[Problem, ...]) -> str:
    return sentences(tuple(Problem(p.file, 1, 1, p.key[-1:], p.expected, p.suggestion) for p in problems[:2]))


async def _take_back(page: Page) -> None:
    """Put the log back to what it said before the last entry of this window."""
    log = _log(page)
    past: Any = page.tab.notes.get(_PAST)
    if log is None or not past or not page.editor.allowed():
        return
    before, after = past[-1]
    try:
        written({log: before}, copy_dated=None, expect={log: fingerprint(after)})
    except BadInput as error:
        page.put("fault-said", sentences(error.problems[:1]))
        return
    past.pop()
    page.note("Taken back.")
    await _read(page)
