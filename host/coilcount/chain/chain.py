"""The chain: the entries of a capture go through the intake and the tracker, and outputs come out."""

from collections.abc import Callable

from coilwire import records

from coilcount import __version__
from coilcount.chain import outputs
from coilcount.chain.tracking import Tracking
from coilcount.model import ChainFacts, Entry, Header, Output, Thresholds
from coilcount.readings.frequency import Estimate
from coilcount.readings.intake import Intake
from coilcount.readings.link_counts import LinkCounts
from coilcount.readings.noise import Noise
from coilcount.settings import Settings
from coilcount.tracker.tracker import Tracker

ZERO_C_K = 273.15


class Chain:
    """Call feed() with every entry in its order, then finish().

    The same entries and settings always give the same outputs.
    """

    def __init__(
        self,
        settings: Settings,
        *,
        points: bool = False,
        follow_operator: bool = True,
        make_tracker: Callable[..., Tracker] = Tracker,
        tracking: Tracking | None = None,
    ) -> None:
        """points: if True, a Point comes out for each reading.

        follow_operator: if False, rates of false alarms and thresholds that the operator set while recording are
        ignored, because the user has asked for another one.
        make_tracker: a kind of Tracker, for callers that record what the tracker is given.
        tracking: a Tracking made by the caller with the same settings, for several thresholds at once (GridTracking).
        It takes the place of the three options above.
        """
        self._settings = settings
        self._tracking = tracking or Tracking(settings, points, follow_operator, make_tracker)
        self._intake = Intake(self._tracking, __version__)

    def feed(self, entry: Entry) -> list[Output]:
        """Take one entry, and return the outputs that it causes, in order.

        Takes every entry of a capture and every sound record, and raises for none of them.
        """
        if type(entry) is Header:
            self._tracking.start_from(entry.learned)
        return self._intake.feed(entry)

    def finish(self) -> list[Output]:
        """The entries end here: alerts, holds and gaps that are open are reported as open.  The Summary comes last."""
        intake, tracking = self._intake, self._tracking
        out = intake.finish() + tracking.finish()
        silence = intake.open_gap()
        if silence is not None:
            out.append(silence)
        sha256 = self._settings.sha256()
        counts = tracking.alerts, sha256, tracking.mended, tracking.repaired, tracking.false_alarms, tracking.broad_dips
        out.append(outputs.summary(intake.header, intake.duration_s, intake.link, tracking.noise, *counts))
        return out

    # ------------------------------------------------------------ what a screen shows

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
            false_alarms_per_minute=tracking.false_alarms,
            thresholds=tracking.thresholds,
            threshold_ppm=tracking.threshold_ppm,
            broad_dips=tracking.broad_dips,
            hold_from_ppm=tracking.hold_from_ppm,
            roughness=tracking.roughness,
        )

    @property
    def intake(self) -> Intake:
        """The intake: what is known of the board and of time."""
        return self._intake

    @property
    def link(self) -> LinkCounts:
        """The counts of the link."""
        return self._intake.link

    @property
    def duration_s(self) -> float:
        """Seconds from the first reading to the end of the newest one, on the time base of the board."""
        return self._intake.duration_s

    @property
    def board(self) -> records.Hello | None:
        """The last hello, None before the first."""
        return self._intake.board

    @property
    def noise(self) -> Noise:
        """Median and scatter of the readings."""
        return self._tracking.noise

    def estimate(self) -> Estimate | None:
        """Return the coil's frequency over the last second, or None if fewer than two intervals in a row are there.

        The estimate never goes across lost records, a gap, a new time base or an interval that the board flagged.
        There is none for imported readings.  It is computed at each call.
        """
        base = self._intake.base
        return None if base is None else self._tracking.window.estimate(base.tick_s)

    @property
    def settling(self) -> bool:
        """True if an alert is raised and its sign is not final."""
        return self._tracking.settling

    @property
    def thresholds(self) -> Thresholds:
        """The thresholds in force, in sigma."""
        return self._tracking.thresholds

    @property
    def false_alarms_per_minute(self) -> float | None:
        """At most so many false alarms a minute are asked for; None if a fixed threshold is in force."""
        return self._tracking.false_alarms

    @property
    def learned(self) -> tuple[float, ...]:
        """What the tracker has learned, for a later session with this coil; () before it has learned anything."""
        return self._tracking.learned

    @property
    def swept_s(self) -> float:
        """Seconds of readings that `learned` comes from, those of earlier sessions included."""
        return self._tracking.swept_s

    @property
    def interval_ms(self) -> float:
        """From reading to reading in ms; 0 before the first."""
        return 1000 * self._tracking.interval_s

    @property
    def kept_used(self) -> bool | None:
        """Whether the tracker began with what the header holds.  None if the header holds nothing, or before it began.

        False if that belongs to other widths or another interval, or is damaged.
        """
        return self._tracking.kept_used

    @property
    def roughness(self) -> float | None:
        """How many times as noisy as the noise profile the soil is here, at least 1.0; None without a profile."""
        return self._tracking.roughness
