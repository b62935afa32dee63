"""Makes docs/findings.md: the prose of findings.template.md, then each system's own chapter.

Run it after a chapter has changed: ``python docs/make_findings.py``.
"""

from __future__ import annotations

import re
from pathlib import Path

from fieldworthy.engine.system import systems
from fieldworthy.report.formulas import known, named, worth

HERE = Path(__file__).parent


def _families() -> str:
    """What each first word of a finding's id speaks of."""
    said = [(word, about) for system in systems() for word, about in system.families.items()]
    return "\n".join(["| id begins with | it says |", "| --- | --- |", *(f"| `{w}` | {about} |" for w, about in said)])


def _sources(chapters: str) -> str:
    """The sources that the chapters name by their keys."""
    named_there = set(re.findall(r"`([\w-]+)`", chapters))
    rows = sorted((key, named(key), worth(key)) for key in known() if key in named_there)
    table = [
        "| key | source | what it is worth |",
        "| --- | --- | --- |",
        *(f"| `{k}` | {n} | {w} |" for k, n, w in rows),
    ]
    return "\n".join(["## Sources", "", *table])


def text() -> str:
    """Put the template and the chapters together.

    Returns
    -------
    str
        What docs/findings.md must hold.
    """
    head = (HERE / "findings.template.md").read_text(encoding="utf-8").replace("<!-- families -->", _families())
    chapters = "\n\n".join(system.findings_text().strip() for system in systems())
    return "\n\n".join([head.strip(), chapters, _sources(chapters)]) + "\n"


if __name__ == "__main__":
    (HERE / "findings.md").write_text(text(), encoding="utf-8")
