"""Coroutines awaited in a thread of their own: the browser's loop runs in the tests' one."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any


def awaited(work: Coroutine[Any, Any, Any]) -> Any:
    """What it gives, or raises."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, work).result()
