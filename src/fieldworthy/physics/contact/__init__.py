"""Touching bodies: rollers, hooks, jaws, seams, stops, ejectors."""
