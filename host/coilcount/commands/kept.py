"""What is kept of a run for the table at its end: of millions of events the first and the last."""

from coilcount.capture.ends import Ends
from coilcount.model import Alert, Hold, MarkMade, Output, Silence

# Rows of a table that someone may still read; marks and gaps must not crowd the alerts out.
_ALERTS_EACH, _OTHERS_EACH = 1000, 250
# type: (its name in the table, how many are kept at each end)
_KINDS = {
    Alert: ("alerts", _ALERTS_EACH),
    Hold: ("holds", _ALERTS_EACH),
    Silence: ("gaps", _OTHERS_EACH),
    MarkMade: ("marks", _OTHERS_EACH),
}


class Kept:
    """Final outputs that have a row in the table, in bounded memory."""

    def __init__(self) -> None:
        self._ends = {kind: Ends(each) for kind, (_, each) in _KINDS.items()}

    def append(self, output: Output) -> None:
        """Keep an output if it is final and has a row."""
        ends = self._ends.get(type(output))
        if ends is not None and getattr(output, "stage", "final") == "final":
            ends.append(output)

    @property
    def outputs(self) -> list[Output]:
        """All that is kept; the table sorts them by time."""
        return [output for ends in self._ends.values() for output in ends]

    @property
    def left_out(self) -> str:
        """What the table does not show, as one sentence; "" where it shows everything."""
        parts = [
            f"{ends.left_out} of {ends.left_out + len(ends)} {_KINDS[kind][0]}"
            for kind, ends in self._ends.items()
            if ends.left_out
        ]
        if not parts:
            return ""
        return f"not shown: {', '.join(parts)}, between the first and the last; replay --json prints all"
