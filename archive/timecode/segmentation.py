"""Where a new segment may begin: suggestions from the words alone, for a person to accept or not.

A statistical word model with dynamic programming in the form of Utiyama and Isahara (2001), A Statistical
Model for Domain-Independent Text Segmentation, ACL 2001, sections 2 and 3: the best segmentation is the one
whose segments each have words of their own, and each further segment costs something. What a segment costs is the
likelihood of its words with the word model integrated out under a Dirichlet prior, as in Eisenstein and
Barzilay (2008), Bayesian Unsupervised Topic Segmentation, EMNLP 2008, section 3: it asks more of long segments than
the former's fitted model does, and so cuts them less to pieces. It needs no training and only a word splitter, so it
works in any script. In place of a list of stop words and a stemmer, which exist for few languages, words count the
less the more evenly they stand through the text (our own rule), and are read in three ways, each a third of the cost:
cut to their first four letters, to eight, and into all runs of five (plain stemmers: McNamee and Mayfield, 2004,
Character N-Gram Tokenization for European Language Text Retrieval). What the texts of a segment have in common beyond
that makes it cheaper (`likeness`). Interviews wander more than joined texts do:
expect many suggestions to be wrong.
"""

import math
import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

import numpy as np

from archive.timecode.folding import fold
from archive.timecode.likeness import pairs_alike, stretches_alike

# Scripts written without spaces between words: their runs are counted as pairs of letters.
UNSPACED = "\u0e00-\u0eff\u1000-\u109f\u1780-\u17ff\u3040-\u30ff\u3400-\u9fff\uf900-\ufaff\U00020000-\U0003ffff"
WORD = re.compile(rf"[{UNSPACED}]+|[^\W_{UNSPACED}]+")
UNSPACED_RUN = re.compile(rf"[{UNSPACED}]+")
# One length of stem makes its own mistakes (too short joins unlike words, too long parts like ones); several make
# fewer, and runs of letters from inside words find what beginnings do not.
STEMS = (4, 8)
RUN = 5
# Of a longer word only the beginning is taken into runs.
MOST_LETTERS = 60
# A word in at least half of this many equal stretches of the text is no one segment's own.
STRETCHES = 16
# Dirichlet prior a word, in the mean; a fifth of it is dealt out as words are in the whole text, so that a common word
# tells less of a segment (a prior measure that is not even: MacKay and Peto, 1995, A Hierarchical Dirichlet Language
# Model); what likeness within a segment is worth, and what a cut costs, in nats. Chosen on joined texts of several
# sorts, half of each kept back to be measured once: all lie in what does about as well (1.5 to 2; 0.1 to 0.3; 0.8 to
# 1.6; 2.4 to 3.2).
PRIOR = 1.7
PRIOR_AS_SPOKEN = 0.2
LIKENESS_WORTH = 1.6
CUT_PRICE = 2.6
MOST_FOR_A_PAUSE = 3.0
# The work grows with units × words; these keep an afternoon's talk within seconds.
MOST_UNITS = 400
FEWEST_UNITS = 60
MOST_STEPS = 40_000_000


class _Words(NamedTuple):
    """The words of each text, counted, what each word weighs and its prior; those that weigh nothing are left out."""

    counts: list[Counter[str]]
    weights: dict[str, float]
    priors: dict[str, float]


def words(text: str, letters: int) -> list[str]:
    """Return the first letters of the folded words of a text; pairs of letters where the script has no spaces."""
    found: list[str] = []
    for word in WORD.findall(fold(text)):
        if len(word) > 1 and UNSPACED_RUN.fullmatch(word):
            found += [word[at : at + 2] for at in range(len(word) - 1)]
        else:
            found.append(word[:letters])
    return found


def runs_of_letters(text: str, letters: int) -> list[str]:
    """Return all runs of so many letters inside the folded words of a text; shorter words whole."""
    return [word[at : at + letters] for word in words(text, MOST_LETTERS)
            for at in range(max(1, len(word) - letters + 1))]


def word_weights(texts: Sequence[Sequence[str]]) -> dict[str, float]:
    """Return what each word weighs: 1 in one of the equal stretches of the texts, less in more, in half of them none.

    Articles and such fall out by this in any language.
    """
    flat = [word for text in texts for word in text]
    length = max(1, -(-len(flat) // STRETCHES))
    spread = Counter(word for start in range(0, len(flat), length) for word in set(flat[start : start + length]))
    return {word: math.sqrt(1 - math.log(stretches, STRETCHES))
            for word, stretches in spread.items() if 2 * stretches < STRETCHES}


def _readings(texts: Sequence[str]) -> list[_Words]:
    """Return the texts as they are read: by the beginnings of words, short and long, and by runs of letters."""
    split = [[words(text, letters) for text in texts] for letters in STEMS]
    split.append([runs_of_letters(text, RUN) for text in texts])
    return [_weighed(texts_as_words) for texts_as_words in split]


def _weighed(split: Sequence[Sequence[str]]) -> _Words:
    weights = word_weights(split)
    counts = [Counter(word for word in text if word in weights) for text in split]
    return _Words(counts, weights, word_priors(counts))


def suggest_cuts(
    texts: list[str], pauses: Sequence[float | None] | None = None, segments: int | None = None,
) -> list[int]:
    """Return the indices of the texts with which a new segment begins, rising, never 0.

    texts are cues or sentences in order. pauses, one for each text, is the silence in milliseconds before it
    (None where not known): a cut in a long one is cheaper. segments asks for that many segments where the
    texts allow it; without it their number is found. Ties and empty input give no cuts.
    """
    read = _readings(texts)
    total = sum(count.total() for one in read for count in one.counts)
    if total < 2 or len(texts) < 2 or (segments is not None and segments < 2):
        return []
    size = _texts_a_unit(len(texts), total)
    starts = list(range(0, len(texts), size))
    prices = _cut_prices(starts, size, pauses, len(texts))
    costs = _costs([one._replace(counts=[_sum(one.counts[start : start + size]) for start in starts]) for one in read])
    cuts = _best_cuts(costs, prices) if segments is None else _cuts_into(costs, prices, min(segments, len(starts)))
    return _refined([starts[cut] for cut in cuts], read, size)


def _texts_a_unit(texts: int, total: int) -> int:
    units = max(FEWEST_UNITS, min(MOST_UNITS, MOST_STEPS // total))
    return -(-texts // units)


def _sum(counts: Iterable[Counter[str]]) -> Counter[str]:
    merged: Counter[str] = Counter()
    for count in counts:
        merged.update(count)
    return merged


def _cut_prices(
    starts: list[int], size: int, pauses: Sequence[float | None] | None, texts: int,
) -> list[float]:
    """Return what a cut before each unit costs: less for a pause longer than usual (our own rule)."""
    known = sorted(pause for pause in pauses or [] if pause is not None and pause > 0)
    if pauses is None or len(pauses) != texts or not known:
        return [CUT_PRICE] * len(starts)
    usual = known[len(known) // 2]
    longest = [max((pause or 0.0 for pause in pauses[start : start + size]), default=0.0) for start in starts]
    return [CUT_PRICE - min(MOST_FOR_A_PAUSE, math.log2(max(1.0, pause / usual))) for pause in longest]


def _segment_costs(units: list[Counter[str]], weights: dict[str, float], priors: dict[str, float]) -> list[list[float]]:
    """Return costs[i][j]: minus the log likelihood of units i to i+j as one segment.

    With the word model integrated out under a Dirichlet prior of a(w) for word w, A in all, a segment with n words,
    word w among them f(w) times, costs ln Γ(n + A) − ln Γ(A) − Σ (ln Γ(f(w) + a(w)) − ln Γ(a(w))); each f(w) is taken
    times the word's weight, and n is their sum.
    """
    gain_of, prior = _gains(units, weights, priors), sum(priors.values())
    return [_costs_from(units[start:], weights, gain_of, prior) for start in range(len(units))]


def _gains(
    units: Iterable[Counter[str]], weights: dict[str, float], priors: dict[str, float],
) -> dict[str, list[float]]:
    """Return ln Γ(f(w) + a(w)) − ln Γ(a(w)) of each word, for each number of times it may stand in these units."""
    return {word: [math.lgamma(weights[word] * count + priors[word]) - math.lgamma(priors[word])
                   for count in range(most + 1)]
            for word, most in _sum(units).items()}


def word_priors(counts: Iterable[Counter[str]]) -> dict[str, float]:
    """Return the Dirichlet prior of each word: PRIOR in the mean, the more the oftener it stands in the whole text."""
    times = _sum(counts)
    mean = times.total() / max(1, len(times))
    return {word: PRIOR * (1 - PRIOR_AS_SPOKEN + PRIOR_AS_SPOKEN * count / mean) for word, count in times.items()}


def _costs_from(
    units: list[Counter[str]], weights: dict[str, float], gain_of: dict[str, list[float]], prior: float,
) -> list[float]:
    seen: dict[str, int] = {}
    length, gain, base = prior, 0.0, math.lgamma(prior)
    row = []
    for unit in units:
        for word, times in unit.items():
            before = seen.get(word, 0)
            seen[word] = before + times
            gain += gain_of[word][before + times] - gain_of[word][before]
            length += weights[word] * times
        row.append(math.lgamma(length) - base - gain)
    return row


def _costs(read: list[_Words]) -> list[list[float]]:
    """Return costs[i][j] of units i to i+j as one segment: the mean of the readings, less what likeness is worth."""
    several = [_segment_costs(one.counts, one.weights, one.priors) for one in read]
    alike = stretches_alike(np.mean([pairs_alike(one.counts, one.weights) for one in read], axis=0))
    return [
        [sum(costs) / len(costs) - LIKENESS_WORTH * like
         for *costs, like in zip(*rows, alike[start, start + 1 :].tolist(), strict=True)]
        for start, rows in enumerate(zip(*several, strict=True))
    ]


def _best_cuts(costs: list[list[float]], prices: list[float]) -> list[int]:
    """Return the cheapest cuts, their number free (section 3: shortest path over segments)."""
    count = len(costs)
    best, came = [0.0] + [math.inf] * count, [0] * (count + 1)
    for start in range(count):
        paid = best[start] + (prices[start] if start else 0.0)
        for length, cost in enumerate(costs[start], 1):
            if paid + cost < best[start + length]:
                best[start + length], came[start + length] = paid + cost, start
    return _traced([came], count)


def _cuts_into(costs: list[list[float]], prices: list[float], segments: int) -> list[int]:
    """Return the cheapest cuts into just so many segments."""
    count = len(costs)
    best = [0.0] + [math.inf] * count
    trail = []
    for _ in range(segments):
        further, came = [math.inf] * (count + 1), [0] * (count + 1)
        for start in range(count):
            paid = best[start] + (prices[start] if start else 0.0)
            for length, cost in enumerate(costs[start], 1) if paid < math.inf else ():
                if paid + cost < further[start + length]:
                    further[start + length], came[start + length] = paid + cost, start
        best = further
        trail.append(came)
    return _traced(trail, count)


def _traced(trail: list[list[int]], end: int) -> list[int]:
    """Follow the starts back from the end: the last list is for the last segment, the first for all before."""
    cuts = []
    level = len(trail) - 1
    while end > 0:
        end = trail[max(level, 0)][end]
        level -= 1
        if end > 0:
            cuts.append(end)
    return cuts[::-1]


def _refined(cuts: list[int], read: list[_Words], size: int) -> list[int]:
    """Move each cut to the best text near it, where units held several texts."""
    if size == 1:
        return cuts
    texts = len(read[0].counts)
    moved = list(cuts)
    for at in range(len(moved)):
        low = moved[at - 1] if at else 0
        high = moved[at + 1] if at + 1 < len(moved) else texts
        near = range(max(low + 1, moved[at] - size + 1), min(high, moved[at] + size))
        before = _grown(read, slice(low, near[0]), near[:-1])
        after = _grown(read, slice(near[-1], high), near[-2::-1])
        moved[at] = min((left + right, cut) for left, right, cut in zip(before, reversed(after), near, strict=True))[1]
    return moved


def _grown(read: list[_Words], first: slice, further: Sequence[int]) -> list[float]:
    """Return what the first texts cost as one segment, then with one further text after another."""
    rows = []
    for one in read:
        units = [_sum(one.counts[first]), *(one.counts[at] for at in further)]
        rows.append(_costs_from(units, one.weights, _gains(units, one.weights, one.priors), sum(one.priors.values())))
    return [sum(costs) / len(costs) for costs in zip(*rows, strict=True)]


def window_of(cuts: Sequence[int], texts: int) -> int:
    """Return the usual window: half the mean length of a segment, at least 1 (Beeferman and others, 1999)."""
    return max(1, round(texts / (2 * (len(cuts) + 1))))


def pk(reference: Sequence[int], suggested: Sequence[int], texts: int, window: int | None = None) -> float:
    """Return Pk: how often two texts `window` apart are wrongly said to share or not to share a segment.

    Beeferman, Berger and Lafferty (1999), Statistical Models for Text Segmentation. 0 is best, a coin gives
    about 0.5. Cuts are indices of texts, as from suggest_cuts.
    """
    return _windowed(reference, suggested, texts, window, lambda a, b: (a > 0) != (b > 0))


def window_diff(
    reference: Sequence[int], suggested: Sequence[int], texts: int, window: int | None = None,
) -> float:
    """Return WindowDiff: the share of windows with a wrong number of cuts (Pevzner and Hearst, 2002)."""
    return _windowed(reference, suggested, texts, window, lambda a, b: a != b)


def _windowed(
    reference: Sequence[int],
    suggested: Sequence[int],
    texts: int,
    window: int | None,
    differ: Callable[[int, int], bool],
) -> float:
    width = window or window_of(reference, texts)
    ours, theirs = _running(reference, texts), _running(suggested, texts)
    starts = range(texts - width)
    if not starts:
        return 0.0
    wrong = sum(differ(ours[at + width] - ours[at], theirs[at + width] - theirs[at]) for at in starts)
    return wrong / len(starts)


def _running(cuts: Sequence[int], texts: int) -> list[int]:
    """Return for each text how many cuts come up to and with it."""
    marks = set(cuts)
    total, running = 0, []
    for at in range(texts):
        total += at in marks
        running.append(total)
    return running
