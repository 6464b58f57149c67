"""The board's own sensors: temperature, supply and mark button.

This file has not run on hardware yet.  Its arithmetic was tested against a fake `machine` module.
"""

from binascii import hexlify

import machine
import pins
from board import Board

ADC_FULL_SCALE_UV = 3_300_000  # uV; the ADC's reference, 3.3 V
ADC_FULL_SCALE_U16 = 65_535  # what read_u16() returns at full scale
# Readings in one mean.  A single reading of the temperature sensor scatters by several kelvin.  Chosen by hand.
READINGS = 16
# Polls in a row that must see the button changed before a press counts.  The application polls about once a
# millisecond, so this ignores contact bounce of up to about 20 ms.  Chosen by hand.
DEBOUNCE_POLLS = 20


class ChipBoard(Board):
    """A Pico board.

    kind: pins.Kind; self_test: self_test.SelfTest, or None if no pin is free for it.
    """

    def __init__(self, kind, self_test=None):
        self._self_test = self_test
        self.name = kind.name
        self.uid = hexlify(machine.unique_id()).decode().upper()
        self._sensor = machine.ADC(pins.TEMPERATURE_CHANNEL)
        if kind.wireless:
            # The pin keeps this level from now on.  The reason is in pins.py.
            machine.Pin(pins.WIRELESS_SELECT, machine.Pin.OUT, value=1)
        self._supply = machine.ADC(machine.Pin(pins.SUPPLY)) if kind.has_supply else None
        self._button = machine.Pin(pins.MARK, machine.Pin.IN, machine.Pin.PULL_UP)
        self._marks = 0
        self._changed_polls = 0  # polls in a row in which the button was not as in `_down`
        self._down = False

    def temperature_mk(self):
        """T = 27 degC - (V - 0.706 V) / (1.721 mV/K); RP2040 and RP2350 data sheets, ADC, from memory."""
        return 300_150 - (self._microvolts(self._sensor) - 706_000) * 1000 // 1721

    def supply_mv(self):
        """Return the voltage of VSYS in mV, or 0 on a board that is not known to measure it."""
        if self._supply is None:
            return 0
        return 3 * self._microvolts(self._supply) // 1000

    def marks(self):
        if (self._button.value() == 0) == self._down:
            self._changed_polls = 0
        else:
            self._changed_polls += 1
            if self._changed_polls >= DEBOUNCE_POLLS:
                self._changed_polls = 0
                self._down = not self._down
                self._marks += self._down
        return self._marks

    def begin_self_test(self):
        if self._self_test is None:
            return "no self-test: no pin is free for it (pins.py)"
        return self._self_test.start()

    def self_test(self):
        test = self._self_test
        return test.poll() if test else None

    def _microvolts(self, adc):
        total = 0
        for _ in range(READINGS):
            total += adc.read_u16()
        return total * ADC_FULL_SCALE_UV // (ADC_FULL_SCALE_U16 * READINGS)
