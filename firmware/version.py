"""The firmware's version, as the hello tells it."""

VERSION = "0.1.0"
