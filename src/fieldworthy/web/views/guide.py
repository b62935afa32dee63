"""The guide, without internet: its chapters and the pages they lead to, as they stand in the project's docs."""

from __future__ import annotations

import base64
import posixpath
import re
from functools import cache
from importlib import resources
from importlib.abc import Traversable
from pathlib import Path

from fieldworthy.web.components import heading
from fieldworthy.web.markup import Markup, address, join, tag
from fieldworthy.web.page import Page

FIRST = "guide/README.md"
_LINK = re.compile(r'<a href="([^"]*)">(.*?)</a>', re.DOTALL)
_IMAGE = re.compile(r'<img src="([^"]*)" alt="([^"]*)"[^>]*>')
_TITLE = re.compile(r"<h1[^>]*>(.*?)</h1>", re.DOTALL)
_EMPTY = re.compile(r"<th[^>]*>\s*</th>")  # the corner of a table is no heading
_MEDIA = {".png": "image/png", ".svg": "image/svg+xml"}


def library() -> Traversable:
    """Find the documents: in the installed package, or beside its source."""
    packaged = resources.files("fieldworthy").joinpath("docs")
    return packaged if packaged.is_dir() else Path(__file__).parents[4] / "docs"


def build(page: Page) -> None:
    """Show a chapter, and the list of all."""
    asked = page.query.get("part", FIRST)
    name = asked if found(asked) is not None else FIRST
    way = "" if name == FIRST else tag("p", tag("a", "All chapters", href=_address(FIRST, page.file), data_go=True))
    page.fill(tag("div", way, chapter(name, page.file), class_="guide"))


def found(name: str) -> Traversable | None:
    """Find a document by its path in the library; what lies elsewhere, or is not there, is none."""
    parts = name.split("/")
    if not name.endswith((".md", *_MEDIA)) or any(part in ("", ".", "..") for part in parts) or "\\" in name:
        return None
    place = library().joinpath(*parts)
    return place if place.is_file() else None


@cache
def chapter(name: str, file: str) -> Markup:
    """Render a document: its links lead to other documents of the library, its pictures stand in it."""
    import markdown2  # noqa: PLC0415  only who reads the guide needs it

    place = found(name)
    if place is None:
        return join([heading("This page is not here")])
    extras = ["tables", "fenced-code-blocks", "highlightjs-lang", "code-friendly"]
    html = str(markdown2.markdown(place.read_text(encoding="utf-8"), extras=extras, safe_mode="escape"))
    html = _IMAGE.sub(lambda match: _picture(name, match[1], match[2]), html)
    html = _LINK.sub(lambda match: _link(name, match[1], match[2], file), html)
    html = _TITLE.sub(lambda match: f'<h1 id="fw-title" tabindex="-1">{match[1]}</h1>', html, count=1)
    html = _EMPTY.sub("<td></td>", html)
    html = html.replace("<table>", '<div class="table" tabindex="0"><table>').replace("</table>", "</table></div>")
    return Markup(html.replace("<pre>", '<pre tabindex="0" style="overflow-x:auto">'))


def _beside(name: str, target: str) -> str:
    return posixpath.normpath(posixpath.join(posixpath.dirname(name), target.partition("#")[0]))


def _address(name: str, file: str) -> str:
    return address("guide", file=file, part=name)


def _link(name: str, target: str, text: str, file: str) -> str:
    """A link to a document that is here; of any other only its words."""
    where = _beside(name, target)
    if not where.endswith(".md") or found(where) is None:
        return text
    return tag("a", Markup(text), href=_address(where, file), data_go=True)


def _picture(name: str, target: str, alt: str) -> str:
    """A picture within the page; where it is not in the package, what it would show."""
    where = _beside(name, target)
    place = found(where)
    if place is None or posixpath.splitext(where)[1] not in _MEDIA:
        return f"<em>{alt}</em>"
    data = base64.b64encode(place.read_bytes()).decode("ascii")
    kind = _MEDIA[posixpath.splitext(where)[1]]
    return f'<img src="data:{kind};base64,{data}" alt="{alt}" style="max-width:100%;height:auto">'
