"""Compressed air: gas, tanks, cylinders, flow through valves, filling and emptying."""
