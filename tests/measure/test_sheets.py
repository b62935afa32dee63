"""Sheets of the measuring procedures: one for each, every blank with a place in the file, nothing fetched."""

from __future__ import annotations

import dataclasses
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, get_args, get_origin

import pytest
from tests.edge import run

from fieldworthy.files import read_document, validate
from fieldworthy.files.declare import Of, hints, mark_of
from fieldworthy.measure import model
from fieldworthy.measure.fit import PROCEDURES
from fieldworthy.measure.model import Measurements
from fieldworthy.measure.sheets import RULES, as_html, as_text, sheets
from fieldworthy.units import parse

NAMES = sorted(sheets())


def _inside(annotation: Any, origin: type) -> Any:
    """What a list or a mapping of a declaration holds, an optional one too."""
    options = [annotation, *get_args(annotation)]
    return next(get_args(a)[0 if origin is tuple else 1] for a in options if get_origin(a) is origin)


def _found(key: str) -> Any:
    """The annotation that a sheet's key leads to; fails where there is none."""
    here: Any = Measurements
    for word in re.findall(r"<\w+>|\[\]|\w+", key):
        if word.startswith("<"):
            here = _inside(here, dict)
        elif word == "[]":
            here = _inside(here, tuple)
        else:
            declared = next(a for a in (here, *get_args(here)) if dataclasses.is_dataclass(a))
            here = hints(declared)[word]  # type: ignore[arg-type]
    return here


def test_every_procedure_has_a_sheet_and_every_sheet_a_procedure() -> None:
    sections = {f.name for f in dataclasses.fields(Measurements)} - {"fieldworthy", "robot", "about"}
    assert set(NAMES) == sections == set(PROCEDURES)


@pytest.mark.parametrize("name", NAMES)
def test_every_blank_names_a_key_that_exists_and_a_unit_that_fits(name: str) -> None:
    assert any(table.columns for table in sheets()[name].tables)
    for table in sheets()[name].tables:
        for blank in table.columns:
            assert blank.key.startswith(f"{name}.")
            found = _found(blank.key)
            for each in (found, *get_args(found)):
                mark = mark_of(each)
                if isinstance(mark, Of) and mark.kind != "ratio":
                    parse(f"1 {blank.unit}", mark.kind)


def test_a_key_that_does_not_exist_would_be_seen() -> None:
    with pytest.raises(KeyError):
        _found("scales.level[].reading")


@pytest.mark.parametrize("name", NAMES)
def test_the_example_is_a_section_that_the_reader_takes(name: str) -> None:
    text = f"fieldworthy: measurements 1\nrobot: mk1.yaml\n{sheets()[name].example}\n"
    spec = validate(read_document(Path("example.yaml"), text), Measurements)
    assert getattr(spec, name)


@pytest.mark.parametrize("name", NAMES)
def test_cautions_come_before_the_steps(name: str) -> None:
    one = sheets()[name]
    for shown in (as_html(one), as_text(one, markdown=True), as_text(one, markdown=False)):
        assert shown.index("Cautions") < shown.index("What you need") < shown.index("What to do")
        assert one.cautions


def test_air_sheets_speak_of_eyes_ratings_and_release() -> None:
    for name in ("cycles", "leaks", "frames"):
        said = " ".join(sheets()[name].cautions).lower()
        assert all(word in said for word in ("eye protection", "rated pressure", "release"))
    assert "responsible adult" in RULES


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in ("meta", "wbr"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("name", NAMES)
def test_html_is_whole_and_asks_for_nothing(name: str) -> None:
    text = as_html(sheets()[name])
    tags = _Tags()
    tags.feed(text)
    assert tags.open == []
    assert not {"script", "link", "img", "iframe", "object"} & {tag for tag, _ in tags.seen}
    assert all(not {"src", "href", "onclick"} & set(attrs) for _, attrs in tags.seen)
    assert "url(" not in text
    assert "http" not in text
    rows = sum(table.rows for table in sheets()[name].tables)
    assert text.count("<tr><td></td>") == rows


def test_the_command_writes_each_form(tmp_path: Path) -> None:
    listed = run("sheet", "--list")
    assert listed.code == 0
    assert all(name in listed.out for name in NAMES)
    assert run("sheet", "tilt").out.startswith("Tilt until it balances\n")
    for ending, begins in ((".html", "<!DOCTYPE html>"), (".md", "# Tilt"), (".txt", "Tilt until")):
        assert run("sheet", "tilt", "-o", tmp_path / f"a{ending}").code == 0
        assert (tmp_path / f"a{ending}").read_text("utf-8").startswith(begins)


def test_an_unknown_procedure_or_ending_is_told(tmp_path: Path) -> None:
    for arguments, said in ((("scale",), "did you mean 'scales'?"), (("tilt", "-o", tmp_path / "a.pdf"), "ends with")):
        ended = run("sheet", *arguments)
        assert ended.code == 2
        assert said in ended.err


def test_the_guide_names_a_tool_and_what_it_is_good_to_for_every_reading() -> None:
    """What stands in for an error that a file does not state is the guide's own number, in its last column."""
    guide = (Path(__file__).parents[2] / "docs" / "measure.md").read_text("utf-8")
    table = guide.partition("## What a workshop has")[2].partition("## Scales under")[0]
    assert "common practice, no source" in table
    rows = [[cell.strip() for cell in line.split("|")[1:-1]] for line in table.splitlines() if line.startswith("| ")][
        2:
    ]
    assert len(rows) >= 18
    assert all(len(row) == 5 and all(row) for row in rows)
    taken = " ".join(row[4] for row in rows)
    declared = [
        field.metadata["assume"]
        for kind in vars(model).values()
        if dataclasses.is_dataclass(kind) and kind.__module__ == model.__name__
        for field in dataclasses.fields(kind)
        if "95 of 100" in str(field.metadata.get("why"))
    ]
    assert len(declared) >= 11
    assert [text for text in declared if text not in taken] == []
    on_sheets = " ".join(as_text(one, markdown=False) + as_html(one) for one in sheets().values())
    assert [text for text in declared if on_sheets.count(f"{text} (") < 2] == []  # as text and in a browser
