"""From one declaration (a frozen dataclass, fields marked by kind) to the schema of the file (a pydantic model)."""

from __future__ import annotations

import dataclasses
import math
import re
import types
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from typing import (
    Annotated,
    Any,
    Literal,
    Optional,
    TypeAlias,
    TypedDict,
    TypeVar,
    Union,
    Unpack,
    get_args,
    get_origin,
    get_type_hints,
)

import numpy as np
import numpy.typing as npt
from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    Tag,
    create_model,
)
from pydantic_core import PydanticCustomError, core_schema

from fieldworthy.files.document import nearest, shorten
from fieldworthy.units import KINDS, PLAUSIBLE, UnitError, digits, parse, to_unit, wanted

Basis = Literal["measured", "datasheet", "estimate"]
BASES: tuple[Basis, ...] = ("measured", "datasheet", "estimate")
Role = Literal["choice", "made", "fact", "wish"]
"""Whose a number is: the team's to choose; the team's where it makes the part, a fact where it buys it (the file then
says ``basis: datasheet``); how things are, to be found out; what is wanted."""

# Half widths of a 95 % interval for a bare value of each kind: the relative part, then the absolute part in SI.
# Common practice, no source: what a team's tape, scale and datasheets usually turn out to be worth.
_ESTIMATE: dict[str, tuple[float, float]] = {
    "length": (0.01, 0.001),
    "mass": (0.10, 0.002),
    "angle": (0.0, 0.0175),
    "time": (0.10, 0.0),
    "temperature": (0.0, 3.0),
    "voltage": (0.02, 0.0),
    "charge": (0.10, 0.0),
    "pressure": (0.03, 0.0),
    "volume": (0.05, 0.0),
    "ratio": (0.05, 0.0),
    "resistance": (0.15, 0.0),
    "thermal resistance": (0.25, 0.0),
    "heat capacity": (0.25, 0.0),
    "sonic conductance": (0.20, 0.0),
    "inertia": (0.20, 0.0),
    "work time": (0.25, 0.0),
}
_OTHER = (0.10, 0.0)
_SHARE: dict[Basis, float] = {"estimate": 1.0, "datasheet": 0.5, "measured": 0.25}
_MASS_SHARE: dict[Basis, float] = {"estimate": 1.0, "datasheet": 0.25, "measured": 0.125}  # scales beat a guess by more
LEAST_OF_PLACES = 0.010
"""The middle of a part that nobody has measured is uncertain by this at least [m], whatever the number itself is."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One number of a file, with its unit, its tolerance and what it rests on.

    Attributes
    ----------
    si : The value in SI
    kind : A key of `fieldworthy.units.KINDS`
    unit : The unit as written
    tolerance : Half width of the 95 % interval, in SI
    basis : What the value rests on
    assumed : True where the file says nothing and a documented default stands in
    low, high : Bounds that no sample may leave, in SI
    date : The day on which it was found, as ISO 8601 writes it
    role, effort, spread : As declared, see `Of`
    usual : True where the file states no tolerance and the usual one stands in
    """

    si: float
    kind: str
    unit: str
    tolerance: float
    basis: Basis = "estimate"
    assumed: bool = False
    low: float = float("-inf")
    high: float = float("inf")
    date: str | None = None
    role: Role = "choice"
    effort: float = 1.0
    spread: bool = False
    usual: bool = False


def default_tolerance(si: float, kind: str, basis: Basis, *, place: bool = False) -> float:
    """Give the tolerance of a value whose file states none; `place` is the middle of a part or a load.

    Notes
    -----
    Common practice, no source; the table is printed in docs/files.md.
    """
    relative, absolute = _ESTIMATE.get(kind, _OTHER)
    usual = (relative * abs(si) + absolute) * (_MASS_SHARE if kind == "mass" else _SHARE)[basis]
    return max(usual, LEAST_OF_PLACES) if place and basis == "estimate" else usual


def tolerance_table() -> list[tuple[str, tuple[tuple[float, float], ...]]]:
    """List the default tolerances by kind, relative and absolute part for estimate, datasheet and measured."""
    rows = []
    for kind, (relative, absolute) in [*_ESTIMATE.items(), ("everything else", _OTHER)]:
        shares = (_MASS_SHARE if kind == "mass" else _SHARE).values()
        rows.append((kind, tuple((relative * share, absolute * share) for share in shares)))
    return rows


Real: TypeAlias = float | npt.NDArray[np.float64]
QUANTITY_KEYS = ("value", "tolerance", "basis", "date")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


def _wrong(expected: str, suggestion: str | None = None, at: str = "") -> PydanticCustomError:
    """Say what was expected, and at which key of the quantity's own mapping."""
    said = {"expected": expected, "suggestion": suggestion or "", "at": at}
    return PydanticCustomError("expected", "expected {expected}", said)


def is_day(given: str) -> bool:
    """Say whether a text is a day that exists, as ISO 8601 writes it with hyphens."""
    try:
        return _DAY.fullmatch(given) is not None and date.fromisoformat(given) is not None
    except ValueError:
        return False


def _day(given: object) -> str | None:
    """The day on which a value was found, as ISO 8601 writes it."""
    if given is None or isinstance(given, date):  # some readers of YAML make a date of it themselves
        return None if given is None else given.isoformat()[:10]
    if isinstance(given, str) and _DAY.fullmatch(given):
        if is_day(given):
            return given
        raise _wrong(f"a day that exists (found {shorten(given)})", at="date")
    raise _wrong(f"a date such as 2026-11-25: year, month, day (found {shorten(given)})", at="date")


@dataclass(frozen=True, slots=True)
class Of:
    """A field that holds a quantity of one kind, within bounds.

    Attributes
    ----------
    kind : A key of `fieldworthy.units.KINDS`
    low, high : Bounds in SI; `above` and `below` exclude the bound itself
    above, below : Whether the lower and the upper bound are excluded
    fixed : True for a rule of the season or a count-like number: it has no tolerance
    role : Whose the number is
    effort : How many times harder a change is than is usual for its kind; common practice, no source
    spread : True where it says how far things are off: halving it is as hard at any size
    place : True for the middle of a part or a load: guessed, it is uncertain by a centimetre at least
    most : The greatest plausible size in SI, where that of the kind, `fieldworthy.units.PLAUSIBLE`, does not fit
    """

    kind: str
    low: float = -math.inf
    high: float = math.inf
    above: bool = False
    below: bool = False
    fixed: bool = False
    role: Role = "choice"
    effort: float = 1.0
    spread: bool = False
    place: bool = False
    most: float = 0.0

    def read(self, given: object) -> Quantity:
        """Read a field of a file."""
        if isinstance(given, Quantity):
            return given
        if isinstance(given, Mapping):
            return replace(self._mapping(given), date=_day(given.get("date")))
        return self._made(self._number(given, self.kind), None, "estimate")

    def _mapping(self, given: Mapping[Any, Any]) -> Quantity:
        for key in given:
            if key not in QUANTITY_KEYS:
                raise _wrong(f"one of {', '.join(QUANTITY_KEYS)} as key", nearest(str(key), QUANTITY_KEYS), str(key))
        if "value" not in given:
            raise _wrong("the key 'value' in this mapping")
        basis = given.get("basis", "estimate")
        if basis not in BASES:
            raise _wrong(f"one of {', '.join(BASES)}", nearest(str(basis), BASES), "basis")
        value = self._number(given["value"], self.kind, "value")
        if given.get("tolerance") is None:
            return self._made(value, None, basis)
        step = "temperature step" if self.kind == "temperature" else self.kind
        tolerance = self._number(given["tolerance"], step, "tolerance").si
        if tolerance < 0:
            raise _wrong("zero or more", at="tolerance")
        return self._made(value, tolerance, basis)

    @staticmethod
    def _number(given: object, kind: str, at: str = "") -> Any:
        if isinstance(given, bool) or not isinstance(given, str | int | float):
            raise _wrong(wanted(kind), at=at)
        try:
            return parse(given, kind)
        except (UnitError, OverflowError) as error:
            expected = error.expected if isinstance(error, UnitError) else "a number of finite size"
            near = getattr(error, "suggestion", None)
            raise _wrong(f"{expected} (found {shorten(given)})", near, at) from error

    def _made(self, value: Any, tolerance: float | None, basis: Basis) -> Quantity:
        si = float(value.si)
        too_low = si < self.low or (self.above and si == self.low)
        too_high = si > self.high or (self.below and si == self.high)
        if too_low or too_high:
            label = "" if value.unit == "1" else f" {value.unit}"
            raise _wrong(f"{self.bounds(value.unit)} (found {digits(to_unit(si, self.kind, value.unit))}{label})")
        self._refuse_absurd(si, value.unit)
        if tolerance is not None and tolerance > self._greatest():
            raise _wrong("a tolerance that a number of a robot can have: is the unit right?", at="tolerance")
        usual = not self.fixed and tolerance is None
        if self.fixed:
            tolerance = 0.0
        elif tolerance is None:
            tolerance = default_tolerance(si, self.kind, basis, place=self.place)
        return Quantity(
            si, self.kind, value.unit, tolerance, basis, False, self.low, self.high,
            role=self.role, effort=self.effort, spread=self.spread, usual=usual,
        )  # fmt: skip

    def _greatest(self) -> float:
        """The greatest plausible size in SI: its own bounds, or that of its kind."""
        return (
            max([self.most, *(abs(own) for own in (self.low, self.high) if math.isfinite(own))])
            or PLAUSIBLE[self.kind][1]
        )

    def _refuse_absurd(self, si: float, unit: str) -> None:
        """Refuse what no robot has: a slip of the unit, or of a row of noughts."""
        least = PLAUSIBLE[self.kind][0]
        label = "" if unit == "1" else f" {unit}"
        most = self._greatest()
        if abs(si) > most:
            far = f"at most {self._readable(most, unit)}"
        elif 0.0 < si < least and self.above:
            far = f"at least {digits(to_unit(least, self.kind, unit), 1)}{label}"
        else:
            return
        found = f"{digits(to_unit(si, self.kind, unit))}{label}"
        raise _wrong(f"a size that a robot can have, {far} (found {found}): is the unit right?")

    def _readable(self, most: float, unit: str) -> str:
        """Write a great bound without a row of noughts."""
        number, label = abs(to_unit(most, self.kind, unit)), unit
        if number >= 1e6:
            number, label = most, KINDS[self.kind].si
        many = f"{digits(number / 1e6)} million" if number >= 1e6 else digits(number, 1)
        return many if label == "1" else f"{many} {label}"

    def bounds(self, unit: str) -> str:
        """Say the bounds in words."""
        label = "" if unit == "1" else f" {unit}"
        parts = []
        if math.isfinite(self.low):
            low = digits(to_unit(self.low, self.kind, unit))
            parts.append(f"{'more than' if self.above else 'at least'} {low}{label}")
        if math.isfinite(self.high):
            high = digits(to_unit(self.high, self.kind, unit))
            parts.append(f"{'less than' if self.below else 'at most'} {high}{label}")
        return " and ".join(parts) or "a number"

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        kind = KINDS[self.kind]
        text = {"type": "string", "examples": [kind.example]}
        value: dict[str, Any] = {"anyOf": [text, {"type": "number"}]} if self.kind == "ratio" else text
        if self.kind not in ("ratio", "temperature"):
            value = {"anyOf": [text, {"const": 0}]}
        mapping = {
            "type": "object",
            "required": ["value"],
            "additionalProperties": False,
            "properties": {
                "value": value | {"description": "the number with its unit"},
                "tolerance": value | {"description": "half width of its 95 % interval"},
                "basis": {"enum": list(BASES), "description": "what it rests on"},
                "date": {"type": "string", "format": "date", "description": "the day it was found"},
            },
        }
        note = self.bounds(kind.metric)
        about = f"{self.kind}{'' if note == 'a number' else ', ' + note}"
        return {"anyOf": [*value.get("anyOf", [value]), mapping], "description": about}


@dataclass(frozen=True, slots=True)
class Ref:
    """A field that names something declared elsewhere, for example ``air.tanks`` or ``season.places``.

    Attributes
    ----------
    to : Dotted names of the mappings whose keys are accepted
    """

    to: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Within:
    """A field that names an entry of a thing it stands in, or of another mechanism.

    Attributes
    ----------
    to : Key of the mapping that has the entry, such as ``stages``
    through : Key beside this one that names the mechanism; empty for the thing that this stands in
    """

    to: str
    through: str = ""


Length: TypeAlias = Annotated[Real, Of("length", most=10.0)]
Size: TypeAlias = Annotated[Real, Of("length", 0.0, above=True, most=10.0)]
Gap: TypeAlias = Annotated[Real, Of("length", 0.0, most=10.0)]
Mass: TypeAlias = Annotated[Real, Of("mass", 0.0, above=True, most=200.0)]
Inertia: TypeAlias = Annotated[Real, Of("inertia", 0.0)]
Duration: TypeAlias = Annotated[Real, Of("time", 0.0)]
Span: TypeAlias = Annotated[Real, Of("time", 0.0, above=True)]
Angle: TypeAlias = Annotated[Real, Of("angle")]
Speed: TypeAlias = Annotated[Real, Of("speed", 0.0, above=True)]
Spin: TypeAlias = Annotated[Real, Of("angular speed", 0.0, above=True, most=5e3)]
Force: TypeAlias = Annotated[Real, Of("force", most=2e4)]
Load: TypeAlias = Annotated[Real, Of("force", 0.0, most=2e4)]
Torque: TypeAlias = Annotated[Real, Of("torque", 0.0, most=1e3)]
Power: TypeAlias = Annotated[Real, Of("power", 0.0, above=True)]
Current: TypeAlias = Annotated[Real, Of("current", 0.0)]
Voltage: TypeAlias = Annotated[Real, Of("voltage", 0.0, above=True, most=100.0)]
Resistance: TypeAlias = Annotated[Real, Of("resistance", 0.0)]
Charge: TypeAlias = Annotated[Real, Of("charge", 0.0, above=True)]
Pressure: TypeAlias = Annotated[Real, Of("pressure", 0.0, most=1e7)]
Volume: TypeAlias = Annotated[Real, Of("volume", 0.0, most=0.1)]
Temperature: TypeAlias = Annotated[Real, Of("temperature", 173.15, 573.15, role="fact")]
Ratio: TypeAlias = Annotated[Real, Of("ratio", 0.0, most=100.0)]
Fraction: TypeAlias = Annotated[Real, Of("ratio", 0.0, 1.0)]
Efficiency: TypeAlias = Annotated[Real, Of("ratio", 0.0, 1.0, above=True, role="fact")]
Conductance: TypeAlias = Annotated[Real, Of("sonic conductance", 0.0, above=True)]
ThermalResistance: TypeAlias = Annotated[Real, Of("thermal resistance", 0.0, above=True)]
HeatCapacity: TypeAlias = Annotated[Real, Of("heat capacity", 0.0, above=True)]
WorkTime: TypeAlias = Annotated[Real, Of("work time", 0.0, role="fact")]
Stiffness: TypeAlias = Annotated[Real, Of("stiffness", 0.0, most=1e7)]
Frequency: TypeAlias = Annotated[Real, Of("frequency", 0.0, above=True)]

Count: TypeAlias = Annotated[int, Field(strict=True, ge=1, le=1000)]
Whole: TypeAlias = Annotated[int, Field(strict=True, ge=0, le=100_000)]
Number: TypeAlias = Annotated[float, Field(allow_inf_nan=False)]
LONGEST_TEXT = 1000
"""Characters of a name or a sentence in a file."""

Place: TypeAlias = tuple[Length, Length]
Point: TypeAlias = tuple[Length, Length, Length]
Somewhere: TypeAlias = Annotated[Real, Of("length", place=True)]
Middle: TypeAlias = tuple[Somewhere, Somewhere, Somewhere]
Box: TypeAlias = tuple[Size, Size, Size]


NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9 .,_+'/()-]{0,59}$"


class Told(TypedDict, total=False):
    """What else a declaration says of a field.

    Attributes
    ----------
    role, effort : As of `Of`, where the field differs from its kind
    label : What people call it, where its key says it less well
    one : What people call one of several inside it, where that is not its name without its s
    seen : From where a point of two numbers is seen: from the side, forward and up; else from above
    """

    role: Role | None
    effort: float | None
    label: str
    one: str
    seen: Literal["side"]


def assume(text: str, why: str, **told: Unpack[Told]) -> Any:
    """Declare a quantity with a default that is listed among the assumptions wherever it is used."""
    return dataclasses.field(metadata={"assume": text, "why": why, **told})


def exact(default: Any, about: str = "", **told: Unpack[Told]) -> Any:
    """Declare a field whose default is no assumption: absent means absent."""
    key = "factory" if callable(default) else "default"
    return dataclasses.field(metadata={key: default, "about": about, **told})


def need(about: str, **told: Unpack[Told]) -> Any:
    """Declare a field that a file must give."""
    return dataclasses.field(metadata={"about": about, **told})


class Spec(BaseModel):
    """The base of every derived schema: unknown keys are errors and nothing changes after reading."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, validate_default=True, arbitrary_types_allowed=True, defer_build=True
    )  # what stands within another needs no validator of its own


_OPEN: dict[type, Callable[[], tuple[type, ...]]] = {}
_ROLES: dict[type, Role] = {}
C = TypeVar("C", bound=type)


def all_are(role: Role) -> Callable[[C], C]:
    """Say whose the numbers of a declaration are, where a field does not say otherwise."""

    def mark(declared: C) -> C:
        _ROLES[declared] = role
        return declared

    return mark


def open_to(kinds: Callable[[], tuple[type, ...]]) -> Callable[[C], C]:
    """Let a declaration stand for whichever of some kinds a file holds; they are asked for when first needed."""

    def mark(base: C) -> C:
        _OPEN[base] = kinds
        return base

    return mark


@cache
def hints(declared: type) -> dict[str, Any]:
    """Read the annotations of a declaration, marks included; a base that is open stands for its kinds."""
    notes = {name: _opened(note) for name, note in get_type_hints(declared, include_extras=True).items()}
    general: dict[str, Any] = {"role": _ROLES[declared]} if declared in _ROLES else {}
    for field in dataclasses.fields(declared):
        own = {key: field.metadata[key] for key in ("role", "effort") if field.metadata.get(key) is not None}
        notes[field.name] = _owned(notes[field.name], general | own)
    return notes


def _opened(note: Any) -> Any:
    """An annotation with every open base replaced by the union of its kinds."""
    if isinstance(note, type) and note in _OPEN:
        return Union[_OPEN[note]()]  # noqa: UP007  built from a tuple at run time
    args = get_args(note)
    if not args or get_origin(note) is Literal:
        return note
    inner = tuple(_opened(a) if isinstance(a, type) or get_args(a) else a for a in args)
    if inner == args:
        return note
    return Union[inner] if get_origin(note) in (Union, types.UnionType) else get_origin(note)[inner]  # noqa: UP007


def mark_of(annotation: Any) -> Of | Ref | Within | None:
    """Find the mark on an annotation."""
    if get_origin(annotation) is Annotated:
        return next((m for m in get_args(annotation)[1:] if isinstance(m, Of | Ref | Within)), None)
    return None


def _assumed(mark: Of, text: str) -> Callable[[], Quantity]:
    return lambda: dataclasses.replace(mark.read(text), assumed=True)


def _owned(annotation: Any, said: dict[str, Any]) -> Any:
    """An annotation whose marks of quantities say whose they are and how hard to change."""
    mark = mark_of(annotation)
    if isinstance(mark, Of):
        return Annotated[get_args(annotation)[0], dataclasses.replace(mark, **said)]
    args = get_args(annotation)
    if not said or mark is not None or not args or get_origin(annotation) is Literal:
        return annotation
    inner = tuple(_owned(a, said) for a in args)
    if get_origin(annotation) in (Union, types.UnionType):
        return Union[inner]  # noqa: UP007  built from a tuple at run time
    return get_origin(annotation)[inner]


def _plain_name(given: Any) -> Any:
    return str(given) if isinstance(given, int) and not isinstance(given, bool) else given


def _derived(annotation: Any) -> Any:
    """The schema's annotation for a declared one."""
    mark = mark_of(annotation)
    if isinstance(mark, Of):
        return Annotated[Quantity, mark]
    if isinstance(mark, Ref | Within):
        return Annotated[str, BeforeValidator(_plain_name), Field(max_length=80)]
    if annotation is str:
        return Annotated[str, Field(max_length=LONGEST_TEXT)]
    if dataclasses.is_dataclass(annotation):
        return schema_of(annotation)  # type: ignore[arg-type]
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is tuple:
        inner = tuple(a if a is Ellipsis else _derived(a) for a in args)
        return tuple[inner]  # type: ignore[valid-type]
    if origin is dict:
        name = Annotated[str, BeforeValidator(_plain_name), Field(pattern=NAME_PATTERN)]
        return dict[name, _derived(args[1])]  # type: ignore[misc]
    if origin in (Union, types.UnionType):
        return _union(args)
    return annotation


def _union(args: tuple[Any, ...]) -> Any:
    members = [a for a in args if a is not type(None)]
    inner: Any = Union[tuple(_derived(a) for a in members)]  # noqa: UP007  built from a list at run time
    if len(members) > 1 and all(dataclasses.is_dataclass(a) for a in members):
        by_kind = all("kind" in hints(a) for a in members)
        inner = Annotated[inner, Field(discriminator="kind")] if by_kind else _by_keys(members)
    return Optional[inner] if len(members) < len(args) else inner  # noqa: UP045  built at run time


def _by_keys(members: list[Any]) -> Any:
    """A union whose member is the one that knows most of the keys given, so that errors speak of one of them."""
    known: dict[str, set[str]] = {member.__name__: set(hints(member)) for member in members}
    first = next(iter(known))

    def choose(given: Any) -> str:
        keys = set(given) if isinstance(given, dict) else set()
        return max(known, key=lambda name: (len(known[name] & keys), name == first))

    tagged = tuple(Annotated[schema_of(member), Tag(member.__name__)] for member in members)
    return Annotated[Union[tagged], Discriminator(choose)]  # noqa: UP007  built from a list at run time


def _field(declared: dataclasses.Field[Any], annotation: Any) -> tuple[Any, Any]:
    meta = declared.metadata
    about = meta.get("about") or meta.get("why") or None
    derived = _derived(annotation)
    kinds = {mark.kind for mark in map(mark_of, (annotation, *get_args(annotation))) if isinstance(mark, Of)}
    for kind in kinds:  # what an editor shows: the purpose, then how such a quantity is written
        about = f"{about}; {wanted(kind)}" if about and "assume" not in meta else about
    if "assume" in meta:
        mark = mark_of(annotation)
        assert isinstance(mark, Of), f"{declared.name}: only a quantity can be assumed"
        shown = f"{about} (assumed {meta['assume']} where absent)"
        return derived, Field(default_factory=_assumed(mark, meta["assume"]), description=shown)
    if "factory" in meta:
        return derived, Field(default_factory=meta["factory"], description=about)
    if "default" in meta:
        return derived, Field(default=meta["default"], description=about)
    return derived, Field(description=about)


@cache
def schema_of(declared: type) -> type[Spec]:
    """Derive the file's schema from a declaration."""
    notes = hints(declared)
    fields = {f.name: _field(f, notes[f.name]) for f in dataclasses.fields(declared)}
    doc = (declared.__doc__ or "").split("\n")[0]
    made: type[Spec] = create_model(declared.__name__, __base__=Spec, __doc__=doc, **fields)  # type: ignore[call-overload]
    _DECLARED[made] = declared
    return made


_DECLARED: dict[type[Spec], type] = {}


def told_of(spec: Spec, name: str) -> Mapping[str, Any]:
    """What the declaration of a specification says of one of its fields."""
    return next(f.metadata for f in dataclasses.fields(_DECLARED[type(spec)]) if f.name == name)
