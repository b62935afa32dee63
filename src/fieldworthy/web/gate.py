"""Stands before every request and every socket: right host, right origin, known visitor, bounded size; or refused."""

from __future__ import annotations

import contextlib
import html
import ipaddress
import logging
import re
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Any, TypeAlias
from urllib.parse import parse_qs, unquote

from fieldworthy.web.keys import Keys, Visitor
from fieldworthy.web.policy import SAFE_HEADERS, plain_page

Scope: TypeAlias = MutableMapping[str, Any]
Message: TypeAlias = MutableMapping[str, Any]
Receive: TypeAlias = Callable[[], Awaitable[Message]]
Send: TypeAlias = Callable[[Message], Awaitable[None]]
App: TypeAlias = Callable[[Scope, Receive, Send], Awaitable[None]]

log = logging.getLogger("fieldworthy.web")
LARGEST_BODY = 2_500_000
"""Bytes of a request; the largest file that is taken has 2 MB, and its envelope comes on top."""
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
        await self._pass(scope, _bounded(receive) if asked.kind == "http" else receive, send)

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
        if int(_number(asked.headers.get("content-length", "0"))) > LARGEST_BODY:
            raise Refusal(413, f"A file may have at most {LARGEST_BODY // 1_000_000} MB.")

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


def _bounded(receive: Receive) -> Receive:
    """Stop reading a request that is longer than it may be, whatever it says of its length."""
    seen = 0

    async def read() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        return message if seen <= LARGEST_BODY else {"type": "http.disconnect"}

    return read


async def _body(receive: Receive, most: int = 1000) -> bytes:
    body = b""
    while len(body) <= most:
        message = await receive()
        body += bytes(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body"):
            return body
    raise Refusal(413, "A code is shorter than that.")


async def _answer(send: Send, status: int, page: str, headers: Iterable[tuple[bytes, bytes]] = ()) -> None:
    body = page.encode("utf-8")
    head = [
        (b"content-type", b"text/html; charset=utf-8"),
        (b"content-length", str(len(body)).encode("ascii")),
        (b"cache-control", b"no-store"),
        *SAFE_HEADERS,
        *headers,
    ]
    await send({"type": "http.response.start", "status": status, "headers": head})
    await send({"type": "http.response.body", "body": body})
