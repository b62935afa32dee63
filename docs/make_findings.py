"""Makes docs/findings.md: the prose of findings.template.md, then each system's own chapter.

Run it after a chapter has changed: ``python docs/make_findings.py``.
"""

from __future__ import annotations

from pathlib import Path

from fieldworthy.engine.system import systems

HERE = Path(__file__).parent


def _families() -> str:
    """What each first word of a finding's id speaks of."""
    said = [(word, about) for system in systems() for word, about in system.families.items()]
    return "\n".join(["| id begins with | it says |", "| --- | --- |", *(f"| `{w}` | {about} |" for w, about in said)])


def text() -> str:
    """Put the template and the chapters together.

    Returns
    -------
    str
        What docs/findings.md must hold.
    """
    head = (HERE / "findings.template.md").read_text(encoding="utf-8").replace("<!-- families -->", _families())
    return "\n\n".join([head.strip(), *(system.findings_text().strip() for system in systems())]) + "\n"


if __name__ == "__main__":
    (HERE / "findings.md").write_text(text(), encoding="utf-8")
