"""Rows of one fault say so, and rows of two do not."""

from dataclasses import replace

from dashboard.same_fault import same_fault, same_fault_text
from dashboard.status import as_text
from tests.dashboard.paper_shop import PaperShop, off, out, row

PLAN = PaperShop().plan


def test_finish_and_cycle_of_one_hone_ask_for_the_same_stones() -> None:
    peak, cycle = off("bore_peak", direction=-1, size=-0.3), off("cycle")
    assert same_fault([peak, cycle], PLAN) == {"HONE/finish_hone/cycle": peak}
    text = as_text([peak, cycle], PLAN)
    assert text.count("Probably the same fault as bore finish Rpk above.") == 1
    assert text.splitlines()[-1].strip() == same_fault_text(peak)


def test_what_comes_from_the_same_readings_is_one_fault() -> None:
    size, taper = off("bore_size"), off("bore_taper")
    assert same_fault([taper, size], PLAN) == {size.process: taper}


def test_another_machine_or_another_remedy_is_another_fault() -> None:
    elsewhere = replace(off("bore_peak"), machine="HONE2", process="HONE2/finish_hone/bore_peak")
    assert same_fault([off("bore_peak"), elsewhere, off("height"), off("main_size")], PLAN) == {}


def test_a_chain_names_the_first_row_and_quiet_rows_nothing() -> None:
    rows = [
        off("bore_taper"),
        off("bore_size"),
        replace(off("bore_size"), process="HONE/x/bore_size"),
        row("cycle"),
    ]
    assert set(same_fault(rows, PLAN).values()) == {rows[0]}
    assert same_fault([out(), row("main_size")], PLAN) == {}
