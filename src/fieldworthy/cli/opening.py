"""Opens the page on a folder."""

from __future__ import annotations

from pathlib import Path

import typer

from fieldworthy.web import Options, serve


def run_open(folder: Path, options: Options) -> None:
    """Serve the page until it is stopped."""
    serve(folder.parent if folder.is_file() else folder, options, typer.echo)
