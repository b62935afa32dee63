"""A braked robot in MuJoCo, in its side view: what tips over and from which speed.

Only the floor's upright forces are MuJoCo's. Its own friction is convex: a box that slides fast hovers on it and tips
too early. Coulomb friction is put on each wheel's contact by hand instead.
"""

from __future__ import annotations

from dataclasses import dataclass

import mujoco
import numpy as np

STEP = 1e-4  # s
SLIP = 0.03  # m/s over which friction turns round; a thirtieth of the speeds in question


@dataclass(frozen=True)
class Robot:
    """Distances from the centre of gravity to the axle that leads and to the other one, and what slows it down.

    Wheels are locked where `brake` is None; else the leading axle, to which the drive's gears take all of the torque
    once it carries the robot, is held by a constant torque.
    """

    mass: float
    inertia: float
    lead: float
    trail: float
    height: float
    grip: float
    radius: float = 0.035
    brake: float | None = None  # N at the rim
    rotating: float = 0.0  # kg at the rim
    roller: tuple[float, float] | None = None  # m beyond the leading axle, m above the floor
    gravity: float = 9.80665

    def model(self) -> mujoco.MjModel:
        wheels = self._wheel(0, self.lead) + self._wheel(1, -self.trail)
        if self.roller is not None:
            out, clearance = self.roller
            wheels += f'<geom type="sphere" size="0.002" pos="{self.lead + out} 0 {0.002 + clearance - self.height}"/>'
        own = " ".join([repr(self.inertia)] * 3)
        return mujoco.MjModel.from_xml_string(f"""<mujoco><option timestep="{STEP}" gravity="0 0 -{self.gravity}"/>
          <default><geom solref="0.002 1" solimp="0.99 0.999 0.0001" mass="0" condim="1"/>
            <joint solreffriction="0.001 1" solimpfriction="0.999 0.9999 0.001"/></default>
          <worldbody><geom type="plane" size="50 50 1"/><body pos="0 0 {self.height}">
            <joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 0 1"/><joint type="hinge" axis="0 1 0"/>
            <inertial pos="0 0 0" mass="{self.mass}" diaginertia="{own}"/>{wheels}</body></worldbody></mujoco>""")

    def _wheel(self, number: int, x: float) -> str:
        turns = ""
        if self.brake is not None:
            held, spin = (self.brake * self.radius if number == 0 else 0.0), max(self.rotating * self.radius**2, 1.5e-4)
            turns = (f'<joint type="hinge" axis="0 1 0" frictionloss="{held}"/>'
                     f'<inertial pos="0 0 0" mass="1e-4" diaginertia="{spin} {spin} {spin}"/>')  # fmt: skip
        return (f'<body name="wheel {number}" pos="{x} 0 {self.radius - self.height}">{turns}'
                f'<geom name="wheel {number}" type="sphere" size="{self.radius}"/></body>')  # fmt: skip

    def goes_over(self, model: mujoco.MjModel, speed: float) -> bool:
        data, force, down = mujoco.MjData(model), np.zeros(6), np.array([0.0, 0.0, -self.radius])
        data.qvel[0] = speed
        data.qvel[3:] = speed / self.radius
        bodies = [model.body(f"wheel {i}").id for i in (0, 1)]
        geoms = [model.geom(f"wheel {i}").id for i in (0, 1)]
        over = 1.3 if self.roller else np.arctan2(self.lead, self.height - self.radius) + 0.15
        along, load = np.zeros((3, model.nv)), np.full(2, self.mass * self.gravity / 2.0)
        mujoco.mj_forward(model, data)
        while data.time < 4.0:
            data.qfrc_applied[:] = 0.0
            for body, press in zip(bodies, load, strict=True):
                mujoco.mj_jac(model, data, along, None, data.xpos[body] + down, body)
                data.qfrc_applied -= along[0] * self.grip * press * np.tanh(along[0] @ data.qvel / SLIP)
            mujoco.mj_step(model, data)
            load[:] = 0.0
            for k in range(data.ncon):
                geom = max(data.contact[k].geom)
                if geom in geoms:
                    mujoco.mj_contactForce(model, data, k, force)
                    load[geoms.index(geom)] = force[0]
            tilt, rate = data.qpos[2], data.qvel[2]
            if tilt > over:
                return True
            slow = data.qvel[0] < 0.1 + self.radius * abs(rate)
            if (data.time > 0.02 and rate < -0.1 and slow) or (data.time > 0.3 and tilt < 0.01 and data.qvel[0] < 0.03):
                return False
        return False

    def tip_speed(self, most: float = 4.0, rounds: int = 7) -> float:
        """Speed from which it goes over [m/s]; infinite where it does not even from the highest."""
        model, low, high = self.model(), 0.0, most
        if not self.goes_over(model, most):
            return float("inf")
        for _ in range(rounds):
            middle = (low + high) / 2.0
            low, high = (low, middle) if self.goes_over(model, middle) else (middle, high)
        return (low + high) / 2.0
