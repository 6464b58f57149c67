"""From a scene to the lines a board would send, and the truth."""
