"""The peer of the match loop: the same match as ordinary differential equations, solved by SciPy's solve_ivp.

The equations are written here from the sources that the physics names (Newton's law, Kirchhoff's voltage law, two
lumps of heat, first-order leak, mass balance of a draw), not called from it. Numbers and plan come from the same setup.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.integrate import solve_ivp

REST, SPEED_UP, STOP = 0.0, 1.0, 2.0
ALPHA, T_REF = 0.00393, 293.15  # copper, IEC 60028
HEAD = 16


def rhs(_t, y, given):
    """Way, speed, charge; winding and case of every motor; gauge pressure of every tank. Also compiles.

    ``given``: numbers of the phase ``p``, force lines by level of derating and where they hold, heat capacities and
    resistances, leaks, currents. ``p``: mode, mass, rotating, resistance, grip, deceleration, motors, gearing,
    efficiency, Kt, Ke, R, I0, open voltage, battery resistance, air; ``currents``: of each motor at rest, then what
    all of them draw.
    """
    p, lines, thermal, above, leaks, currents = given
    dy = np.zeros(y.size)
    v, motors = max(y[1], 0.0), thermal.shape[0]
    mode, mass, rotating, drag, grip, stop = p[0], p[1], p[2], p[3], p[4], p[5]
    n, G, eta, Kt, Ke, R, I0, V0, Rb, air = p[6], p[7], p[8], p[9], p[10], p[11], p[12], p[13], p[14], p[15]
    current = currents[0]
    drawn = currents[motors]
    if mode == 1.0:
        level = 0
        for i in range(above.size):
            if y[3] >= above[i]:
                level = i + 1
        stall, slope, limit, power = lines[level, 0], lines[level, 1], lines[level, 2], lines[level, 3]
        force = min(stall - slope * v, limit, power / max(v, 1e-9))
        a = min((force - drag) / (mass + rotating), grip)
        dy[0], dy[1] = v, a
        used = a * (mass + rotating) + drag
        current = used / (n * G * eta) / Kt + I0
        P = n * current * (current * R + Ke * G * v)
        # V0 I - Rb I^2 = P
        drawn = 2.0 * P / (V0 + math.sqrt(max(V0 * V0 - 4.0 * Rb * P, 0.0)))
    elif mode == 2.0:
        dy[0], dy[1] = v, -stop
        force = max(stop * (mass + rotating) - drag, 0.0)
        current = max(force * eta / (n * G) / Kt - I0, 0.0)
    dy[2] = drawn
    for m in range(motors):
        Cw, Cc, Rwc, Rca, r = thermal[m, 0], thermal[m, 1], thermal[m, 2], thermal[m, 3], thermal[m, 4]
        Tw, Tc = y[3 + 2 * m], y[4 + 2 * m]
        i = current if m == 0 else currents[m]
        flow = (Tw - Tc) / Rwc
        dy[3 + 2 * m] = (i * i * r * (1.0 + ALPHA * (Tw - T_REF)) - flow) / Cw
        dy[4 + 2 * m] = (flow - (Tc - air) / Rca) / Cc
    for k in range(leaks.size):
        dy[3 + 2 * motors + k] = -y[3 + 2 * motors + k] / leaks[k]
    return dy


@dataclass
class Peer:
    """Plays one case of a setup, every try working in its mean time."""

    setup: object
    case: int = 0
    rtol: float = 1e-9
    method: str = "LSODA"
    function: object = rhs
    continuous: bool = False  # read the derating at every instant, not when an event begins
    t: float = 0.0
    events: list = field(default_factory=list)

    def __post_init__(self):
        nu, c = self.setup.numbers, self.case
        self.drive, self.lines, self.loads = nu.drive[c], nu.lines[c], nu.loads[c]
        self.motors, self.tanks, self.ways = nu.motors[c], nu.tanks[c], nu.ways[c]
        self.above, self.factor = nu.above[c], nu.factor[c]
        self.M, self.K = len(self.motors), len(self.tanks)
        self.p_atm, self.air = self.drive[6], self.drive[5]
        start = np.repeat(self.motors[:, 12], 2)
        self.y = np.concatenate([[0.0, 0.0, 0.0], start, self.tanks[:, 1] - self.p_atm])
        self.thermal = np.ascontiguousarray(self.motors[:, :5])
        self.leaks = np.ascontiguousarray(self.tanks[:, 3])
        self.idle = np.zeros(self.M + 1)

    def solve(self, mode, load, until, ends=None, currents=None, level=0):
        row = self.motors[0]
        p = np.array([mode, *load, row[11], self.drive[3], self.drive[4], row[5], row[6], row[4], row[7],
                      self.drive[0], self.drive[1], self.air])  # fmt: skip
        assert p.size == HEAD
        watch = self.above[0] if self.continuous else np.zeros(0)
        lines = self.lines if self.continuous else np.ascontiguousarray(self.lines[level : level + 1])
        given = (p, lines, self.thermal, watch, self.leaks, self.idle if currents is None else currents)
        atol = self.rtol * np.array([1.0, 1.0, 1.0, *(1.0,) * (2 * self.M), *(1e3,) * self.K])
        event = None
        if ends is not None:

            def event(_t, y, _given):
                return ends(y)

            event.terminal = True
        accuracy = {"rtol": self.rtol, "atol": atol}
        done = solve_ivp(
            self.function, (self.t, until), self.y, self.method, events=event, args=(given,), **accuracy
        )  # fmt: skip
        assert done.success, done.message
        self.t, self.y = float(done.t[-1]), done.y[:, -1].copy()

    def level(self):
        return int((self.y[3] >= self.above[0]).sum())

    def wait(self, until, currents=None):
        if until > self.t:
            self.solve(REST, np.ones(5), until, currents=currents)
            self.t = until

    def way(self, load, distance, level):
        if distance <= 0.0:
            return
        self.y[:2] = 0.0
        stop = load[4]
        self.solve(SPEED_UP, load, self.t + 100.0, lambda y: y[0] + y[1] ** 2 / (2 * stop) - distance, level=level)
        self.solve(STOP, load, self.t + self.y[1] / stop, level=level)

    def leg(self, st, action, here, place, heading):
        distance = st.distance[here, place]
        if distance <= 0.0:
            return heading
        direction = st.direction[here, place]
        turn = abs(math.remainder(direction - heading, 2 * math.pi))
        pose, level = st.action[action, 0], self.level()
        rims = min(turn, math.pi - turn) * self.setup.numbers.lever[self.case, pose]
        self.way(self.loads[level, pose, 1], rims, level)
        self.way(self.loads[level, pose, 0], distance, level)
        return direction

    def work(self, st, action, time):
        currents = self.idle.copy()
        for k in range(st.work[action, 0], st.work[action].sum()):
            row, m = self.motors[st.worker[k]], st.worker[k]
            wanted = self.setup.numbers.share[self.case, k] * row[10] / row[5] + row[7]
            share = min([1.0, *self.factor[m][self.y[3 + 2 * m] >= self.above[m]]])
            current = min(wanted, row[8] * share)
            currents[m] = current
            V0, Rb, n = self.drive[0], self.drive[1], row[11]
            free = (V0 - Rb * n * current - current * row[4]) / row[6]
            speed = min(free, row[9] / (row[5] * (current - row[7]))) if current == wanted else 0.0
            P = n * current * (current * row[4] + row[6] * speed)
            currents[self.M] += (V0 - math.sqrt(V0 * V0 - 4 * Rb * P)) / (2 * Rb) if Rb > 0 else P / V0
        self.wait(self.t + time, currents)

    def breathe(self, st, action):
        for k in range(st.draw[action, 0], st.draw[action].sum()):
            w = st.draws[k]
            tank, at = self.tanks[st.way_tank[w]], 3 + 2 * self.M + st.way_tank[w]
            V, setting, (before, after, _) = tank[0], tank[2], self.ways[w]
            p = self.y[at] + self.p_atm
            air = p * V + self.p_atm * before  # what tank and chamber hold, as p V at one temperature
            level = air / (V + after)
            p = level if level <= setting else (air - setting * after) / V
            self.y[at] = max(p, self.p_atm) - self.p_atm

    def play(self):
        """Play the plan of a setup whose repeats count rounds, where everything fits; returns the events."""
        st, nu = self.setup.structure, self.setup.numbers
        here, heading, current = st.start, 0.0, -1
        for (period, head, length, rounds), until in zip(st.item, st.until, strict=True):
            if period != current:
                current = period
                self.wait(max(self.t, st.period[period, 0]))
            for _ in range(rounds):
                if self.t >= until:
                    break
                for action, place in st.step[head : head + length]:
                    heading = self.leg(st, action, here, place, heading)
                    begins = self.t
                    here = place
                    self.work(st, action, nu.time[self.case, action, 0])
                    self.breathe(st, action)
                    self.events.append((begins, self.t, self.y.copy()))
        return self.events
