"""Settings and the boot number in flash, each write beside the last good one.

Two files take turns; each is one line of the wire's own framing with a generation number, so that
its CRC tells a whole file from a torn one.  A power cut while one is written leaves the other.
Boot number: counts up before anything is said to the host, so none is told twice.
"""

from binascii import crc32

from coilwire import frame

# name, lowest, highest, default
SETTINGS = (("interval_ms", 5, 100, 20),)
NAMES = tuple([row[0] for row in SETTINGS])

_FILES = ("settings.a", "settings.b")
_KIND = "STORE"


class Store:
    """`folder`: an existing folder of the file system.  Call load() once, then start_boot()."""

    def __init__(self, folder):
        self.boot = 0
        self.note = ""  # something to tell the host about the flash
        self.values = {row[0]: row[3] for row in SETTINGS}
        self._folder = folder
        self._generation = 0

    def load(self):
        """Take the newest sound copy; the defaults where there is none."""
        damaged = 0
        for name in _FILES:
            try:
                with open(self._folder + "/" + name, "rb") as file:
                    content = file.read(2 * frame.MAX_FRAME_BYTES)
            except OSError:
                continue
            found = _decode(content)
            if found is None:
                damaged += 1
            elif found[0] > self._generation:
                self._generation, self.boot, values = found
                self.values.update(values)
        if damaged == len(_FILES):
            self.note = "settings in flash are damaged, defaults in force"
        elif damaged:
            self.note = "one copy of the settings was damaged, the other is in force"

    def start_boot(self):
        """Count this boot and keep the number."""
        self.boot = (self.boot + 1) & 0xFFFFFFFF
        try:
            self._save(self.values)
        except OSError:
            self.note = "the flash refuses writes, settings will not be kept"

    def put(self, name, value):
        """Keep a setting.  Raises OSError where the flash refuses; then nothing has changed."""
        values = dict(self.values)
        values[name] = value
        self._save(values)
        self.values = values

    def crc(self):
        """CRC-32 of the settings as text, `name=value` lines in the order of SETTINGS."""
        return crc32(b"".join([b"%s\n" % item for item in _items(self.values)])) & 0xFFFFFFFF

    def _save(self, values):
        generation = self._generation + 1
        line = frame.encode(_KIND, [generation, self.boot] + _items(values))
        # The file that does not hold the newest copy.
        with open(self._folder + "/" + _FILES[generation % 2], "wb") as file:
            file.write(line)
        self._generation = generation


def in_range(name, value):
    """Whether a setting may take this value by its own limits."""
    for row in SETTINGS:
        if row[0] == name:
            return row[1] <= value <= row[2]
    return False


def _items(values):
    return [b"%s=%d" % (name.encode(), values[name]) for name in NAMES]


def _decode(content):
    """(generation, boot, values) of a file's bytes, or None where they are not whole."""
    if content[-1:] != b"\n":
        return None
    found = frame.parse(content[:-1])
    if found is None or found.kind != _KIND or len(found.fields) < 2:
        return None
    values = {}
    try:
        generation = frame.digits(found.fields[0])
        boot = frame.digits(found.fields[1])
        for item in found.fields[2:]:
            name, _, number = item.partition(b"=")
            value = frame.digits(number)
            # A setting of another version, or out of today's range: its default stays.
            if in_range(name.decode(), value):
                values[name.decode()] = value
    except ValueError:
        return None
    return generation, boot, values
