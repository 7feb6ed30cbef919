"""Folding for search: what is taken away, what stays, in any script."""

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.timecode.folding import GLOTTALS, fold, fold_letters


@pytest.mark.parametrize(("text", "folded"), [
    ("Išëlu Ošëra", "iselu osera"), ("ʔAröka", "aroka"), ("Ru\ua78cen", "ruen"), ("Ru'en", "ruen"), ("Ru’en", "ruen"),
    ("Ruʻen", "ruen"), ("Ruʼen", "ruen"), ("RuɁen", "ruen"), ("ḌORË", "dore"), ("D\u0323o\u0301re", "dore"),
    ("  two\t\nwords ", "two words"), ("ﬁn", "fin"), ("Ⅷ", "viii"), ("STRASSE Straße", "strasse strasse"),
    ("co\u00adop", "coop"), ("a\u200db", "ab"), ("", ""), ("ʔ ʻ", ""), ("é", "e"), ("e\u0301", "e"), ("½", "1⁄2"),
    ("ʿayn", "ayn"), ("No 7", "no 7"),
])
def test_spellings_of_one_word_fold_alike(text: str, folded: str) -> None:
    assert fold(text) == folded


@pytest.mark.parametrize("text", ["ŋ", "ɔ", "ə", "ø", "ł", "ð", "ω", "ж", "א", "ع", "中", "ก", "ሀ", "ძ", "ա"])
def test_other_letters_stay(text: str) -> None:
    assert fold(text) == text.casefold()


@pytest.mark.parametrize("pair", [("कि", "का"), ("กี", "กู"), ("か", "が"), ("ñ", "m"), ("ŋ", "n"), ("ɔ", "o")])
def test_different_words_stay_different(pair: tuple[str, str]) -> None:
    """Vowel signs of Devanagari and Thai and the voicing of kana tell words apart, though Unicode calls them marks."""
    assert fold(pair[0]) != fold(pair[1])


@pytest.mark.parametrize("pair", [("שָׁלוֹם", "שלום"), ("مُحَمَّد", "محمد"), ("Ёлка", "елка"), ("Ά", "α"), ("한", "한")])
def test_points_and_accents_fold_away(pair: tuple[str, str]) -> None:
    assert fold(pair[0]) == fold(pair[1])


@settings(deadline=None)
@given(text=st.text(max_size=30))
def test_folding_again_changes_nothing(text: str) -> None:
    once = fold(text)
    assert fold(once) == once
    assert fold(text.upper().lower()) == fold(fold(text.upper().lower()))
    assert not set(once) & set(GLOTTALS)


@settings(deadline=None)
@given(text=st.text(max_size=30))
def test_normal_forms_fold_alike(text: str) -> None:
    """Unicode Standard Annex 15: NFC and NFD are the same text."""
    assert fold(unicodedata.normalize("NFC", text)) == fold(unicodedata.normalize("NFD", text))


@settings(deadline=None)
@given(text=st.text(max_size=30))
def test_letters_fold_one_by_one(text: str) -> None:
    letters = fold_letters(text)
    assert len(letters) == len(text)
    assert " ".join("".join(letters).split()) == " ".join(fold(text).split())
