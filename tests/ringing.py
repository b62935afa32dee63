"""A robot whose matches are reckoned by hand: it tries one action over and over where it stands."""

from __future__ import annotations

from robots import changed

MANY = 1000  # practice tries, as many as a file may state: they leave the chance 1.6 % of standard deviation
POINTS = 5.0
SEASON = {
    "tasks": {"bell": {"points": POINTS, "needs": ["ring"]}, "drum": {"points": 1, "needs": ["beat", "ring"]}},
}


def bot(name, rounds, chance, action="ring", **more):
    """A robot that tries one action over and over where it stands, each try with a known chance."""
    # with a uniform prior the mean is (successes + 1) / (attempts + 2)
    counts = {"successes": round(chance * (MANY + 2) - 1), "attempts": MANY}
    return changed(
        {
            "robot": name,
            "mechanisms": {
                "ringer": {"kind": "plain", "can": ["ring"], "build_time": {"value": "2 h", "tolerance": "0 h"}}
            },
            "hours_left": "5 h",
            "actions": {action: {"time": "1 s", "task": "bell", "practice": counts}},
            "plan": {"start": "a", "driven": [{"times": rounds, "repeat": [{"action": action, "at": "a"}]}]},
        },
        more,
    )
