"""Colours, hues and telling them apart."""
