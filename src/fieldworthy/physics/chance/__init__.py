"""Chances: counts, intervals, distributions, draws."""
