"""What becomes of broad dips at one threshold: they raise no alert, or their alert ends as uncertain.

Runs under both interpreters.
"""

FAR_AWAY = (1 << 30) - 1  # readings


class BroadDips:
    """Applies the test of breadth to the alerts of one threshold.  `width` is the number of a width of the bank.

    count: number of dips that reached the threshold and were broader than any pass.
    """

    def __init__(self, bank, breadth):
        """breadth: a breadth.Breadth of the bank."""
        self._bank = bank
        self._breadth = breadth
        self.count = 0
        self.restart()

    def restart(self):
        """The readings are counted from 0 again."""
        self._skipped = -FAR_AWAY  # reading of the latest dip that raised no alert because it is broad

    def skip(self, width):
        """Return True if the newest answer of a width is a dip that looks broad, so that it raises no alert."""
        if self._bank.zs[width] >= 0.0:
            return False
        now = self._bank.count
        is_same = now - self._skipped <= self._breadth.reach  # the readings of one dip count once
        if self._breadth.looks_broad(width):
            if not is_same:
                self.count += 1
            self._skipped = now
            return True
        if is_same:
            # It is a pass after all, and is raised now.
            self.count -= 1
            self._skipped = -FAR_AWAY
        return False

    def deepen(self, alert, width):
        """Take the newest answer of a width as the alert's deepest dip, if it is one."""
        z = self._bank.zs[width]
        if -z > alert.dip:
            alert.dip = -z
            alert.dip_index = self._bank.count
            alert.dip_width = width
            alert.dip_height = -z * self._bank.used[width]
            alert.dip_judged = False

    def due(self, alert):
        """Return the count of readings from which on an alert's deepest dip can be judged."""
        return alert.dip_index + self._breadth.reach

    def judge_in_time(self, alert):
        """Judge the breadth of an alert's deepest dip as soon as the readings after it are there."""
        if not alert.dip_judged and self._bank.count >= self.due(alert):
            self.judge(alert)

    def judge(self, alert):
        """Judge the breadth of an alert's deepest dip, with the readings that are there."""
        if not alert.dip_judged:
            alert.dip_judged = True
            alert.broad = self._breadth.is_broad(alert.dip_index, alert.dip_width, alert.dip_height)
