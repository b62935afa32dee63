"""Documents of blocks: what people type stays a text in PDF and HTML, and the same document gives the same bytes."""

import dataclasses
import io

import pypdf
import pypdfium2
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from fieldworthy.drawing.svg import Figure
from fieldworthy.report.blocks import Formula, Head, Mark, Paper, Para, Picture, Points, Section, Side, Table
from fieldworthy.report.typeset import as_html, as_pdf, breakable, pages
from papers import flat, pages_of, strict

DRAWING = Figure(
    "A square", "A square of ten.",
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40" width="60" height="40" role="img">'
    '<title id="t">A square</title><defs><clipPath id="c"><rect width="9" height="9"/></clipPath></defs>'
    '<g clip-path="url(#c)"><rect x="1" y="1" width="10" height="10" fill="#000000"/></g></svg>',
)  # fmt: skip
HOSTILE = '#panic() $x$ *b* _i_ `raw` @ref <b>&amp; "q" \\n //c [a] {b} ~ = - + \' http://x.y --- ...'


def paper(text: str, **changes) -> Paper:
    blocks = [
        Para(text), Para(text, "lead"), Head(text), Points([text, "x"]), Points([text], "caution"),
        Points([text], "boxes"), Table((text, "b"), [[text, Mark(text, "bold")], [Mark(text, "key"), "y"]], (1, 1)),
        Side([[Para(text)], [Formula("tip")]], (1, 1)), Picture(DRAWING, 0.1), Picture(DRAWING, 0.1), Formula("draw"),
    ]  # fmt: skip
    sections = [Section(text, blocks), Section("b", [Para("x")]), Section("c", []), Section("d", [])]
    made = Paper(text, text, (text,), "2026-11-25", sections, "notebook", "a4", (Para(text),))
    return dataclasses.replace(made, **changes)


def test_marks_of_every_kind_stay_text_in_pdf():
    found = "".join(pages_of(as_pdf(paper(HOSTILE))))
    # title, subtitle, line, cover, contents, heading, three paragraphs, three lists, four cells and one beside
    assert found.count(flat(HOSTILE)) >= 13


def test_marks_of_every_kind_stay_text_in_html():
    page = strict(as_html(paper(HOSTILE)))
    assert "".join(page.text).count(HOSTILE) >= 13
    assert "b" not in page.tags


WORDS = st.text(st.sampled_from("#$*_@<>&\"'\\`~[]{}()=+-/.,:;%!? \n\t\r\u2028abcXYZ019éß"), max_size=60)


@pytest.mark.long
@settings(deadline=None, max_examples=40)
@given(text=WORDS)
def test_whatever_is_typed_is_set_and_read_back(text):
    pdf = as_pdf(paper(text))
    shown = flat("".join(c if c.isprintable() else " " for c in text))
    assert shown in "".join(pages_of(pdf))
    page = strict(as_html(paper(text)))
    assert shown in flat("".join(page.text))


@settings(deadline=None, max_examples=15)
@given(text=st.text(max_size=40))
@example(text="B")  # beside a section "b"
def test_any_letter_of_the_world_is_set(text):
    as_pdf(paper(text))
    strict(as_html(paper(text)))


def test_the_same_document_gives_the_same_bytes_and_another_date_others():
    first, again = as_pdf(paper("A")), as_pdf(paper("A"))
    assert first == again
    assert as_pdf(paper("A", date="2026-11-26")) != first
    assert as_html(paper("A")) == as_html(paper("A"))


def test_the_pdf_says_what_it_is(tmp_path):
    file = tmp_path / "a.pdf"
    file.write_bytes(as_pdf(paper("Heron")))
    reader = pypdf.PdfReader(file)
    assert reader.metadata is not None
    assert reader.metadata.title == "Heron"
    assert str(reader.metadata.creation_date).startswith("2026-11-25")
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]  # tagged, so that a reader aloud finds its order
    assert reader.trailer["/Root"]["/Lang"] == "en"
    assert b"<pdfuaid:part>1</pdfuaid:part>" in file.read_bytes()  # ISO 14289-1, as the typesetter has checked it
    fonts = {f for page in reader.pages for f in page["/Resources"]["/Font"].values()}
    for font in fonts:
        inner = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        assert {"/FontFile2", "/FontFile3"} & set(inner), "a font is not carried along"


def test_without_a_date_none_is_shown():
    pdf = as_pdf(paper("Heron", date=""))
    assert as_pdf(paper("Heron", date="")) == pdf
    assert "2026" not in "".join(pages_of(pdf))


def test_long_words_are_given_places_to_break():
    assert breakable("x" * 20).split("\u200b") == ["x" * 7, "x" * 7, "x" * 6, ""]
    assert breakable("left_outer_rail_number_1").split("\u200b") == ["left_", "outer_", "rail_", "number_", "1", ""]
    assert breakable("ordinary words stay whole") == "ordinary words stay whole"
    assert breakable("a\nb\x00c") == "a b c"


LONG = ("Heron_mk1_with_a_name_that_never_ends_and_has_no_space", "x" * 60, "Rohrleitungsdruckpruefungsprotokoll" * 2)


@pytest.mark.parametrize("word", LONG)
def test_long_words_in_narrow_cells_keep_to_their_column(word):
    """Every letter of a cell stands left of the next column's first letter."""
    table = Table((word, "Z"), [[Mark(word, "bold"), "Z"], [word, "Z"], [Mark(word, "key"), "Z"]], (1, 5))
    made = Paper("T", "", (), "", [Section("S", [table], new_page=False)])
    document = pypdfium2.PdfDocument(as_pdf(made))
    page = document[0].get_textpage()
    letters = [(page.get_text_range(i, 1), page.get_charbox(i)) for i in range(page.count_chars())]
    marks = [box for letter, box in letters if letter == "Z"]
    assert len(marks) == 4
    begin = min(box[0] for box in marks)
    body = [box for letter, box in letters if letter.isalnum() and letter not in "ZTS" and 100 < box[1] < 740]
    assert len(body) > 3 * 50
    assert max(box[2] for box in body) < begin


@pytest.mark.parametrize("form", ["sheet", "card", "notebook"])
@pytest.mark.parametrize("size", ["a4", "us-letter"])
def test_forms_and_sizes(form, size):
    pdf = as_pdf(paper("A", form=form, size=size))
    (width,) = {float(p.mediabox.width) for p in pypdf.PdfReader(io.BytesIO(pdf)).pages}
    assert width == pytest.approx({"a4": 595.28, "us-letter": 612.0}[size], abs=0.1)
    assert pages(paper("A", form=form, size=size)) == len(pages_of(pdf))


def test_figures_on_one_page_keep_their_own_names():
    page = as_html(paper("A"))
    assert page.count('id="f1-c"') == 1
    assert page.count("url(#f2-c)") == 1
    assert 'url(#c)"' not in page
