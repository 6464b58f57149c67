"""Makes the report page: one HTML file with its style, its script and its data, which needs no network.

The content policy in the page allows exactly this style and this script, by their hashes, and nothing else: no request,
no frame, no form, no text that becomes code.
"""

import base64
import hashlib
from collections.abc import Iterable
from html import escape
from importlib.resources import files

from coilcount import __version__
from coilcount.face.page_data import packed
from coilcount.model.report import PageRecording
from coilcount.text import printable

# In the order in which they are joined to one script.  Each file has one job; main.js connects them.
SCRIPTS = (
    "words.js",
    "unpack.js",
    "timeline.js",
    "judge.js",
    "labels.js",
    "label_file.js",
    "view.js",
    "canvas.js",
    "plot_lanes.js",
    "shift_lane.js",
    "plot.js",
    "overview.js",
    "hands.js",
    "curve.js",
    "slow.js",
    "tables.js",
    "label_form.js",
    "about.js",
    "label_actions.js",
    "choice.js",
    "main.js",
)


def page_html(recordings: Iterable[PageRecording]) -> str:
    """The text of the page.  recordings: at least one; each is packed as it comes and not kept."""
    names, elements = [], []
    for recording in recordings:
        names.append(printable(recording.replay.name))
        elements.append(_data(recording))
    style = _file("page.css")
    script = '"use strict";\n(() => {\n' + "\n".join(_file(name) for name in SCRIPTS) + "\n})();\n"
    policy = (
        f"default-src 'none'; script-src '{_hash(script)}'; style-src '{_hash(style)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    title = names[0] + (f" and {len(names) - 1} more" if len(names) > 1 else "")
    parts = {
        "POLICY": policy,
        "TITLE": escape(title),
        "VERSION": escape(__version__),
        "STYLE": style,
        "DATA": "\n".join(elements),
        "SCRIPT": script,
    }
    # One pass over the template, so that nothing in an inserted part is taken for a place.
    pieces = _file("page.html").split("@@")
    return "".join(parts[piece] if number % 2 else piece for number, piece in enumerate(pieces))


def _data(recording: PageRecording) -> str:
    name = escape(printable(recording.replay.name))
    # Base64 has no "<", so nothing in a recording can end the element.
    return f'<script type="text/plain" class="recording" data-name="{name}">{packed(recording)}</script>'


def _file(name: str) -> str:
    return (files("coilcount.face") / "page" / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
