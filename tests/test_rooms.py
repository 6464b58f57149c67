"""Who may import whom: the table of DEVELOPERS.md, read from the code's own import statements."""

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
HOST = ROOT / "host" / "coilcount"

# room: (rooms and modules of ours, outside packages); the standard library is free unless STRICT says otherwise
SCIENCE = {"numpy", "scipy"}
COMMON = {"model", "errors", "settings", "new_files"}
PIPELINE = {"physics", "readings", "tracker", "capture"}
MAY = {
    "model": ({"model"}, set()),
    "errors": (set(), set()),
    "new_files": (set(), set()),
    "text": (set(), set()),
    "schema": ({"schema", "errors"}, set()),
    "settings": ({"errors", "schema", "tracker.defaults"}, set()),
    "tracker": ({"tracker"}, set()),
    "readings": ({"readings", "model", "errors", "coilwire", "tracker.records", "tracker.continuity"}, set()),
    "chain": (COMMON | {"chain", "coilwire", "readings", "tracker"}, set()),
    "physics": ({"physics"}, SCIENCE),
    "simulate": (COMMON | PIPELINE | {"text", "simulate", "schema", "coilwire"}, SCIENCE),
    "plan": (COMMON | {"schema", "plan", "physics", "tracker.defaults"}, SCIENCE),
    "desk": (COMMON | PIPELINE | {"desk", "chain", "coilwire"}, SCIENCE),
    "board": (COMMON | {"text", "board", "coilwire"}, {"serial"}),
    "check": (COMMON | {"check", "coilwire"}, set()),
    "deploy": (COMMON | {"text", "deploy", "board", "coilwire"}, {"mpremote"}),
    "virtual": (COMMON | {"text", "virtual", "deploy.firmware_files", "coilwire"}, set()),
    "capture": (COMMON | {"capture", "coilwire"}, set()),
    "live": (COMMON | {"live", "coilwire", "tracker.defaults"}, set()),
    "face": (COMMON | {"text", "face", "live", "coilwire"}, {"rich", "matplotlib"}),
}
# The wiring imports everything, but only inside its functions (checked below).
WIRING = ("commands/", "__main__.py")
# Rooms that run on the board as well: nothing but these of the standard library.
STRICT = {"tracker": {"math", "array", "collections"}, "coilwire": {"binascii", "collections"}}
HEAVY = {"numpy", "scipy", "matplotlib", "serial", "mpremote", "rich"}


def imported(path: Path, top_level_only: bool = False) -> set[str]:
    """Full names of what a file imports; relative imports are resolved to coilcount.… or coilwire.…"""
    package = module_name(path).split(".")
    if path.name != "__init__.py":
        package = package[:-1]
    found = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = tree.body if top_level_only else ast.walk(tree)
    for node in nodes:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(package[: len(package) - node.level + 1]) if node.level else ""
            base = ".".join(part for part in (base, node.module or "") if part)
            found |= {f"{base}.{alias.name}" for alias in node.names}
    return found


def module_name(path: Path) -> str:
    base = ROOT / ("host" if HOST in path.parents else "protocol")
    parts = list(path.relative_to(base).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def allowed(name: str, ours: set[str], outside: set[str], strict: set[str] | None) -> bool:
    parts = name.split(".")
    if parts[0] == "coilcount":
        inner = ".".join(parts[1:])
        return inner in ("__version__", "") or any(inner == may or inner.startswith(may + ".") for may in ours)
    if parts[0] == "coilwire":
        return "coilwire" in ours
    if parts[0] in outside:
        return True
    return parts[0] in strict if strict is not None else parts[0] in sys.stdlib_module_names


def room_of(path: Path) -> str:
    first = path.relative_to(HOST).parts[0]
    return first.removesuffix(".py")


def room_files() -> list[Path]:
    files = [path for path in sorted(HOST.rglob("*.py")) if path != HOST / "__init__.py"]
    return [path for path in files if not path.relative_to(HOST).as_posix().startswith(WIRING)]


@pytest.mark.parametrize("path", room_files(), ids=lambda path: path.relative_to(HOST).as_posix())
def test_a_room_imports_only_what_it_may(path):
    room = room_of(path)
    assert room in MAY, f"a new room: give {room} a row in MAY and in DEVELOPERS.md"
    ours, outside = MAY[room]
    wrong = {name for name in imported(path) if not allowed(name, ours, outside, STRICT.get(room))}
    assert not wrong
    if room in ("board", "face"):
        heavy = {name.split(".")[0] for name in imported(path)} & HEAVY
        assert len(heavy) <= 1, "one outside library each"


@pytest.mark.parametrize("path", sorted((ROOT / "protocol/coilwire").glob("*.py")), ids=lambda path: path.name)
def test_coilwire_stands_alone(path):
    wrong = {name for name in imported(path) if not allowed(name, {"coilwire"}, set(), STRICT["coilwire"])}
    assert not wrong


def test_the_wiring_loads_nothing_heavy_before_it_is_asked():
    files = sorted((HOST / "commands").glob("*.py"))
    assert len(files) > 5
    for path in files:
        top = {name.split(".")[0] for name in imported(path, top_level_only=True)}
        assert not top & HEAVY, path.name


def test_no_module_imports_itself_by_a_detour():
    """Imports inside functions count, too: a circle that hides there is a circle."""
    files = {module_name(path): path for path in HOST.rglob("*.py") if not path.name.startswith("__")}
    imports = {}
    for name, path in files.items():
        found = imported(path)
        imports[name] = sorted((found | {one.rpartition(".")[0] for one in found}) & files.keys() - {name})
    sound: set[str] = set()

    def circle(name: str, way: tuple[str, ...]) -> tuple[str, ...]:
        if name in way:
            return (*way[way.index(name) :], name)
        for other in () if name in sound else imports[name]:
            if found := circle(other, (*way, name)):
                return found
        sound.add(name)
        return ()

    circles = [circle(name, ()) for name in sorted(files)]
    assert not any(circles), circles
