"""Which modules a board needs: main.py, and every module that it imports directly or through others.

The import statements decide.  A module that nothing on the board imports stays on the host.
"""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from coilcount.deploy import firmware_files

MAIN = "/main.py"
# Folders on a board that hold nothing but packages of coilcount.
PACKAGE_FOLDERS = ("/lib/coilwire/", "/lib/coiltrack/")


@dataclass(frozen=True, slots=True)
class BoardFile:
    """One file for the board.  path: absolute, on the board."""

    path: str
    data: bytes


def board_files() -> list[BoardFile]:
    """Return the sources that a board needs, main.py last.  Raises InputError if the firmware's files are missing."""
    wire, track = PACKAGE_FOLDERS
    folders = {
        "/": firmware_files.firmware_folder(),
        wire: firmware_files.coilwire_folder(),
        track: firmware_files.tracker_folder(),
    }
    # Without subfolders: firmware/virtual and firmware/hardware are not for a board.
    available = {place + path.name: path for place, folder in folders.items() for path in folder.glob("*.py")}
    return [
        BoardFile(path, available[path].read_bytes())
        for path in sorted(needed(available), key=lambda path: (path == MAIN, path))
    ]


def needed(available: dict[str, Path]) -> set[str]:
    """Return the paths on the board of main.py and of all that it imports.

    available: the source of each module of coilcount by its path on the board.
    """
    found: set[str] = set()
    waiting = [MAIN]
    while waiting:
        path = waiting.pop()
        if path in found or path not in available:
            continue
        found.add(path)
        for name in _imported(path, available[path].read_text(encoding="utf-8")):
            parts = name.split(".")
            for count in range(1, len(parts) + 1):
                place = "/".join(parts[:count])
                waiting += [f"/{place}.py", f"/lib/{place}.py", f"/lib/{place}/__init__.py"]
    return found


def _imported(path: str, source: str) -> Iterator[str]:
    """Iterate over the dotted names that a module may import, also those in functions.

    `from a import b` gives `a.b`, because b may be a module.  path: of the module on the board.
    """
    package = path.removeprefix("/lib/").split("/")[:-1]
    for node in ast.walk(ast.parse(source, path)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            # A relative import has a level: 1 is the module's own package.
            before = package[: len(package) + 1 - node.level] if node.level else []
            base = ".".join([*before, node.module] if node.module else before)
            yield from (f"{base}.{alias.name}" for alias in node.names)
