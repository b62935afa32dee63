"""Remedies made at once: written into the file together and judged anew, as a whole check of that file judges."""

from __future__ import annotations

import dataclasses

import pytest

from edge import run as command
from fieldworthy.decide.change import CandidateEvaluator, Change, Edit
from fieldworthy.decide.remedy import looked_for
from fieldworthy.decide.together import Together, combined, together
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.robot import load_robot
from fieldworthy.robot.editing import edited
from fieldworthy.web.strip import changes_of
from robots import EXAMPLES, load

FILES = [EXAMPLES.parent / name / "mk1.yaml" for name in ("heron", "marten", "otter")]


def in_the_file(loaded, found: Together):
    """The robot whose file has every change that was made, read from its text."""
    edits = [edit for one in found.made for edit in one.remedy.edits]
    return load_robot(loaded.document.file, None, {**loaded.texts, **edited(loaded, changes_of(edits))})


def names(findings):
    """Ids and subjects."""
    return {(f.id, f.subject) for f in findings}


def judged(loaded, *, most=1, thorough=False):
    """What the remedies do together, with the report that they are for."""
    report = evaluate(loaded, samples=200)
    looked = looked_for(loaded, report, most, None, [cause.lead for cause in report.causes], points=thorough)
    return report, looked, together(looked, report, [0.0] * len(report.causes), thorough=thorough)


@pytest.mark.long
@pytest.mark.parametrize("file", FILES, ids=[f.parent.name for f in FILES])
def test_what_they_do_together_is_what_the_changed_file_is_found_to_do(file):
    loaded = load_robot(file)
    report, _, found = judged(loaded, most=4, thorough=True)
    after = evaluate(in_the_file(loaded, found))
    fails = {(f.id, f.subject) for f in after.findings if f.fails}
    mended = {i for i, c in enumerate(report.causes, 1) if not names(c.findings) & fails}
    taken = {one.cause for one in found.made}
    assert taken
    assert set(found.unmended) == taken - mended
    assert set(found.spared) <= mended
    before = {(f.id, f.subject): f for f in report.findings}
    newly = {key for key in fails if key in before and not before[key].fails}
    assert {(b.id, b.subject) for b in found.breaks} == newly
    assert found.counts == {v: len(after.of(v)) for v in found.counts}
    assert {*taken, *found.spared, *(i for i, _ in found.out)} == set(range(1, len(report.causes) + 1))
    # no more hours than there are, and none left out for hours that would have fitted
    assert found.hours <= found.room + 1e-9
    if "made together they mend all" in found.effect.lower():
        assert not found.unmended


def test_two_that_want_different_things_of_one_place_are_not_made_together(tmp_path):
    """One number put to 2 and to 3, or once taken away: no file can say both. Put to 2 twice it can."""
    loaded = load(tmp_path, {})
    spec = loaded.robot

    def change(after: str, path=("drive", "motors")):
        edit = Edit(".".join(path), path, "4", after)
        return Change("count", (edit,), f"Use {after}", 1.0, spec.model_copy())

    assert combined(spec, [change("2"), change("3")]) is None
    assert combined(spec, [change(""), change("2", ("drive", "motors", "inner"))]) is None
    both = combined(spec, [change("2"), change("2")])
    assert both is not None
    assert len(both.edits) == 1


@pytest.fixture(scope="module")
def heron():
    """The first example, with what mends its causes."""
    return judged(load_robot(FILES[0]), most=2)


def test_what_fits_into_the_hours_is_taken_dearest_first(heron):
    """With the hours of the two dearest and a minute more, these two are made and nothing else is."""
    report, looked, every = heron
    assert len(every.made) > 2
    hours = {one.cause: one.hours for one in every.made}
    dear = list(hours)[-2:]
    left = f"{sum(hours[i] for i in dear) + 1 / 60:.4f} h"
    robot = looked.evaluator.loaded
    short_of_time = load_robot(
        robot.document.file, robot.texts[robot.document.file].replace("hours_left: 14 h", f"hours_left: {left}")
    )
    bench = CandidateEvaluator(short_of_time)
    worth = [float(i in dear) for i in range(1, len(report.causes) + 1)]
    found = together(dataclasses.replace(looked, evaluator=bench), report, worth, thorough=False)
    assert {one.cause for one in found.made} == set(dear)
    assert {why for _, why in found.out} == {"hours"}


def test_what_breaks_something_says_so(heron):
    """The tray on the right tank alone takes the air of the clamp: the change of the file by itself says that too."""
    report, looked, _ = heron
    lead = report.causes[0].lead
    first = next(m for m in looked.found if (m.id, m.subject) == (lead.id, lead.subject))
    worse = next(r for r in first.remedies if r.breaks)
    only = dataclasses.replace(looked, found=(dataclasses.replace(first, remedies=(worse,)),))
    found = together(only, report, [0.0] * len(report.causes), thorough=False)
    assert {(b.id, b.subject) for b in found.breaks} == {(b.id, b.subject) for b in worse.breaks}
    assert found.effect.startswith("It mends what it should, but breaks the check 'cylinder clamp: pressure', ")
    assert {why for i, why in found.out if i != 1} == {"none"}


@pytest.mark.long
def test_a_cause_that_others_mend_needs_no_remedy_of_its_own():
    """Front wheels so far forward that the rear ones stay down: a sudden stop then tips it no more either."""
    loaded = load_robot(FILES[2])
    report = evaluate(loaded, samples=0)
    looked = looked_for(loaded, report, 6, None, [c.lead for c in report.causes], points=False)
    lift, stop = (next(i for i, c in enumerate(report.causes) if c.lead.id == f"balance.{what}.forward")
                  for what in ("tip", "stop"))  # fmt: skip
    found_for = next(m for m in looked.found if m.id == report.causes[lift].lead.id)
    wheels = next(r for r in found_for.remedies if r.edits[0].path[:2] == ("drive", "wheels"))
    found = tuple(dataclasses.replace(m, remedies=(wheels,)) if m is found_for else m for m in looked.found)
    worth = [float(i == lift) for i in range(len(report.causes))]
    made = together(dataclasses.replace(looked, found=found), report, worth)
    assert stop + 1 in made.spared
    after = evaluate(in_the_file(loaded, made), samples=0)
    assert not names(report.causes[stop].findings) & {(f.id, f.subject) for f in after.findings if f.fails}


@pytest.mark.long
def test_the_command_tells_it_first():
    said = command("check", FILES[1], "--remedies").out
    head, _, rest = said.partition("\n\n")
    assert head.startswith("What to mend in the hours left, all at once\n 1. ")
    assert "Made together they mend all that they should and break nothing else. Then no check is short" in head
    assert rest.startswith("Marten mk1 in Ropewalk")


def test_a_robot_with_nothing_short_has_nothing_to_mend():
    said = command("check", FILES[1].with_stem("mk2"), "--remedies").out
    assert said.startswith("Marten mk2 in Ropewalk")
