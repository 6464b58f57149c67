"""The false alarms of a comparison: in which recordings they can be counted, and which of them two settings share."""

from collections.abc import Callable
from dataclasses import dataclass

from coilcount.desk.compare_pairs import common_alarms
from coilcount.desk.compare_sides import Side
from coilcount.model import Alert
from coilcount.model.compare import ComparedAlarm


@dataclass(frozen=True, slots=True)
class Alarms:
    """The false alarms of one side.

    by_place: the false alarms of each recording in which they can be counted, by its place; minutes: of these
    recordings; common: place and number of those that the other settings raise, too; None for two builds.
    """

    side: Side
    by_place: dict[int, tuple[Alert, ...]]
    minutes: float
    common: frozenset[tuple[int, int]] | None = None

    @property
    def count(self) -> int:
        """All false alarms."""
        return sum(map(len, self.by_place.values()))

    @property
    def alone(self) -> int | None:
        """With the same recordings, the false alarms that only this side raises; None for two builds."""
        return None if self.common is None else self.count - len(self.common)

    def listed(self) -> list[ComparedAlarm]:
        """All of them in the order of recordings and time."""
        names = {judged.place: judged.name for judged in self.side.recordings}
        return [
            ComparedAlarm(
                side=self.side.given.name,
                file=names[place],
                time_s=alert.peak_s,
                score=alert.score,
                in_both=None if self.common is None else (place, alert.id) in self.common,
            )
            for place, alerts in sorted(self.by_place.items())
            for alert in sorted(alerts, key=lambda alert: alert.peak_s)
        ]


def counted(a: Side, b: Side, *, same_recordings: bool, caution: Callable[[str], None]) -> tuple[Alarms, Alarms]:
    """Count the false alarms of both sides.

    They are counted in recordings with labels.  If there are no labels at all, all alerts count.  If only one side has
    labels, nothing is counted: the minutes are 0.
    """
    labelled = [[judged for judged in side.recordings if judged.labels is not None] for side in (a, b)]
    if not any(labelled):
        caution(
            "no labels: passes cannot be compared. All alerts count as false alarms; that is right only if no object "
            "lay there"
        )
        used = [list(side.recordings) for side in (a, b)]
    elif all(labelled):
        used = labelled
        for side in (a, b):
            for judged in side.recordings:
                if judged.labels is None:
                    caution(f"{judged.name}: no labels; used for noise and drift alone")
    else:
        used = [[], []]
        with_labels, without = ("A", "B") if labelled[0] else ("B", "A")
        caution(
            f"only {with_labels} has labels: neither passes nor false alarms can be compared, because an alert of "
            f"{without} may be a find. Noise and drift can"
        )
    alarms_a, alarms_b = ({judged.place: judged.at_threshold.false_alarms for judged in part} for part in used)
    minutes_a, minutes_b = (sum(judged.at_threshold.minutes for judged in part) for part in used)
    common_a = common_b = None
    if same_recordings:
        matches = {place: common_alarms(alarms_a[place], alarms_b[place]) for place in alarms_a.keys() & alarms_b}
        common_a = frozenset((place, number) for place, (of_a, _) in matches.items() for number in of_a)
        common_b = frozenset((place, number) for place, (_, of_b) in matches.items() for number in of_b)
    return Alarms(a, alarms_a, minutes_a, common_a), Alarms(b, alarms_b, minutes_b, common_b)
