"""How the firmware ends: Ctrl-C, errors and the watchdog.  Runs under the real MicroPython."""

import chip_tools
from micropython_tool import PROTOCOL, run_micropython

SUPPORT = chip_tools.FIRMWARE.parent / "tests" / "support"

CERTAINLY = """
from certain import certainly
log = []
on = [True]
def kbd_intr(byte):
    # A second Ctrl-C came just before it is switched off.
    log.append(byte)
    on[0] = byte == 3
    if len(log) == 1:
        raise KeyboardInterrupt
def first():
    assert not on[0]
    log.append("first")
def broken():
    assert not on[0]
    log.append("broken")
    raise OSError(5)
def last():
    assert not on[0]
    log.append("last")
try:
    certainly([first, broken, last], kbd_intr)
except OSError as error:
    log.append(error.errno)
print(log, on)
"""


def test_every_step_is_done_if_ctrl_c_comes_again_and_if_a_step_fails():
    printed = run_micropython(CERTAINLY, paths=[chip_tools.FIRMWARE])
    assert printed == "[-1, -1, 'first', -1, 'broken', -1, 'last', 3, 5] [True]\n"


STOP = """
import sys
class Channel:
    made = []
    armed = None
    def __init__(self):
        self.channel = len(Channel.made)
        self.count = 0
        self.works = self.closed = False
        Channel.made.append(self)
    def interrupt(self):
        Channel.calls += 1
        if Channel.calls == Channel.armed:
            raise KeyboardInterrupt
    def pack_ctrl(self, **fields): return fields
    def config(self, **given):
        assert not self.closed
        self.interrupt()
    def active(self, on=None):
        if on is None: return self.works
        assert not self.closed
        self.works = bool(on)
        self.interrupt()
    def close(self):
        self.closed = True
        self.interrupt()
class Machine:
    def __init__(self, number, program, jmp_pin): pass
    def put(self, word): pass
    def active(self, on):
        Channel.made and Channel.made[0].interrupt()
class Block:
    def __init__(self, number): pass
    def remove_program(self, program): pass
class rp2:
    StateMachine = Machine
    PIO = Block
    DMA = Channel
    asm_pio = staticmethod(lambda **options: lambda function: [])
class machine:
    class Pin:
        IN = 0
        def __init__(self, number, mode): pass
    freq = staticmethod(lambda: 125_000_000)
    mem32 = {}
sys.modules["rp2"] = rp2
sys.modules["machine"] = machine
from certain import certainly
from chip_edges import ChipEdges
edges = ChipEdges(15, ring_bits=12)
tried = 0
for armed in range(1, 20):
    Channel.made = []
    Channel.armed = None
    Channel.calls = 0
    edges.start()
    Channel.calls = 0
    Channel.armed = armed
    try:
        edges.stop()
    except KeyboardInterrupt:
        tried += 1
        # The firmware's end calls it again.
        certainly([edges.stop], lambda byte: None)
    assert len(Channel.made) == 2 and not any([channel.works for channel in Channel.made]), armed
print(tried)
"""


def test_no_dma_goes_on_wherever_ctrl_c_cuts_the_stop_short():
    """rp2 and machine are fakes, which raise KeyboardInterrupt at each call in turn."""
    assert int(run_micropython(STOP, paths=[chip_tools.FIRMWARE])) >= 7


MAIN = """
import sys, time
sys.path[:0] = [PATHS]
log = []
class Register(dict):
    def __setitem__(self, address, value): log.append((hex(address), value))
    def __getitem__(self, address): return 0
class machine:
    mem32 = Register()
    class WDT:
        def __init__(self, timeout): log.append(("watchdog", timeout))
        def feed(self): log.append("feed")
    class Pin:
        IN = OUT = PULL_UP = 0
        def __init__(self, *_, **__): pass
        def value(self): return 1
    class ADC:
        CORE_TEMP = 4
        def __init__(self, pin): pass
        def read_u16(self): return 0
    freq = staticmethod(lambda *hertz: 125_000_000)
    unique_id = staticmethod(lambda: bytes(8))
sys.modules["machine"] = machine
class rp2: pass
sys.modules["rp2"] = rp2
class ChipEdges:
    clock_hz, tick_cycles, missed_ticks, ring_words, moved_modulo = 125_000_000, 2, 203, 1024, 1 << 27
    ring = bytearray(4096)
    def __init__(self, pin, *_): self.pin = pin
    def start(self): log.append("start")
    def stop(self): log.append("stop")
    def stalled(self): return False
    def moved(self):
        if log.count("feed") >= 3: raise ERROR
        return 1
class chip_edges: pass
chip_edges.ChipEdges = ChipEdges
sys.modules["chip_edges"] = chip_edges
class chip_wave:
    class ChipWave:
        def __init__(self, pin): pass
        def stop(self): log.append("stop wave")
sys.modules["chip_wave"] = chip_wave
import os
os.chdir(FLASH)
class store_module: pass
import store
real = store.Store
store.Store = lambda folder: real(".")
import pins
pins.kind_of = lambda machine: pins.Kind("Raspberry Pi Pico", "RP2040", 125_000_000, True, False)
try:
    import main
except BaseException as error:
    log.append(type(error).__name__)
print()
print([entry for entry in log if entry != "feed"], log.count("feed"))
"""


def ended_by(error, tmp_path):
    script = MAIN.replace("PATHS", repr(str(chip_tools.FIRMWARE))).replace("ERROR", error)
    script = script.replace("FLASH", repr(str(tmp_path)))
    printed = run_micropython(script, paths=(chip_tools.FIRMWARE, PROTOCOL))
    return printed.splitlines()[-1]


DISABLE = "('0x4005b000', 1073741824)"  # the bit ENABLE of the RP2040's watchdog, cleared


def test_ctrl_c_stops_the_watchdog_and_then_the_hardware(tmp_path):
    """The modules of the chip are fakes; main.py, the loop and the watchdog are the firmware's own."""
    log = ended_by("KeyboardInterrupt", tmp_path)
    assert log.startswith(f"['start', ('watchdog', 5000), {DISABLE}, 'stop', 'stop wave', 'stop'")
    assert log.endswith("'KeyboardInterrupt'] 3")


def test_after_an_error_the_hardware_is_stopped_and_the_watchdog_goes_on_and_starts_the_board_again(tmp_path):
    log = ended_by("ValueError", tmp_path)
    assert log.startswith("['start', ('watchdog', 5000), 'stop', 'stop wave', 'stop'")
    assert DISABLE not in log and log.endswith("'ValueError'] 3")
