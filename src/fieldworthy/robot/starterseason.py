"""The text of a first season file."""

from __future__ import annotations


def starter_season(inch: bool) -> str:
    """Write a first season file.

    Parameters
    ----------
    inch : bool
        Whether lengths and masses are written in inches and pounds [-].

    Returns
    -------
    str
        A commented file that reads back without a problem [-].
    """
    ball, mass, box = ("4 in", "20 lb", "18 in") if inch else ("100 mm", "9 kg", "450 mm")
    bar = "24 in, diameter: 1.5 in" if inch else "600 mm, diameter: 40 mm"
    light, field, near, far = ("3 oz", "12 ft", "-4 ft", "4 ft") if inch else ("80 g", "3.6 m", "-1.2 m", "1.2 m")
    return f"""\
# A first season file. Every number below is a placeholder: put in those of your game's own rules.
# Several robots in this folder can share this file.
fieldworthy: season 1
season: our season

# The limits: what the rules allow. Nothing is judged against a limit that is not here. To have it judged, take away
# the braces and the '#' of its line, and put in your rules' number:
limits: {{}}
#  mass: {mass}
#  motors: 8
#  motor_power: 88 W
#  stowed_size: [{box}, {box}, {box}]   # length, width, height at the start
#  tanks: 2
#  charge_pressure: 100 psi

# The field: its size, and the places that a match plan names. [x, y], from the field's middle.
field:
  size: [{field}, {field}]
  places:
    start: [{near}, {near}]
    goal: [{far}, {far}]

# The objects that robots move: mass, and length, width, height.
objects:
  ball: {{mass: {light}, size: [{ball}, {ball}, {ball}], shape: ball}}

# The structures that robots reach for. A climber needs a bar:
#structures: {{bar: {{height: {bar}}}}}

# The tasks: what earns points.
tasks:
  ball in goal: {{points: 2, per: each, object: ball}}

# How long the parts of a match last.
periods: {{autonomous: 20 s, driven: 100 s}}
"""
