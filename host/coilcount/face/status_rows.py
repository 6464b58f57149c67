"""The quiet rows of the live screen: what the coil reads, the latest alerts, link, board, soil, file, keys.

Each row has its label and its columns, whatever is in them, so that nothing jumps while one looks.
"""

from rich.text import Text

from coilcount.face.palette import Palette
from coilcount.face.score import WEAK_BELOW
from coilcount.live import readout as r
from coilcount.live.rate_words import asked_words, rarity_short, threshold_words
from coilcount.text import printable

CENTRE = "cross at right angles: loudest point; a long one: loudest at its ends"
CENTRE_SHORT = "cross at right angles: loudest point; long: ends"


def label(name: str) -> Text:
    """The first columns of a row."""
    return Text(f" {name:<9}")


def title(readout: r.Readout, palette: Palette, columns: int) -> Text:
    """Program, whether anything is simulated, source, and how long it has run."""
    facts = readout.facts
    line = Text(" coilcount ", palette.strong)
    if facts.simulated:
        line.append(" SIMULATED ", palette.warning)
        line.append(" ")
    line.append(printable(facts.title))  # before it is cut: what cannot be shown takes more room
    right = f"{r.clock(facts.host_s)} "
    line.truncate(max(0, columns - len(right) - 1))
    line.append(" " * (columns - line.cell_len - len(right)) + right)
    return line


def now(readout: r.Readout, palette: Palette, columns: int) -> Text:
    """The shift now, with its uncertainty."""
    line = label("now")
    point = readout.point_now
    if point is None:
        return line.append("– ppm", palette.strong)
    hz = point.uncertainty_ppm * 1e-6 * point.baseline_hz
    line.append(f"{r.GLYPH[readout.way()]} {r.figure(point.shift_ppm, point.uncertainty_ppm):>17} ppm")
    return line.append(f"   {r.figure(point.shift_hz, hz):>19} Hz") if columns >= 60 else line


def coil(readout: r.Readout) -> Text:
    """The coil's frequency over the last second, and that of the baseline."""
    point = readout.point
    line = label("coil").append(f"{readout.coil():<26}")
    return line.append(f"   baseline {r.frequency(point.baseline_hz if point else None)}")


def baseline(readout: r.Readout, palette: Palette) -> Text:
    """What the baseline does."""
    age_s = readout.frozen_s()
    old = age_s is not None and age_s > r.FROZEN_GOOD_S
    style = palette.warning if old else palette.strong if _resting(readout) else ""
    return label("baseline").append(readout.baseline(), style)


def _resting(readout: r.Readout) -> bool:
    """The baseline is frozen or held: somebody looks for the centre."""
    return readout.frozen_s() is not None or bool(readout.point and readout.point.held)


def alerts(readout: r.Readout, palette: Palette, rows: int, columns: int) -> list[Text]:
    """A heading and the latest alerts, the newest last, in `rows` lines."""
    shown = list(readout.alerts)[-(rows - 1) :]
    if _resting(readout):
        out = [label("centre").append(CENTRE if columns >= 80 else CENTRE_SHORT, palette.strong)]
    else:
        heading = f"{'peak':>21}  sign confidence" if shown else "none yet"
        out = [label("alerts").append(heading, palette.quiet)]
    for alert in shown:
        threshold = readout.chain.thresholds.of(alert.sign)
        weak = threshold and alert.score < WEAK_BELOW * threshold
        style = palette.quiet if weak else palette.sign(alert.sign)
        line = Text(f" {r.clock(alert.peak_s):>7}  ")
        line.append(f"{r.GLYPH[alert.sign]} {r.WENT[alert.sign]:<11}", style)
        sure = "" if alert.confidence is None else f"{alert.confidence:.0%}"
        line.append(f"{alert.peak_shift_ppm:+9.2f} ppm {sure:>4} {f'{alert.seen}x' if alert.seen > 1 else '':3} ")
        line.append("weak  " if weak else "      ")
        line.append(r.response_words(alert) if alert.sign else "settling")
        if columns >= 120 and alert.sign:
            room = columns - line.cell_len - 32
            if room > 0:
                line.append(f"   {rarity_short(alert)}", palette.quiet)
        out.append(line)
    return [*out, *[Text()] * (rows - len(out))]


def link(readout: r.Readout, palette: Palette, columns: int) -> Text:
    """What arrives, and what does not; a count that has no room is left out whole."""
    facts, chain = readout.facts, readout.chain
    line = label("link")
    if facts.problem:
        since = r.clock(facts.host_s - facts.problem_since_host_s)
        line.append(f" {facts.problem} for {since} ", palette.warning)
        return line.append("  waiting for the board")
    line.append(f"{facts.rate_hz:5.1f} records/s ")
    flagged = sum(chain.faults.values())
    counts = {"lost": chain.lost, "damaged": chain.damaged, "dropped": chain.dropped, "flagged": flagged}
    counts["mended"] = chain.mended + chain.repaired
    counts["reconnected"] = facts.reconnections
    for word, count in counts.items():
        text = f"  {word} {count:<4}"
        if line.cell_len + len(text) <= columns:
            line.append(text, palette.strong if count else "")
    return line


def board(readout: r.Readout) -> Text:
    """Temperature, supply and drift."""
    chain = readout.chain
    drift = r.optional(readout.drift_ppm_per_min(), "+.2f", "ppm/min")
    return label("board").append(
        f"{r.optional(chain.temperature_c, '.1f', '°C'):>8}   {r.optional(chain.supply_v, '.2f', 'V'):>7}   "
        f"drift {drift:>14}"
    )


def soil(readout: r.Readout, palette: Palette, columns: int) -> Text:
    """How much readings scatter here, the dips taken for soil, and whether the noise profile is of this soil."""
    facts, chain = readout.facts, readout.chain
    noise = r.optional(chain.noise_ppm, ".3f", "ppm")
    line = label("soil").append(f"noise {noise:>9}   broad dips {chain.broad_dips:<4}   ")
    if r.rougher_words(chain.roughness):
        times = f"{chain.roughness:.2g}x"
        words = f"{times} the noise of its profile: sweep again" if columns >= 100 else f"{times} rougher: sweep"
        return line.append(words, palette.strong)
    return line.append("noise profile" if facts.noise_profile else "no noise profile")


def alarms(readout: r.Readout, palette: Palette) -> Text:
    """How many false alarms are allowed, and quietly the thresholds that follow from that."""
    chain = readout.chain
    line = label("alarms").append(f"{asked_words(chain.false_alarms_per_minute):<33}")
    if chain.thresholds.least:
        ppm = "" if chain.threshold_ppm is None else f" = {chain.threshold_ppm.least:.3g} ppm"
        line.append(f"  {threshold_words(chain.thresholds)}{ppm}", palette.quiet)
    return line


def file(readout: r.Readout, palette: Palette) -> Text:
    """Whether and where this is recorded."""
    facts = readout.facts
    if not facts.file:
        return label("file").append("not recorded (--record FILE)", palette.quiet)
    line = label("file").append(f"{r.clock(facts.host_s):>7}  {readout.chain.records} records in {facts.file}")
    if facts.disk_late_s > r.DISK_LATE_S:
        line.append(f"  disk {facts.disk_late_s:.0f} s late", palette.strong)
    return line


def note(readout: r.Readout, palette: Palette) -> Text:
    """A message for some seconds, or a warning that stays; empty most of the time."""
    facts = readout.facts
    if facts.message:
        return label("note").append(facts.message, palette.strong)
    if facts.warning:
        return label("warning").append(facts.warning, palette.strong)
    faults = readout.chain.faults
    if faults:
        words = "  ".join(f"{word} {count}" for word, count in faults.items())
        return label("flagged").append(words, palette.strong)
    return Text()


def keys(palette: Palette, columns: int) -> Text:
    """The keys; `?` shows those that a narrow window leaves out."""
    bright = "b bright  " if columns >= 90 else ""
    words = f"m mark  f freeze  g track  + - alarms  {bright}s sound  ? help  q quit"
    return label("keys").append(words, palette.quiet)
