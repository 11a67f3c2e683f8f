"""Fuzz one target, guided by coverage: `python tests/fuzz/run.py TARGET FOLDER [-max_total_time=600 ...]`.

FOLDER keeps what was found worth keeping; a crash is written to the working directory, and becomes a test. Needs `atheris`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

with atheris.instrument_imports(include=["validator"]):
    from tests.fuzz.targets import TARGETS, bound_memory, seeds


def main() -> None:
    name, folder, *options = sys.argv[1:]
    if name not in TARGETS:
        sys.exit(f"{name!r} is no target; known: {', '.join(TARGETS)}")
    seeds(name, Path(folder))
    bound_memory(6 * 2**30)
    atheris.Setup([sys.argv[0], folder, "-rss_limit_mb=0", "-max_len=65536", "-keep_seed=1", "-len_control=0", *options], TARGETS[name][0])
    atheris.Fuzz()


if __name__ == "__main__":
    main()
