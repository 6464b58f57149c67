"""Fingerprints of the code that makes data and results, for the names of the files that keep them.

Comments, docstrings and layout do not count.  So data are made again after a change of the physics, the simulator or
the scenes, results of the tracker also after a change of the tracker, and neither after a change of words.
"""

import ast
import hashlib
from functools import cache
from pathlib import Path

import coilcount

HERE = Path(__file__).resolve().parent
HOST = Path(coilcount.__file__).resolve().parent
# What the data depend on: folders and files below the host's package, and files of this folder.
MADE_BY = ("physics", "simulate", "desk/spectrum.py", "tracker/series.py")
MADE_HERE = ("conditions.py", "objects.py", "spectrum.py", "series.py")
# What the results of a method depend on, besides the data and the tracker itself.
RUN_HERE = ("bound.py", "rivals.py", "score.py", "study.py", "trackers.py")
TRACKER = HOST / "tracker"


@cache
def fingerprint() -> str:
    """Return eight hexadecimal digits that change with the code that makes the data."""
    paths = [HERE / name for name in MADE_HERE]
    for name in MADE_BY:
        paths += sorted((HOST / name).rglob("*.py")) if (HOST / name).is_dir() else [HOST / name]
    return _digest(paths)


@cache
def fingerprint_of_results(with_tracker: bool) -> str:
    """Return the same for the code that runs a method over the data.

    with_tracker: the method runs the tracker; False for the bound and the other methods.
    """
    paths = [HERE / name for name in RUN_HERE]
    return _digest(paths + (sorted(TRACKER.glob("*.py")) if with_tracker else []))


def _digest(paths: list[Path]) -> str:
    digest = hashlib.sha256()
    for path in paths:
        digest.update(_meaning(path.read_text()).encode())
    return digest.hexdigest()[:8]


def _meaning(source: str) -> str:
    """Return the parsed source as text, without comments and docstrings."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if not isinstance(body, list) or not body or not isinstance(body[0], ast.Expr):
            continue
        if isinstance(body[0].value, ast.Constant) and isinstance(body[0].value.value, str):
            body[0] = ast.Pass()
    return ast.dump(tree)
