"""Made-up sounds and small files for the tests of archive.media. All of it is computed; nobody speaks in it."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np

RATE_HZ = 48_000
BLOCK = 4_800


def voice(seconds: float, seed: int = 1, rate_hz: int = RATE_HZ, pitch_hz: float = 140.0) -> np.ndarray:
    """Return something like talk: harmonics under a syllable rhythm, and noise; float64 in [-1, 1]."""
    rng = np.random.default_rng(seed)
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    knots = np.arange(0, seconds + 0.2, 0.12)
    syllables = np.interp(time, knots, rng.random(len(knots)))
    glide = np.cumsum(pitch_hz * (1 + 0.1 * np.sin(2 * np.pi * 0.7 * time + seed))) / rate_hz
    tones = sum(np.sin(2 * np.pi * k * glide + rng.random() * 6) / k for k in range(1, 20))
    hiss = rng.normal(0, 0.05, len(time)) * syllables + rng.normal(0, 0.002, len(time))
    return np.clip(0.25 * syllables**2 * tones + hiss, -0.99, 0.99)


def as_24_bit(sound: np.ndarray) -> np.ndarray:
    """Return floats as 24-bit samples in the upper bits of int32, as decoders give them."""
    return np.rint(sound * 8_388_607).astype(np.int32) << 8


FORMATS = {
    "pcm_u8": ("u8", 128, 127, np.uint8),
    "pcm_s16le": ("s16", 0, 32_767, np.int16),
    "pcm_s24le": ("s32", 0, 2_147_483_647 - 255, np.int32),
    "pcm_s32le": ("s32", 0, 2_147_483_647, np.int32),
    "pcm_f32le": ("flt", 0, 1, np.float32),
    "pcm_f64le": ("dbl", 0, 1, np.float64),
}


def write_sound(
    path: Path,
    sound: np.ndarray,
    codec: str = "pcm_s24le",
    rate_hz: int = RATE_HZ,
    container: str | None = None,
    options: dict[str, str] | None = None,
    film: bool = False,
    delay_s: float = 0.0,
) -> Path:
    """Write floats in [-1, 1], shape (samples,) or (channels, samples), with any encoder PyAV has."""
    sound = np.atleast_2d(sound)
    layout = {1: "mono", 2: "stereo", 6: "5.1"}[len(sound)]
    name, middle, full, kind = FORMATS.get(codec, ("flt", 0, 1, np.float32))
    packed = np.ascontiguousarray((sound.T * full + middle).reshape(1, -1)).astype(kind)
    with av.open(str(path), "w", format=container) as out:
        picture = _add_film(out) if film else None
        stream = out.add_stream(codec, rate=rate_hz, layout=layout, options=options or {})
        if picture:
            _write_film(out, picture, sound.shape[1] / rate_hz)
        for start in range(0, sound.shape[1], BLOCK):
            block = packed[:, start * len(sound) : (start + BLOCK) * len(sound)]
            frame = av.AudioFrame.from_ndarray(block, format=name, layout=layout)
            frame.sample_rate, frame.time_base = rate_hz, Fraction(1, rate_hz)
            frame.pts = start + round(delay_s * rate_hz)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


def _add_film(out: av.container.OutputContainer) -> av.VideoStream:
    codec = "libvpx-vp9" if out.format.name == "webm" else "mpeg4"
    picture = out.add_stream(codec, rate=5)
    picture.width, picture.height, picture.pix_fmt = 32, 32, "yuv420p"
    return picture


def _write_film(out: av.container.OutputContainer, picture: av.VideoStream, seconds: float) -> None:
    for number in range(max(1, round(seconds * 5))):
        frame = av.VideoFrame.from_ndarray(np.full((32, 32, 3), number % 250, np.uint8), format="rgb24")
        frame.pts, frame.time_base = number, Fraction(1, 5)
        out.mux(picture.encode(frame))
    out.mux(picture.encode(None))


def write_pcm(path: Path, pcm: np.ndarray) -> Path:
    """Write 24-bit samples (upper bits of int32), shape (samples,) or (channels, samples), to a WAV at 48 kHz."""
    pcm = np.atleast_2d(pcm)
    layout = {1: "mono", 2: "stereo"}[len(pcm)]
    with av.open(str(path), "w", format="wav") as out:
        stream = out.add_stream("pcm_s24le", rate=RATE_HZ, layout=layout)
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(pcm.T.reshape(1, -1)), format="s32", layout=layout)
        frame.sample_rate = RATE_HZ
        out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


def decode(path: Path) -> np.ndarray:
    """Return all of a file's sound as FFmpeg gives it, shape (channels, samples)."""
    with av.open(str(path)) as container:
        parts = []
        for frame in container.decode(audio=0):
            pcm = frame.to_ndarray()
            parts.append(pcm if frame.format.is_planar else pcm.reshape(frame.samples, -1).T)
    return np.concatenate(parts, axis=1)


def packets_of(path: Path) -> list[bytes]:
    """Return a file's audio packets."""
    with av.open(str(path)) as container:
        return [bytes(packet) for packet in container.demux(container.streams.audio[0]) if packet.size]
