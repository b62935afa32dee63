"""Makes docs/validation.md and its plots from what the tests kept: ``python docs/make_validation.py``.

The tests write what they computed beside what something outside the program says:
``python -m pytest -m "long or not long" --evidence docs/evidence.json``. This script only sorts, counts and draws.
"""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from fieldworthy.units import digits

HERE = Path(__file__).parent
PLOTS = HERE / "images" / "validation"
_MOST = 200  # points kept of one claim; more only thicken the plot
_ORDER = ("whole files", "balance", "drive", "air", "lift", "arm", "guide", "clamp", "grabber", "intake", "sorter",
          "tracking", "climb", "match", "compare", "search", "measure", "chances")  # fmt: skip
LEFT_OUT = {
    "whole files": "Tolerances: the files are judged as they stand. What their systems leave out stands below.",
    "balance": "Bending of frame and tiles, suspension, tyres that give, objects that shift. Braking is full and straight; "
    "a robot that brakes in a turn is not modelled.",
    "drive": "Play and bending in the gears, wheels of unlike wear, the driver's hand. Scrub in a turn is that of the "
    "steady turn all the way up. Motors do not weaken with the season.",
    "air": "Heat between air and walls within a stroke, moisture, cushions of cylinders, tubes longer than a few metres. "
    "Flow obeys ISO 6358 with one conductance for a line.",
    "lift": "Bending of arm and pins, friction of pins besides the pivot, cylinders that buckle.",
    "arm": "Play in the gears, bending, cables that pull. Controllers act at once.",
    "guide": "Bending of the guide, pads that wear, dirt. Friction is one coefficient for all pads.",
    "clamp": "Rims that bend, jaws that wear, jerks: the rival pulls steadily.",
    "grabber": "Objects that deform, hooks that slip off sideways, jerks.",
    "intake": "Pieces that jam or turn sideways, worn rollers, drivers who drive into a wall.",
    "sorter": "Ambient light that changes through a match, dirty pieces, two pieces before the sensor at once.",
    "tracking": "Collisions, wheels off the floor for longer than a seam, wrong programs. Errors are of first order.",
    "climb": "Swinging, ropes that stretch, other robots on the bar. Motion is slow enough for statics.",
    "match": "Rivals and partners, drivers who miss their way; derating is read when an action begins.",
    "compare": "What the files do not say. Variants are as good as their files are honest.",
    "search": "Designs outside the ranges asked for.",
    "measure": "Readings of another robot, and slips of the pen that are as likely as the truth.",
    "chances": "Errors of the model itself; the next chapter shows what they do.",
}
"""What each system's model leaves out, in a line."""
_HEAD = """# Validation

A formula can be right and the program wrong. So the tests hold what the program computes to something outside it: a
physics engine, a solver, certified data, a simulation written in the test, a calculation by hand. This page is made from
those tests: they keep both numbers (`docs/evidence.json`), and `docs/make_validation.py` sorts and draws them. A deviation
is that of one pair, as a share of what the reference says, or of the largest of the row where that is near nothing.

Whoever doubts a line runs it:

```sh
python -m pytest tests/chain tests/external
```

Sources and what each is worth stand in the package's `sources.toml`. Agreement with an engine says that the equations are
solved; whether they are the right ones for your robot, only [measuring it](guide/measuring.md) can say.
"""


@dataclass
class Claim:
    """One thing that is claimed, with every pair that tests kept of it."""

    system: str
    claim: str
    reference: str
    range: str
    unit: str
    computed: list[float]
    expected: list[float]
    tests: list[str]

    @property
    def deviations(self) -> list[float]:
        """Of each pair, over the reference, or over a hundredth of the largest where that is nearer nothing.

        Shares and chances deviate by their difference.
        """
        if self.unit == "share":
            return [abs(c - e) for c, e in zip(self.computed, self.expected, strict=True)]
        floor = 0.01 * max(abs(e) for e in self.expected)
        return [abs(c - e) / max(abs(e), floor, 1e-300) for c, e in zip(self.computed, self.expected, strict=True)]


def claims(rows: list[dict]) -> list[Claim]:
    """Put the pairs of one claim together, in the order of the systems."""
    found: dict[tuple[str, str], Claim] = {}
    for row in rows:
        key = (row["system"], row["claim"])
        one = found.setdefault(key, Claim(*key, row["reference"], row["range"], row["unit"], [], [], []))
        one.computed += row["computed"]
        one.expected += row["expected"]
        if row["test"] not in one.tests:
            one.tests.append(row["test"])
    return sorted(found.values(), key=lambda c: (_ORDER.index(c.system), c.claim))


def kept(rows: list[dict]) -> list[dict]:
    """Round the pairs to six digits and thin long rows; the worst pair stays."""
    thin = []
    for one in claims(rows):
        off = one.deviations
        worst = off.index(max(off))
        step = max(1, math.ceil(len(off) / _MOST))
        places = sorted({*range(0, len(off), step), worst})
        pairs = {name: [float(f"{getattr(one, name)[i]:.6g}") for i in places] for name in ("computed", "expected")}
        row = {
            "system": one.system,
            "claim": one.claim,
            "reference": one.reference,
            "range": one.range,
            "unit": one.unit,
        }
        thin.append(row | pairs | {"count": len(off), "worst": max(off), "median": sorted(off)[len(off) // 2],
                                   "tests": one.tests})  # fmt: skip
    return thin


def told(row: dict, which: str) -> str:
    """Write a deviation; of shares in points of a percentage."""
    value, unit = row[which], "points of 100" if row["unit"] == "share" else "%"
    return f"below 0.001 {unit}" if value < 1e-5 else f"{digits(100 * value, 2)} {unit}"


def plot(row: dict) -> str:
    """Draw both: what the reference says along, what the program computes up; on the line they agree.

    Of chances it is a reliability diagram: what was stated along, how often it came true up.
    """
    along, up = ("expected", "computed") if row["system"] != "chances" else ("computed", "expected")
    names = {"expected": "reference", "computed": "computed"}
    if row["system"] == "chances":
        names = {"expected": "came true", "computed": "stated chance"}
    size, edge = 220, 30
    pairs = [*row["computed"], *row["expected"]]
    low, high = min(pairs), max(pairs)
    if high - low < 0.1 * max(abs(high), abs(low)):  # a narrower frame would show a hundredth as a whole width
        middle = 0.5 * (low + high)
        low, high = middle - 0.5 * (abs(middle) or 1.0), middle + 0.5 * (abs(middle) or 1.0)
    room = size - 2 * edge

    def at(value: float) -> float:
        return edge + room * (value - low) / (high - low)

    dots = "".join(
        f'<circle cx="{at(e):.1f}" cy="{size - at(c):.1f}" r="2.5" fill="#0b6e6e" fill-opacity="0.6"/>'
        for c, e in zip(row[up], row[along], strict=True)
    )
    words = 'font-family="sans-serif" font-size="10" fill="#333"'
    unit = f" [{row['unit']}]" if row["unit"] else ""
    alt = f"{row['claim']}: computed against {row['reference']}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}" width="{size}" height="{size}" role="img">'
        f"<title>{_plain(alt)}</title>"
        f'<rect x="0" y="0" width="{size}" height="{size}" fill="#fff"/>'
        f'<rect x="{edge}" y="{edge}" width="{room}" height="{room}" fill="none" stroke="#999"/>'
        f'<line x1="{edge}" y1="{size - edge}" x2="{size - edge}" y2="{edge}" stroke="#333" stroke-width="1"/>{dots}'
        f'<text x="{edge}" y="{size - 16}" {words}>{digits(low, 2)}</text>'
        f'<text x="{size - edge}" y="{size - 16}" text-anchor="end" {words}>{digits(high, 2)}</text>'
        f'<text x="{size / 2}" y="{size - 4}" text-anchor="middle" {words}>{names[along]}{_plain(unit)}</text>'
        f'<text x="12" y="{size / 2}" text-anchor="middle" transform="rotate(-90 12 {size / 2})" {words}>{names[up]}</text>'
        "</svg>\n"
    )


def _plain(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def name_of(row: dict) -> str:
    """Name the file of a plot."""
    words = "".join(c if c.isalnum() else " " for c in row["claim"].lower()).split()
    return "-".join([row["system"].replace(" ", "-"), *words[:5]])


def _chapters(rows: list[dict]) -> Iterator[str]:
    yield "## At a glance\n"
    yield "| system | claim | reference | pairs | largest deviation |\n| --- | --- | --- | --- | --- |"
    yield "\n".join(
        f"| {r['system']} | {r['claim']} | {r['reference']} | {r['count']} | {told(r, 'worst')} |" for r in rows
    )
    by_system = defaultdict(list)
    for row in rows:
        by_system[row["system"]].append(row)
    for system, own in by_system.items():
        yield f"\n## {system[0].upper()}{system[1:]}"
        for row in own:
            yield f"\n**{row['claim']}**{' [' + row['unit'] + ']' if row['unit'] else ''}\n"
            yield f"- Reference: {row['reference']}."
            yield f"- Range tried: {row['range']}."
            median = f", in the median {told(row, 'median')}" if row["count"] > 1 else ""
            pairs = "1 pair" if row["count"] == 1 else f"{row['count']} pairs"
            yield f"- {pairs}: largest deviation {told(row, 'worst')}{median}."
            yield f"- Test: {', '.join(f'`{test}`' for test in row['tests'])}.\n"
            what = "Reliability diagram" if system == "chances" else "Computed against the reference"
            yield f"![{what}](images/validation/{name_of(row)}.svg)"
        yield f"\nThe model leaves out: {LEFT_OUT[system]}"


def text(rows: list[dict], more: str) -> str:
    """What docs/validation.md must hold."""
    return "\n".join([_HEAD, *_chapters(rows), "", more])


def main() -> None:
    """Thin the evidence, draw the plots, write the page."""
    file = HERE / "evidence.json"
    rows = json.loads(file.read_text(encoding="utf-8"))
    if rows and "count" not in rows[0]:
        rows = kept(rows)
        lines = ",\n".join(json.dumps(row, ensure_ascii=False) for row in rows)
        file.write_text(f"[\n{lines}\n]\n", encoding="utf-8")
    PLOTS.mkdir(parents=True, exist_ok=True)
    for row in rows:
        (PLOTS / f"{name_of(row)}.svg").write_text(plot(row), encoding="utf-8")
    (HERE / "validation.md").write_text(made(), encoding="utf-8")


def made() -> str:
    """What docs/validation.md must hold by the kept evidence."""
    rows, errors = (
        json.loads((HERE / f"{name}.json").read_text(encoding="utf-8")) for name in ("evidence", "whole_errors")
    )
    return text(rows, _more(errors))


def _sure(chance: float) -> bool:
    """Whether a chance leaves no doubt: what `close` does not cover."""
    return chance < 0.05 or chance >= 0.95


def _turned(row: dict) -> str:
    told = [f"`{t['id']}` ({t['before']}, {_percent(t['chance'])})" for t in row["turned"]]
    return ", ".join(told) or "none"


def _percent(chance: float) -> str:
    return "over 99 %" if chance > 0.99 else "under 1 %" if chance < 0.01 else f"{digits(100 * chance, 2)} %"


def _more(rows: list[dict]) -> str:
    """The chapter about errors of the model as a whole, from what docs/make_whole_errors.py found."""
    turned = [t for row in rows for t in row["turned"]]
    sure = sum(_sure(t["chance"]) for t in turned)
    names = sorted({row["robot"] for row in rows})
    table = "\n".join(
        f"| {row['robot']} | {row['error']} | {row['judged']} | {len(row['turned'])} | {_turned(row)} |" for row in rows
    )
    return f"""## When the model as a whole is wrong

A chance covers what a file calls uncertain. What happens when something is wrong by more? `docs/make_whole_errors.py`
judges the example robots ({", ".join(names)}) as their files say,
and again in a world that is otherwise: every friction twice or half as high, a hall at 5 °C with tanks that were charged at 20 °C, every valve half open. Listed is what turns
between kept and missed, with the verdict and the chance that were stated before.

| robot | the world is otherwise | judged | turned | which, and what was said before |
| --- | --- | --- | --- | --- |
{table}

Of {len(turned)} verdicts that turned, {len(turned) - sure} had been called uncertain (a chance between 5 % and 95 %), and
{sure} had been stated as sure. So the tool does not know by itself that it is wrong by more than its file says: a friction
that is twice the file's lies far outside the tolerance that it has by default. Two things help. The inputs of every finding
are listed with what they rest on; a verdict that rests on an estimated friction is worth one measurement. And `fit` holds
readings against what the file predicts, and says so when no value of the file's numbers explains them.
"""


if __name__ == "__main__":
    main()
