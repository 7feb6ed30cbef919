"""BM25 over what one viewer meets.

Robertson & Zaragoza, “The Probabilistic Relevance Framework: BM25 and Beyond” (Foundations and Trends in Information
Retrieval 3(4), 2009): the weight of a word in a document is equation 3.15, with the parts of a document weighted as in
section 3.6.1 (weighted counts, weighted length). The inverse document frequency is their equation 3.3 without relevance
information, with 1 added inside the logarithm so that a word which more than half of the documents hold never counts
against them (common practice, no source).

Every number here comes from what the viewer meets, and the words are added in a fixed order: the scores are bit for
bit those of an archive that holds nothing else.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Scores = NDArray[np.float64]

K1 = 1.2  # how soon further mentions count less
B = 0.75  # how much a long document is held back


def rarity(documents: int, holding: int) -> float:
    """The inverse document frequency of a word that `holding` of `documents` hold."""
    return math.log(1.0 + (documents - holding + 0.5) / (holding + 0.5))


def weights(times: Scores, lengths: Scores, average_length: float, idf: float) -> Scores:
    """The weight of one word in documents that hold it `times` often (weighted counts and lengths)."""
    return idf * times / (K1 * ((1.0 - B) + B * lengths / average_length) + times)
