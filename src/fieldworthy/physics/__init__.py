"""Pure functions of numbers and arrays in SI units: no robot, no file, no plot.

What belongs here is a formula or an algorithm that could stand in a handbook: motors, drives, statics, air,
linkages, chains, rollers, colour, tracking, heat and chance. Every function takes a scalar or an array over
cases and broadcasts. Import the module you need (``from fieldworthy.physics.gas import tank``).
"""
