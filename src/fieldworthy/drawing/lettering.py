"""How wide texts are, without a font at hand: so wide that they fit in any of the fonts that may set them."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

# advance widths of DejaVu Sans in thousandths of its size, the widest of the fonts that browsers fall back on
_WIDTHS = {
    **dict.fromkeys("ijlI|!'", 300), **dict.fromkeys(" .,:;/\\", 340), **dict.fromkeys("ft()[]-", 400),
    **dict.fromkeys("rs\"*°", 510), **dict.fromkeys("cvxyzk_", 592), **dict.fromkeys("abdeghnopqu0123456789?$", 640),
    **dict.fromkeys("wCGHNOQTUDABEFKLPRSVXYZJ", 790), **dict.fromkeys("m+<>=~^#&×−±→", 980),
    **dict.fromkeys("WM%@…", 1010),
}  # fmt: skip
_OTHER, _WIDE = 700, 1050
_CAPITALS = {"J": 300, "E": 640, "F": 580, "L": 560, "S": 640, "P": 610, "T": 620, "Z": 690}
_WIDTHS |= _CAPITALS
BOLD = 1.12
"""How much wider a bold text is."""


@lru_cache(maxsize=4096)
def width(text: str, size: float, bold: bool = False) -> float:
    """Estimate how wide a text is set, erring to the wide side."""
    total = sum(_advance(letter) for letter in text)
    return total / 1000.0 * size * (BOLD if bold else 1.0)


def _advance(letter: str) -> int:
    known = _WIDTHS.get(letter)
    if known is not None:
        return known
    if unicodedata.combining(letter) or unicodedata.category(letter) in ("Cf", "Mn"):
        return 0
    return _WIDE if unicodedata.east_asian_width(letter) in ("W", "F") else _OTHER


def shortened(text: str, size: float, most: float, bold: bool = False) -> str:
    """Shorten a text to a width, with an ellipsis where it was cut."""
    if width(text, size, bold) <= most:
        return text
    kept = text
    while kept and width(kept + "…", size, bold) > most:
        kept = kept[:-1]
    return kept.rstrip() + "…" if kept else ""


def wrapped(text: str, size: float, most: float) -> list[str]:
    """Break a text into lines of a width."""
    lines: list[str] = []
    for word in text.split():
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and width(joined, size) <= most:
            lines[-1] = joined
        else:
            lines.append(shortened(word, size, most))
    return lines
