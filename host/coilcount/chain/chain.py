"""Entries of a capture to outputs: the intake's readings through the tracker."""

from collections.abc import Callable

from coilwire import records

from coilcount import __version__
from coilcount.chain import outputs
from coilcount.chain.tracking import Tracking
from coilcount.model import ChainFacts, Entry, Output
from coilcount.readings.frequency import Estimate
from coilcount.readings.intake import Intake
from coilcount.readings.link_counts import LinkCounts
from coilcount.readings.noise import Noise
from coilcount.settings import Settings
from coilcount.tracker.tracker import Tracker

ZERO_C_K = 273.15


class Chain:
    """feed() every entry in its order, then finish(); the same entries and settings always give the same outputs.

    points: whether a Point comes out for each reading; follow_threshold: whether what the operator did to the
    threshold while recording counts (not where another threshold is asked for); make_tracker: a kind of Tracker, for
    whoever wants to see what it is given.
    feed: what one entry brings about, in order; takes every entry of a capture and every sound record, and raises for
    none of them.
    """

    def __init__(
        self,
        settings: Settings,
        *,
        points: bool = False,
        follow_threshold: bool = True,
        make_tracker: Callable[..., Tracker] = Tracker,
    ) -> None:
        self._settings = settings
        self._tracking = Tracking(settings, points, follow_threshold, make_tracker)
        self._intake = Intake(self._tracking, __version__)
        self.feed = self._intake.feed

    def feed(self, entry: Entry) -> list[Output]:  # replaced above, which saves a call for each of a million lines
        """What one entry brings about, in order."""
        return self._intake.feed(entry)

    def finish(self) -> list[Output]:
        """The entries end here: what is open is reported as open, and the Summary comes last."""
        intake, tracking = self._intake, self._tracking
        out = intake.finish() + tracking.finish()
        silence = intake.open_gap()
        if silence is not None:
            out.append(silence)
        sha256 = self._settings.sha256()
        counts = tracking.alerts, sha256, tracking.mended, tracking.repaired
        out.append(outputs.summary(intake.header, intake.duration_s, intake.link, tracking.noise, *counts))
        return out

    # ------------------------------------------------------------ what it knows, for the screen

    def facts(self) -> ChainFacts:
        """All that a screen shows of the chain, as it is now."""
        intake, tracking = self._intake, self._tracking
        link, status = intake.link, intake.status
        return ChainFacts(
            records=link.records,
            rate_hz=link.rate_hz,
            lost=link.lost,
            damaged=link.damaged,
            dropped=link.dropped,
            mended=tracking.mended,
            repaired=tracking.repaired,
            faults=link.faults,
            stopped=intake.stopped,
            temperature_c=None if status is None else status.temperature_mk / 1000 - ZERO_C_K,
            supply_v=None if status is None else status.supply_mv / 1000,
            noise_ppm=tracking.noise.recent_ppm,
            threshold=tracking.threshold,
            threshold_ppm=tracking.threshold_ppm,
            hold_from_ppm=tracking.hold_from_ppm,
            roughness=tracking.roughness,
        )

    @property
    def link(self) -> LinkCounts:
        """Counts of the link."""
        return self._intake.link

    @property
    def board(self) -> records.Hello | None:
        """The last hello."""
        return self._intake.board

    @property
    def status(self) -> records.Status | None:
        """The last status."""
        return self._intake.status

    @property
    def noise(self) -> Noise:
        """How much readings scatter."""
        return self._tracking.noise

    def estimate(self) -> Estimate | None:
        """The coil's frequency over the last second, computed when asked; None where no two intervals join.

        Never across lost records, a gap, a new time base or an interval that the board flagged; of imported readings
        there is none.
        """
        base = self._intake.base
        return None if base is None else self._tracking.window.estimate(base.tick_s)

    @property
    def settling(self) -> bool:
        """An alert is raised and its sign is not settled."""
        return self._tracking.settling

    @property
    def threshold(self) -> float:
        """The raise level in force."""
        return self._tracking.threshold

    @property
    def hold_from_ppm(self) -> float | None:
        """The level in ppm from which the automatic hold is to be relied on here; None while unknown, or without it."""
        return self._tracking.hold_from_ppm

    @property
    def roughness(self) -> float | None:
        """How many times the noise that was learned this ground has, 1.0 and more; None where none was learned."""
        return self._tracking.roughness
