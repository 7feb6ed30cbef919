"""Folding text for search: one form for all the ways a word is typed. Used on the search side only.

Stored text is never folded. Folding takes away what typists leave out or vary: letter case, accents and other
marks, apostrophes and glottal letters (written ʔ ʻ ʼ ' ’ ꞌ or not at all), invisible signs. Every other letter
of every script stays, and so do vowel signs written as marks (Devanagari, Thai, Tibetan and so on), which tell
words apart. Built on Unicode NFKD and case folding (Unicode Standard, 3.11 and 3.13) and on canonical
combining classes (4.3).
"""

import re
import unicodedata

# Apostrophes in all their forms, and letters for the glottal stop and for sounds written like it.
GLOTTALS = (
    "'`´‘’‚‛′‵＇｀"      # typewriter and printed apostrophes, primes, full width
    "ʹʻʼʽʾʿˀˁˈˊˋʹ"       # modifier letters
    "ʔʕʖʡʢɁɂƸƹˤꞋꞌ՚׳"     # glottal and pharyngeal letters, saltillo, Armenian and Hebrew apostrophes
)
_REMOVED = dict.fromkeys(map(ord, GLOTTALS))
_ASCII_REMOVED = dict.fromkeys((*range(9), *range(14, 28), 127, ord("'"), ord("`")))
_SPACES = re.compile(r"\s+")


def fold(text: str) -> str:
    """Return text as search compares it: no case, marks, apostrophes or glottal letters; single spaces.

    fold(fold(text)) == fold(text). A word made only of such signs folds to nothing.
    """
    if text.isascii():
        plain = text.lower().translate(_ASCII_REMOVED)
    else:
        plain = "".join(fold_letters(text))
    return _SPACES.sub(" ", plain).strip()


def fold_letters(text: str) -> list[str]:
    """Return the folded form of each character of text, "" for one that folding takes away."""
    return [_known(letter) for letter in text]


def past_marks(text: str, end: int) -> int:
    """The offset after the marks that belong to the last letter, which folding may have taken away."""
    while end < len(text) and unicodedata.category(text[end])[0] == "M":
        end += 1
    return end


def _known(letter: str) -> str:
    folded = _CACHE.get(letter)
    if folded is None:
        folded = _CACHE[letter] = _folded(letter)
    return folded


def _folded(letter: str) -> str:
    """Fold one character, again until nothing changes, since taking apart can bring new signs about."""
    before, after = "", letter
    while after != before:
        before = after
        apart = unicodedata.normalize("NFKD", after.translate(_REMOVED).casefold())
        after = "".join(sign for sign in apart.translate(_REMOVED) if not _left_out(sign))
    return after


def _left_out(sign: str) -> bool:
    category = unicodedata.category(sign)
    if category == "Mn":
        return _is_accent(sign)
    return category in ("Me", "Cf", "Cs") or (category == "Cc" and not sign.isspace())


def _is_accent(mark: str) -> bool:
    """Whether a mark varies a letter, by its combining class: accents, points and strokes through a letter.

    Class 0 holds vowel signs (but also variation selectors and the grapheme joiner, which are invisible), 8
    and 9 kana voicing and viramas, 36 to 199 vowels and tones of Thai, Lao, Tibetan and others: those stay.
    """
    ccc = unicodedata.combining(mark)
    return ccc in (1, 7) or 10 <= ccc <= 35 or ccc >= 200 or mark == "\u034f" or "\ufe00" <= mark <= "\ufe0f"


# One entry a character ever met: at most a few thousand for the scripts of one archive.
_CACHE: dict[str, str] = {}
