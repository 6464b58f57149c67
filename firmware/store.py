"""Settings and the boot number in flash.  A write never touches the last good copy.

Two files take turns.  Each is one frame of the wire with a generation number, so its CRC shows if the file is whole.
If power is cut while one file is written, the other one is still good.

The boot number is raised and kept before anything is sent to the host, so no number is used twice.
"""

from binascii import crc32

from coilwire import frame, records

# Name, lowest value, highest value, default.  The limits of interval_ms are part of the protocol (PROTOCOL.md).
SETTINGS = (("interval_ms", 5, 100, 20),)
NAMES = tuple([row[0] for row in SETTINGS])

_FILES = ("settings.a", "settings.b")
_KIND = "STORE"  # of the frame in a file; it is never sent to the host


class Store:
    """The settings.  Call load() once, then start_boot().

    folder: an existing folder (str).  boot: number of this boot; values: setting by name (dict); crc: CRC-32 (int) of
    the lines `name=value` LF of all settings, in the order of SETTINGS; note: a text for the host about the state of
    the flash, or "".
    """

    def __init__(self, folder):
        self.boot = 0
        self.note = ""
        self._take({row[0]: row[3] for row in SETTINGS})
        self._folder = folder
        self._generation = 0

    def load(self):
        """Read the newest sound copy.  If there is none, the defaults stay in force."""
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
                self._generation, self.boot, changed = found
                values = dict(self.values)
                values.update(changed)
                self._take(values)
        if damaged == len(_FILES):
            self.note = "settings in flash are damaged, defaults in force"
        elif damaged:
            self.note = "one copy of the settings was damaged, the other is in force"

    def start_boot(self):
        """Raise the boot number and keep it in flash.  If the flash refuses the write, set `note`."""
        self.boot = (self.boot + 1) & records.MASK32
        try:
            self._save(self.values)
        except OSError:
            self.note = "the flash refuses writes, settings will not be kept"

    def put(self, name, value):
        """Keep a setting.  Raises OSError if the flash refuses the write; then nothing has changed."""
        values = dict(self.values)
        values[name] = value
        self._save(values)
        self._take(values)

    def _take(self, values):
        self.values = values
        self.crc = crc32(b"".join([b"%s\n" % item for item in _items(values)])) & records.MASK32

    def _save(self, values):
        generation = self._generation + 1
        line = frame.encode(_KIND, [generation, self.boot] + _items(values))
        # This is the file that does not hold the newest copy.
        with open(self._folder + "/" + _FILES[generation % 2], "wb") as file:
            file.write(line)
        self._generation = generation


def in_range(name, value):
    """Return True if the setting exists and the value is within its limits."""
    for row in SETTINGS:
        if row[0] == name:
            return row[1] <= value <= row[2]
    return False


def _items(values):
    return [b"%s=%d" % (name.encode(), values[name]) for name in NAMES]


def _decode(content):
    """Return (generation, boot, values) from the bytes of a file, or None if the file is damaged."""
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
            # A setting of another firmware version may be unknown or out of range here.  Its default stays.
            if in_range(name.decode(), value):
                values[name.decode()] = value
    except ValueError:
        return None
    return generation, boot, values
