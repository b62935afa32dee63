"""Checks a file's data against a declaration, says at once all that is wrong, and makes numbers of the rest."""

from __future__ import annotations

import dataclasses
import re
import types
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any, TypeVar, Union, get_args, get_origin

from pydantic import ValidationError

from fieldworthy.files.declare import Quantity, Real, Ref, Spec, Within, hints, mark_of, schema_of
from fieldworthy.files.document import BadInput, Document, KeyPath, Problem, nearest, shorten

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


def filled(declared: Any, path: KeyPath, value: Any, draw: Draw = nominal) -> Any:
    """Fill one field of a declaration, by its path in the file."""
    return _fill(value, _annotations(declared)[str(path[-1])], draw, path)


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
    yield from ((at, mark.to, name) for at, mark, name in _named(spec, declared, path) if isinstance(mark, Ref))


def inner_references(spec: Any, declared: type) -> Iterator[tuple[KeyPath, Within, str]]:
    """List every name that refers to an entry of the thing it stands in, or of another mechanism."""
    yield from ((at, mark, name) for at, mark, name in _named(spec, declared, ()) if isinstance(mark, Within))


def _named(spec: Any, declared: type, path: KeyPath) -> Iterator[tuple[KeyPath, Ref | Within, str]]:
    for name, note in _annotations(declared).items():
        value = spec.get(name) if isinstance(spec, dict) else getattr(spec, name)
        yield from _referred(value, note, (*path, name))


def _referred(value: Any, annotation: Any, path: KeyPath) -> Iterator[tuple[KeyPath, Ref | Within, str]]:
    for option in _options(annotation):
        mark = mark_of(option)
        # a name of digits alone reads as a number
        if isinstance(mark, Ref | Within) and isinstance(value, str | int) and not isinstance(value, bool):
            yield path, mark, str(value)
    declared = declaration_of(value, annotation)
    if declared is not None:
        yield from _named(value, declared, path)
    elif isinstance(value, dict):
        key_mark = _key_mark(annotation)
        for key, item in value.items():
            if key_mark is not None:
                yield (*path, key), key_mark, key
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


def models_at(schema: type[Spec], data: Any, path: KeyPath) -> list[type[Spec]]:
    """Find which schemas a mapping of the file may follow."""
    annotations: list[Any] = [schema]
    for key in path:
        data = _step(data, key)
        annotations = [inner for a in annotations for inner in _inside(a, key)]
    models = [m for a in annotations for m in _models(a)]
    kind = data.get("kind") if isinstance(data, dict) else None
    chosen = [m for m in models if _accepts(m, kind)]
    return chosen or models


def _step(data: Any, key: str | int) -> Any:
    if isinstance(data, dict):
        return data.get(str(key))
    return data[key] if isinstance(data, list) and isinstance(key, int) and key < len(data) else None


def _accepts(model: type[Spec], kind: Any) -> bool:
    field = model.model_fields.get("kind")
    return field is not None and kind in get_args(field.annotation)


def _models(annotation: Any) -> list[type[Spec]]:
    if isinstance(annotation, type) and issubclass(annotation, Spec):
        return [annotation]
    if get_origin(annotation) in (dict, list, tuple):
        return []
    return [m for a in get_args(annotation) for m in _models(a)]


def _inside(annotation: Any, key: str | int) -> list[Any]:
    """The annotations that stand behind one key of an annotation."""
    if isinstance(annotation, type) and issubclass(annotation, Spec):
        field = annotation.model_fields.get(str(key))
        return [field.annotation] if field else []
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is dict:
        return [args[1]]
    if origin in (list, tuple):
        return [args[0]] if isinstance(key, int) else []
    return [inner for a in args for inner in _inside(a, key)]


_EXPLAINED = 500  # errors; each takes a search for the nearest word


def validate(document: Document, declared: type) -> Spec:
    """Check a document against a declaration."""
    try:
        spec = schema_of(declared).model_validate(document.data)
    except ValidationError as error:
        raise BadInput(_problems(document, declared, error)) from error
    if document.problems:
        raise BadInput(document.problems)
    return spec


def checked(document: Document, declared: type) -> tuple[Spec | None, list[Problem]]:
    """Check a document against a declaration, for a reader that has more to find than the schema."""
    try:
        return validate(document, declared), []
    except BadInput as error:
        if not isinstance(document.data, dict) or "fieldworthy" in {p.key[0] for p in error.problems if p.key}:
            raise
        return None, list(error.problems)


def _problems(document: Document, declared: type, error: ValidationError) -> list[Problem]:
    """Everything wrong, each key once; a file of another form or version is told so, and nothing else."""
    found = [_explain(document, declared, dict(e)) for e in error.errors(include_url=False)[:_EXPLAINED]]
    form = [p for p in found if p.key == ("fieldworthy",) and "fieldworthy" in document.data]
    said = {(p.key, p.line) for p in document.problems}
    return form or [*document.problems, *(p for p in found if (p.key, p.line) not in said)]


def _explain(document: Document, declared: type, error: dict[str, Any]) -> Problem:
    """Turn one pydantic error into a sentence for a person."""
    path = _in_file(document.data, tuple(error["loc"]))
    kind, context = error["type"], error.get("ctx", {})
    if kind == "extra_forbidden":
        return _unknown_key(document, declared, path)
    if kind == "expected":
        inner = (*path, context["at"]) if context.get("at") else path
        return document.problem(inner, f"expected {context['expected']}", context["suggestion"] or None)
    if kind == "missing":
        lacking = "one more value is missing in this list" if isinstance(path[-1], int) else "this key is missing"
        return document.problem(path, lacking)
    if kind in ("literal_error", "union_tag_invalid"):
        choices = str(context.get("expected") or context.get("expected_tags"))
        words = re.findall(r"'([^']*)'", choices)
        found = error["input"] if kind == "literal_error" else context.get("tag", "")
        where = path if kind == "literal_error" else (*path, "kind")
        listed = f"one of {', '.join(words)}" if len(words) > 1 else repr(words[0])
        return document.problem(where, f"expected {listed} (found {shorten(found)})", nearest(str(found), words))
    if kind == "union_tag_not_found":
        return document.problem((*path, "kind"), "this key is missing")
    return document.problem(path, _plain_words(kind, context, error))


def _unknown_key(document: Document, declared: type, path: KeyPath) -> Problem:
    known = _known_keys(schema_of(declared), document.data, path[:-1])
    near = nearest(str(path[-1]), known)
    listed = ", ".join(known[:14]) + (", …" if len(known) > 14 else "")
    at_key = document.problem((*path, ""), f"unknown key; expected one of {listed}", near)
    return Problem(at_key.file, at_key.line, at_key.column, path, at_key.expected, near)


_WORDS = {
    "model_type": "expected a mapping of keys",
    "model_attributes_type": "expected a mapping of keys",
    "dict_type": "expected a mapping of names",
    "list_type": "expected a list",
    "tuple_type": "expected a list",
    "string_type": "expected a text",
    "int_type": "expected a whole number",
    "int_parsing": "expected a whole number",
    "int_from_float": "expected a whole number",
    "float_type": "expected a number",
    "float_parsing": "expected a number",
    "finite_number": "expected a number of finite size",
    "bool_type": "expected true or false",
    "bool_parsing": "expected true or false",
    "string_pattern_mismatch": "expected a name of 1 to 60 letters a to z, digits, spaces and - . , _ + ' / ( )",
    "greater_than_equal": "expected at least {ge}",
    "less_than_equal": "expected at most {le}",
    "string_too_long": "expected a text of at most {max_length} characters",
    "too_long": "expected at most {max_length} values in this list",
    "too_short": "expected at least {min_length} values in this list",
}


def _plain_words(kind: str, context: dict[str, Any], error: dict[str, Any]) -> str:
    message = str(error["msg"])
    plain = {name: _readable(bound) if type(bound) in (int, float) else bound for name, bound in context.items()}
    words = _WORDS.get(kind, "expected: " + message[:1].lower() + message[1:]).format(**plain)
    given = error.get("input")
    if kind == "string_type" and isinstance(given, bool | int | float):
        return f"{words}: put {shorten(given)} in quotes"
    return f"{words} (found {shorten(given)})" if not isinstance(given, dict | list) else words


def _readable(bound: float) -> str:
    return f"{bound:,.12g}" if abs(bound) >= 1e7 else f"{bound:.12g}"


def _in_file(data: Any, location: tuple[str | int, ...]) -> KeyPath:
    """Drop the parts of a pydantic location that are not keys of the file (union branches, '[key]')."""
    path: list[str | int] = []
    here = data
    for part in location:
        if part == "[key]":
            continue
        if isinstance(here, dict) and (part in here or part is location[-1]):
            path.append(part)
            here = here.get(part)
        elif isinstance(here, list) and isinstance(part, int):
            path.append(part)
            here = here[part] if part < len(here) else None
    return tuple(path)


def _known_keys(schema: type[Spec], data: Any, path: KeyPath) -> list[str]:
    """The keys that a mapping of the file may hold, found by walking the schema along the path."""
    models = models_at(schema, data, path)
    return sorted({name for model in models for name in model.model_fields})
