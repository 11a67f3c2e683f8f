"""How long did a command take, and how much memory it and all that it started at most? `python peak.py COMMAND...`.

Resident memory from /proc, every 20 ms, pages that processes share counted for each; the command's own output goes through.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path


def of_tree(process: int) -> int:
    """The bytes that a process and all that it started have in memory now."""
    try:
        status = Path(f"/proc/{process}/status").read_text()
        children = [
            int(child) for task in Path(f"/proc/{process}/task").iterdir() for child in (task / "children").read_text().split()
        ]
    except OSError:  # it has ended
        return 0
    own = next((int(line.split()[1]) * 1024 for line in status.splitlines() if line.startswith("VmRSS")), 0)
    return own + sum(of_tree(child) for child in children)


def watch(process: subprocess.Popen[bytes]) -> int:
    """The most bytes that a process and all that it started have in memory until it ends."""
    peak = 0
    while process.poll() is None:
        peak = max(peak, of_tree(process.pid))
        time.sleep(0.02)
    return peak


if __name__ == "__main__":
    begun = time.monotonic()
    peak = watch(subprocess.Popen(sys.argv[1:]))
    print(f"{time.monotonic() - begun:.1f} s, {peak / 2**20:.0f} MiB", file=sys.stderr)
