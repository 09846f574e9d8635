"""What a reading counts as: family, machine, pass, and what waits or is doubted."""

from datetime import datetime, timedelta

import pytest

from ingest.shop.shop import Shop
from tests.ingest.small_shop import (
    AUDIT,
    BORES,
    EVENTS,
    JOBS,
    NOMINAL_MM,
    PLAN,
    PROBE,
    RINGS,
    STAGED,
    Made,
    csv,
    day_files,
    parts,
    stamp,
)

DAY = datetime(2025, 3, 3, 12)  # noqa: DTZ001 - shop time


def statuses(shop: Shop, serial: str, feature: str = "size") -> set[str]:
    view = shop.part(serial)
    assert view is not None
    return {r.status for r in view.readings if r.feature == feature}


def reasons(shop: Shop) -> set[str]:
    return {row.kind for row in shop.set_aside_rows()}


def part(serial: str = "S0001", **given: object) -> Made:
    return Made(**{"serial": serial, "family": "F4", "machine": "H1", "ended": DAY, "deviation": 1.0} | given)  # type: ignore[arg-type]


def test_a_reading_waits_for_its_machine_and_releases_itself(shop: Shop) -> None:
    one = part()
    shop.take_in([csv("r.csv", BORES, one.readings())])
    assert statuses(shop, "S0001") == {"waiting"}
    held = shop.set_aside_rows()
    assert {h.kind for h in held} == {"no_machine"}
    assert all(h.releases_itself and h.reason and h.remedy for h in held)
    assert not shop.board()
    shop.take_in([csv("j.csv", JOBS, [one.job()])])
    assert statuses(shop, "S0001") == {"used"}
    assert not shop.set_aside_rows()
    assert "H1/hone/size" in {row.process for row in shop.board()}


def test_the_set_master_tells_the_family_before_the_job_list_does(shop: Shop) -> None:
    six = part(family="F6")
    shop.take_in([csv("r.csv", BORES, six.readings())])
    assert reasons(shop) == {"no_machine"}
    view = shop.part("S0001")
    assert view is not None
    assert view.family == "F6"


def test_two_sources_that_disagree_on_the_family_set_the_rows_aside(shop: Shop) -> None:
    six = part(family="F6")
    wrong = part(family="F4")
    shop.take_in([csv("r.csv", BORES, six.readings()), csv("j.csv", JOBS, [wrong.job()])])
    assert reasons(shop) == {"family_conflict"}


def test_a_fixed_gauge_speaks_for_its_machine_when_there_is_no_job_list(shop: Shop) -> None:
    rows = [f"S0001,D{i},200.00{i},{stamp(DAY)}" for i in (1, 2)]
    shop.take_in([csv("p.csv", PROBE, rows)])
    assert reasons(shop) == {"no_family"}
    shop.take_in([csv("j.csv", JOBS, [part().job()])])  # names the family, for another operation
    assert statuses(shop, "S0001", "height") == {"used"}
    view = shop.part("S0001")
    assert view is not None
    assert {(r.machine, r.pass_no) for r in view.readings if r.feature == "height"} == {("M1", 1)}


def test_a_fixed_gauge_against_the_job_list_sets_the_rows_aside(shop: Shop) -> None:
    elsewhere = f"S0001,F4,deck,H1,1,{stamp(DAY - timedelta(hours=1))},{stamp(DAY)},"
    rows = [f"S0001,D{i},200.00{i},{stamp(DAY)}" for i in (1, 2)]
    shop.take_in([csv("j.csv", JOBS, [elsewhere]), csv("p.csv", PROBE, rows)])
    assert "machine_conflict" in reasons(shop)


def test_a_reading_before_the_first_pass_is_incoming_and_never_judged(shop: Shop) -> None:
    early = part(ended=DAY - timedelta(hours=3), deviation=-300.0)  # 0.3 mm under size before honing
    job = part().job()
    shop.take_in([csv("j.csv", JOBS, [job]), csv("r.csv", BORES, early.readings())])
    assert statuses(shop, "S0001") == {"incoming"}
    assert not [row for row in shop.board() if row.feature == "size"]
    shop.take_in([csv("r2.csv", BORES, part().readings(seq=500))])
    row = next(row for row in shop.board() if row.process == "H1/hone/size")
    assert row.out is None
    assert statuses(shop, "S0001") == {"incoming", "used"}


def test_rough_and_finish_cut_are_kept_apart_and_only_the_finish_cut_is_delivered(shop: Shop) -> None:
    hour = timedelta(hours=1)
    jobs = [
        f"S0001,F4,rough,M1,1,{stamp(DAY - 3 * hour)},{stamp(DAY - 2 * hour)},",
        f"S0001,F4,deck,M1,1,{stamp(DAY - hour)},{stamp(DAY)},",
    ]
    rows = [
        f"S0001,D{i},200.254,,{stamp(DAY - 1.5 * hour)}" for i in (1, 2)
    ]  # 10 thou left for the finish cut
    rows += [f"S0001,D{i},200.254,rough,{stamp(DAY - 2 * hour)}" for i in (1, 2)]
    rows += [f"S0001,D{i},200.001,deck,{stamp(DAY)}" for i in (1, 2)]
    shop.take_in([csv("j.csv", JOBS, jobs), csv("p.csv", STAGED, rows)])
    view = shop.part("S0001")
    assert view is not None
    at = {(r.operation, r.status): r.value for r in view.readings if r.feature == "height"}
    assert at["deck", "used"] == pytest.approx(200_001)
    assert at["rough", "used"] == pytest.approx(200_254)
    board = {row.process: row for row in shop.board()}
    assert board["M1/deck/height"].out is None
    assert board["M1/rough/height"].out is None  # the finish cut's limits are not those of the rough cut


def test_a_second_pass_delivers_the_part_and_the_first_judges_the_process(shop: Shop) -> None:
    small = part(deviation=-20.0)
    again = part(deviation=0.0, ended=DAY + timedelta(days=1), number=2, machine="H2")
    shop.take_in([csv("j.csv", JOBS, [small.job()]), csv("r.csv", BORES, small.readings())])
    assert next(r for r in shop.board() if r.process == "H1/hone/size").out is not None
    shop.take_in([csv("j2.csv", JOBS, [again.job()]), csv("r2.csv", BORES, again.readings(seq=900))])
    board = {row.process: row for row in shop.board()}
    assert board["H1/hone/size"].out is None
    assert "H2/hone/size" not in board  # a second pass starts no history of its own
    view = shop.process("H1/hone/size")
    assert view is not None
    assert [p.pass_no for p in view.parts] == [1]
    assert view.parts[0].mean == pytest.approx(-20.0, abs=1.3)  # the gauge reads in tenths


def test_a_later_reading_within_a_pass_is_used_and_the_first_stays_visible(shop: Shop) -> None:
    loose = part(deviation=18.0)
    torqued = part(deviation=0.0, ended=DAY + timedelta(minutes=4))
    shop.take_in(
        [
            csv("j.csv", JOBS, [part().job()]),
            csv("r.csv", BORES, [*loose.readings(), *torqued.readings(seq=100)]),
        ]
    )
    view = shop.part("S0001")
    assert view is not None
    sizes = [r for r in view.readings if r.feature == "size"]
    assert sorted(r.status for r in sizes) == ["repeat"] * 8 + ["used"] * 8
    assert all(r.deviation is not None and abs(r.deviation) < 3 for r in sizes if r.status == "used")
    assert next(r for r in shop.board() if r.process == "H1/hone/size").out is None


def test_a_position_the_family_does_not_have_is_doubted(shop: Shop) -> None:
    row = f"1,{stamp(DAY)},S0001,C5T,0.1,80.010,B1,AB"
    shop.take_in([csv("j.csv", JOBS, [part().job()]), csv("r.csv", BORES, [*part().readings(), row])])
    held = shop.set_aside_rows()
    assert [h.kind for h in held] == ["unknown_position"]
    assert "no position cylinder 5 top" in held[0].reason


def test_a_value_out_of_the_believable_window_is_doubted_and_released_by_a_person(shop: Shop) -> None:
    rows = part().readings()
    rows[0] = rows[0].replace(rows[0].split(",")[4], "40", 1)  # 1.016 mm off
    receipt = shop.take_in([csv("j.csv", JOBS, [part().job()]), csv("r.csv", BORES, rows)])[1]
    held = shop.set_aside_rows()
    assert [h.kind for h in held] == ["implausible"]
    done = shop.judge_rows(receipt.id, True, "measured again", "AB", lines=[held[0].line], col=held[0].col)
    assert not shop.set_aside_rows()
    row = next(r for r in shop.board() if r.process == "H1/hone/size")
    assert row.out is not None
    assert row.out.side == "above"
    shop.undo(done.journal_lines[0], "AB", "wrong line")
    assert [h.kind for h in shop.set_aside_rows()] == ["implausible"]


def test_a_slip_in_a_serial_is_suggested_and_never_put_right(shop: Shop) -> None:
    plan = PLAN.replace(r"serial = '^S\d{4}$'", r"serial = '^[A-Z0-9]{5}$'")
    shop.accept_plan(plan)
    wrong = [row.replace("S0001", "SO001") for row in part().readings()]
    strict = PLAN
    shop.take_in([csv("j.csv", JOBS, [part().job()]), csv("r.csv", BORES, wrong)])
    shop.accept_plan(strict)
    held = shop.set_aside_rows()
    assert {h.kind for h in held} == {"unknown_serial"}
    assert {h.suggestion for h in held} == {"S0001"}
    assert shop.part("S0001").processes == (("H1/hone/cycle", 1),)  # type: ignore[union-attr]


def test_deviations_below_the_step_of_the_gauge_are_doubted(shop: Shop) -> None:
    rows = []
    for row in part().readings()[:4]:  # too few for the file as a whole to be doubted
        cells = row.split(",")
        cells[4] = f"{float(cells[4]) / 1000:.5f}"
        rows.append(",".join(cells))
    shop.take_in([csv("j.csv", JOBS, [part().job()]), csv("r.csv", BORES, rows)])
    assert reasons(shop) == {"unit_scale"}


def test_a_mirrored_shift_is_doubted_but_a_part_really_out_is_not(shop: Shop) -> None:
    for known_at, files in day_files([p for p in parts(40, sd=1.0) if p.family == "F4"]):
        shop.take_in_batches([(known_at, files)])
    later = datetime(2025, 5, 6, 12)  # noqa: DTZ001 - shop time
    flipped = part("S0900", ended=later, operator="CD", taper=4.0)
    out = part("S0901", ended=later + timedelta(hours=2), deviation=21.0, operator="EF", taper=4.0)
    shop.take_in(
        [
            csv("j.csv", JOBS, [flipped.job(), out.job()]),
            csv("r.csv", BORES, [*flipped.readings(sign=-1), *out.readings(seq=100)]),
        ]
    )
    assert statuses(shop, "S0900") == {"doubt"}
    assert reasons(shop) == {"sign_mirror"}
    assert statuses(shop, "S0901") == {"used"}
    assert [q.kind for q in shop.questions()] == ["sign_or_size"]
    assert {r.out.serial for r in shop.board() if r.feature == "size" and r.out} == {"S0901"}


def test_a_clock_an_hour_behind_is_put_right_for_the_order_and_kept_as_written(shop: Shop) -> None:
    for known_at, files in day_files([p for p in parts(30) if p.machine == "H1"]):
        shop.take_in_batches([(known_at, files)])
    later = datetime(2025, 5, 6, 12)  # noqa: DTZ001 - shop time
    slow = part("S0900", ended=later)
    shop.take_in([csv("j.csv", JOBS, [slow.job()]), csv("r.csv", BORES, slow.readings(hours=1.0))])
    view = shop.part("S0900")
    assert view is not None
    sizes = [r for r in view.readings if r.feature == "size"]
    assert {r.status for r in sizes} == {"used"}
    assert {r.corrected_time - r.time for r in sizes} == {timedelta(hours=1)}
    assert [q.kind for q in shop.questions()] == ["clock_behind"]


def test_audits_are_kept_and_never_judged(shop: Shop) -> None:
    rows = [f"{stamp(DAY + timedelta(hours=20))},S0001,C1{d},80.040,B1" for d in "TB"]
    shop.take_in(
        [
            csv("j.csv", JOBS, [part().job()]),
            csv("r.csv", BORES, part().readings()),
            csv("a.csv", AUDIT, rows),
        ]
    )
    assert statuses(shop, "S0001") == {"used", "audit"}
    assert next(r for r in shop.board() if r.process == "H1/hone/size").out is None


def test_checks_of_a_gauge_are_a_process_of_the_gauge(shop: Shop) -> None:
    days = [datetime(2025, 3, 3, 7) + timedelta(days=7 * i) for i in range(3)]  # noqa: DTZ001 - shop time
    rows = [f"{stamp(d)},B1,R1,80.010,0.5,-0.5" for d in days]
    shop.take_in([csv("c.csv", RINGS, rows)])
    view = shop.process("B1/check/ring")
    assert view is not None
    assert view.row.is_gauge
    assert [p.mean for p in view.parts] == pytest.approx([0, 0, 0], abs=1e-6)
    assert view.families == ("R1",)


def test_events_count_only_on_their_machine(shop: Shop) -> None:
    shop.take_in([csv("e.csv", EVENTS, [f"{stamp(DAY)},H2,service,"])])
    for known_at, files in day_files(parts(12)):
        shop.take_in_batches([(known_at, files)])
    on = {row.process: shop.process(row.process) for row in shop.board() if row.feature == "size"}
    assert len(on["H2/hone/size"].events) == 1  # type: ignore[union-attr]
    assert len(on["H1/hone/size"].events) == 0  # type: ignore[union-attr]


def test_the_page_of_a_part_tells_stock_and_derived_values_and_judges_the_last_pass(shop: Shop) -> None:
    raw = part(ended=DAY - timedelta(hours=3), deviation=-300.0, taper=0.0)
    small = part(deviation=-20.0, taper=14.0)
    again = part(deviation=0.0, taper=2.0, ended=DAY + timedelta(days=1), number=2)
    files = [csv("j.csv", JOBS, [small.job(), again.job()])]
    for n, one in enumerate((raw, small, again)):
        files.append(csv(f"r{n}.csv", BORES, one.readings(seq=100 * n)))
    shop.take_in(files)
    view = shop.part("S0001")
    assert view is not None
    assert {r.out for r in view.readings if r.pass_no == 1} == {None}
    tapers = {(d.pass_no, d.position): d for d in view.derived if d.feature == "taper"}
    assert tapers[1, "cylinder=1"].value == pytest.approx(14.0, abs=2.6)  # two readings in tenths of a thou
    assert tapers[2, "cylinder=1"].value == pytest.approx(2.0, abs=2.6)
    assert {d.out for d in view.derived} == {None}
    assert {round(s.removed / 10) for s in view.stock} == {30}
    assert len(view.stock) == 8


def test_a_value_of_another_family_is_held_and_names_it(shop: Shop) -> None:
    """A serial typed wrong: readings of a six on the job of a four."""
    made = part()
    other = "F6" if made.family == "F4" else "F4"
    absolute = [
        f"{stamp(made.ended)},{made.serial},C{c}{d},{NOMINAL_MM[other] + 0.001 * c:.3f},B1"
        for c in (1, 2)
        for d in "TB"
    ]
    plan = PLAN.replace('role = "audit"', 'role = "readings"')
    shop.accept_plan(plan)
    shop.take_in([csv("j.csv", JOBS, [made.job()]), csv("r.csv", AUDIT, absolute)])
    held = shop.set_aside_rows()
    assert {h.kind for h in held} == {"other_family"}
    assert {h.suggestion for h in held} == {shop.plan.families[other].name}
    assert "Check the serial and the family" in held[0].remedy
