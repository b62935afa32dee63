"""Files that come from the browser: bounded in size and kind, each with a ticket of the window that asked for it."""

from __future__ import annotations

import inspect
import re
import secrets
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from pathlib import PurePath

from fastapi import FastAPI, Request
from fastapi.responses import PlainTextResponse

from fieldworthy.files.document import LARGEST
from fieldworthy.files.problems import BadInput

Take = Callable[[str, bytes], "str | Awaitable[str]"]
"""Given name and content; answers with a sentence, or raises BadInput."""
_TICKETS = 500


@dataclass(frozen=True, slots=True)
class Ticket:
    """What one upload field may bring.

    Attributes
    ----------
    suffixes : Ends of file names, with the dot
    take : Takes the file
    most : Bytes
    """

    suffixes: tuple[str, ...]
    take: Take
    most: int = LARGEST


class Uploads:
    """Takes files for the windows."""

    def __init__(self, api: FastAPI) -> None:
        self._tickets: OrderedDict[str, Ticket] = OrderedDict()
        api.add_api_route("/upload/{ticket}", self._take, methods=["POST"], include_in_schema=False)

    def ticket(self, ticket: Ticket) -> str:
        """Give a field what it needs to send a file."""
        name = secrets.token_urlsafe(18)
        self._tickets[name] = ticket
        while len(self._tickets) > _TICKETS:
            self._tickets.popitem(last=False)
        return name

    async def _take(self, ticket: str, request: Request) -> PlainTextResponse:
        known = self._tickets.get(ticket)
        if known is None:
            return PlainTextResponse("This field is not open any more. Reload the page.", 404)
        name = request.query_params.get("name", "")
        if not is_plain_name(name, known.suffixes):
            return PlainTextResponse(f"Expected a file that ends in {' or '.join(known.suffixes)}.", 415)
        content = await request.body()
        if len(content) > known.most:
            return PlainTextResponse(f"Expected a file of at most {known.most / 1e6:g} MB.", 413)
        try:
            told = known.take(name, content)
            return PlainTextResponse(await told if inspect.isawaitable(told) else told)
        except BadInput as error:
            lines = [f"line {p.line}: {p.expected}" if p.line > 1 else p.expected for p in error.problems[:5]]
            return PlainTextResponse("; ".join(lines)[:1500] + ".", 422)


def is_plain_name(name: str, suffixes: tuple[str, ...]) -> bool:
    """Tell whether a file's name is one, and ends as it must."""
    plain = re.fullmatch(r"[^\\/:*?\"<>|\x00-\x1f\x7f]{1,100}", name) is not None and not name.startswith(".")
    return plain and PurePath(name).suffix.lower() in suffixes
