"""The times that the host finds for the intervals of a board, against the true ones."""

from board_lines import hello, line
from coilcount.chain import Chain
from coilcount.model import Silence
from coilcount.readings.intake import Intake
from coilcount.settings import defaults


class Host:
    """Reads the lines of a board.  The lists have one entry for each line that arrived.

    board: an object with interval_ms; records, the intervals that it sent; true_us, when the first edge of each rose,
    since the first one; ended_s, the host time in s at which the line of each arrives, without late_s.
    late_s: delay of all lines from the index `late_from` on; lost: indices of lines that never arrive.
    """

    def __init__(self, board, late_s=0.0, late_from=0, lost=()):
        self.starts, self.bridged, self.outputs, self._times_us = [], [], [], []
        intake, chain = Intake(self), Chain(defaults())
        entries = [line(0.0, hello(interval_ms=board.interval_ms))]
        arrived = [k for k in range(len(board.records)) if k not in lost]
        for k in arrived:
            entries.append(line(round(board.ended_s[k] + late_s * (k >= late_from), 6), board.records[k]))
        for entry in entries:
            intake.feed(entry)
            self.outputs += chain.feed(entry)
        self.errors_us = [found - board.true_us[k] for k, found in zip(arrived, self._times_us, strict=True)]
        self.link = chain.link
        self.silences = [output for output in self.outputs if isinstance(output, Silence)]

    # The intake calls these.

    def begin(self, interval_s):
        return ""

    def gap(self, end_us):
        return []

    def interval(self, record, middle_us, step, base):
        self._times_us.append(base.time_us)
        self.starts.append(base.start)
        self.bridged.append(base.bridged)
        return []


def only(k, length):
    """Return a list of `length` values, of which only the one at index k is True."""
    return [index == k for index in range(length)]
