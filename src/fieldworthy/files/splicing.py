"""Changes values in a YAML text and leaves every other byte as it was.

Only the characters of the value itself are replaced. A round trip through a YAML library would keep the comments
but rewrap long lines, respace braces and choose quotes anew, so that a team could not see what has changed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from fieldworthy.files.document import BadInput, KeyPath, Problem, events_of, scalar_of
from fieldworthy.files.writing import (
    GONE,
    ChangeError,
    Edits,
    Put,
    Raw,
    block_lines,
    edits_of,
    entry_lines,
    flow_text,
    in_one_line,
    is_list,
    is_plain,
    is_quantity,
    key_text,
    laid_over,
)


@dataclass(slots=True)
class Entry:
    """One entry of a mapping or a list: its key, where that stands, and its value.

    Attributes
    ----------
    key : The key; in a list the place, from 0
    start, end : Where the key begins and ends in the text; in a block list, where the dash does
    node : The value
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
    kind : What it is
    start, end : Where it begins and ends in the text, without comments and blank lines behind it
    style : The quotes or the sign of a text; ``"flow"`` for a mapping or list in brackets
    data : What a scalar reads as
    entries : What a mapping or list holds
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
        """Find an entry by its key."""
        return next((e for e in self.entries if str(e.key) == str(key)), None)

    def plain(self) -> Any:
        """Give the data, as `read_document` would."""
        if self.kind == "mapping":
            return {e.key: e.node.plain() for e in self.entries}
        return [e.node.plain() for e in self.entries] if self.kind == "list" else self.data


def places_of(text: str) -> Node:
    """Find where every key and value of a YAML text stands."""
    events = events_of(text)
    for event in events:
        if type(event).__name__ == "DocumentStartEvent":
            break
    root = _node(text, next(events), events, 0)
    if all(type(event).__name__ in ("DocumentEndEvent", "StreamEndEvent") for event in events):
        return root
    raise ValueError("a second document")


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
    return Node("scalar", start, end, event.style or None, scalar_of(event))


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


Order = Callable[[KeyPath], Sequence[str]]
_LINE_END = re.compile(r"\r\n|\n|\r")
_COMMENT = re.compile(r"#[^\r\n]*")


def spliced(file: Path, text: str, changes: Mapping[KeyPath, object], order: Order | None = None) -> str:
    """Change values in a YAML text."""
    root = places_of(text)
    sheet = _Sheet(text)
    try:
        edits = edits_of(changes)
        wanted = laid_over(root.plain(), edits)
        _Splicer(sheet, root, order or _no_order).visit(Spot(Entry("", 0, 0, root), root), edits, ())
        found = sheet.applied()
        if not _reads_as(found, wanted):
            first = min(changes, key=len, default=())
            raise ChangeError(first, "this cannot be changed from here: change it in the file's text")
    except ChangeError as error:
        raise BadInput([Problem(file, *sheet.place(root, error.key), error.key, error.expected)]) from error
    return found


def _no_order(path: KeyPath) -> Sequence[str]:
    del path
    return ()


def _reads_as(text: str, wanted: Any) -> bool:
    from ruamel.yaml.error import YAMLError  # noqa: PLC0415  only when a file is edited

    try:
        return _same(places_of(text).plain(), wanted)
    except (YAMLError, ValueError, StopIteration):
        return False


def _instead(node: Node, new: Mapping[Any, Any]) -> Edits:
    """The changes that make a mapping or list hold this and nothing else."""
    gone: Edits = {e.key: Put(GONE) for e in node.entries}
    return gone | {key: Put(value) for key, value in new.items()}


def _same(one: Any, other: Any) -> bool:
    """Whether data are equal and of one kind: 1, 1.0 and true are equal, but do not read the same."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_same(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_same, one, other))
    return type(one) is type(other) and bool(one == other)


def _quoted_keys(text: str, node: Node) -> bool:
    """Whether a mapping is written as JSON is."""
    first = node.entries[0].start if node.kind == "mapping" and node.entries else -1
    return node.style == "flow" and text[first : first + 1] == '"'


class Spot(NamedTuple):
    """One entry and the mapping or list that holds it."""

    entry: Entry
    parent: Node

    @property
    def node(self) -> Node:
        """The entry's value."""
        return self.entry.node


class _Sheet:
    """A text, and what shall stand at some of its places instead.

    Attributes
    ----------
    text : As it is
    line_end : How its lines end
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self._splices: list[tuple[int, int, str]] = []
        found = _LINE_END.search(text)
        self.line_end = found.group() if found else "\n"

    def put(self, start: int, end: int, new: str) -> None:
        """Note what shall stand from one place to another."""
        self._splices.append((start, end, new))

    def applied(self) -> str:
        """The text with every change made."""
        parts, done = [], 0
        for start, end, new in sorted(self._splices, key=lambda s: s[:2]):
            parts += [self.text[done : max(start, done)], new]
            done = max(end, done)
        return "".join([*parts, self.text[done:]])

    def place(self, root: Node, path: KeyPath) -> tuple[int, int]:
        """Line and column, from 1, of the deepest key of a path that the text holds."""
        at, node = root.start, root
        for key in path:
            entry = node.get(key)
            if entry is None:
                break
            at, node = entry.node.start, entry.node
        return len(_LINE_END.findall(self.text[:at])) + 1, self.column(at) + 1

    def column(self, at: int) -> int:
        """How far into its line a place stands, from 0."""
        return at - max(self.text.rfind("\n", 0, at), self.text.rfind("\r", 0, at)) - 1

    def line_stop(self, at: int) -> int:
        """Where the line ends that this place stands in, before its line end."""
        found = _LINE_END.search(self.text, at)
        return found.start() if found else len(self.text)


class _Splicer:
    """Goes through the changes of a text, and finds what shall stand where."""

    def __init__(self, sheet: _Sheet, root: Node, order: Order) -> None:
        self._sheet, self._text, self._order = sheet, sheet.text, order
        inner = (e for e in root.entries if e.node.kind == "mapping" and e.node.style is None and e.node.entries)
        steps = (sheet.column(e.node.entries[0].start) - sheet.column(e.start) for e in inner)
        self._step = next(steps, 2)

    def visit(self, spot: Spot, edits: Edits, path: KeyPath) -> None:
        """Make the changes below one value."""
        node = spot.node
        if node.kind == "scalar":
            self._open(spot, edits)
            return
        gone = [e for e in node.entries if edits.get(e.key) == Put(GONE)]
        kept = [e for e in node.entries if e not in gone]
        fresh = {k: laid_over(None, e) for k, e in edits.items() if node.get(k) is None}
        fresh = {k: value for k, value in fresh.items() if value is not GONE}
        if not kept and (gone or fresh):
            self._replace(spot, list(fresh.values()) if node.kind == "list" else fresh)
            return
        for entry in kept:
            edit = edits.get(entry.key)
            if isinstance(edit, Put):
                self._put(Spot(entry, node), edit.value, (*path, entry.key))
            elif edit:
                self.visit(Spot(entry, node), edit, (*path, entry.key))
        for entry in gone:
            self._take_away(node, entry, kept)
        self._add(node, kept, fresh, path)

    def _put(self, spot: Spot, value: Any, path: KeyPath) -> None:
        node = spot.node
        if node.kind == "mapping" and isinstance(value, Mapping) and value:
            self.visit(spot, _instead(node, {str(k): v for k, v in value.items()}), path)
        elif node.kind == "list" and is_list(value) and value:
            self.visit(spot, _instead(node, dict(enumerate(value))), path)
        elif node.kind == "mapping" and is_plain(value) and is_quantity([e.key for e in node.entries]):
            self.visit(spot, {"value": Put(value)}, path)
        elif node.kind != "scalar" or not _same(node.data, value) or node.empty:
            self._replace(spot, value)

    def _open(self, spot: Spot, edits: Edits) -> None:
        """Set keys below a plain value: of a quantity, whose value stays; or of a mapping that was empty."""
        node = spot.node
        raw = self._text[node.start : node.end]
        one_word = (raw and not set(raw) & set(",[]{}\r\n")) or node.style in ("'", '"')
        base = {} if node.data is None else {"value": Raw(raw) if one_word else node.data}
        self._replace(spot, base | laid_over({}, edits))

    def _replace(self, spot: Spot, value: Any) -> None:
        """Write a value where another one stands, or nothing."""
        (entry, parent), node = spot, spot.node
        in_block = parent.style is None and not is_plain(value) and not in_one_line(value)
        start, end, colon = node.start, node.end, ""
        if entry.start == entry.end == 0 and parent is node:  # the whole file
            self._sheet.put(start, end, self._sheet.line_end.join(block_lines(value, self._step)))
            return
        if parent.kind == "mapping" and (in_block or node.empty or (node.style is None and node.kind != "scalar")):
            start = _behind_colon(self._text, entry.end)
            colon = ":" if self._text[start - 1 : start] != ":" else ""
        if in_block:
            self._sheet.put(start, end, colon + self._block(entry, parent, value))
            return
        gap = " " if start != node.start or node.empty else ""
        self._sheet.put(start, end, colon + gap + flow_text(value, self._quotes(node, parent)))

    def _block(self, entry: Entry, parent: Node, value: Any) -> str:
        column = self._sheet.column(entry.start)
        lines = block_lines(value, self._step)
        if parent.kind == "list":
            return (self._sheet.line_end + " " * (column + 2)).join(lines)
        return "".join(self._sheet.line_end + " " * (column + self._step) + line for line in lines)

    def _quotes(self, node: Node, parent: Node) -> str | None:
        """The quotes that a new value gets: those of the old one, or of the keys beside it."""
        if node.kind == "scalar" and node.style in ("'", '"'):
            return node.style
        return '"' if _quoted_keys(self._text, parent) and node.kind != "scalar" else None

    def _take_away(self, node: Node, entry: Entry, kept: Sequence[Entry]) -> None:
        if node.style == "flow":
            self._take_from_flow(node, entry, kept)
            return
        line, stop = entry.start - self._sheet.column(entry.start), self._sheet.line_stop(entry.node.end)
        if self._text[line : entry.start].strip() == "":
            behind = _LINE_END.match(self._text, stop)
            begin = (
                line if behind else line - len(self._sheet.line_end) * bool(line)
            )  # the last line has no end of its own
            self._sheet.put(begin, behind.end() if behind else stop, "")
            return
        following = next((e for e in kept if e.start > entry.start), None)
        clear = following is not None and self._text[stop : following.start].strip() == ""
        self._sheet.put(entry.start, following.start if following is not None and clear else stop, "")

    def _take_from_flow(self, node: Node, entry: Entry, kept: Sequence[Entry]) -> None:
        """Take an entry out of braces or brackets, with the comma on the side of the entries that stay."""
        place = node.entries.index(entry)
        leads = all(e.start > entry.start for e in kept)
        start, end = (
            (entry.node.end, node.entries[place + 1].start)
            if leads
            else (node.entries[place - 1].node.end, entry.start)
        )
        between = self._text[start:end]
        if "#" not in between:
            self._sheet.put(entry.start if leads else start, end if leads else entry.node.end, "")
            return
        comma = start + _COMMENT.sub(lambda found: " " * len(found.group()), between).index(",")
        self._sheet.put(comma, comma + 1, "")
        self._sheet.put(entry.start, entry.node.end, "")

    def _add(self, node: Node, kept: Sequence[Entry], fresh: Mapping[Any, Any], path: KeyPath) -> None:
        known = {key: i for i, key in enumerate(self._order(path))} if node.kind == "mapping" else {}
        for key, value in sorted(fresh.items(), key=lambda item: known.get(item[0], len(known))):
            rank = known.get(key, len(known))
            before = [e for e in kept if known.get(str(e.key), -1) < rank] if known else kept
            after = before[-1] if before else None
            if node.style == "flow":
                self._add_to_flow(after or kept[0], self._pair(node, key, value), first=after is None)
            else:
                self._add_to_block(node, after or kept[0], self._lines(node, key, value), first=after is None)

    def _pair(self, node: Node, key: Any, value: Any) -> str:
        style = '"' if _quoted_keys(self._text, node) else None
        shown = flow_text(value, style)
        return shown if node.kind == "list" else f"{key_text(str(key), in_quotes=style is not None)}: {shown}"

    def _lines(self, node: Node, key: Any, value: Any) -> list[str]:
        if node.kind == "list":
            return block_lines([value], self._step)
        return entry_lines(key_text(str(key)), value, self._step)

    def _add_to_flow(self, beside: Entry, new: str, *, first: bool) -> None:
        if first:
            self._sheet.put(beside.start, beside.start, f"{new}, ")
        else:
            self._sheet.put(beside.node.end, beside.node.end, f", {new}")

    def _add_to_block(self, node: Node, beside: Entry, lines: list[str], *, first: bool) -> None:
        indent = self._sheet.line_end + " " * self._sheet.column(beside.start)
        if first:
            self._sheet.put(beside.start, beside.start, indent.join(lines) + indent)
            return
        at = self._sheet.line_stop(beside.node.end)
        apart = self._sheet.line_end if self._stands_apart(node, beside, at, len(lines)) else ""
        self._sheet.put(at, at, apart + "".join(indent + line for line in lines))

    def _stands_apart(self, node: Node, beside: Entry, at: int, lines: int) -> bool:
        """Whether the sections of the file have an empty line between them, here too."""
        if self._sheet.column(beside.start) or node.kind == "list" or (beside.node.kind == "scalar" and lines == 1):
            return False
        behind = _LINE_END.match(self._text, at)
        return (
            behind is None or behind.end() == len(self._text) or _LINE_END.match(self._text, behind.end()) is not None
        )
