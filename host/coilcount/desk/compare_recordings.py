"""Leaves out recordings that both sides of a comparison hold, by their contents."""

import gzip
import hashlib
import zlib
from collections.abc import Callable, Sequence
from pathlib import Path

from coilcount.capture.failures import cannot_read
from coilcount.desk.recordings import Recording

_CHUNK_BYTES = 1 << 20  # read at once; chosen by hand


def without_common(
    a: Sequence[Recording], b: Sequence[Recording], caution: Callable[[str], None]
) -> tuple[list[Recording], list[Recording]]:
    """Leave out of both sides the recordings that both hold: they cannot show a difference."""
    in_a, in_b = ({content(recording): recording for recording in side} for side in (a, b))
    for key in in_a.keys() & in_b.keys():
        caution(f"{in_a[key].name}: given to A and to B; left out of both")
    return [in_a[key] for key in in_a if key not in in_b], [in_b[key] for key in in_b if key not in in_a]


def content(recording: Recording) -> str:
    """SHA-256 of what the parts hold, unpacked.  Raises InputError if a part cannot be opened."""
    digest = hashlib.sha256()
    for part in recording.parts:
        path = Path(part)
        opened = gzip.open if path.suffix == ".gz" else open
        try:
            with opened(path, "rb") as file:
                while chunk := file.read(_CHUNK_BYTES):
                    digest.update(chunk)
        except (EOFError, zlib.error, gzip.BadGzipFile):
            digest.update(path.read_bytes())  # damaged: what it holds as it lies on the disk
        except OSError as error:
            raise cannot_read(error, path) from None
    return digest.hexdigest()
