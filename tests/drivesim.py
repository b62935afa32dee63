"""A drive as the textbook has it, marched in small steps: the truth behind invented logs, apart from the program.

Hughes, Electric Motors and Drives, ch. 3: V = E + I R, E = Ke w, T = Kt I; Kirchhoff for the battery; Newton for the
robot. The controller holds current and power down as a lossless chopper does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

STEP = 5e-4


@dataclass(frozen=True)
class Truth:
    """The small robot of `robots.ROBOT`, by hand, with numbers that a fit may not see."""

    friction: float = 0.03  # N m at the wheels
    rolling: float = 0.015
    efficiency: float = 0.85
    voltage: float = 12.5
    resistance: float = 0.15  # ohm
    grip: float = 1.0
    mass: float = 7.0
    free_speed: float = 600.0 * math.tau / 60.0
    stall_torque: float = 0.7
    free_current: float = 0.13
    stall_current: float = 3.6
    rated: float = 12.0
    cap: float = 11.0
    limit: float = 2.5
    motors: int = 4
    ratio: float = 48.0 / 36.0
    radius: float = 0.035

    @property
    def winding(self) -> float:
        return self.rated / self.stall_current

    @property
    def Kt(self) -> float:
        return self.stall_torque / (self.stall_current - self.free_current)

    @property
    def Ke(self) -> float:
        return (self.rated - self.winding * self.free_current) / self.free_speed

    def rotating(self) -> float:
        """Rotors through the gears, gears and shafts, and four wheels of 60 g at three quarters of m r2, at the rim."""
        rotors = self.motors * 1.2e-4 * self.ratio**2
        wheels = 4 * 0.75 * 0.06 * self.radius**2
        return (rotors + 5e-4 + wheels) / self.radius**2

    def drag(self, added: float) -> float:
        return self.rolling * (self.mass + added) * 9.80665 + self.friction / self.radius

    def motor(self, speed: float) -> tuple[float, float, float]:
        """Current of each motor, current of the battery and its voltage at full command, at a speed of the robot."""
        w = speed * self.ratio / self.radius
        # on the line: n equal motors behind the battery's resistance
        current = (self.voltage - self.Ke * w) / (self.winding + self.motors * self.resistance)
        bound = min(self.limit, self.cap / max(self.Kt * w, 1e-9) + self.free_current)
        if current <= bound:
            drawn = self.motors * current
            return current, drawn, self.voltage - self.resistance * drawn
        power = self.motors * bound * (bound * self.winding + self.Ke * w)
        drawn = (self.voltage - math.sqrt(self.voltage**2 - 4.0 * self.resistance * power)) / (2.0 * self.resistance)
        return bound, drawn, self.voltage - self.resistance * drawn

    def rim(self, current: float) -> float:
        return self.motors * self.Kt * (current - self.free_current) * self.ratio * self.efficiency / self.radius

    def full(self, times, start: float = 0.0, added: float = 0.0):
        """Position, speed, motor current and battery voltage of a run from rest; grip must not be the bound."""
        whole, drag = self.mass + added + self.rotating(), self.drag(added)
        count = int(np.ceil((max(times) - start) / STEP)) + 2
        v, x = np.zeros(count), np.zeros(count)
        for i in range(1, count):
            # the middle of the step by half a step first (midpoint rule): errors of the order of STEP squared
            first = (self.rim(self.motor(v[i - 1])[0]) - drag) / whole
            middle = v[i - 1] + 0.5 * STEP * first
            second = (self.rim(self.motor(middle)[0]) - drag) / whole
            assert second < self.grip * 9.80665
            v[i], x[i] = v[i - 1] + STEP * second, x[i - 1] + STEP * middle
        since = np.asarray(times) - start
        grid = STEP * np.arange(count)
        speed, way = np.interp(since, grid, v), np.interp(since, grid, x)
        states = np.array([self.motor(s) for s in speed])
        on = since > 0.0
        return way, speed, np.where(on, states[:, 0], 0.0), np.where(on, states[:, 2], self.voltage)

    def slowing(self, added: float = 0.0) -> float:
        """Deceleration of a coast: drag, and the motors' own friction turned through lossy gears."""
        own = self.motors * self.Kt * self.free_current * self.ratio / (self.efficiency * self.radius)
        return (self.drag(added) + own) / (self.mass + added + self.rotating())

    def coast(self, times, speed: float, added: float = 0.0):
        """Position and speed of a coast-down until it stands."""
        a = self.slowing(added)
        t = np.minimum(times, speed / a)
        return speed * t - 0.5 * a * t * t, speed - a * t
