"""Analysis of recordings: stability, drift, noise profile, thresholds, and whether a recording is whole."""
