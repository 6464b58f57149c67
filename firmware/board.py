"""The interface of the board around the counter: name, temperature, supply, mark button and self-test."""


class Board:
    """The methods that the application needs.  None may take longer than an ADC reading, about 50 us.

    name: the kind of board, for a person; uid: the chip's serial number in hex.
    """

    name = ""
    uid = ""

    def temperature_mk(self):
        """Return the temperature of the chip in millikelvin (int)."""
        raise NotImplementedError

    def supply_mv(self):
        """Return the supply voltage in millivolts (int), or 0 if the board does not measure it."""
        raise NotImplementedError

    def marks(self):
        """Return how often the mark button was pressed since boot (int)."""
        raise NotImplementedError

    def begin_self_test(self):
        """Start the self-test.  Return "" if it runs, else the reason why it does not.

        A reason that begins with "no self-test" is permanent.  One that begins with "busy" may pass.
        """
        return "no self-test on this board"

    def self_test(self):
        """Return (1 or 0, text) if the self-test that was started has ended, or None while it runs."""
        raise NotImplementedError
