"""The large letters of the answer, and the words for the strength of a score."""

from coilcount.face.answer_rows import rows_needed
from coilcount.face.big_text import big, width
from coilcount.face.score import strength
from hypothesis import given
from hypothesis import strategies as st


@given(st.text("▲▼ ABCDEFGHIKLMNOPRSTUVW0123456789+-.?", min_size=1, max_size=14), st.booleans())
def test_large_letters_have_rows_of_one_width(text, large):
    rows = big(text, large)
    assert len(rows) == (5 if large else 3)
    assert {len(line) for line in rows} == {width(text, large)}


def test_letters_of_the_readout_are_told_apart():
    letters = "ABCDEFGHIKLMNOPRSTUVW0123456789+-.▲▼"
    shapes = {tuple(big(letter, large=True)) for letter in letters}
    assert len(shapes) == len(letters)


def test_there_is_a_large_size_where_there_is_room():
    assert rows_needed(200, 60) == 6 and rows_needed(80, 24) == 4 and rows_needed(50, 15) == 4
    assert rows_needed(80, 8) == 2


def test_how_strong_a_score_is():
    assert strength(5.0, 4.8) == "1.0 x threshold, weak"
    assert strength(9.6, 4.8) == "2.0 x threshold, clear"
    assert strength(48.0, 4.8) == "10.0 x threshold, strong"
