"""Measured data in, fitted values with uncertainty out."""
