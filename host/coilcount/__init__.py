"""coilcount: counts a search coil's frequency and says what it suggests."""

__version__ = "0.1.0"
