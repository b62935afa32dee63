"""What a search is asked: the file that says it, what may vary, what is wanted, and what must hold."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Annotated, Any, Literal

from fieldworthy.decide.change import CandidateEvaluator, Key, margins_of
from fieldworthy.decide.search.space import (
    Option,
    Space,
    Variable,
    in_whole,
    narrowed,
    number,
    what_varies,
    whole,
)
from fieldworthy.decide.search.without import Without, combinations, without
from fieldworthy.engine.finding import Outcome, check_named, first
from fieldworthy.engine.system import dangerous, is_rule
from fieldworthy.files import BadInput, Document, Of, Problem, Quantity, exact, instantiate, need, read_document
from fieldworthy.files.declare import Real
from fieldworthy.files.document import Fault, KeyPath, dotted, nearest, shorten
from fieldworthy.files.reading import checked
from fieldworthy.match import Part
from fieldworthy.match.forecast import refuse_unplayable
from fieldworthy.robot import Loaded
from fieldworthy.units import UnitError, digits, parse, to_unit, wanted

SURE = 0.95
PLAN = "plan"
AMOUNTS = {
    "points": ("mean points of a match", 1.0, ""),
    "careful points": ("points that 9 of 10 matches reach", 1.0, ""),
    "mass": ("mass of the robot", -1.0, "kg"),
    "hours": ("hours of work, build times and changes together, about", -1.0, "h"),
    "air left": ("gauge pressure left in the emptiest tank", 1.0, "bar"),
}
"""What may be wanted besides a finding's margin: in words, whether more is better, and the unit it is told in."""
PLAYED = ("points", "careful points", "air left")
"""What only matches tell."""
HOURS = ("hours left", "")
"""As something that must hold: the hours of work are no more than the robot's file says are left."""
_LISTED = 8
_MOST_LESS = 4  # mechanisms that may be left out: each doubles the number of robots
_MOST_VALUES = 400

Plain = str | int | float | bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Vary:
    """One thing that may vary."""

    key: str = need("key as findings write it; '*' stands for any name, and all that it meets change together; a "
                    "section for everything in it that can vary; plan for the order of actions")  # fmt: skip
    between: tuple[Plain, Plain] | None = exact(None, "the least and the greatest value")
    step: Plain | None = exact(None, "from one value to the next; what a workshop can make where absent")
    values: tuple[Plain, ...] | None = exact(None, "the only values that it may have")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.values is not None and self.between is not None:
            yield ("values",), "expected either 'values' or 'between'"
        if self.values is not None and not self.values:
            yield ("values",), "expected at least one value"


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchFile:
    """A search: what may vary, what is wanted, what must hold."""

    fieldworthy: Literal["search 1"] = need("what kind of file this is, and which version of its form: search 1")
    about: str = exact("", "a sentence or two for people")
    vary: tuple[Vary, ...] = need("what may vary")
    want: tuple[str, ...] = exact(("points",), f"{', '.join(AMOUNTS)}, or a finding's id for its margin; one or more")
    must: tuple[str, ...] = exact(
        (), "findings that must hold: ids or their beginnings; hours left, for work that is done in time"
    )
    chance: Annotated[Real, Of("ratio", 0.0, 1.0, above=True, fixed=True)] | None = exact(
        None, "chance with which they must hold; 0.95 where absent"
    )
    keep: bool = exact(True, "whether what holds now must go on holding")
    part: Part = exact("whole", "which part of the match counts: whole, autonomous, driven or solo")


@dataclass(frozen=True, slots=True)
class Objective:
    """One thing that is wanted.

    Attributes
    ----------
    name : As the person wrote it
    about : In words
    better : 1 where more is better, else -1
    unit : It is told in
    key : Of a finding whose margin it is
    """

    name: str
    about: str
    better: float
    unit: str
    key: Key | None = None


@dataclass(frozen=True, slots=True)
class Constraint:
    """A finding that must hold.

    Attributes
    ----------
    key : The finding
    chance : With which it must hold; 0 where the nominal robot alone counts
    why : ``limit`` of the season, ``must`` as asked, ``keep`` since it holds now, ``safe`` since something could burst,
        or would lie where nothing can
    """

    key: Key
    chance: float
    why: Literal["limit", "must", "keep", "safe"]


@dataclass(frozen=True)
class Asked:
    """A search as it was asked for.

    Attributes
    ----------
    space : What may vary
    objectives : What is wanted
    constraints : What must hold
    part : Which part of the match counts
    plans : Whether the plan may vary
    """

    space: Space
    objectives: tuple[Objective, ...]
    constraints: tuple[Constraint, ...]
    part: Part = "whole"
    plans: bool = False


def read_search(file: Path) -> Document:
    """Read a search file."""
    return read_document(file)


def from_options(data: Mapping[str, Any], options: Mapping[KeyPath, str] | None = None) -> Document:
    """Take what a program says as a search file would say it, or what the options of a command line do, by key."""
    files = {key: Path(option) for key, option in (options or {}).items()}
    return Document(Path("options"), {"fieldworthy": "search 1", **data}, {(): (0, 0)}, files)


def bad_option(option: str, expected: str) -> BadInput:
    """Refuse an option of the command line."""
    return BadInput([Problem(Path(option), 0, 0, (), expected)])


def asked(loaded: Loaded, document: Document) -> Asked:
    """Read what a search is asked, against the robot that it is about."""
    spec, problems = checked(document, SearchFile)
    if spec is None:
        raise BadInput(problems)
    said = instantiate(spec, SearchFile)
    evaluator = CandidateEvaluator(loaded)
    told = _Teller(document, problems)
    for i, vary in enumerate(said.vary):
        for key, expected in vary.validate():
            told.add(("vary", i, *key), expected)
    variables = [] if problems else list(_Varying(loaded, told).of(said.vary))
    objectives = [o for i, name in enumerate(said.want) if (o := _objective(evaluator, told, i, name))]
    chance = SURE if said.chance is None else float(said.chance)
    constraints = _constraints(evaluator, told, said, chance)
    plans = any(v.key.strip() == PLAN for v in said.vary)
    if not said.want:
        told.add(("want",), "expected something that is wanted, such as points")
    if plans and any(v.paths[0][0] == PLAN for v in variables):
        told.add(("vary",), "expected either 'plan', which varies all of it, or single keys of the plan")
    if plans and loaded.nominal.plan is None:
        told.add(("vary",), "expected a robot with a plan: its file has none, so there is no order of actions to vary")
    if not problems and not variables and not plans:
        told.add(("vary",), "expected something that may vary; 'fieldworthy search ROBOT --vary ?' lists it")
    if problems:
        raise BadInput(problems)
    less = _less(loaded, variables, told)
    if problems:
        raise BadInput(problems)
    if not plans and any(o.name in PLAYED for o in objectives):
        refuse_unplayable(loaded, said.part)
    return Asked(Space(tuple(variables), less), tuple(objectives), constraints, said.part, plans)


def _less(loaded: Loaded, variables: Sequence[Variable], told: _Teller) -> dict[tuple[str, ...], Without]:
    """The robots that have some mechanisms less, where some may be left out."""
    names = [str(v.paths[0][-1]) for v in variables if v.sort == "thing"]
    if not names:
        return {}
    if len(names) > _MOST_LESS:
        told.add(("vary",), f"expected at most {_MOST_LESS} mechanisms that may be left out (found {len(names)})")
        return {}
    if any(v.paths[0][0] == PLAN for v in variables):
        told.add(("vary",), "expected no single keys of the plan where a mechanism may be left out: the plan is then"
                            " another; 'plan' varies all of it")  # fmt: skip
        return {}
    try:
        return {some: without(loaded, some) for some in combinations(names)}
    except BadInput as error:
        what = "; ".join(f"{dotted(p.key)}: {p.expected}" for p in error.problems[:2])
        told.add(("vary",), f"expected a robot that is whole without {' or '.join(map(repr, names))}: {what}")
        return {}


@dataclass(slots=True)
class _Teller:
    """Collects what is wrong, at its place."""

    document: Document
    problems: list[Problem]

    def add(self, key: KeyPath, expected: str, suggestion: str | None = None) -> None:
        """Tell one thing."""
        self.problems.append(self.document.problem(key, expected, suggestion))


def _listed(names: Sequence[str]) -> str:
    return "; ".join(names[:_LISTED]) + ("; …" if len(names) > _LISTED else "")


def _objective(evaluator: CandidateEvaluator, told: _Teller, at: int, name: str) -> Objective | None:
    if name in AMOUNTS:
        return Objective(name, *AMOUNTS[name])
    found = [key for key in evaluator.now if _label(key) == name or key[0] == name]
    if len(found) == 1:
        words = check_named(found[0][0], evaluator.now[found[0]].subject or "robot").removeprefix("the check ")
        return Objective(name, f"margin of {words}", 1.0, "", found[0])
    known = [*AMOUNTS, *(_label(key) for key in evaluator.now)]
    told.add(("want", at), f"expected {', '.join(AMOUNTS)} or a finding of this robot (found {shorten(name)})",
             nearest(name, known))  # fmt: skip
    return None


def _label(key: Key) -> str:
    return f"{key[0]} {key[1]}".strip()


def _constraints(
    evaluator: CandidateEvaluator, told: _Teller, said: SearchFile, chance: float
) -> tuple[Constraint, ...]:
    """Season limits and what could burst always, what is asked with its chance, what holds now nominally."""
    now = {key: o for key, o in evaluator.now.items() if not o.missing}
    found: dict[Key, Constraint] = {}
    for key, outcome in now.items():
        if key[0] in dangerous():
            found[key] = Constraint(key, 0.0, "safe")
        elif is_rule(key[0]):
            found[key] = Constraint(key, 0.0, "limit")
        elif said.keep and _margin(outcome) >= 0:
            found[key] = Constraint(key, 0.0, "keep")
    for i, name in enumerate(said.must):
        if name == HOURS[0]:
            found[HOURS] = Constraint(HOURS, 0.0, "must")
            if not evaluator.loaded.nominal.hours_left:
                told.add(("must", i), "expected a robot file that says 'hours_left'")
            continue
        meant = [key for key in now if _is_meant(name, key)]
        if not meant:
            known = [_label(key) for key in now]
            heads = [".".join(k[0].split(".")[:n]) for k in now for n in (1, 2)]
            what = f"expected the id of a finding of this robot, or how it begins (found {shorten(name)})"
            told.add(("must", i), what, nearest(name, [HOURS[0], *known, *heads]))
        found |= {key: Constraint(key, chance, "must") for key in meant}
    return tuple(found.values())


def _is_meant(name: str, key: Key) -> bool:
    return _label(key) == name or key[0] == name or key[0].startswith(f"{name}.")


def _margin(outcome: Outcome) -> float:
    return first(margins_of(outcome))


class _Varying:
    """Finds what keys mean among all that can vary."""

    def __init__(self, loaded: Loaded, told: _Teller) -> None:
        self._loaded, self._told = loaded, told
        self._all = what_varies(loaded)
        self._entries = dict(loaded.quantities)
        self._taken: dict[KeyPath, str] = {}

    def of(self, varied: Sequence[Vary]) -> Iterator[Variable]:
        """Every variable that is asked for; one key of the file varies once."""
        for i, vary in enumerate(varied):
            if vary.key.strip() == PLAN:
                if vary.between is not None or vary.values is not None:
                    self._told.add(("vary", i, "key"), "expected no range beside 'plan': the order of actions varies")
                continue
            for variable in self._meant(i, vary):
                double = next((self._taken[p] for p in variable.paths if p in self._taken), None)
                if double is not None and variable.key in self._taken.values():
                    continue
                if double is not None:
                    self._told.add(("vary", i, "key"), f"expected each key once: {double!r} varies it already")
                    continue
                self._taken |= dict.fromkeys(variable.paths, variable.key)
                yield variable

    def _meant(self, at: int, vary: Vary) -> list[Variable]:
        """The variables under one key; a range or values narrow them, which must then be of one kind."""
        key = vary.key.strip()
        if "*" in key:
            found = self._together(key)
        else:
            plain = [v for v in self._all if v.sort != "thing"]
            found = [v for v in self._all if v.key == key]
            found = found or [v for v in plain if any(dotted(p) == key for p in v.paths)]
            found = found or [v for v in plain if _is_under(key, v)]
        if not found:
            one = self._stated(at, vary, key)
            return [one] if one is not None else []
        if vary.between is None and vary.values is None and vary.step is None:
            return found
        return [v for one in found if (v := self._limited(at, vary, one)) is not None]

    def _together(self, key: str) -> list[Variable]:
        """One variable for all numbers that a key with stars meets."""
        pattern = key.replace("[", "[[]")
        paths = [p for p in self._entries if fnmatchcase(dotted(p), pattern)]
        kinds = {self._entries[p].kind for p in paths}
        return [number(key, paths, self._entries)] if len(kinds) == 1 else []

    def _stated(self, at: int, vary: Vary, key: str) -> Variable | None:
        """A number that is not the team's by its declaration, but whose range is stated; or what is wrong."""
        path = next((p for p in self._entries if dotted(p) == key), None)
        if path is not None and path[0] != "season" and vary.between is not None:
            return self._limited(at, vary, number(key, [path], self._entries))
        if path is not None:
            whose = "the season's" if path[0] == "season" else "a fact to find out, no choice of the team"
            more = "" if path[0] == "season" else ": state a range ('between') to vary it all the same"
            self._told.add(("vary", at, "key"), f"expected a key that can vary; {key} is {whose}{more}")
            return None
        known = [v.key for v in self._all]
        heads = [h for k in known for h in _heads(k)]
        near = nearest(key, [*known, *dict.fromkeys(heads), PLAN, *map(dotted, self._entries)])
        what = f"expected a key that can vary, such as {_listed(list(dict.fromkeys(heads))[:4])} (found {shorten(key)})"
        self._told.add(("vary", at, "key"), what, near)
        return None

    def _limited(self, at: int, vary: Vary, variable: Variable) -> Variable | None:
        return self._number(at, vary, variable) if variable.is_number else self._choice(at, vary, variable)

    def _number(self, at: int, vary: Vary, variable: Variable) -> Variable | None:
        quantity = variable.quantity
        assert quantity is not None
        if vary.values is not None:
            levels = [self._read(("vary", at, "values", i), v, quantity) for i, v in enumerate(vary.values)]
            known = sorted({v for v in levels if v is not None})
            return dataclasses.replace(variable, levels=tuple(known), low=known[0], high=known[-1]) if known else None
        if vary.between is not None:
            low, high = (self._read(("vary", at, "between", i), v, quantity) for i, v in enumerate(vary.between))
            if low is None or high is None:
                return None
            if low > high:
                what = f"expected the smaller value first (found {vary.between[0]} to {vary.between[1]})"
                self._told.add(("vary", at, "between"), what)
                return None
            variable = in_whole(self._loaded, number(variable.key, variable.paths, self._entries, (low, high)))
        if vary.step is not None:
            variable = self._stepped(at, vary, variable)
        if not variable.grid.size or variable.low == variable.high:
            apart = "" if variable.low == variable.high else f", {variable.step_text()} apart"
            what = f"expected a range that holds more than one value{apart}"
            self._told.add(("vary", at, "between"), what)
            return None
        return variable

    def _stepped(self, at: int, vary: Vary, variable: Variable) -> Variable:
        quantity = variable.quantity
        assert quantity is not None
        try:
            kind = "temperature step" if quantity.kind == "temperature" else quantity.kind
            step = abs(to_unit(parse(vary.step, kind).si, kind, quantity.unit))  # type: ignore[arg-type]
        except (UnitError, OverflowError) as error:
            self._told.add(("vary", at, "step"), f"expected {getattr(error, 'expected', 'a number')}")
            return variable
        span = to_unit(variable.high, quantity.kind, quantity.unit) - to_unit(
            variable.low, quantity.kind, quantity.unit
        )
        if step <= 0 or span / step > 1e5:
            self._told.add(("vary", at, "step"), f"expected a step above 0 that is no finer than the range over 100,000"
                           f" (found {shorten(vary.step)})")  # fmt: skip
            return variable
        return dataclasses.replace(variable, step=step)

    def _read(self, key: KeyPath, given: Plain, quantity: Quantity) -> float | None:
        """A value of the kind that the key has, within its bounds."""
        try:
            if isinstance(given, bool):
                raise TypeError(given)
            si = parse(given, quantity.kind).si
        except (UnitError, OverflowError, TypeError) as error:
            expected = getattr(error, "expected", wanted(quantity.kind))
            self._told.add(key, f"expected {expected} (found {shorten(given)})", getattr(error, "suggestion", None))
            return None
        if not quantity.low <= si <= quantity.high:
            low, high = (digits(to_unit(end, quantity.kind, quantity.unit)) for end in (quantity.low, quantity.high))
            what = f"expected {low} to {high} {'' if quantity.unit == '1' else quantity.unit}".rstrip()
            self._told.add(key, f"{what} (found {shorten(given)})")
            return None
        return float(si)

    def _choice(self, at: int, vary: Vary, variable: Variable) -> Variable | None:
        if vary.between is not None or vary.step is not None:
            return self._span(at, vary, variable)
        options = []
        for i, given in enumerate(vary.values or ()):
            text = str(given).lower() if isinstance(given, bool) else str(given)
            option = next((o for o in variable.options if o.text == text), None)
            if option is None and variable.ordered and isinstance(given, int) and 0 < given <= _MOST_VALUES:
                option = Option(text, (given,) * len(variable.paths))
            if option is None:
                known = [o.text for o in variable.options]
                what = f"expected one of {_listed(known)} (found {shorten(given)})"
                self._told.add(("vary", at, "values", i), what, nearest(text, known))
            else:
                options.append(option)
        return narrowed(variable, options) if options else None

    def _span(self, at: int, vary: Vary, variable: Variable) -> Variable | None:
        """Whole numbers between two."""
        ends = vary.between or ()
        if not variable.ordered or len(ends) != 2 or not all(type(e) is int for e in ends):
            what = "two whole numbers" if variable.ordered else "'values', a list: this is one of several things"
            found = f" (found {shorten(' to '.join(str(end) for end in ends))})" if ends else ""
            self._told.add(("vary", at, "between" if ends else "step"), f"expected {what}{found}")
            return None
        low, high = (int(e) for e in ends)
        if not 0 < low < high <= _MOST_VALUES:
            self._told.add(("vary", at, "between"), f"expected the smaller number first, both from 1 to {_MOST_VALUES}")
            return None
        usual = [int(o.text) for o in variable.options if low <= int(o.text) <= high]
        sizes = usual if variable.sort == "teeth" and len(usual) > 1 else range(low, high + 1)
        now = int(variable.options[int(variable.now)].text)
        return whole(variable.paths[0], variable.sort, now, list(sizes))


def _is_under(key: str, variable: Variable) -> bool:
    """Whether a variable stands in a section, or in its layout on tanks, or in its classes of what is bought."""
    section, _, what = key.rpartition(".")
    sort = {"layout": "tank", "classes": "class"}.get(what)
    if sort is not None:
        return variable.sort == sort and variable.paths[0][0] == section
    return any(head == key for path in variable.paths for head in _heads(dotted(path)))


def _heads(key: str) -> Iterator[str]:
    """Sections that a key stands in, the nearest last."""
    for i, letter in enumerate(key):
        if letter in ".[":
            yield key[:i]
