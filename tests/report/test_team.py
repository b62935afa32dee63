"""A team's name, number and logo on every document; a logo is small, whole and harmless, or it is refused.

Reference: ISO/IEC 15948 (PNG) for chunks, lengths and checksums, from memory; the picture is made here with zlib alone.
"""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import replace

import pypdf
import pytest

from fieldworthy.files import BadInput
from fieldworthy.report.blocks import Paper
from fieldworthy.report.card import as_paper
from fieldworthy.report.making import Wanted, badged, make_card, make_inspection, make_judges
from fieldworthy.report.typeset import as_html, as_pdf
from robots import load

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 20"><circle cx="10" cy="10" r="9" fill="#246"/></svg>'


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(wide: int = 4, high: int = 4) -> bytes:
    rows = zlib.compress(b"".join(b"\x00" + b"\x20\x40\x60" * min(wide, 64) for _ in range(min(high, 64))))
    head = struct.pack(">IIBBBBB", wide, high, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def badge(folder, logo, raw):
    if raw is not None:
        (folder / logo).write_bytes(raw)
    loaded = load(folder, {"team": {"name": "Glass Otters", "number": "012", "logo": logo}})
    return badged(Paper("Title", "", (), "", ()), loaded).badge


@pytest.mark.parametrize(("name", "raw"), [("crest.png", png()), ("crest.svg", SVG.encode())])
def test_name_number_and_logo_stand_on_a_document(tmp_path, name, raw):
    found = badge(tmp_path, name, raw)
    assert found.text == "Team 012: Glass Otters"
    assert found.logo == raw
    paper = Paper("Title", "Below", (), "2026-11-25", (), badge=found)
    kind = "svg+xml" if name.endswith("svg") else "png"
    assert f'<img src="data:image/{kind};base64,' in as_html(paper)
    pdf = pypdf.PdfReader(io.BytesIO(as_pdf(paper)))
    assert "Team 012: Glass Otters" in pdf.pages[0].extract_text()


@pytest.mark.parametrize(
    ("name", "raw", "said"),
    [
        ("crest.png", b"GIF89a", "expected a PNG picture"),
        ("crest.png", png()[:-6], "expected a PNG picture"),
        ("crest.png", png().replace(b"IDAT", b"IDAX"), "expected a PNG picture"),
        ("crest.png", png(50_000, 4), "at most 4000 pixels"),
        ("crest.png", png() + b"\x00" * 200_001, "at most 200 kB"),
        ("crest.svg", b"<svg", "expected an SVG picture"),
        ("crest.svg", b"<html/>", "expected an SVG picture"),
        ("crest.svg", SVG.replace("<circle", "<script>1</script><circle").encode(), "only draws"),
        ("crest.svg", SVG.replace("<circle", '<circle onload="x()"').encode(), "only draws"),
        (
            "crest.svg",
            SVG.replace("<circle", '<use href="https://example.org/#b"/><circle').encode(),
            "only draws",
        ),
        ("crest.svg", SVG.replace("<circle", '<image href="/etc/passwd"/><circle').encode(), "only draws"),
        ("crest.svg", ('<!DOCTYPE svg [<!ENTITY a "b">]>' + SVG).encode(), "only draws"),
        ("crest.svg", SVG.replace("#246", "url(https://example.org)").encode(), "only draws"),
        ("gone.png", None, "expected the name of a picture beside this one"),
        ("../crest.png", None, "expected the name of a picture beside this one"),
        ("/crest.png", None, "expected the name of a picture beside this one"),
    ],
)
def test_a_logo_that_is_no_harmless_picture_is_refused(tmp_path, name, raw, said):
    (tmp_path / "in").mkdir()
    (tmp_path / "crest.png").write_bytes(png())
    with pytest.raises(BadInput, match=said):
        badge(tmp_path / "in", name, raw)


@pytest.mark.parametrize(
    ("team", "said"),
    [
        ({"name": " "}, "expected a name"),
        ({"name": "A", "logo": "a.exe"}, "ends in .png"),
        ({"name": "A" * 81}, "at most 80 letters"),
    ],
)
def test_a_team_that_cannot_be_is_refused(tmp_path, team, said):
    with pytest.raises(BadInput, match=said):
        load(tmp_path, {"team": team})


def test_every_document_bears_it(tmp_path):
    loaded = load(tmp_path, {"team": {"name": "Glass Otters"}})
    papers = [make_card(loaded), make_judges(loaded, Wanted(runs=2)), badged(as_paper(make_inspection(loaded)), loaded)]
    assert [paper.badge.text for paper in papers] == ["Team Glass Otters"] * 3
    assert "Team Glass Otters" in as_html(papers[0])
    assert "Team" not in as_html(replace(papers[2], badge=None)).split("<main>")[1].split("<hr")[0]
