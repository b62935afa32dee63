"""From one declaration (a frozen dataclass) to the schema of the file (a pydantic model)."""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Callable
from functools import cache
from typing import Annotated, Any, Literal, Optional, TypeVar, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, Tag, create_model

from fieldworthy.files.kinds import Of, Quantity, Ref, Role
from fieldworthy.units import wanted

NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9 .,_+'/()-]{0,59}$"


def assume(text: str, why: str, *, role: Role | None = None, effort: float | None = None) -> Any:
    """Declare a quantity with a default that is listed among the assumptions wherever it is used."""
    return dataclasses.field(metadata={"assume": text, "why": why, "role": role, "effort": effort})


def exact(default: Any, about: str = "", *, role: Role | None = None, effort: float | None = None) -> Any:
    """Declare a field whose default is no assumption: absent means absent."""
    key = "factory" if callable(default) else "default"
    return dataclasses.field(metadata={key: default, "about": about, "role": role, "effort": effort})


def need(about: str, *, role: Role | None = None, effort: float | None = None) -> Any:
    """Declare a field that a file must give."""
    return dataclasses.field(metadata={"about": about, "role": role, "effort": effort})


class Spec(BaseModel):
    """The base of every derived schema: unknown keys are errors and nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, validate_default=True, arbitrary_types_allowed=True)


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


def mark_of(annotation: Any) -> Of | Ref | None:
    """Find the mark on an annotation."""
    if get_origin(annotation) is Annotated:
        return next((m for m in get_args(annotation)[1:] if isinstance(m, Of | Ref)), None)
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
    if isinstance(mark, Ref):
        return Annotated[str, BeforeValidator(_plain_name), Field(max_length=80)]
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
    return create_model(declared.__name__, __base__=Spec, __doc__=doc, **fields)  # type: ignore[call-overload, no-any-return]
