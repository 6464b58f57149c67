"""Settings files that a command writes: where they come from, and the settings that are not defaults."""

import contextlib
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from coilcount.errors import InputError
from coilcount.settings import Settings
from coilcount.text import printable

_COLUMNS = 110  # of the comments; chosen by hand


def new_settings_path(word: str | None) -> Path | None:
    """The path of --save-settings; None if it was not given.  Raises InputError if the file exists."""
    path = None if word is None else Path(word)
    if path is not None and path.exists():
        raise InputError("the file exists and is not overwritten", str(path), "Give --save-settings another name")
    return path


def settings_text(settings: Settings, tracker: Mapping[str, Any], comments: Sequence[str]) -> str:
    """A settings file: `comments`, and the settings that are not defaults, with those of `tracker` put over them."""
    from coilcount.settings import BY_DEFAULT, SCHEMA, SECTIONS, toml_line

    lines = [f"# {line}" for comment in comments for line in _wrapped(printable(comment))]
    lines.append(f"schema = {SCHEMA}")
    values = settings.as_dict()
    for section, rows in SECTIONS.items():
        kept = {
            row.name: values[section][row.name]
            for row in rows
            if settings.origins[f"{section}.{row.name}"] != BY_DEFAULT
        }
        if section == "tracker":
            kept |= tracker
        if kept:
            lines += ["", f"[{section}]", *(toml_line(name, value) for name, value in kept.items())]
    return "\n".join(lines) + "\n"


def _wrapped(comment: str) -> list[str]:
    return textwrap.wrap(comment, _COLUMNS, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)


@contextlib.contextmanager
def saved(out: Path, text: str) -> Iterator[None]:
    """Write `text` to a new file.  The file appears after the body of the `with`, or not at all."""
    from coilcount.capture.failures import cannot_write
    from coilcount.new_files import new_file

    try:
        with new_file(out) as file:
            file.write(text)
            yield
    except OSError as error:
        raise cannot_write(error, out) from None
