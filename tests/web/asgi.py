"""Calls an ASGI application as a server would, without one."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from awaiting import awaited

HOST, PORT = "127.0.0.1", 8420


@dataclass
class Answer:
    """What came back."""

    status: int = 0
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""
    closed: bool = False


def call(app: Any, path: str = "/", method: str = "GET", body: bytes = b"", **more: Any) -> Answer:
    """Send one request; `headers` of `more` go before the usual ones, and None takes one away."""
    headers = {"host": f"{HOST}:{PORT}"} | more.pop("headers", {})
    pairs = [(k.encode("latin-1"), v.encode("latin-1")) for k, v in headers.items() if v is not None]
    pairs += more.pop("pairs", [])
    query = more.pop("query", b"")
    scope = {
        "type": more.pop("kind", "http"),
        "method": method,
        "path": path,
        "raw_path": path.encode("utf-8", "surrogatepass"),
        "query_string": query,
        "headers": pairs,
        "server": more.pop("server", (HOST, PORT)),
        "client": more.pop("client", (HOST, 50000)),
    }
    answer = Answer()
    parts = [body[i : i + 65536] for i in range(0, len(body), 65536)] or [b""]

    async def receive() -> dict[str, Any]:
        if scope["type"] == "websocket":
            return {"type": "websocket.connect"}
        return (
            {"type": "http.request", "body": parts.pop(0), "more_body": bool(parts)}
            if parts
            else {"type": "http.disconnect"}
        )

    async def send(message: dict[str, Any]) -> None:
        if message["type"] == "http.response.start":
            answer.status = message["status"]
            answer.headers = {k.decode().lower(): v.decode() for k, v in message["headers"]}
        elif message["type"] == "http.response.body":
            answer.body += message.get("body", b"")
        elif message["type"] == "websocket.close":
            answer.closed = True

    awaited(app(scope, receive, send))
    return answer


class Inner:
    """An application behind the gate that notes what reaches it."""

    def __init__(self) -> None:
        self.reached: list[dict[str, Any]] = []
        self.read = 0

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        self.reached.append(scope)
        if scope["type"] == "websocket":
            await send({"type": "websocket.accept"})
            return
        while True:
            message = await receive()
            self.read += len(message.get("body", b""))
            if message["type"] != "http.request" or not message.get("more_body"):
                break
        await send({"type": "http.response.start", "status": 200, "headers": [(b"content-type", b"text/html")]})
        await send({"type": "http.response.body", "body": b"<script>1</script>"})
