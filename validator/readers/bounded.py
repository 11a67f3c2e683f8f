"""How is a file read that nobody vouches for? By a child process with bounded memory and time, one for many files.

A child that dies takes one file with it: that file is refused with one sentence, and a new child reads the rest.
"""

from __future__ import annotations

import atexit
import contextlib
import hashlib
import json
import os
import queue
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import IO, TYPE_CHECKING

import validator
from validator.budget import raised_by
from validator.errors import Unreadable
from validator.readers import transport
from validator.readers.memory import division, size_of, unbounded
from validator.readers.spill import Pieces, Spilled
from validator.readers.worker import allowed_on_the_clock, allowed_seconds
from validator.tables import Budget, FileRead, FileRefused

if TYPE_CHECKING:
    from validator.mapping.model import Chosen

STANDARD_INPUT = "-"
MOST_CHILDREN = 4
_BYTES_WORTH_A_CHILD = 16 * 2**20
_FILES_WORTH_A_CHILD = 100
_MOST_MAPPED = 64  # each mapping keeps a file descriptor
Outcome = FileRead | FileRefused


class Reading:
    """Files being read in the background; `result` waits for them and gives them in the order named."""

    def __init__(
        self, paths: Sequence[str], budget: Budget, mapping: Chosen | None = None, look: bool = False, memory: int | None = None
    ) -> None:  # fmt: skip
        self._mapping = mapping
        self._look = look
        self._budget = budget
        self._folder = tempfile.TemporaryDirectory(prefix="cip-audit-", ignore_cleanup_errors=True)
        self._names = list(paths)
        self._wanted: queue.SimpleQueue[int] = queue.SimpleQueue()
        self._done: queue.SimpleQueue[tuple[int, Outcome]] = queue.SimpleQueue()
        self._mapped = 0
        self._lock = threading.Lock()
        self._closed = False
        self._children: list[_Child] = []
        atexit.register(self.close)
        early: dict[int, Outcome] = {}
        if memory is not None:
            self._budget = unbounded(budget)
        self._paths = [self._path(at, name, early) for at, name in enumerate(self._names)]
        self.division = None if memory is None else division(self._paths, memory, budget)
        if self.division is None:
            self._budget = budget
        self._limits = asdict(self._budget)
        for at in range(len(self._paths)):
            if at in early:
                self._done.put((at, early[at]))
            else:
                self._wanted.put(at)
        for number in range(self._children_worth(len(self._paths) - len(early))):
            child = _Child(Path(self._folder.name) / f"tables-{number}")
            self._children.append(child)
            threading.Thread(target=self._serve, args=(child,), daemon=True).start()

    def __enter__(self) -> Reading:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def result(self, on_progress: Callable[[int, int], None] | None = None) -> list[Outcome]:
        """Every file's outcome, in the order named; `on_progress(done, all)` is called after each."""
        found: dict[int, Outcome] = {}
        try:
            while len(found) < len(self._names):
                at, outcome = self._done.get()
                found[at] = outcome
                if on_progress is not None:
                    on_progress(len(found), len(self._names))
        finally:
            if self.division is None:
                self.close()
        return [found[at] for at in range(len(self._names))]

    def pieces(self, on_progress: Callable[[int, int], None] | None = None) -> Pieces:
        """The files divided by machine, as `division` says; they are there until `close`."""
        assert self.division is not None
        read = self.result(on_progress)
        files = [
            f if isinstance(f, FileRefused) else Spilled(f, self._rows(at), f.told.pop("blocks"))
            for at, f in enumerate(read)
        ]
        return Pieces(files, self.division.buckets, self.division.rows)

    def _rows(self, at: int) -> Path:
        """Where the rows of a file wait."""
        return Path(self._folder.name) / f"rows-{at}"

    def close(self) -> None:
        """Stop reading and remove what was written; results already given stay valid."""
        self._closed = True
        atexit.unregister(self.close)
        for child in self._children:
            child.stop()
        self._folder.cleanup()

    def _path(self, at: int, name: str, early: dict[int, Outcome]) -> str:
        if name != STANDARD_INPUT:
            return name
        spooled = Path(self._folder.name) / "standard-input"
        try:
            if sys.stdin is None:
                raise Unreadable("not_readable", "is closed: there is nothing to read")
            if not spooled.exists():
                _spool(sys.stdin.buffer, spooled, self._budget)
        except (Unreadable, OSError, ValueError) as error:
            refusal = error if isinstance(error, Unreadable) else Unreadable("not_readable", "cannot be read")
            early[at] = FileRefused(name, "", refusal.code, refusal.sentence, refusal.place)
        return str(spooled)

    def _children_worth(self, files: int) -> int:
        total = sum(size_of(path) for path in self._paths)
        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
        worth = 1 + total // _BYTES_WORTH_A_CHILD + files // _FILES_WORTH_A_CHILD
        room = MOST_CHILDREN if self.division is None else self.division.readers
        return min(MOST_CHILDREN, cores, files, worth, room)

    def _serve(self, child: _Child) -> None:
        while not self._closed:
            try:
                at = self._wanted.get_nowait()
            except queue.Empty:
                child.stop()
                return
            try:
                outcome = self._read(child, at)
            except Exception as error:  # whatever happens, the one who waits gets an outcome
                sentence = f"could not be read: {type(error).__name__} while its tables were fetched"
                outcome = FileRefused(self._names[at], "", "parser_crash", sentence)
            self._done.put((at, outcome))

    def _read(self, child: _Child, at: int) -> Outcome:
        name, path = self._names[at], self._paths[at]
        size = size_of(path)
        request: dict[str, object] = {"path": path, "name": name, "budget": self._limits}
        layouts = self._mapping.file.layouts(name) if self._mapping else ()
        if layouts and self._mapping is not None:
            request["layouts"] = [
                one.model_dump(mode="json", by_alias=True, exclude_defaults=True) | {"match": one.match}
                for one in layouts
            ]
            request["mapping"] = self._mapping.said
        request["look"] = self._look
        if self.division is not None:
            request |= {"buckets": self.division.buckets, "rows": str(self._rows(at))}
        answer = child.ask(request, allowed_seconds(self._budget, size), allowed_on_the_clock(self._budget, size))
        if self.division is not None and (isinstance(answer, Unreadable) or not answer["read"]):
            self._rows(at).unlink(missing_ok=True)
        if isinstance(answer, Unreadable):
            return FileRefused(name, _sha256(path, self._budget), answer.code, answer.sentence)
        if not answer["read"]:
            return FileRefused(name, answer["sha256"], answer["code"], answer["sentence"], answer["place"])
        with self._lock:
            map_it = os.name == "posix" and self._mapped < _MOST_MAPPED
            self._mapped += map_it
        tables, told = transport.read(child.result, map_it)
        child.result.unlink(missing_ok=True)
        found = FileRead(name, told["sha256"], told["format"], tables, told["assumptions"], told["notices"], told=told)
        if self._mapping is not None and not layouts:
            found.assumptions.insert(
                0, f"the mapping {self._mapping.said} names no file like this one: read as it stands"
            )
        if self._look:
            half = len(tables) // 2 if layouts else 0
            found.tables, found.raw = tables[:half], tables[half:]
        return found


class _Child:
    """A reading process, started when first asked and again after its death."""

    def __init__(self, result: Path) -> None:
        self.result = result
        self._process: subprocess.Popen[bytes] | None = None
        self._lines: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        self._stopped = False
        self._lock = threading.Lock()
        self._start()

    def _start(self) -> None:
        with self._lock:
            if self._stopped:
                return
            root = str(Path(validator.__file__).resolve().parent.parent)
            path = os.pathsep.join(filter(None, (root, os.environ.get("PYTHONPATH", ""))))
            quiet = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "ARROW_DEFAULT_MEMORY_POOL": "system"}
            self._process = subprocess.Popen(
                # -P: a module that lies in the working folder, perhaps an upload, is never imported
                [sys.executable, "-P", "-m", "validator.readers.worker"],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                env={**os.environ, **quiet, "PYTHONPATH": path},
                start_new_session=os.name == "posix",  # an interrupt from the keyboard is the parent's to handle
            )  # fmt: skip
            self._lines = queue.SimpleQueue()
            threading.Thread(target=_forward, args=(self._process.stdout, self._lines), daemon=True).start()

    def ask(self, request: dict[str, object], processor: int, seconds: float) -> dict[str, str] | Unreadable:
        """The child's answer, or how it died, after at most `seconds`; `processor` is the time it may compute."""
        if self._process is None or self._process.poll() is not None:
            self._start()
        process = self._process
        if process is None or process.stdin is None:
            return Unreadable("parser_crash", "was not read: reading was stopped")
        self.result.unlink(missing_ok=True)
        try:
            process.stdin.write(json.dumps({**request, "result": str(self.result)}).encode("ascii") + b"\n")
            process.stdin.flush()
            line = self._lines.get(timeout=seconds)
        except queue.Empty:
            self._end(process)
            return _too_slow(seconds)
        except OSError:
            line = b""
        if not line:
            self._end(process)
            return _death(process.returncode, processor, seconds)
        answer: dict[str, str] = json.loads(line)
        if answer.get("last"):
            self._end(process)
        return answer

    def stop(self) -> None:
        with self._lock:
            self._stopped = True
            if self._process is not None:
                self._end(self._process)

    @staticmethod
    def _end(process: subprocess.Popen[bytes]) -> None:
        """Make sure that it is dead; its output is closed by the thread that reads it."""
        process.kill()
        process.wait()
        if process.stdin is not None:
            with contextlib.suppress(OSError):
                process.stdin.close()


def _forward(pipe: IO[bytes] | None, lines: queue.SimpleQueue[bytes]) -> None:
    """Hand a child's lines on as they come, then one empty line for its end."""
    if pipe is not None:
        with pipe:
            for line in pipe:
                lines.put(line)
    lines.put(b"")


def _too_slow(seconds: float) -> Unreadable:
    return Unreadable("parser_limit", f"took longer than {seconds:g} s to read ({raised_by('seconds')})")


def _death(status: int, processor: int, seconds: float) -> Unreadable:
    if status == -getattr(signal, "SIGXCPU", 0):
        why = f"took longer than {processor} s of processor time to read ({raised_by('seconds')})"
        return Unreadable("parser_limit", why)
    if status == -getattr(signal, "SIGALRM", 0):
        return _too_slow(seconds)
    if status == -getattr(signal, "SIGBUS", 0):
        why = "became shorter while it was being read, or its storage failed; give it again when it is whole"
        return Unreadable("changed_while_read", why)
    how = f"exit status {status}"
    if status < 0:
        try:
            how = signal.Signals(-status).name
        except ValueError:
            how = f"signal {-status}"
    return Unreadable("parser_crash", f"could not be read: its reader was stopped ({how})")


def _sha256(path: str, budget: Budget) -> str:
    """The sum of a file whose reader died; empty where it cannot be read."""
    if not 0 < size_of(path) <= budget.file_bytes:
        return ""
    try:
        with Path(path).open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def _spool(source: IO[bytes], target: Path, budget: Budget) -> None:
    written = 0
    with target.open("xb") as file:
        while part := source.read(2**20):
            written += len(part)
            if written > budget.file_bytes:
                why = f"has more than {budget.file_bytes} bytes; {budget.says('file-size')}"
                raise Unreadable("file_too_large", why)
            file.write(part)
