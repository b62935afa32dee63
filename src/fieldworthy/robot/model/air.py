"""Compressed air: tanks, what feeds from each, cylinders and valves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fieldworthy.files import Of, Ref, assume, exact, need
from fieldworthy.files.kinds import Conductance, Count, Force, Fraction, Gap, Mass, Pressure, Real, Size, Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """What several tanks have in common."""

    charge: Pressure = assume("100 psi", "gauge pressure at the start of a match; common practice, no source")
    tube_bore: Size = assume("2.5 mm", "4 mm tubing; from memory", effort=2.0)
    fitting: Conductance = assume("0.35 L/(s*bar)", "fittings and silencer of one line; from memory", effort=2.0)
    fitting_critical_ratio: Fraction = assume("0.4", "from memory", role="fact")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tank:
    """A tank with its own circuit, or several joined ones that count as one circuit."""

    tank: Annotated[str, Ref(("catalogue.tanks",))] = need("tank class, from the catalogue")
    count: Count = exact(1, "tanks joined on this circuit")
    charge: Pressure | None = exact(None, "where it differs from the common charge")
    regulator: Pressure | None = exact(None, "gauge pressure behind the regulator; none where absent")
    leak_half_time: Span = assume(
        "60 min", "gauge pressure halves in this time at rest; common practice, no source", effort=0.7
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cylinder:
    """A cylinder, or several that move together on one valve."""

    cylinder: Annotated[str, Ref(("catalogue.cylinders",))] = need("cylinder class, from the catalogue")
    count: Count = exact(1, "cylinders on one valve")
    tank: Annotated[str, Ref(("air.tanks",))] = need("the tank of this file that feeds it")
    valve: Annotated[str, Ref(("catalogue.valves",))] = need("valve class, from the catalogue")
    tube: Gap = assume("400 mm", "length of tube from valve to each port; common practice, no source", effort=0.7)
    dead_volume: Annotated[Real, Of("volume", 0.0)] = assume(
        "0.4 mL", "in the cylinder's end and fittings, each side; from memory", effort=3.0
    )
    push_load: Force = assume("0 N", "against the extending rods, together", role="fact")
    pull_load: Force = assume("0 N", "against the retracting rods, together", role="fact")
    moved: Mass = assume("0.2 kg", "mass that moves with the rods, together; common practice, no source", role="fact")
    needs: Pressure | None = exact(
        None, "gauge pressure below which the mechanism fails, where the team has found it", role="fact"
    )
    time_limit: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] | None = exact(
        None, "a stroke may take this long", role="wish"
    )
    mechanism: Annotated[str, Ref(("mechanisms",))] | None = exact(None, "the mechanism that it moves")


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """All compressed air on the robot."""

    supply: Supply = exact(dict, "what all tanks have in common")
    tanks: dict[str, Tank] = exact(dict, "tanks by name, each with its own circuit")
    cylinders: dict[str, Cylinder] = exact(dict, "cylinders by name, each one or several on one valve")
