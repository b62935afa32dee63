"""The notebook of the examples: its pages, its text and its numbers are those that the check gives."""

import json
import re

import numpy as np
import pypdf
import pytest

from edge import run
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.report import Wanted, as_html, as_pdf, make_notebook
from fieldworthy.report.blocks import chance
from fieldworthy.report.formulas import pages_of as subjects_of
from fieldworthy.report.notebook import Content, notebook
from papers import flat, ink, pages_of, strict
from robots import EXAMPLES, example, example_copy, example_file, load

NAMES = ["mk1", "mk2", "otter"]


@pytest.fixture(scope="module", params=NAMES)
def made(request, tmp_path_factory):
    """The command's PDF and HTML of an example, and what ``check --json`` says of the same robot."""
    folder, file = tmp_path_factory.mktemp("notebook"), example_file(request.param)
    for name in ("n.pdf", "n.html"):
        done = run("report", file, "-o", folder / name, "--date", "2026-11-25", "--job", "Show the <judges> #1 why.",
                   "--runs", "300")  # fmt: skip
        assert (done.code, done.out) == (0, f"wrote {folder / name}\n")
    checked = json.loads(run("check", file, "--json", "--exit-zero").out)
    return (folder / "n.pdf").read_bytes(), (folder / "n.html").read_text("utf-8"), checked


def name_of(made) -> str:
    """Which example it is."""
    return next(n for n in NAMES if example(n).robot.robot in made[1])


def test_pages(made):
    """Twelve to twenty pages, none empty, job and date on the cover."""
    pages = pages_of(made[0])
    assert 12 <= len(pages) <= 20
    assert min(len(p) for p in pages) > 250
    assert flat("Show the <judges> #1 why.") in pages[0]
    assert "2026-11-25" in pages[0]
    for number, page in enumerate(pages, 1):
        assert f"{number}of{len(pages)}" in page


def test_every_subsystem_is_listed_with_the_page_it_stands_on(made):
    """And on the screen the list leads there."""
    pages, robot = pages_of(made[0]), example(name_of(made))
    subjects = [subject.page for subject in subjects_of(evaluate(robot, samples=0))]
    titles = [subject.title for subject in subjects]
    assert len(titles) > 6
    for title, question in ((subject.title, subject.question) for subject in subjects):
        head = flat(title)
        at = next(i for i, page in enumerate(pages[1:], 2) if head + flat(question) in page)
        assert re.search(rf"{re.escape(head)}{at}(?:short|close|holds|[✗≈✓])", pages[0]), title
    links = set(re.findall(r'<a href="#(page-[^"]+)"', made[1]))
    assert len(links) == len([t for t in titles if f'">{t}</a>' in made[1]]) > 6
    assert all(f'<h2 id="{link}">' in made[1] for link in links)


def test_no_key_of_a_file_and_no_id_stands_in_the_text(made):
    """Who reads it need not know the file: numbers and checks bear the names that people give them."""
    robot = example(name_of(made))
    names = {f["id"] for kind in ("findings", "facts") for f in made[2][kind]}
    names |= {".".join(str(key) for key in path) for path, _ in robot.quantities}
    text = " ".join(strict_text(made[1]))
    assert len(names) > 300
    assert [name for name in names if name.count(".") > 0 and name in text] == []


def test_nothing_is_set_outside_the_margins(made):
    """Ink stays inside: nothing in the outermost 15 mm at the sides, nor in the outermost 5 mm at top and bottom."""
    pages = ink(made[0])
    assert len(pages) > 10
    for grey in pages:
        mm = grey.shape[1] / 210.0
        side, end = int(15 * mm), int(5 * mm)
        strips = (grey[:, :side], grey[:, -side:], grey[:end], grey[-end:])
        assert min(strip.min() for strip in strips) > 250
        assert (grey < 128).any()


def test_it_is_readable_in_grey(made):
    """Text is dark enough on paper in grey: the darkest ink of every page is nearly black."""
    pages = ink(made[0])
    assert len(pages) > 10
    for grey in pages:
        assert np.percentile(grey[grey < 200], 1) < 90  # filled areas of figures are most of a page's ink


def test_every_doubtful_finding_stands_there_with_its_chance(made):
    """Short, unknown and not certain ones: the sentence of ``check --json``, followed by the same chance."""
    text = "".join(pages_of(made[0]))
    held = 0
    for finding in made[2]["findings"]:
        if finding["id"].split(".")[0] == "limits":
            continue  # these stand on the inspection sheet
        if finding["verdict"] != "holds" or finding["chance"] < 1.0:
            assert flat(finding["because"] + chance(finding["chance"])) in text, finding["id"]
            held += 1
    assert held >= 5


def test_every_number_of_a_result_is_one_of_check(made):
    """Read back: each row of a result's table on the page is a sentence of ``check --json``, number by number."""
    said = {flat(f["because"]) for f in made[2]["findings"]}
    page = made[1]
    rows = re.findall(r'<td><span class="(?:short|holds|unknown)">[^<]*</span></td><td>(.*?)</td>', page)
    unescaped = [flat("".join(strict_text(row))) for row in rows]
    results = [r for r in unescaped if r not in {flat("checks hold")} and not r.isdigit()]
    assert len(results) >= (15 if name_of(made) == "otter" else 30)  # it has no air and no climber
    assert [r for r in results if r not in said] == []


def strict_text(fragment: str) -> list[str]:
    from papers import Strict

    parser = Strict()
    parser.feed(fragment)
    parser.close()
    return parser.text


def test_counts_mass_and_centre_are_those_of_check(made):
    pages, checked = pages_of(made[0]), made[2]
    counts = {v: sum(f["verdict"] == v for f in checked["findings"]) for v in ("short", "unknown", "holds")}
    assert f"short{counts['short']}checksfail" in pages[0]
    assert f"holds{counts['holds']}checkshold" in pages[0]
    for fact in checked["facts"]:
        if fact["id"] == "balance.centre_height":
            assert flat(fact["because"]) in "".join(pages)
    (mass,) = [f for f in checked["findings"] if f["id"] == "limits.mass"]
    assert f"massofallparts{mass['value']:g}" in "".join(pages)


def test_the_forecast_is_that_of_match(made):
    told = json.loads(run("match", example_file(name_of(made)), "--json", "--runs", "300").out)
    text = "".join(pages_of(made[0]))
    assert flat(f"{told['mean']:.1f} points are to be expected, over {told['runs']} matches") in text
    assert flat(f"lies between {told['interval'][0]:.0f} and {told['interval'][1]:.0f}") in text
    assert flat(f"it earns {told['timeline']['points']:g} points") in text
    for step in told["finish"]:
        assert flat(f"done in {100 * step['chance']:.1f} % of the matches") in text


def test_html_is_strict_and_asks_for_nothing(made):
    page = strict(made[1])
    assert page.tags.count("math") >= 20
    assert page.tags.count("svg") >= 5
    assert "default-src 'none'" in made[1]
    text = flat("".join(page.text))
    for finding in made[2]["findings"]:
        if finding["verdict"] == "short":
            assert flat(finding["because"]) in text


def test_every_figure_has_a_sentence_for_who_cannot_see_it(made):
    drawn = re.findall(r"<svg.*?</svg>", made[1], re.DOTALL)
    assert len(drawn) > 5
    for svg in drawn:
        assert 'role="img"' in svg
        assert "<desc" in svg


def test_the_pdf_can_be_read_aloud(made):
    """ISO 14289-1 (PDF/UA-1), checked by the typesetter: title, language, order, headings, and words for figures."""
    assert b"<pdfuaid:part>1</pdfuaid:part>" in made[0]


def test_cautions_stand_where_it_can_hurt(made):
    text = "".join(pages_of(made[0]))
    for caution in made[2]["cautions"]:
        assert flat(caution) in text
    assert (flat("Nobody stands or reaches beneath it") in text) == (name_of(made) != "otter")  # it does not climb
    assert (flat("Let all air out before you work on the robot") in text) == (
        name_of(made) != "otter"
    )  # nor has it air


def test_every_page_names_the_source_of_its_formula(made):
    text = "".join(pages_of(made[0]))
    assert text.count("Source:") >= (10 if name_of(made) == "otter" else 12)
    for worth in ("not checked against the source", "common practice, no source"):
        assert flat(worth) in text


def test_same_input_same_bytes(made, tmp_path):
    run("report", example_file(name_of(made)), "-o", tmp_path / "n.pdf", "--date", "2026-11-25", "--job",
        "Show the <judges> #1 why.", "--runs", "300")  # fmt: skip
    assert (tmp_path / "n.pdf").read_bytes() == made[0]


def test_a_bare_robot_has_a_notebook_too(tmp_path):
    loaded = load(tmp_path)
    report = evaluate(loaded, samples=20)
    pdf = as_pdf(notebook(Content(loaded, report)))
    text = "".join(pages_of(pdf))
    assert [p.name for p in subjects_of(report)] == ["drive", "balance"]
    assert "Air" not in text.replace("Airdrag", "")
    assert len(pages_of(pdf)) >= 5


@pytest.mark.long
def test_with_remedies_every_system_keeps_to_one_page(tmp_path):
    """mk1, where nine checks are short and one change mends two of them: no page is left for the end of a list."""
    assert run("report", EXAMPLES / "mk1.yaml", "-o", tmp_path / "n.pdf", "--remedies", "--runs", "50").code == 0
    pages = pages_of((tmp_path / "n.pdf").read_bytes())
    firsts = ("Drive", "Balance", "Air", "Intake", "Colour sorting", "Clamp", "Grabber", "Climb", "Arms and lifts",
              "Knowing where it is", "The match as planned")  # fmt: skip
    begin = [next(i for i, page in enumerate(pages[1:], 1) if flat(title) in page[30:120]) for title in firsts]
    assert begin == list(range(begin[0], begin[0] + len(firsts)))
    assert flat("For 'cylinder hooks: time' and 'cylinder hooks: pressure': put") in "".join(pages)


@pytest.mark.long
def test_remedies_on_request(tmp_path):
    done = run("report", EXAMPLES / "mk2.yaml", "-o", tmp_path / "n.pdf", "--remedies", "--runs", "50")
    assert done.code == 0
    text = "".join(pages_of((tmp_path / "n.pdf").read_bytes()))
    (short,) = evaluate(example("mk2"), samples=0).failing
    told = json.loads(run("check", EXAMPLES / "mk2.yaml", "--remedies", "--json", "--exit-zero").out)["remedies"]
    (mending,) = [m for m in told["findings"] if m["id"] == short.id]
    assert flat(mending["remedies"][0]["sentence"])[1:] in text  # behind a colon it begins small
    breaks = [one["id"] for one in mending["remedies"][0]["breaks"]]
    assert flat(f"but it breaks {breaks[0]}" if breaks else "breaks nothing else") in text


@pytest.mark.long
def test_since_and_compare(tmp_path):
    done = run("report", EXAMPLES / "mk2.yaml", "-o", tmp_path / "n.pdf", "--since", EXAMPLES / "mk1.yaml",
               "--compare", EXAMPLES / "mk1.yaml", EXAMPLES / "mk2.yaml", "--weights", "points=3,hours=1",
               "--runs", "200")  # fmt: skip
    assert done.code == 0, done.err
    text = "".join(pages_of((tmp_path / "n.pdf").read_bytes()))
    assert flat("What changed since the last revision") in text
    told = json.loads(run("compare", EXAMPLES / "mk1.yaml", EXAMPLES / "mk2.yaml", "--runs", "200", "--json").out)
    listed = text.replace("–", "")  # a sentence a line
    assert len(told["recommendation"]) > 200
    assert flat(told["recommendation"].replace("; 'fieldworthy check' says how", "")) in listed  # no command on paper
    assert flat(f"between {told['interval'][0]['low']:+.1f} and {told['interval'][0]['high']:+.1f}") in text
    assert flat(f"succeeds in {100 * told['flip'][0]['chance']:.0f} % of the tries") in text


@pytest.mark.long
def test_what_a_search_found_is_told_and_drawn(tmp_path):
    """Each design that nothing beats stands there with its numbers, as the search printed them for programs."""
    robot = example_copy(tmp_path)
    done = run("search", robot, "--vary", "parts.battery.position", "--want", "balance.tip.forward", "--want",
               "balance.tip.back", "--free", "--candidates", "60", "--json")  # fmt: skip
    told = tmp_path / "found.json"
    told.write_text(done.out, encoding="utf-8")
    asked = ("report", robot, "-o", tmp_path / "n.pdf", "--runs", "20", "--search", told)
    assert run(*asked).code == 0
    text = "".join(pages_of((tmp_path / "n.pdf").read_bytes()))
    found = json.loads(done.out)
    assert len(found["front"]) > 1
    for design in found["front"]:
        for amount in design["amounts"]:
            assert flat(f"{amount['value']:.3g}".replace("-", "−")) in text.replace("-", "−")
    assert flat("margin of 'pose loaded: tip, back' against margin of 'pose loaded: tip, forward'") in text
    assert flat("The forward position of part 'battery': -170 mm to -70 mm, 1 mm apart; now -120 mm.") in text
    assert flat("have changed since this search") not in text
    robot.write_text(robot.read_text("utf-8").replace("charge: {value: 6.9 bar", "charge: {value: 6.8 bar"), "utf-8")
    assert run(*asked).code == 0
    assert flat("have changed since this search") in "".join(pages_of((tmp_path / "n.pdf").read_bytes()))
    told.write_text(done.out.replace('"robot": "Heron mk1"', '"robot": "Marten"'), encoding="utf-8")
    other = run(*asked)
    assert (other.code, "expected a search of 'Heron mk1'" in other.err) == (2, True)
    told.write_text('{"format": "fieldworthy search 1", "robot": 3}', encoding="utf-8")
    assert (run(*asked).code, "expected what 'search --json' prints" in run(*asked).err) == (2, True)


BAD = [
    (["--date", "25.11.2026"], "expected a date such as 2026-11-25"),
    (["--date", "2026-13-01"], "expected a date such as 2026-11-25"),
    (["-o", "notebook.doc"], "ends in .pdf or .html"),
    (["--weights", "point=3"], "did you mean 'points'?"),
    (["--weights", "points=many"], "expected a number for 'points'"),
    (["--weights", "points=0"], "at least one weight above 0"),
    (["--since", "nowhere.yaml"], "no such file"),
    (["-o", "nowhere/n.pdf"], "expected an existing folder"),
    ([EXAMPLES / "mk1.yaml"], "variants follow --compare"),
]


@pytest.mark.parametrize(("options", "says"), BAD, ids=[" ".join(map(str, o))[-24:] for o, _ in BAD])
def test_bad_options_are_refused_in_words(options, says, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = run("report", EXAMPLES / "mk2.yaml", "--runs", "20", *options)
    assert done.code == 2
    assert says in " ".join(done.err.split()).replace("│ ", "").replace(" │", "")
    assert list(tmp_path.iterdir()) == []


def test_hostile_words_from_end_to_end(tmp_path):
    """A robot called what would be code in the typesetter or a page: it stands there as it was typed."""
    name, about = '#panic("x") <b>$a_1$ & \\n', '*bold* @ref `raw` "quoted" ' + "long" * 120
    loaded = load(tmp_path, {"robot": name, "about": about})
    paper = make_notebook(loaded, Wanted(job=name))
    text = "".join(pages_of(as_pdf(paper)))
    assert text.count(flat(name)) >= 2
    assert flat(about) in text
    shown = "".join(strict(as_html(paper)).text)
    assert name in shown
    assert about in shown
    for grey in ink(as_pdf(paper)):
        assert grey[:, : int(15 * grey.shape[1] / 210.0)].min() > 250


def test_inches_bring_letter_paper(tmp_path):
    box = {"position": ["1 in", "0 in", "5 in"], "size": ["14 in", "13 in", "8 in"]}
    load(tmp_path, {"parts": {"box": box}, "drive": {"wheels": {"left front": {"position": ["5 in", "6 in"]}}}})
    done = run("inspect", tmp_path / "robot.yaml", "-o", tmp_path / "i.pdf")
    width = float(pypdf.PdfReader(tmp_path / "i.pdf").pages[0].mediabox.width)
    assert done.code in (0, 1)
    assert width == pytest.approx(612.0)
