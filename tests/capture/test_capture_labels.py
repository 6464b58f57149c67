"""The labels of a capture: written and read, edited in a spreadsheet, changed without loss."""

import os
import tempfile
from pathlib import Path

import pytest
from coilcount.capture import labels as module
from coilcount.capture.labels import LabelFile, backup_path, labels_path, read_all_labels, read_labels, write_labels
from coilcount.errors import InputError
from coilcount.model import PROPOSED, RESPONSES, Label
from hypothesis import given, settings
from hypothesis import strategies as st

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


# Any text that UTF-8 can hold: line feeds, quotes, semicolons, NUL, letters of every language.
TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
TIMES = st.lists(st.floats(-1e6, 1e6), min_size=3, max_size=3).map(sorted)


@st.composite
def any_label(draw):
    start_s, closest_s, end_s = draw(TIMES)
    depth_cm = draw(st.none() | st.floats(-1e3, 1e3))
    words = draw(TEXT), draw(TEXT), draw(st.sampled_from(RESPONSES)), depth_cm, draw(TEXT)
    return Label(start_s, end_s, closest_s, *words)


@settings(max_examples=50)
@given(st.lists(any_label(), max_size=5))
def test_labels_with_any_text_are_read_back_as_they_were_written(labels):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.labels.csv"
        write_labels(path, labels)
        assert read_all_labels(path) == labels
        assert read_labels(path) == [label for label in labels if label.object != PROPOSED]


def test_text_that_utf_8_cannot_hold_is_refused_before_a_file_is_made(tmp_path):
    with pytest.raises(InputError, match="not UTF-8"):
        write_labels(tmp_path / "a.labels.csv", [Label(0.0, 1.0, 0.5, "\udc9b")])
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "edited",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("start_s", " Start_S ").rstrip("\n"),
        lambda text: text + ",,,,,,,\n\n",
        lambda text: "sep=,\n" + text,
        lambda text: semicolons(text),
        lambda text: "sep=;\r\n" + semicolons(text).replace("\n", "\r\n"),
        lambda text: text.replace(",note", ",note,site").replace('"\n', '",north\n').replace("knock,", "knock,,"),
    ],
    ids=["bom", "crlf", "header", "empty rows", "sep", "semicolons", "semicolons sep crlf", "another column"],
)
def test_a_file_that_a_spreadsheet_wrote_is_read(tmp_path, edited):
    path = tmp_path / "a.labels.csv"
    write_labels(path, LABELS)
    path.write_bytes(edited(path.read_text(encoding="utf-8")).encode("utf-8"))
    assert read_labels(path) == LABELS


def semicolons(text):
    """The text as a spreadsheet writes it whose decimal sign is a comma."""
    head, first, second = text.splitlines()
    assert first.startswith("1.0,2.0,1.5,") and second.startswith("3.0,3.5,3.2,knock")
    return "\n".join(
        [
            head.replace(",", ";"),
            '1,0;2,0;1,5;"washer, 20 mm";iron;ferrous;5,0;"said ""flat"""',
            "3,0;3,5;3,2;knock;;;;\n",
        ]
    )


def test_utf_16_with_tabs_is_read(tmp_path):
    path = tmp_path / "a.labels.csv"
    path.write_bytes("\t".join(module.COLUMNS).encode("utf-16") + "\n1\t2\t1.5\tring\t\t\t\t\n".encode("utf-16-le"))
    assert read_labels(path) == [Label(1.0, 2.0, 1.5, "ring")]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "the file is empty"),
        (b"start_s;end_s\n1;2\n", "no column closest_s"),
        (",".join((*module.COLUMNS, "object")).encode(), "two columns object"),
        (",".join(module.COLUMNS).encode() + b"\n1,2,1,\xfc,,,,\n", "not CSV text in UTF-8.*Save it as CSV, UTF-8"),
        (",".join(module.COLUMNS).encode() + b"\n1,2\n", "too many or too few cells.*line 2"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_in_words(tmp_path, data, message):
    path = tmp_path / "a.labels.csv"
    path.write_bytes(data)
    with pytest.raises(InputError, match=message):
        read_labels(path)


def test_a_proposal_is_no_label_until_its_object_has_a_name(tmp_path):
    path = tmp_path / "a.labels.csv"
    proposal = Label(5.0, 6.0, 5.5, PROPOSED, note="suggests ferrous")
    assert proposal.is_proposed and not proposal.is_object
    assert not Label(5.0, 6.0, 5.5, PROPOSED, response="ferrous").is_object
    write_labels(path, [*LABELS, proposal])
    assert read_labels(path) == LABELS
    assert read_all_labels(path) == [*LABELS, proposal]
    path.write_text(path.read_text().replace(",?,,,,", ",nail,iron,ferrous,,"))
    assert read_labels(path)[-1] == Label(5.0, 6.0, 5.5, "nail", "iron", "ferrous", None, "suggests ferrous")


def test_a_change_keeps_the_labels_before_it_and_their_order_is_that_of_time(tmp_path):
    path = tmp_path / "a.labels.csv"
    file = LabelFile(path)
    assert not file.exists and file.labels == []
    file.save(LABELS[::-1])
    assert read_labels(path) == file.labels == LABELS and not backup_path(path).exists()
    file = LabelFile(path)
    before = path.read_bytes()
    file.save(LABELS[:1])
    assert read_labels(path) == LABELS[:1] and backup_path(path).read_bytes() == before
    file.save([])  # a file without rows would say that nothing lay in the whole recording
    assert not path.exists() and read_labels(backup_path(path)) == LABELS[:1]
    assert [item.name for item in tmp_path.iterdir()] == ["a.labels.csv.bak"]


def test_proposals_have_a_file_of_their_own(tmp_path):
    """So a recording with nothing but proposals is one without labels, and not one where nothing lay."""
    path, proposed = tmp_path / "a.labels.csv", tmp_path / "a.proposed.csv"
    proposals = [Label(5.0, 6.0, 5.5, PROPOSED), Label(7.0, 8.0, 7.5, PROPOSED)]
    LabelFile(path).save(proposals)
    assert not path.exists() and read_all_labels(proposed) == proposals and read_labels(proposed) == []
    file = LabelFile(path)
    assert file.exists and file.labels == proposals
    file.save([*LABELS, proposals[1]])
    assert read_all_labels(path) == LABELS and read_all_labels(proposed) == proposals[1:]
    LabelFile(path).save(LABELS)
    assert not proposed.exists() and read_all_labels(path) == LABELS


def test_a_file_whose_labels_stay_is_not_written_again(tmp_path):
    path = tmp_path / "a.labels.csv"
    text = semicolons(f"{','.join(module.COLUMNS)}\n1.0,2.0,1.5,\n3.0,3.5,3.2,knock\n")
    path.write_text(text)
    LabelFile(path).save([*LabelFile(path).labels, Label(5.0, 6.0, 5.5, PROPOSED)])
    assert path.read_text() == text and not backup_path(path).exists()
    nothing_there = tmp_path / "b.labels.csv"
    write_labels(nothing_there, [])
    LabelFile(nothing_there).save([Label(5.0, 6.0, 5.5, PROPOSED)])
    assert nothing_there.exists()


def test_labels_that_another_program_changed_meanwhile_are_not_lost(tmp_path):
    path = tmp_path / "a.labels.csv"
    write_labels(path, LABELS)
    file, other = LabelFile(path), LabelFile(path)
    other.save([*LABELS, Label(7.0, 8.0, 7.5, "theirs")])
    with pytest.raises(InputError, match="changed by another program"):
        file.save(LABELS[:1])
    assert len(read_labels(path)) == 3


@pytest.mark.parametrize("step", ["write", "replace"])
def test_a_crash_half_way_leaves_the_old_labels(tmp_path, monkeypatch, step):
    path = tmp_path / "a.labels.csv"
    write_labels(path, LABELS)
    before = path.read_bytes()

    def crash(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(module.os, {"write": "fsync", "replace": "replace"}[step], crash)
    with pytest.raises(KeyboardInterrupt):
        LabelFile(path).save(LABELS[:1])
    assert path.read_bytes() == before
    assert not list(tmp_path.glob("*.unfinished-*"))


@pytest.mark.skipif(os.name != "posix", reason="links and modes are those of POSIX")
def test_a_link_stays_a_link_and_the_mode_stays(tmp_path):
    real, path = tmp_path / "real.csv", tmp_path / "a.labels.csv"
    write_labels(real, LABELS)
    real.chmod(0o640)
    path.symlink_to(real)
    LabelFile(path).save(LABELS[:1])
    assert path.is_symlink() and read_labels(real) == LABELS[:1]
    assert real.stat().st_mode & 0o777 == 0o640
