"""Times what a person waits for on the page: the start, first margins, a moved number, a drag, a large robot, a match.

In a real browser, on the example. The peer in the same run is the least that the page's framework can do: a slider
whose server side puts its value into a label, through the same kind of socket in the same browser.
"""

from __future__ import annotations

import contextlib
import os
import re
import socket
import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
sys.path.insert(0, str(Path(__file__).parent))
from load_page import worked

from robots import example_copy
from web.browser import browsing, plain_environment, serving, show, window

ROUNDS = 60
PEER = """
from nicegui import ui

@ui.page("/")
def page():
    label = ui.label("0")
    label.props("id=answer")
    ui.slider(min=0, max=1000, value=0, on_change=lambda e: label.set_text(str(e.value))).props("id=slider")
    ui.button("go", on_click=lambda: label.set_text(str(int(label.text) + 1))).props("id=go")

ui.run(host="127.0.0.1", port=%d, reload=False, show=False, show_welcome_message=False, tailwind=False)
"""
MOVE = """
async (value) => {
  const input = document.getElementById("f-air_2e_supply_2e_charge");
  const count = () => Number(document.documentElement.dataset.moves || 0);
  const before = count(), began = performance.now();
  input.value = value;
  input.dispatchEvent(new Event("input", { bubbles: true }));
  while (count() === before) await new Promise((done) => setTimeout(done, 1));
  return performance.now() - began;
}
"""
DRAG = """
async ({ spot, seconds }) => {
  const mark = document.querySelector(`svg[data-plane=xz] [data-spot='${spot}']`);
  const box = mark.getBoundingClientRect(), at = [box.x + box.width / 2, box.y + box.height / 2];
  const send = (type, x) => mark.dispatchEvent(new PointerEvent(type, {
    bubbles: true, pointerId: 1, button: 0, clientX: at[0] + x, clientY: at[1] }));
  const waits = [], texts = new Set(), list = document.getElementById("beside-rows");
  let places = [], asked = 0, frames = 0; // when it came to places that no answer tells of yet; when one was asked for
  const placed = new MutationObserver(() => {
    places.push(performance.now());
    asked ||= performance.now();
  });
  const answered = new MutationObserver(() => {
    const now = performance.now();
    waits.push(...places.filter((one) => one <= asked).map((one) => now - one));
    places = places.filter((one) => one > asked);
    asked = places.length ? now : 0; // the newest place is asked for with the answer for the one before
    texts.add(list.innerText);
  });
  placed.observe(mark, { attributes: true, attributeFilter: ["transform"] });
  answered.observe(document.documentElement, { attributes: true, attributeFilter: ["data-moves"] });
  send("pointerdown", 0);
  const began = performance.now();
  while (performance.now() - began < 1000 * seconds) {
    send("pointermove", 30 + 30 * Math.sin(performance.now() / 300));
    await new Promise(requestAnimationFrame);
    frames += 1;
  }
  const took = (performance.now() - began) / 1000;
  send("pointermove", 0);
  send("pointerup", 0);
  placed.disconnect();
  answered.disconnect();
  return { rate: frames / took, waits, texts: texts.size };
}
"""
IDLE = """
async (seconds) => {
  let frames = 0;
  const began = performance.now();
  while (performance.now() - began < 1000 * seconds) {
    await new Promise(requestAnimationFrame);
    frames += 1;
  }
  return frames / ((performance.now() - began) / 1000);
}
"""
PRESS = """
async () => {
  const label = document.getElementById("answer");
  const before = label.textContent, began = performance.now();
  document.getElementById("go").click();
  while (label.textContent === before) await new Promise((done) => setTimeout(done, 1));
  return performance.now() - began;
}
"""


@pytest.fixture(scope="module")
def browser():
    with browsing() as found:
        yield found


def told(benchmark, times):
    times = sorted(times)
    benchmark.extra_info["median in the browser [ms]"] = round(times[len(times) // 2], 1)
    benchmark.extra_info["95th percentile in the browser [ms]"] = round(times[int(0.95 * (len(times) - 1))], 1)


def test_move_a_number(benchmark, browser, tmp_path):
    example_copy(tmp_path)
    with serving(tmp_path) as server, window(browser, server) as page:
        show(page, server, "build", file="mk1.yaml", key="air.supply.charge")
        page.wait_for_selector("#beside-rows li")
        page.wait_for_timeout(2000)  # the processes behind the page have started
        times, values = [], iter(f"{6.9 - 0.001 * i:.3f} bar" for i in range(10_000))

        def move():
            times.append(page.evaluate(MOVE, next(values)))

        benchmark.pedantic(move, rounds=ROUNDS, warmup_rounds=3)
        told(benchmark, times[3:])
        assert re.search(r"charged to 6\.\d+ bar", page.inner_text("#beside-rows"))


def ready_after(page, address, selector):
    """How long from asking for an address until an element of it is in sight [ms]."""
    began = time.perf_counter()
    page.goto(address, wait_until="commit")
    page.wait_for_selector(selector)
    return 1000 * (time.perf_counter() - began)


def noted(benchmark, server, work, **more):
    """Run it once, and say how busy the machine was and what processor time the server took beside what it gives."""
    before = worked(server.process.pid)
    found = benchmark.pedantic(work, rounds=1)
    benchmark.extra_info["load"] = [round(one, 1) for one in os.getloadavg()]
    benchmark.extra_info["processor time of the server [s]"] = round(worked(server.process.pid) - before, 2)
    benchmark.extra_info.update(found | more)


def test_start_and_first_margins(benchmark, browser, tmp_path):
    """From a server that has just said its address, in a browser that never was there."""
    example_copy(tmp_path)
    with serving(tmp_path) as server:
        context = browser.new_context()
        page = context.new_page()

        def work():
            start = ready_after(page, server.opening, "a.file")
            margins = ready_after(page, f"{server.base}/margins?file=mk1.yaml", "#margins-rows li")
            return {"start page [ms]": round(start), "first margins [ms]": round(margins)}

        noted(benchmark, server, work)
        context.close()


def test_drag_a_part(benchmark, browser, tmp_path):
    """Frames a second while a part is dragged, beside those of the same page at rest, and how soon margins follow.

    From each place that it comes to, until the page shows what holds there or at a later place. Most findings rest on
    where the battery is.
    """
    example_copy(tmp_path)
    with serving(tmp_path) as server, window(browser, server) as page:
        show(page, server, "build", file="mk1.yaml", key="parts.battery")
        page.wait_for_selector("svg.placing .cg")
        page.wait_for_selector("#beside-rows li")
        page.wait_for_timeout(2000)

        def work():
            idle = page.evaluate(IDLE, 3)
            page.evaluate(DRAG, {"spot": "parts.battery.position", "seconds": 1})
            page.wait_for_timeout(1000)
            found = page.evaluate(DRAG, {"spot": "parts.battery.position", "seconds": 6})
            waits = sorted(found["waits"])
            assert found["texts"] > 3, "no margin followed"
            return {
                "frames a second at rest": round(idle, 1),
                "frames a second while dragged": round(found["rate"], 1),
                "margins follow, median [ms]": round(waits[len(waits) // 2]),
                "margins follow, 95th percentile [ms]": round(waits[int(0.95 * (len(waits) - 1))]),
                "places": len(waits),
            }

        noted(benchmark, server, work)


def large(folder):
    """The example with 300 parts and 40 cylinders: more of what it has, at places of their own."""
    robot = example_copy(folder)
    parts = folder / "mk1_parts.csv"
    rows = parts.read_text("utf-8").splitlines()
    for at in range(300 - len(rows) + 1):
        cells = [f"bracket {at}", "4", str(at % 19 * 20 - 180), str(at % 15 * 20 - 140), str(60 + at % 9 * 20)]
        rows.append(",".join([*cells, "12", "12", "12", "chassis", "1", "estimate"]))
    parts.write_text("\n".join(rows) + "\n", "utf-8")
    text = robot.read_text("utf-8")
    own = text[text.index("    tray:\n      cylinder:") : text.index("    clamp:\n      cylinder:")]
    own = own.replace("      mechanism: tray\n", "")
    more = "".join(own.replace("    tray:", f"    spare {at}:", 1) for at in range(34))
    robot.write_text(text.replace("  cylinders:\n", f"  cylinders:\n{more}", 1), "utf-8")


def test_build_a_large_robot(benchmark, browser, tmp_path):
    """Whether Build can be used with 300 parts and 40 cylinders: until it stands there, judged, and a number moves."""
    large(tmp_path)
    with serving(tmp_path) as server, window(browser, server) as page:

        def work():
            form = ready_after(page, f"{server.base}/build?file=mk1.yaml&key=air.supply.charge", ".fields-list li")
            began = time.perf_counter()
            page.wait_for_selector(".strip .count")
            first = 1000 * (time.perf_counter() - began) + form
            page.wait_for_selector("#beside-rows li")
            page.wait_for_timeout(3000)
            times = [page.evaluate(MOVE, f"{6.9 - 0.001 * i:.3f} bar") for i in range(20)][3:]
            picked = time.perf_counter()
            page.locator("#build-list [data-of='mechanisms.clamp']").click()
            page.wait_for_function("document.getElementById('build-name').textContent === 'clamp'")
            return {
                "form [ms]": round(form),
                "verdicts [ms]": round(first),
                "moved number, median [ms]": round(statistics.median(times)),
                "another thing chosen [ms]": round(1000 * (time.perf_counter() - picked)),
                "parts": page.locator("#build-list .kind", has_text="Parts").first.inner_text().split()[1],
            }

        noted(benchmark, server, work)


def test_first_match_on_an_empty_cache(benchmark, browser, tmp_path):
    """The first match where nothing is compiled yet: until there is a first answer, and until all are played."""
    folder = tmp_path / "fresh" / "team"  # beside it is the cache, which no other test has
    folder.mkdir(parents=True)
    example_copy(folder)
    with serving(folder) as server, window(browser, server) as page:

        def work():
            first = ready_after(page, f"{server.base}/match?file=mk1.yaml", "#match-sum b")
            began = time.perf_counter()
            page.wait_for_selector("#match-drawn figure", timeout=180_000)
            return {
                "a first answer [ms]": round(first),
                "all [ms]": round(first + 1000 * (time.perf_counter() - began)),
            }

        noted(benchmark, server, work)


def test_peer_bare_page(benchmark, browser, tmp_path):
    """What the start page is held against: a page of the same framework with a button."""
    script, port = tmp_path / "peer.py", 8598
    script.write_text(PEER % port, encoding="utf-8")
    with subprocess.Popen([sys.executable, str(script)], cwd=tmp_path, env=plain_environment()) as peer:
        try:
            context = browser.new_context()
            page = context.new_page()
            for _ in range(100):
                time.sleep(0.1)
                with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                    break
            found = benchmark.pedantic(lambda: ready_after(page, f"http://127.0.0.1:{port}/", "#go"), rounds=1)
            benchmark.extra_info["bare page [ms]"] = round(found)
            context.close()
        finally:
            peer.terminate()


def test_peer_one_label(benchmark, browser, tmp_path):
    script, port = tmp_path / "peer.py", 8599
    script.write_text(PEER % port, encoding="utf-8")
    with subprocess.Popen([sys.executable, str(script)], cwd=tmp_path, env=plain_environment()) as peer:
        try:
            page = browser.new_page()
            for _ in range(100):
                time.sleep(0.1)
                try:
                    page.goto(f"http://127.0.0.1:{port}/")
                    break
                except Exception:
                    continue
            page.wait_for_selector("#go")
            page.wait_for_timeout(500)
            times = []
            benchmark.pedantic(lambda: times.append(page.evaluate(PRESS)), rounds=ROUNDS, warmup_rounds=3)
            told(benchmark, times[3:])
            assert int(page.inner_text("#answer")) >= ROUNDS
            page.close()
        finally:
            peer.terminate()
