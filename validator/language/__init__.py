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
from functools import cache
from pathlib import Path
from string import Formatter

from validator.errors import WrongInput

ENGLISH = "en"
FOLDER = Path(__file__).parent
_NAME = re.compile(r"\{(\w*)\}")
_WORD = re.compile(r"[^\W\d_]+")
_SENTENCE = 3
"""Words that make a sentence without its subject: `is no number`."""


class Said(str):
    """A sentence that remembers of which template and words it was made, so that it can be said in another language."""

    __slots__ = ("template", "words")
    template: str
    words: Mapping[str, str]

    def __new__(cls, template: str, words: Mapping[str, str]) -> Said:
        self = super().__new__(cls, template.format_map(words))
        self.template, self.words = template, words
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
    begins with them, may be told of a subject that stands before it.
    """

    def __init__(self, source: str, translation: str) -> None:
        pattern, literals, seen = "", [], set[str]()
        for literal, name, _, _ in Formatter().parse(source):
            pattern += re.escape(literal)
            literals.append(literal)
            if name is not None:
                pattern += f"(?P={name})" if name in seen else f"(?P<{name}>.*)"
                seen.add(name)
        self.pattern = re.compile(pattern, re.DOTALL)
        self.longest = max(literals, key=len)
        self.weight = sum(map(len, literals))
        words = len(_WORD.findall(" ".join(literals)))
        self.weak = words < 2
        self.follows = words >= _SENTENCE and bool(literals[0])
        self.translation = translation

    def match(self, text: str) -> dict[str, str] | None:
        """What the names stand for in a text of this shape; None for any other text."""
        if self.longest not in text:
            return None
        found = self.pattern.fullmatch(text)
        return found.groupdict() if found else None


class Language:
    """Texts in another language, from catalogues that map English to it; the first that has a text is used."""

    def __init__(self, code: str, entries: Mapping[str, str]) -> None:
        self.code = code
        self.missing: dict[str, None] = {}
        self._whole = {source: said for source, said in entries.items() if not _NAME.search(source)}
        self._templates = {source: said for source, said in entries.items() if _NAME.search(source)}
        self._phrases: list[Phrase] = []
        self._found: dict[str, str | None] = {}

    def say(self, text: str) -> str:
        """A text in this language; as it stands, and noted, where no catalogue has it."""
        if not text.strip():
            return text
        found = self._find(text)
        if found is None and _is_language(text):
            self.missing[text] = None
        return text if found is None else found

    def word(self, text: str) -> str:
        """What a name in a phrase stands for: often an id or a figure, so that nothing is missed if it stays."""
        found = self._find(text)
        return text if found is None else found

    def _find(self, text: str) -> str | None:
        if isinstance(text, Said):
            template = self._templates.get(text.template)
            return None if template is None else self._fill(template, text.words)
        if text not in self._found:
            self._found[text] = self._look_up(text)
        return self._found[text]

    def _look_up(self, text: str) -> str | None:
        whole = self._whole.get(text.strip())
        if whole is not None:
            return text.replace(text.strip(), whole)
        if not self._phrases:
            self._phrases = [Phrase(source, said) for source, said in self._templates.items()]
            self._phrases.sort(key=lambda phrase: -phrase.weight)
        partly = None
        for phrase in self._phrases:
            words = phrase.match(text)
            if words is None:
                continue
            if not self._strange(words.values()):
                return self._fill(phrase.translation, words)
            if not phrase.weak:
                partly = partly or (phrase, words)
        return self._fill(partly[0].translation, partly[1]) if partly else self._after_subject(text)

    def _after_subject(self, text: str) -> str | None:
        """A sentence about a column, a file or a value that stands before it: `started_at 'noon' is no time of day`."""
        for blank in re.finditer(" ", text):
            rest = text[blank.end() :]
            if len(_WORD.findall(rest)) < _SENTENCE:
                return None
            said = self._whole.get(rest)
            if said is not None:
                return text[: blank.end()] + said
            for phrase in self._phrases:
                words = phrase.match(rest) if phrase.follows else None
                if words is not None:
                    return text[: blank.end()] + self._fill(phrase.translation, words)
        return None

    def phrase(self, template: str, words: Mapping[str, object]) -> str:
        """A template of the program's pages, filled in; the words are shown as they are."""
        found = self._templates.get(template) if words else self._whole.get(template)
        if found is None:
            self.missing[template] = None
        return (found or template).format_map(words) if words else found or template

    def _strange(self, words: Iterable[str]) -> bool:
        """Whether any of these has words of its own that no catalogue has: somebody's own, perhaps."""
        return any(_is_language(word) and self._find(word) is None for word in words)

    def _fill(self, template: str, words: Mapping[str, str]) -> str:
        return template.format_map({name: self.word(word) for name, word in words.items()})


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
    return " " in text.strip() and any(letter.islower() for letter in text)
