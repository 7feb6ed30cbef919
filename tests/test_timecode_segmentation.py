"""Where to cut: the word model on small texts whose topics are plain, in several scripts, and its exactness."""

import itertools
import math
import random
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.timecode import likeness, segmentation
from archive.timecode.segmentation import pk, runs_of_letters, suggest_cuts, window_diff, window_of, words

COMMON = ["the", "and", "of", "a", "to", "in", "was", "we", "they", "it", "that", "on"]
TOPICS = {
    "sea": ["boat", "reef", "wave", "sail", "oar", "tide", "net", "fish", "foam", "harbour", "anchor", "rope"],
    "sky": ["star", "night", "moon", "dark", "north", "rise", "set", "name", "shine", "cloud", "dawn", "east"],
    "hearth": ["fire", "bread", "aunt", "kettle", "song", "child", "winter", "wool", "door", "smoke", "lamp"],
}


def told(*topics: str, lines: int = 12) -> list[str]:
    """Return lines of made-up talk, each topic in its turn: four words of its own and four of anyone's."""
    rng = random.Random(7)
    return [" ".join(rng.sample(TOPICS[topic], 4) + rng.sample(COMMON, 4)) for topic in topics for _ in range(lines)]


SEA_SKY = told("sea", "sky")


def test_cuts_fall_where_the_words_change() -> None:
    assert suggest_cuts(SEA_SKY, segments=2) == [12]
    assert suggest_cuts(told("sea", "sky", "hearth", "sea"), segments=4) == [12, 24, 36]


def test_number_of_segments_is_found() -> None:
    """Left to itself the model may cut finer than we would, but the true cuts are among its own."""
    assert {12, 24, 36} <= set(suggest_cuts(told("sea", "sky", "hearth", "sea")))


def test_any_script_is_cut() -> None:
    """Armenian letters for Latin ones, and a script without spaces: only the word splitter matters."""
    armenian = {ord("a") + n: 0x561 + n for n in range(26)}
    assert suggest_cuts([line.translate(armenian) for line in SEA_SKY], segments=2) == [12]
    unspaced = ["舟は礁を越えて出た", "波が礁で舟に砕けた", "舟を波から引いた", "礁と波と舟の話", "舟は礁の波の中"]
    starry = ["星は丘の後ろに昇る", "叔母は星の名を数え", "丘の果てに星が沈む", "星の名は丘の名だ", "丘と星の夜"]
    assert suggest_cuts(unspaced + starry, segments=2) == [len(unspaced)]


@pytest.mark.parametrize("texts", [[], [""], ["one"], ["", "", ""], ["?!", "..."], ["a", "a"], ["same words"] * 50])
def test_nothing_to_cut(texts: list[str]) -> None:
    assert suggest_cuts(texts) == []
    assert suggest_cuts(texts, segments=1) == []


@pytest.mark.parametrize("segments", [2, 3, 5, 24, 40])
def test_asked_for_number_of_segments(segments: int) -> None:
    cuts = suggest_cuts(SEA_SKY, segments=segments)
    assert len(cuts) == min(segments, len(SEA_SKY)) - 1
    assert cuts == sorted(set(cuts))
    assert all(0 < cut < len(SEA_SKY) for cut in cuts)


def test_long_pause_draws_the_cut() -> None:
    texts = [*SEA_SKY[:12], "and it was so", *SEA_SKY[12:]]
    for pause_at in (12, 13):
        pauses = [None] + [300.0] * (len(texts) - 1)
        pauses[pause_at] = 9_000.0
        assert suggest_cuts(texts, pauses, segments=2) == [pause_at]


def test_pauses_of_the_wrong_number_are_passed_over() -> None:
    assert suggest_cuts(SEA_SKY, [5.0], segments=2) == [12]


def test_words_are_folded_and_cut_to_their_beginning() -> None:
    assert words("Séas, SEAS’ ʔaʻo—navigation 12", 5) == ["seas", "seas", "ao", "navig", "12"]
    assert words("星の名", 5) == ["星の", "の名"]


def test_runs_of_letters_are_of_the_folded_words() -> None:
    assert runs_of_letters("Séabird, sea", 5) == ["seabi", "eabir", "abird", "sea"]
    assert runs_of_letters("星の名", 5) == ["星の", "の名"]


def test_common_words_have_the_larger_prior_and_the_mean_is_kept() -> None:
    priors = segmentation.word_priors([Counter(star=3, reef=1), Counter(star=2)])
    assert priors["star"] > priors["reef"] > 0
    assert sum(priors.values()) == pytest.approx(2 * segmentation.PRIOR)
    assert segmentation.word_priors([]) == {}


def test_words_weigh_less_the_more_evenly_they_stand() -> None:
    weights = segmentation.word_weights([["once", "the"], *([["the"]] * 6), *([["now", "then"]] * 3)])
    assert weights["once"] == 1.0
    assert 0 < weights["now"] < 1
    assert "the" not in segmentation.word_weights([["the", f"w{at}"] for at in range(40)])


def test_many_texts_are_taken_together_and_the_cut_still_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(segmentation, "FEWEST_UNITS", 4)
    monkeypatch.setattr(segmentation, "MOST_UNITS", 4)
    assert suggest_cuts(SEA_SKY[1:], segments=2) == [11]


def _read(texts: list[str]) -> list[tuple[list[Counter[str]], dict[str, float]]]:
    splits = [[words(text, letters) for text in texts] for letters in segmentation.STEMS]
    splits.append([runs_of_letters(text, segmentation.RUN) for text in texts])
    weights = [segmentation.word_weights(split) for split in splits]
    return [([Counter(word for word in text if word in weighs) for text in split], weighs)
            for split, weighs in zip(splits, weights, strict=True)]


def _alike(read: list[tuple[list[Counter[str]], dict[str, float]]], texts: int) -> dict[tuple[int, int], float]:
    """Return for each two texts how much more alike they are than two are in the mean, pair by pair."""
    pairs = list(itertools.combinations(range(texts), 2))
    alike = dict.fromkeys(pairs, 0.0)
    for counts, weights in read:
        times = Counter(word for count in counts for word in count)
        told = {(a, b): sum((weights[word] * math.log(texts / times[word])) ** 2 for word in counts[a] & counts[b])
                for a, b in pairs}
        some = [one for one in told.values() if one > 0]
        for pair in pairs:
            alike[pair] += math.sqrt(told[pair] * len(some) / sum(some)) / len(read) if some else 0
    mean = sum(alike.values()) / len(alike)
    return {pair: one - mean for pair, one in alike.items()}


def _cost(texts: list[str], cuts: tuple[int, ...]) -> float:
    """Return what a segmentation costs, counted out in full (Eisenstein and Barzilay, 2008, section 3; likeness)."""
    cost = len(cuts) * segmentation.CUT_PRICE
    read = _read(texts)
    alike = _alike(read, len(texts))
    for start, stop in itertools.pairwise([0, *cuts, len(texts)]):
        inside = math.fsum(alike[pair] for pair in itertools.combinations(range(start, stop), 2))
        cost -= segmentation.LIKENESS_WORTH * inside / (stop - start) ** likeness.LENGTH_POWER
    for counts, weights in read:
        a = segmentation.word_priors(counts)
        prior = sum(a.values())
        for start, stop in itertools.pairwise([0, *cuts, len(texts)]):
            seen = Counter(word for count in counts[start:stop] for word in count.elements())
            likely = math.lgamma(prior) - math.lgamma(prior + sum(f * weights[word] for word, f in seen.items()))
            likely += sum(math.lgamma(a[word] + f * weights[word]) - math.lgamma(a[word]) for word, f in seen.items())
            cost -= likely / len(read)
    return cost


LINES = st.lists(st.sampled_from("abcdef"), min_size=1, max_size=4).map(" ".join)


@settings(deadline=None, max_examples=60)
@given(texts=st.lists(LINES, min_size=2, max_size=7), segments=st.sampled_from([None, 2, 3]))
def test_no_segmentation_is_cheaper(texts: list[str], segments: int | None) -> None:
    if sum(count.total() for counts, _ in _read(texts) for count in counts) < 2 or (segments or 0) > len(texts):
        return
    numbers = range(len(texts)) if segments is None else [segments - 1]
    cheapest = min(_cost(texts, cuts)
                   for number in numbers for cuts in itertools.combinations(range(1, len(texts)), number))
    ours = _cost(texts, tuple(suggest_cuts(texts, segments=segments)))
    assert ours == pytest.approx(cheapest, abs=1e-9)  # rounding of sums of logarithms


def test_measures_at_their_ends() -> None:
    assert pk([5], [5], 10) == window_diff([5], [5], 10) == 0.0
    assert pk([], [], 1) == 0.0
    assert window_of([5], 10) == 2
    assert window_of([], 1) == 1
    # Window 2 over 10 texts: 8 windows, of which the two around the missed cut are wrong.
    assert pk([5], [], 10) == window_diff([5], [], 10) == 2 / 8
    # A second cut in the same window: Pk does not see it, WindowDiff does.
    assert pk([5], [5, 6], 10, 3) == 1 / 7
    assert window_diff([5], [5, 6], 10, 3) == 3 / 7
