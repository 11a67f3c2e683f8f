"""What can go wrong outside this program, and the exit status each kind of trouble ends in."""

from __future__ import annotations

from collections.abc import Sequence


class CipAuditError(Exception):
    """Trouble that a user can mend. Its text is the sentence shown; no traceback is."""

    exit_status = 70


class WrongInput(CipAuditError):
    """Wrong usage, or a pack, register or mapping that is wrong: every fault at once, one sentence a line."""

    exit_status = 2

    def __init__(self, faults: Sequence[str] | str) -> None:
        self.faults = (faults,) if isinstance(faults, str) else tuple(faults)
        super().__init__("\n".join(self.faults))


class Unreadable(CipAuditError):
    """A record file that is refused as a whole: a code, a sentence, and the place in the file where it failed.

    It travels as a value: the other files are still audited, and the report names this one.
    """

    exit_status = 4

    def __init__(self, code: str, sentence: str, place: str = "") -> None:
        self.code = code
        self.sentence = sentence
        self.place = place
        super().__init__(f"{sentence} ({place})" if place else sentence)
