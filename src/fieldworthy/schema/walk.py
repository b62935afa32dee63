"""Walks a schema along a key path, for messages and for completion."""

from __future__ import annotations

from typing import Any, get_args, get_origin

from fieldworthy.schema.declare import Spec
from fieldworthy.schema.problems import KeyPath


def models_at(schema: type[Spec], data: Any, path: KeyPath) -> list[type[Spec]]:
    """Find which schemas a mapping of the file may follow.

    Parameters
    ----------
    schema : type of Spec
        The schema of the whole file [-].
    data : object
        The file's data, to choose among kinds [-].
    path : tuple of str or int
        The key path of the mapping [-].

    Returns
    -------
    list of type of Spec
        One schema, or several where the file does not say which kind it is [-].
    """
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
