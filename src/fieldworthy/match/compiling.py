"""How the loop is compiled; imported by compiled modules alone, since importing it starts the compiler."""

from __future__ import annotations

import inspect
import zlib
from collections.abc import Callable, Iterable
from types import ModuleType
from typing import Any, TypeVar, cast

from numba import njit

F = TypeVar("F", bound=Callable[..., Any])
_OPTIONS: dict[str, Any] = {"error_model": "numpy", "fastmath": {"contract", "nnan", "nsz"}}
_BARE = _OPTIONS | {"_nrt": False}


def compiled(function: F) -> F:
    """Compile a function: divisions as numpy's, products and sums fused; no NaN is looked for."""
    return cast(F, njit(**_OPTIONS)(function))


def bare(function: F) -> F:
    """Compile a function that makes no array: nothing counts references then, which took a third of the time."""
    return cast(F, njit(**_BARE)(function))


def parallel(function: F) -> F:
    """Compile the outermost loop, over the cores, and keep it for the next time."""
    return cast(F, njit(**_OPTIONS, parallel=True, cache=True)(function))


def fingerprint(modules: Iterable[ModuleType]) -> int:
    """Sum up the sources that are compiled in: what was compiled from others is not used again."""
    return zlib.crc32("".join(inspect.getsource(module) for module in modules).encode())
