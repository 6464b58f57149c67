"""What `?` shows on the live screen: the keys, and the words that stand on it."""

KEYS = (
    ("m", "mark this moment in the recording"),
    ("f", "freeze the baseline; again: set it to what the coil reads now"),
    ("g", "let the baseline track again"),
    ("+  -", "raise or lower the threshold by a tenth"),
    ("b  s", "bright-light theme; sound on the speaker; again: off"),
    ("?", "this page, and back"),
    ("q", "quit; Ctrl-C does the same, and a recording is closed in order"),
)
WORDS = (
    ("fell", "ferrous response; soil and a lowered coil look the same"),
    ("rose", "non-ferrous, or sheet iron; iron beside copper, too"),
    ("uncertain", "the sign is known, but something speaks against an answer"),
    ("sign confidence", "how sure the sign is, if something is there at all"),
    ("x threshold", "how far the score is over the threshold; noise is weak"),
    ("shift", "reading minus baseline, ppm and Hz"),
    ("baseline", "what the coil reads with no target: tracking, held, frozen"),
)


def help_lines() -> list[str]:
    """Plain lines, the keys first."""
    return [
        " keys",
        *(f"   {key:<17}{text}" for key, text in KEYS),
        " words",
        *(f"   {word:<17}{text}" for word, text in WORDS),
        "",
        " One frequency says which way the inductance went, not what the metal is.",
        " No safety device, and never for ordnance.",
    ]
