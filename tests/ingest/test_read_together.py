"""Cells that are read together mean what each means by itself."""

from hypothesis import example, given
from hypothesis import strategies as st

from ingest.layouts.context import NO_NUMBER, _whole, _wholes
from ingest.layouts.table import code_texts
from ingest.layouts.times import NO_TIME, _read_form, _tidy, microseconds
from ingest.plans.time_forms import compile_form

short = st.text(st.sampled_from("0123456789 \t\n\xa0\x85-+.a٣²"), max_size=21)
FORM = compile_form("%Y-%m-%d %H:%M:%S")
times = st.datetimes().map(lambda t: t.isoformat(" ", "seconds"))
broken = st.text(st.sampled_from("0123456789-: "), min_size=19, max_size=19)


@given(st.lists(short))
@example(["999999999999999999", "9999999999999999999", "007", ""])
def test_whole_numbers(texts: list[str]) -> None:
    assert _wholes(texts).tolist() == [_whole(text) for text in texts]
    assert all(number == NO_NUMBER or number >= 0 for number in _wholes(texts).tolist())


@given(st.lists(short))
def test_blanks(texts: list[str]) -> None:
    assert _tidy(texts) == [" ".join(text.split()) for text in texts]


@given(st.lists(times | broken | short, min_size=1))
def test_times(texts: list[str]) -> None:
    each = [FORM.read(text) for text in texts]
    assert _read_form(FORM, texts).tolist() == [NO_TIME if t is None else microseconds(t) for t in each]


@given(st.lists(st.lists(short, max_size=5), max_size=5))
def test_coded_texts_say_what_the_runs_said(runs: list[list[str]]) -> None:
    coded = code_texts(*runs)
    assert [coded.texts[code] for code in coded.codes] == [text for run in runs for text in run]
    assert len(set(coded.texts)) == len(coded.texts)
