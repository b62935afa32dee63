"""Work in processes of their own: shared, the newest first, with progress and an end on request, and never fatal."""

from __future__ import annotations

import asyncio
import os

import pytest

from awaiting import awaited
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.files.document import BadInput
from fieldworthy.match import early
from fieldworthy.robot import load_robot
from fieldworthy.web.jobs import Job, JobQueue, Latest, Shared
from fieldworthy.web.judging import Source, edit, judged, mended, previewed, robot_of, texts_of
from fieldworthy.web.runs import first_mean
from fieldworthy.web.worker import Broken, Stopped, Worker
from robots import EXAMPLES, example_copy
from web import work


@pytest.fixture
def source(tmp_path):
    return Source(example_copy(tmp_path), ())


def finish(work_of):
    """Run a coroutine function with a worker that is closed afterwards."""

    async def run():
        worker = Worker("test")
        try:
            return await work_of(worker)
        finally:
            worker.close()

    return awaited(run())


def test_work_is_done_elsewhere_and_its_trouble_comes_back_as_sentences():
    async def all_of_it(worker):
        assert await worker.run(work.double, 21) == 42
        there = await worker.run(work.whoami, 0)
        assert there != os.getpid()
        with pytest.raises(BadInput) as found:
            await worker.run(work.bad, 0)
        assert (
            str(found.value.problems[0]) == "robot.yaml:3:5: drive.motors: expected a whole number; did you mean '4'?"
        )
        with pytest.raises(Broken, match="nobody foresaw this"):
            await worker.run(work.wrong, 0)
        assert await worker.run(work.whoami, 0) == there, "neither ends the process"
        with pytest.raises(Broken, match="ended by itself"):
            await worker.run(work.dies, 0)
        assert await worker.run(work.double, 4) == 8, "there is a new process"

    finish(all_of_it)


def test_progress_is_told_and_work_can_be_stopped():
    async def all_of_it(worker):
        shares = []
        assert await worker.run(work.steps, 5, 0.01, tell=lambda share, _: shares.append(share)) == "done"
        await asyncio.sleep(0.05)
        assert shares == [0.0, 0.2, 0.4, 0.6, 0.8]
        begun = asyncio.Event()
        waiting = asyncio.ensure_future(worker.run(work.steps, 1000, 0.05, tell=lambda *_: begun.set()))
        await begun.wait()
        worker.stop()
        with pytest.raises(Stopped):
            await waiting
        assert await worker.run(work.double, 1) == 2

    finish(all_of_it)


def test_the_same_question_is_asked_once():
    async def all_of_it():
        asked, shared = [], Shared(2)

        async def ask(number):
            asked.append(number)
            await asyncio.sleep(0.01)
            if number < 0:
                raise Broken("no")
            return number * 2

        both = await asyncio.gather(*(shared.get(3, lambda: ask(3)) for _ in range(5)))
        assert both == [6] * 5
        assert asked == [3]
        for _ in range(2):
            with pytest.raises(Broken):
                await shared.get(-1, lambda: ask(-1))
        assert asked == [3, -1, -1], "what failed is asked again"
        await shared.get(4, lambda: ask(4))
        await shared.get(5, lambda: ask(5))
        await shared.get(3, lambda: ask(3))
        assert asked[-1] == 3, "the oldest was forgotten"

    awaited(all_of_it())


def test_of_what_is_asked_in_haste_only_the_newest_is_done():
    async def all_of_it():
        done = []

        async def do(number):
            await asyncio.sleep(0.01)
            done.append(number)

        latest = Latest(do)
        for number in range(20):
            latest.ask(number)
        await asyncio.sleep(0.1)
        assert done == [19]
        latest.ask(20)
        await asyncio.sleep(0.005)
        latest.ask(21)
        latest.ask(22)
        await asyncio.sleep(0.1)
        assert done == [19, 20, 22]

    awaited(all_of_it())


def test_a_long_run_goes_on_without_a_window_and_can_be_stopped():
    async def all_of_it():
        queue = JobQueue()
        try:
            job = queue.start("steps", work.steps, 4, 0.02)
            again = queue.start("steps", work.steps, 4, 0.02)
            assert again is job, "the same run is not begun twice"
            second = queue.start("more steps", work.steps, 1000, 0.05)
            told = []
            forget = job.listen(lambda j: told.append((j.state, j.share)))
            while not job.over:
                await asyncio.sleep(0.02)
            assert (job.state, job.result, job.trouble) == ("done", "done", "")
            assert told[-1] == ("done", 1.0)
            assert [share for _, share in told] == sorted(share for _, share in told)
            forget()
            while second.state != "runs" or not second.share:
                await asyncio.sleep(0.02)
            queue.stop(second)
            while not second.over:
                await asyncio.sleep(0.02)
            assert second.state == "stopped"
            failed = queue.start("wrong", work.wrong, 0)
            while not failed.over:
                await asyncio.sleep(0.02)
            assert failed.state == "failed"
            assert "nobody foresaw" in failed.trouble
        finally:
            queue.close()

    awaited(all_of_it())


def test_what_is_judged_is_what_the_check_finds(source):
    report = judged(source).report
    assert report == evaluate(load_robot(source.file))
    assert {path.name for path, _ in judged(source).texts} == {"mk1.yaml", "mk1_parts.csv", "glasshouse.yaml"}


def test_units_change_the_words_and_not_the_verdicts(source):
    own, metric, inch = (judged(source, units).report for units in ("file", "metric", "inch"))
    for report in (metric, inch):
        assert [(f.id, f.subject, f.verdict, f.inputs) for f in report.findings] == [
            (f.id, f.subject, f.verdict, f.inputs) for f in own.findings
        ]
        assert [f.margin for f in report.findings] == pytest.approx([f.margin for f in own.findings])
    charge = {
        name: next(f for f in r.findings if f.id == "limits.charge_pressure")
        for name, r in (("m", metric), ("i", inch))
    }
    assert charge["i"].value == pytest.approx(690 / 6.894757, rel=1e-6)  # psi; the file has 6.9 bar, 690 kPa
    assert charge["m"].value == pytest.approx(690.0)  # kPa, 100 to the bar; 1 psi = 6.894757 kPa, NIST SP 811


def test_a_preview_tells_what_a_saved_change_would(source):
    moves = ((("air", "supply", "charge"), "5.5 bar"),)
    findings = previewed(source, moves)
    changed = edit(source, ((("air", "supply", "charge"), "5.5 bar"),))
    assert [path.name for path, _ in changed] == ["mk1.yaml"]
    report = judged(Source(source.file, changed)).report
    said = {(b.id, b.subject): b.because for b in findings}
    facts = {(f.id, f.subject) for f in report.facts}  # a few of them come with the findings, and most are left out
    assert {key: text for key, text in said.items() if key not in facts} == {
        (f.id, f.subject): f.because for f in report.findings
    }
    assert source.file.read_bytes() == (EXAMPLES / "mk1.yaml").read_bytes(), "nothing is written"


@pytest.mark.parametrize("text", ["", "x", "80", "80 kg", "-5 psi", "1e400 psi", "2,5 psi", "<b>"])
def test_a_preview_of_what_cannot_be_is_refused(source, text):
    with pytest.raises(BadInput):
        previewed(source, ((("air", "supply", "charge"), text),))


def test_a_season_is_edited_in_its_own_file(source, tmp_path):
    file = tmp_path / "glasshouse.yaml"
    season = Source(file, texts_of({file: file.read_text("utf-8")}))
    ((path, text),) = edit(season, ((("temperature",), "30 degC"),))
    assert path == file
    assert "30 degC" in text
    with pytest.raises(BadInput):
        edit(season, ((("temperature",), "30 kg"),))


@pytest.mark.long
def test_remedies_are_those_of_the_command(source):
    found = mended(source)
    assert {m.id for m in found} == {f.id for f in evaluate(robot_of(source), 0).short}
    assert any(m.remedies for m in found)


@pytest.mark.long
def test_while_a_long_run_waits_a_few_matches_are_played_without_the_compiler(source):
    """The same matches as the compiled loop plays, and none where the run has begun meanwhile."""

    async def all_of_it():
        queue = JobQueue()
        try:
            waits, begun = Job("waits"), Job("runs", "runs", 0.2)
            first = await queue.first(waits, first_mean, source, "whole")
            return first, await queue.first(begun, work.wrong, 0)
        finally:
            queue.close()

    first, none = awaited(all_of_it())
    assert first == pytest.approx(early.first_mean(robot_of(source), 0, "whole"))
    assert none is None
