"""Fifty windows on the example at once, each moving a number every second for a minute.

Run it on a quiet machine: ``python benchmarks/load_page.py [--windows 50] [--seconds 60]``. It starts the server as a
person does and speaks to it as the page's own script does in a browser, over one socket a window. It prints how long
each window waited for the moved findings, what went wrong, and how much memory the server with its processes took;
and it ends with 1 where a promise is broken: an error, more than 500 ms at the 95th percentile, more than 1.5 GB.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import os
import random
import re
import statistics
import sys
import tempfile
import time
import urllib.request
import uuid
from dataclasses import dataclass, field
from pathlib import Path

from websockets.asyncio.client import ClientConnection, connect

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
from robots import example_copy
from web.browser import Server, serving

NUMBERS = {
    "air.supply.charge": (" bar", 5.5, 6.9),
    "drive.targets.sprint_distance": (" m", 2.0, 2.8),
    "mechanisms.clamp.face": (" deg", 55.0, 75.0),
    "mechanisms.hooks.lift.ratio": ("", 1.6, 2.4),
    "mechanisms.intake.stages.front.rollers.diameter": (" mm", 55.0, 65.0),
    "rollers.front left.clearance": (" mm", 4.0, 8.0),
    "tracking.wheels.ahead.down_force": (" N", 4.0, 9.0),
    "actions.climb.time": (" s", 4.0, 6.0),
}
"""Numbers of different subsystems, with their unit and the span in which they are moved."""


@dataclass
class Window:
    """One window: its socket, and what it measured."""

    server: Server
    cookie: str
    seed: int
    waits: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    line: ClientConnection | None = None
    client: str = ""
    listener: str = ""
    moved: asyncio.Event = field(default_factory=asyncio.Event)
    shown: asyncio.Event = field(default_factory=asyncio.Event)

    def get(self, path: str) -> str:
        asked = urllib.request.Request(f"{self.server.base}{path}", headers={"Cookie": self.cookie})
        with urllib.request.urlopen(asked, timeout=60) as answer:
            return answer.read().decode("utf-8")

    async def open(self, number: str) -> None:
        """Load the page and connect as its script does."""
        page = await asyncio.to_thread(self.get, f"/build?file=mk1.yaml&key={number.replace(' ', '+')}")
        found = re.search(r"'client_id': '([0-9a-f-]{36})'", page)
        assert found is not None, page[-3000:]
        self.client = found[1]
        events = re.search(r'"listener_id":"([0-9a-f-]+)","type":"fw"', page)
        assert events is not None
        self.listener = events[1]
        query = (
            f"EIO=4&transport=websocket&client_id={self.client}&next_message_id=0&implicit_handshake=true"
            f"&tab_id={uuid.uuid4()}&document_id={uuid.uuid4()}"
        )
        self.line = await connect(
            f"ws://127.0.0.1:{self.server.port}/_nicegui_ws/socket.io/?{query}",
            origin=self.server.base,
            additional_headers={"Cookie": self.cookie},
            max_size=8_000_000,
            proxy=None,
            open_timeout=60,
        )
        await self.line.send("40")
        self.hearing = asyncio.ensure_future(self.hear())

    async def hear(self) -> None:
        """Answer pings and what the page asks; note when moved findings come."""
        assert self.line is not None
        async for raw in self.line:
            text = raw if isinstance(raw, str) else raw.decode("utf-8", "replace")
            if text == "2":
                await self.line.send("3")
            elif text.startswith("42"):
                await self.take(json.loads(text[2:]))

    async def take(self, message: list) -> None:
        kind, body = message[0], message[1] if len(message) > 1 else {}
        code = body.get("code", "") if kind == "run_javascript" else ""
        if "fw.hello()" in code:
            hello = {"dark": False, "units": "file", "width": 1280}
            await self.send(
                "javascript_response", {"request_id": body["request_id"], "client_id": self.client, "result": hello}
            )
        elif code.startswith('fw.rows("beside-rows"'):
            self.shown.set()
        elif code.startswith("fw.moved("):
            self.moved.set()
        elif code.startswith("fw.note(") and "alert" in code:
            self.errors.append(code[:300])
        if "_id" in body:
            self.last = body["_id"]

    async def send(self, kind: str, body: dict) -> None:
        assert self.line is not None
        await self.line.send("42" + json.dumps([kind, body]))

    async def tell(self, **data: object) -> None:
        event = {"id": 0, "client_id": self.client, "listener_id": self.listener, "args": [json.dumps(data)]}
        await self.send("event", event)

    async def run(self, seconds: float) -> None:
        """Move one number every second, each window at its own moment."""
        chance = random.Random(self.seed)
        number = list(NUMBERS)[self.seed % len(NUMBERS)]
        unit, low, high = NUMBERS[number]
        try:
            await self.open(number)
            await asyncio.wait_for(self.shown.wait(), 120)
            await self.tell(what="at", path=number)  # the cursor goes there first
            await asyncio.sleep(0.5 + chance.random())
            until = time.monotonic() + seconds
            while time.monotonic() < until:
                began = time.monotonic()
                self.moved.clear()
                await self.tell(what="move", path=number, value=f"{chance.uniform(low, high):.4g}{unit}")
                await asyncio.wait_for(self.moved.wait(), 30)
                self.waits.append(time.monotonic() - began)
                await self.send("ack", {"client_id": self.client, "next_message_id": self.last + 1})
                await asyncio.sleep(max(0.0, 1.0 - (time.monotonic() - began)))
        except Exception as error:
            self.errors.append(f"{type(error).__name__}: {error}")


def family(pid: int) -> list[Path]:
    """A process and those below it, as folders of /proc."""
    pids, found = [pid], []
    while pids:
        folder = Path(f"/proc/{pids.pop()}")
        try:
            for task in (folder / "task").iterdir():
                pids += [int(child) for child in (task / "children").read_text().split()]
            found.append(folder)
        except OSError:
            continue
    return found


def memory(pid: int) -> float:
    """Memory of a process and those below it [MB]; pages that several share are split among them."""
    found = 0.0
    for folder in family(pid):
        with contextlib.suppress(OSError):
            rows = (folder / "smaps_rollup").read_text().splitlines()
            found += sum(float(row.split()[1]) for row in rows if row.startswith("Pss:")) / 1024
    return found


def worked(pid: int) -> float:
    """Processor time of a process and those below it [s]."""
    found = 0.0
    for folder in family(pid):
        with contextlib.suppress(OSError):
            fields = (folder / "stat").read_text().rpartition(")")[2].split()
            found += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return found


def came_in(server: Server) -> str:
    with urllib.request.urlopen(server.opening, timeout=30) as answer:
        return str(answer.headers["set-cookie"]).partition(";")[0]


async def attend(server: Server, windows: int, seconds: float) -> tuple[list[Window], float, float]:
    """Open the windows and let them move numbers; also the most memory [MB], and processor time a move [s]."""
    cookie = came_in(server)
    there = [Window(server, cookie, seed) for seed in range(windows)]
    work = asyncio.gather(*(window.run(seconds) for window in there))
    most, before, moves = 0.0, 0.0, 0
    while not work.done():
        if not before and all(window.waits for window in there):  # every window is there and has begun
            before, moves = worked(server.process.pid), sum(len(window.waits) for window in there)
        most = max(most, memory(server.process.pid))
        await asyncio.wait([work], timeout=1.0)
    await work
    done = sum(len(window.waits) for window in there) - moves
    return there, most, (worked(server.process.pid) - before) / max(done, 1)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--windows", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=60.0)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        example_copy(Path(folder))
        with serving(Path(folder)) as server:
            there, most, each = asyncio.run(attend(server, asked.windows, asked.seconds))
            said = [line for line in server.lines if "went wrong" in line]
    waits = sorted(wait for window in there for wait in window.waits)
    errors = [error for window in there for error in window.errors] + said
    if not waits:
        print("no window got as far as moving a number:", *errors[:10], sep="\n  ")
        return 1
    p95 = waits[int(0.95 * (len(waits) - 1))]
    print(f"{asked.windows} windows, {len(waits)} moves: median {1000 * statistics.median(waits):.0f} ms,"
          f" 95th percentile {1000 * p95:.0f} ms, longest {1000 * waits[-1]:.0f} ms")  # fmt: skip
    print(f"memory at most {most:.0f} MB, processor time {1000 * each:.0f} ms a move, {len(errors)} errors")
    for error in errors[:10]:
        print(" ", error)
    return 1 if errors or p95 > 0.5 or most > 1500 else 0


if __name__ == "__main__":
    sys.exit(main())
