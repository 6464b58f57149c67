"""What `?` shows on the live screen: the keys, and the words that stand on it."""

KEYS = (
    ("m", "mark this moment in the recording"),
    ("f", "freeze the baseline; again: set it to what the coil reads now"),
    ("g", "let the baseline track again"),
    ("+  -", "more or fewer false alarms: 0.1, 0.3, 1, 3, 10 a minute"),
    ("b  s", "bright-light theme; sound on the speaker; again: off"),
    ("?", "this page, and back"),
    ("q", "quit; Ctrl-C does the same, and a recording is closed in order"),
)
WORDS = (
    ("fell", "ferrous response; soil and a lowered coil look the same"),
    ("rose", "non-ferrous, or sheet iron; iron beside copper, too"),
    ("uncertain", "the sign is known, but something speaks against an answer"),
    ("sign confidence", "how sure the sign is, if something is there at all"),
    ("noise: once in", "how often noise alone gives such a score"),
    ("broad dips", "too slow for a pass: soil, or the coil was lifted; no alert"),
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
