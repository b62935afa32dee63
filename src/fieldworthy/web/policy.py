"""What the browser may do with the page: nothing from elsewhere, and no script that the server did not write."""

from __future__ import annotations

import base64
import hashlib
import html
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from fieldworthy.drawing.style import DARK, LIGHT

Message: TypeAlias = MutableMapping[str, Any]
App: TypeAlias = Callable[
    [Any, Callable[[], Awaitable[Message]], Callable[[Message], Awaitable[None]]], Awaitable[None]
]

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
    policy = f"{_COMMON}; script-src 'sha256-{_GO_ON_HASH}'"
    return (
        f"<!doctype html><html lang='en'><head><meta charset='utf-8'><title>{html.escape(title)}</title>"
        f'<meta http-equiv="Content-Security-Policy" content="{_in_meta(policy)}">'
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<style>{_STYLE}</style></head><body><main><h1>{html.escape(title)}</h1>{body}</main>{script}</body></html>"
    )


def _in_meta(policy: str) -> str:
    """Leave out what a policy inside the document may not say."""
    return policy.replace("frame-ancestors 'none'; ", "")


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
