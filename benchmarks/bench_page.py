"""Times a number that is moved on the page until the findings that rest on it show their new sentences.

In a real browser, on the example. The peer in the same run is the least that the page's framework can do: a slider
whose server side puts its value into a label, through the same kind of socket in the same browser.
"""

from __future__ import annotations

import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
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
