"""The local page; it computes nothing itself.

What belongs here shows what checks, match, measure and decide found, takes what a person types, and keeps both from
strangers. `serve` starts it; ``views/`` holds what it shows, one module a view.
"""

from fieldworthy.web.serve import Options, serve

__all__ = ["Options", "serve"]
