"""The board around the counter: its name, its temperature and supply, its mark button."""


class Board:
    """The interface.  Nothing here waits longer than a reading takes (some 50 us)."""

    name = ""
    uid = ""

    def temperature_mk(self):
        """Die temperature in millikelvin."""
        raise NotImplementedError

    def supply_mv(self):
        """The supply in millivolts."""
        raise NotImplementedError

    def marks(self):
        """How often the mark button was pressed since boot."""
        raise NotImplementedError
