"""From bytes to readings: decode, time base, frequency."""
