"""Motors and what they drive: torque lines, battery, gearing, chains, heat, straight motion and turning."""
