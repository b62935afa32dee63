"""A plan in, timelines and score distributions out; the inner loop is compiled.

Importing this room does not start the compiler; playing the first match does.
"""

from fieldworthy.match.forecast import (
    Forecast,
    Runs,
    Scores,
    Tally,
    all_played,
    blocks,
    forecast,
    play_runs,
    scores,
    summed,
    tallied,
)
from fieldworthy.match.setup import PARTS, CannotPlay, Part, Setup, setup, with_chance
from fieldworthy.match.timeline import ENDINGS, Event, MatchClock, Period, Timeline, match_clock, played, timeline

__all__ = [
    "ENDINGS",
    "PARTS",
    "CannotPlay",
    "Event",
    "Forecast",
    "MatchClock",
    "Part",
    "Period",
    "Runs",
    "Scores",
    "Setup",
    "Tally",
    "Timeline",
    "all_played",
    "blocks",
    "forecast",
    "match_clock",
    "play_runs",
    "played",
    "scores",
    "setup",
    "summed",
    "tallied",
    "timeline",
    "with_chance",
]
