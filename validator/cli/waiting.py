"""Say what is going on when it takes more than two seconds: on a terminal only, on standard error only."""

from __future__ import annotations

import sys
import threading
from types import TracebackType
from typing import Any

PATIENCE = 2.0
"""Seconds after which a reader wants to know that work goes on."""


class Waiting:
    """A bar that appears after two seconds: `with Waiting("reading") as bar: bar.progress(3, 40)`."""

    def __init__(self, doing: str) -> None:
        self.doing = doing
        self.state = (0, 0)
        self.bar: Any = None
        self.task: Any = None
        self.lock = threading.Lock()
        self.timer = threading.Timer(PATIENCE, self._show)
        self.timer.daemon = True

    def __enter__(self) -> Waiting:
        if sys.stderr is not None and sys.stderr.isatty():
            self.timer.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.timer.cancel()
        with self.lock:
            if self.bar is not None:
                self.bar.stop()

    def say(self, doing: str) -> None:
        """Name the next piece of work."""
        with self.lock:
            self.doing, self.state = doing, (0, 0)
            if self.bar is not None:
                self.bar.update(self.task, description=doing, total=None, completed=0)

    def progress(self, done: int, total: int) -> None:
        """How far the work is."""
        with self.lock:
            self.state = (done, total)
            if self.bar is not None:
                self.bar.update(self.task, completed=done, total=total if total > 1 else None)

    def _show(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        with self.lock:
            done, total = self.state
            self.bar = Progress(TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(),
                                console=Console(stderr=True), transient=True)  # fmt: skip
            self.task = self.bar.add_task(self.doing, completed=done, total=total if total > 1 else None)
            self.bar.start()
