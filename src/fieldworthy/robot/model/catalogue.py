"""Generic classes of bought parts; a robot file may add its own under ``catalogue``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fieldworthy.schema import Of, assume, exact
from fieldworthy.schema.kinds import (
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
    Torque,
    Voltage,
    Volume,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Derating:
    """One step of the controller's protection: above this winding temperature the current limit is cut."""

    above: Temperature
    factor: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorClass:
    """A permanent-magnet motor with its controller, at its output shaft."""

    free_speed: Spin
    stall_torque: Torque
    free_current: Current
    stall_current: Current
    rated_voltage: Voltage
    power_cap: Power = assume("1000 W", "no cap known: the motor line alone bounds it")
    current_limit: Current = assume("1000 A", "no limit known: the motor line alone bounds it")
    counted_power: Power
    mass: Mass
    rotor_inertia: Inertia = assume("0.3 kg*cm^2", "referred to the output shaft; from memory, typical of its class")
    winding_heat_capacity: HeatCapacity = assume("25 J/K", "from memory, typical of its class")
    case_heat_capacity: HeatCapacity = assume("90 J/K", "from memory, typical of its class")
    winding_to_case: ThermalResistance = assume("3 K/W", "from memory, typical of its class")
    case_to_air: ThermalResistance = assume("7 K/W", "from memory, typical of its class")
    derating: tuple[Derating, ...] = exact(())


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelClass:
    """A drive wheel on foam tiles."""

    diameter: Size
    mass: Mass
    grip: Ratio
    side_grip: Ratio
    rolling_resistance: Ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class TankClass:
    """An air tank."""

    volume: Volume
    rated_pressure: Annotated[Real, Of("pressure", 0.0, above=True)]
    mass: Mass


@dataclass(frozen=True, slots=True, kw_only=True)
class CylinderClass:
    """A pneumatic cylinder."""

    bore: Size
    rod: Size
    stroke: Size
    closed_length: Size
    mass: Mass
    rated_pressure: Annotated[Real, Of("pressure", 0.0, above=True)] = assume("145 psi", "from memory: 10 bar is usual")
    single_acting: bool = exact(False, "air one way, a spring the other")
    spring: Force = assume("0 N", "no return spring")
    efficiency: Efficiency = assume("0.9", "seal friction takes a tenth of the force; from memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class ValveClass:
    """A solenoid valve by ISO 6358."""

    conductance: Conductance
    critical_ratio: Fraction
    mass: Mass


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """A battery with its internal resistance, leads included."""

    open_circuit: Voltage
    resistance: Resistance
    capacity: Charge
    mass: Mass


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalogue:
    """Classes of bought parts by name."""

    motors: dict[str, MotorClass] = exact(dict)
    wheels: dict[str, WheelClass] = exact(dict)
    tanks: dict[str, TankClass] = exact(dict)
    cylinders: dict[str, CylinderClass] = exact(dict)
    valves: dict[str, ValveClass] = exact(dict)
    batteries: dict[str, Battery] = exact(dict)
