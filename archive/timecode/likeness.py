"""How alike the texts of a stretch are, for finding where to cut: more than two texts of the whole are in the mean.

The density of a segment in the form of Fragkou, Petridis and Kehagias (2004), A Dynamic Programming Algorithm for
Linear Text Segmentation, Journal of Intelligent Information Systems 23 (from memory): likeness of its texts to one
another, summed, over a power of its length. Theirs is 1 for each two texts that share a word. Ours grows with the
square root of what the shared words tell (rare ones more: Spärck Jones, 1972, term specificity), and the mean over all
pairs is taken off, so that it does not grow with a text in which everything is somewhat alike (our own rules).
"""

import math
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

# Of a stretch's likeness, over its length to this power; 0.3 to 0.5 do about as well.
LENGTH_POWER = 0.4
# So many words at once, which bounds the memory: 400 texts × 4,096 words are 13 MiB.
WORDS_AT_ONCE = 4_096


def pairs_alike(texts: Sequence[Counter[str]], weights: Mapping[str, float]) -> np.ndarray:
    """Return how alike each two texts are by the words they share, shape (texts, texts).

    Before the root is taken, those that are alike at all are so by 1 in the mean. A text and itself: 0.
    """
    spread = Counter(word for text in texts for word in text)
    tells = {word: weights[word] * math.log(len(texts) / times) for word, times in spread.items() if times > 1}
    alike = np.zeros((len(texts), len(texts)))
    words = sorted(tells)
    for start in range(0, len(words), WORDS_AT_ONCE):
        columns = {word: at for at, word in enumerate(words[start : start + WORDS_AT_ONCE])}
        stands = np.zeros((len(texts), len(columns)))
        for row, text in enumerate(texts):
            for word in text.keys() & columns.keys():
                stands[row, columns[word]] = tells[word]
        alike += stands @ stands.T
    np.fill_diagonal(alike, 0)
    some = alike[alike > 0]
    return np.sqrt(alike / some.mean()) if some.size else alike


def stretches_alike(alike: np.ndarray) -> np.ndarray:
    """Return the density of each stretch: at [start, stop] for the texts from start up to but not with stop.

    alike is from pairs_alike; the result has the shape (texts + 1, texts + 1) and means nothing where stop <= start.
    """
    count = len(alike)
    beyond = alike - alike.sum() / max(1, count * (count - 1))
    np.fill_diagonal(beyond, 0)
    summed = np.zeros((count + 1, count + 1))
    summed[1:, 1:] = beyond.cumsum(axis=0).cumsum(axis=1)
    own = np.diag(summed)
    within = (own[None, :] - summed - summed.T + own[:, None]) / 2
    places = np.arange(count + 1)
    return within / np.maximum(1, places[None, :] - places[:, None]) ** LENGTH_POWER
