"""Numbers, serials, names and times: what is read, and what is refused with a reason."""

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.layouts.cells import Names, Number, People, Serial, read_number, read_serial
from ingest.plans.time_forms import FormError, compile_form, to_utc
from ingest.problems import Complaint


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("2.6413", ".", 2.6413), (" +2.6413 ", ".", 2.6413), ("-.5", ".", -0.5), ("5.", ".", 5.0),
        ("'2.6414", ".", 2.6414), ("26.412E-1", ".", 2.6412), ("02.6410", ".", 2.641), ("0", ".", 0.0),
        ("67,089.0", ".", 67089.0), ("2,6413", ",", 2.6413), ("67.089,4", ",", 67089.4),
        ("2,6413", "either", 2.6413), ("2.6413", "either", 2.6413), ("219,671", "any", 219.671),
        ("1,234,567.5", "either", 1234567.5),
    ],
)  # fmt: skip
def test_numbers(text: str, decimal: str, value: float) -> None:
    number = read_number(text, decimal)
    assert isinstance(number, Number)
    assert number.value == value


@pytest.mark.parametrize(
    ("text", "decimal", "kind"),
    [
        ("2.641_3", ".", "bad_number"), ("1_000", ".", "bad_number"), ("0x2", ".", "bad_number"),
        ("nan", ".", "bad_number"), ("inf", ".", "bad_number"), ("-Infinity", ".", "bad_number"),
        ("1e400", ".", "bad_number"), ("٢٫٦", ".", "bad_number"), ("２.６", ".", "bad_number"),
        ("2 41/64", ".", "bad_number"), ("2.6414f", ".", "bad_number"), ("--2", ".", "bad_number"),
        ("1e5000", ".", "bad_number"), (".", ".", "bad_number"), ("e5", ".", "bad_number"),
        ("2\n3", ".", "bad_number"), ("67.089.4", ".", "ambiguous_number"),
        ("2,6413", ".", "ambiguous_number"), ("2.6413", ",", "ambiguous_number"),
        ("67,089", "either", "ambiguous_number"), ("67,0890,00", ".", "ambiguous_number"),
        ("NULL", ".", "missing_value"),
    ],
)  # fmt: skip
def test_what_is_no_number(text: str, decimal: str, kind: str) -> None:
    complaint = read_number(text, decimal)
    assert isinstance(complaint, Complaint)
    assert complaint.kind == kind


def test_blank_is_no_reading_and_no_fault() -> None:
    assert read_number("  ", ".") is None


@pytest.mark.parametrize("text", ["999", "999.0", "999.00", "+999", "ol", "OL"])
def test_overload_codes(text: str) -> None:
    complaint = read_number(text, ".", frozenset({"999", "OL"}))
    assert isinstance(complaint, Complaint)
    assert complaint.kind == "overload_code"


def test_a_unit_behind_the_number_is_told() -> None:
    number = read_number('2.6411"', ".")
    assert isinstance(number, Number)
    assert (number.value, number.unit, number.warning) == (2.6411, "in", "unit_in_cell")


@given(st.decimals(allow_nan=False, allow_infinity=False, places=5, min_value=-99999, max_value=99999))
def test_a_printed_number_reads_as_itself_in_either_sign(value) -> None:
    text = f"{value:f}"
    for number in (read_number(text, "."), read_number(text.replace(".", ","), ",")):
        assert isinstance(number, Number)
        assert number.value == float(value)


@given(st.text(max_size=12), st.sampled_from([".", ",", "either", "any"]))
def test_no_text_escapes(text: str, decimal: str) -> None:
    found = read_number(text, decimal)
    assert found is None or isinstance(found, Number | Complaint)
    if isinstance(found, Number):
        assert re.search("[0-9]", text)


SERIAL = re.compile(r"QB-\d{2}-\d{4}")


def test_serials() -> None:
    assert read_serial("QB-25-0512", SERIAL) == Serial("QB-25-0512")
    assert read_serial(" qb-25-0512", SERIAL) == Serial("QB-25-0512", tidied=True)
    assert read_serial("00123", None) == Serial("00123")
    missing = read_serial(" ", SERIAL)
    assert isinstance(missing, Complaint)
    assert missing.kind == "serial_missing"


@pytest.mark.parametrize(
    ("typo", "near"),
    [("QB-25-O512", "QB-25-0512"), ("QB-25-05IZ", "QB-25-0512"), ("QB-2S-OSI2", None), ("QX-25-0512", None)],
)
def test_a_slip_is_named_but_not_used(typo: str, near: str | None) -> None:
    complaint = read_serial(typo, SERIAL)
    assert isinstance(complaint, Complaint)
    assert complaint.kind == "serial_format"
    assert (f"Did you mean {near}?" in complaint.remedy) == (near is not None)


def test_closed_lists_know_keys_and_names_however_they_are_written() -> None:
    names = Names({"main_bore": "main bore size", "B-1": "hone"}, "machine")
    assert [names.read(t) for t in ("main_bore", "Main Bore", "MAIN-BORE-SIZE", "b 1", " ")] == [
        "main_bore", "main_bore", "main_bore", "B-1", None,
    ]  # fmt: skip
    unknown = names.read("B-10")
    assert isinstance(unknown, Complaint)
    assert unknown.kind == "unknown_machine"
    assert "B-1, main_bore" in unknown.remedy


def test_initials_written_alike_in_the_plan_are_not_told_apart_by_guess() -> None:
    people = People({"JM": "machinist", "K.P.": "quality", "KP": "machinist"})
    assert people.read("j.m.") == ("JM", "operator_normalised")
    assert people.read("kp") == ("kp", "operator_unknown")
    assert people.read("KP") == ("KP", None)


@pytest.mark.parametrize(
    ("form", "text", "wanted"),
    [
        ("%Y-%m-%d %H:%M:%S", "2026-03-10 09:05:07", datetime.fromisoformat("2026-03-10T09:05:07")),
        ("%d.%m.%y %H:%M", "1.2.26 9:05", datetime.fromisoformat("2026-02-01T09:05:00")),
        ("%m/%d/%Y %I:%M %p", "03/10/2026 12:05 AM", datetime.fromisoformat("2026-03-10T00:05:00")),
        ("%d %b %Y", "10 Mar 2026", datetime.fromisoformat("2026-03-10T00:00:00")),
        ("%Y-%m-%d %H:%M:%S", "2026-02-30 09:00:00", None),
        ("%Y-%m-%d %H:%M:%S", "2026-03-10 24:10:00", None),
        ("%Y-%m-%d %H:%M:%S", "2026-03-10T09:05:07", None),
        ("%m/%d/%Y %I:%M %p", "03/10/2026 13:05 PM", None),
        ("%Y-%m-%d", "٢٠٢٦-03-10", None),
    ],
)
def test_time_forms(form: str, text: str, wanted: datetime | None) -> None:
    assert compile_form(form).read(text) == wanted


@pytest.mark.parametrize("form", ["%Q", "%Y-%Y", "%I:%M", "%m-%b", "%S", "-"])
def test_forms_that_cannot_be_used_say_why(form: str) -> None:
    with pytest.raises(FormError, match=r"\.$"):
        compile_form(form)


FORMS = [
    "%Y-%m-%d %H:%M:%S",
    "%d/%m/%Y %H:%M",
    "%m/%d/%Y %H:%M",
    "%d %b %Y",
    "%d %B %Y",
    "%Y-%m-%d",
    "%d.%m.%y",
]


@given(st.sampled_from(FORMS), st.sampled_from(FORMS), st.datetimes(datetime.fromisoformat("1000-01-01")))
def test_forms_said_not_to_read_each_other_never_do(one: str, other: str, moment: datetime) -> None:
    if not compile_form(other).could_read(compile_form(one)):
        assert compile_form(other).read(moment.strftime(one)) is None


NEW_YORK = ZoneInfo("America/New_York")


@given(
    st.datetimes(datetime.fromisoformat("2015-01-01T00:00:00"), datetime.fromisoformat("2030-01-01T00:00:00"))
)
def test_shop_time_to_utc_and_back(local: datetime) -> None:
    instant = to_utc(local, NEW_YORK)
    if instant is None:  # the hour that is skipped: the same clock reading an hour later exists
        assert to_utc(local + timedelta(hours=1), NEW_YORK) is not None
        return
    for utc in (instant.first, instant.second):
        back = utc.replace(tzinfo=ZoneInfo("UTC")).astimezone(NEW_YORK).replace(tzinfo=None)
        assert back == local
    assert instant.second - instant.first in (timedelta(0), timedelta(hours=1))
