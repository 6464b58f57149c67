"""`replay --sound`: the sweep of one capture as a WAV file, in recorded time."""

import contextlib
from collections.abc import Sequence
from typing import Any

from coilcount.errors import InputError

STDOUT = "-"
# Bytes from which the size is reported before the work: about 40 minutes.  Chosen by hand.
_LARGE_BYTES = 100e6


def check_sound(args: Any, recordings: Sequence[Any]) -> None:
    """Raises InputError if --sound does not fit the other arguments, or if its file cannot be made.

    recordings: those that FILE names.
    """
    import os

    from coilcount.capture.length import about_length_s
    from coilcount.face.say import warn
    from coilcount.face.times import length
    from coilcount.face.tone_samples import MOST_WAV_BYTES, wav_bytes

    if args.sound is None:
        return
    if len(recordings) > 1:
        raise InputError("--sound takes one recording", remedy="Give one FILE, or run once for each")
    if args.sound == STDOUT:
        raise InputError(
            "a WAV file cannot go to standard output: its length stands at its beginning",
            remedy="Give --sound the name of a new file",
        )
    if os.path.lexists(args.sound):
        raise InputError("the file exists", args.sound, "Nothing is ever overwritten: give another name")
    duration_s = about_length_s(recordings[0].parts[0], recordings[0].parts[-1])
    if duration_s is None:
        return
    size = wav_bytes(duration_s)
    if size > MOST_WAV_BYTES:
        raise too_long(recordings[0].name)
    if size > _LARGE_BYTES and not args.quiet:
        warn(f"{args.sound}: about {size / 1e6:.0f} MB, for {length(duration_s)} of sound")


def too_long(file: str) -> InputError:
    """The error for a capture that is longer than a WAV file can be."""
    return InputError(
        "the recording is too long for --sound: a WAV file holds at most 27 h (4 GB)", file, "Give a shorter one"
    )


class SoundFile:
    """Give it every output of the chain, points included; use as a context manager.

    The file appears when it is whole.  Its first sample is the beginning of the first reading, its length that of the
    recording.
    """

    def __init__(self, path: str, file: str, chain: Any) -> None:
        from coilcount.face.tone import Voice

        self._path = path
        self._file = file
        self._chain = chain
        self._voice = Voice(lambda: chain.facts().threshold_ppm)
        self._started = False

    def __enter__(self) -> "SoundFile":
        from coilcount.capture.failures import cannot_write
        from coilcount.face.tone_samples import WavTrack
        from coilcount.new_files import new_file

        self._stack = contextlib.ExitStack()
        try:
            self._track = self._stack.enter_context(WavTrack(self._stack.enter_context(new_file(self._path, "wb"))))
        except OSError as error:
            raise cannot_write(error, self._path) from None
        return self

    def __exit__(self, *raised: Any) -> None:
        from coilcount.capture.failures import cannot_write

        try:
            self._stack.__exit__(*raised)
        except OSError as error:
            raise cannot_write(error, self._path) from None

    def begin(self, entry: Any) -> None:
        """Take each entry before the chain does: the times of imported readings need not begin at 0."""
        from coilcount.model import Imported

        if not self._started and type(entry) is Imported:
            self._started = True
            self._track.start_s = entry.time_s

    def take(self, output: Any) -> None:
        """Add the tones that begin with this output; the summary ends the sound.

        Raises InputError for a capture without readings and for one that is too long, StorageError for a full disk.
        """
        from coilcount.capture.failures import cannot_write
        from coilcount.face.tone_samples import TooLongError
        from coilcount.model import Summary

        try:
            for tone in self._voice.take(output):
                self._track.put(tone)
            if type(output) is Summary:
                if not output.records:
                    raise InputError("the capture holds no readings, so there is no sound", self._file)
                self._track.end(output.duration_s)
        except TooLongError:
            raise too_long(self._file) from None
        except OSError as error:
            raise cannot_write(error, self._path) from None
