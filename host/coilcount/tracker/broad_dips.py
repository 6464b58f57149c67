"""What becomes of broad dips at one threshold: they raise no alert, or their alert ends as uncertain.

On soil with many broad dips an alert waits until it is clear that it is none.  Elsewhere it is raised at once.
Runs under both interpreters.
"""

from .bank import NEVER, RESTLESS_STEPS
from .noise_counts import KEEP

# If there were this many broad dips of late, alerts wait.  The count fades within four minutes.  So three dips in a row
# begin the wait.  A new tracker begins with START: its alerts wait for 18 s, and in the two minutes after that one dip
# is enough.  Chosen on the tuning scenes of tests/bench/detection: with a lower count more alerts came late where no
# broad dips are.
FREQUENT = 2.6
START = 2.8


class BroadDips:
    """Applies the test of breadth to the alerts of one threshold.  `width` is the number of a width of the bank.

    count: number of dips that reached the threshold and were broader than any pass.
    """

    def __init__(self, bank, breadth):
        """breadth: a breadth.Breadth of the bank."""
        self._bank = bank
        self._breadth = breadth
        self.count = 0
        self._lately = START
        self._latest = 0.0  # what the latest broad dip added to it
        self.restart()

    def restart(self):
        """The readings are counted from 0 again."""
        self._skipped = -NEVER  # reading of the latest dip that raised no alert because it is broad

    def second(self):
        """One more second was heard."""
        self._lately *= KEEP

    def add(self):
        """Count a broad dip."""
        self.count += 1
        # While one object comes after the other, it may be an object too, and shows nothing of the soil.
        self._latest = 1.0 if self._bank.restless <= RESTLESS_STEPS else 0.0
        self._lately += self._latest

    def drop(self):
        """Count the newest dip, which raises no alert because it is broad."""
        self.add()
        self._skipped = self._bank.count

    def must_wait(self, alert):
        """Return True if an alert should not be raised yet, because the soil has broad dips and this may be one.

        A rise may be the lobe before a broad dip.
        """
        return self._lately >= FREQUENT and not self.is_clear(alert)

    def is_clear(self, alert):
        """Return True if the largest |z| of an alert is narrow for certain."""
        width = alert.score_width
        height = alert.score_height
        return not (self._breadth.looks_broad(width, height) or self._breadth.may_become_broad(width, height))

    def is_decided(self, alert):
        """Return True if enough has come after the alert's largest |z| to tell whether it is a broad dip."""
        return self._bank.count >= alert.score_reading + self._breadth.reach

    def is_broad(self, alert):
        """Return True if the largest |z| of an alert is that of a broad dip."""
        return alert.broad and alert.dip == alert.score

    def skip(self, width):
        """Return True if the newest answer of a width is a dip that looks broad, so that it raises no alert."""
        if self._bank.zs[width] >= 0.0:
            return False
        now = self._bank.count
        is_same = now - self._skipped <= self._breadth.reach  # the readings of one dip count once
        if self._breadth.looks_broad(width, self._bank.zs[width] * self._bank.used[width]):
            if not is_same:
                self.add()
            self._skipped = now
            return True
        if is_same:
            # It is a pass after all, and is raised now.
            self.count -= 1
            self._lately -= self._latest
            self._skipped = -NEVER
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
