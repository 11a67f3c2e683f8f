"""Every text that a store reads is said in every language that has a catalogue, and says of the same."""

from __future__ import annotations

import re
from collections import Counter
from functools import cache
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from validator import translating
from validator.language import ENGLISH, FOLDER, catalogue_of, entries, languages, parts
from validator.packs.loading import bundled, bundled_packs

LANGUAGES = [code for code in languages() if code != ENGLISH]
PACKS = [bundled("rules") / name for name in bundled_packs()]
UNSAID = {
    "a table", "one duration",  # names of shapes of a limit
    "asked good", "asked out", "least good", "bold red", "bold yellow", "Libertinus Serif", "governs", "yyyy-mm-dd hh:mm:ss",  # looks
    "named {found} ",  # read from another program's message
}  # fmt: skip
"""What the program's code holds and no reader sees as it stands."""
_FIGURE = re.compile(r"\d+(?:[.,]\d+)*")


def catalogues() -> list[tuple[Path, str]]:
    """Every place with a catalogue: the program's and each pack's."""
    return [
        (place, code)
        for place in (FOLDER, *PACKS)
        for code in LANGUAGES
        if place == FOLDER or catalogue_of(place, code).is_file()
    ]


@cache
def texts_of(place: Path) -> translating.Texts:
    return translating.of_program() if place == FOLDER else translating.of_pack(place)


PLACES = pytest.mark.parametrize(("place", "code"), catalogues(), ids=lambda part: getattr(part, "name", part))


@pytest.mark.parametrize("pack", PACKS, ids=lambda pack: pack.name)
@pytest.mark.parametrize("code", LANGUAGES)
def test_every_bundled_pack_has_a_catalogue(pack: Path, code: str) -> None:
    """What is said in a language is said in it for every pack."""
    assert catalogue_of(pack, code).is_file()


@PLACES
def test_every_text_is_said(place: Path, code: str) -> None:
    """Nothing that a store reads is left in English; names of columns (`done_by`) are no language."""
    said = entries(catalogue_of(place, code))

    left = [text for text in texts_of(place) if text not in said and text not in UNSAID]

    assert [text for text in left if not text.isidentifier() or "_" not in text] == []


@PLACES
def test_no_entry_is_stale(place: Path, code: str) -> None:
    """An entry whose source is gone stands in nobody's way; `validator.translating` drops it."""
    assert set(entries(catalogue_of(place, code))) <= set(texts_of(place))


def test_what_is_never_said_is_still_there() -> None:
    """The list of what no reader sees names nothing that is gone from the code."""
    assert set(translating.of_program()) >= UNSAID


@PLACES
def test_no_entry_is_fuzzy(place: Path, code: str) -> None:
    """A translation is finished or it is not there."""
    with catalogue_of(place, code).open("rb") as file:
        assert [message.id for message in read_po(file) if message.id and message.fuzzy] == []


@PLACES
def test_a_translation_names_nothing_new(place: Path, code: str) -> None:
    """The names in braces are among those of the source: any other would not be known when the sentence is made."""
    phrases = {source: said for source, said in entries(catalogue_of(place, code)).items() if "{" in source + said}

    new = {source for source, said in phrases.items() if _names(said) - _names(source)}

    assert new == set()


def _names(template: str) -> set[str | None]:
    return {name for _, name in parts(template)} - {None}


@PLACES
def test_a_translation_has_the_figures_of_its_source(place: Path, code: str) -> None:
    """A limit, a time or a clause is the same figure in every language."""
    other = {
        source: said
        for source, said in entries(catalogue_of(place, code)).items()
        if _figures(source) != _figures(said)
    }

    assert other == {}


def _figures(text: str) -> Counter[str]:
    return Counter(_FIGURE.findall(re.sub(r"\{\w*\}", "", text)))


@PLACES
def test_a_translation_joins_as_its_source_does(place: Path, code: str) -> None:
    """Blanks at both ends, and a full stop or semicolon at the end, stand where the source has them."""
    said = entries(catalogue_of(place, code)).items()

    assert [s for s, t in said if (s[:1] == " ", s[-1:] == " ") != (t[:1] == " ", t[-1:] == " ")] == []
    assert [s for s, t in said if s[-1] in ".;:" and s[-1] != t[-1]] == []


@PLACES
def test_a_catalogue_stands_as_it_would_be_written_anew(place: Path, code: str) -> None:
    """Bringing a catalogue up to date changes nothing."""
    path = catalogue_of(place, code)

    assert translating.catalogue(texts_of(place), code, entries(path)) == path.read_bytes()
