"""Nothing of a closed second is left in what is served. Each check is also run on known wrong ways, which must fail.

An `Archive` here is any way of making a served file from a recording and its closed seconds. The checks are stated by
what they demand (common practice in testing for information flow: two worlds that differ only in what is hidden must
look alike), and the silencing they compare with is worked out anew in this file.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import av
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from archive.media.chunks import Recipe
from archive.media.peaks import pcm_peaks
from archive.media.rendition import render
from archive.media.working import make_working_copy
from tests.media_sounds import as_24_bit, decode, packets_of, voice, write_pcm, write_sound

SMALL = Recipe(chunk_packets=30)
SECONDS = 4.0
CLOSED = [(300, 1_100), (1_300, 1_305), (1_400, 1_500)]
RANGES = {
    "in the middle": [(1_000, 2_000)],
    "from the start": [(0, 700)],
    "to the end": [(3_300, 4_000)],
    "beyond the end": [(3_300, 9_000)],
    "five milliseconds": [(1_500, 1_505)],
    "one millisecond": [(1_500, 1_501)],
    "adjoining": [(1_000, 1_500), (1_500, 2_000)],
    "closer than their fades": [(1_000, 1_500), (1_503, 2_000)],
    "at a chunk's join": [(635, 645), (1_280, 1_281)],
    "overlapping, out of order": [(2_000, 2_400), (1_800, 2_100)],
    "the whole": [(0, 4_000)],
    "nothing": [],
}


class Served(NamedTuple):
    """What a visitor can get at: the file, the drawn peaks, and the sound a player makes of it."""

    data: bytes
    peaks: bytes
    heard: np.ndarray


Closed = list[tuple[int, int]]
Archive = Callable[[Path, np.ndarray, Closed], Served]


def ours(folder: Path, master: np.ndarray, closed: Closed, recipe: Recipe = SMALL) -> Served:
    copy = make_working_copy(write_pcm(folder / "master.wav", master), folder / "work.flac")
    got = render(copy.path, folder / "served.m4a", closed, recipe=recipe)
    return Served(got.path.read_bytes(), got.peaks, decode(got.path)[0])


def silent_from_the_start(master: np.ndarray, closed: Closed) -> np.ndarray:
    """Return the master as it would be had nobody spoken there, written without the package's own arithmetic.

    Zero inside and 2.5 ms beyond; then up to 5 ms a straight rise in 121 steps; rounded to 24 bits.
    """
    sound = master.astype(np.int64) // 256
    for a, b in closed_sets(closed):
        for place in range(max(0, a * 48 - 240), min(len(sound), b * 48 + 240)):
            away = a * 48 - place if place < a * 48 else place - b * 48 + 1 if place >= b * 48 else 0
            sound[place] = round(int(sound[place]) * max(0, away - 120) / 121)
    return (sound * 256).astype(np.int32)


def closed_sets(closed: Closed) -> Closed:
    """Join closed milliseconds the slow way: one by one."""
    all_ms = sorted({ms for a, b in closed for ms in range(a, b)})
    starts = [ms for ms in all_ms if ms - 1 not in set(all_ms)]
    ends = [ms + 1 for ms in all_ms if ms + 1 not in set(all_ms)]
    return list(zip(starts, ends, strict=True))


def with_other_words(master: np.ndarray, closed: Closed, seed: int = 99) -> np.ndarray:
    """Return a recording in which something else was said in the closed seconds, and nothing else differs."""
    other = as_24_bit(voice(len(master) / 48_000, seed, pitch_hz=210.0))
    swapped = master.copy()
    for a, b in closed:
        swapped[a * 48 : b * 48] = other[a * 48 : b * 48]
    return swapped


# --- what is demanded


def demand_same_bytes_whatever_was_said(archive: Archive, folder: Path, master: np.ndarray, closed: Closed) -> None:
    one, two = archive(folder, master, closed), archive(folder, with_other_words(master, closed), closed)
    assert one.data == two.data, "the served file depends on what was said"
    assert one.peaks == two.peaks, "the drawn peaks depend on what was said"


def demand_the_file_of_a_silent_recording(archive: Archive, folder: Path, master: np.ndarray, closed: Closed) -> None:
    one, two = archive(folder, master, closed), archive(folder, silent_from_the_start(master, closed), [])
    assert one.data == two.data, "the served file is not that of a recording silent from the start"
    assert one.peaks == two.peaks


def demand_silence_inside(archive: Archive, folder: Path, master: np.ndarray, closed: Closed) -> None:
    """Exact zero from 2048 samples inside each edge: an AAC packet is 2048 samples long (ISO/IEC 14496-3)."""
    heard = archive(folder, master, closed).heard
    for a, b in closed:
        assert not heard[a * 48 + 2_048 : max(a * 48 + 2_048, b * 48 - 2_048)].any(), "sound inside a closed span"


def demand_nothing_else_changes(archive: Archive, folder: Path, master: np.ndarray, closed: Closed) -> None:
    """Outside the chunks that a closure touches the player must make the very same samples as before."""
    before, after = archive(folder, master, []).heard, archive(folder, master, closed).heard
    assert len(before) == len(after)
    apart = np.flatnonzero(before != after)
    chunk = SMALL.chunk_packets * 1_024
    reach = chunk + (SMALL.roll_packets + 2) * 1_024
    near = np.zeros(len(before), bool)
    for a, b in closed:
        near[max(0, a * 48 - reach) : b * 48 + reach] = True
    assert near[apart].all(), "sound far from the closed seconds changed"


DEMANDS = [
    demand_same_bytes_whatever_was_said,
    demand_the_file_of_a_silent_recording,
    demand_silence_inside,
    demand_nothing_else_changes,
]


@pytest.fixture(scope="module")
def master() -> np.ndarray:
    return as_24_bit(voice(SECONDS))


@pytest.mark.parametrize("demand", DEMANDS)
@pytest.mark.parametrize("closed", RANGES.values(), ids=RANGES.keys())
def test_nothing_is_left(demand: Callable, closed: Closed, tmp_path: Path, master: np.ndarray) -> None:
    demand(ours, tmp_path, master, closed)


spans = st.lists(st.tuples(st.integers(0, 1_500), st.integers(0, 400)).map(lambda p: (p[0], p[0] + p[1])), max_size=4)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(closed=spans)
def test_nothing_is_left_for_any_spans(closed: Closed, tmp_path: Path) -> None:
    short = as_24_bit(voice(1.5, seed=4))
    demand_same_bytes_whatever_was_said(ours, tmp_path, short, closed)
    demand_the_file_of_a_silent_recording(ours, tmp_path, short, closed)


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 22_050, 44_100, 96_000])
def test_resampling_carries_nothing_out_of_a_closed_span(tmp_path: Path, rate_hz: int) -> None:
    """A resampler smears each sample over its neighbours: loud closed words must not reach what is kept."""
    said = voice(1.5, rate_hz=rate_hz)
    other = said.copy()
    inside = slice(round(0.5 * rate_hz), round(1.0 * rate_hz))
    other[inside] = np.random.default_rng(3).choice([-0.99, 0.99], len(other[inside]))
    files = []
    for number, sound in enumerate((said, other)):
        path = write_sound(tmp_path / f"{number}.wav", sound, rate_hz=rate_hz)
        copy = make_working_copy(path, tmp_path / f"{number}.flac")
        files.append(render(copy.path, tmp_path / f"{number}.m4a", [(500, 1_000)], recipe=SMALL).sha256)
    assert files[0] == files[1]


def test_a_clip_depends_on_nothing_outside_it(tmp_path: Path, master: np.ndarray) -> None:
    outside = [(0, 1_000), (3_000, 4_000)]
    other = with_other_words(master, outside)
    digests = set()
    for number, sound in enumerate((master, other)):
        copy = make_working_copy(write_pcm(tmp_path / "a.wav", sound), tmp_path / "a.flac")
        clip = render(copy.path, tmp_path / f"{number}.m4a", [(1_500, 1_600)], 1_000, 3_000, recipe=SMALL)
        digests.add((clip.sha256, clip.peaks))
    assert len(digests) == 1


def test_the_chunk_folder_of_one_recording_does_not_colour_another(tmp_path: Path, master: np.ndarray) -> None:
    """Chunks kept from before a closure, and from a recording with other words, change nothing."""
    store = tmp_path / "chunks"
    for sound in (master, with_other_words(master, CLOSED)):
        copy = make_working_copy(write_pcm(tmp_path / "a.wav", sound), tmp_path / "a.flac")
        render(copy.path, tmp_path / "open.m4a", [], chunk_dir=store, recipe=SMALL)
        got = render(copy.path, tmp_path / "served.m4a", CLOSED, chunk_dir=store, recipe=SMALL)
        assert got.path.read_bytes() == ours(tmp_path, master, CLOSED).data


# --- byte search: supporting evidence only


def windows(data: bytes) -> set[bytes]:
    return {data[i : i + 16] for i in range(len(data) - 15)}


def test_no_sixteen_closed_bytes_are_in_the_served_file(tmp_path: Path, master: np.ndarray) -> None:
    """The open file holds all of them (control), planted ones are found (control), the served file has none.

    Packets next to the edges are left out: they also hold kept sound.
    """
    opened = ours(tmp_path, master, [])
    closed_packets = packets_of(tmp_path / "served.m4a")[300 * 48 // 1024 + 3 : 1_100 * 48 // 1024 - 2]
    secret = set().union(*map(windows, closed_packets))
    assert len(secret) > 1_000
    assert secret <= windows(opened.data)
    served = ours(tmp_path, master, CLOSED).data
    assert not secret & windows(served)
    planted = served[:5_000] + closed_packets[7][:40] + served[5_000:]
    assert len(secret & windows(planted)) >= 25


# --- wrong ways, each of which must be caught


def with_noise_substitution(folder: Path, master: np.ndarray, closed: Closed) -> Served:
    """Noise substitution on: the decoder's one random sequence runs through the whole file.

    With the fast coder, since FFmpeg 8's other one never substitutes at constant quality.
    """
    return ours(folder, master, closed, SMALL._replace(noise_substitution=True, coder="fast", quality=0.5))


def with_peaks_of_the_master(folder: Path, master: np.ndarray, closed: Closed) -> Served:
    return ours(folder, master, closed)._replace(peaks=pcm_peaks(master[None, :]).tobytes())


def muted_frame_by_frame(folder: Path, master: np.ndarray, closed: Closed) -> Served:
    """A mute that decides once per frame of 1024 samples, by the frame's start."""
    quiet = master.copy()
    for a, b in closed:
        for start in range(0, len(quiet), 1_024):
            if a * 48 <= start < b * 48:
                quiet[start : start + 1_024] = 0
    return ours(folder, quiet, [])


def _encode(master: np.ndarray, codec: str, options: dict[str, str], bit_rate: int) -> list[bytes]:
    encoder = av.CodecContext.create(codec, "w")
    encoder.sample_rate, encoder.layout, encoder.format = 48_000, "mono", "fltp"
    encoder.bit_rate, encoder.options = bit_rate, options
    encoder.open()
    size = encoder.frame_size
    packets: list[bytes] = []
    for start in range(0, len(master) - size + 1, size):
        block = (master[start : start + size] / 2**31).astype(np.float32)[None, :]
        frame = av.AudioFrame.from_ndarray(block, format="fltp", layout="mono")
        frame.sample_rate, frame.pts = 48_000, start
        packets += [bytes(packet) for packet in encoder.encode(frame)]
    return packets + [bytes(packet) for packet in encoder.encode(None)]


def _swap_packets(open_ones: list[bytes], silent: list[bytes], closed: Closed, size: int) -> bytes:
    """Replace each packet that sounds inside a closed span, with a packet's width to spare, by a silent one."""
    out = []
    for number, packet in enumerate(open_ones):
        at = (number - 1) * size
        hit = any(a * 48 - 3 * size < at < b * 48 + size for a, b in closed)
        out.append(silent[min(number, len(silent) - 1)] if hit else packet)
    return b"".join(out)


def _copying_packets(codec: str, options: dict[str, str], bit_rate: int, size: int) -> Archive:
    def archive(folder: Path, master: np.ndarray, closed: Closed) -> Served:
        packets = _encode(master, codec, options, bit_rate)
        silent = _encode(np.zeros_like(master), codec, options, bit_rate)
        data = _swap_packets(packets, silent, closed, size)
        return Served(data, b"", np.zeros(len(master)))

    return archive


copying_packets_at_a_mean_rate = _copying_packets("aac", {"flags": "+bitexact", "aac_pns": "0"}, 64_000, 1_024)
copying_packets_with_a_reservoir = _copying_packets("libmp3lame", {"flags": "+bitexact"}, 64_000, 1_152)

WRONG_WAYS = [
    (with_noise_substitution, demand_nothing_else_changes),
    (with_peaks_of_the_master, demand_same_bytes_whatever_was_said),
    (with_peaks_of_the_master, demand_the_file_of_a_silent_recording),
    (muted_frame_by_frame, demand_same_bytes_whatever_was_said),
    (muted_frame_by_frame, demand_the_file_of_a_silent_recording),
    (copying_packets_at_a_mean_rate, demand_same_bytes_whatever_was_said),
    (copying_packets_with_a_reservoir, demand_same_bytes_whatever_was_said),
]


@pytest.mark.parametrize(("wrong", "demand"), WRONG_WAYS)
def test_a_wrong_way_is_caught(wrong: Archive, demand: Callable, tmp_path: Path, master: np.ndarray) -> None:
    with pytest.raises(AssertionError):
        demand(wrong, tmp_path, master, CLOSED)


def test_the_wrong_ways_would_pass_if_nothing_were_hidden(tmp_path: Path, master: np.ndarray) -> None:
    """The control for the controls: the demands do not fail for some other reason."""
    for wrong, demand in WRONG_WAYS:
        demand(wrong, tmp_path, master, [])
