"""Findings and figures in, documents out."""
