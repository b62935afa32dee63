"""Makes docs/api.md: the public face of the package, from its docstrings.

Run it after a docstring of the public face has changed: ``python docs/make_api.py``.
"""

from __future__ import annotations

import dataclasses
import inspect
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import fieldworthy as fw

HERE = Path(__file__).parent
_SECTION = re.compile(r"\n([A-Z][a-z]+)\n-{3,}\n")
_HEAD = """# The Python face

    import fieldworthy as fw

Everything that the commands and the page compute can be reached from Python. `examples/first_steps.py` goes through it
once, and `examples/first_steps.ipynb` is the same as a notebook, where results show themselves as tables and figures.
This page is made from the docstrings; its examples run as tests in the folder `examples/heron`.
"""


def _sections(docstring: str) -> dict[str, str]:
    """The text before the first heading under the empty name, and the sections of a numpydoc docstring by theirs."""
    parts = _SECTION.split(docstring)
    return {"": parts[0].strip()} | dict(zip(parts[1::2], (p.strip("\n") for p in parts[2::2]), strict=True))


def _items(section: str) -> Iterator[str]:
    """Each described name, with its lines drawn together."""
    for entry in re.split(r"\n(?=\S)", section):
        head, _, rest = entry.partition("\n")
        name, colon, kind = head.partition(" : ")
        told = " ".join(line.strip() for line in rest.splitlines())
        named = f"`{name.strip()}`" + (f" ({kind.strip()})" if colon and told else f": {kind.strip()}" * bool(colon))
        yield f"- {named}{f': {told}' if told else ''}"


def _body(docstring: str) -> Iterator[str]:
    for name, section in _sections(docstring).items():
        if name == "":
            yield section.replace("``", "`")
        elif name == "Examples":
            yield "```python\n" + section.rstrip() + "\n```"
        else:
            yield f"{name}:\n\n" + "\n".join(_items(section)).replace("``", "`")


def _signature(name: str, thing: Callable[..., Any]) -> str:
    signature = inspect.signature(thing)
    own = [p.replace(annotation=inspect.Parameter.empty) for p in signature.parameters.values() if p.name != "self"]
    return f"{name}{signature.replace(parameters=own, return_annotation=inspect.Signature.empty)}"


def _members(declared: type) -> Iterator[str]:
    """What a class of the face has: properties in a list, then methods with their own chapters."""
    ours = (base for base in declared.__mro__ if base.__module__.startswith("fieldworthy.api"))
    own = [(name, member) for base in ours for name, member in vars(base).items() if not name.startswith("_")]
    values = [(name, m) for name, m in own if not inspect.isfunction(m) and (m.__doc__ or "") and hasattr(m, "__get__")]
    described = [f"- `{name}`: {inspect.getdoc(member)}" for name, member in values if not _is_field(declared, name)]
    if described:
        yield "\n".join(described)
    for name, member in own:
        if inspect.isfunction(member):
            yield f"### `{_signature(f'{declared.__name__}.{name}', member)}`"
            yield from _body(inspect.getdoc(member) or "")


def _is_field(declared: type, name: str) -> bool:
    return dataclasses.is_dataclass(declared) and name in {field.name for field in dataclasses.fields(declared)}


def _chapter(name: str) -> Iterator[str]:
    thing = getattr(fw, name)
    if inspect.isfunction(thing):
        yield f"## `{_signature(f'fw.{name}', thing)}`"
        yield from _body(inspect.getdoc(thing) or "")
        return
    yield f"## `fw.{name}`"
    yield from _body(inspect.getdoc(thing) or "")
    if thing.__module__.startswith("fieldworthy.api"):
        yield from _members(thing)


def text() -> str:
    """What docs/api.md must hold: functions first, then what they give, then errors."""
    names = sorted(fw.__all__, key=lambda name: (_rank(getattr(fw, name)), name.lower()))
    return "\n\n".join([_HEAD.rstrip(), *(part for name in names for part in _chapter(name))]) + "\n"


def _rank(thing: Any) -> int:
    if inspect.isfunction(thing):
        return 0
    return 2 if issubclass(thing, Exception) else 1


if __name__ == "__main__":
    (HERE / "api.md").write_text(text(), encoding="utf-8")
