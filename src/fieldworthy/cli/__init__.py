"""The commands: they read options, call the other rooms and print."""

from fieldworthy.cli.app import main

__all__ = ["main"]
