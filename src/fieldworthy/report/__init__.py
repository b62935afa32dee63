"""Findings and figures in, documents out: notebook, pit card, inspection sheet, constants for the robot's program."""
