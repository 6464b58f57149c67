"""Pairs the passes of two builds over one course, and the false alarms of two settings on the same recordings."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from coilcount.desk.scoring import NEAR_S
from coilcount.model import Alert, Label, PassScore

DEPTH_PLACES = 1  # decimals of the depth in cm that tell two objects of one name apart; chosen by hand

ObjectKey = tuple[str, float | None]


@dataclass(frozen=True, slots=True)
class Pass:
    """One labelled pass.

    recording: its place among the recordings of its side, from 0; file: that recording; number: of the pass over this
    object, from 1; judged: at the threshold; weak: at a low threshold, whose alert may have been too weak to be one.
    """

    recording: int
    file: str
    number: int
    judged: PassScore
    weak: PassScore

    @property
    def object(self) -> ObjectKey:
        """Name and depth: passes with the same ones count as passes over one object."""
        return object_key(self.judged.label)

    @property
    def best(self) -> Alert | None:
        """Its alert; if it was not found the weak one; None if nothing stood out."""
        return self.judged.alert or self.weak.alert


Pair = tuple[Pass, Pass]


def object_key(label: Label) -> ObjectKey:
    """Name and depth of the object of a label."""
    return label.object, None if label.depth_cm is None else round(label.depth_cm, DEPTH_PLACES)


def numbered(
    recordings: Iterable[tuple[int, str, Sequence[PassScore], Sequence[PassScore]]], *, within: bool
) -> list[Pass]:
    """Number the passes over each object in the order of time.

    recordings: place, file, passes judged at the threshold and, in the same order, at a low threshold.
    within: begin again at 1 in each recording.
    """
    found = []
    counts: Counter = Counter()
    for place, file, judged, weak in recordings:
        rows = sorted(zip(judged, weak, strict=True), key=lambda row: row[0].label.closest_s)
        for at_threshold, at_low in rows:
            key = (place if within else 0, object_key(at_threshold.label))
            counts[key] += 1
            found.append(Pass(place, file, counts[key], at_threshold, at_low))
    return found


def paired_passes(a: Sequence[Pass], b: Sequence[Pass], *, within: bool) -> tuple[list[Pair], list[Pass], list[Pass]]:
    """Pair passes that have object, depth and number in common; return the pairs and what is left of A and of B.

    within: also the place of the recording must be the same.
    """

    def key(one_pass: Pass) -> tuple:
        return one_pass.recording if within else 0, one_pass.object, one_pass.number

    of_b = {key(one_pass): one_pass for one_pass in b}
    pairs, lone_a = [], []
    for one_pass in a:
        partner = of_b.pop(key(one_pass), None)
        if partner is None:
            lone_a.append(one_pass)
        else:
            pairs.append((one_pass, partner))
    return pairs, lone_a, list(of_b.values())


def common_alarms(a: Sequence[Alert], b: Sequence[Alert]) -> tuple[set[int], set[int]]:
    """Match false alarms of one recording that peak within NEAR_S; return their numbers in A and in B.

    Each alert has at most one partner, the nearest that is left.
    """
    rows = [(abs(x.peak_s - y.peak_s), x.id, y.id) for x in a for y in b if abs(x.peak_s - y.peak_s) <= NEAR_S]
    in_a: set[int] = set()
    in_b: set[int] = set()
    for _, of_a, of_b in sorted(rows):
        if of_a not in in_a and of_b not in in_b:
            in_a.add(of_a)
            in_b.add(of_b)
    return in_a, in_b
