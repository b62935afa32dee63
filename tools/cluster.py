"""Starts a Dask scheduler with workers on this machine, for ``fieldworthy search ROBOT --workers ADDRESS``.

``python tools/cluster.py [WORKERS] [PORT]``: two workers on port 8786 where nothing is said; Ctrl-C ends them. It needs
the extra ``fieldworthy[cluster]``. Only this machine reaches it: a scheduler runs whatever comes to its port.
"""

from __future__ import annotations

import contextlib
import sys
import time

from distributed import LocalCluster


def main(workers: int = 2, port: int = 8786) -> None:
    """Start them and wait."""
    with LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=True, host="127.0.0.1", scheduler_port=port,
        dashboard_address=None,
    ) as cluster:  # fmt: skip
        sys.stdout.write(f"{workers} workers wait at {cluster.scheduler_address}; Ctrl-C ends them.\n")
        sys.stdout.flush()
        with contextlib.suppress(KeyboardInterrupt):
            while True:
                time.sleep(3600)


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:3]))
