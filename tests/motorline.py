"""A motor's torque by its line V = Ke w + I R and its controller's bounds on the current (hughes, chapter 3)."""

import numpy as np


def motor_torque(line, speed, voltage, controller=None):
    """Torque at a speed and voltage; the controller's cap counts the power that leaves the shaft."""
    current = np.maximum((voltage - line.voltage_constant * speed) / line.resistance, 0.0)
    if controller is not None:
        capped = controller.power_cap / (line.torque_constant * np.maximum(speed, 1e-9)) + line.free_current
        current = np.minimum(current, np.minimum(controller.current_limit, capped))
    return np.maximum(line.torque_constant * (current - line.free_current), 0.0)
