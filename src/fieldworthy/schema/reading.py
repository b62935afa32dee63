"""Reads a YAML file into plain data with the place of every key, and validates it against a declaration.

Every problem of a file is reported at once, with its line and column. The reader is bounded: no aliases (they
can expand without end), no more than a few megabytes, no nesting that a person would not write.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from fieldworthy.schema.declare import Spec, schema_of
from fieldworthy.schema.problems import BadInput, KeyPath, Problem, dotted, nearest

LARGEST = 2_000_000  # bytes; a robot file is some tens of kilobytes
DEEPEST = 24
_INTEGER = re.compile(r"[+-]?\d{1,15}")
_FLOAT = re.compile(r"[+-]?(\d+\.\d*|\.\d+|\d+)([eE][+-]?\d{1,3})?")
_TRUTH = {"true": True, "false": False}
_NOTHING = ("", "~", "null")

Mark = tuple[int, int]


@dataclass(slots=True)
class Document:
    """A file's data and where each key stands.

    Attributes
    ----------
    file : Path
        The file as the person named it.
    data : object
        Dictionaries, lists, strings, numbers, truth values and None.
    marks : dict
        Line and column (from 1) by key path, of the value.
    files : dict
        The file by key path, for keys that came from another one, such as a parts list.
    problems : list of Problem
        What the reader itself found wrong.
    """

    file: Path
    data: Any = None
    marks: dict[KeyPath, Mark] = field(default_factory=dict)
    files: dict[KeyPath, Path] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def place(self, key: KeyPath) -> Mark:
        """Find where a key stands, or the nearest key above it.

        Parameters
        ----------
        key : tuple of str or int
            The key path [-].

        Returns
        -------
        tuple of int
            Line and column, from 1 [-].
        """
        for end in range(len(key), -1, -1):
            if key[:end] in self.marks:
                return self.marks[key[:end]]
        return (1, 1)

    def problem(self, key: KeyPath, expected: str, suggestion: str | None = None) -> Problem:
        """Describe one thing wrong at a key.

        Parameters
        ----------
        key : tuple of str or int
            The key path [-].
        expected : str
            What was expected there [-].
        suggestion : str or None
            What was probably meant [-].

        Returns
        -------
        Problem
            With line and column filled in [-].
        """
        line, column = self.place(key)
        file = next((self.files[key[:end]] for end in range(len(key), 0, -1) if key[:end] in self.files), self.file)
        return Problem(file, line, column, key, expected, suggestion)


def read_text(file: Path) -> str:
    """Read a text file whole, within bounds.

    Parameters
    ----------
    file : Path
        The file [-].

    Returns
    -------
    str
        Its text [-].

    Raises
    ------
    BadInput
        When it is missing, a directory, unreadable, too large or not UTF-8.
    """

    def bad(expected: str) -> BadInput:
        return BadInput([Problem(file, 1, 1, (), expected)])

    try:
        if file.is_dir():
            raise bad("expected a file, found a directory")
        with file.open("rb") as stream:
            raw = stream.read(LARGEST + 1)
    except FileNotFoundError as error:
        near = nearest(file.name, _siblings(file))
        raise BadInput([Problem(file, 1, 1, (), "no such file", near)]) from error
    except (OSError, ValueError) as error:
        raise bad(f"the file cannot be read ({getattr(error, 'strerror', None) or error})") from error
    if len(raw) > LARGEST:
        raise bad(f"expected a file of at most {LARGEST // 1_000_000} MB")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise bad(f"expected UTF-8 text, found byte 0x{raw[error.start]:02x} at {error.start}") from error


def _siblings(file: Path) -> list[str]:
    try:
        return [p.name for p in file.parent.iterdir()][:500]
    except OSError:
        return []


def read_document(file: Path, text: str | None = None) -> Document:
    """Read a YAML file into plain data with the place of every key.

    Parameters
    ----------
    file : Path
        The file, as it shall be named in messages [-].
    text : str or None
        The text, where it is already at hand [-].

    Returns
    -------
    Document
        Data and marks; duplicate keys and aliases stand in its ``problems`` [-].

    Raises
    ------
    BadInput
        When the file cannot be read or is not YAML.
    """
    from ruamel.yaml import YAML  # noqa: PLC0415  only when a file is read
    from ruamel.yaml.error import MarkedYAMLError, YAMLError  # noqa: PLC0415

    text = read_text(file) if text is None else text
    document = Document(file)
    _refuse_depth(document, text)
    try:
        root = YAML(typ="safe").compose(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        raise BadInput([Problem(file, line, column, (), f"expected YAML: {error.problem or error.context}")]) from error
    except (YAMLError, RecursionError, ValueError) as error:
        raise BadInput([Problem(file, 1, 1, (), f"expected YAML: {str(error).splitlines()[0]}")]) from error
    if root is None:
        raise BadInput([Problem(file, 1, 1, (), "expected a mapping, found an empty file")])
    document.data = _plain(root, (), document, set())
    if not isinstance(document.data, dict):
        document.problems.append(Problem(file, 1, 1, (), "expected a mapping of keys at the top of the file"))
    if document.problems:
        raise BadInput(document.problems)
    return document


def _refuse_depth(document: Document, text: str) -> None:
    """Stop nesting that would exhaust the parser before it is parsed."""
    depth = 0
    for number, line in enumerate(text.splitlines(), 1):
        indent = len(line) - len(line.lstrip(" -?:"))
        depth += line.count("[") + line.count("{")
        if indent > 8 * DEEPEST or depth > 8 * DEEPEST:
            raise BadInput([Problem(document.file, number, 1, (), f"expected at most {DEEPEST} levels of nesting")])
        depth -= line.count("]") + line.count("}")


def _plain(node: Any, path: KeyPath, document: Document, seen: set[int]) -> Any:
    mark: Mark = (node.start_mark.line + 1, node.start_mark.column + 1)
    document.marks.setdefault(path, mark)
    if id(node) in seen or len(path) > DEEPEST:
        what = "no aliases (*name): write the value out" if id(node) in seen else f"at most {DEEPEST} levels"
        document.problems.append(Problem(document.file, *mark, path, f"expected {what}"))
        return None
    seen.add(id(node))
    if node.id == "scalar":
        return _scalar(node)
    if node.id == "sequence":
        return [_plain(child, (*path, i), document, seen) for i, child in enumerate(node.value)]
    return _mapping(node, path, document, seen)


def _mapping(node: Any, path: KeyPath, document: Document, seen: set[int]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key_node, value_node in node.value:
        at: Mark = (key_node.start_mark.line + 1, key_node.start_mark.column + 1)
        if key_node.id != "scalar":
            document.problems.append(Problem(document.file, *at, path, "expected a plain word as key"))
            continue
        key = str(key_node.value)
        if key in found:
            document.problems.append(Problem(document.file, *at, (*path, key), "expected each key only once"))
            continue
        document.marks[(*path, key)] = (value_node.start_mark.line + 1, value_node.start_mark.column + 1)
        document.marks[(*path, key, "")] = at  # where the key itself stands
        found[key] = _plain(value_node, (*path, key), document, seen)
    return found


def _scalar(node: Any) -> Any:
    text = str(node.value)
    if node.style in ("'", '"', "|", ">"):
        return text
    if text.lower() in _NOTHING:
        return None
    if text.lower() in _TRUTH:
        return _TRUTH[text.lower()]
    if _INTEGER.fullmatch(text):
        return int(text)
    return float(text) if _FLOAT.fullmatch(text) else text


def validate(document: Document, declared: type) -> Spec:
    """Check a document against a declaration.

    Parameters
    ----------
    document : Document
        As `read_document` gives it [-].
    declared : type
        The dataclass that declares the file [-].

    Returns
    -------
    Spec
        The validated specification [-].

    Raises
    ------
    BadInput
        With every problem found.
    """
    schema = schema_of(declared)
    try:
        return schema.model_validate(document.data)
    except ValidationError as error:
        raise BadInput([_explain(document, declared, dict(e)) for e in error.errors(include_url=False)]) from error


def _explain(document: Document, declared: type, error: dict[str, Any]) -> Problem:
    """Turn one pydantic error into a sentence for a person."""
    path = _in_file(document.data, tuple(error["loc"]))
    kind, context = error["type"], error.get("ctx", {})
    if kind == "extra_forbidden":
        known = _known_keys(schema_of(declared), document.data, path[:-1])
        listed = ", ".join(known[:14]) + (", …" if len(known) > 14 else "")
        problem = document.problem((*path, ""), f"unknown key; expected one of {listed}", nearest(str(path[-1]), known))
        return Problem(problem.file, problem.line, problem.column, path, problem.expected, problem.suggestion)
    if kind == "expected":
        return document.problem(path, f"expected {context['expected']}", context["suggestion"] or None)
    if kind == "missing":
        return document.problem(path, "this key is missing")
    if kind in ("literal_error", "union_tag_invalid"):
        choices = str(context.get("expected") or context.get("expected_tags"))
        words = re.findall(r"'([^']*)'", choices)
        found = error["input"] if kind == "literal_error" else context.get("tag", "")
        where = path if kind == "literal_error" else (*path, "kind")
        return document.problem(where, f"expected one of {', '.join(words)}", nearest(str(found), words))
    if kind == "union_tag_not_found":
        return document.problem(path, "the key 'kind' is missing")
    return document.problem(path, _plain_words(kind, error["msg"]))


def _plain_words(kind: str, message: str) -> str:
    words = {
        "model_type": "expected a mapping of keys",
        "model_attributes_type": "expected a mapping of keys",
        "dict_type": "expected a mapping of names",
        "list_type": "expected a list",
        "tuple_type": "expected a list",
        "string_type": "expected a text",
        "int_type": "expected a whole number",
        "int_parsing": "expected a whole number",
        "int_from_float": "expected a whole number",
        "bool_type": "expected true or false",
        "bool_parsing": "expected true or false",
        "string_pattern_mismatch": "expected a name of letters, digits, spaces and - . , _ + ' / ( )",
    }
    if kind in words:
        return words[kind]
    return "expected: " + message[:1].lower() + message[1:]


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
    from fieldworthy.schema.walk import models_at  # noqa: PLC0415  used for messages only

    models = models_at(schema, data, path)
    return sorted({name for model in models for name in model.model_fields})


__all__ = ["BadInput", "Document", "Problem", "dotted", "read_document", "read_text", "validate"]
