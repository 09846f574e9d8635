"""Gauges in words, on pages and in commands; the sheet of a trial."""

import csv
import io
from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from dashboard.commands.study_file import read_study
from dashboard.commands.trial_sheet import SheetError, trial_sheet
from dashboard.desk import Desk
from dashboard.pages import gauges
from dashboard.pages.conforms import conforms
from dashboard.pages.gauge_notes import gauge_notes
from dashboard.serving.gauge_work import run, suspects_csv
from dashboard.words.gauges import episode_text, likely_text, standing, study_advice
from ingest.answers.gauges import CheckPoint, Episode, GaugeView, MasterFact, StudyFact, Suspect, TrialReading
from ingest.gauges.judged import ConformFact, Judged
from ingest.gauges.view import GaugesView
from spc.gauges.trial import GaugeStudy, gauge_study
from spc.gauges.trust import GaugeUncertainty
from spc.mean_squares import Ranged

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)


def suspect(serial: str, error: float, beyond: int = 0) -> Suspect:
    return Suspect(
        serial, 1, "FOUR", "HONE", "finish_hone", "bore", "bore size", NOW, ("AB",), 4,
        Ranged(error, error - 0.5, error + 0.5), None, beyond, "um", 1, False,
    )  # fmt: skip


def off(live: bool) -> Episode:
    return Episode(
        "GAUGE", ("GAUGE/ring_check/ring",), live, date(2026, 2, 10), date(2026, 2, 2), date(2026, 2, 5),
        None if live else date(2026, 3, 1), None, None, Ranged(-4.0, -5.0, -3.0), Ranged(-1.0, -1.2, -0.8),
        (suspect("S2", -3.0, 2), suspect("S1", -2.0)), (),
    )  # fmt: skip


def bare(shop) -> GaugeView:
    key = next(iter(shop.plan.gauges))
    return GaugeView(
        key, shop.plan.gauges[key].name, "", None, 2.54, (), None, (), (), None, (), (), (), (), (), (), None, None, {}
    )  # fmt: skip


def checked(shop) -> GaugeView:
    check = CheckPoint(NOW - timedelta(days=3), "RING", "RING", (0.2, 0.4), 20.5, False)
    master = MasterFact(
        next(iter(shop.plan.masters)), "ring", 80_000.0, 12, 24, Ranged(0.3, -0.1, 0.7), Ranged(0.5, 0.4, 0.8), None
    )  # fmt: skip
    return replace(bare(shop), checks=(check,), masters=(master,))


def page(shop, view: GaugeView, gauge: str | None = None) -> str:
    shop.gauges = lambda _day=None: GaugesView((view,), ())
    _, body = gauges.layout(Desk(shop), {}, gauge)
    return "".join(str(getattr(part, "data-made", "")) for part in body)


def test_a_gauge_without_checks_says_so_on_both_pages(shop):
    view = bare(shop)
    assert "No checks on record" in page(shop, view)
    assert "No check of it is on record" in page(shop, view, view.key)


def test_a_gauge_in_doubt_leads_with_what_to_do_and_lists_the_blocks(shop):
    view = replace(checked(shop), episodes=(off(live=True),))
    said = standing(view, shop.plan)
    assert "reads low" in said
    assert "measure again the 2 blocks" in said
    assert "not what moved" in said
    text = page(shop, view, view.key)
    assert text.index(">S2<") < text.index(">S1<")  # likely beyond a limit first
    assert "/part/S2" in text
    assert "suspects.csv" in text


def test_a_gauge_that_reads_low_makes_parts_larger_than_read():
    assert likely_text(Ranged(-2.0, -3.0, -1.0), "um", 1) == "2.0 µm larger than read (1.0 to 3.0)"
    assert likely_text(Ranged(2.0, 1.0, 3.0), "um", 1) == "2.0 µm smaller than read (1.0 to 3.0)"


def test_how_a_time_off_ended_is_told(shop):
    assert "until 1 Mar 2026" in episode_text(off(live=False), bare(shop), shop.plan)
    assert "until now" in episode_text(off(live=True), bare(shop), shop.plan)


def test_an_unknown_gauge_is_no_page(shop):
    with pytest.raises(LookupError):
        page(shop, bare(shop), "NOBODY")


def test_commands_tell_doubt_by_their_exit_code_and_name_unknown_gauges(shop):
    view = replace(checked(shop), episodes=(off(live=True),))
    shop.gauges = lambda _day=None: GaugesView((view,), ())
    assert run(shop, {"act": "list"}).code == 1
    assert run(shop, {"act": "suspects", "gauge": view.key}).code == 1
    wrong = run(shop, {"act": "suspects", "gauge": "NOBODY"})
    assert wrong.code == 2
    assert view.key in wrong.err


def test_the_file_of_suspects_has_a_row_each_and_no_formula(shop):
    view = replace(bare(shop), episodes=(replace(off(live=True), suspects=(suspect("=1+1", -2.0),)),))
    rows = list(csv.DictReader(io.StringIO(suspects_csv(view))))
    assert rows[0]["serial"] == "'=1+1"
    assert float(rows[0]["error_um"]) == -2.0


def test_the_sheet_has_every_part_by_everybody_every_time_in_rounds():
    rows = list(csv.DictReader(io.StringIO(trial_sheet(10, ["A", "B", "C"], 3, seed=4))))
    assert len(rows) == 90
    assert [int(r["order"]) for r in rows] == list(range(1, 91))
    assert set(Counter((r["part"], r["operator"], r["trial"]) for r in rows).values()) == {1}
    # Nobody begins a second round before all have finished the first.
    assert [r["trial"] for r in rows] == ["1"] * 30 + ["2"] * 30 + ["3"] * 30
    # In a round each person measures the parts in an order of their own.
    first = [r["part"] for r in rows[:10]]
    assert first != sorted(first, key=int)
    assert first != [r["part"] for r in rows[10:20]]


def test_the_same_seed_draws_the_same_sheet_and_another_another():
    assert trial_sheet(5, ["A"], 2, 1) == trial_sheet(5, ["A"], 2, 1) != trial_sheet(5, ["A"], 2, 2)


@pytest.mark.parametrize(
    ("parts", "people", "trials", "named"),
    [
        (1, ["A"], 2, "2 at the least"),
        (3, ["A"], 1, "2 times or more"),
        (3, ["A", "A"], 2, "named twice"),
        (3, ["A", ""], 2, "has no name"),
        (900, ["A", "B"], 9, "more than a trial can hold"),
    ],
)
def test_a_trial_that_cannot_be_is_refused_with_what_to_ask(parts, people, trials, named):
    with pytest.raises(SheetError, match=named):
        trial_sheet(parts, people, trials, 1)


def test_a_filled_sheet_is_what_the_study_command_reads(tmp_path):
    rows = trial_sheet(4, ["A", "B"], 2, 1).splitlines()
    filled = [rows[0]] + [f"{row}{10 + int(row.split(',')[1])}.{i % 3}" for i, row in enumerate(rows[1:])]
    (tmp_path / "trial.csv").write_text("\n".join(filled) + "\n")
    read = read_study(tmp_path / "trial.csv")
    assert len(read.reading) == 16
    assert set(read.operator) == {"A", "B"}


def study(hand: float, noise: float) -> GaugeStudy:
    readings, parts, people = [], [], []
    for part in range(6):
        for person in range(3):
            for trial in range(2):
                readings.append(
                    4.0 * part + hand * person + noise * ((part + 2 * person + trial * 3) % 5 - 2)
                )
                parts.append(part)
                people.append(person)
    return gauge_study(readings, parts, people, lower=-20.0, upper=40.0)


def test_advice_after_a_trial_goes_to_the_hands_or_to_the_gauge():
    hands = " ".join(study_advice(study(hand=6.0, noise=0.2)))
    assert "hand to hand" in hands
    gauge = " ".join(study_advice(study(hand=0.0, noise=4.0)))
    assert "the gauge itself" in gauge
    good = " ".join(study_advice(study(hand=0.0, noise=0.05)))
    assert "fit for this tolerance" in good


def test_a_trial_stands_on_the_gauges_page_with_its_pictures(shop):
    read = tuple(
        TrialReading(str(p), w, 4.0 * p + t, float(t)) for p in range(6) for w in "AB" for t in (0, 1)
    )
    fact = StudyFact("bore", "bore size", date(2026, 3, 1), study(hand=6.0, noise=0.2), 60.0, read, "um", 1)
    view = replace(checked(shop), studies=(fact,), refused={"trial of bore size in May 2025": "too little"})
    shop.gauges = lambda _day=None: GaugesView((view,), ())
    _, body = gauges.layout(Desk(shop), {}, view.key)
    text = "".join(str(getattr(part, "data-made", "")) for part in body)
    assert "from hand to hand" in text
    assert "of the tolerance (six standard deviations)" in text
    assert "The trial of bore size in May 2025 says nothing: too little." in text
    charts = [part.children.figure for part in body if part.className == "chart"]
    by_part, by_hand = charts[-2:]
    assert len([t for t in by_part["data"] if t["mode"] == "markers"]) == 2
    assert {t["x"][0] for t in by_hand["data"]} == {"A", "B"}


def with_plan(shop, **gauge):
    """The shop with one more gauge for a feature, so that its plan says something of its own."""
    plan = shop.plan
    extra = plan.gauges["BORE"].model_copy(update={"key": "SPARE", "name": "spare gauge", **gauge})
    shop.plan = plan.model_copy(update={"gauges": {**plan.gauges, "SPARE": extra}})
    return Desk(shop)


def note_of(desk, process: str) -> str:
    return str(gauge_notes(desk, next(r for r in desk.board() if r.process == process)))


def test_a_gauge_without_checks_is_named_where_its_readings_are_used(shop):
    desk = with_plan(shop, features=("main_size",))
    text = note_of(desk, "LINE/line_hone/main_size")
    assert "spare gauge" in text
    assert "has no checks on record" in text
    assert "/gauges/SPARE" in text
    assert "dial bore gauge" not in text  # it has checks
    assert "has no checks" not in note_of(desk, "HONE/finish_hone/cycle")


def test_a_gauge_fixed_on_another_machine_is_not_named(shop):
    desk = with_plan(shop, features=("main_size",), machine="HONE")
    assert "spare gauge" not in note_of(desk, "LINE/line_hone/main_size")


@pytest.mark.parametrize(("step", "said"), [(2.0, False), (2.54, True)])
def test_a_scale_coarser_than_a_tenth_of_the_tolerance_is_said(shop, step, said):
    desk = with_plan(shop, features=("main_size",), resolution=step)  # the tolerance is 20 micrometres
    assert ("of the tolerance of" in note_of(desk, "LINE/line_hone/main_size")) is said


def test_a_scale_too_coarse_for_the_chart_is_said_beside_the_chart(shop):
    desk = with_plan(shop, features=("main_size",), resolution=2.0)
    assert "the chart shows the scale" not in note_of(desk, "LINE/line_hone/main_size")
    shop.coarse_charts = lambda _process: ("SPARE",)
    assert "the chart shows the scale" in note_of(Desk(shop), "LINE/line_hone/main_size")


@pytest.mark.parametrize("share", [None, 0.127])
def test_a_scale_too_coarse_for_a_tolerance_is_said_on_the_page_of_a_block(shop, share):
    bore = shop.plan.gauges["BORE"].model_copy(update={"resolution": 2.54})
    shop.plan = shop.plan.model_copy(update={"gauges": {**shop.plan.gauges, "BORE": bore}})
    shop.conforms = lambda _serial: (proof("conforms", coarse=share),)
    assert ("13 % of the tolerance of" in str(conforms(Desk(shop), "S1", "FOUR"))) is (share is not None)


def test_a_gauge_in_doubt_points_to_what_must_be_measured_again(shop):
    assert "/gauges/BORE" in note_of(Desk(shop), "BORE/ring_check/ring_size")


def proof(zone: str, why: str = "", warm: str | None = None, coarse: float | None = None) -> ConformFact:
    def judged(z):
        return Judged(z, "cylinder=1;depth=T", 80_004.0, 0.4, 1.0)

    known = GaugeUncertainty(1.0, {"repeats": 1.0})
    return ConformFact(
        "bore_size", "bore size", "HONE", 1, "BORE", "dial bore gauge", 4, 79_990.0, 80_010.0, False,
        None if why == "no checks" else known, None if why else 1.0, coarse,
        None if why else judged(zone), judged(warm) if warm else None, None, why, "um", 1,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("fact", "said"),
    [
        (proof("conforms"), "conforms"),
        (proof("does not conform"), "does not conform"),
        (proof("cannot be told"), "cannot say"),
        (proof("", why="no checks"), "has no checks on record"),
        (proof("", why="off"), "was off that day, measure again"),
        (proof("conforms", warm="cannot be told"), "cannot say"),
    ],
)
def test_a_block_says_what_its_sizes_prove(shop, fact, said):
    shop.conforms = lambda _serial: (fact,)
    text = str(conforms(Desk(shop), "S1", "FOUR"))
    assert said in text
    assert "/gauges/BORE" in text


def test_a_block_without_sizes_to_judge_says_nothing(shop):
    assert str(conforms(Desk(shop), "S1", "FOUR")) == ""
