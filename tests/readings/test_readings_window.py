"""The intervals of the last second: which of them an estimate uses."""

import pytest
from board_lines import HEADER, TICKS_PER_S, Source, entries, hello, line
from coilcount.chain import Chain
from coilcount.model import Gap, Imported, Notice
from coilcount.readings.frequency import regression, two_averages
from coilcount.readings.window import Window, unwrapped
from coilcount.settings import defaults
from coilwire import records

TICK_S = 1 / TICKS_PER_S
HZ = 25_012.3456


def intervals(count, interval_ms=20, **first):
    source = Source(lambda t: HZ, interval_ms=interval_ms)
    wrapped = []
    for _ in range(count):
        interval = source.interval()
        wrapped.append(interval._replace(**{
            name: (getattr(interval, name) + start) % records.U32 for name, start in first.items()
        }))  # fmt: skip
    return wrapped


def fed(*lines):
    """(chain, source, outputs) of a chain that took a hello, a second of intervals, and then `lines`."""
    chain = Chain(defaults())
    source = Source(lambda t: HZ)
    feed = [HEADER, *entries(source, 1.0)]
    feed += [make(source) if callable(make) else make for make in lines]
    return chain, source, [output for entry in feed for output in chain.feed(entry)]


def span(chain):
    best = chain.estimate()
    return None if best is None else round(best.span_s / 0.02)


@pytest.mark.parametrize(("interval_ms", "kept"), [(2, 500), (20, 50), (30, 33), (500, 5), (1000, 5)])
def test_the_window_is_a_second_or_five_intervals(interval_ms, kept):
    window = Window(interval_ms)
    for interval in intervals(600 if interval_ms < 20 else 60, interval_ms):
        window.push(interval)
    best = window.estimate(TICK_S)
    assert best.span_s == pytest.approx(kept * interval_ms / 1000, rel=1e-3)
    assert best.frequency_hz == pytest.approx(HZ, rel=1e-9)


def test_few_intervals_give_two_averages_and_five_a_regression():
    window = Window(20)
    run = intervals(7)
    sums = unwrapped(run)
    best = [
        None,
        two_averages(sums[:2], TICK_S),
        two_averages(sums[1:3], TICK_S),  # the newest
        two_averages(sums[:4], TICK_S),
        regression(sums[:5], TICK_S),
        regression(sums[:6], TICK_S),
        regression(sums, TICK_S),
    ]
    for interval, wanted in zip(run, best, strict=True):
        window.push(interval)
        found = window.estimate(TICK_S)
        assert found == wanted if wanted is None else found == pytest.approx(wanted, rel=1e-14)


@pytest.mark.parametrize("before", [1, 10_000, 700_000, 30_000_000])
def test_edges_and_ticks_may_wrap_anywhere(before):
    plain, wrapping = Window(20), Window(20)
    for window, first in ((plain, {}), (wrapping, {"first_edge": -before, "t_first": -before})):
        for interval in intervals(50, **first):
            window.push(interval)
    assert wrapping.estimate(TICK_S) == plain.estimate(TICK_S)


WORDS = {
    records.FLAG_DOUBLE_EDGE: "double edge",
    records.FLAG_LOST_EDGE: "lost edge",
    records.FLAG_STALL: "stall",
    records.FLAG_OVERRUN: "overrun",
}


@pytest.mark.parametrize("flag", WORDS)
def test_a_flagged_interval_is_counted_reported_once_and_never_part_of_an_estimate(flag):
    def flagged(source):
        source.edge += 1  # from here on the count is one edge off
        return line(1.1, source.interval(flag))

    chain, source, outputs = fed(flagged)
    word = WORDS[flag]
    assert dict(chain.link.faults) == {word: 1}
    [notice] = [output for output in outputs if isinstance(output, Notice)]
    assert notice.level == "warning" and notice.text.startswith(f"{word}: ")
    assert chain.estimate() is None
    for _ in range(10):
        chain.feed(line(1.2, source.interval()))
    # One edge too many in 0.4 s would be 1e-4.
    assert chain.estimate().frequency_hz == pytest.approx(HZ, rel=1e-8)
    assert span(chain) == 10
    assert not [output for output in chain.feed(flagged(source)) if isinstance(output, Notice)]
    assert chain.link.faults[word] == 2


def test_two_faults_in_one_interval_are_two_words():
    both = records.FLAG_DOUBLE_EDGE | records.FLAG_STALL | records.FLAG_NO_AMPLITUDE
    chain, _, _ = fed(lambda source: line(1.1, source.interval(both)))
    assert dict(chain.link.faults) == {"double edge": 1, "stall": 1}
    harmless = records.FLAG_NO_AMPLITUDE | records.FLAG_AFTER_DROP
    quiet, _, outputs = fed(lambda source: line(1.1, source.interval(harmless)))
    assert not quiet.link.faults and not outputs


def lost(source):
    source.interval()
    return line(1.1, source.interval())


def new_time_base(source):
    return line(1.1, source.interval(records.FLAG_NEW_TIME_BASE))


@pytest.mark.parametrize(
    ("broken_by", "left"),
    [
        ((), 50),
        ((lost,), None),
        ((new_time_base,), None),
        ((Gap(1.1, 1.0, "unplugged"),), None),
        ((line(1.1, records.Stopped(1100, 50)),), None),
        ((line(1.1, hello(boot=2)), lambda source: line(1.2, source.interval())), None),
        ((line(1.1, hello(clock_hz=150_000_000)),), None),
        ((line(1.1, hello()),), 50),
        ((line(1.1, records.Interval(50, 25_013, 0, 62_500_000, 0, 0, 0, 0, 0)),), None),
    ],
    ids=["nothing", "a lost record", "a new time base", "unplugged", "stopped", "restarted", "another clock",
         "the same hello", "no edge"],
)  # fmt: skip
def test_no_estimate_goes_across_a_break(broken_by, left):
    chain, _, _ = fed(*broken_by)
    assert span(chain) == left


def test_imported_readings_have_no_sums_to_estimate_from():
    chain = Chain(defaults())
    for k in range(100):
        chain.feed(Imported(k / 50, 25_000.0))
    assert chain.estimate() is None
