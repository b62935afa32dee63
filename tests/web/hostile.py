"""Requests and socket messages that no honest browser sends, drawn at random from a seed."""

from __future__ import annotations

import contextlib
import http.client
import json
import random
import socket
from dataclasses import dataclass, field
from urllib.parse import quote

from websockets.exceptions import WebSocketException
from websockets.sync.client import connect

CLIMBS = (
    "/../../etc/passwd",
    "/fw/../../../etc/passwd",
    "/fw/%2e%2e/%2e%2e/pyproject.toml",
    "/fw/..%2f..%2fsecret.yaml",
    "/fw/....//....//etc/passwd",
    "/fw/%252e%252e/secret.yaml",
    "/fw\\..\\..\\secret.yaml",
    "//etc/passwd",
    "/fw/%00page.js",
    "/_nicegui/x/static/../../../secret",
    "/_nicegui/3.18.0/resources/x/../../../../etc/passwd",
    "/.git/config",
    "/secret.yaml",
)
HOSTS = (
    "evil.example",
    "127.0.0.1",
    "127.0.0.1:1",
    "localhost.evil.example",
    "0.0.0.0",
    "[::1]",
    "",
    "169.254.169.254",
    "a" * 3000,
)
ORIGINS = ("http://evil.example", "null", "https://127.0.0.1", "http://127.0.0.1", "http://localhost:1", "file://", "x")
METHODS = ("PUT", "DELETE", "OPTIONS", "TRACE", "PATCH", "PROPFIND", "get", "BREW")
SOCKET = "/_nicegui_ws/socket.io/?EIO=4&transport=websocket"


@dataclass
class Tally:
    """What came of it: how many of each kind, and what was served that should not have been."""

    tried: dict[str, int] = field(default_factory=dict)
    served: list[str] = field(default_factory=list)

    def count(self, kind: str, told: str | None) -> None:
        self.tried[kind] = self.tried.get(kind, 0) + 1
        if told is not None:
            self.served.append(f"{kind}: {told}")


@dataclass
class Attacker:
    """Knows the port, and the cookie of someone who has come in."""

    port: int
    cookie: str
    seed: int = 0
    tally: Tally = field(default_factory=Tally)

    def __post_init__(self) -> None:
        self.random = random.Random(self.seed)
        self.host = f"127.0.0.1:{self.port}"
        self.ways = (
            self.wrong_host,
            self.wrong_origin,
            self.wrong_token,
            self.wrong_cookie,
            self.wrong_method,
            self.climb,
            self.oversize,
            self.mistyped_upload,
            self.nonsense,
            self.wrong_handshake,
        )

    def run(self, count: int) -> Tally:
        """Try so many requests, and a socket full of nonsense now and then."""
        for i in range(count):
            self.random.choice(self.ways)()
            if i % 100 == 0:
                self.broken_messages(20)
        return self.tally

    def ask(self, kind: str, method: str, path: str, headers: dict[str, str | None], body: bytes = b"") -> None:
        """Send one request; an answer of 200 counts as served."""
        whole = {"Host": self.host, "Cookie": self.cookie} | headers
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in whole.items():
                if value is not None:
                    connection.putheader(name, value)
            if body and "Content-Length" not in whole:
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders()
            with contextlib.suppress(OSError):
                connection.send(body)
            answer = connection.getresponse()
            text = answer.read()
            ok = answer.status == 200 or b"root:" in text or b"SECRET" in text or b"Traceback" in text
            self.tally.count(kind, f"{method} {path[:80]} {headers} -> {answer.status}" if ok else None)
        except (OSError, http.client.HTTPException, ValueError):
            self.tally.count(kind, None)
        finally:
            connection.close()

    def wrong_host(self) -> None:
        self.ask("host", "GET", "/", {"Host": self.random.choice(HOSTS)})

    def wrong_origin(self) -> None:
        method = self.random.choice(("GET", "POST"))
        self.ask("origin", method, "/", {"Origin": self.random.choice(ORIGINS), "Content-Length": "0"})

    def wrong_token(self) -> None:
        token = self.text(self.random.randrange(40))
        self.ask("token", "GET", f"/enter?key={quote(token, safe='')}", {"Cookie": None})

    def wrong_cookie(self) -> None:
        name = self.cookie.partition("=")[0]
        value = self.random.choice(
            ("", "x", self.cookie[::-1], f"{name}={'A' * 43}", f"{name}=", self.cookie + "x", '"' * 9000)
        )
        self.ask("cookie", "GET", self.random.choice(("/", "/margins?file=mk1.yaml", "/fw/page.js")), {"Cookie": value})

    def wrong_method(self) -> None:
        self.ask("method", self.random.choice(METHODS), "/", {"Origin": f"http://{self.host}"})

    def climb(self) -> None:
        self.ask("path", "GET", self.random.choice(CLIMBS), {})

    def oversize(self) -> None:
        headers = {
            "Origin": f"http://{self.host}",
            "Content-Length": str(self.random.choice((2_500_001, 10**9, 10**11))),
        }
        self.ask("size", "POST", "/upload/x", headers, b"x" * 1000)

    def mistyped_upload(self) -> None:
        name = self.random.choice(("a.exe", "../a.yaml", "a.yaml\x00.exe", "", "." * 300, "con.yaml"))
        headers = {
            "Origin": f"http://{self.host}",
            "Content-Type": self.random.choice(("text/html", "multipart/form-data", "x")),
        }
        self.ask("upload", "POST", f"/upload/{self.text(8).encode().hex()}?name={quote(name)}", headers, b"MZ" * 50)

    def nonsense(self) -> None:
        """Bytes that are no request at all."""
        lines = (
            b"GET / HTTP/9.9\r\n\r\n",
            b"\x00\xff" * 50 + b"\r\n\r\n",
            b"GET " + b"/" * 70000 + b" HTTP/1.1\r\n\r\n",
            b"POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\nContent-Length: 3\r\n\r\nzz\r\n",
            b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
            b"GET http://evil.example/ HTTP/1.1\r\nHost: evil.example\r\n\r\n",
        )
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), timeout=5) as line:
            line.sendall(self.random.choice(lines))
            line.shutdown(socket.SHUT_WR)
            answer = line.recv(200)
            self.tally.count("nonsense", answer.decode("latin-1") if b" 200 " in answer[:20] else None)
            return
        self.tally.count("nonsense", None)

    def wrong_handshake(self) -> None:
        """A socket from another site, or from a stranger."""
        origin, cookie = self.random.choice(
            ((self.random.choice(ORIGINS), self.cookie), (f"http://{self.host}", "x=y"), (None, self.cookie))
        )
        try:
            with connect(
                f"ws://{self.host}{SOCKET}",
                origin=origin,
                additional_headers={"Cookie": cookie},
                open_timeout=5,
                proxy=None,
            ) as line:
                line.recv(timeout=2)
                self.tally.count("socket", f"{origin} {cookie[:20]} was let in")
        except (WebSocketException, OSError, TimeoutError):
            self.tally.count("socket", None)

    def broken_messages(self, count: int) -> None:
        """Messages that are malformed, on a socket that was let in."""
        with contextlib.suppress(WebSocketException, OSError, TimeoutError), connect(
            f"ws://{self.host}{SOCKET}", origin=f"http://{self.host}", additional_headers={"Cookie": self.cookie},
            open_timeout=5, proxy=None,
        ) as line:  # fmt: skip
            line.recv(timeout=2)
            line.send("40")
            for _ in range(count):
                self.tally.count("message", None)
                line.send(self.message())

    def message(self) -> str | bytes:
        kind = self.random.choice(
            ("event", "handshake", "ack", "log", "javascript_response", "nothing", "connect", "disconnect")
        )
        body: object = self.random.choice(
            (
                None,
                5,
                [],
                {},
                {"client_id": 5},
                {"client_id": "x"},
                {"client_id": "x", "id": "y", "listener_id": [], "args": 3},
                {"client_id": "x", "tab_id": "t", "document_id": "d", "next_message_id": "NaN"},
                "text",
                [[[[[[]]]]]],
                {"client_id": "x", "level": "fatal", "message": "m"},
                {"client_id": "x" * 5000},
            )
        )
        return self.random.choice(
            (
                "42" + json.dumps([kind, body]),
                "42" + json.dumps([kind, body, body]),
                "42",
                "42[",
                "4",
                "9",
                "",
                "451-" + json.dumps([kind]),
                "2",
                "3",
                "41",
                "42/other," + json.dumps([kind, body]),
                "\x00" * 20,
                b"\x00\xff\x00",
                "40{",
                '40{"a":1}',
                "42" + "[" * 3000,
            )
        )

    def text(self, length: int) -> str:
        return "".join(chr(self.random.choice((*range(33, 127), 0xE9, 0x2028, 0x1F600))) for _ in range(length))
