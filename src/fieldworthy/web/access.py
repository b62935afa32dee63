"""Who may come in, and what stands before every request: keys, refusals, safety headers, well-formed messages."""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hashlib
import hmac
import html
import inspect
import ipaddress
import logging
import os
import re
import secrets
import sys
import time
from collections import OrderedDict, deque
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from typing import Any, TypeAlias
from urllib.parse import parse_qs, unquote

from fieldworthy.drawing.style import DARK, LIGHT

Scope: TypeAlias = MutableMapping[str, Any]
Message: TypeAlias = MutableMapping[str, Any]
Receive: TypeAlias = Callable[[], Awaitable[Message]]
Send: TypeAlias = Callable[[Message], Awaitable[None]]
App: TypeAlias = Callable[[Scope, Receive, Send], Awaitable[None]]

ALPHABET = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
"""Letters and digits of the code; none that is mistaken for another."""
CODE_LENGTH = 8
_TRIES = 5  # wrong codes from one address within the pause, then it waits
_PAUSE = 60.0  # s
_ALL_TRIES = 100  # wrong codes from everywhere, then there is a new code
_VISITORS = 500  # cookies that are remembered; the oldest go first
_ADDRESSES = 1000
_REMEMBERED = 12 * 3600.0  # s for which a browser is known beyond the end of the server
_BROWSERS = 20


@dataclass(frozen=True, slots=True)
class Visitor:
    """Someone who has come in.

    Attributes
    ----------
    cookie : The secret that the browser shows with every request
    may_change : Whether files may be written
    owner : Whether it came by the opening address, and not by the code
    """

    cookie: str
    may_change: bool
    owner: bool


@dataclass(frozen=True, slots=True)
class Known:
    """The owner's browsers, remembered beyond the end of the server, so that a window goes on after a restart.

    Only a digest of each cookie is kept (SHA-256 of 256 random bits), which lets nobody in.

    Attributes
    ----------
    file : Where they stand, in a folder of the person's own
    """

    file: Path

    @classmethod
    def of(cls, folder: Path, port: int) -> Known:
        """Those of the servers of one folder at one port."""
        name = hashlib.sha256(f"{folder}\n{port}".encode("utf-8", "surrogatepass")).hexdigest()[:24]
        return cls(_own_cache() / "fieldworthy" / f"windows-{name}")

    def has(self, cookie: str) -> bool:
        """Whether a cookie was given of late."""
        try:
            young = time.time() - self.file.stat().st_mtime < _REMEMBERED
            return young and _digest(cookie) in self.file.read_text(encoding="ascii").split()
        except (OSError, ValueError):
            return False

    def add(self, cookie: str) -> None:
        """Remember one more; where that cannot be, a restart asks for the address again."""
        with contextlib.suppress(OSError, ValueError):
            self.file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            young = self.file.exists() and time.time() - self.file.stat().st_mtime < _REMEMBERED
            before = self.file.read_text(encoding="ascii").split() if young else []
            door = os.open(self.file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(door, "w", encoding="ascii") as open_file:
                open_file.write("\n".join([*before[-_BROWSERS:], _digest(cookie)]))


def _digest(cookie: str) -> str:
    return hashlib.sha256(cookie.encode("utf-8", "surrogatepass")).hexdigest()


def _own_cache() -> Path:
    """The folder where a person's programs keep what may be lost (XDG Base Directory Specification on Linux)."""
    if os.name == "nt":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")


@dataclass(slots=True)
class Keys:
    """The secrets of one run of the server.

    Attributes
    ----------
    known : The owner's browsers of earlier runs; None where they are not remembered
    shared : Whether visitors may come in by the code
    allow_changes : Whether they may change files
    token : Of the opening address
    code : What visitors type
    now : Gives the time [s]
    tell : Told a new code, for the terminal
    """

    shared: bool = False
    allow_changes: bool = False
    known: Known | None = None
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    code: str = ""
    now: Callable[[], float] = time.monotonic
    tell: Callable[[str], None] = lambda _code: None
    _visitors: OrderedDict[str, Visitor] = field(default_factory=OrderedDict)
    _wrong: OrderedDict[str, deque[float]] = field(default_factory=OrderedDict)
    _wrong_in_all: int = 0

    def __post_init__(self) -> None:
        self.code = self.code or new_code()

    def by_token(self, token: str) -> Visitor | None:
        """Let in who has the opening address."""
        if not same(token, self.token):
            return None
        visitor = self._welcome(may_change=True, owner=True)
        if self.known is not None:
            self.known.add(visitor.cookie)
        return visitor

    def by_code(self, code: str, address: str) -> Visitor | None:
        """Let in who types the code that the terminal shows."""
        if not self.shared or self.must_wait(address):
            return None
        tidy = "".join(c for c in code.upper() if c in ALPHABET) if len(code) <= 64 else ""
        if same(tidy, self.code):
            self._wrong.pop(address, None)
            return self._welcome(may_change=self.allow_changes, owner=False)
        self._count_wrong(address)
        return None

    def must_wait(self, address: str) -> bool:
        """Tell whether an address has tried too many wrong codes of late."""
        tries = self._wrong.get(address, deque())
        while tries and tries[0] < self.now() - _PAUSE:
            tries.popleft()
        return len(tries) >= _TRIES

    def _count_wrong(self, address: str) -> None:
        self._wrong.setdefault(address, deque()).append(self.now())
        self._wrong.move_to_end(address)
        while len(self._wrong) > _ADDRESSES:
            self._wrong.popitem(last=False)
        self._wrong_in_all += 1
        if self._wrong_in_all >= _ALL_TRIES:
            self._wrong_in_all = 0
            self.code = new_code()
            self.tell(self.code)

    def by_cookie(self, cookie: str) -> Visitor | None:
        """Recognise who has come in before."""
        found = self._visitors.get(cookie)  # 256 random bits: a lookup tells nothing about the others
        if found is None and cookie and self.known is not None and self.known.has(cookie):
            found = self._visitors[cookie] = Visitor(cookie, may_change=True, owner=True)
        return found

    def _welcome(self, *, may_change: bool, owner: bool) -> Visitor:
        visitor = Visitor(secrets.token_urlsafe(32), may_change, owner)
        self._visitors[visitor.cookie] = visitor
        while len(self._visitors) > _VISITORS:
            self._visitors.popitem(last=False)
        return visitor


def new_code() -> str:
    """Draw a code for visitors."""
    return "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))


def same(given: str, secret: str) -> bool:
    """Compare two secrets in a time that says nothing about them."""
    return hmac.compare_digest(given.encode("utf-8", "surrogatepass"), secret.encode("utf-8"))


_COMMON = (
    "default-src 'none'; img-src 'self' data: blob:; font-src 'self'; style-src 'self' 'unsafe-inline'; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'; object-src 'none'"
)
SAFE_HEADERS: tuple[tuple[bytes, bytes], ...] = (
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
)
"""Headers of every answer, besides the policy for scripts."""
_GO_ON = "location.replace('/')"
_GO_ON_HASH = base64.b64encode(hashlib.sha256(_GO_ON.encode()).digest()).decode()
PLAIN_HEADERS = (
    *SAFE_HEADERS,
    (b"content-security-policy", f"{_COMMON}; script-src 'sha256-{_GO_ON_HASH}'".encode("ascii")),
)
"""Headers of what is answered before, or in place of, the application."""
_STYLE = f"""
body {{ font: 1rem/1.5 system-ui, sans-serif; margin: 12vh auto 0; max-width: 34rem; padding: 0 1rem;
       color: {LIGHT.ink}; background: {LIGHT.paper} }}
input, button {{ font: inherit; padding: .5rem .75rem; border: 1px solid {LIGHT.edge}; border-radius: 4px }}
label {{ display: block; font-weight: 600 }}
@media (prefers-color-scheme: dark) {{
  body {{ color: {DARK.ink}; background: {DARK.paper} }}
  a {{ color: {DARK.series[0]} }}
}}"""


def plain_page(title: str, body: str, *, go_on: bool = False) -> str:
    """Write a page of its own for who is not in yet."""
    script = f"<script>{_GO_ON}</script>" if go_on else ""
    return (
        f"<!doctype html><html lang='en'><head><meta charset='utf-8'><title>{html.escape(title)}</title>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<style>{_STYLE}</style></head><body><main><h1>{html.escape(title)}</h1>{body}</main>{script}</body></html>"
    )


@dataclass(frozen=True, slots=True)
class Policy:
    """Gives every answer its safety headers, and every script of a page the nonce without which it does not run.

    Attributes
    ----------
    app : The ASGI application behind it

    Notes
    -----
    The page's framework compiles its templates in the browser, so that ``unsafe-eval`` must stay allowed; inline
    scripts and handlers that come from elsewhere have no nonce and do not run.
    """

    app: App

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        await self.app(scope, receive, _Answer(send).send)


class _Answer:
    """One answer on its way out."""

    def __init__(self, send: Callable[[Message], Awaitable[None]]) -> None:
        self._send = send
        self._nonce = secrets.token_urlsafe(16)
        self._start: Message | None = None
        self._parts: list[bytes] = []

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            await self._begin(message)
        elif message["type"] == "http.response.body" and self._start is not None:
            await self._collect(message)
        else:
            await self._send(message)

    async def _begin(self, message: Message) -> None:
        rows = [(name, value) for name, value in message.get("headers", ()) if name.lower() not in _OURS]
        kind = next((value for name, value in rows if name.lower() == b"content-type"), b"")
        policy = f"{_COMMON}; script-src 'self' 'nonce-{self._nonce}' 'unsafe-eval'"
        rows += [*SAFE_HEADERS, (b"content-security-policy", policy.encode("ascii"))]
        if kind.startswith(b"text/html"):
            self._start = {**message, "headers": [row for row in rows if row[0].lower() != b"content-length"]}
        else:
            await self._send({**message, "headers": rows})

    async def _collect(self, message: Message) -> None:
        self._parts.append(message.get("body", b""))
        if message.get("more_body"):
            return
        # text from files reaches the page with its '<' escaped, so that each '<script' here is the server's own
        body = b"".join(self._parts).replace(b"<script", f'<script nonce="{self._nonce}"'.encode("ascii"))
        assert self._start is not None
        self._start["headers"].append((b"content-length", str(len(body)).encode("ascii")))
        await self._send(self._start)
        await self._send({"type": "http.response.body", "body": body})


_OURS = {b"content-security-policy", *(name for name, _ in SAFE_HEADERS)}


log = logging.getLogger("fieldworthy.web")
LARGEST_BODY, LARGEST_UPLOAD = 2_500_000, 20_500_000
"""Bytes of a request; the largest file that is taken has 2 MB, and its envelope comes on top."""
_SLOWEST = 20.0  # s between two parts of a request
ENTER = "/enter"
VISITOR = "fieldworthy.visitor"
"""Key of the ASGI scope under which the page finds who asks."""
_LOOPBACK = ("127.0.0.1", "localhost", "::1")
_HOST = re.compile(r"(?P<name>[a-z0-9.-]{1,253}|\[[0-9a-f:.]{2,45}\])(?::(?P<port>\d{1,5}))?")
_METHODS = ("GET", "HEAD", "POST")


class Refusal(Exception):
    """A request that is not served.

    Attributes
    ----------
    status : Of HTTP
    sentence : What the person reads
    """

    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.status = status
        self.sentence = sentence


def is_own_host(header: str, server: tuple[str, int], *, shared: bool) -> bool:
    """Tell whether a Host header names this server, and not a name that someone else points at it."""
    match = _HOST.fullmatch(header.lower())
    if match is None or int(match["port"] or 80) != server[1]:
        return False
    name, address = match["name"].strip("[]"), server[0]
    if _is_loopback(address):
        return name in _LOOPBACK
    # a name can be pointed at any address; the address itself cannot be pointed elsewhere
    return shared and name == address


def _is_loopback(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


@dataclass(frozen=True, slots=True)
class _Asked:
    """What a request says of itself."""

    kind: str
    method: str
    path: str
    headers: dict[str, str]
    query: dict[str, list[str]]
    address: str

    @classmethod
    def of(cls, scope: Scope) -> _Asked:
        rows: Iterable[tuple[bytes, bytes]] = scope.get("headers", ())
        headers: dict[str, str] = {}
        for raw, value in rows:
            name = raw.decode("latin-1").lower()
            if name in headers and name in ("host", "origin", "content-length", "cookie"):
                raise Refusal(400, f"The request says '{name}' twice.")
            headers[name] = value.decode("latin-1")
        try:
            query = parse_qs(scope.get("query_string", b"").decode("ascii"), max_num_fields=20)
        except ValueError as error:
            raise Refusal(400, "The address holds what no address can hold.") from error
        client = scope.get("client") or ("", 0)
        return cls(scope["type"], scope.get("method", "GET"), scope["path"], headers, query, str(client[0]))


@dataclass(frozen=True, slots=True)
class Gate:
    """Lets in whom it knows; everything else is refused before the application sees it.

    Attributes
    ----------
    app : The ASGI application behind it
    keys : Who may come in
    """

    app: App
    keys: Keys

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request, socket or the server's own start and end."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        try:
            asked = _Asked.of(scope)
            self._check_place(asked, scope)
            if asked.path == ENTER and asked.kind == "http":
                await self._enter(asked, receive, send)
                return
            scope[VISITOR] = self._known(asked)
        except Refusal as refusal:
            await self._refuse(scope, refusal, receive, send)
            return
        await self._pass(scope, _bounded(receive, _most(asked.path)) if asked.kind == "http" else receive, send)

    async def _pass(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the application answer; what goes wrong there is said in one line, and the server goes on."""
        begun = False

        async def watched(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self.app(scope, receive, watched)
        except Exception as error:  # whatever a message may do, it must not end the server
            log.error("%s: %s", type(error).__name__, error)
            if scope["type"] == "http" and not begun:
                sentence = "<p role='alert'>Something went wrong here; the rest goes on.</p>"
                await _answer(send, 500, plain_page("fieldworthy", sentence))
            elif scope["type"] == "websocket":
                with contextlib.suppress(Exception):
                    await send({"type": "websocket.close", "code": 1011})

    def _check_place(self, asked: _Asked, scope: Scope) -> None:
        """Refuse what another site asks, or what no browser asks of this page."""
        server = scope.get("server") or ("", 0)
        host = asked.headers.get("host", "")
        if not is_own_host(host, (str(server[0]), int(server[1] or 0)), shared=self.keys.shared):
            raise Refusal(421, "This address is not the one that the terminal shows.")
        if asked.kind == "http" and asked.method not in _METHODS:
            raise Refusal(405, "This page only shows and takes, it knows no such request.")
        _check_origin(asked, host)
        _check_path(asked.path, scope.get("raw_path") or b"")
        if int(_number(asked.headers.get("content-length", "0"))) > (most := _most(asked.path)):
            raise Refusal(413, f"A file may have at most {most // 1_000_000} MB.")

    def _known(self, asked: _Asked) -> Visitor:
        visitor = self.keys.by_cookie(_cookie(asked.headers.get("cookie", ""), self._cookie_name(asked)))
        if visitor is None:
            raise Refusal(401, "")
        return visitor

    def _cookie_name(self, asked: _Asked) -> str:
        """Name the cookie; ports share cookies, so that two servers need two names."""
        return f"fieldworthy_{asked.headers['host'].rpartition(':')[2]}"

    async def _enter(self, asked: _Asked, receive: Receive, send: Send) -> None:
        """Change a token or a code for a cookie."""
        if asked.method == "POST":
            code = parse_qs((await _body(receive)).decode("latin-1")).get("code", [""])[0]
            if self.keys.must_wait(asked.address):
                raise Refusal(429, "Too many wrong codes. Wait a minute, and read it off the terminal again.")
            visitor = self.keys.by_code(code, asked.address)
            wrong = "This is not the code that the terminal shows."
        else:
            visitor = self.keys.by_token(asked.query.get("key", [""])[0])
            wrong = ""
        if visitor is None:
            raise Refusal(401, wrong)
        cookie = f"{self._cookie_name(asked)}={visitor.cookie}; Path=/; HttpOnly; SameSite=Strict"
        # a page that goes on by itself: after a redirect from elsewhere a strict cookie would not be sent along,
        # and the address with the token would stay in the history
        page = plain_page("Come in", "<p><a href='/'>Go on</a></p>", go_on=True)
        await _answer(send, 200, page, [(b"set-cookie", cookie.encode("latin-1"))])

    async def _refuse(self, scope: Scope, refusal: Refusal, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await receive()
            if "websocket.http.response" in (scope.get("extensions") or {}):
                await _answer(send, refusal.status, plain_page("fieldworthy", ""), kind="websocket.http")
            else:
                await send({"type": "websocket.close", "code": 1008})
            return
        sentence = refusal.sentence or (
            "Type the code that the terminal shows." if self.keys.shared else "This page needs the whole address."
        )
        body = f"<p role='alert'>{html.escape(sentence)}</p>"
        if refusal.status == 401:
            body += _CODE_FORM if self.keys.shared else _HOW_TO
        await _answer(send, refusal.status, plain_page("fieldworthy", body))


_CODE_FORM = """
<form method="post" action="/enter">
<label for="code">Code</label>
<input id="code" name="code" autocomplete="off" autocapitalize="characters" spellcheck="false" maxlength="20" required>
<button type="submit">Come in</button>
</form>"""
_HOW_TO = "<p>Open the address that <code>fieldworthy open</code> prints in the terminal; it ends in a key.</p>"


def _check_origin(asked: _Asked, host: str) -> None:
    origin = asked.headers.get("origin")
    needed = asked.kind == "websocket" or asked.method == "POST"
    if (origin is None and needed) or (origin is not None and origin != f"http://{host}"):
        raise Refusal(403, "Another page may not ask this one.")
    site = asked.headers.get("sec-fetch-site", "none")
    opening = asked.method == "GET" and asked.path == ENTER
    if site not in ("none", "same-origin") and not opening:
        raise Refusal(403, "Another page may not ask this one.")


def _check_path(path: str, raw: bytes) -> None:
    steps = unquote(path).replace("\\", "/").split("/")
    if ".." in steps or "\\" in unquote(path) or not path.isprintable() or len(raw) > 2000:
        raise Refusal(400, "This address leads nowhere.")


def _number(text: str) -> int:
    if not re.fullmatch(r"\d{1,12}", text):
        raise Refusal(400, "The request does not say how long it is.")
    return int(text)


def _cookie(header: str, name: str) -> str:
    if len(header) > 8192:
        return ""
    try:
        found = SimpleCookie(header).get(name)
    except CookieError:
        return ""
    return found.value if found is not None else ""


def _most(path: str) -> int:
    """How long a request to an address may be: a file that is brought may be long, and its field says how long."""
    return LARGEST_UPLOAD if path.startswith("/upload/") else LARGEST_BODY


def _bounded(receive: Receive, most: int) -> Receive:
    """Stop reading a request that is longer than it may be, whatever it says of its length."""
    seen, whole = 0, False

    async def read() -> Message:
        nonlocal seen, whole
        message = await (receive() if whole else _in_time(receive))  # afterwards it only tells that the other has gone
        seen, whole = seen + len(message.get("body", b"")), not message.get("more_body")
        return message if seen <= most else {"type": "http.disconnect"}

    return read


async def _in_time(receive: Receive) -> Message:
    """Wait for the next part of a request, and give up whoever never sends it."""
    try:
        return await asyncio.wait_for(receive(), _SLOWEST)
    except TimeoutError:
        return {"type": "http.disconnect"}


async def _body(receive: Receive, most: int = 1000) -> bytes:
    body = b""
    while len(body) <= most:
        message = await _in_time(receive)
        body += bytes(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body"):
            return body
    raise Refusal(413, "A code is shorter than that.")


async def _answer(
    send: Send, status: int, page: str, headers: Iterable[tuple[bytes, bytes]] = (), kind: str = "http"
) -> None:
    body = page.encode("utf-8")
    head = [
        (b"content-type", b"text/html; charset=utf-8"),
        (b"content-length", str(len(body)).encode("ascii")),
        (b"cache-control", b"no-store"),
        *PLAIN_HEADERS,
        *headers,
    ]
    await send({"type": f"{kind}.response.start", "status": status, "headers": head})
    await send({"type": f"{kind}.response.body", "body": body})


_TEXTS = {
    "event": ("client_id",),
    "javascript_response": ("client_id", "request_id"),
    "ack": ("client_id",),
    "log": ("client_id", "level", "message"),
    "handshake": ("client_id", "tab_id", "document_id"),
}
_LEVELS = ("debug", "info", "warning", "error")


def well_formed(event: str, message: object) -> bool:
    """Tell whether a message has what its kind must have."""
    if not isinstance(message, dict) or not all(isinstance(message.get(key), str) for key in _TEXTS[event]):
        return False
    if event == "event":
        listener, arguments = message.get("listener_id"), message.get("args", [])
        whole = isinstance(message.get("id"), int) and isinstance(listener, str)
        return whole and isinstance(arguments, list) and all(a is None or isinstance(a, str) for a in arguments)
    if event == "ack":
        return isinstance(message.get("next_message_id"), int)
    return event != "log" or message["level"] in _LEVELS


def guard(server: Any) -> None:
    """Stand before the handlers of a socket server."""
    handlers: dict[str, Callable[..., Any]] = server.handlers["/"]
    for event in _TEXTS:
        handlers[event] = _guarded(event, handlers[event])


def _guarded(event: str, handler: Callable[..., Any]) -> Callable[..., Any]:
    async def take(sid: str, message: object = None, *rest: object) -> Any:
        if rest or not well_formed(event, message):
            return False
        try:
            found = handler(sid, message)
            return await found if inspect.isawaitable(found) else found
        except (ValueError, KeyError, TypeError):  # for example arguments that are no JSON
            return False

    return take
