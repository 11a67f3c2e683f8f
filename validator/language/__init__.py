"""In which language does a reader see a report, and how is a finished English sentence said in it?

Every text is made in English; the archive and the formats for programs stay so. A catalogue (gettext's `.po`) holds what
is said of each in another language: the program's own beside this module, a pack's own in its folder (`es.po`). An
entry may have names in braces, `{count} rows of {step}`: then it is a phrase, and stands for every text of its shape. What
the names stand for is said in the other language too where the catalogues have it, else it is left as it stands.

What no catalogue has stays English and is kept in `missing`, so that it can be told.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache, cached_property
from itertools import islice
from pathlib import Path
from string import Formatter

from validator.errors import WrongInput

ENGLISH = "en"
FOLDER = Path(__file__).parent
_NAME = re.compile(r"\{(\w*)\}")
_WORD = re.compile(r"[^\W\d_]+")
_FIGURE = re.compile(r"\S*[\d_]\S*|(h|min|s|ppm|mg/L|%|°C|°F),?")
_SUBJECT = 8
"""Blanks or fragments at which a sentence is parted, at most."""
_SENTENCE = 3
"""Words that make a sentence without its subject: `is no number`."""
_DEEPEST, _LONGEST, _MOST = 30, 1000, 300
"""How deep phrases may lie in each other, of how many characters a text may be, and how many parts of it are looked at."""


class Said(str):
    """A sentence that remembers of which template and words it was made, so that it can be said in another language."""

    __slots__ = ("template", "words")
    template: str
    words: Mapping[str, str]

    def __new__(cls, template: str, words: Mapping[str, str]) -> Said:
        self = super().__new__(cls, template.format_map(words))
        self.template, self.words = template, {name: words[name] for _, name in parts(template) if name is not None}
        return self

    def __getnewargs__(self) -> tuple[str, Mapping[str, str]]:  # type: ignore[override]  # so that it can be pickled
        return self.template, self.words

    def each(self, change: Callable[[str], str]) -> Said:
        """The same sentence with every word changed."""
        return Said(self.template, {name: change(word) for name, word in self.words.items()})


_spoken: ContextVar[Language | None] = ContextVar("language", default=None)


@contextmanager
def speaking(language: Language | None) -> Iterator[None]:
    """Let the pages that are written meanwhile say their own sentences in a language; None is English."""
    token = _spoken.set(language)
    try:
        yield
    finally:
        _spoken.reset(token)


def spoken() -> str:
    """The code of the language that is spoken."""
    language = _spoken.get()
    return ENGLISH if language is None else language.code


def tr(template: str, **words: object) -> str:
    """A sentence of a page in the language that is spoken, with what its names stand for."""
    language = _spoken.get()
    if language is not None:
        return language.phrase(template, words)
    return template.format_map(words) if words else template


def said(word: str) -> str:
    """A word or text that was made elsewhere, in the language that is spoken; what no catalogue has stays as it is."""
    language = _spoken.get()
    return word if language is None else language.word(word)


def counted(number: int, one: str, many: str, **words: object) -> str:
    """A sentence about a number of things, `{n}`: one form for one, the other for every other number."""
    return tr(one if number == 1 else many, n=f"{number:,}", **words)


def languages() -> tuple[str, ...]:
    """English and every language that has a catalogue of the program's own."""
    return (ENGLISH, *sorted(path.stem for path in FOLDER.glob("*.po")))


class Phrase:
    """An entry with names in braces, as a pattern for the texts of its shape.

    One with fewer than two words of its own (`{x1} to {x2}`) is weak: any sentence may have its shape. One with more, that
    begins with them, may be told of a subject that stands before it. `rank` says which is tried first: what parts a list (`{x1}; or {x2}`), then what has most words. Names without anything between them are a run, whose
    text can be parted in many ways.
    """

    def __init__(self, source: str, translation: str) -> None:
        self.translation = translation
        self.literals: list[str] = []
        self.runs: list[tuple[str, ...]] = []
        greedy = lazy = ""
        for literal, name in parts(source):
            self.literals.append(literal)
            greedy, lazy = greedy + re.escape(literal), lazy + re.escape(literal)
            if name is None:
                continue
            if self.runs and not literal:
                self.runs[-1] += (name,)
                continue
            seen = self.runs.index((name,)) + 1 if (name,) in self.runs else 0
            self.runs.append((name,))
            greedy, lazy = greedy + (f"(\\{seen})" if seen else "(.*)"), lazy + (f"(\\{seen})" if seen else "(.*?)")
        self._patterns = [re.compile(p, re.DOTALL) for p in ((greedy, lazy) if len(self.runs) > 1 else (greedy,))]
        self.weight = sum(map(len, self.literals))
        words = len(_WORD.findall(" ".join(self.literals)))
        self.weak = words < 2
        two = len(self.runs) == 2 and self.literals[0] == "" and self.weak
        parts_list = self.literals[1][:1] if two else ""
        plain = self.weak and len(self.runs) < 3
        self.rank = (parts_list != ";", plain and parts_list != ",", plain, -self.weight)
        self.follows = words >= _SENTENCE and bool(self.literals[0])

    def readings(self, text: str) -> Iterator[list[tuple[tuple[str, ...], str]]]:
        """What each run of names stands for in a text of this shape, in up to two ways; nothing for any other text."""
        at = 0
        for literal in self.literals:
            at = text.find(literal, at)
            if at < 0:
                return
            at += len(literal)
        for pattern in self._patterns:
            found = pattern.fullmatch(text)
            if found is None:
                return
            yield list(zip(self.runs, found.groups(), strict=True))


class Language:
    """Texts in another language, from catalogues that map English to it; the first that has a text is used."""

    def __init__(self, code: str, entries: Mapping[str, str]) -> None:
        self.code = code
        self.missing: dict[str, None] = {}
        self._whole = {source: said for source, said in entries.items() if not _NAME.search(source)}
        self._templates = {
            source: said for source, said in entries.items() if source not in self._whole and _fits(source, said)
        }
        self._found: dict[str, tuple[str | None, bool]] = {}
        self._depth, self._left, self._cut = 0, 0, False

    @cached_property
    def _phrases(self) -> list[Phrase]:
        return sorted(
            (Phrase(source, said) for source, said in self._templates.items()), key=lambda phrase: phrase.rank
        )

    @cached_property
    def _openings(self) -> re.Pattern[str]:
        """Where a fragment may begin within a sentence: as those of the catalogue do that begin with no word."""
        known = {source[:4].partition("{")[0] for source in (*self._whole, *self._templates)}
        return re.compile("|".join(["(?<=: )", *(re.escape(k) for k in sorted(known) if k.strip() and k[0] in " ,;:")]))

    def also(self, change: Callable[[str], str]) -> None:
        """Know every text also as it stands after a change that does the same in either language: of units, say."""
        self._whole |= {change(source): change(said) for source, said in self._whole.items()} | self._whole

    def say(self, text: str) -> str:
        """A text in this language; as it stands, and noted, where no catalogue has it."""
        if not text.strip():
            return text
        found, _ = self._find(text)
        if found is None and _is_language(text):
            self.missing[text] = None
        return text if found is None else found

    def word(self, text: str) -> str:
        """What a name in a phrase stands for: often an id or a figure, so that nothing is missed if it stays."""
        found, _ = self._find(text)
        return text if found is None else found

    def phrase(self, template: str, words: Mapping[str, object]) -> str:
        """A template of the program's pages, filled in; the words are shown as they are."""
        found = self._whole.get(template) or (self._templates.get(template) if words else None)
        if found is None:
            self.missing[template] = None
        return (found or template).format_map(words) if words else found or template

    def _find(self, text: str) -> tuple[str | None, bool]:
        """What is said for a text, and whether all of it is."""
        if isinstance(text, Said):
            if text.template in self._whole:
                return self._whole[text.template], True
            template = self._templates.get(text.template)
            if template is None and not _WORD.search(_NAME.sub("", text.template)):
                template = text.template
            if template is not None:
                return self._fill(template, text.words), True
            text = str(text)
        if text in self._found:
            return self._found[text]
        if not self._depth:
            self._left = _MOST
        outer, self._cut = self._cut, False
        found = self._look_up(text)
        if not self._cut or not self._depth:
            self._found[text] = found
        self._cut = outer or (self._cut and self._depth > 0)
        return found

    def _look_up(self, text: str) -> tuple[str | None, bool]:
        for core in (text, text.strip()):
            if core in self._whole:
                return text.replace(core, self._whole[core]), True
        if len(text) > _LONGEST:
            return None, False
        if self._depth >= _DEEPEST or not self._left:
            self._cut = True  # what is found so is no answer for good
            return None, False
        self._depth, self._left = self._depth + 1, self._left - 1
        try:
            return self._by_shape(text)
        finally:
            self._depth -= 1

    def _by_shape(self, text: str) -> tuple[str | None, bool]:
        partly = None
        for phrase in self._phrases:
            for reading in phrase.readings(text):
                words = self._words(reading) if self._left else None
                if words is not None:
                    return self._fill(phrase.translation, words), True
                if partly is None and not phrase.weak:
                    partly = (
                        phrase.translation,
                        {name: run if name == names[0] else "" for names, run in reading for name in names},
                    )
        after = self._after_subject(text)
        if after is None and partly is not None:
            return self._fill(*partly), False
        return after, after is not None

    def _words(self, reading: Iterable[tuple[tuple[str, ...], str]]) -> dict[str, str] | None:
        """What each name stands for, where that is known in this language or needs no translation."""
        words: dict[str, str] = {}
        for names, run in reading:
            parted = self._part(names, run)
            if parted is None:
                return None
            words |= parted
        return words

    def _part(self, names: tuple[str, ...], run: str) -> dict[str, str] | None:
        if len(names) == 1:
            return None if self._strange(run) else {names[0]: run}
        cuts = {len(run), 0, *(found.start() for found in islice(self._openings.finditer(run), _SUBJECT))}
        for cut in sorted(cuts, reverse=True):
            rest = None if self._strange(run[:cut]) else self._part(names[1:], run[cut:])
            if rest is not None:
                return {names[0]: run[:cut], **rest}
            if not self._left:
                return None
        return None

    def _after_subject(self, text: str) -> str | None:
        """A sentence about a column, a file or a value that stands before it: `started_at 'noon' is no time of day`."""
        for blank in islice(re.finditer(" ", text), _SUBJECT if self._depth < _SUBJECT else 0):
            subject, rest = text[: blank.end()], text[blank.end() :]
            if len(_WORD.findall(rest)) < _SENTENCE:
                return None
            if rest in self._whole and not rest.startswith(("the ", "a ", "an ")):
                return subject + self._whole[rest]
            for phrase in self._phrases:
                for reading in phrase.readings(rest) if phrase.follows else ():
                    words = self._words(reading)
                    if words is not None:
                        return subject + self._fill(phrase.translation, words)
        return None

    def _strange(self, word: str) -> bool:
        """Whether it has words of its own that no catalogue has: somebody's own, perhaps."""
        if word.endswith((" or", " and")) or word in ("or", "and"):
            return True  # parted in the middle of something
        return _is_language(word) and not self._find(word)[1]

    def _fill(self, template: str, words: Mapping[str, str]) -> str:
        return template.format_map({name: self.word(word) for name, word in words.items()})


def parts(template: str) -> list[tuple[str, str | None]]:
    """The literal texts of a template, each with the name that follows it; raise `ValueError` where it is none."""
    return [(literal, name) for literal, name, _, _ in Formatter().parse(template)]


def _fits(source: str, said: str) -> bool:
    """Whether a translation names nothing but what its source names."""
    try:
        return {name for _, name in parts(said)} <= {name for _, name in parts(source)} | {None}
    except ValueError:
        return False


def load(code: str, folders: Iterable[Path] = ()) -> Language | None:
    """The language of that code, with the catalogues of packs in these folders; None for English, which needs none."""
    if code == ENGLISH:
        return None
    known: dict[str, str] = {}
    for folder in (FOLDER, *folders):
        path = catalogue_of(folder, code)
        if path.is_file():
            known = {**entries(path), **known}
    return Language(code, known)


def catalogue_of(place: Path, code: str) -> Path:
    """Where the catalogue of a pack stands: in its folder, or beside its one file."""
    return place / f"{code}.po" if place.is_dir() else place.with_suffix(f".{code}.po")


@cache
def entries(path: Path) -> Mapping[str, str]:
    """A catalogue's finished entries; one that is empty or marked as fuzzy is left out."""
    from babel.messages.pofile import PoFileError, read_po

    try:
        with path.open("rb") as file:
            catalogue = read_po(file, abort_invalid=True)
    except (PoFileError, OSError, ValueError) as error:
        raise WrongInput(f"{path}: is no catalogue of translations: {error}") from None
    finished = [m for m in catalogue if m.id and m.string and not m.fuzzy]
    return {
        source: said
        for message in finished
        for source, said in zip(_forms(message.id), _forms(message.string), strict=False)
    }


def _forms(text: object) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else tuple(text) if isinstance(text, tuple | list) else ()


def _is_language(text: str) -> bool:
    """Whether a text has words of its own: an id, a figure or a name without a blank needs no translation."""
    words = text.split()
    return len(words) > 1 and any(letter.islower() for letter in text) and not all(map(_FIGURE.fullmatch, words))
