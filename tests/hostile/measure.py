"""Audit every record file of the corpus by itself and tell what each took: `python -m tests.hostile.measure`."""

from __future__ import annotations

import tempfile
from pathlib import Path

from . import corpus
from .conftest import REGISTER
from .measured import command


def main() -> None:
    """One line a file: status, memory of program and reader, processor time of the reader; then the most of each."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        corpus.write(folder)
        (folder / "register.yaml").write_text(REGISTER, "utf-8")
        most = [0.0, 0.0, 0.0]
        for expected in (e for e in corpus.EXPECTED if not e.is_pack):
            ran = command(folder, ["check", expected.file, "--rules", "packs/pack_ok.yaml", "--register", "register.yaml",
                                   "--as-of", "2026-12-31", "--format", "json"])  # fmt: skip
            took = [ran.own_mib, ran.reader_mib, ran.reader_seconds]
            most = [max(pair) for pair in zip(most, took, strict=True)]
            print(f"{expected.file:<44} {ran.status} {took[0]:6.0f} MiB {took[1]:6.0f} MiB {took[2]:6.2f} s", flush=True)
        print(f"{'most':<46} {most[0]:6.0f} MiB {most[1]:6.0f} MiB {most[2]:6.2f} s")


if __name__ == "__main__":
    main()
