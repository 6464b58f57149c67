"""What a live run knows besides the chain: source, file, link, and what the operator did."""

from dataclasses import dataclass


@dataclass(slots=True)
class Facts:
    """The session keeps it up to date.  Times named host_s are seconds of the host's clock since the start."""

    title: str = ""
    simulated: bool = False
    file: str = ""
    noise_profile: bool = False  # the settings hold a noise profile
    host_s: float = 0.0
    rate_hz: float = 0.0  # records a second; 0 if nothing comes
    problem: str = ""  # why no board is on the line
    problem_since_host_s: float = 0.0
    reconnections: int = 0
    frozen_since_host_s: float | None = None  # the operator froze the baseline
    disk_late_s: float = 0.0  # for how long the disk has not confirmed what was recorded
    message: str = ""  # for a few seconds
    warning: str = ""  # stays
    help_shown: bool = False
    theme: str = "standard"
    sound_on: bool = False  # the sweep is played on the speaker
