"""The judges' pages: two pages, five questions in their order, and the same numbers as the commands print."""

import datetime
import html
import json
import re

import pytest

from edge import run
from fieldworthy.report import Wanted, as_html, as_pdf, make_judges
from papers import flat, pages_of, strict
from robots import example, example_file

QUESTIONS = [
    "The problem",
    "The alternatives",
    "What we measured",
    "What we decided, and how sure we are",
    "What we learned, and what comes next",
]


@pytest.fixture(scope="module")
def made():
    wanted = Wanted("2026-11-25", "Why the arm took the tray's place.", 300, since=example("mk1"),
                    against=(example("mk1"), example("mk2")))  # fmt: skip
    return make_judges(example("mk2"), wanted)


def test_two_pages_that_answer_five_questions_in_order(made):
    pages = pages_of(as_pdf(made))
    assert len(pages) == 2
    text = "".join(pages)
    assert "fieldworthycheck" not in text  # who reads a page types no command
    places = [text.index(flat(question)) for question in QUESTIONS]
    assert places == sorted(places)
    assert flat("Why the arm took the tray's place.") in text
    assert "2026-11-25" in text


def test_the_page_for_a_browser_is_strict_and_asks_for_nothing(made):
    found = strict(as_html(made))
    assert not [link for link in found.links if not link.startswith("#")]


@pytest.mark.long
def test_the_decision_is_that_of_the_command(made):
    """Every sentence and number of the decision is what ``compare`` says of the same files and draws."""
    said = json.loads(run("compare", example_file("mk1"), example_file("mk2"), "--runs", "300", "--json").out)
    text = re.sub(r"<[^>]+>", "", as_html(made)).replace("&#x27;", "'")
    thoughts = re.split(r"(?<=[.?]) (?=[A-Z0-9])", said["recommendation"].replace("; 'fieldworthy check' says how", ""))
    assert len(thoughts) > 3
    for thought in thoughts:  # ids of findings stand there as their names
        assert all(part in text for part in re.split(r"\b[a-z]+(?:\.[a-z_ ]*[a-z])+\b", thought)), thought
    assert f"scores {said['difference'][0]['difference']:.1f} points a match more than Heron mk1" in text


def test_the_evidence_is_what_the_file_says_was_measured(made):
    text = re.sub(r"<[^>]+>", " ", as_html(made))
    robot = example("mk2")
    measured = [q for _, q in robot.quantities if q.basis == "measured" and not q.assumed]
    assert measured
    assert f"{len(measured)} of the" in text
    for action in robot.nominal.actions.values():
        if action.practice is not None:
            assert f"{action.practice.successes} of {action.practice.attempts}" in text


@pytest.mark.long
def test_a_robot_alone_tells_the_changes_that_were_reckoned_through(tmp_path):
    out = tmp_path / "judges.html"
    done = run("report", example_file("otter"), "--for", "judges", "--runs", "50", "-o", out)
    assert (done.code, done.out) == (0, f"wrote {out}\n")
    text = re.sub(r"<[^>]+>", " ", out.read_text("utf-8").partition("<body")[2])
    assert "No other robot was compared" in text
    assert " --" not in text  # pages name no option of a command
    said = json.loads(run("check", example_file("otter"), "--remedies", "--json", "--exit-zero").out)
    leads = [cause["lead"] for cause in said["causes"]]
    first = [found["remedies"][0]["sentence"] for found in said["remedies"]["findings"]
             if found["remedies"] and found["id"] in leads]  # fmt: skip
    assert len(first) == len(leads)
    assert [sentence for sentence in first if flat(sentence) not in flat(html.unescape(text))] == []
    assert datetime.date.today().isoformat() in text


@pytest.mark.long
def test_after_a_choice_the_pages_speak_of_both_robots_and_limit_the_one_that_is_chosen(made):
    """Wherever the pages are opened: limits are of the robot that the pages say to choose, and both spreads stand."""
    text = re.sub(r"<[^>]+>", " ", as_html(made))
    assert "Heron mk1 is expected to score" in text
    assert "Heron mk2 is expected to score" in text
    pages = make_judges(example("mk1"), Wanted(runs=400, against=(example("mk2"),)))  # fewer choose neither
    other = re.sub(r"<[^>]+>", " ", as_html(pages))
    chosen = re.search(r"Choose (Heron mk\d)", other)
    assert chosen
    assert f"What still limits {chosen.group(1)}" in other or f"Nothing is surely short on {chosen.group(1)}" in other


def test_another_reader_is_refused(tmp_path):
    done = run("report", example_file("mk1"), "--for", "nobody", "-o", tmp_path / "x.pdf")
    assert done.code == 2
    assert "expected team or judges" in done.err
