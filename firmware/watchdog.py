"""The watchdog: resets the chip if the loop hangs.  It is stopped while a person or an installer uses the prompt.

MicroPython's machine.WDT cannot be stopped.  A bit of the chip can: ENABLE in the register CTRL (data sheets of RP2040
and RP2350, from memory; not tried on hardware).
"""

import machine

# ms without feed() after which the chip is reset.  The chip allows at most 8,388.  The longest steps of the loop, a
# write to flash or a garbage collection, take far less than a second.  Chosen by hand.
TIMEOUT_MS = 5000

CTRL = {"RP2040": 0x40058000, "RP2350": 0x400D8000}
ENABLE = 1 << 30
CLEAR = 0x3000  # a write to this distance from a register clears the bits that are written


class Watchdog:
    """A watchdog that runs from now on.  chip: "RP2040" or "RP2350"."""

    def __init__(self, chip):
        self._clear = CTRL[chip] + CLEAR
        self._timer = machine.WDT(timeout=TIMEOUT_MS)
        self.feed = self._timer.feed  # call this at least once in TIMEOUT_MS

    def stop(self):
        """Stop it.  Harmless if it is stopped already."""
        machine.mem32[self._clear] = ENABLE
