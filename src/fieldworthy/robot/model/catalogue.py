"""Generic classes of bought parts; a robot file may add its own under ``catalogue``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from fieldworthy.files import Of, all_are, assume, exact, need
from fieldworthy.files.declare import (
    Charge,
    Conductance,
    Current,
    Efficiency,
    Force,
    Fraction,
    HeatCapacity,
    Inertia,
    Mass,
    Power,
    Ratio,
    Real,
    Resistance,
    Size,
    Spin,
    Temperature,
    ThermalResistance,
    Voltage,
)
from fieldworthy.files.document import Fault


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Derating:
    """One step of the controller's protection: above this winding temperature the current limit is cut."""

    above: Temperature = need("winding temperature from which this step holds", label="temperature")
    factor: Fraction = need("what is left of the current limit")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class MotorClass:
    """A permanent-magnet motor with its controller, at its output shaft."""

    free_speed: Spin = need("without load, at the rated voltage")
    stall_torque: Annotated[Real, Of("torque", 0.0, above=True, most=1e3)] = need("held still, at the rated voltage")
    free_current: Current = need("without load; less than the stall current")
    stall_current: Current = need("held still, at the rated voltage")
    rated_voltage: Voltage = need("at which the other numbers hold")
    power_cap: Power = assume("1000 W", "no cap known: the motor line alone bounds it")
    current_limit: Current = assume("1000 A", "no limit known: the motor line alone bounds it")
    counted_power: Annotated[Real, Of("power", 0.0, above=True, fixed=True)] = need(
        "what the season's power limit counts for one such motor"
    )
    mass: Mass = need("of one motor")
    rotor_inertia: Inertia = assume("0.3 kg*cm^2", "referred to the output shaft; from memory, typical of its class")
    winding_heat_capacity: HeatCapacity = assume("25 J/K", "from memory, typical of its class")
    case_heat_capacity: HeatCapacity = assume("90 J/K", "from memory, typical of its class")
    winding_to_case: ThermalResistance = assume("3 K/W", "from memory, typical of its class")
    case_to_air: ThermalResistance = assume("7 K/W", "from memory, typical of its class")
    derating: tuple[Derating, ...] = exact((), "how the controller cuts the current as the winding gets hot")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if float(self.free_current) >= float(self.stall_current):
            yield ("free_current",), "expected less than the stall current"
        yield from self._contradiction()
        hot = [float(step.above) for step in self.derating]
        for i in (i for i in range(1, len(hot)) if hot[i] <= hot[i - 1]):
            yield ("derating", i, "above"), "expected a higher temperature than that of the step before"

    def _contradiction(self) -> Iterator[Fault]:
        """Say that its numbers cannot be those of one motor.

        Torque per ampere and volts per speed are one constant of the magnets (Hughes, ch. 3); gears lower the first.
        What sheets print is rounded and measured at different voltages: a third either way is let pass, and gears that
        lose two thirds (common practice, no source).
        """
        speed, torque, voltage = float(self.free_speed), float(self.stall_torque), float(self.rated_voltage)
        free, stall = float(self.free_current), float(self.stall_current)
        if not (speed > 0.0 and torque > 0.0 and 0.0 <= free < stall and voltage > 0.0):
            return
        made = (voltage - voltage / stall * free) / speed * (stall - free)
        if not _LEAST_SHARE < torque / made < _MOST_SHARE:
            least, most = _LEAST_SHARE * made, _MOST_SHARE * made
            between = f"expected {least:.3g} to {most:.3g} N*m"
            yield ("stall_torque",), f"{between} with this free speed, voltage and stall current: one of them is wrong"


_LEAST_SHARE, _MOST_SHARE = 0.33, 1.33


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class WheelClass:
    """A drive wheel on foam tiles."""

    diameter: Size = need("outside, where it touches the floor")
    mass: Mass = need("of one wheel")
    grip: Annotated[Real, Of("ratio", 0.0, above=True, most=100.0)] = need(
        "friction coefficient along the wheel's rolling direction"
    )
    side_grip: Ratio = need("friction coefficient across the wheel; small for a roller rim")
    rolling_resistance: Ratio = need("rolling drag as a share of the load on the wheel")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class TankClass:
    """An air tank."""

    volume: Annotated[Real, Of("volume", 0.0, above=True, most=0.1)] = need("of air inside")
    rated_pressure: Annotated[Real, Of("pressure", 0.0, above=True)] = need("gauge pressure never to pass")
    mass: Mass = need("of one empty tank")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class CylinderClass:
    """A pneumatic cylinder."""

    bore: Size = need("diameter of the piston")
    rod: Size = need("diameter of the rod; less than the bore")
    stroke: Size = need("how far the rod moves")
    closed_length: Size = need("from mounting hole to mounting hole with the rod in; more than the stroke")
    mass: Mass = need("of one cylinder")
    rated_pressure: Annotated[Real, Of("pressure", 0.0, above=True)] = assume("145 psi", "from memory: 10 bar is usual")
    single_acting: bool = exact(False, "air one way, a spring the other")
    spring: Force = assume("0 N", "no return spring")
    efficiency: Efficiency = assume("0.9", "seal friction takes a tenth of the force; from memory")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if float(self.rod) >= float(self.bore):
            yield ("rod",), "expected less than the bore"
        if float(self.closed_length) <= float(self.stroke):
            yield ("closed_length",), "expected more than the stroke: the rod must fit in"
        if float(self.spring) < 0:
            yield ("spring",), "expected zero or more"


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class ValveClass:
    """A solenoid valve by ISO 6358."""

    conductance: Conductance = need("sonic conductance C of ISO 6358")
    critical_ratio: Fraction = need("critical pressure ratio b of ISO 6358")
    mass: Mass = need("of one valve")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """A battery with its internal resistance, leads included."""

    open_circuit: Voltage = need("voltage without load")
    resistance: Resistance = need("inside, with leads and plug")
    capacity: Charge = need("charge from full to empty")
    mass: Mass = need("of the pack")


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalogue:
    """Classes of bought parts by name."""

    motors: dict[str, MotorClass] = exact(dict, "motor classes by name")
    wheels: dict[str, WheelClass] = exact(dict, "wheel classes by name")
    tanks: dict[str, TankClass] = exact(dict, "tank classes by name")
    cylinders: dict[str, CylinderClass] = exact(dict, "cylinder classes by name")
    valves: dict[str, ValveClass] = exact(dict, "valve classes by name")
    batteries: dict[str, Battery] = exact(dict, "battery classes by name")
