"""Sheets for the workshop: what to do for each measuring procedure, with blanks to fill."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import Any, get_args

from fieldworthy.files import BadInput, Problem
from fieldworthy.files.declare import hints
from fieldworthy.files.document import nearest
from fieldworthy.measure.model import Measurements

RULES = "The event's rules, the makers' ratings and a responsible adult come before this sheet."


@dataclass(frozen=True, slots=True)
class Blank:
    """One column of blanks.

    Attributes
    ----------
    key : Where it goes in the measurements file: ``[]`` is one entry of a list, ``<wheel>`` a name of the robot
        file
    label, unit : What stands over it
    """

    key: str
    label: str
    unit: str

    @property
    def head(self) -> str:
        """Label and unit."""
        return f"{self.label} [{self.unit}]" if self.unit else self.label


@dataclass(frozen=True, slots=True)
class Table:
    """A table of blanks.

    Attributes
    ----------
    title : What it is for
    rows : How many rows it has
    columns : Its columns
    """

    title: str
    rows: int
    columns: tuple[Blank, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One procedure.

    Attributes
    ----------
    name : The section of the measurements file
    title, gives : What it is called, and what it tells
    tools, cautions, steps : What is needed, what can hurt, what to do
    tables : Blanks
    example : The section as a measurements file holds it, with invented readings
    """

    name: str
    title: str
    gives: str
    tools: tuple[str, ...]
    cautions: tuple[str, ...]
    steps: tuple[str, ...]
    tables: tuple[Table, ...]
    example: str


@cache
def sheets() -> dict[str, Sheet]:
    """Read the sheets that come with the tool."""
    text = files("fieldworthy.measure").joinpath("sheets.toml").read_text(encoding="utf-8")
    return {name: _sheet(name, data) for name, data in tomllib.loads(text).items()}


def _sheet(name: str, data: dict[str, Any]) -> Sheet:
    tables = tuple(Table(t["title"], t["rows"], tuple(Blank(**c) for c in t["columns"])) for t in data["tables"])
    tools, cautions, steps = (tuple(data[key]) for key in ("tools", "cautions", "steps"))
    return Sheet(name, data["title"], data["gives"], tools, cautions, steps, tables, data["example"].strip())


def sheet(name: str) -> Sheet:
    """Find one sheet."""
    known = sheets()
    if name not in known:
        expected = f"expected one of {', '.join(known)}"
        raise BadInput([Problem(Path("sheet"), 1, 1, (), expected, nearest(name, known))])
    return known[name]


_TAKEN = "How near a reading is taken to be, where the file says nothing else"


def taken(one: Sheet) -> tuple[str, ...]:
    """What stands in for the errors that a team does not state, each with its key."""
    annotation = hints(Measurements)[one.name]
    declared = next(part for part in (*get_args(annotation), annotation) if is_dataclass(part))
    return tuple(
        f"{field.metadata['assume']} ({field.name}): {str(field.metadata['why']).replace(' as that', ' as this')}"
        for field in fields(declared)
        if "95 of 100" in str(field.metadata.get("why"))
    )


def as_text(one: Sheet, *, markdown: bool) -> str:
    """Write a sheet as Markdown or plain text."""
    return "\n".join(_lines(one, "#" if markdown else "")) + "\n"


def _lines(one: Sheet, mark: str) -> Iterator[str]:
    under = f"{mark}{mark} " if mark else ""
    yield f"{mark} {one.title}".strip()
    yield from ("", f"It gives {one.gives}.", "", f"{under}Cautions", "")
    yield from (f"- {caution}" for caution in (*one.cautions, RULES))
    yield from ("", f"{under}What you need", "", *(f"- {tool}" for tool in one.tools))
    yield from ("", f"{under}What to do", "", *(f"{i}. {step}" for i, step in enumerate(one.steps, 1)))
    if near := taken(one):
        yield from ("", f"{under}{_TAKEN}", "", *(f"- {line}" for line in near))
    yield from ("", "Robot: ____________   Date: ____________   Who: ____________", "")
    for table in one.tables:
        widths = [max(len(blank.head), len(blank.key), 8) for blank in table.columns]
        rows = [[b.head for b in table.columns], *([[""] * len(widths)] * table.rows), [b.key for b in table.columns]]
        shown = ["| " + " | ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)) + " |" for row in rows]
        rule = "| " + " | ".join("-" * w for w in widths) + " |"
        yield from (f"{under}{table.title}", "", shown[0], rule, *shown[1:], "")
    yield "The last row says where each column goes in the measurements file; [] is one entry of a list."
    yield from ("", f"{under}In the file (invented readings)", "")
    yield from (("```yaml", one.example, "```") if mark else (one.example,))


_WHERE = (
    '<p class="small">The last row of a table says where its columns go in the measurements file; '
    "<code>[]</code> is one entry of a list, a name in <code>&lt; &gt;</code> one of yours.</p>"
)
_STYLE = """
:root{color-scheme:light}
body{font:16px/1.45 system-ui,sans-serif;color:#000;background:#fff;margin:0 auto;padding:16px;max-width:46rem}
h1{font-size:1.5rem;line-height:1.2;margin:0 0 .2em}h2{font-size:1.05rem;margin:1.2em 0 .3em}
.cautions{border:2px solid #000;padding:.5em 1em;margin:1em 0}.cautions h2{margin:0}
ul,ol{padding-left:1.4em;margin:.3em 0}li{margin:.25em 0}
.who{display:flex;flex-wrap:wrap;gap:.6em 1.2em;margin:1em 0}.who span{flex:1 1 8rem;border-bottom:1px solid #000}
.wide{overflow-x:auto}table{border-collapse:collapse;width:100%;table-layout:fixed}
th,td{border:1px solid #000;padding:.25em .35em;font-size:.85rem;overflow-wrap:anywhere;vertical-align:bottom}
th{text-align:left;font-weight:600}td{height:1.9em}tfoot td{height:auto;font:.68rem/1.3 monospace;color:#333}
pre{border:1px solid #000;padding:.6em;font-size:.78rem;overflow-x:auto}
p.small{font-size:.85rem}
@page{margin:14mm}
@media print{body{font-size:10.5pt;padding:0;max-width:none}
pre{white-space:pre-wrap}section,table,pre{break-inside:avoid}h2{break-after:avoid}}
"""


def as_html(one: Sheet) -> str:
    """Write a sheet as one HTML file that asks for nothing else."""
    parts = [
        f"<h1>{escape(one.title)}</h1><p>It gives {escape(one.gives)}.</p>",
        f'<section class="cautions"><h2>Cautions</h2>{_listed("ul", (*one.cautions, RULES))}</section>',
        f"<h2>What you need</h2>{_listed('ul', one.tools)}",
        f"<h2>What to do</h2>{_listed('ol', one.steps)}",
        *(f"<h2>{_TAKEN}</h2>{_listed('ul', near)}" for near in (taken(one),) if near),
        '<div class="who"><span>Robot:</span><span>Date:</span><span>Who:</span></div>',
        *(_table(table) for table in one.tables),
        _WHERE,
        f'<section><h2>In the file (invented readings)</h2><pre tabindex="0">{escape(one.example)}</pre></section>',
    ]
    body = "\n".join(parts)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(one.title)}</title><style>{_STYLE}</style></head>\n<body><main>\n"
        f"{body}\n</main></body></html>\n"
    )


def _listed(kind: str, items: tuple[str, ...]) -> str:
    return f"<{kind}>" + "".join(f"<li>{escape(item)}</li>" for item in items) + f"</{kind}>"


def _breakable(key: str) -> str:
    return escape(key).replace(".", ".<wbr>").replace("_", "_<wbr>")


def _table(table: Table) -> str:
    heads = "".join(f'<th scope="col">{escape(blank.head)}</th>' for blank in table.columns)
    empty = "<tr>" + "<td></td>" * len(table.columns) + "</tr>"
    keys = "".join(f"<td>{_breakable(blank.key)}</td>" for blank in table.columns)
    return (
        f'<section><h2>{escape(table.title)}</h2><div class="wide" tabindex="0" role="group" aria-label="Table">'
        f"<table><thead><tr>{heads}</tr></thead>"
        f"<tbody>{empty * table.rows}</tbody><tfoot><tr>{keys}</tr></tfoot></table></div></section>"
    )
