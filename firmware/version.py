"""The version of the firmware, as the hello record reports it."""

VERSION = "0.1.0"
