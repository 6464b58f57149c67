"""The board's own readings.

Not run on hardware yet: only against a fake `machine`, for its arithmetic.
"""

from binascii import hexlify

import machine
import pins
from board import Board

ADC_FULL_UV = 3_300_000
# One reading of the sensor is noisy by several kelvin.
READINGS = 16
DEBOUNCE_POLLS = 20


class ChipBoard(Board):
    """kind: pins.Kind; self_test: self_test.SelfTest, or None."""

    def __init__(self, kind, self_test=None):
        self._self_test = self_test
        self.name = kind.name
        self.uid = hexlify(machine.unique_id()).decode().upper()
        self._sensor = machine.ADC(pins.TEMPERATURE_CHANNEL)
        if kind.wireless:
            # Held from now on; see pins.
            machine.Pin(pins.WIRELESS_SELECT, machine.Pin.OUT, value=1)
        self._supply = machine.ADC(machine.Pin(pins.SUPPLY)) if kind.has_supply else None
        self._button = machine.Pin(pins.MARK, machine.Pin.IN, machine.Pin.PULL_UP)
        self._marks = 0
        self._steady = 0  # polls in a row that saw the button other than `_down`
        self._down = False

    def temperature_mk(self):
        """RP2040 and RP2350 datasheets, ADC (from memory): T = 27 degC - (V - 0.706 V) / (1.721 mV/K)."""
        return 300_150 - (self._microvolts(self._sensor) - 706_000) * 1000 // 1721

    def supply_mv(self):
        """VSYS; 0 on a board that is not known to measure it."""
        if self._supply is None:
            return 0
        return 3 * self._microvolts(self._supply) // 1000

    def marks(self):
        if (self._button.value() == 0) == self._down:
            self._steady = 0
        else:
            self._steady += 1
            if self._steady >= DEBOUNCE_POLLS:
                self._steady = 0
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
        return total * ADC_FULL_UV // (65535 * READINGS)
