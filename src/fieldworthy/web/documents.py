"""Documents for the page: each is made from a robot's texts as they stand in a window, and comes back as files."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from typing import Literal

from fieldworthy.report.blocks import Paper
from fieldworthy.report.card import as_paper
from fieldworthy.report.export import WRITERS, as_urdf, export_of
from fieldworthy.report.making import Wanted, make_card, make_inspection, make_notebook, size_of
from fieldworthy.report.typeset import as_html, as_pdf, as_pictures
from fieldworthy.web.judging import Source, robot_of
from fieldworthy.web.worker import progress

Kind = Literal["notebook", "card", "inspection", "constants"]
SHOWN = 8
"""Pages that are shown before a document is saved."""
_COARSE = 60.0  # pixels an inch: enough to see what stands where
_ENDINGS = {"json": "json", "c": "h", "python": "py", "csv": "csv", "urdf": "urdf"}
_MEDIA = {
    "pdf": "application/pdf", "html": "text/html", "json": "application/json", "csv": "text/csv", "urdf": "text/xml",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Order:
    """What is asked for.

    Attributes
    ----------
    kind : Which document
    form : ``pdf`` or ``html``; of constants, what program reads them
    mend : Whether the notebook looks for remedies
    """

    kind: Kind
    form: str = "pdf"
    mend: bool = False


@dataclass(frozen=True, slots=True)
class Made:
    """A document.

    Attributes
    ----------
    name, media : Of its file
    content : Of its file
    pages : Its first pages as PNG
    text : What stands in it, where it is plain text
    """

    name: str
    media: str
    content: bytes
    pages: tuple[bytes, ...] = ()
    text: str = ""


def made(sources: tuple[Source, ...], order: Order) -> Made:
    """Make a document of a robot; further robots are variants that its notebook decides between."""
    loaded = robot_of(sources[0])
    day = datetime.date.today().isoformat()
    stem = re.sub(r"[^a-z0-9]+", "_", f"{loaded.nominal.robot} {order.kind} {day}".lower()).strip("_")
    if order.kind == "constants":
        text = as_urdf(loaded) if order.form == "urdf" else WRITERS[order.form](export_of(loaded, day))
        ending = _ENDINGS[order.form]
        return Made(f"{stem}.{ending}", _MEDIA.get(ending, "text/plain"), text.encode("utf-8"), text=text)
    progress(0.05)
    if order.kind == "notebook":
        variants = tuple(robot_of(source) for source in sources[1:])
        paper = make_notebook(loaded, Wanted(day, mend=order.mend, against=variants))
    elif order.kind == "card":
        paper = make_card(loaded, day)
    else:
        paper = as_paper(make_inspection(loaded), day, size_of(loaded))
    progress(0.8)
    return _set(paper, stem, order.form)


def _set(paper: Paper, stem: str, form: str) -> Made:
    content = as_html(paper).encode("utf-8") if form == "html" else as_pdf(paper)
    progress(0.95)
    return Made(f"{stem}.{form}", _MEDIA[form], content, tuple(as_pictures(paper, _COARSE)[:SHOWN]))
