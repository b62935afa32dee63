"""First steps in Python: read a robot, check it, change it, play its matches, compare, fit what was measured.

Run it from the top of the project or from this folder: ``python examples/first_steps.py``. The notebook
``first_steps.ipynb`` has the same steps, a cell each.
"""

# %% [markdown]
# # First steps with fieldworthy
#
# Heron is an invented robot for the invented season Glasshouse. Its files stand in the folder `heron`; every number
# in them is made up for the demonstration.

# %%
from pathlib import Path

import fieldworthy as fw

folder = Path("examples/heron") if Path("examples/heron").is_dir() else Path("heron")
robot = fw.load(folder / "mk1.yaml")
robot

# %% [markdown]
# ## What will not work?
#
# A check gives findings. Each has a margin: 0 is exactly at the limit, below 0 the robot misses it. Its chance is the
# share of robots, built anywhere within the tolerances, on which it holds.

# %%
report = robot.check(samples=500)
report

# %%
tipping = report["balance.tip.forward"]
print(tipping.because)
print(f"margin {tipping.margin:.2f}, holds in {tipping.chance:.0%} of the robots that the tolerances allow")

# %% [markdown]
# What is short often has one cause behind several findings. What a finding depends on is listed, the key that matters
# most first.

# %%
for cause in report.causes:
    print(cause.lead.because)
    print(f"  with it: {len(cause.findings) - 1} more; it depends most on {cause.lead.inputs[0]}")

# %%
report.plot(most=12)

# %% [markdown]
# ## What if it were lighter?
#
# `changed` gives another robot; no file is written. Keys are those that findings name, values are text with a unit.

# %%
lighter = robot.changed({"parts.tray floor.mass": "200 g"})
print(robot["parts.tray floor.mass"], "becomes", lighter["parts.tray floor.mass"])
print(f"margin {tipping.margin:.3f} becomes {lighter.check(samples=0)['balance.tip.forward'].margin:.3f}")

# %% [markdown]
# A key that is not there is refused, with the one that was probably meant.

# %%
try:
    robot.changed({"parts.tray flor.mass": "200 g"})
except fw.BadFile as error:
    print("did you mean", error.problems[0].suggestion)

# %% [markdown]
# ## What does a match look like?
#
# The first match on a machine takes about half a minute: the inner loop is compiled.

# %%
forecast = robot.match(runs=500)
low, high = forecast.points.quantiles["5 %"], forecast.points.quantiles["95 %"]
print(f"{forecast.points.mean:.1f} points on average; 90 % of the matches end between {low:g} and {high:g}")
forecast.plot()

# %%
forecast.plot("timeline")

# %% [markdown]
# ## Is the change worth it?
#
# Both variants play the same matches, so that only what differs between them is left in the difference.

# %%
comparison = fw.compare(robot, lighter, runs=500)
print(comparison.recommendation)
comparison.plot()

# %% [markdown]
# ## What does the real robot say?
#
# Readings of scales, tape, gauge and the robot's log become values with intervals, held against the file.

# %%
measured = fw.fit(robot, folder / "mk1_measurements.yaml", samples=0)
for item in measured.unlikely:
    print(item.sentence)
measured.robot.check(samples=0)["balance.tip.forward"].because
