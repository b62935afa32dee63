"""Who may come in: the token of the opening address, the code for visitors, and the cookies they are changed for."""

from __future__ import annotations

import hmac
import secrets
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass, field

ALPHABET = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
"""Letters and digits of the code; none that is mistaken for another."""
CODE_LENGTH = 8
_TRIES = 5  # wrong codes from one address within the pause, then it waits
_PAUSE = 60.0  # s
_ALL_TRIES = 100  # wrong codes from everywhere, then there is a new code
_VISITORS = 500  # cookies that are remembered; the oldest go first
_ADDRESSES = 1000


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


@dataclass(slots=True)
class Keys:
    """The secrets of one run of the server.

    Attributes
    ----------
    shared : Whether visitors may come in by the code
    allow_changes : Whether they may change files
    token : Of the opening address
    code : What visitors type
    now : Gives the time [s]
    tell : Told a new code, for the terminal
    """

    shared: bool = False
    allow_changes: bool = False
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
        return self._welcome(may_change=True, owner=True)

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
        return self._visitors.get(cookie)  # 256 random bits: a lookup tells nothing about the others

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
