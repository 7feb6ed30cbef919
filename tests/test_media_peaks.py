"""Peaks: fifty pairs a second, from renditions and silenced samples only."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest

from archive.media.decode import sound_blocks
from archive.media.errors import MediaError
from archive.media.peaks import pcm_peaks, peaks_of
from archive.media.rendition import render
from archive.media.working import make_working_copy
from tests.media_sounds import as_24_bit, voice, write_pcm, write_sound


def test_peaks_are_the_lowest_and_highest_sample_of_each_fiftieth() -> None:
    pcm = as_24_bit(voice(1.0))[None, :]
    by_hand = []
    for start in range(0, 48_000, 960):
        part = [int(value) / 2**24 for value in pcm[0, start : start + 960]]
        by_hand.append((int(np.floor(min(part))), min(127, int(np.ceil(max(part))))))
    assert pcm_peaks(pcm).tolist() == [list(pair) for pair in by_hand]


@pytest.mark.parametrize(
    ("value", "pair"), [(0, [0, 0]), (1, [0, 1]), (-1, [-1, 0]), (32_767, [127, 127]), (-32_768, [-128, -128])]
)
def test_full_scale_and_the_faintest_sound(value: int, pair: list[int]) -> None:
    assert pcm_peaks(np.full((1, 960), value, np.int16)).tolist() == [pair]


def test_both_channels_count() -> None:
    pcm = np.zeros((2, 1_920), np.int16)
    pcm[0, 5], pcm[1, 7] = 25_600, -25_600
    assert pcm_peaks(pcm).tolist() == [[-100, 100], [0, 0]]


def test_the_last_pair_may_be_short() -> None:
    pcm = np.full((1, 961), 256, np.int16)
    assert pcm_peaks(pcm).tolist() == [[1, 1], [1, 1]]


def test_peaks_of_a_rendition_are_fifty_a_second_and_flat_where_it_is_closed(tmp_path: Path) -> None:
    copy = make_working_copy(write_pcm(tmp_path / "a.wav", as_24_bit(voice(7.01))), tmp_path / "a.flac")
    got = peaks_of(render(copy.path, tmp_path / "a.m4a", [(2_000, 4_000)]).path)
    assert got.shape == (351, 2)
    assert got.dtype == np.int8
    assert not got[103:197].any()
    assert got[:100].any(axis=1).all()


@pytest.mark.parametrize("channels", [1, 2])
def test_a_rendition_is_decoded_as_ffmpeg_does_packet_by_packet(tmp_path: Path, channels: int) -> None:
    sound = np.stack([as_24_bit(voice(5.01, seed)) for seed in range(channels)])
    copy = make_working_copy(write_pcm(tmp_path / "a.wav", sound), tmp_path / "a.flac")
    path = render(copy.path, tmp_path / "a.m4a", [(2_000, 2_500)]).path
    with av.open(str(path)) as container:
        plainly = np.concatenate([frame.to_ndarray() for frame in container.decode(audio=0)], axis=1)
    assert np.array_equal(np.concatenate(list(sound_blocks(path, 48_000)), axis=1), plainly[:, : sound.shape[1]])
    path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(MediaError) as told:
        peaks_of(path)
    assert told.value.code == "damaged"


@pytest.mark.parametrize(
    ("name", "codec", "more"),
    [
        ("a.wav", "pcm_s24le", {}),
        ("a.flac", "flac", {}),
        ("a.m4a", "aac", {"container": "ipod"}),
    ],
)
def test_peaks_of_a_master_are_refused(tmp_path: Path, name: str, codec: str, more: dict) -> None:
    master = write_sound(tmp_path / name, voice(1.0), codec, **more)
    with pytest.raises(MediaError, match="not a rendition") as told:
        peaks_of(master)
    assert told.value.code == "not_rendition"


def test_what_cannot_be_decoded_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.m4a").write_bytes(b"nothing")
    with pytest.raises(MediaError) as told:
        peaks_of(tmp_path / "a.m4a")
    assert told.value.code == "damaged"
