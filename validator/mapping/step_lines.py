"""How does a draft say which columns are the steps of a wide row? One entry a step, one for all lines together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from validator.mapping.aliases import aliases, fold
from validator.mapping.column_lines import Columns, once
from validator.mapping.guesses import LINE, Guess
from validator.mapping.lines import GUESS, LIKELY, scalar, shown
from validator.mapping.wide import Group, step_of


class Steps:
    """Writes the steps of a layout, with the columns that `writer` knows."""

    def __init__(self, writer: Columns) -> None:
        self.writer = writer
        self.draft = writer.draft
        self.wide = writer.wide
        self.guesses = writer.guesses

    def write(self) -> None:
        """Those before the lines, the lines, those after them; and why a column of all steps is left out."""
        lines = [g for g in self.wide if LINE.fullmatch(g.prefix)]
        others = [g for g in self.wide if not LINE.fullmatch(g.prefix)]
        mixing = next((g for g in others if step_of(g.prefix)[0] in ("test_solution", "mix_solution")), None)
        checking = next((g for g in others if step_of(g.prefix)[0] == "verify"), None)
        self.draft.say(2, "steps:", "a row holds several steps", LIKELY)
        if self.writer.ticked:
            self.draft.say(3, "# a tick shows that a step was done, neither when nor how long")
        before = [g for g in others if self._at(g) < min((self._at(one) for one in lines), default=0)]
        for group in before:
            self._step(group, mixing, checking)
        if lines:
            self._lines(lines)
        for group in others:
            if group not in before:
                self._step(group, mixing, checking)
        for role in ("concentration_ppm", "temperature_c", "ph", "verified_by"):
            if role in self.guesses and (checking if role == "verified_by" else mixing) is None:
                name = self.guesses[role].column.name
                fahrenheit = role == "temperature_c" and self.guesses[role].column.unit == "F"
                self.draft.left_out[name] = f"it may be {'temperature_f' if fahrenheit else role} of one of the steps"
        for role in ("started_at", "ended_at"):
            if role in self.guesses:
                name = self.guesses[role].column.name
                self.draft.left_out[name] = f"it may be {role} of the first or the last step"

    def _at(self, group: Group) -> int:
        return list(self.writer.names).index(group.all[0].name)

    def _lines(self, lines: Sequence[Group]) -> None:
        self._use_alike(lines)
        targets = ", ".join(f"line-{LINE.fullmatch(g.prefix)[1]}: {scalar(g.prefix)}" for g in lines)  # type: ignore[index]
        self.draft.say(3, f"- targets: {{{targets}}}", "numbers of lines in the names", LIKELY)
        self.draft.say(4, "constants:")
        self.draft.open(5, "step: ?", "what was done to the lines?")
        self.draft.open(5, "agent: ?", "with what?")
        first = lines[0]
        ticks = [group.tick for group in lines if group.tick is not None]
        if ticks:
            words = list(dict.fromkeys(word for tick in ticks for word in tick.words))
            oddities = "; ".join(tick.oddities for tick in ticks if tick.oddities)
            self._when("*" + ticks[0].name[len(first.prefix) :], words, oddities)
        if first.columns:
            self.draft.say(4, "columns:")
        for role, column in first.columns.items():
            starred = replace(column, name="*" + column.name[len(first.prefix) :])
            self.writer.column(5, role, Guess(starred, role, 4, f"named like {column.name!r}"))

    def _use_alike(self, lines: Sequence[Group]) -> None:
        """Of every line the columns that are named as those of the first one are; the others stand in no line of the draft."""
        first = lines[0]
        endings = {column.name[len(first.prefix) :] for column in first.all}
        ticked = next((group.tick.name[len(group.prefix) :] for group in lines if group.tick is not None), None)
        for group in lines:
            for column in group.all:
                if column.name[len(group.prefix) :] in {*endings, ticked}:
                    self.draft.used.add(column.name)
                else:
                    self.draft.left_out[column.name] = f"{shown(first.prefix)} has no column like it"

    def _when(self, name: str, words: Sequence[str], oddities: str) -> None:
        """The marks of a column of ticks, and which of them say that a step was not done."""
        done, undone = ({fold(word) for word in aliases()["ticks"][key]} for key in ("yes", "no"))
        yes = [word for word in once(words) if fold(word) in done]
        no = [word for word in once(words) if fold(word) in undone]
        sure, why = LIKELY, "marks that say that it was done"
        if not yes:
            opposite = {fold(word): other for word, other in aliases()["opposites"].items()}
            yes = list(dict.fromkeys(opposite[fold(word)] for word in no if fold(word) in opposite))
            sure, why = GUESS, "every cell says that it was not done; the mark for done is taken to be the opposite"
        why += "; " * bool(oddities) + oddities
        said = f"column: {self.draft.use(name)}, yes: [{', '.join(map(scalar, yes))}]"
        said += f", no: [{', '.join(map(scalar, no))}]" if no else ""
        self.draft.say(4, f"when: {{{said}}}", why, sure)

    def _step(self, group: Group, mixing: Group | None, checking: Group | None) -> None:
        word, part = step_of(group.prefix)
        self.draft.say(3, "- constants:")
        if word is not None:
            self.draft.say(5, f"step: {word}", f"{group.prefix!r} is a usual word for it", LIKELY)
        else:
            self.draft.open(5, "step: ?", f"what was done to {group.prefix!r}?")
        if part in ("line", "lines", "parts"):
            self.draft.open(5, "target: ?", f"which {part} are meant by {group.prefix!r}?")
        elif part:
            self.draft.say(5, f"target: {scalar(part)}", "the name before what was done", GUESS)
        self.draft.open(5, "agent: ?", "with what?")
        if group.tick is not None:
            self._when(group.tick.name, group.tick.words, group.tick.oddities)
        if group.columns or group in (mixing, checking):
            self.draft.say(4, "columns:")
        for role, column in group.columns.items():
            self.writer.column(5, role, Guess(column, role, 4, f"named {column.name!r}"))
        if group is mixing:
            for role in ("concentration_ppm", "temperature_c", "ph"):
                if role in self.guesses:
                    self.writer.column(5, role, self.guesses[role])
        if group is checking and "verified_by" in self.guesses:
            self.writer.column(5, "verified_by", self.guesses["verified_by"])
