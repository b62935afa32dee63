"""Where every key and value of a YAML text begins and ends, so that one of them can be replaced alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from fieldworthy.schema.tree import scalar_of


@dataclass(slots=True)
class Entry:
    """One entry of a mapping or a list: its key, where that stands, and its value.

    Attributes
    ----------
    key : str or int
        The key; in a list the place, from 0.
    start, end : int
        Where the key begins and ends in the text; in a block list, where the dash does.
    node : Node
        The value.
    """

    key: str | int
    start: int
    end: int
    node: Node


@dataclass(slots=True)
class Node:
    """One value of a YAML text.

    Attributes
    ----------
    kind : {"scalar", "mapping", "list"}
        What it is.
    start, end : int
        Where it begins and ends in the text, without comments and blank lines behind it.
    style : str or None
        The quotes or the sign of a text; ``"flow"`` for a mapping or list in brackets.
    data : object
        What a scalar reads as.
    entries : list of Entry
        What a mapping or list holds.
    """

    kind: str
    start: int
    end: int
    style: str | None = None
    data: Any = None
    entries: list[Entry] = field(default_factory=list)

    @property
    def empty(self) -> bool:
        """Whether nothing stands there."""
        return self.kind == "scalar" and self.start == self.end

    def get(self, key: str | int) -> Entry | None:
        """Find an entry by its key.

        Parameters
        ----------
        key : str or int
            The key [-].

        Returns
        -------
        Entry or None
            None where there is none [-].
        """
        return next((e for e in self.entries if str(e.key) == str(key)), None)

    def plain(self) -> Any:
        """Give the data, as `read_document` would.

        Returns
        -------
        object
            Dictionaries, lists, texts, numbers, truth values and None [-].
        """
        if self.kind == "mapping":
            return {e.key: e.node.plain() for e in self.entries}
        return [e.node.plain() for e in self.entries] if self.kind == "list" else self.data


def places_of(text: str) -> Node:
    """Find where every key and value of a YAML text stands.

    Parameters
    ----------
    text : str
        A text that `read_document` takes [-].

    Returns
    -------
    Node
        Its outermost mapping [-].

    Raises
    ------
    ruamel.yaml.error.YAMLError
        When it is not YAML.
    """
    from ruamel.yaml import YAML  # noqa: PLC0415  only when a file is edited

    events = iter(YAML(typ="safe", pure=True).parse(text))
    for event in events:
        if type(event).__name__ == "DocumentStartEvent":
            break
    return _node(text, next(events), events, 0)


def _node(text: str, event: Any, events: Iterator[Any], after: int) -> Node:
    kind, start = type(event).__name__, event.start_mark.index
    if kind == "MappingStartEvent":
        return _mapping(text, event, events)
    if kind == "SequenceStartEvent":
        return _list(text, event, events)
    end = event.end_mark.index
    if start == end:
        return Node("scalar", after, after)  # nothing stands there: it would stand behind its key
    if event.style in ("|", ">"):
        raw = text[start:end]
        end = start + len(raw.rstrip("\r\n") if "+" not in raw.splitlines()[0] else raw[: -len("\n")].rstrip("\r"))
    return Node("scalar", start, end, event.style, scalar_of(event))


def _mapping(text: str, event: Any, events: Iterator[Any]) -> Node:
    start = end = event.start_mark.index
    node = Node("mapping", start, end, "flow" if event.flow_style else None)
    while type(key := next(events)).__name__ != "MappingEndEvent":
        key_end = key.end_mark.index
        value = _node(text, next(events), events, _behind_colon(text, key_end))
        node.entries.append(Entry(str(getattr(key, "value", "")), key.start_mark.index, key_end, value))
        node.end = value.end
    if event.flow_style:
        node.end = key.end_mark.index
    return node


def _list(text: str, event: Any, events: Iterator[Any]) -> Node:
    start = event.start_mark.index
    node = Node("list", start, start, "flow" if event.flow_style else None)
    while type(item := next(events)).__name__ != "SequenceEndEvent":
        at = item.start_mark.index
        value = _node(text, item, events, at)
        dash = at if event.flow_style else max(text.rfind("-", 0, at), 0)
        node.entries.append(Entry(len(node.entries), dash, dash + (not event.flow_style), value))
        node.end = value.end
    if event.flow_style:
        node.end = item.end_mark.index
    return node


def _behind_colon(text: str, key_end: int) -> int:
    at = key_end
    while text[at : at + 1] in (" ", "\t"):
        at += 1
    return at + 1 if text[at : at + 1] == ":" else key_end
