"""From received lines to readings: decoding, the time base, the frequency and its uncertainty."""
