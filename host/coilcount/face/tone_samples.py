"""Turns tones into samples of 16 bit, and writes them as a WAV file.  Plain Python: numpy is not needed."""

import contextlib
import functools
import math
import wave
from array import array
from collections.abc import Sequence
from dataclasses import replace
from typing import IO, Self

from coilcount.face.tone import Tone

# Samples a second: enough for tones of up to 2000 Hz, and half the bytes of 44,100.
RATE_HZ = 22_050
BYTES = 2  # of a sample
FULL_SCALE = 32_767
# Seconds, chosen by hand.  The edges of a tone, and of its pieces, rise and fall in this time: a jump would click.
FADE_S = 0.008
CUT_S = 0.012  # silence between two pieces
# The length in a WAV file's header has 32 bits, and counts 36 bytes of the header.
MOST_WAV_BYTES = 2**32 - 1 - 36
_SILENCE = bytes(BYTES * RATE_HZ)  # one second


def samples(tone: Tone) -> array:
    """The samples of a tone: type code "h", RATE_HZ a second.  It begins and ends at 0."""
    count = sample_at(tone.length_s)
    envelope = _envelope(count, tone.pieces)
    step = 2 * math.pi * tone.from_hz / RATE_HZ  # radians a sample
    growth = (tone.to_hz / tone.from_hz) ** (1 / count)
    peak = math.floor(FULL_SCALE * tone.peak)
    phase = 0.0
    found = array("h", bytes(BYTES * count))
    for number in range(count):
        found[number] = round(peak * envelope[number] * math.sin(phase))
        phase += step
        step *= growth
    return found


def sample_at(time_s: float) -> int:
    """The number of the sample at a time in seconds."""
    return round(time_s * RATE_HZ)


@functools.lru_cache(maxsize=16)
def _envelope(count: int, pieces: int) -> Sequence[float]:
    """Loudness of each of `count` samples, 0 to 1: `pieces` pieces with soft edges and silence between them."""
    cut = sample_at(CUT_S)
    piece = (count - (pieces - 1) * cut) // pieces
    fade = min(sample_at(FADE_S), piece // 2)
    rise = [0.5 - 0.5 * math.cos(math.pi * number / fade) for number in range(fade)]
    whole = [*rise, *[1.0] * (piece - 2 * fade), *reversed(rise)]
    found = array("d", bytes(8 * count))
    for number in range(pieces):
        start = number * (piece + cut)
        found[start : start + piece] = array("d", whole)
    return found


def wav_bytes(duration_s: float) -> int:
    """The size of a WAV file of this length, in bytes."""
    return 44 + BYTES * sample_at(duration_s)


class TooLongError(ValueError):
    """The sound is longer than a WAV file can be."""


class WavTrack:
    """Tones in a WAV file: mono, 16 bit, RATE_HZ.  Memory does not grow with the length.

    Use as a context manager, put() the tones, then end().
    """

    def __init__(self, file: IO[bytes]) -> None:
        """file: a binary file, open for writing, in which seek() works; it stays open."""
        self.start_s = 0.0  # the board's time at the first sample; set it before the first tone
        self._wave = wave.open(file, "wb")  # noqa: SIM115 - __exit__ closes it
        self._wave.setnchannels(1)
        self._wave.setsampwidth(BYTES)
        self._wave.setframerate(RATE_HZ)
        self._done = 0  # samples
        self._last: Tone | None = None  # waits for the next tone, or for the end of the recording

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *raised: object) -> None:
        # After a failure the file is thrown away, and its disk may be full: the error that is under way counts.
        with contextlib.suppress(OSError) if any(raised) else contextlib.nullcontext():
            self._wave.close()

    def put(self, tone: Tone) -> None:
        """Add a tone behind all others.  Raises OSError, and TooLongError for a file of more than 4 GB."""
        self._write_last()
        self._last = tone

    def end(self, duration_s: float) -> None:
        """The recording ends duration_s after the first sample: so does the file.  Raises as put()."""
        tone = self._last
        if tone is not None and tone.end_s > self.start_s + duration_s:
            length_s = self.start_s + duration_s - tone.start_s
            self._last = replace(tone, length_s=length_s, pieces=1) if length_s > 2 * FADE_S else None
        self._write_last()
        self._silence_until(duration_s)

    def _write_last(self) -> None:
        if self._last is not None:
            self._silence_until(self._last.start_s - self.start_s)
            self._write(samples(self._last).tobytes())
            self._last = None

    def _silence_until(self, time_s: float) -> None:
        if BYTES * sample_at(time_s) > MOST_WAV_BYTES:
            raise TooLongError  # before gigabytes of silence are written
        missing = BYTES * (sample_at(time_s) - self._done)
        while missing > 0:
            part = _SILENCE[:missing]
            self._write(part)
            missing -= len(part)

    def _write(self, data: bytes) -> None:
        if BYTES * self._done + len(data) > MOST_WAV_BYTES:
            raise TooLongError
        self._wave.writeframesraw(data)
        self._done += len(data) // BYTES
