"""The start page: the folder's robots and seasons, a new robot by a short form, a file brought along."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from fieldworthy.engine.system import shelf
from fieldworthy.files.document import BadInput, KeyPath, Problem, read_text
from fieldworthy.files.writing import written
from fieldworthy.robot.loading import builtin_names
from fieldworthy.robot.shelf import Typical, completed
from fieldworthy.robot.starter import AnswerError, Meets, gather, meets, starter_robot, starter_season
from fieldworthy.web.components import field, heading, upload
from fieldworthy.web.folder import Entry
from fieldworthy.web.markup import Content, Markup, address, tag
from fieldworthy.web.page import Page

T = TypeVar("T")
_MOTOR = "smart motor, 11 W class, 600 rpm"
_LIMITS = (
    ("mass", "Largest mass", "Such as 9 kg."),
    ("stowed_size", "Largest size at the start", "Length, width, height: 18 in, 18 in, 18 in."),
    ("extended_size", "Largest size later on", "Length, width, height, unfolded."),
    ("motors", "Largest number of motors", ""),
    ("motor_power", "All motors together", "Such as 88 W."),
    ("tanks", "Largest number of tanks", ""),
    ("charge_pressure", "Highest pressure", "Such as 100 psi."),
)
"""What a season may limit: its key, what it is called, how it is written."""


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
            tag(
                "a",
                "Variants and history",
                href=address("versions", file=e.name),
                data_go=True,
                aria_label=f"Variants and history of {e.title}",
            )
            if e.kind == "robot"
            else "",
            class_=f"entry {e.kind}",
        )
        for e in entries
    ]
    body = tag("ul", rows, class_="entries") if rows else tag("p", otherwise)
    return tag("section", tag("h2", title), body)


def _new(page: Page, *, first: bool) -> Markup:
    seasons = [e.name for e in page.workspace.folder.entries() if e.kind == "season" and "/" not in e.name]
    season = seasons[0] if seasons else "season.yaml"
    steps: list[tuple[str, str, list[Content]]] = [
        ("What is it called?", "", [
            field("Name", "name", "", hint="It names the file too.", required=True),
            field("Units that you measure in", "units", "metric", options=["metric", "inch"]),
        ]),
        ("How large and how heavy?", "A guess will do; the scales know better later.", [
            field("Weight, all of it", "mass", "6.5 kg"),
            field("Length", "length", "400 mm"),
            field("Width", "width", "380 mm"),
            field("Height", "height", "350 mm"),
        ]),
        ("How does it drive?", "", [
            field("Drive motors", "motor", _MOTOR, options=builtin_names("motors")),
            field("How many of them", "motors", "4"),
            field("Drive wheels, both sides together", "wheels", "4"),
            field("Their diameter", "wheel-size", "2.75 in"),
            field("Teeth motor : wheel", "gearing", "48:60", hint="'direct' where there are no gears."),
        ]),
        ("Air, or none?", "", [field("Air tanks", "tanks", "0", hint="What you choose below and needs air gets one.")]),
        ("What is on it?", "Each comes with the numbers of an invented team, all estimates. More can be added later.",
         [_choice(place, typical) for place, typical in _offered()]),
        ("What does your season allow?", "Leave empty what you do not know: it is listed as not judged.", [
            field("Season file, in the same folder", "season", season, hint="Written if it is not there yet."),
            *(field(label, f"limit-{key}", "", hint=hint) for key, label, hint in _LIMITS),
        ]),
        ("How long is it to the event?", "", [field("Work time that is left", "hours", "", hint="Such as 20 h.")]),
    ]  # fmt: skip
    rows = [
        tag("fieldset", tag("legend", f"{number}. {title}"), tag("p", told, class_="fine") if told else "",
            tag("div", boxes, class_="fields"))
        for number, (title, told, boxes) in enumerate(steps, 1)
    ]  # fmt: skip
    form = tag(
        "form",
        rows,
        tag("p", id="new-said", role="alert", class_="said"),
        tag("button", "Make the file", type="submit", class_="main"),
        data_submit="new",
        class_="steps-form",
    )
    return tag("details", tag("summary", tag("h2", "New robot")), form, open=first, class_="panel")


def _offered() -> list[tuple[int, Typical]]:
    """What of the shelf a first robot may have, with its place there."""
    return [(place, typical) for place, typical in enumerate(shelf()) if typical.into == ("mechanisms",)]


def _choice(place: int, typical: Typical) -> Markup:
    box = tag("input", type="checkbox", name=f"shelf-{place}", id=f"in-shelf-{place}")
    return tag("div", box, tag("label", typical.name, for_=f"in-shelf-{place}"), tag("small", typical.about),
               class_="field ticked")  # fmt: skip


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
        first = error.problems[0]
        page.put("new-said", f"{first.expected[:1].upper()}{first.expected[1:]}.")
        asked = "in-hours" if first.key[:1] == ("hours_left",) else f"in-limit-{'.'.join(map(str, first.key[1:2]))}"
        page.call("mark", asked, {"aria-invalid": "true"})
        page.call("focus", asked)
        return
    page.note(f"Wrote {name}: a first robot, as far as it is known. The strip says what is not judged yet.")
    await page.go(address("build", file=name))


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
    if not fresh and (answered := _wanted(values)):  # never taken and then left out without a word
        told = (
            f"{answers.season} is there already and has limits of its own; change them in Build, or name another file"
        )
        raise AnswerError(f"limit-{next(iter(answered))[-1]}", told)
    texts = {file: starter_robot(answers, Meets() if fresh else meets(season))}
    if fresh:
        texts[season] = starter_season(answers.inch)
    texts = _completed(file, texts, values, fresh=fresh)
    there = {path: read_text(path) if path.exists() else "" for path in texts}
    written(texts, copy_dated=None, expect=there)
    return folder.name(file)


def _completed(file: Path, texts: dict[Path, str], values: Mapping[str, Any], *, fresh: bool) -> dict[Path, str]:
    """Put on a first robot what was chosen, and into a season that is new what is known of it."""
    chosen = [typical for at, typical in _offered() if values.get(f"shelf-{at}")]
    wanted = _wanted(values) if fresh else {}
    if hours := str(values.get("hours") or "").strip()[:60]:
        wanted[("hours_left",)] = hours
    return completed(file, texts, chosen, wanted)


def _wanted(values: Mapping[str, Any]) -> dict[KeyPath, object]:
    """The limits that were answered."""
    found: dict[KeyPath, object] = {}
    for key, _, _ in _LIMITS:
        said = str(values.get(f"limit-{key}") or "").strip()[:200]
        if said:
            parts = [part.strip() for part in said.split(",")]
            number = int(said) if said.isdecimal() and len(said) < 6 else said
            found[("season", "limits", key)] = parts if key.endswith("size") else number
    return found
