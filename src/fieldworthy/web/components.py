"""Pieces that several views are made of: headings, fields, figures to save, files to bring."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from fieldworthy.web.markup import Markup, join, tag
from fieldworthy.web.uploads import Take, Ticket

if TYPE_CHECKING:
    from fieldworthy.drawing.figure import Figure
    from fieldworthy.web.page import Page

_PIXELS = 144  # per inch, of a figure saved as PNG: sharp on a screen of twice the usual density


def heading(text: str) -> Markup:
    """Head a view; the focus goes there when the view is shown."""
    return tag("h1", text, id="fw-title", tabindex="-1")


def counted(count: int, word: str) -> str:
    """Count things."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def field(
    label: str, name: str, value: str, *, hint: str = "", options: Sequence[str] = (), required: bool = False
) -> Markup:
    """Ask for one text in a form."""
    identifier, told = f"in-{name}", f"in-{name}-hint" if hint else None
    shared: dict[str, Any] = {"id": identifier, "name": name, "aria_describedby": told, "required": required}
    if options:
        rows = [tag("option", o, value=o, selected=o == value) for o in options]
        box = tag("select", rows, **shared)
    else:
        box = tag("input", type="text", value=value, autocomplete="off", maxlength=200, **shared)
    return tag(
        "div", tag("label", label, for_=identifier), box, tag("small", hint, id=told) if hint else "", class_="field"
    )


def upload(page: Page, label: str, suffixes: tuple[str, ...], take: Take, most: int = 2_000_000) -> Markup:
    """Ask for a file."""
    ticket = page.desk.uploads.ticket(Ticket(suffixes, take, most))
    identifier = f"up-{ticket}"
    chosen = tag(
        "input", type="file", id=identifier, accept=",".join(suffixes), data_upload=ticket, data_most=most,
        data_answer=f"{identifier}-said",
    )  # fmt: skip
    said = tag("p", id=f"{identifier}-said", role="status", class_="said")
    return tag("div", tag("label", label, for_=identifier), chosen, said, class_="field")


def figure(page: Page, shown: Figure, name: str) -> Markup:
    """Show a figure, with buttons that save it and its numbers."""
    stem = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_") or "figure"
    page.on(f"save-{stem}", lambda data: save_figure(page, shown, stem, str(data.get("kind"))))
    buttons = [
        tag("button", kind.upper(), type="button", class_="quiet", data_do=f"save-{stem}", data_kind=kind,
            aria_label=f"Save {shown.title} as {kind.upper()}")
        for kind in ("svg", "png", "csv")
    ]  # fmt: skip
    drawing = Markup(shown.svg[shown.svg.index("<svg") :])  # written by draw/, which escapes its texts
    caption = tag("figcaption", tag("span", shown.title), tag("span", "Save: ", buttons, class_="saves"))
    return tag("figure", tag("div", drawing, class_="drawing"), caption, class_="drawn", id=f"fig-{stem}")


def save_figure(page: Page, shown: Figure, stem: str, kind: str) -> None:
    """Send a figure to the browser as a file."""
    if kind == "png":
        content, media = png(shown.svg), "image/png"
    elif kind == "csv":
        content, media = shown.csv().encode("utf-8"), "text/csv"
    else:
        kind, content, media = "svg", shown.svg.encode("utf-8"), "image/svg+xml"
    page.client.download(content, f"{stem}.{kind}", media)


def png(svg: str) -> bytes:
    """Turn a drawing into pixels."""
    import typst  # noqa: PLC0415  only where a figure is saved

    setting = '#set page(width: auto, height: auto, margin: 0pt)\n#image(bytes(sys.inputs.svg), format: "svg")'
    found: Any = typst.compile(
        setting.encode("utf-8"), format="png", ppi=_PIXELS, sys_inputs={"svg": svg}, ignore_system_fonts=True
    )
    return bytes(found[0] if isinstance(found, list) else found)


def meter(label: str, share: float, identifier: str) -> Markup:
    """Show how far a long run is."""
    percent = f"{100 * share:.0f} %"
    bar = tag("progress", percent, value=f"{share:.3f}", max="1", aria_label=label)
    return tag("div", tag("span", label), bar, tag("span", percent), class_="meter", id=identifier)


def words(*parts: str) -> Markup:
    """Put short texts in a row, with dots between them."""
    kept = [part for part in parts if part]
    return join([part if i == 0 else [tag("span", " · ", aria_hidden="true"), part] for i, part in enumerate(kept)])
