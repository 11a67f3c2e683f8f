"""What every test may use: a pack and records written as text, judged in one call."""

from __future__ import annotations

import importlib.util
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NoReturn

import pytest
from hypothesis import settings

from validator import documents
from validator.cycles import form_cycles
from validator.engine.apply import Applied, apply
from validator.engine.stamp import findings
from validator.kinds.outcome import STATUS_WORDS
from validator.machines import AsOf, machines
from validator.packs.cases import read_text
from validator.packs.loading import load_pack
from validator.register import Register

# a property is true or false, however slow the machine is
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

Check = tuple[str, str, str, str, str]
Judge = Callable[..., set[Check]]


@pytest.fixture
def judge(tmp_path) -> Judge:
    """`judge(pack, records, register=None, as_of=...)`: every check as (rule, equipment, cycle, target, status)."""

    def run(
        pack: str, records: str, register: str | None = None, as_of: str = "2026-12-31T00:00:00Z", reasons: bool = False,
        decision: str = "simple",
    ) -> set[Check]:
        applied = _applied(tmp_path, pack, records, register, as_of, decision)
        return {
            (a.rule.rule.id, a.machines[int(o.machine[i])].equipment_id,
             a.steps.cycle_ids[int(o.cycle[i])] if o.cycle[i] >= 0 else "", o.target[i],
             STATUS_WORDS[int(o.status[i])] + (f" {o.reason[i]}" if reasons and o.reason[i] else ""))
            for a in applied for o in a.outcomes for i in range(len(o))
        }  # fmt: skip

    return run


@pytest.fixture
def judge_report(tmp_path) -> Callable[[str, str, str], list[str]]:
    """`judge_report(pack, records, decision)`: the message of every finding."""

    def run(pack: str, records: str, decision: str) -> list[str]:
        return [f.message for f in findings(_applied(tmp_path, pack, records, None, "2026-12-31T00:00:00Z", decision))]

    return run


def _applied(tmp_path: Path, pack: str, records: str, register: str | None, as_of: str, decision: str) -> list[Applied]:
    """A pack and records written as text, read and judged."""
    path = tmp_path / "pack.yaml"
    path.write_text(pack, "utf-8")
    loaded = load_pack(path)
    known = None
    if register is not None:
        known = documents.load(Register, documents.read_bytes(register.encode(), "register.yaml"))
    table = read_text(records, {s.store_id: s.timezone for s in known.stores} if known else {})
    named = {(table.text("store_id", i), table.text("equipment_id", i)) for i in range(len(table))}
    fleet = machines(known, sorted(named), AsOf.parse(as_of))
    applied, _ = apply(loaded, form_cycles(table, fleet, loaded.procedure), fleet, decision)
    return applied


def _lacking(what: str) -> NoReturn:
    """Skip the test for want of something, or fail it where nothing may be wanting, as in `.ci/run`."""
    if os.environ.get("CIP_AUDIT_NO_SKIP") == "1":
        pytest.fail(what)
    pytest.skip(what)


@pytest.fixture(scope="session")
def program() -> Callable[[str], str]:
    """A function that finds a program on this machine; without it the test is skipped."""
    return lambda name: shutil.which(name) or _lacking(f"the program {name} is not installed")


@pytest.fixture(scope="session")
def module() -> Callable[[str], Path]:
    """A function that finds a file of a package that `.ci/run` installs by npm; without it the test is skipped."""
    folder = Path(__file__).resolve().parents[1] / ".browser" / "node_modules"

    def found(path: str) -> Path:
        return folder / path if (folder / path).is_file() else _lacking(f"{path} is missing; .ci/run installs it by npm")

    return found


@pytest.fixture(scope="session")
def browser(program: Callable[[str], str]) -> Iterator[Any]:
    """A Chromium with a fresh profile, driven by playwright; without either the test is skipped."""
    if importlib.util.find_spec("playwright") is None:
        _lacking("the package playwright is not installed")
    from playwright.sync_api import sync_playwright

    flags = [
        "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--disable-sync",
    ]  # fmt: skip
    path = program("chromium")
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=path, args=flags)
        yield started
        started.close()
