"""What no file can carry: odd files and names, files that change, streams that are closed, places that are full."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

import validator
from validator.readers import read_files, worker
from validator.tables import Budget, FileRead

from .csv_files import table
from .measured import command
from .packs import SOUND
from .plausible import records

ROOT = str(Path(validator.__file__).resolve().parent.parent)
CHECK = ("check", "log.csv", "--rules", "pack.yaml", "--as-of", "2026-12-31")


@pytest.fixture
def folder(tmp_path) -> Path:
    (tmp_path / "log.csv").write_bytes(table(records(6)).encode())
    (tmp_path / "pack.yaml").write_text(SOUND)
    return tmp_path


def codes(outcomes):
    return ["read" if isinstance(o, FileRead) else o.code for o in outcomes]


def shell(folder: Path, line: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """A line of bash in which `cip-audit` is this program."""
    function = f'cip-audit() {{ "{sys.executable}" -m validator.cli "$@"; }}; set -o pipefail; '
    return subprocess.run(["bash", "-c", function + line], cwd=folder, capture_output=True, timeout=120, check=False,
                          env={**os.environ, "PYTHONPATH": ROOT, **environment})  # fmt: skip


# --- files that are none, and names -------------------------------------------------------------------------------


def test_what_is_no_file_is_refused_at_once(folder):
    """Pipes, sockets, devices, folders, and links to them: refused without waiting for anyone, and the log is judged."""
    os.mkfifo(folder / "pipe.csv")
    here = Path.cwd()
    os.chdir(folder)  # a socket's name is short
    try:
        with socket.socket(socket.AF_UNIX) as listening:
            listening.bind("socket.csv")
            (folder / "folder.csv").mkdir()
            for name, target in {"zero": "/dev/zero", "memory": "/proc/self/mem", "good": "log.csv"}.items():
                (folder / f"{name}.csv").symlink_to(target)
            names = ["pipe.csv", "socket.csv", "folder.csv", "zero.csv", "memory.csv", "good.csv"]
            begun = time.monotonic()
            found = read_files(names)
            took = time.monotonic() - begun
    finally:
        os.chdir(here)
    told = codes(found)
    # a file of the kernel's says that it is regular and has no bytes
    assert told[4] in ("empty_file", "not_readable", "not_a_file")
    assert told[:1] + told[2:4] + told[5:] == ["not_a_file", "not_a_file", "not_a_file", "read"]
    assert told[1] in ("not_a_file", "not_readable")  # a socket cannot even be opened
    assert took < 10  # one second and the start of a reader, on a busy machine


def test_a_sparse_file(folder):
    """A gigabyte that is a hole has one line, which is too long; neither memory nor time is spent on it."""
    with (folder / "hole.csv").open("wb") as file:
        file.truncate(2**30)
    ran = command(folder, ["check", "hole.csv", *CHECK[2:], "--format", "json"])
    line = ran.report["inputs"][0]
    assert line["reason"].startswith("line_too_long: has a line of 1073741824 bytes; the limit is 1MiB")
    assert (ran.reader_mib < 200, ran.reader_seconds < 5) == (True, True), ran


ODD = ["a b.csv", "a'\"$x.csv", "two\nlines.csv", "\x1b[31m.csv", "x" * 251 + ".csv", "A.CSV", "\u202e.csv"]


@pytest.mark.parametrize("locale", ["C", "C.UTF-8"])
def test_odd_names(folder, locale):
    """Files with any name are read and spelled out in the report, in a locale without letters beyond ASCII as well."""
    names = [*ODD, os.fsdecode(b"\xff\xfe.csv")]
    for name in names:
        (folder / name).write_bytes((folder / "log.csv").read_bytes())
    (folder / "-leading.csv").write_bytes((folder / "log.csv").read_bytes())
    for form in ("text", "json"):
        ran = command(folder, ["check", *CHECK[2:], "--format", form, "--", *names, "-leading.csv"], LC_ALL=locale, PYTHONUTF8="0")
        assert (ran.status, ran.err) == (1, "")
        assert b"\x1b" not in ran.out
    assert [i["rows_used"] for i in ran.report["inputs"]] == [6] * (len(names) + 1)


# --- files that change --------------------------------------------------------------------------------------------

CHANGING = '''
import os
from validator.readers import csv_
from validator.readers.physical import open_bytes

def read(path, budget):
    """Reads a CSV file, during which somebody does what it says."""
    text, status = path.read_bytes(), path.stat()
    if b"RESTORE" in text:
        path.write_bytes(text.replace(b"flush", b"rinse"))
        os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    if b"SHRINK" in text:
        data = open_bytes(path)
        os.truncate(path, 0)
        data[:10]
    return csv_.read(path, budget)
'''


@pytest.mark.parametrize("deed", ["RESTORE", "SHRINK"])
def test_a_file_that_changes_while_it_is_read(folder, monkeypatch, deed):
    """New bytes under the old time, or no bytes any more: the file is refused as changed, and the next one is read."""
    readers = folder / "readers"
    readers.mkdir()
    (readers / "changing.py").write_text(CHANGING)
    (readers / "sitecustomize.py").write_text("from validator.readers import READERS\nREADERS['csv'] = 'changing'\n")
    monkeypatch.setenv("PYTHONPATH", str(readers))
    (folder / "changes.csv").write_bytes((folder / "log.csv").read_bytes().replace(b"Ana Oduya", deed.encode()))
    found = read_files([str(folder / name) for name in ("changes.csv", "log.csv")])
    assert codes(found) == ["changed_while_read", "read"]


def test_hash_and_rows_are_of_the_same_bytes(folder):
    """While somebody rewrites a file without pause, whatever is read of it has the sum of one of its versions."""
    path = folder / "busy.csv"
    versions = {hashlib.sha256(data).hexdigest(): rows for rows in (3, 6) for data in [table(records(rows)).encode()]}
    script = (
        "import sys, time\nfrom pathlib import Path\npath = Path(sys.argv[1])\n"
        "texts = [Path(name).read_bytes() for name in sys.argv[2:]]\n"
        "while True:\n    for text in texts:\n        path.write_bytes(text)\n        time.sleep(0.003)\n"
    )
    for rows in (3, 6):
        (folder / f"version-{rows}").write_bytes(table(records(rows)).encode())
    path.write_bytes(table(records(3)).encode())
    busy = subprocess.Popen([sys.executable, "-c", script, str(path), *(str(folder / f"version-{n}") for n in (3, 6))])
    try:
        for outcome in read_files([str(path)] * 1 + [str(folder / "log.csv")]) + read_files([str(path)]):
            if isinstance(outcome, FileRead) and outcome.name == str(path):
                assert versions.get(outcome.sha256) == len(outcome.tables[0].rows)
    finally:
        busy.kill()
        busy.wait()


# --- rights and room ----------------------------------------------------------------------------------------------


def test_without_rights(folder):
    """A file that may not be read is named with the reason; an output that may not be written is told before any work."""
    (folder / "secret.csv").write_bytes(b"x")
    (folder / "secret.csv").chmod(0)
    (folder / "closed").mkdir(mode=0o555)
    # root reads and writes everything unless it gives that up
    as_others = 'cip-audit() { setpriv --bounding-set=-dac_override,-dac_read_search "$PYTHON" -m validator.cli "$@"; }; '
    line = as_others * (os.geteuid() == 0) + f"cip-audit {' '.join(CHECK)} "
    done = shell(folder, f"{line} secret.csv --format json", PYTHON=sys.executable)
    refused = next(i for i in json.loads(done.stdout)["inputs"] if i["file"] == "secret.csv")
    assert (done.returncode, refused["reason"]) == (4, "not_readable: cannot be read: permission denied")
    done = shell(folder, f"{line} --output html=closed/r.html", PYTHON=sys.executable)
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"closed/r.html: cannot be written: no permission to write to" in done.stderr


def test_an_output_without_its_folder_is_told_before_any_work(folder):
    """Nothing is read, and nothing is printed."""
    done = shell(folder, f"cip-audit {' '.join(CHECK)} --output html=none/r.html")
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"none/r.html: cannot be written: there is no folder" in done.stderr


def test_an_output_that_is_a_pipe(folder):
    """A device or a pipe is written straight to, whatever folder its name leads to."""
    done = shell(folder, f"cip-audit {' '.join(CHECK)} --output json=/dev/stdout | cat | head -c 1; cip-audit {' '.join(CHECK)} "
                         "--output json=>(cat > kept); sleep 1; head -c 1 kept")  # fmt: skip
    assert (done.returncode, done.stdout[:1], done.stdout[-1:], done.stderr) == (0, b"{", b"{", b"")


def test_a_full_disk(folder):
    """Standard output or a file beside it that takes no more bytes: a sentence, a status that tells, no traceback."""
    full = shell(folder, f"cip-audit {' '.join(CHECK)} > /dev/full")
    assert (full.returncode, full.stderr) == (70, b"cip-audit: no space left on device\n")
    full = shell(folder, f"cip-audit {' '.join(CHECK)} --output html=/dev/full")
    assert (full.returncode, full.stdout) == (2, b"")
    assert full.stderr == b"cip-audit: /dev/full: cannot be written: no space left on device\n"


def test_an_old_report_stays_whole(folder):
    """A report that cannot be written in full leaves the one before it, and no part of itself."""
    (folder / "r.html").write_text("the old one")
    bounded = f"ulimit -f 8; cip-audit {' '.join(CHECK)} --output html=r.html"  # no file beyond 8 KiB
    done = shell(folder, f"trap '' XFSZ; {bounded}")
    assert done.returncode != 0
    assert b"Traceback" not in done.stderr
    assert (folder / "r.html").read_text() == "the old one"
    assert [p.name for p in folder.iterdir() if p.name.startswith(".")] == []


def test_a_temporary_folder_without_room(folder):
    """What was read and cannot be handed on is refused in a sentence that says so."""
    limits = {name: getattr(Budget(), name) for name in Budget.__dataclass_fields__}
    script = f"""
import json, resource, signal
from validator.readers.worker import answer_to
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))
print(json.dumps(answer_to({{"path": "log.csv", "name": "log.csv", "budget": {limits!r}, "result": "tables"}})))
"""
    done = subprocess.run([sys.executable, "-c", script], cwd=folder, capture_output=True, check=True,
                          env={**os.environ, "PYTHONPATH": ROOT})  # fmt: skip
    answer = json.loads(done.stdout)
    assert (answer["read"], answer["code"]) == (False, "not_held")
    assert answer["sentence"].endswith("the temporary folder cannot hold it: file too large")


# --- streams ------------------------------------------------------------------------------------------------------


def test_closed_streams(folder):
    """A report that cannot go anywhere is no success; what is not needed may be closed."""
    line = f"cip-audit {' '.join(CHECK)}"
    closed = shell(folder, f"{line} >&-")
    assert (closed.returncode, closed.stderr.count(b"\n")) == (2, 1)
    assert b"standard output is closed" in closed.stderr
    assert shell(folder, f"{line} <&- >&- 2>&-").returncode == 2
    whole = shell(folder, line, SOURCE_DATE_EPOCH="1767225600")
    few = shell(folder, f"{line} <&- 2>&-", SOURCE_DATE_EPOCH="1767225600")
    assert (few.returncode, few.stdout) == (whole.returncode, whole.stdout)
    for other in ("schema pack", "rules list", "mapping draft log.csv"):
        assert shell(folder, f"cip-audit {other} >&-").returncode == 2
    none = shell(folder, f"cip-audit check - {' '.join(CHECK[2:])} --format json <&-")
    assert (none.returncode, json.loads(none.stdout)["inputs"][0]["reason"]) == (
        3, "not_readable: is closed: there is nothing to read"
    )  # fmt: skip


def test_a_reader_that_has_had_enough(folder):
    """A pipe closed at once ends in a status that tells, and in no traceback."""
    done = shell(folder, "{ sleep 1; cip-audit rules page; echo $? > status; } | true")
    assert (folder / "status").read_text() == "141\n"
    assert done.stderr == b""


# --- the same bytes everywhere ------------------------------------------------------------------------------------


def test_surroundings_change_no_byte(folder):
    """Time zone, locale, hash seed and umask leave every format of the report as it is."""
    (folder / "local.csv").write_bytes((folder / "log.csv").read_bytes().replace(b"Z,", b",").replace(b"c1", b"c2"))
    found = set()
    places = [("UTC", "C", "0", 0o022), ("Asia/Kathmandu", "C.UTF-8", "1", 0o077), ("America/St_Johns", "POSIX", "77", 0o002)]
    for zone, locale, seed, umask in places:
        outputs = [f"{form}={form}.{seed}" for form in ("json", "html")]
        before = os.umask(umask)
        try:
            ran = command(folder, [*CHECK, "local.csv", *(w for o in outputs for w in ("--output", o))], TZ=zone, LC_ALL=locale,
                          PYTHONHASHSEED=seed, SOURCE_DATE_EPOCH="1767225600")  # fmt: skip
        finally:
            os.umask(before)
        found.add((ran.status, ran.out, *((folder / o.partition("=")[2]).read_bytes() for o in outputs)))
    assert len(found) == 1


def test_a_signal_ends_in_order(folder):
    """Stopped from outside while it reads, the program leaves no folder behind and says no traceback."""
    temporary = folder / "temporary"
    temporary.mkdir()
    for number in (signal.SIGTERM, signal.SIGINT):
        run = subprocess.Popen(
            [sys.executable, "-m", "validator.cli", "check", "-", *CHECK[2:]], cwd=folder, stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": ROOT, "TMPDIR": str(temporary)},
            # a shell starts what runs in the background deaf to an interrupt
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )  # fmt: skip
        while not any(temporary.iterdir()):  # it has begun to read standard input
            time.sleep(0.02)
        run.send_signal(number)
        out, err = run.communicate(timeout=30)
        assert (run.returncode, out) == (128 + number, b""), err
        assert b"Traceback" not in err
        assert list(temporary.iterdir()) == []


def test_the_stamp_waits_for_the_clock_of_the_file_system(folder):
    """A file written a moment ago is not read before a later change would bear another time."""
    path = folder / "fresh.csv"
    path.write_bytes(b"x")
    with path.open("rb") as file:
        first = worker._stamp_at_rest(file)
        path.write_bytes(b"y")
        assert worker._stamp_at_rest(file) != first
