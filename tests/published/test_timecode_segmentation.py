"""The measures of segmentation against nltk.metrics (Apache 2.0), an independent reckoning of both papers.

Pk: Beeferman, Berger and Lafferty (1999). WindowDiff: Pevzner and Hearst (2002). nltk takes a string with one
sign for each gap between texts, hence texts − 1 signs.
"""

from hypothesis import given, settings
from hypothesis import strategies as st
from nltk.metrics.segmentation import pk as nltk_pk
from nltk.metrics.segmentation import windowdiff as nltk_windowdiff

from archive.timecode.segmentation import pk, window_diff

TEXTS = 40
CUTS = st.lists(st.integers(1, TEXTS - 1), unique=True).map(sorted)


def gaps(cuts: list[int]) -> str:
    return "".join("1" if at in cuts else "0" for at in range(1, TEXTS))


@settings(deadline=None)
@given(reference=CUTS, suggested=CUTS, window=st.integers(2, 12))
def test_measures_agree(reference: list[int], suggested: list[int], window: int) -> None:
    ours = pk(reference, suggested, TEXTS, window), window_diff(reference, suggested, TEXTS, window)
    theirs = (nltk_pk(gaps(reference), gaps(suggested), window),
              nltk_windowdiff(gaps(reference), gaps(suggested), window))
    assert ours == theirs
