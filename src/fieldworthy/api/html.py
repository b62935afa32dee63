"""How results show themselves in a notebook: plain HTML without scripts or outside references."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

_CELL = "text-align:left;vertical-align:top"


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Write a table; every text is escaped."""
    head = "".join(f'<th style="{_CELL}">{escape(text)}</th>' for text in heads)
    body = "".join(
        "<tr>" + "".join(f'<td style="{_CELL}">{escape(cell)}</td>' for cell in row) + "</tr>" for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def block(title: str, sentences: Sequence[str], *parts: str) -> str:
    """Write a title and sentences, which are escaped, and parts that are HTML already."""
    told = "".join(f"<p>{escape(sentence)}</p>" for sentence in sentences)
    return f"<div><strong>{escape(title)}</strong>{told}{''.join(parts)}</div>"
