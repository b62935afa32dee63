"""Fill and vent times in closed form against scipy's solve_ivp and published blow-down cases."""

PSI, P_ATM = 6894.757293168361, 101325.0
