"""Findings and figures in, documents out: notebook, judges' pages, pit card, inspection sheet, constants for a program.

A document is a `Paper`: data alone. `make_notebook`, `make_judges`, `make_card` and `make_inspection` lay one out;
`as_pdf` and `as_html` set it.
"""

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
