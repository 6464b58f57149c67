"""How an instant and a length of time are written, wherever a person reads them.  JSON and CSV stay in seconds."""


def instant(time_s: float) -> str:
    """A moment as m:ss.s, from an hour on as h:mm:ss.s; `time_s` in seconds since the recording began."""
    sign, tenths = ("-", round(-10 * time_s)) if time_s < -0.05 else ("", round(10 * time_s))
    minutes, tenths = divmod(tenths, 600)
    hours, minutes_left = divmod(minutes, 60)
    head = f"{hours}:{minutes_left:02d}" if hours else f"{minutes}"
    return f"{sign}{head}:{tenths // 10:02d}.{tenths % 10}"


def length(duration_s: float) -> str:
    """How long something took: 3.7 s, 12 min 5.0 s, 2 h 3 min 5 s."""
    if round(duration_s, 1) < 60:
        return f"{duration_s:.1f} s"
    if round(duration_s, 1) < 3600:
        minutes, tenths = divmod(round(10 * duration_s), 600)
        return f"{minutes} min {tenths / 10:.1f} s"
    minutes, seconds = divmod(round(duration_s), 60)
    return f"{minutes // 60} h {minutes % 60} min {seconds} s"
