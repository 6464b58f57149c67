"""Scores of recordings in which every false alarm and every pass has a planted height, so that the answer is known."""

from coilcount.desk.tune_choice import Judged
from coilcount.model import Alert, Label, PassScore, Score, TunedRecording

THRESHOLDS = (3.0, 4.0, 4.8, 6.0, 8.0)


def alert(height, response="ferrous", sign=-1):
    return Alert("final", 1, 0, 0, 0, 0, False, sign, response, (), height, 1.0, 0.02, 0.9, 0.2)


def label(depth_cm=5.0, response="ferrous"):
    return Label(0, 1, 0.5, "nail", "steel", response, depth_cm)


def planted(name, noise=(), objects=(), minutes=10.0, group=None, thresholds=THRESHOLDS):
    """A recording of which each false alarm and each pass has a planted height; depth 2 cm, 7 cm, 12 cm, ..."""
    scores = []
    alerts = [alert(height) for height in noise]
    for threshold in thresholds:
        passes = tuple(
            PassScore(label(2.0 + 5.0 * number), alert(height) if height >= threshold else None)
            for number, height in enumerate(objects)
        )
        false = tuple(made for made in alerts if made.score >= threshold)
        scores.append(Score(threshold, passes, false, minutes))
    info = TunedRecording(name, ("0" * 64,), "", True, minutes, len(objects), 0, group or name, "")
    own = next((score for score in scores if score.threshold == 4.8), scores[0])
    return Judged(info, (tuple(scores),), ((),), own)
