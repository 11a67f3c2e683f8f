"""Finds what others have published; without it a test is skipped, but where it is required a test fails."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

PUBLISHED = Path(__file__).resolve().parents[2] / ".datasets"


@pytest.fixture
def published() -> Callable[[str], Path]:
    """A function that gives a published file or folder by its path."""

    def find(path: str) -> Path:
        found = PUBLISHED / path
        if not found.exists():
            why = f"{path} is not installed; run .ci/datasets PYTHON"
            pytest.fail(why) if os.environ.get("CIP_AUDIT_DATASETS") == "required" else pytest.skip(why)
        return found

    return find
