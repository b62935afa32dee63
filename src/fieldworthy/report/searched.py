"""A search as pages: what may vary, the best or what nothing beats, what changes, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence

from fieldworthy.decide.search import Amount, Carried, Design, Found
from fieldworthy.decide.search.figure import front
from fieldworthy.decide.search.result import stamp_of
from fieldworthy.decide.search.wanted import AMOUNTS
from fieldworthy.decide.search.words import needed_for
from fieldworthy.drawing.style import Style
from fieldworthy.report.blocks import Block, Cell, Head, Mark, Para, Picture, Points, Section, Table
from fieldworthy.report.formulas import Words
from fieldworthy.robot import Loaded
from fieldworthy.units import counted, digits

_RANGES = 14  # things that vary are told one by one
_CHANGES = 12  # of one design
_ALIKE = 4


def searched(found: Found, loaded: Loaded, words: Words, style: Style) -> list[Section]:
    """Lay out what a search found."""
    told: list[Block] = [Para(words.text(found.answer), "lead")]
    if found.stamp != stamp_of(loaded):
        told.append(Points(["The robot's files have changed since this search: search again."], "caution"))
    told += [Head("What may vary"), Points(_listed(found.ranges, _RANGES)), Para(_spent(found), "quiet")]
    if found.best is not None:
        told += _best(found, found.best, words)
    if found.front:
        told += _front(found, words, style)
    if found.short:
        told.append(Points([words.text(f"{s.name or s.id}: the nearest candidate lacks {100 * s.near:.2g} %.")
                            for s in found.short[:_CHANGES]]))  # fmt: skip
    if found.clashes:
        told.append(Points(_listed([words.text(clash.told) for clash in found.clashes], _CHANGES)))
    return [Section("The decision: what a search found", told)]


def _listed(lines: Sequence[str], most: int) -> list[str]:
    return [*lines[:most], *([f"{len(lines) - most} more."] if len(lines) > most else [])]


def _spent(found: Found) -> str:
    of = "" if found.possible is None or found.possible >= 1e9 else f" of {found.possible:,.0f} that there are"
    broke = f"{found.screened:,} of them" if found.screened else "none of them"
    luck = " What is told of a design comes from other luck than what chose it." if found.matches else ""
    return (
        f"{counted(found.candidates, 'candidate')}{of} were tried in {counted(found.matches, 'match')} "
        f"(seed {found.seed}); what must hold is broken by {broke}.{luck}"
    )


def _best(found: Found, best: Design, words: Words) -> list[Block]:
    blocks: list[Block] = [Head("The best: what changes"), Points(_listed((*best.sentences, *best.plan), _CHANGES))]
    if best.breaks:
        blocks.append(Points([f"It breaks: {words.text(because)}" for because in best.breaks], "caution"))
    if best.mends:
        blocks.append(Para(f"It mends: {words.text(', '.join(best.mends))}."))
    blocks.append(Para(f"It takes about {digits(best.hours)} h of work, build times included."))
    if len(found.carried) > 1:
        rows: list[list[Cell]] = [[c.sentence, words.text(_worth(c))] for c in found.carried]
        blocks += [Head("What each change is worth"), Table(("Change", "Left as it is"), rows, (5.0, 3.4), (), True)]
    if found.alike:
        alike = [" ".join(_listed((*d.sentences, *d.plan), 4)) for d in found.alike]
        blocks += [Head("As good, as far as these matches tell"), Points(_listed(alike, _ALIKE))]
    return blocks


def _worth(carried: Carried) -> str:
    if carried.needed:
        return needed_for(carried.needed)
    if carried.more is None or carried.low is None or carried.high is None:
        return "what is wanted is less"
    return f"{-carried.more:+.1f} points ({-carried.high:+.1f} to {-carried.low:+.1f})"


def _front(found: Found, words: Words, style: Style) -> list[Block]:
    """The designs that nothing beats, drawn and listed by their numbers in the figure."""
    rows: list[list[Cell]] = []
    for i, design in enumerate(found.front):
        amounts = "; ".join(f"{_name(a, words)} {digits(a.value)} {a.unit}".rstrip() for a in design.amounts)
        name = f"{i + 1}{', the knee' if i == found.knee else ''}"
        changes = " ".join(_listed((*design.sentences, *design.plan), 4))
        rows.append([Mark(name, "bold"), amounts, changes or "As it is now."])
    names = [_name(a, words) for a in found.front[0].amounts]
    drawn: list[Block] = [Picture(front(found.front, found.knee, names, style), 0.3)] if found.front[1:] else []
    return [Head("Designs that nothing found beats"), *drawn,
            Table(("Design", "What it gives", "What changes"), rows, (1.2, 2.6, 5.4), (), True)]  # fmt: skip


def _name(amount: Amount, words: Words) -> str:
    """What is wanted, in words: of a finding it is the margin."""
    if amount.name in AMOUNTS or amount.words:
        return amount.about
    return f"margin of {words.text(amount.name).removeprefix('the check ')}"
