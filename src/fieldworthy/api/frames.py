"""Tables for whoever has pandas or polars; neither is needed otherwise."""

from __future__ import annotations

import importlib
from collections.abc import Mapping, Sequence
from typing import Any

LIBRARIES = ("pandas", "polars")


def frame_of(columns: Mapping[str, Sequence[Any]]) -> Any:
    """Make a data frame with the first library of `LIBRARIES` that is installed."""
    for name in LIBRARIES:
        try:
            library = importlib.import_module(name)
        except ImportError:
            continue
        return library.DataFrame({heading: list(values) for heading, values in columns.items()})
    raise ImportError(
        "to_frame needs pandas or polars, and neither is installed: run 'python -m pip install pandas', "
        "or 'python -m pip install polars'"
    )
