"""How the page is opened: on this machine alone, on a port that is free, and never with a traceback."""

from __future__ import annotations

import ipaddress
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request

import pytest

from edge import run, written
from fieldworthy.web.serve import Options, listen, network_address
from web.browser import serving


def test_it_listens_to_this_machine_alone_unless_shared():
    for options, host in ((Options(), "127.0.0.1"), (Options(share=True), "0.0.0.0")):
        with listen(options) as door:
            assert door.getsockname()[0] == host


def test_a_port_that_is_taken_is_left_to_who_has_it():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        taken = other.getsockname()[1]
        with listen(Options(port=taken)) as door:
            assert door.getsockname()[1] != taken


def test_the_person_is_told_of_another_port(tmp_path):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        taken = other.getsockname()[1]
        with serving(tmp_path, "--port", str(taken)) as server:
            assert f"Port {taken} is taken" in "".join(server.lines)
            assert server.port != taken


def test_the_network_address_is_one_of_this_machine_or_none():
    found = network_address()
    assert found is None or not ipaddress.ip_address(found).is_loopback


@pytest.mark.parametrize("name", ["none", "file"])
def test_what_is_no_folder_is_said_with_status_2(tmp_path, name):
    (tmp_path / "file").write_text("", "utf-8")
    folder = tmp_path / name if name == "none" else tmp_path / "file" / "below"
    ended = run("open", folder, "--no-browser")
    assert ended.code == 2
    assert "expected an existing folder" in ended.err


def test_a_file_opens_the_folder_that_it_is_in(tmp_path):
    with serving(written(tmp_path)) as server:
        assert f"shows {tmp_path.resolve()}" in "".join(server.lines)


def test_only_the_address_with_its_key_is_served(tmp_path):
    with serving(tmp_path) as server:
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(server.base, timeout=10)
        assert refused.value.code == 401
        assert b"whole address" in refused.value.read()
        refused.value.close()
        with urllib.request.urlopen(server.opening, timeout=10) as answer:
            assert answer.status == 200
        assert not any("code" in line for line in server.lines), "there is no code without --share"


def test_it_ends_with_ctrl_c_and_without_a_word_of_alarm(tmp_path):
    with serving(tmp_path) as server:
        server.process.send_signal(signal.SIGINT)
        assert server.process.wait(15) == 0
    assert server.lines[-1] == "closed\n"
    assert not any("Traceback" in line for line in server.lines)


_BUSY = """
import importlib, sys, time
from pathlib import Path
from fieldworthy.cli import ending
serve = importlib.import_module("fieldworthy.web.serve")

async def waits(scope, receive, send):
    if scope["type"] == "http":
        print("asked", flush=True)
        time.sleep(600)

ending.listen()
serve.application = lambda folder, keys: waits
serve._LAST = 1.0
serve.serve(Path(sys.argv[1]), serve.Options(browser=False), lambda line: print(line, flush=True))
"""


@pytest.mark.skipif(os.name != "posix", reason="a signal ends a program at once elsewhere")
def test_it_ends_with_ctrl_c_even_while_it_waits_for_something(tmp_path):
    page = subprocess.Popen([sys.executable, "-c", _BUSY, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    assert page.stdout is not None
    said = iter(page.stdout)
    address = next(line for line in said if "key=" in line).split("//")[1].partition("/")[0]
    host, _, port = address.partition(":")
    with socket.create_connection((host, int(port)), timeout=10) as line:
        line.sendall(b"GET / HTTP/1.1\r\nHost: x\r\n\r\n")
        assert any("asked" in heard for heard in said)
        begun = time.monotonic()
        page.send_signal(signal.SIGINT)
        assert page.wait(30) == 130
        assert time.monotonic() - begun < 25
    page.stdout.close()


_IMPATIENT = """
import importlib, sys
from pathlib import Path
serve = importlib.import_module("fieldworthy.web.serve")
serve._SILENT = 1.0
serve.serve(Path(sys.argv[1]), serve.Options(browser=False), lambda line: print(line, flush=True))
"""
_SAFE = {
    "x-content-type-options", "x-frame-options", "referrer-policy", "cross-origin-opener-policy",
    "cross-origin-resource-policy", "permissions-policy", "content-security-policy",
}  # fmt: skip
"""Headers of the OWASP Secure Headers Project that a page of its own needs; from memory."""


def _answered(port: int, *lines: str) -> tuple[int, set[str]]:
    """Status and names of the headers that come back for a request."""
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        line.sendall("".join(f"{each}\r\n" for each in (*lines, "")).encode())
        raw = line.makefile("rb")
        status = int(raw.readline().split()[1])
        rows = iter(raw.readline, b"\r\n")
        return status, {row.partition(b":")[0].decode().lower() for row in rows}


def _closed(line: socket.socket) -> bool:
    """Whether the other end has gone, in good order or not; waits for it."""
    try:
        return line.recv(1000) == b""
    except ConnectionResetError:
        return True


@pytest.mark.long
def test_who_sends_nothing_is_shown_out_and_every_answer_says_the_same(tmp_path):
    written(tmp_path)
    page = subprocess.Popen([sys.executable, "-c", _IMPATIENT, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    assert page.stdout is not None
    opening = next(line for line in page.stdout if "key=" in line).strip()
    port = int(opening.split(":")[2].partition("/")[0])
    silent = [socket.create_connection(("127.0.0.1", port), timeout=30) for _ in range(40)]
    for slow in silent[:10]:
        slow.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1")
    host = f"Host: 127.0.0.1:{port}"
    with urllib.request.urlopen(opening, timeout=20) as answer:
        cookie = f"Cookie: {answer.headers['set-cookie'].partition(';')[0]}"
        assert {name.lower() for name in answer.headers} >= _SAFE
    upgrade = ("Connection: Upgrade", "Upgrade: websocket", "Sec-WebSocket-Version: 13",
               "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==", f"Origin: http://127.0.0.1:{port}")  # fmt: skip
    asked = {
        401: _answered(port, "GET / HTTP/1.1", host),
        404: _answered(port, "GET /nothing HTTP/1.1", host, cookie),
        200: _answered(port, "GET /fw/page.css HTTP/1.1", host, cookie),
        405: _answered(port, "DELETE / HTTP/1.1", host, cookie),
        421: _answered(port, "GET / HTTP/1.1", "Host: elsewhere"),
        400: _answered(port, "NONSENSE", host),
        403: _answered(port, "POST / HTTP/1.1", host, cookie, "Content-Length: 0"),
    }
    for status, (found, headers) in asked.items():
        assert (found, _SAFE - headers) == (status, set())
    found, headers = _answered(port, "GET /_nicegui_ws/socket.io/?EIO=4&transport=websocket HTTP/1.1", host, *upgrade)
    assert (found, _SAFE - headers) == (401, set())
    assert all(map(_closed, silent)), "each is closed, without a word"
    for line in silent:
        line.close()
    page.terminate()
    page.wait(20)
    page.stdout.close()
