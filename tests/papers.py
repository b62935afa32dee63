"""Reads documents back: the text and the ink of a PDF's pages, and a page of HTML by strict rules."""

from __future__ import annotations

import functools
import io
import re
import unicodedata
from html.parser import HTMLParser

import numpy as np
import pypdf
import pypdfium2

VOID = {"meta", "br", "hr", "img", "col", "link", "input"}
FOREIGN = {"svg", "math"}
"""In these a tag may close itself."""


def flat(text: str) -> str:
    """A text as its letters alone: without spaces, and with ligatures and odd spaces undone."""
    return re.sub(r"[\s\u200b\u00ad]+", "", unicodedata.normalize("NFKC", text))


@functools.lru_cache(maxsize=8)
def pages_of(pdf: bytes) -> list[str]:
    """The text of every page, as flat."""
    return [flat(page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


@functools.lru_cache(maxsize=8)
def ink(pdf: bytes) -> list[np.ndarray]:
    """Every page in grey, 0 black to 255 white, one pixel a point."""
    found = []
    for page in pypdfium2.PdfDocument(pdf):
        rgb = page.render(scale=1.0, rev_byteorder=True).to_numpy()[:, :, :3].astype(float)
        found.append(rgb @ np.array([0.299, 0.587, 0.114]))
    return found


class Strict(HTMLParser):
    """Every tag is closed in order, no name stands twice, and nothing is asked of anywhere."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.names: set[str] = set()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag, attrs):
        self._look(tag, attrs)
        if tag not in VOID or self.foreign:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self._look(tag, attrs)
        assert tag in VOID or self.foreign, f"<{tag}/> closes itself outside a drawing"

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> closes nothing"
        assert self.open[-1] == tag, f"</{tag}> closes <{self.open[-1]}>"
        self.open.pop()

    def handle_data(self, data):
        if "style" not in self.open[-1:]:
            self.text.append(data)

    @property
    def foreign(self) -> bool:
        return any(tag in FOREIGN for tag in self.open)

    def _look(self, tag, attrs):
        self.tags.append(tag)
        given = [name for name, _ in attrs]
        assert len(given) == len(set(given)), f"<{tag}> has an attribute twice"
        assert not any(name.startswith("on") for name in given), f"<{tag}> would run something"
        for name, value in attrs:
            if name == "id":
                assert value not in self.names, f"the name {value!r} stands twice"
                self.names.add(value)
            if name in ("href", "src", "xlink:href", "action", "srcset", "data"):
                self.links.append(value or "")


def strict(page: str) -> Strict:
    """Read a page; whatever is not well formed fails the test."""
    assert page.startswith("<!DOCTYPE html>")
    parser = Strict()
    parser.feed(page)
    parser.close()
    assert parser.open == [], f"never closed: {parser.open}"
    assert "script" not in parser.tags
    assert "iframe" not in parser.tags
    assert "link" not in parser.tags
    for link in parser.links:
        assert link.startswith("#"), f"asks for {link!r}"
        assert link[1:] in parser.names, f"leads nowhere: {link}"
    rest = re.sub(r'xmlns(:\w+)?="[^"]*"', "", page)
    assert "url(http" not in rest
    assert "@import" not in rest
    return parser
