"""Times that a person gives for a label: seconds from the start of a recording, or a time of day."""

import math
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone

from coilcount.errors import InputError

TIME_REMEDY = (
    "Give seconds (83.5) or minutes and seconds (1:23.5) from the start, or a time of day with Z for UTC "
    "(12:40:05Z), an offset (14:40:05+02:00) or the word local (14:40:05local)"
)
_SECONDS = re.compile(r"(-?\d+(?:\.\d+)?)s?", re.ASCII)
_FROM_START = re.compile(r"(?:(\d+):(?=\d\d:))?(\d+):(\d\d(?:\.\d+)?)", re.ASCII)
_OF_DAY = re.compile(
    r"(?:(\d{4}-\d\d-\d\d)[T ])?(\d\d?):(\d\d)(?::(\d\d(?:\.\d+)?))? ?(Z|local|[+-]\d\d:?\d\d)",
    re.ASCII | re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Clock:
    """Ties the time axis of a recording to the day.

    zero_utc: the time of day at t = 0 of the axis; None if the recording does not say when it began.
    """

    zero_utc: datetime | None

    def utc(self, time_s: float) -> datetime | None:
        """The moment at time_s of the axis; None if it is not known."""
        if self.zero_utc is None:
            return None
        try:
            return self.zero_utc + timedelta(seconds=time_s)
        except OverflowError:
            return None

    def words(self, time_s: float) -> str:
        """The time of day at time_s as 12:40:05Z; "" if it is not known."""
        moment = self.utc(time_s)
        return "" if moment is None else f"{moment + timedelta(milliseconds=500):%H:%M:%S}Z"

    def seconds(self, text: str, name: str) -> float:
        """The time on the axis that a person means, in s.

        text: one of the forms in TIME_REMEDY.  A time of day may follow a date, as in 2026-05-01T12:40:05Z.  Without a
        date it is the first such moment after the recording began.
        name: the option, for messages.  Raises InputError for any other text, and for a time of day if the recording
        does not say when it began.
        """
        text = text.strip()
        if found := _SECONDS.fullmatch(text):
            return float(found[1])
        if (found := _FROM_START.fullmatch(text)) and float(found[3]) < 60 and (not found[1] or int(found[2]) < 60):
            return 3600.0 * int(found[1] or 0) + 60.0 * int(found[2]) + float(found[3])
        if found := _OF_DAY.fullmatch(text):
            return self._of_day(found, text, name)
        raise InputError(f'{name} is "{text}"', remedy=TIME_REMEDY)

    def _of_day(self, found: re.Match[str], text: str, name: str) -> float:
        if self.zero_utc is None:
            raise InputError(
                f"{name} is a time of day, but the recording does not say when it began",
                remedy="Give seconds from its start, such as 83.5 or 1:23.5",
            )
        day_text, hour, minute, second, zone = found.groups()
        zone = _zone(zone)
        begin = self.zero_utc.astimezone(zone)
        try:
            fraction, whole = math.modf(float(second or 0))
            of_day = time(int(hour), int(minute), int(whole), round(1e6 * fraction) % 1_000_000)
            day = date.fromisoformat(day_text) if day_text else begin.date()
        except ValueError:
            raise InputError(f'{name} is "{text}", which is no time of day', remedy=TIME_REMEDY) from None
        moment = _moment(day, of_day, zone)
        # A second before the start still belongs to it: people note times in whole seconds.
        if not day_text and moment < begin - timedelta(seconds=1):
            moment = _moment(day + timedelta(days=1), of_day, zone)
        return (moment - self.zero_utc).total_seconds()


def _zone(word: str) -> timezone | None:
    """The time zone; None is that of this computer, as in astimezone()."""
    if word.lower() == "local":
        return None
    if word in "zZ":
        return UTC
    hours, minutes = int(word[1:3]), int(word[-2:])
    if hours > 14 or minutes > 59:
        raise InputError(f'"{word}" is no offset from UTC', remedy="Give one such as +02:00")
    offset = timedelta(hours=hours, minutes=minutes)
    return timezone(offset if word[0] == "+" else -offset)


def _moment(day: date, of_day: time, zone: timezone | None) -> datetime:
    moment = datetime.combine(day, of_day, zone)
    return moment.astimezone(UTC)


def start_of(start_utc: str) -> datetime | None:
    """The moment in a header's start_utc; None if it is empty or no such time."""
    try:
        moment = datetime.fromisoformat(start_utc)
    except ValueError:
        return None
    return moment.astimezone(UTC) if moment.tzinfo else None
