"""Takes only well-formed messages from the socket; the rest is dropped before the framework sees it."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

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
