"""Rigid bodies at rest and on the edge: mass, support, tipping, hanging, guides, outlines."""
