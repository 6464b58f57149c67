"""The results of `check --build` beside a plan: PLAN.check.toml, PLAN.check-2.toml and so on.  None is overwritten."""

import hashlib
import re
from pathlib import Path
from typing import Any

from coilcount.errors import InputError

_NOUN = "result of check --build"
_MOST = 9999  # results beside one plan; chosen by hand


def kept(plan_path: str | Path) -> list[Path]:
    """The results beside a plan, the latest first."""
    path = Path(plan_path)
    name = re.compile(re.escape(path.stem) + r"\.check(?:-([1-9]\d{0,3}))?\.toml")
    try:
        others = list(path.parent.iterdir())
    except OSError:  # the folder cannot be listed: then nothing in it can be used
        return []
    found = [(int(match[1] or 1), other) for other in others if (match := name.fullmatch(other.name))]
    return [other for _, other in sorted(found, reverse=True)]


def read_latest(
    plan_path: str | Path, plan_sha256: str, simulated: bool
) -> tuple[Path | None, Any, dict[str, Any] | None]:
    """(path, BuildCheck, {"file", "sha256", "check"} for a capture's header) of the latest result of this very plan.

    simulated: whether results of a simulated coil count; those of a real one always do.  All three are None without a
    result, the last two also if the plan file has changed since.  Raises InputError if a file is no result.
    """
    for path in kept(plan_path):
        check, for_header = _read(path)
        if check.plan_sha256 != plan_sha256:
            return path, None, None
        if simulated or not check.simulated:
            return path, check, for_header
    return None, None, None


def usual_amplitude_v(plan_path: str | Path, plan_sha256: str, simulated: bool) -> float | None:
    """The amplitude in V that the board sent in the latest result in which nothing failed; None without one.

    simulated: whether the coil is simulated; only results of the same kind count.
    """
    for path in kept(plan_path):
        check, _ = _read(path)
        same = check.plan_sha256 == plan_sha256 and check.simulated == simulated
        if same and not check.failed and check.amplitude_v is not None:
            return check.amplitude_v
    return None


def _read(path: Path) -> tuple[Any, dict[str, Any]]:
    from coilcount.schema import toml_text
    from coilcount.schema.build_check import build_check_of

    data = toml_text.read_bytes(path, _NOUN)
    raw, _ = toml_text.parse(data, str(path), _NOUN)
    try:
        check = build_check_of(raw, str(path))
    except InputError as error:
        raise InputError(error.what, error.where, f"{error.remedy or 'Correct it'}, or move this file away") from None
    return check, {"file": path.name, "sha256": hashlib.sha256(data).hexdigest(), "check": raw}


def save(plan_path: str | Path, check: Any) -> Path:
    """Write a BuildCheck under the next free name beside the plan.  Raises CoilcountError if it cannot be written."""
    from coilcount.capture.failures import cannot_write
    from coilcount.new_files import new_file
    from coilcount.schema.tables import to_toml

    path = Path(plan_path)
    number = 1
    if paths := kept(path):
        number += int((re.search(r"\.check-(\d+)\.toml$", paths[0].name) or (0, 1))[1])
    while True:
        name = f"{path.stem}.check{'' if number == 1 else f'-{number}'}.toml"
        try:
            with new_file(path.with_name(name)) as file:
                file.write("# Written by coilcount check --build. A recording made with --build carries the latest.\n")
                file.write(to_toml(check))
            return path.with_name(name)
        except FileExistsError as error:  # another check took the name meanwhile
            if number >= _MOST:
                raise cannot_write(error, path.with_name(name)) from None
            number += 1
        except OSError as error:
            raise cannot_write(error, path.with_name(name)) from None
