"""The start page: the folder's robots and seasons, a new robot by a short form, a file brought along."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from fieldworthy.files.document import BadInput, Problem
from fieldworthy.files.writing import written
from fieldworthy.robot.answers import AnswerError, gather, meets
from fieldworthy.robot.loading import builtin_names
from fieldworthy.robot.starter import Meets, starter_robot, starter_season
from fieldworthy.web.components import field, heading, upload
from fieldworthy.web.folder import Entry
from fieldworthy.web.markup import Content, Markup, address, tag
from fieldworthy.web.page import Page

T = TypeVar("T")
_MOTOR = "smart motor, 11 W class, 600 rpm"


def build(page: Page) -> None:
    """Show what is in the folder, and how to begin."""
    entries = page.workspace.folder.entries()
    robots = [e for e in entries if e.kind == "robot"]
    seasons = [e for e in entries if e.kind == "season"]
    page.fill(
        heading("What will the robot really do?"),
        tag("p", f"In the folder {page.workspace.folder.root.name}", class_="lead"),
        _listed("Robots", robots, "There is no robot here yet. Answer a few questions below, and there is one."),
        _listed("Seasons", seasons, "") if seasons else "",
        _new(page, first=not robots) if page.may_change else "",
        _bring(page) if page.may_change else "",
        tag("p", "Results are estimates. The event's own rules and the makers' ratings come first.", class_="fine"),
    )
    page.on("new", lambda data: _made(page, dict(data.get("values") or {})))


def _listed(title: str, entries: list[Entry], otherwise: str) -> Markup:
    view = "margins" if title == "Robots" else "build"
    rows = [
        tag(
            "li",
            tag("a", e.title, href=address(view, file=e.name), data_go=True, class_="file"),
            tag("span", e.name, class_="path"),
            class_=f"entry {e.kind}",
        )
        for e in entries
    ]
    body = tag("ul", rows, class_="entries") if rows else tag("p", otherwise)
    return tag("section", tag("h2", title), body)


def _new(page: Page, *, first: bool) -> Markup:
    seasons = [e.name for e in page.workspace.folder.entries() if e.kind == "season" and "/" not in e.name]
    season = seasons[0] if seasons else "season.yaml"
    rows: list[Content] = [
        field("What is the robot called?", "name", "", hint="It names the file too.", required=True),
        field("Units that you measure in", "units", "metric", options=["metric", "inch"]),
        field("Weight, all of it", "mass", "6.5 kg"),
        field("Length", "length", "400 mm"),
        field("Width", "width", "380 mm"),
        field("Height", "height", "350 mm"),
        field("Drive motors", "motor", _MOTOR, options=builtin_names("motors")),
        field("How many of them", "motors", "4"),
        field("Drive wheels, both sides together", "wheels", "4"),
        field("Their diameter", "wheel-size", "2.75 in"),
        field("Teeth motor : wheel", "gearing", "48:60", hint="'direct' where there are no gears."),
        field("Air tanks", "tanks", "0"),
        field("Season file, in the same folder", "season", season, hint="Written if it is not there yet."),
    ]
    form = tag(
        "form",
        tag("div", rows, class_="fields"),
        tag("p", id="new-said", role="alert", class_="said"),
        tag("button", "Make the file", type="submit", class_="main"),
        data_submit="new",
    )
    return tag("details", tag("summary", tag("h2", "New robot")), form, open=first, class_="panel")


def _bring(page: Page) -> Markup:
    async def take(name: str, content: bytes) -> str:
        target = page.workspace.folder.path(name)
        if target.exists():
            raise BadInput([Problem(Path(name), 1, 1, (), f"{name} is in the folder already; give it another name")])
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise BadInput([Problem(Path(name), 1, 1, (), "expected UTF-8 text")]) from error
        written({target: text}, copy_dated=None, expect={target: ""})
        await page.again()
        page.note(f"{name} is in the folder now.")
        return f"{name} is in the folder now."

    what = "Robot, season or parts list (.yaml, .csv)"
    return tag("section", tag("h2", "Bring a file"), upload(page, what, (".yaml", ".yml", ".csv"), take))


async def _made(page: Page, values: dict[str, Any]) -> None:
    """Write a first robot file from the form's answers."""
    if not page.may_change:
        return
    try:
        name = write_new(page, values)
    except AnswerError as error:
        page.put("new-said", f"{error.message[:1].upper()}{error.message[1:]}.")
        page.call("mark", f"in-{error.question}", {"aria-invalid": "true"})
        page.call("focus", f"in-{error.question}")
        return
    except BadInput as error:
        page.put("new-said", "; ".join(p.expected for p in error.problems[:3]))
        return
    page.note(f"Wrote {name}: a first robot with comments in it. Make its numbers your own.")
    await page.go(address("margins", file=name))


def write_new(page: Page, values: dict[str, Any]) -> str:
    """Write a first robot file, and a season file beside it where there is none yet."""

    def get(question: str, default: str, words: str, read: Callable[[str], T]) -> T:
        del words  # the form has its own
        text = str(values.get(question) or default).strip()[:200]
        try:
            return read(text)
        except AnswerError:
            raise
        except ValueError as error:
            raise AnswerError(question, str(error)) from error

    folder = page.workspace.folder
    file = folder.path(folder.free_name(str(values.get("name") or "our robot")))
    answers = gather(get, file)
    season = folder.path(answers.season)
    fresh = not season.exists()
    text = starter_robot(answers, Meets() if fresh else meets(season))
    texts = ({season: starter_season(answers.inch)} if fresh else {}) | {file: text}
    written(texts, copy_dated=None, expect=dict.fromkeys(texts, ""))
    return folder.name(file)
