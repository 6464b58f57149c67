"""What the tracker learned with this coil before: used at the start of `live` and `record`, and kept at the end.

Nothing in here ends or delays a recording.  What goes wrong becomes a warning, and the session starts without it.
"""

import argparse
import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from coilcount.commands.listening import Source
from coilcount.errors import InputError
from coilcount.model import Header

# Seconds of readings.  A state that comes from less is not kept, so that a short test does not take the place of a long
# sweep.  Chosen by hand: the tracker has learned most of the soil after half a minute.
LEAST_SWEPT_S = 30.0


def coil_name(build: dict[str, Any] | None, source: Source, scene: str) -> str:
    """The name under which the state of a coil is kept; "" if the coil cannot be told from others.

    It is the name or the file of the plan, else the scene of the virtual board, else the board's serial number.  What a
    simulation taught is never used for a real coil.
    build: as of model.Header.  scene: that of the virtual board.
    """
    if build is not None:
        name = build["plan"].get("name")
        plan = name if isinstance(name, str) and name else build["file"]
        return f"{plan}, simulated" if source.simulated else plan
    if source.name == "virtual":
        return f"scene {Path(scene).stem}"
    hello = source.link.hello
    return "" if hello is None else hello.uid


class CoilMemory:
    """start() once before the recording, keep() once after its end.

    learned: what the session starts with, for the header; None without anything.
    """

    def __init__(self, coil: str, simulated: bool, warn: Callable[[str], None]) -> None:
        """coil: as of coil_name().  warn: takes a sentence for a person."""
        from coilcount.capture.kept_state import state_folder

        self.learned: dict[str, Any] | None = None
        self._coil = coil
        self._simulated = simulated
        self._warn = warn
        self._folder = state_folder(os.environ) if coil else None

    def start(self, fresh: bool) -> dict[str, Any] | None:
        """What was learned with this coil; None if nothing was, if it is damaged, or if the user asks for `fresh`."""
        from coilcount.capture.kept_state import load_state

        if self._folder is None or fresh:
            return None
        try:
            self.learned = load_state(self._folder, self._coil)
        except InputError as error:
            self._warn(f"what was learned with this coil is not used: {error}")
        return self.learned

    def start_words(self, kept_used: bool | None) -> str:
        """A line about the start; "" if nothing was learned before.  kept_used: as of Chain."""
        if self.learned is None:
            return ""
        day = self.learned["saved_utc"][:10]
        if kept_used is False:
            return (
                f"starts fresh: the soil that was learned on {day} for coil {self._coil} belongs to other widths or "
                "another interval"
            )
        return f"starts with the soil that was learned on {day} for coil {self._coil}; --fresh starts without it"

    def keep(self, chain: Any) -> None:
        """Keep what the chain's tracker has learned, if it has heard enough."""
        from coilcount.capture.kept_state import learned_state, save_state

        state = chain.learned
        if self._folder is None or not state or chain.swept_s < LEAST_SWEPT_S:
            return
        now = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"
        learned = learned_state(self._coil, now, chain.swept_s, chain.interval_ms, self._simulated, state)
        try:
            save_state(self._folder, learned)
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or str(error)
            self._warn(f"what was learned with this coil cannot be kept in {self._folder}: {why}")


def memory_of(args: argparse.Namespace, source: Source, header: Header, warn: Callable[[str], None]) -> CoilMemory:
    """The memory of the coil that this session sweeps with.  header: that of its capture."""
    from coilcount.commands.virtual import DEFAULT_SCENE

    return CoilMemory(coil_name(header.build, source, args.scene or DEFAULT_SCENE), header.simulated, warn)
