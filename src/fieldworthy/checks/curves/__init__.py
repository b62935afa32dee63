"""What figures show, computed from a nominal robot: one module a subsystem.

What belongs here calls the functions that the checks call and keeps whole curves where a check keeps one number.
Nothing here draws.
"""
