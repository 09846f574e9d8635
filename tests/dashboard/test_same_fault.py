"""Rows of one fault say so, and rows of two do not."""

from dataclasses import replace
from datetime import date

from dashboard.words.same_fault import same_fault, same_fault_text
from dashboard.work.status import as_text
from ingest.answers.processes import BeyondFact
from tests.dashboard.paper_shop import PaperShop, off, out, row
from tests.dashboard.test_pages import html_of

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


def test_the_page_says_so_on_the_row_below_and_sets_apart_what_holds_outside_its_limits() -> None:
    shop = PaperShop()
    beyond = BeyondFact("main_size", 7, 40, 0, 7, date(2026, 3, 8), -4.0)
    shop.rows = [
        off("bore_peak", direction=-1, size=-0.3), off("cycle"), row("main_size", beyond=beyond), row("height"),
    ]  # fmt: skip
    text = html_of(shop, "/")
    assert text.count("Probably the same fault as bore finish Rpk above.") == 1
    apart = text.index("What runs as ever, but not within its limits?")
    holding = text.index("What is holding?")
    assert apart < text.index('data-process="LINE/line_hone/main_size"') < holding
    assert holding < text.index('data-process="HONE/finish_hone/height"')
