"""A finished English sentence is said in another language: as a whole, as a phrase, or not at all and then noted."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from validator.errors import WrongInput
from validator.language import ENGLISH, Language, Said, entries, load

ENTRIES = {
    "Rinse the part.": "Enjuague la pieza.",
    "the equipment": "el equipo",
    " fits no row": " no cabe en ninguna fila",
    "is no time of day": "no es una hora del día",
    "at least {time}": "al menos {time}",
    "{x1} to {x2}": "{x1} a {x2}",
    "{x1}; or {x2}": "{x1}; o {x2}",
    "{x1}, {x2}": "{x1}, {x2}",
    " (since {day})": " (desde {day})",
    "{target}: {step} for {found}, {required}": "{target}: {step} durante {found}; se pide: {required}",
    "{count} rows of {step} were not judged": "filas de {step} sin juzgar: {count}",
    "late by {found}, {limit}{since}": "{found} de retraso; se pide: {limit}{since}",
    "{name} has the reason {reason}": "{name} tiene la razón {reason}",
}


@pytest.fixture
def es() -> Language:
    return Language("es", ENTRIES)


def test_a_text_of_the_catalogue_is_said(es: Language) -> None:
    """What stands in the catalogue is said as it stands there."""
    assert es.say("Rinse the part.") == "Enjuague la pieza."
    assert es.missing == {}


def test_a_sentence_about_one_thing_may_leave_its_number_out() -> None:
    """`one line at a time` is whole, though the form for more names a number."""
    spanish = Language("es", {"one line at a time": "una línea a la vez"})

    assert spanish.phrase("one line at a time", {"n": "1"}) == "una línea a la vez"
    assert spanish.missing == {}


def test_blanks_at_the_ends_of_a_text_stay(es: Language) -> None:
    """A text is the same whatever blanks surround it; a fragment keeps its own."""
    assert es.say("  Rinse the part.\n") == "  Enjuague la pieza.\n"
    assert es.say(" fits no row") == " no cabe en ninguna fila"


def test_a_phrase_is_said_with_its_words_in_the_other_order(es: Language) -> None:
    """What the names stand for follows the translation, in any order."""
    assert es.say("3 rows of flush were not judged") == "filas de flush sin juzgar: 3"


def test_a_phrase_within_a_phrase_is_said(es: Language) -> None:
    """What a name stands for is said in the other language too where the catalogue has it."""
    said = es.say("line-1: flush for 14 min 59 s, at least 15 min")

    assert said == "line-1: flush durante 14 min 59 s; se pide: al menos 15 min"


def test_names_with_nothing_between_them_are_told_apart(es: Language) -> None:
    """Where one fragment follows another at once, each is found by what the catalogue has."""
    assert (
        es.say("late by 3 h, at least 2 h (since 2026-01-01)")
        == "3 h de retraso; se pide: al menos 2 h (desde 2026-01-01)"
    )


def test_a_list_is_said_item_by_item(es: Language) -> None:
    """A list is parted first, however many items it has."""
    assert es.say("at least 5 s, acid; or 1 to 2; or at least 9 s") == "al menos 5 s, acid; o 1 a 2; o al menos 9 s"


def test_a_sentence_is_said_after_its_subject(es: Language) -> None:
    """A column with its value may stand before a sentence that the catalogue has."""
    assert es.say("started_at 'at noon' is no time of day") == "started_at 'at noon' no es una hora del día"


@pytest.mark.parametrize(
    "text", ["flush", "line-1", "TL-01-SYR-A", "15 min", "2 h 5 min", "", " ", "100 ppm", "SYR-FLUSH-TIME"]
)
def test_ids_and_figures_stay_and_are_not_missed(es: Language, text: str) -> None:
    """What has no words of its own is the same in every language."""
    assert es.say(text) == text
    assert es.missing == {}


def test_what_no_catalogue_has_stays_english_and_is_noted(es: Language) -> None:
    """A text that cannot be said is shown as it is, once in the list of what is missing."""
    assert es.say("Drain the tank.") == es.say("Drain the tank.") == "Drain the tank."
    assert list(es.missing) == ["Drain the tank."]


@pytest.mark.parametrize(
    "own", ["agreed to wait until Monday", "we met, and it was fine", "back to the old pump; or a new one"]
)
def test_what_somebody_wrote_is_not_taken_for_a_phrase(es: Language, own: str) -> None:
    """A phrase of one small word fits any sentence; it is not used on words that no catalogue has."""
    assert es.say(own) == own
    assert es.say(f"F has the reason {own}") == f"F tiene la razón {own}"


def test_english_needs_no_catalogue() -> None:
    """In English nothing is said anew."""
    assert load(ENGLISH) is None


def test_a_language_takes_the_catalogues_of_packs_beside_its_own(tmp_path: Path) -> None:
    """What the program says comes before what a pack says; a pack without a catalogue adds nothing."""
    _po(tmp_path / "es.po", 'msgid "Wash it."\nmsgstr "Lávelo."\n\nmsgid "not judged"\nmsgstr "otra cosa"\n')

    es = load("es", [tmp_path, tmp_path / "none"])

    assert es is not None
    assert (es.say("Wash it."), es.say("not judged")) == ("Lávelo.", "sin juzgar")


def test_a_fuzzy_or_empty_entry_is_not_used(tmp_path: Path) -> None:
    """A translation that somebody must still look at is not shown to a store."""
    path = _po(
        tmp_path / "es.po", '#, fuzzy\nmsgid "a b"\nmsgstr "x"\n\nmsgid "c d"\nmsgstr ""\n\nmsgid "e f"\nmsgstr "y"\n'
    )

    assert entries(path) == {"e f": "y"}


def test_a_catalogue_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    """A damaged catalogue is the user's to mend: the message names the file."""
    with pytest.raises(WrongInput, match=r"es\.po: is no catalogue of translations"):
        entries(_po(tmp_path / "es.po", "no line of a catalogue\n"))


def test_a_translation_that_names_something_new_is_not_used() -> None:
    """Nobody knows what such a name stands for, so the sentence stays English."""
    es = Language("es", {"{a} is late": "{b} llega tarde", "{a} is early": "{a llega"})

    assert es.say("it is late") == "it is late"
    assert es.say("it is early") == "it is early"


def _po(path: Path, text: str) -> Path:
    path.write_text('msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n\n' + text, "utf-8")
    return path


def test_a_said_sentence_remembers_how_it_was_made() -> None:
    """It is the finished sentence, with its template and the words that the template uses."""
    said = Said("{a} before {b}", {"a": "wash", "b": "rinse", "c": "unused"})

    assert said == "wash before rinse"
    assert (said.template, dict(said.words)) == ("{a} before {b}", {"a": "wash", "b": "rinse"})
    assert said.each(str.upper) == "WASH before RINSE"


def test_a_said_sentence_survives_another_process() -> None:
    """What is handed on between processes keeps its template."""
    back = pickle.loads(pickle.dumps(Said("{a} before {b}", {"a": "wash", "b": "rinse"})))

    assert isinstance(back, Said)
    assert (back, back.template) == ("wash before rinse", "{a} before {b}")


def test_a_said_sentence_is_said_by_its_template(es: Language) -> None:
    """Words that look like the template's own text cannot lead astray."""
    said = Said(
        "{count} rows of {step} were not judged",
        {"count": "2 rows of x", "step": Said("at least {time}", {"time": "5"})},
    )

    assert es.say(said) == "filas de al menos 5 sin juzgar: 2 rows of x"


def test_a_said_sentence_without_words_of_its_own_needs_no_entry(es: Language) -> None:
    """A template of signs alone is filled with what its words are in the other language."""
    assert es.say(Said("{a}: ({b})", {"a": "line-1", "b": "the equipment"})) == "line-1: (el equipo)"


WORDS = st.text(st.characters(exclude_characters="\n", codec="utf-8"), min_size=1, max_size=20)


@given(
    a=WORDS.filter(lambda w: " rows of " not in w),
    b=WORDS.filter(lambda w: " rows of " not in w and " were not" not in w),
)
def test_whatever_a_phrase_is_filled_with_comes_back(a: str, b: str) -> None:
    """Any words that do not hold the phrase's own text stand in the translation as they were."""
    es = Language("es", {key: ENTRIES[key] for key in ("{count} rows of {step} were not judged",)})

    assert es.say(f"{a} rows of {b} were not judged") == f"filas de {b} sin juzgar: {a}"


@given(st.text())
@example("{")
@example("{}{x}{0}")
@example("at least {time}")
@example("a, " * 1500)
@example("1 to 2; or " * 300)
@example("line-1: flush for\n{found}, {required}" * 20)
@example("\x00 rows of \ud800 were not judged")
def test_any_text_can_be_said(text: str) -> None:
    """Nothing that a record, a register or a person holds makes saying it fail."""
    es = Language("es", ENTRIES)

    assert isinstance(es.say(text), str)
    assert isinstance(es.say(Said("{count} rows of {step} were not judged", {"count": text, "step": text})), str)
