"""Makes first_steps.ipynb of first_steps.py: a cell for each part that begins with ``# %%``, without outputs.

Run it after the script has changed: ``python examples/make_notebook.py``.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
_MARK = re.compile(r"^# %%(?P<kind> \[markdown\])?\n", re.MULTILINE)


def cells(script: str) -> list[dict[str, Any]]:
    """The cells of a script; what stands before the first is its own docstring."""
    parts = _MARK.split(script)[1:]
    return [
        _cell(i, bool(kind), text.strip("\n"))
        for i, (kind, text) in enumerate(zip(parts[::2], parts[1::2], strict=True), 1)
    ]


def _cell(number: int, told: bool, text: str) -> dict[str, Any]:
    if told:
        text = "\n".join(line.removeprefix("#").removeprefix(" ") for line in text.splitlines())
    head = {"cell_type": "markdown" if told else "code", "id": f"step-{number:02}", "metadata": {}}
    source = {"source": text.splitlines(keepends=True)}
    return head | source if told else head | {"execution_count": None, "outputs": []} | source


def text() -> str:
    """What first_steps.ipynb must hold: format 4.5 of notebooks."""
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    whole = {
        "cells": cells((HERE / "first_steps.py").read_text(encoding="utf-8")),
        "metadata": {"kernelspec": kernel, "language_info": {"name": "python"}},
        "nbformat": 4,
        "nbformat_minor": 5,
    }
    return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    (HERE / "first_steps.ipynb").write_text(text(), encoding="utf-8")
