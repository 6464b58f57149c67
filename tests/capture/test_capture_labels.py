"""The labels of a capture."""

import pytest
from coilcount.capture.labels import labels_path, read_labels, write_labels
from coilcount.errors import InputError
from coilcount.model import Label

LABELS = [
    Label(1.0, 2.0, 1.5, "washer, 20 mm", "iron", "ferrous", 5.0, 'said "flat"'),
    Label(3.0, 3.5, 3.2, "knock"),
]


def test_written_labels_are_read_back(tmp_path):
    path = labels_path(tmp_path / "walk.2.ccap.gz")
    assert path == tmp_path / "walk.2.labels.csv" == labels_path(tmp_path / "walk.2.ccap")
    write_labels(path, LABELS)
    assert read_labels(path) == LABELS
    with pytest.raises(InputError, match="exists"):
        write_labels(path, LABELS)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("response", "answer", "no column response"),
        ("1.5", "2.5", "line 2.*closest_s|closest_s.*line 2"),
        ("1.5", "x", 'closest_s is "x".*line 2'),
        ("1.5", "nan", 'closest_s is "nan".*line 2'),
        (",ferrous", ",ferous", 'response is "ferous".*line 2.*Did you mean "ferrous"'),
        (",5.0", ",deep", 'depth_cm is "deep".*line 2'),
        ("knock", "knock,knock", "too many or too few cells.*line 3"),
        ('"""', '""', "not CSV text"),
    ],
)
def test_wrong_labels_are_refused_with_their_line(tmp_path, old, new, message):
    path = tmp_path / "a.labels.csv"
    write_labels(path, LABELS)
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError, match=message):
        read_labels(path)
