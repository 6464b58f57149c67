"""The allowed rate of false alarms, the thresholds that follow from it, and the rarity of an alert, in words."""

from coilcount.model import BROAD_DIP, Alert, Thresholds
from coilcount.settings import RATES

# The rate that either key sets if a fixed threshold was in force.
USUAL_RATE = 1.0
# Minutes.  The tracker does not tell rarer alerts apart.
RAREST_MIN = 10.0


def next_rate(now: float | None, more: bool) -> float:
    """The next of the rates up (more) or down; `now` if there is none.  now: None for a fixed threshold."""
    if now is None:
        return USUAL_RATE
    if more:
        return min((rate for rate in RATES if rate > now), default=now)
    return max((rate for rate in RATES if rate < now), default=now)


def asked_words(per_minute: float | None) -> str:
    """What the operator asked for: at most 1 false alarm a minute."""
    if per_minute is None:
        return "fixed threshold"
    return f"at most {per_minute:g} false alarm{'' if per_minute == 1 else 's'} a minute"


def threshold_words(thresholds: Thresholds) -> str:
    """The thresholds in force, one for each sign; a single number if they are equal."""
    if thresholds.rise == thresholds.fall:
        return f"threshold {thresholds.rise:.2f} σ"
    return f"threshold ▲ {thresholds.rise:.1f} ▼ {thresholds.fall:.1f} σ"


def rarity_words(alert: Alert) -> str:
    """How often noise alone gives such a score, in a sentence without its full stop; "" for a broad dip.

    A broad dip is no noise of the readings, so the counts of the noise say nothing about it.
    """
    if alert.rarity_min is None:
        return _unknown(alert)
    return f"noise alone does this {_about(alert.rarity_min)}"


def rarity_short(alert: Alert) -> str:
    """The same for a row with little room, at most 29 characters."""
    return _unknown(alert) if alert.rarity_min is None else f"noise: {_about(alert.rarity_min)}"


def _unknown(alert: Alert) -> str:
    return "" if BROAD_DIP in alert.reasons else "rarity not known yet"


def rarity_cell(alert: Alert) -> str:
    """The same for a column of a table, in minutes, at most 4 characters; a dash for a broad dip."""
    rarity_min = alert.rarity_min
    if rarity_min is None:
        return "–" if BROAD_DIP in alert.reasons else "?"
    return f">{RAREST_MIN:g}" if rarity_min >= RAREST_MIN else f"{rarity_min:.1f}" if rarity_min >= 0.095 else "<0.1"


def _about(rarity_min: float) -> str:
    if rarity_min >= RAREST_MIN:
        return f"once in {RAREST_MIN:g} min or more"
    return f"about once in {_length(rarity_min)}"


def _length(minutes: float) -> str:
    seconds = 60 * minutes
    if seconds < 59.5:  # more would be written as 60 s
        return f"{max(1, round(seconds))} s"
    return f"{minutes:.0f} min" if minutes >= 2.95 else f"{minutes:.1f} min"


def dip_words(broad_dips: int) -> str:
    """Dips that raised no alert because they were broader than any pass; "" if there were none."""
    if not broad_dips:
        return ""
    return f"{broad_dips} broad dip{'' if broad_dips == 1 else 's'} taken for soil or a lifted coil"
