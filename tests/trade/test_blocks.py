"""Facts of the trade, told to Tenthwise as a shop would tell them: by its gauges' files.

Every figure here is common practice, no source: how a bore gauge is set and read before and after line honing,
how a deck is roughed and finished, how much stock is left for the finish hone. The shop is the tests' own.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ingest.answers.processes import PartReading, PartView
from ingest.intake.receipt import IncomingFile
from ingest.shop.shop import Shop
from spc.units import from_base

PLAN = (Path(__file__).parent / "plan.toml").read_text(encoding="utf-8")
NOW = datetime(2025, 6, 30, 15, 0, tzinfo=UTC)

JOBS = "block,family,operation,machine,pass,started,ended\n"
DIAL = "time,block,place,thou from set,set in,gauge,who\n"
PROBE = "time,block,point,height in\n"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    shop = Shop.create(tmp_path / "shop", PLAN, known_at=datetime(2025, 6, 1, tzinfo=UTC))
    yield shop
    shop.close()


def give(shop: Shop, **files: str) -> None:
    """Take files in, all of whose rows must be stored."""
    receipts = shop.take_in(
        [IncomingFile(f"{name}.csv", text.encode()) for name, text in files.items()], known_at=NOW
    )
    assert [(r.status, r.lines.set_aside) for r in receipts] == [("taken", 0)] * len(files), receipts


def of(view: PartView, feature: str, *statuses: str) -> dict[str, PartReading]:
    return {r.position: r for r in view.readings if r.feature == feature and r.status in statuses}


@pytest.fixture
def honed(shop: Shop) -> Shop:
    """Five mains: 3 to 4 thou under a gauge set at the high limit before line honing, half a thou under after."""
    before = [-3.0, -3.5, -4.0, -3.2, -3.7]
    after = [-0.5, -0.6, -0.4, -0.5, -0.3]
    give(
        shop,
        jobs=JOBS + "B1,V8,line_hone,LH,1,2025-06-02 09:00,2025-06-02 09:40\n",
        before=DIAL + "".join(
            f"2025-06-02 08:30,B1,main {n},{d},2.9380,DIAL,JK\n" for n, d in enumerate(before, start=1)
        ),
        after=DIAL + "".join(
            f"2025-06-02 09:45,B1,main {n},{d},2.9380,DIAL,JK\n" for n, d in enumerate(after, start=1)
        ),
    )  # fmt: skip
    return shop


def test_a_reading_under_the_set_master_becomes_an_absolute_size_in_every_unit(honed: Shop) -> None:
    bore = of(honed.part("B1"), "main_size", "used")["main=1"]
    assert from_base(bore.value, "in") == pytest.approx(2.9375, abs=1e-9)
    assert from_base(bore.value, "thou") == pytest.approx(2937.5, abs=1e-6)
    assert from_base(bore.value, "mm") == pytest.approx(74.6125, abs=1e-9)


def test_readings_before_the_hone_are_kept_and_never_judged(honed: Shop) -> None:
    before = of(honed.part("B1"), "main_size", "incoming")
    assert [round(from_base(r.value, "in"), 4) for r in before.values()] == [
        2.9350,
        2.9345,
        2.9340,
        2.9348,
        2.9343,
    ]
    assert {r.out for r in before.values()} == {None}


def test_the_stock_removed_is_the_difference_at_each_main(honed: Shop) -> None:
    stock = {s.position: s.removed for s in honed.part("B1").stock if s.feature == "main_size"}
    assert [round(from_base(v, "thou"), 6) for v in stock.values()] == [2.5, 2.9, 3.6, 2.7, 3.4]


def test_the_margin_to_the_high_limit_is_what_the_gauge_showed(honed: Shop) -> None:
    after = of(honed.part("B1"), "main_size", "used")
    margins = [r.upper - r.value for r in after.values() if r.upper is not None]
    assert [round(from_base(m, "thou"), 6) for m in margins] == [0.5, 0.6, 0.4, 0.5, 0.3]
    assert [round(from_base(m, "in"), 9) for m in margins] == [0.0005, 0.0006, 0.0004, 0.0005, 0.0003]
    assert [round(from_base(m, "mm"), 6) for m in margins] == [0.0127, 0.01524, 0.01016, 0.0127, 0.00762]


def test_neighbouring_mains_within_half_a_thou_are_within_the_step_limit(honed: Shop) -> None:
    view = honed.process("LH/line_hone/main_step")
    assert view.row.out is None
    steps = {s.position: s for s in honed.part("B1").derived if s.feature == "main_step"}
    assert [round(from_base(s.value, "thou"), 6) for s in steps.values()] == [-0.1, 0.2, -0.1, 0.2]
    assert {s.out for s in steps.values()} == {None}


def test_a_main_honed_past_the_high_limit_is_out_and_named(honed: Shop) -> None:
    give(
        honed,
        jobs2=JOBS + "B2,V8,line_hone,LH,1,2025-06-03 09:00,2025-06-03 09:40\n",
        after2=DIAL + "".join(
            f"2025-06-03 09:45,B2,main {n},{0.1 if n == 3 else -0.5},2.9380,DIAL,JK\n" for n in range(1, 6)
        ),
    )  # fmt: skip
    out = honed.process("LH/line_hone/main_size").row.out
    assert out is not None
    assert (out.serial, out.position, out.side) == ("B2", "main=3", "above")
    assert from_base(out.value - out.limit, "thou") == pytest.approx(0.1, abs=1e-6)


@pytest.fixture
def decked(shop: Shop) -> Shop:
    """A deck from 10.200 to 10.185 in: roughed to 10 thou from size, then cut, the last cut a thou."""
    passes = [("08:00", "08:20", 10.195), ("08:30", "08:50", 10.186), ("09:00", "09:10", 10.185)]
    give(
        shop,
        jobs=JOBS + "".join(
            f"B1,V8,deck,MILL,{n},2025-06-02 {start},2025-06-02 {end}\n"
            for n, (start, end, _) in enumerate(passes, start=1)
        ),
        heights=PROBE
        + "".join(f"2025-06-02 07:50,B1,{p},10.200\n" for p in range(1, 5))
        + "".join(
            f"2025-06-02 {end[:3]}{int(end[3:]) + 2:02d},B1,{p},{height}\n"
            for _, end, height in passes for p in range(1, 5)
        ),
    )  # fmt: skip
    return shop


def test_the_cuts_of_one_deck_are_passes_kept_apart(decked: Shop) -> None:
    view = decked.part("B1")
    assert [p.pass_no for p in view.passes] == [1, 2, 3]
    heights = {r.pass_no: round(from_base(r.value, "in"), 4) for r in view.readings if r.status == "used"}
    assert heights == {1: 10.195, 2: 10.186, 3: 10.185}
    assert {round(from_base(r.value, "in"), 4) for r in view.readings if r.status == "incoming"} == {10.2}


def test_only_the_last_cut_is_judged_as_delivered(decked: Shop) -> None:
    row = decked.process("MILL/deck/deck_height").row
    assert row.out is None
    assert str(row.state) == "learning"
    judged = {r.pass_no: r.out for r in decked.part("B1").readings if r.status == "used"}
    assert judged == {1: None, 2: None, 3: None}


def test_the_last_cut_of_a_deck_was_a_thou(decked: Shop) -> None:
    view = decked.part("B1")
    last = {r.pass_no: r.value for r in view.readings if r.status == "used" and r.position == "point=1"}
    assert from_base(last[2] - last[3], "thou") == pytest.approx(1.0, abs=1e-6)
    stock = [s for s in view.stock if s.feature == "deck_height" and s.position == "point=1"]
    assert [round(from_base(s.removed, "thou"), 6) for s in stock] == [15.0]


def test_a_cylinder_with_stock_left_for_the_finish_hone_is_not_out_of_tolerance(shop: Shop) -> None:
    give(
        shop,
        jobs=JOBS + "B1,V8,finish_hone,HONE,1,2025-06-02 10:00,2025-06-02 11:00\n",
        before=DIAL
        + "2025-06-02 09:00,B1,cyl 1,-12.0,4.0000,DIAL,JK\n2025-06-02 09:01,B1,cyl 2,-15,4.0,DIAL,JK\n",
        after=DIAL
        + "2025-06-02 11:05,B1,cyl 1,0.1,4.0000,DIAL,JK\n2025-06-02 11:06,B1,cyl 2,-0.1,4.0,DIAL,JK\n",
    )
    row = shop.process("HONE/finish_hone/cyl_size").row
    assert row.out is None
    assert str(row.state) == "learning"
    assert {r.status: r.out for r in shop.part("B1").readings} == {"incoming": None, "used": None}
