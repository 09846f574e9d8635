"""Gauges of the demonstration shop: the planted drift, the warm blocks, the daily setting, and what is not known.

Expectations are the scenario's: a bore gauge drifts from 2025-01-20 to 2025-04-04 by 7 micrometres and is repaired on
2025-04-07; V6 blocks are measured warm on summer afternoons; the main bore gauge is set daily with an error of 0.8.
"""

from datetime import date
from functools import cache

import pytest

from dashboard.serving.gauge_work import run, suspects_csv
from dashboard.words.sentences import reason
from ingest.answers.gauges import GaugeView
from ingest.gauges.view import GaugesView
from ingest.shop.shop import Shop
from sample_data.stories import Stories

OFF = date(2025, 3, 31)
SUSPECT = (date(2025, 2, 24), date(2025, 4, 4))


@cache
def gauges_of(shop: Shop, day: date | None = None) -> GaugesView:
    return shop.gauges(day)


def gauge(shop: Shop, key: str, day: date | None = None) -> GaugeView:
    return next(g for g in gauges_of(shop, day).gauges if g.key == key)


def test_while_it_drifts_the_gauge_is_named_and_no_machine(demo_shop: Shop) -> None:
    board = demo_shop.board(OFF)
    doubtful = {r.process: r for r in board if r.state == "gauge-in-doubt"}
    assert {r.doubt.gauge for r in doubtful.values()} == {"BG2"}
    assert {"HN1/finish_hone/cyl_size", "HN2/finish_hone/cyl_size"} <= set(doubtful)
    assert not any(g.doubt for g in gauges_of(demo_shop, OFF).gauges if g.key != "BG2")
    said = reason(doubtful["HN1/finish_hone/cyl_size"], demo_shop.plan)
    assert "BG2" in said
    assert "set or repair the gauge" in said
    # The level of the hone's own chart has not moved: nothing is held against the machine.
    signals = doubtful["HN1/finish_hone/cyl_size"].open_signals
    assert not [s for s in signals if s.monitor == "level"]


def test_checks_and_the_second_gauge_both_tell_of_the_drift(demo_shop: Shop) -> None:
    episode = gauge(demo_shop, "BG2", OFF).doubt
    assert episode is not None
    assert set(episode.sources) == {"BG2/master_check/ring_check", "BG2/BG3/cyl_size"}
    assert date(2025, 1, 10) <= episode.begun <= date(2025, 2, 10)


def test_a_closing_without_a_cause_does_not_move_the_start_that_the_ring_bears_out(demo_shop: Shop) -> None:
    """The quarterly review closes the second gauge's signal while the ring's own stands: both tell of one drift."""
    before, (after,) = gauge(demo_shop, "BG2", OFF).doubt, gauge(demo_shop, "BG2").episodes
    assert before is not None
    assert after.begun <= before.begun
    assert set(after.sources) == set(before.sources)


def test_the_list_covers_every_block_read_with_the_gauge_while_it_was_far_off(demo_shop: Shop) -> None:
    (episode,) = gauge(demo_shop, "BG2").episodes
    listed = {s.serial for s in episode.suspects}
    rows = demo_shop._now_moment().resolved.readings
    day0 = date(1970, 1, 1).toordinal()
    first, last = (d.toordinal() - day0 for d in SUSPECT)
    # Straight from the rows of the exports, by no code that makes the list.
    read = rows[(rows["gauge"] == "BG2") & (rows["role"] == "readings") & rows["day"].between(first, last)]
    wanted = set(read["serial"])
    assert len(wanted) > 50
    assert wanted <= listed
    others = rows[(rows["gauge"] == "BG1") & (rows["role"] == "readings")]
    assert not listed - set(rows.loc[(rows["gauge"] == "BG2"), "serial"])
    assert listed.isdisjoint(set(others["serial"]) - set(rows.loc[rows["gauge"] == "BG2", "serial"]))


def test_the_error_told_of_each_block_is_near_the_planted_one(demo_shop: Shop) -> None:
    (episode,) = gauge(demo_shop, "BG2").episodes
    planted = Stories()
    for suspect in episode.suspects:
        assert suspect.error is not None
        assert suspect.error.lower < suspect.error.estimate < suspect.error.upper
        assert suspect.error.estimate == pytest.approx(
            planted.gauge_drift("BG2", suspect.when.date()), abs=0.7
        )
    # 7 micrometres over 74 days.
    assert episode.drift is not None
    assert episode.drift.estimate == pytest.approx(-7 / 74 * 7, abs=0.1)


def test_the_charts_of_the_hones_alone_are_blind_to_it(demo_shop: Shop) -> None:
    (episode,) = gauge(demo_shop, "BG2").episodes
    hone = next(b for b in episode.blind if b.process == "HN1/finish_hone/cyl_size")
    assert hone.signals == 0
    assert abs(hone.moved.estimate) < 1.0
    assert hone.moved.lower < 0 < hone.moved.upper
    assert episode.now is not None
    assert episode.now.upper < -5.0  # while the gauge went off by far more


def test_the_repair_is_seen_as_a_step_and_ends_the_doubt(demo_shop: Shop) -> None:
    found = gauge(demo_shop, "BG2")
    assert found.doubt is None
    (reset,) = found.resets
    assert reset.event.time.date() == date(2025, 4, 7)
    assert reset.step.lower < 6.6 < reset.step.upper
    (episode,) = found.episodes
    assert episode.ended_by is not None
    assert episode.ended_by.kind == "gauge_repair"


def test_a_sound_gauge_agrees_with_the_second_one_and_its_master(demo_shop: Shop) -> None:
    found = gauge(demo_shop, "BG1")
    assert not found.episodes
    (audit,) = found.audits
    assert len(audit.points) > 80
    assert abs(audit.mean.estimate) < 0.5
    (master,) = found.masters
    assert master.bias.lower < 0 < master.bias.upper
    assert not found.masters[0].setting.estimate > 0.5


def test_warm_blocks_are_found_from_their_temperature_and_iron_is_untouched(demo_shop: Shop) -> None:
    warmth = {w.family: w for w in gauge(demo_shop, "BG3").warmth}
    summer = warmth["F2"]
    assert summer.real
    assert date(2025, 6, 23) <= summer.first <= summer.last <= date(2025, 8, 29)
    # 31 degC from the wash where the shop has 25: a true size 6.3 micrometres small.
    assert summer.error.estimate == pytest.approx(6.3, abs=0.6)
    for iron in ("F1", "F3"):
        assert not warmth[iron].real
        assert warmth[iron].slope.lower < 0 < warmth[iron].slope.upper
        assert warmth[iron].warm == 0


def test_warm_blocks_put_no_gauge_in_doubt(demo_shop: Shop) -> None:
    assert not any(g.doubt for g in gauges_of(demo_shop, date(2025, 8, 29)).gauges)
    assert not any(g.doubt for g in gauges_of(demo_shop).gauges)


def test_the_daily_setting_error_of_the_main_bore_gauge(demo_shop: Shop) -> None:
    (setting,) = gauge(demo_shop, "MG1").settings
    assert setting.declared
    assert setting.sd.estimate == pytest.approx(0.8, abs=0.2)
    assert setting.sd.lower < 0.8 < setting.sd.upper


def test_gauges_without_a_check_say_so(demo_shop: Shop) -> None:
    listed = run(demo_shop, {"act": "list"}).out.splitlines()
    for key in ("TP1", "HG1", "PF1"):
        assert not gauge(demo_shop, key).checks
        (line,) = [text for text in listed if key in text.split(":")[0]]
        assert "No check of it is on record" in line


def test_steps_of_a_tenth_of_a_thou_are_too_coarse_for_twenty_micrometres(demo_shop: Shop) -> None:
    (use,) = gauge(demo_shop, "BG1").uses
    assert {s.family: s.verdict for s in use.scales}["F1"] == "too coarse for the tolerance"
    (finer,) = gauge(demo_shop, "BG3").uses
    assert {s.verdict for s in finer.scales} == {"fine enough"}


def test_a_block_read_while_the_gauge_was_off_cannot_be_told(demo_shop: Shop) -> None:
    (episode,) = gauge(demo_shop, "BG2").episodes
    facts = {f.feature: f for f in demo_shop.conforms(episode.suspects[0].serial)}
    assert facts["cyl_size"].why == "off"
    assert facts["cyl_size"].read is None
    assert facts["deck_height"].why == "no checks"
    assert facts["main_size"].read is not None


def test_a_warm_block_reads_well_and_cannot_be_told_at_twenty_degrees(demo_shop: Shop) -> None:
    warm = {
        s
        for a in demo_shop._now_moment().facts.audits
        if a.gauge == "BG2"
        for s in a.warm["part"].astype(str)
    }
    assert warm
    for serial in warm:
        (fact,) = [f for f in demo_shop.conforms(serial) if f.feature == "cyl_size"]
        assert fact.heat is not None
        assert fact.heat.corrected is not None
        assert fact.heat.part_temperature == pytest.approx(31.0)
        assert fact.heat.corrected.correction < -5.0
        assert fact.warm is not None
        assert fact.warm.zone != "conforms"


def test_the_true_size_holds_more_than_what_was_measured(demo_shop: Shop) -> None:
    held = demo_shop.capability("LH1/line_hone/main_size", "F1")
    told = demo_shop.true_size("LH1/line_hone/main_size", held)
    assert told is not None
    assert told.true.estimate > told.measured.estimate == held.ppk.estimate
    assert told.true.lower < told.true.estimate < told.true.upper
    # A repeat spread of 0.9 and a daily setting of 0.8: 1.2 together.
    assert told.gauge_sd == pytest.approx(1.2, abs=0.3)
    assert (
        demo_shop.true_size("DM1/deck/deck_height", demo_shop.capability("DM1/deck/deck_height", "F1"))
        is None
    )


def test_the_list_to_measure_again_is_a_file_too(demo_shop: Shop) -> None:
    found = gauge(demo_shop, "BG2")
    lines = suspects_csv(found).splitlines()
    (episode,) = found.episodes
    assert len(lines) == 1 + len(episode.suspects)
    assert lines[0].startswith("serial,pass,family,measured,machine")
    assert run(demo_shop, {"act": "suspects", "gauge": "BG2", "form": "csv"}).out == "\n".join(lines)
    assert run(demo_shop, {"act": "suspects", "gauge": "BG2", "as_of": OFF.isoformat()}).code == 1


def test_the_trial_after_the_repair_finds_what_the_gauge_really_does(demo_shop: Shop) -> None:
    """The scenario's bore gauges repeat to 0.9 micrometres; 1 of 20 such intervals misses, so that half as much again
    is allowed on either side. Against 20 micrometres of tolerance the trial must not call the gauge good."""
    (study,) = gauge(demo_shop, "BG2").studies
    assert study.when == date(2025, 4, 10)
    result = study.study
    assert (result.parts, result.operators, result.readings) == (10, 3, 90)
    repeat = result.repeatability
    low, high = repeat.lower / 1.5, repeat.upper * 1.5
    assert low < 0.9**2 < high
    assert result.percent_tolerance is not None
    assert result.percent_tolerance.estimate > 10


def test_what_limits_a_process_names_the_gauge_where_its_repeats_are_known(demo_shop: Shop) -> None:
    """The scenario's bore gauges repeat to 0.9 micrometres, of a tolerance of 20; the touch probe was never checked."""
    held = demo_shop.capability("HN1/finish_hone/cyl_size", "F1")
    assert held is not None
    (share,) = [c for c in held.causes if c.name == "gauge"]
    assert share.sigma == pytest.approx(0.9, abs=0.25)
    assert share.share_of_tolerance == pytest.approx(6 * 0.9 / 20, abs=0.08)
    decks = demo_shop.capability("DM1/deck/deck_height", "F1")
    assert decks is not None
    assert "gauge" not in [c.name for c in decks.causes]
    told = [x for x in demo_shop.month(2025, 10).lines if x.process == "HN1/finish_hone/cyl_size"]
    assert all(any(c.name == "gauge" for c in x.held.causes) for x in told if x.held and x.held.causes)
    assert told


def test_the_month_tells_what_the_second_gauge_found_while_the_first_drifted(demo_shop: Shop) -> None:
    """March 2025: the gauge reads low by 4 to 7 micrometres (scenario), its neighbour by nothing."""
    by_gauge = {g.gauge: g.audits for g in demo_shop.month(2025, 3).gauges}
    (off,), (sound,) = by_gauge["BG2"], by_gauge["BG1"]
    assert off.reference == sound.reference == "BG3"
    assert -7.5 < off.mean.estimate < -3.5
    assert off.mean.upper < -2.0
    assert sound.mean.lower < 0.5 and sound.mean.upper > -0.5
    assert by_gauge["TP1"] == ()
