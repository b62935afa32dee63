"""Findings and figures in, documents out: notebook, judges' pages, pit card, inspection sheet, constants for a program.

A document is a `Paper`: data alone. `make_notebook`, `make_judges`, `make_card` and `make_inspection` lay one out;
`as_pdf` and `as_html` set it.
"""

from typing import TYPE_CHECKING, Any

from fieldworthy.lazy import fetched

if TYPE_CHECKING:
    from fieldworthy.report.blocks import Paper
    from fieldworthy.report.card import Inspection
    from fieldworthy.report.card import as_paper as inspection_paper
    from fieldworthy.report.export import as_urdf, export_of
    from fieldworthy.report.making import Wanted, make_card, make_inspection, make_judges, make_notebook
    from fieldworthy.report.typeset import as_html, as_pdf, as_pictures

__all__ = [
    "Inspection",
    "Paper",
    "Wanted",
    "as_html",
    "as_pdf",
    "as_pictures",
    "as_urdf",
    "export_of",
    "inspection_paper",
    "make_card",
    "make_inspection",
    "make_judges",
    "make_notebook",
]

_HOMES = {
    "blocks": ("Paper",),
    "card": ("Inspection", "inspection_paper:as_paper"),
    "export": ("as_urdf", "export_of"),
    "making": ("Wanted", "make_card", "make_inspection", "make_judges", "make_notebook"),
    "typeset": ("as_html", "as_pdf", "as_pictures"),
}


def __getattr__(name: str) -> Any:
    """Fetch what is asked for: a word that a check needs must not wait for what lays pages out."""
    return fetched(__name__, _HOMES, name)
