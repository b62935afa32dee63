"""The one function that turns a specification into a computing model."""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any, TypeVar, Union, get_args, get_origin

from fieldworthy.files.declare import Spec, hints, mark_of
from fieldworthy.files.kinds import Quantity, Real, Ref
from fieldworthy.files.problems import KeyPath

T = TypeVar("T")
Draw = Callable[[KeyPath, Quantity], Real]


def nominal(path: KeyPath, quantity: Quantity) -> Real:
    """Draw the value as the file states it."""
    del path
    return quantity.si


def instantiate(spec: Spec, declared: type[T], draw: Draw = nominal, path: KeyPath = ()) -> T:
    """Fill a declaration with SI numbers or arrays over cases."""
    kind: Any = declared
    names = _annotations(kind)
    filled = {name: _fill(getattr(spec, name), note, draw, (*path, name)) for name, note in names.items()}
    return declared(**filled)


@cache
def _annotations(declared: Any) -> dict[str, Any]:
    notes = hints(declared)
    return {f.name: notes[f.name] for f in dataclasses.fields(declared)}


def _fill(value: Any, annotation: Any, draw: Draw, path: KeyPath) -> Any:
    if isinstance(value, Quantity):
        return draw(path, value)
    if isinstance(value, Spec):
        return instantiate(value, _declared_for(value, annotation), draw, path)
    if isinstance(value, dict):
        inner = _member(annotation, dict)
        return {key: _fill(item, inner, draw, (*path, key)) for key, item in value.items()}
    if isinstance(value, tuple):
        return _fill_tuple(value, _parts(annotation, len(value)), draw, path)
    return value


def _fill_tuple(value: tuple[Any, ...], parts: tuple[Any, ...], draw: Draw, path: KeyPath) -> tuple[Any, ...]:
    return tuple(_fill(v, a, draw, (*path, i)) for i, (v, a) in enumerate(zip(value, parts, strict=True)))


def _options(annotation: Any) -> tuple[Any, ...]:
    if get_origin(annotation) in (Union, types.UnionType):
        return tuple(a for a in get_args(annotation) if a is not type(None))
    return (annotation,)


@cache
def _by_name(annotation: Any) -> dict[str, type]:
    options = [o for o in _options(annotation) if isinstance(o, type) and dataclasses.is_dataclass(o)]
    return {option.__name__: option for option in options}


def _declared_for(value: Spec, annotation: Any) -> type:
    return _by_name(annotation)[type(value).__name__]


def _member(annotation: Any, origin: type) -> Any:
    for option in _options(annotation):
        if get_origin(option) is origin:
            return get_args(option)[-1]
    return Any


def _parts(annotation: Any, count: int) -> tuple[Any, ...]:
    for option in _options(annotation):
        if get_origin(option) is tuple:
            args = get_args(option)
            return (args[0],) * count if args[-1] is Ellipsis else args
    return (Any,) * count


def quantities(spec: Any, path: KeyPath = ()) -> Iterator[tuple[KeyPath, Quantity]]:
    """List every quantity of a specification."""
    if isinstance(spec, Quantity):
        yield path, spec
    elif isinstance(spec, Spec):
        for name in type(spec).model_fields:
            yield from quantities(getattr(spec, name), (*path, name))
    elif isinstance(spec, dict):
        for key, item in spec.items():
            yield from quantities(item, (*path, key))
    elif isinstance(spec, tuple):
        for i, item in enumerate(spec):
            yield from quantities(item, (*path, i))


def references(spec: Any, declared: type, path: KeyPath = ()) -> Iterator[tuple[KeyPath, tuple[str, ...], str]]:
    """List every name that refers to something declared elsewhere."""
    for name, note in _annotations(declared).items():
        value = spec.get(name) if isinstance(spec, dict) else getattr(spec, name)
        yield from _referred(value, note, (*path, name))


def _referred(value: Any, annotation: Any, path: KeyPath) -> Iterator[tuple[KeyPath, tuple[str, ...], str]]:
    for option in _options(annotation):
        mark = mark_of(option)
        # a name of digits alone reads as a number
        if isinstance(mark, Ref) and isinstance(value, str | int) and not isinstance(value, bool):
            yield path, mark.to, str(value)
    declared = declaration_of(value, annotation)
    if declared is not None:
        yield from references(value, declared, path)
    elif isinstance(value, dict):
        key_mark = _key_mark(annotation)
        for key, item in value.items():
            if key_mark is not None:
                yield (*path, key), key_mark.to, key
            yield from _referred(item, _member(annotation, dict), (*path, key))
    elif isinstance(value, tuple | list):
        for i, (item, note) in enumerate(zip(value, _parts(annotation, len(value)), strict=False)):
            yield from _referred(item, note, (*path, i))


def declaration_of(value: Any, annotation: Any) -> type | None:
    """The declaration that a specification or a mapping of a file follows; None where it is something else."""
    if isinstance(value, Spec):
        return _declared_for(value, annotation)
    options = list(_by_name(annotation).values()) if isinstance(value, dict) else []
    kinds = [o for o in options if value.get("kind") in get_args(hints(o).get("kind"))] if len(options) > 1 else options
    return max(kinds or options, key=lambda option: len(set(_annotations(option)) & set(value)), default=None)


def _key_mark(annotation: Any) -> Any:
    """The mark on a mapping's keys, where the keys themselves are references."""
    for option in _options(annotation):
        if get_origin(option) is dict:
            return mark_of(get_args(option)[0])
    return None
