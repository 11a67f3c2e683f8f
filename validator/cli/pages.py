"""Which files of a folder did an earlier run write? The pages that no longer belong there go, and nothing else does.

The program keeps a list of the pages it wrote, each with the hash of its bytes, beside them. A page is removed only where the list
names it, its name is one that the program gives, and its bytes are still those: what somebody has put there, copied or changed
is theirs. No link is followed.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from pathlib import Path

from validator.errors import WrongInput

PAGE = re.compile(r"stores/[A-Za-z0-9-]{1,40}-[0-9a-f]{8}\.html")
"""What the path of a store's page looks like (`reports.html`)."""
LIST = ".cip-audit-pages.json"
_MOST_BYTES = 2**26
"""A list of half a million pages; a larger file is none of ours."""


def recorded(folder: Path) -> dict[str, str]:
    """The pages that the list in the folder names, with the hashes of their bytes; none where there is no list of ours."""
    path = folder / LIST
    if path.is_symlink():
        raise WrongInput(f"{path}: is a link; the list of the pages in a folder is a file of its own")
    try:
        if not path.is_file() or path.stat().st_size > _MOST_BYTES:
            return {}
        pages = json.loads(path.read_bytes())["pages"]
        return {page: sha256 for page, sha256 in pages.items() if isinstance(sha256, str) and PAGE.fullmatch(page)}
    except (OSError, ValueError, RecursionError, KeyError, TypeError, AttributeError):
        return {}


def listed(pages: Mapping[str, str]) -> bytes:
    """The list of these pages, for the folder."""
    about = (
        "Pages that cip-audit wrote here. It removes those that a later run no longer writes, if they are unchanged."
    )
    return (json.dumps({"about": about, "pages": dict(sorted(pages.items()))}, indent=1) + "\n").encode()


def remove(folder: Path, pages: Mapping[str, str]) -> int:
    """Remove the pages that still have these hashes, and say how many those were."""
    gone = 0
    for page, sha256 in pages.items():
        path = folder / page
        try:
            if path.parent.is_symlink() or path.is_symlink() or not path.is_file():
                continue
            with path.open("rb") as file:
                if hashlib.file_digest(file, "sha256").hexdigest() != sha256:
                    continue
            path.unlink()
        except OSError as error:
            raise WrongInput(f"{path}: cannot be removed: {(error.strerror or str(error)).lower()}") from None
        gone += 1
    return gone
