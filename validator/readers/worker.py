"""What does one file hold? Answered in a process of its own, so that no file can take the program down with it.

Started as `python -m validator.readers.worker`. Every line on standard input is a request (JSON), every line on
standard output its answer; tables go through a file (`validator.readers.transport`).
"""

from __future__ import annotations

import hashlib
import importlib
import json
import os
import signal
import stat
import sys
import threading
import time
from collections.abc import Iterable
from pathlib import Path
from typing import IO, Any

from validator.errors import Unreadable
from validator.readers import READERS, formats, transport
from validator.tables import COMMON_NAMES, Budget, ParsedTable

MEMORY_PER_BYTE = 24
"""What a file may ask for beside its budget, in bytes of memory for each of its own: text turned into columns."""
BYTES_PER_SECOND = 2**20
"""A large file may take a second longer than its budget for each of these."""
PATIENCE = 3
"""A machine that is busy with other work gives a reader a third of its time."""
TO_START = 10.0
"""Seconds on the clock for a reader to start, on top of what its file may take."""
_CLOCK_TICK = 0.02  # seconds within which a file system may give two changes one time
_SMALL = 2**20  # bytes summed sooner than a thread starts


def main() -> int:
    """Answer requests until standard input ends."""
    answers = _private_output()
    for line in sys.stdin:
        request = json.loads(line)
        answer = answer_to(request)
        if hasattr(signal, "setitimer"):
            signal.setitimer(signal.ITIMER_REAL, 0)
        answers.write(json.dumps(answer) + "\n")
        answers.flush()
        if answer.get("last"):
            return 0
    return 0


def _private_output() -> IO[str]:
    """Keep the answers apart from whatever a library prints."""
    kept = os.dup(1)
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    return os.fdopen(kept, "w", encoding="ascii")


def answer_to(request: dict[str, Any]) -> dict[str, Any]:
    """Read the file a request names, under its budget; a refusal is an answer like any other."""
    budget = Budget(**request["budget"])
    path = Path(request["path"])
    digest = _Digest()
    try:
        with _open_regular(path, budget) as file:
            size = os.fstat(file.fileno()).st_size
            _limit(budget, size)
            before = _stamp_at_rest(file)
            digest.start(path, size)
            refused: dict[str, Any] | None = None
            try:
                tables, told = _read(path, request, file, size, budget)
            except Unreadable as refusal:
                refused = _refused(refusal)
            if _stamp(os.fstat(file.fileno())) != before or _stamp(path.stat()) != before:
                why = "changed while it was being read; give it again when it is whole"
                raise Unreadable("changed_while_read", why)
    except Unreadable as refusal:
        return {**_refused(refusal), "sha256": digest.value()}
    except OSError as error:
        return {**_refused(_not_opened(error)), "sha256": digest.value()}
    except MemoryError:
        limit = f"asks for more memory than it may have; {budget.says('memory')}"
        return {**_refused(Unreadable("parser_limit", limit)), "sha256": digest.value(), "last": True}
    except BaseException as error:  # a panic of a compiled library is not an Exception
        crash = f"could not be read: its reader stopped with {type(error).__name__}"
        return {**_refused(Unreadable("parser_crash", crash)), "sha256": digest.value(), "last": True}
    if refused is not None:
        return {**refused, "sha256": digest.value()}
    told["sha256"] = digest.value()
    try:
        transport.write(Path(request["result"]), tables, told)
    except OSError as error:
        why = f"was read, but the temporary folder cannot hold it: {(error.strerror or str(error)).lower()}"
        return {**_refused(Unreadable("not_held", why)), "sha256": told["sha256"]}
    return {"read": True}


def _read(
    path: Path, request: dict[str, Any], file: IO[bytes], size: int, budget: Budget
) -> tuple[list[ParsedTable], dict[str, Any]]:
    name = request["name"]
    format_ = formats.decide(name, _at(file, 0, formats.HEAD), size, lambda start, length: _at(file, start, length))
    reader = importlib.import_module(READERS[format_])
    in_parts = bool(request.get("buckets")) and hasattr(reader, "parts")
    if request.get("look") or request.get("layouts"):
        from validator.readers.fitting import fit, fit_parts, look

        fitted = fit_parts(reader, path, request, budget) if in_parts and request.get("layouts") else None
        if fitted is not None:
            parts, afterwards = fitted
            tables, told = _spilled(((0, part) for part in parts), request)
            return tables, {"format": format_, **told, **afterwards()}
        tables, told = fit(reader, path, request, budget) if request.get("layouts") else look(reader, path, budget)
    else:
        from validator.readers.cells import parse

        raw, assumptions, notices = (reader.parts if in_parts else reader.read)(path, budget)
        parsed: Iterable[ParsedTable] = map(parse, raw)
        hints = None
        if any(COMMON_NAMES in text for text in assumptions):
            from validator.readers.common_names import Hints

            hints = Hints()
            parsed = map(hints.seen, parsed)
        tables, told = _spilled(((0, part) for part in parsed), request) if in_parts else (list(parsed), {})
        told |= {"assumptions": assumptions, "notices": [*notices, *(hints.told() if hints else ())]}
    if request.get("buckets") and "blocks" not in told:
        tables, blocks = _spilled(enumerate(tables), request)
        told |= blocks
    return tables, {"format": format_, **told}


def _spilled(
    parts: Iterable[tuple[int, ParsedTable]], request: dict[str, Any]
) -> tuple[list[ParsedTable], dict[str, Any]]:
    """Lay the rows of a file down in buckets; its sheets without their rows, and where each block of them lies."""
    from validator.readers.spill import Spill

    with open(request["rows"], "wb", opener=transport.privately) as file:
        spill = Spill(file, request["buckets"])
        for sheet, part in parts:
            spill.add(sheet, part)
    return spill.sheets(), {"blocks": spill.blocks}


def _at(file: IO[bytes], start: int, length: int) -> bytes:
    file.seek(start)
    return file.read(length)


def _open_regular(path: Path, budget: Budget) -> IO[bytes]:
    """Open without waiting for a writer at the other end of a pipe, and only what is a regular file."""
    if "\0" in str(path):
        raise Unreadable("not_found", "is no name that a file can have")
    number = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    status = os.fstat(number)
    if not stat.S_ISREG(status.st_mode):
        os.close(number)
        what = "a folder" if stat.S_ISDIR(status.st_mode) else "a pipe, a device or a socket"
        raise Unreadable("not_a_file", f"is {what}, not a file")
    if status.st_size > budget.file_bytes:
        os.close(number)
        raise Unreadable("file_too_large", f"has {status.st_size} bytes; {budget.says('file-size')}")
    return os.fdopen(number, "rb")


def _stamp(status: os.stat_result) -> tuple[int, ...]:
    return status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns


def _stamp_at_rest(file: IO[bytes]) -> tuple[int, ...]:
    """The stamp of an open file, taken so that every change from here on gives it another one."""
    status = os.fstat(file.fileno())
    since = time.time() - max(status.st_mtime, status.st_ctime)
    if 0 <= since < _CLOCK_TICK:
        time.sleep(_CLOCK_TICK - since)
        status = os.fstat(file.fileno())
    return _stamp(status)


def _not_opened(error: OSError) -> Unreadable:
    if isinstance(error, FileNotFoundError):
        return Unreadable("not_found", "does not exist")
    return Unreadable("not_readable", f"cannot be read: {(error.strerror or str(error)).lower()}")


def _refused(refusal: Unreadable) -> dict[str, Any]:
    return {"read": False, "code": refusal.code, "sentence": refusal.sentence, "place": refusal.place}


class _Digest:
    """The SHA-256 of the file, computed beside its reading."""

    def __init__(self) -> None:
        self._thread: threading.Thread | None = None
        self._sum = hashlib.sha256()
        self._whole = False

    def start(self, path: Path, size: int) -> None:
        if size <= _SMALL:
            self._run(path, size)
            return
        self._thread = threading.Thread(target=self._run, args=(path, size), daemon=True)
        self._thread.start()

    def _run(self, path: Path, size: int) -> None:
        with path.open("rb") as file:
            while part := file.read(2**20):
                self._sum.update(part)
            self._whole = file.tell() == size

    def value(self) -> str:
        """The sum in hexadecimal; empty where the file could not be read to its end."""
        if self._thread is not None:
            self._thread.join()
        return self._sum.hexdigest() if self._whole else ""


def allowed_seconds(budget: Budget, size: int) -> int:
    """The processor time that a file of this size may take."""
    return budget.seconds + size // BYTES_PER_SECOND


def allowed_on_the_clock(budget: Budget, size: int) -> float:
    """The time in seconds after which a reader is stopped whatever it does."""
    return PATIENCE * allowed_seconds(budget, size) + TO_START


def _limit(budget: Budget, size: int) -> None:
    """Bound memory and processor time for this file; without such limits in the system, the parent's clock remains."""
    if hasattr(signal, "setitimer"):  # the parent keeps time as well, but it may be gone
        signal.setitimer(signal.ITIMER_REAL, allowed_on_the_clock(budget, size))
    try:
        import resource
    except ImportError:
        return
    memory = _address_space() + budget.memory_bytes + MEMORY_PER_BYTE * size
    seconds = int(time.process_time()) + 1 + allowed_seconds(budget, size)
    for kind, limit in ((resource.RLIMIT_AS, memory), (resource.RLIMIT_CPU, seconds), (resource.RLIMIT_CORE, 0)):
        _, hard = resource.getrlimit(kind)
        resource.setrlimit(kind, (limit if hard == resource.RLIM_INFINITY else min(limit, hard), hard))


def _address_space() -> int:
    """The address space in use already: libraries reserve far more than they touch."""
    try:
        return int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError):
        return 2**30


if __name__ == "__main__":
    sys.exit(main())
