"""The events of a run that its table shows at the end: of millions only the first and the last."""

from collections.abc import Callable

from coilcount.capture.ends import Ends
from coilcount.model import Alert, Hold, MarkMade, Output, Silence, Thresholds

# Rows at each end of the table, as many as someone may still read.  Chosen by hand; marks and gaps have limits of
# their own, so that they do not crowd the alerts out.
_ALERTS_EACH, _OTHERS_EACH = 1000, 250
# type: (its name in the table, how many are kept at each end)
_KINDS = {
    Alert: ("alerts", _ALERTS_EACH),
    Hold: ("holds", _ALERTS_EACH),
    Silence: ("gaps", _OTHERS_EACH),
    MarkMade: ("marks", _OTHERS_EACH),
}


class Kept:
    """Final outputs that have a row in the table, in bounded memory.

    thresholds: gives the thresholds in force, sigma.  It is asked when an alert is raised: they may change before the
    alert is final.
    """

    def __init__(self, thresholds: Callable[[], Thresholds] = lambda: Thresholds(0.0, 0.0)) -> None:
        self._now = thresholds
        self._ends = {kind: Ends(each) for kind, (_, each) in _KINDS.items()}
        self._open: dict[int, Thresholds] = {}  # alert number: thresholds, of alerts that are not final
        self._thresholds = Ends(_ALERTS_EACH)  # (alert number, threshold) of the alerts that are kept

    def append(self, output: Output) -> None:
        """Keep an output if it is final and has a row."""
        if isinstance(output, Alert):
            thresholds = self._open.setdefault(output.id, self._now())
            if output.stage == "final":
                self._thresholds.append((output.id, thresholds.of(output.sign)))
                del self._open[output.id]
        ends = self._ends.get(type(output))
        if ends is not None and getattr(output, "stage", "final") == "final":
            ends.append(output)

    def threshold_of(self) -> Callable[[int], float]:
        """A function from an alert's number to the threshold at which it was raised; 0 if it is not kept."""
        known = dict(self._thresholds)
        return lambda number: known.get(number, 0.0)

    @property
    def outputs(self) -> list[Output]:
        """Everything that is kept; the table sorts it by time."""
        return [output for ends in self._ends.values() for output in ends]

    @property
    def left_out(self) -> str:
        """What the table does not show, as one sentence; "" if it shows everything."""
        parts = [
            f"{ends.left_out} of {ends.left_out + len(ends)} {_KINDS[kind][0]}"
            for kind, ends in self._ends.items()
            if ends.left_out
        ]
        if not parts:
            return ""
        return f"not shown: {', '.join(parts)}, between the first and the last; replay --json prints all"
