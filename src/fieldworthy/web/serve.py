"""Serves the page: finds a port, prints the address, and puts the gate before everything else."""

from __future__ import annotations

import contextlib
import logging
import os
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

from fieldworthy import errors
from fieldworthy.files.document import keep_within
from fieldworthy.web.access import ENTER, PLAIN_HEADERS, Gate, Keys, Known, Policy
from fieldworthy.web.folder import Folder

FIRST_PORT = 8420
_TRIED = 20  # ports tried one after the other before the system chooses one
_LAST = 6.0  # s after Ctrl-C, by when the page has closed or is ended
_SILENT = 10.0  # s in which a connection must have asked for something
INTERRUPTED = 130
STATIC = Path(__file__).parent / "static"


@dataclass(frozen=True, slots=True)
class Options:
    """How the page is served.

    Attributes
    ----------
    port : The port wished for
    browser : Whether a browser is opened
    share : Whether others in the network may come in by a code
    allow_changes : Whether they may change files
    """

    port: int | None = None
    browser: bool = True
    share: bool = False
    allow_changes: bool = False


def listen(options: Options) -> socket.socket:
    """Take a port: the one wished for, the next that is free, or any."""
    host = "0.0.0.0" if options.share else "127.0.0.1"
    first = FIRST_PORT if options.port is None else options.port
    for port in (*range(first, min(first + _TRIED, 65536)), 0):
        with contextlib.suppress(OSError):
            return _bound(host, port)
    return _bound(host, 0)


def _bound(host: str, port: int) -> socket.socket:
    found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":  # elsewhere it would let another program take the port as well
            found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind((host, port))
        found.listen(128)
    except OSError:
        found.close()
        raise
    return found


def network_address() -> str | None:
    """Find the address by which others in the network reach this machine.

    Notes
    -----
    A datagram socket that is connected but never sends makes the system choose a way; nothing leaves the machine.
    """
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # RFC 5737: for documentation, belongs to nobody
        address = str(probe.getsockname()[0])
        return None if address.startswith("127.") else address
    return None


def application(folder: Folder, keys: Keys) -> Any:
    """Build the whole application, gate first."""
    from fastapi import FastAPI  # noqa: PLC0415  the server starts only where it is used
    from starlette.staticfiles import StaticFiles  # noqa: PLC0415

    from fieldworthy.web.frame import install  # noqa: PLC0415

    api = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    api.mount("/fw", StaticFiles(directory=STATIC))
    install(api, folder)
    return Gate(Policy(api), keys)


def serve(path: Path, options: Options, say: Callable[[str], None] = print) -> None:
    """Serve the page until it is stopped."""
    folder = Folder.at(path)
    keep_within(folder.root)
    keys = Keys(shared=options.share, allow_changes=options.allow_changes, tell=lambda code: say(f"New code: {code}"))
    with contextlib.suppress(KeyboardInterrupt), errors.in_order(), listen(options) as door:
        port = int(door.getsockname()[1])
        keys.known = Known.of(folder.root, port)
        address = f"http://127.0.0.1:{port}{ENTER}?key={keys.token}"

        def begun() -> None:
            for line in _announced(folder, options, keys, port, address):
                say(line)
            if options.browser:
                threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()

        _server(folder, keys, begun).run(sockets=[door])
    keep_within(None)
    say("closed")


def _server(folder: Folder, keys: Keys, begun: Callable[[], None]) -> Any:
    """Build a server that says when it can be reached."""
    import uvicorn  # noqa: PLC0415  the server starts only where it is used
    from uvicorn.protocols.http.auto import AutoHTTPProtocol  # noqa: PLC0415

    class Impatient(AutoHTTPProtocol):  # type: ignore[misc, valid-type]
        """Closes a connection that asks for nothing, and says of itself what every answer says."""

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            self.loop.call_later(_SILENT, self._ask_again, None)

        def _ask_again(self, seen: Any) -> None:
            if self.transport.is_closing() or self.transport.get_protocol() is not self:
                return  # it is gone, or became a web socket, which looks after itself
            if self.cycle is None or (self.cycle is seen and self.cycle.response_complete):
                self.transport.close()
            else:
                self.loop.call_later(_SILENT, self._ask_again, self.cycle)

        def send_400_response(self, msg: str) -> None:
            state = self.server_state
            before, state.default_headers = state.default_headers, [*state.default_headers, *PLAIN_HEADERS]
            super().send_400_response(msg)
            state.default_headers = before

    whole = application(folder, keys)
    _quiet_logs()
    config = uvicorn.Config(
        whole,
        http=Impatient,
        log_config=None,
        log_level="error",
        access_log=False,
        proxy_headers=False,
        ws_max_size=1_500_000,
        timeout_graceful_shutdown=1,
        server_header=False,
        lifespan="on",
    )

    class Telling(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            begun()

        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            watch = threading.Timer(_LAST, _end)
            watch.daemon = True  # gone with the program where that ends as it should
            watch.start()
            super().handle_exit(sig, frame)

    return Telling(config)


def _end() -> None:
    """End the program whatever it waits for; its workers end with it."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.write(2, b"closed, but not in good order\n")
    os._exit(INTERRUPTED)


def _announced(folder: Folder, options: Options, keys: Keys, port: int, address: str) -> list[str]:
    lines = [f"fieldworthy shows {folder.root}", "", f"  {address}", ""]
    if options.port is not None and port != options.port:
        lines.insert(0, f"Port {options.port} is taken; this is {port}.")
    if options.share:
        other = network_address()
        where = f"http://{other}:{port}" if other else f"port {port} of this machine's address in the network"
        what = "may look and change files" if options.allow_changes else "may look, not change"
        lines += [f"Others in the same network: {where}", f"  with the code {keys.code}; they {what}.", ""]
    return [*lines, "The address is a key: do not pass it on. Ctrl+C closes the page."]


class _OneLine(logging.Formatter):
    """Says what went wrong in one line; a traceback helps nobody at the pit table."""

    def format(self, record: logging.LogRecord) -> str:
        error = record.exc_info[1] if record.exc_info else None
        lines = f"{type(error).__name__}: {error}" if error else record.getMessage()
        what = lines.splitlines()[0][:300] if lines else "no word about it"
        return f"fieldworthy: something went wrong and the page goes on ({what})"


_LOGS = ("fieldworthy.web", "nicegui", "uvicorn", "uvicorn.error", "asyncio", "engineio.server", "socketio.server")


def _quiet_logs() -> None:
    """Say only what is an error, in one line each, where the person can see it."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_OneLine())
    for name in _LOGS:
        log = logging.getLogger(name)
        log.handlers = [handler]
        log.propagate = False
        log.setLevel(logging.ERROR)
