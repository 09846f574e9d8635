"""The month: what is told of every process, and what it must not say."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from ingest.answers.month import MonthLine, MonthReview
from ingest.month.lines import month_days, months_before
from ingest.shop.shop import Shop
from tests.ingest.small_shop import BORES, JOBS, PLAN, Made, csv, day_files, parts


@pytest.fixture(scope="module")
def october(demo_shop: Shop) -> MonthReview:
    return demo_shop.month(2025, 10)


def _line(review: MonthReview, machine: str, feature: str, family: str) -> MonthLine:
    return next(x for x in review.lines if (x.machine, x.feature, x.family) == (machine, feature, family))


def test_a_month_ends_before_the_next_begins() -> None:
    for year, month in ((2024, 2), (2025, 12), (2025, 2), (2025, 4)):
        first, last = month_days(year, month)
        assert first.day == 1
        assert (last + timedelta(days=1)).day == 1
        assert months_before(first)[1] + timedelta(days=1) == first
    assert months_before(date(2025, 2, 1)) == (date(2024, 11, 1), date(2025, 1, 31))


def test_every_part_of_a_process_is_in_one_line_of_one_month(demo_shop: Shop, october: MonthReview) -> None:
    view = demo_shop.process("HN2/finish_hone/cyl_taper")
    assert view is not None
    made = [p for p in view.parts if (p.time.year, p.time.month) == (2025, 10) and p.pass_no == 1]
    told = [x for x in october.lines if x.process == "HN2/finish_hone/cyl_taper"]
    assert sum(x.held.n_parts + x.aside for x in told if x.held) == len(made)


def test_cp_and_cpk_are_kept_back_while_a_signal_stands(october: MonthReview) -> None:
    for line in october.lines:
        if line.held is None or line.held.refused:
            continue
        if line.unstable:
            assert line.held.cpk is None
            assert line.since is not None
            assert line.since <= date(2025, 10, 31)
        elif line.held.ppk is not None and line.watched and line.held.sigma_within is not None:
            assert line.held.cpk is not None


def test_a_small_month_is_not_over_read(demo_shop: Shop, october: MonthReview) -> None:
    for review in (october, demo_shop.month(2025, 6)):
        line = _line(review, "HN2", "cyl_size", "F3")
        assert line.held is not None
        assert line.held.ppk is not None
        assert line.direction == "noise"
        # About 18 blocks: the figure is known to half an index at best.
        assert 0.4 <= line.held.ppk.upper - line.held.ppk.lower <= 1.2
    heights = _line(october, "DM2", "deck_height", "F3").held
    assert heights is not None
    assert heights.ppk is not None
    assert heights.ppk.upper - heights.ppk.lower > 0.8


def test_what_was_cured_before_the_month_makes_it_stable_and_better(october: MonthReview) -> None:
    line = _line(october, "LH1", "main_size", "F1")
    assert line.stable
    assert line.direction == "better"


def test_what_grew_worse_is_said(demo_shop: Shop, october: MonthReview) -> None:
    assert _line(october, "DM1", "bank_difference", "F2").direction == "worse"
    june = demo_shop.month(2025, 6)
    assert _line(june, "LH1", "main_step", "F1").direction == "worse"


def test_the_same_month_asked_twice_is_the_same(demo_shop: Shop, october: MonthReview) -> None:
    again = demo_shop.month(2025, 10)
    assert again.digest == october.digest
    assert repr(again) == repr(october)


def test_live_troubles_lead_the_things_to_act_on(october: MonthReview) -> None:
    assert len(october.acts) <= 5
    about = [(act.kind, act.machine) for act in october.acts]
    assert {about[0], about[1]} == {("open", "HN1"), ("open", "DM1")}
    assert all(act.lines or act.gauge or act.parts_out or act.signals for act in october.acts)


def test_a_gauge_in_doubt_comes_first(demo_shop: Shop) -> None:
    march = demo_shop.month(2025, 3)
    assert march.acts[0].kind == "doubt"
    assert march.acts[0].machine == "BG2"
    gauge = next(g for g in march.gauges if g.gauge == "BG2")
    assert gauge.doubt_since is not None
    assert gauge.doubt_since < date(2025, 3, 1)


def test_signals_are_told_with_cause_and_time_to_close(october: MonthReview) -> None:
    for told in october.signals:
        if told.closed:
            assert told.closed_on is not None
            assert told.days == (told.closed_on - told.signal.since).days
        assert told.opened or told.closed or told.closed_on is None or told.closed_on > date(2025, 10, 31)
    assert any("shoes" in told.cause for told in october.signals if told.closed)


def test_rows_that_do_not_count_are_told_by_reason(demo_shop: Shop) -> None:
    rows = demo_shop.month(2025, 4).aside
    kinds = {row.kind: row for row in rows}
    assert kinds["missing_value"].rows > 0
    assert not kinds["missing_value"].waits
    assert any(row.waits for row in rows)


def test_an_empty_month_has_no_lines(demo_shop: Shop) -> None:
    empty = demo_shop.month(2020, 1)
    assert empty.lines == ()
    assert empty.parts == 0
    assert empty.acts == ()


def test_work_on_a_month_can_be_ended(demo_shop: Shop) -> None:
    class Enough(Exception):  # noqa: N818 - reads as what it is
        pass

    def stop(done: int, total: int) -> None:
        if done == 3:
            raise Enough(str(total))

    with pytest.raises(Enough):
        demo_shop.month(2025, 10, stop)


def test_a_month_with_one_block_says_too_few(shop: Shop) -> None:
    made = Made("S0001", "F4", "H1", datetime(2025, 5, 6, 10), 0.5)  # noqa: DTZ001 - shop time
    shop.take_in([csv("jobs.csv", JOBS, [made.job()]), csv("bores.csv", BORES, made.readings())])
    review = shop.month(2025, 5)
    assert review.parts == 1
    assert review.lines
    for line in review.lines:
        assert line.why is not None
        assert "too few parts: 1" in line.why
        assert line.direction is None


def test_the_run_of_a_month_holds_its_parts_in_order(demo_shop: Shop, october: MonthReview) -> None:
    line = _line(october, "DM1", "bank_difference", "F2")
    run = demo_shop.month_run(line, 2025, 10)
    assert run is not None
    assert line.held is not None
    assert run.classes is not None
    assert len(run.means) == line.held.n_parts
    assert int(run.classes.counts.sum()) == line.held.n_readings
    assert list(run.times) == sorted(run.times)
    assert np.isfinite(run.means).all()


@pytest.mark.parametrize("shape", ["weibull", "johnson", "lognormal"])
def test_a_process_is_told_by_the_shape_that_the_plan_names(tmp_path: Path, shape: str) -> None:
    text = PLAN.replace('kind = "size"\n', f'kind = "size"\nshape = "{shape}"\n', 1)
    made = parts(40, seed=4)
    files = [file for _, files in day_files(made) for file in files]
    with Shop.create(tmp_path / "shop", text, known_at=datetime(2025, 1, 1, tzinfo=UTC)) as shop:
        shop.take_in(files, known_at=datetime(2025, 6, 1, tzinfo=UTC))
        lines = [line for line in shop.month(2025, 3).lines if line.feature == "size" and line.held]
        told = [line for line in lines if line.held and not line.held.refused]
        assert told
        for line in told:
            assert line.held is not None
            assert line.held.shape == shape
            held = shop.capability(line.process, line.family)
            assert held is not None
            assert held.shape == shape
            run = shop.month_run(line, 2025, 3)
            assert run is not None
            assert run.classes is not None
            assert len(run.classes.curve)
