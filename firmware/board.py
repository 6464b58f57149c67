"""The board around the counter: its name, its temperature and supply, its mark button."""


class Board:
    """The interface.  Nothing here waits longer than a reading takes (some 50 us)."""

    name = ""
    uid = ""

    def temperature_mk(self):
        """Die temperature in millikelvin."""
        raise NotImplementedError

    def supply_mv(self):
        """The supply in millivolts; 0 where it is not measured."""
        raise NotImplementedError

    def marks(self):
        """How often the mark button was pressed since boot."""
        raise NotImplementedError

    def begin_self_test(self):
        """ "" where it runs now, else why not.  Texts that begin "no self-test" mean never, "busy" not now."""
        return "no self-test on this board"

    def self_test(self):
        """(1 or 0, text) once the test that was begun is over, None while it runs."""
        raise NotImplementedError
