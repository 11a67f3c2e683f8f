"""Files are read in a child process: whatever one file does, the others are read and the program lives."""

from __future__ import annotations

import hashlib
import io
import os
import signal
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

import validator
from validator.readers import bounded, read_files, start_reading
from validator.tables import Budget, FileRead, FileRefused

HEADER = "store_id,equipment_id,step,started_at,note\n"
LINE = "TL-01,TL-01-SYR-A,flush,2026-03-01T21:40:00,\n"

FATAL = '''
"""Does to its process what the file says, else reads it as CSV."""
import os, signal
from validator.readers import csv_

class Panic(BaseException):
    pass

def read(path, budget):
    text = path.read_text()
    if "ABORT" in text:
        os.abort()
    if "KILL" in text:
        os.kill(os.getpid(), signal.SIGKILL)
    if "EXIT" in text:
        os._exit(0)
    if "PANIC" in text:
        raise Panic("at the library's own word")
    if "ERROR" in text:
        raise IndexError("a library's bug")
    if "MEMORY" in text:
        bytearray(2**40)
    if "LOOP" in text:
        while True:
            pass
    if "HANG" in text:
        signal.pause()
    if "GROW" in text:
        with path.open("a") as file:
            file.write("more")
    if "REPLACE" in text:
        other = path.with_name("other")
        other.write_text("x" * len(text))
        os.replace(other, path)
    if "PRINT" in text:
        print('{"read": false}', flush=True)
        os.write(1, b"noise")
    return csv_.read(path, budget)
'''


@pytest.fixture
def fatal(tmp_path, monkeypatch):
    """Children read CSV with a reader that does what the file tells it to."""
    folder = tmp_path / "readers"
    folder.mkdir()
    (folder / "fatal_reader.py").write_text(FATAL)
    (folder / "sitecustomize.py").write_text("from validator.readers import READERS\nREADERS['csv'] = 'fatal_reader'\n")
    monkeypatch.setenv("PYTHONPATH", str(folder))


@pytest.fixture
def write(tmp_path):
    def file(name, text=HEADER + LINE):
        path = tmp_path / name
        path.write_text(text)
        return str(path)

    return file


def codes(outcomes):
    return ["read" if isinstance(o, FileRead) else o.code for o in outcomes]


@pytest.mark.parametrize(
    ("deed", "code"),
    [("ABORT", "parser_crash"), ("KILL", "parser_crash"), ("EXIT", "parser_crash"), ("PANIC", "parser_crash"),
     ("ERROR", "parser_crash"), ("MEMORY", "parser_limit"), ("GROW", "changed_while_read"), ("REPLACE", "changed_while_read"), ("PRINT", "read")],
)  # fmt: skip
def test_a_file_that_ends_its_reader(fatal, write, deed, code):
    """The file is refused with its hash and one sentence; the files before and after it are read."""
    paths = [write("a.csv"), write("b.csv", HEADER + deed + "," + LINE), write("c.csv")]
    if deed == "PRINT":
        write("b.csv", HEADER + LINE.replace("flush", "PRINT"))
    digest = hashlib.sha256(Path(paths[1]).read_bytes()).hexdigest()
    found = read_files(paths)
    assert codes(found) == ["read", code, "read"]
    assert found[1].name == paths[1]
    if code != "changed_while_read":
        assert found[1].sha256 == digest
    if code != "read":
        assert "\n" not in found[1].sentence


def test_processor_time_is_bounded(fatal, write):
    """A reader that loops is stopped by the processor time it may use."""
    found = read_files([write("a.csv", HEADER + "LOOP"), write("b.csv")], Budget(seconds=0))
    assert codes(found) == ["parser_limit", "read"]
    assert "processor time" in found[0].sentence


def test_waiting_is_bounded(fatal, write, tmp_path):
    """A reader that waits for ever is stopped by the parent's clock."""
    child = bounded._Child(tmp_path / "tables")
    request = {"path": write("a.csv", HEADER + "HANG"), "name": "a.csv", "budget": {}}
    answer = child.ask(request, 60, 0.5)
    assert answer.code == "parser_limit"
    assert child._process.poll() is not None
    child.stop()


def test_a_reader_keeps_time_for_itself():
    """A reader whose parent no longer counts is stopped all the same."""
    script = (
        "import signal\nfrom validator.readers import worker\nfrom validator.tables import Budget\n"
        "worker.PATIENCE, worker.TO_START = 0, 0.1\nworker._limit(Budget(), 0)\nsignal.pause()\n"
    )
    root = Path(validator.__file__).parent.parent
    done = subprocess.run([sys.executable, "-c", script], cwd=root, timeout=60, check=False)
    assert done.returncode == -signal.SIGALRM


def test_a_program_that_ends_early_takes_its_readers_along(fatal, write):
    """A program that never asks for the result leaves neither a process nor a folder behind."""
    script = (
        "import sys\nfrom validator.readers import start_reading\nreading = start_reading(sys.argv[1:])\n"
        "print(reading._folder.name, *(child._process.pid for child in reading._children))\n"
    )
    root = Path(validator.__file__).parent.parent
    command = [sys.executable, "-c", script, write("a.csv", HEADER + "HANG")]
    done = subprocess.run(command, cwd=root, capture_output=True, text=True, check=True)
    folder, process = done.stdout.split()
    assert not Path(folder).exists()
    with pytest.raises(ProcessLookupError):
        os.kill(int(process), 0)


def test_the_order_is_the_one_named(write):
    """Outcomes come in the order of the names, whichever is read first, and progress is told for each."""
    paths = [write(f"{n}.csv", HEADER + LINE * ((n * 7919) % 400)) for n in range(30)]
    told = []
    found = read_files([*paths, "none.csv"], on_progress=lambda done, total: told.append((done, total)))
    assert [f.name for f in found] == [*paths, "none.csv"]
    assert [len(f.tables[0].rows) for f in found[:-1]] == [(n * 7919) % 400 for n in range(30)]
    assert told == [(n, 31) for n in range(1, 32)]


def test_more_than_one_child(write, monkeypatch):
    """Several children share the files and give the same outcomes."""
    monkeypatch.setattr(bounded, "_BYTES_WORTH_A_CHILD", 1)
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: range(3), raising=False)
    paths = [write(f"{n}.csv", HEADER + LINE * n) for n in range(12)]
    assert [len(f.tables[0].rows) for f in read_files(paths)] == list(range(12))


def test_no_file():
    """Nothing to read is an empty answer."""
    assert read_files([]) == []


def test_what_a_read_file_tells(write):
    """The hash is the file's, the format is named, the rows are there."""
    path = write("a.csv")
    (found,) = read_files([path])
    assert isinstance(found, FileRead)
    assert (found.format, found.sha256) == ("csv", hashlib.sha256((HEADER + LINE).encode()).hexdigest())
    assert found.tables[0].rows.tolist() == [2]


def test_results_outlive_the_reading(write):
    """Tables stay valid when the temporary files are gone, large ones too."""
    handle = start_reading([write("a.csv", HEADER + LINE * 300_000)])
    (found,) = handle.result()
    assert not Path(handle._folder.name).exists()
    assert int(found.tables[0].rows[-1]) == 300_001


def test_standard_input(monkeypatch):
    """`-` is read from standard input, its format by its content, its name as given."""
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO((HEADER + LINE).encode())))
    (found,) = read_files(["-"])
    assert (found.name, found.format) == ("-", "csv")


def test_standard_input_is_bounded(monkeypatch):
    """A stream without end is refused at the budget."""
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(b"x" * 101)))
    (found,) = read_files(["-"], Budget(file_bytes=100))
    assert (found.name, found.code) == ("-", "file_too_large")
    assert "more than 100 bytes" in found.sentence


def test_size_both_sides_of_the_limit(write):
    """A file of exactly the budget is read; one byte more is refused."""
    path = write("a.csv")
    size = len(HEADER + LINE)
    assert codes(read_files([path], Budget(file_bytes=size))) == ["read"]
    assert codes(read_files([path], Budget(file_bytes=size - 1))) == ["file_too_large"]


def test_what_is_no_file(tmp_path):
    """Folders, pipes, devices and missing files are refused at once, without waiting for anyone."""
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "loop.csv").symlink_to(tmp_path / "loop.csv")
    paths = [
        str(tmp_path),
        str(tmp_path / "pipe.csv"),
        "/dev/zero",
        str(tmp_path / "none.csv"),
        str(tmp_path / "loop.csv"),
    ]
    assert codes(read_files(paths)) == ["not_a_file", "not_a_file", "not_a_file", "not_found", "not_readable"]


def test_a_symbolic_link_to_a_file(write, tmp_path):
    """A path given by name may be a link to a regular file."""
    (tmp_path / "link.csv").symlink_to(write("a.csv"))
    assert codes(read_files([str(tmp_path / "link.csv")])) == ["read"]


@pytest.mark.parametrize("name", ["two\nlines.csv", "-x.csv", "a $b.csv", "\udcff.csv", "x" * 251 + ".csv", "A.CSV"])
def test_odd_names(write, name):
    """Names with blanks, line ends or bytes that are no text are only names."""
    path = write(name)
    (found,) = read_files([path])
    assert (codes([found]), found.name) == (["read"], path)


def test_a_module_in_the_working_folder_is_not_imported(write, tmp_path, monkeypatch):
    """An upload named like a library must not run when its folder is the working folder."""
    for module in ("numpy", "json", "validator"):
        (tmp_path / f"{module}.py").write_text("raise SystemExit(9)")
    monkeypatch.chdir(tmp_path)
    assert codes(read_files([write("a.csv")])) == ["read"]


def test_importing_the_readers_is_light():
    """A command that reads no records loads none of the libraries that read them."""
    heavy = "pandas", "pyarrow", "openpyxl", "defusedxml", "zipfile", "subprocess"
    root = Path(validator.__file__).parent.parent
    script = f"import sys, validator.readers; print([m for m in {heavy!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=root, check=True)
    assert done.stdout.strip() == "[]"


def test_an_interrupted_reading_leaves_nothing(fatal, write):
    """Closing stops the children and removes what they wrote."""
    handle = start_reading([write("a.csv", HEADER + "HANG")])
    handle.close()
    assert not Path(handle._folder.name).exists()
    assert all(child._process is None or child._process.poll() is not None for child in handle._children)


def test_a_parquet_page_that_claims_too_much(tmp_path):
    """A page that claims two thousand million bytes in a small file is damage, and nothing else dies of it."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns = {n: ["x"] * 4 for n in ("store_id", "equipment_id", "step", "started_at")}
    pq.write_table(pa.table(columns), tmp_path / "a.parquet", use_dictionary=False, compression="snappy")
    data = (tmp_path / "a.parquet").read_bytes()
    # the first page header: type (field 1), uncompressed size (field 2, a zigzag number)
    assert data[4:6] == b"\x15\x00"
    end = 7
    while data[end] & 0x80:
        end += 1
    size = bytes([0xFE, 0xFF, 0xFF, 0xFF, 0x0F])
    (tmp_path / "b.parquet").write_bytes(data[:7] + size + data[end + 1 :])
    (found,) = read_files([str(tmp_path / "b.parquet")])
    assert isinstance(found, FileRefused)
    assert found.code == "corrupt_container"


def test_a_parquet_footer_at_which_the_library_aborts(tmp_path, write):
    """An empty histogram of levels that claims to have entries ends the process of the reader; the next file is read."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns = {n: ["x"] for n in ("store_id", "equipment_id", "step", "started_at")}
    pq.write_table(pa.table(columns), tmp_path / "a.parquet")
    data = (tmp_path / "a.parquet").read_bytes()
    # two lists of whole numbers: none, then two; the first is made to have two of another type
    assert b"\x19\x06\x19\x26" in data
    (tmp_path / "b.parquet").write_bytes(data.replace(b"\x19\x06\x19\x26", b"\x19\x2d\x19\x26", 1))
    found = read_files([str(tmp_path / "b.parquet"), write("c.csv")])
    assert codes(found) == ["parser_crash", "read"]
