"""The ideal gas and draws one after the other, as a textbook of thermodynamics has them (cengel, chapters 3 and 5)."""

import numpy as np

from fieldworthy.physics.gas.tank import Draw, after_draw

P_ATM, R_AIR, T_ANR = 101325.0, 287.05, 293.15


def absolute(p_gauge, p_atm=P_ATM):
    """What a gauge's reading is above a vacuum."""
    return p_gauge + p_atm


def air_mass(p_abs, V, T=T_ANR):
    """Mass of air in a volume: p V = m R T."""
    return p_abs * V / (R_AIR * T)


def density(p_abs, T=T_ANR):
    """Mass of a cubic metre."""
    return air_mass(p_abs, 1.0, T)


def pressures_after(p_tank, V_tank, draws, p_atm=P_ATM):
    """Pressure before the first and after each of several draws, one by one."""
    found = [p_tank]
    for d in draws:
        found.append(after_draw(found[-1], V_tank, d.V_before, d.V_after, p_atm, d.p_set))
    return np.stack(np.broadcast_arrays(*found))


def extend_draw(cylinder, p_set=np.inf, p_need=P_ATM):
    """What one stroke out takes."""
    return Draw(cylinder.dead_extend, cylinder.dead_extend + cylinder.swept_extend, p_set, p_need)


def retract_draw(cylinder, p_set=np.inf, p_need=P_ATM):
    """What one stroke back takes."""
    return Draw(cylinder.dead_retract, cylinder.dead_retract + cylinder.swept_retract, p_set, p_need)


def chamber_fill_mass(p_abs, V_after, p_atm, V_before, T=T_ANR):
    """What a chamber takes up beyond the air of the atmosphere that it held."""
    return air_mass(p_abs, V_after, T) - air_mass(p_atm, V_before, T)
