"""The match plan as cards: dragged or moved by buttons, repeated, timed, with the planned match drawn under them."""

from __future__ import annotations

import copy
from typing import Any

from fieldworthy.files.document import BadInput, KeyPath
from fieldworthy.web.components import pictures_of
from fieldworthy.web.form import files_of
from fieldworthy.web.judging import Source
from fieldworthy.web.markup import Content, Markup, address, plain_sentences, sentences, tag
from fieldworthy.web.page import Page
from fieldworthy.web.placing import field_drawn, place_moved
from fieldworthy.web.runs import drawn_plan

_FIELD = (
    "Drag a place, or choose one and press the arrow keys (Shift: 1 mm). It moves in the season, for every robot that "
    "plays it. A click opens its form."
)
_PERIODS = {"autonomous": "Autonomous", "driven": "Driven", "finish": "Kept for the end"}


def plan_of(source: Source) -> tuple[dict[str, Any], tuple[str, ...], tuple[str, ...]]:
    """The plan as the file has it, the actions and the places that it can name."""
    files = files_of(source)
    plan = files.data(("plan",))
    actions, places = files.data(("actions",)), files.data(("season", "field", "places"))
    return (
        copy.deepcopy(plan) if isinstance(plan, dict) else {},
        tuple(actions) if isinstance(actions, dict) else (),
        tuple(places) if isinstance(places, dict) else (),
    )


def steps_of(plan: dict[str, Any], period: str) -> list[Any]:
    """The cards of a period."""
    there = plan.get(period)
    steps = there.get("steps") if period == "finish" and isinstance(there, dict) else there
    return steps if isinstance(steps, list) else []


def place_of(key: str) -> KeyPath:
    """Read where a card is: ``driven 0 1`` is the second card of the group that comes first."""
    period, *rest = key.split() or [""]
    return (period, *(int(part) for part in rest if part.isdecimal()))


def _list_at(plan: dict[str, Any], place: KeyPath) -> list[Any]:
    steps = steps_of(plan, str(place[0]))
    if len(place) == 3:
        group = steps[int(place[1])]
        inner = group.get("repeat")
        return inner if isinstance(inner, list) else []
    return steps


def moved(plan: dict[str, Any], of: KeyPath, to: KeyPath) -> dict[str, Any]:
    """Take a card from its place and put it before another; behind the last where that place is past the end."""
    new = copy.deepcopy(plan)
    source, target = _list_at(new, of), _list_at(new, to)
    card = source[int(of[-1])]
    if "repeat" in card and (len(to) == 3 or to[0] == "finish"):
        return plan  # a group stands in no other group, and nothing is repeated at the end
    mark: dict[str, Any] = {}
    target.insert(int(to[-1]), mark)
    source[:] = [item for item in source if item is not card]
    target[next(i for i, item in enumerate(target) if item is mark)] = card
    return _tidied(new)


def _tidied(plan: dict[str, Any]) -> dict[str, Any]:
    """Leave out groups that nothing is left of."""
    for period in ("autonomous", "driven"):
        steps = steps_of(plan, period)
        steps[:] = [item for item in steps if not (isinstance(item, dict) and item.get("repeat") == [])]
    return plan


def without(plan: dict[str, Any], of: KeyPath) -> dict[str, Any]:
    """Take a card out."""
    new = copy.deepcopy(plan)
    del _list_at(new, of)[int(of[-1])]
    return _tidied(new)


def regrouped(plan: dict[str, Any], of: KeyPath) -> dict[str, Any]:
    """Make a group of a card that is repeated twice; or take a group apart."""
    new = copy.deepcopy(plan)
    steps = _list_at(new, of)
    card = steps[int(of[-1])]
    steps[int(of[-1]) : int(of[-1]) + 1] = card.get("repeat", [{"times": 2, "repeat": [card]}])
    return new


def changes_of(before: dict[str, Any], after: dict[str, Any]) -> dict[KeyPath, object]:
    """What to change in the file for another plan."""
    found: dict[KeyPath, object] = {}
    if before.get("start") != after.get("start"):
        found[("plan", "start")] = after.get("start")
    for period in _PERIODS:
        if steps_of(before, period) != steps_of(after, period):
            found[("plan", period, "steps") if period == "finish" else ("plan", period)] = steps_of(after, period)
    return found


async def build_plan(page: Page) -> None:
    """Show the cards."""
    page.on("drop", lambda data: _to(page, str(data.get("of")), str(data.get("value"))))
    page.on("step", lambda data: _by(page, str(data.get("of")), str(data.get("way"))))
    page.on("card", lambda data: _card(page, data))
    page.on("start", lambda data: _change(page, lambda plan: plan | {"start": str(data.get("value"))}))
    page.on("out", lambda data: _change(page, lambda plan: without(plan, place_of(str(data.get("of"))))))
    page.on("repeat", lambda data: _change(page, lambda plan: regrouped(plan, place_of(str(data.get("of"))))))
    page.on("one-more", lambda data: _one_more(page, str(data.get("of"))))
    page.on("placed", lambda data: _placed(page, data))
    page.on("pick", lambda data: page.go(address("build", file=page.file, key=str(data.get("of")))))
    page.on_judged(lambda: page.later(_show(page)))
    await _show(page)


async def _placed(page: Page, data: dict[str, Any]) -> None:
    """Take in where a place of the field was dragged to."""
    if page.draft is None:
        return
    try:
        by = tuple(max(-100.0, min(100.0, float(data.get(axis) or 0.0))) for axis in ("dx", "dy", "dz"))
    except (TypeError, ValueError):
        return
    key = str(data.get("of"))
    page.put("field-said", "")
    try:
        changes = await page.queue.sketch(place_moved, page.draft.source, key, by)
        await page.editor.try_change(changes, ("placed", key))
    except BadInput as error:
        page.put("field-said", sentences(error.problems[:1]))
    page.put("plan-field", await page.work.sketch(field_drawn, page.draft.source) or "")


async def _show(page: Page) -> None:
    if page.draft is None:
        return
    try:
        plan, actions, places = await page.queue.form(plan_of, page.draft.source)
    except BadInput as error:
        page.put("plan-cards", plain_sentences(error.problems))
        return
    columns = [_period(page, plan, period, actions, places) for period in _PERIODS]
    page.put("plan-cards", columns if actions and places else _lacking(actions))
    options = [tag("option", name, value=name, selected=name == plan.get("start")) for name in places]
    start = tag("select", options, data_change="start", disabled=not page.may_change)
    page.put("plan-start", tag("label", "It starts at ", start) if plan else "")
    page.put("plan-field", await page.work.sketch(field_drawn, page.draft.source) or "")
    page.put("plan-said", plain_sentences(page.problems) if page.problems else "")
    if plan and not page.problems:
        figures = await page.work.aside(drawn_plan, page.draft.source, page.look())
        if page.view == "build":
            page.put("plan-time", pictures_of(page, figures or ()))


def plan_body(page: Page) -> Content:
    """The places that the view fills."""
    del page
    told = "What is done where, and in which order. Drag a card, or use its arrows; the match under it follows."
    return [
        tag("p", told, class_="lead"),
        tag("div", id="plan-start", class_="tools"),
        tag("div", id="plan-said", class_="said"),
        tag("div", id="plan-cards", class_="plan"),
        tag(
            "section",
            tag("div", id="plan-field", class_="drawings field-of"),
            tag("p", _FIELD, class_="fine"),
            tag("p", id="field-said", class_="said", role="alert"),
        ),
        tag("div", id="plan-time", class_="figures"),
    ]


def _lacking(actions: tuple[str, ...]) -> Markup:
    what = "places: name them in the season, under Places on the field" if actions else "actions: add one under Match"
    return tag("p", f"A plan needs {what}.")


def _period(page: Page, plan: dict[str, Any], period: str, actions: tuple[str, ...], places: tuple[str, ...]) -> Markup:
    known = (actions, places)
    cards = [_one(page, item, f"{period} {i}", known) for i, item in enumerate(steps_of(plan, period))]
    more: Content = ""
    if page.may_change and (period != "finish" or steps_of(plan, period)):
        more = tag("button", "Add a step", type="button", data_do="one-more", data_of=period,
                   aria_label=f"Add a step: {_PERIODS[period]}")  # fmt: skip
    end = tag("li", more, class_="end", data_drop=f"{period} {len(cards)}")
    return tag("section", tag("h2", _PERIODS[period]), tag("ol", cards, end, class_="cards"))


def _one(page: Page, item: Any, key: str, known: tuple[tuple[str, ...], tuple[str, ...]]) -> Markup:
    if not isinstance(item, dict):
        return tag("li", str(item), class_="card")
    if "repeat" in item:
        inner = [_one(page, step, f"{key} {j}", known) for j, step in enumerate(item.get("repeat") or [])]
        times = _box(page, key, "times", "times", item.get("times"))
        until = _box(page, key, "until", "or until", item.get("until"))
        head = tag("div", tag("b", "Repeat"), times, until, class_="tools")
        end = tag("li", class_="end", data_drop=f"{key} {len(inner)}")
        body = [head, tag("ol", inner, end, class_="cards"), _acts(page, key, "this group", group=True)]
        return tag("li", body, class_="card group-of", data_drag=key, draggable="true" if page.may_change else None)
    label = f"{item.get('action')} at {item.get('at')}"
    chosen = [
        _choice(page, key, part, word, item.get(part), names)
        for part, word, names in (("action", "Action", known[0]), ("at", "at", known[1]))
    ]
    return tag("li", tag("div", chosen, class_="tools"), _acts(page, key, label, group=False), class_="card",
               data_drag=key, data_drop=key, draggable="true" if page.may_change else None)  # fmt: skip


def _choice(page: Page, key: str, part: str, word: str, value: Any, names: tuple[str, ...]) -> Markup:
    listed = names if value in names else (str(value), *names)
    options = [tag("option", name, value=name, selected=name == value) for name in listed]
    box = tag("select", options, data_change="card", data_of=key, data_part=part, disabled=not page.may_change,
              data_key=f"{part} {key}")  # fmt: skip
    return tag("label", tag("span", word, class_="unseen" if part == "action" else None), " ", box)


def _box(page: Page, key: str, part: str, word: str, value: Any) -> Markup:
    box = tag("input", type="text", value="" if value is None else str(value), data_change="card", data_of=key,
              data_part=part, size=5, readonly=not page.may_change, autocomplete="off", data_key=f"{part} {key}",
              placeholder="60 s" if part == "until" else "")  # fmt: skip
    return tag("label", word, " ", box)


def _acts(page: Page, key: str, label: str, *, group: bool) -> Content:
    if not page.may_change:
        return ""
    buttons = [("↑", "step", "up", "earlier"), ("↓", "step", "down", "later")]
    shown = [
        tag("button", sign, type="button", class_="quiet", data_do=do, data_of=key, data_way=way,
            aria_label=f"{label}, {said}", data_key=f"{way} {key}")
        for sign, do, way, said in buttons
    ]  # fmt: skip
    if group or len(place_of(key)) == 2:
        word = "Take apart" if group else "Repeat"
        if not key.startswith("finish"):
            shown.append(tag("button", word, type="button", class_="quiet", data_do="repeat", data_of=key,
                             aria_label=f"{word}: {label}"))  # fmt: skip
    out = tag("button", "Take away", type="button", class_="quiet", data_do="out", data_of=key,
              aria_label=f"Take away {label}")  # fmt: skip
    return tag("div", shown, out, class_="acts")


async def _change(page: Page, make: Any) -> None:
    """Change the plan, and say below the heading what cannot be."""
    if page.draft is None:
        return
    plan, _, _ = await page.queue.form(plan_of, page.draft.source)
    try:
        changes = changes_of(plan, make(plan))
        if changes:
            await page.editor.try_change(changes)
    except (IndexError, KeyError, ValueError):
        await _show(page)  # the card is not where it was: another window moved it
    except BadInput as error:
        await _show(page)
        page.put("plan-said", plain_sentences(error.problems[:1]))


async def _to(page: Page, of: str, to: str) -> None:
    if of and to and of != to and of.split(maxsplit=1)[0] in _PERIODS and to.split(maxsplit=1)[0] in _PERIODS:
        await _change(page, lambda plan: moved(plan, place_of(of), place_of(to)))


async def _by(page: Page, of: str, way: str) -> None:
    place = place_of(of)
    if len(place) < 2:
        return  # a whole period does not move
    last = int(place[-1])
    to = (*place[:-1], last - 1) if way == "up" else (*place[:-1], last + 2)
    if int(to[-1]) >= 0:
        await _change(page, lambda plan: moved(plan, place, to))


async def _card(page: Page, data: dict[str, Any]) -> None:
    place, part, said = place_of(str(data.get("of"))), str(data.get("part")), str(data.get("value"))[:80].strip()

    def make(plan: dict[str, Any]) -> dict[str, Any]:
        new = copy.deepcopy(plan)
        card = _list_at(new, place)[int(place[-1])]
        card.pop(part, None)
        if said:
            card[part] = int(said) if part == "times" and said.isdecimal() else said
        return new

    if part in ("action", "at", "times", "until"):
        await _change(page, make)


async def _one_more(page: Page, period: str) -> None:
    if page.draft is None or period not in _PERIODS:
        return
    _, actions, places = await page.queue.form(plan_of, page.draft.source)

    def make(plan: dict[str, Any]) -> dict[str, Any]:
        new = copy.deepcopy(plan)
        new.setdefault("start", places[0])
        if period != "finish":
            new.setdefault(period, [])
        steps_of(new, period).append({"action": actions[0], "at": places[-1]})
        return new

    await _change(page, make)
