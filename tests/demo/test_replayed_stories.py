"""The demonstration shop replayed: every week of its fourteen months, and every working day of two faults.

Each day is assessed from what was known by its end and nothing else. What is expected, when, and what must not be said
meanwhile is the scenario's; the numbers of stories are its own.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import pytest
from scipy.stats import poisson

from ingest.answers.processes import SignalFact
from ingest.answers.wear import FirstOfDay
from ingest.assessing.assessment import ProcessState
from ingest.shop.shop import Shop
from ingest.views.causes import first_part_of_the_day

pytestmark = pytest.mark.slow

RPK, CYCLE = "HN1/finish_hone/bore_rpk", "HN1/finish_hone/hone_cycle"
HEAD = "HN2/finish_hone/bore_rpk"
ENDS, MAINS = "LH1/line_hone/end_to_inner", "LH1/line_hone/main_size"
TAPER, SOUND_TAPER = "HN2/finish_hone/cyl_taper", "HN1/finish_hone/cyl_taper"
DECK, OTHER_DECK = "DM1/deck/deck_height", "DM2/deck/deck_height"
DECK_RA, DECK_RZ = "DM1/deck/deck_ra", "DM1/deck/deck_rz"
CONTROLS = ("HN2/finish_hone/cyl_size", "HN1/finish_hone/cyl_out_of_round")
WATCHED = (RPK, CYCLE, HEAD, ENDS, MAINS, TAPER, SOUND_TAPER, DECK, OTHER_DECK, DECK_RA, DECK_RZ, *CONTROLS)
BEGIN, END = date(2024, 9, 2), date(2025, 10, 31)
SERVICE, WARMED = date(2025, 5, 14), date(2025, 6, 16)


@dataclass(frozen=True)
class Day:
    """What was said at the end of a day."""

    states: dict[str, ProcessState]
    first: dict[str, FirstOfDay | None]

    def open(self, process: str) -> list[SignalFact]:
        state = self.states.get(process)
        return [s for s in state.signals if s.status == "open"] if state is not None else []


def days_of() -> Iterator[date]:
    daily = [(date(2025, 7, 14), date(2025, 7, 29)), (date(2025, 8, 11), date(2025, 8, 29))]
    day = BEGIN
    while day <= END:
        if day.weekday() == 4 or (day.weekday() < 5 and any(a <= day <= b for a, b in daily)):
            yield day
        day += timedelta(days=1)


@pytest.fixture(scope="module")
def told(demo_shop: Shop) -> dict[date, Day]:
    found = {}
    for day in days_of():
        moment = demo_shop._moment(demo_shop.calendar.end_of_day(day))
        here = [p for p in WATCHED if p in moment.processes]
        first = {p: first_part_of_the_day(moment, p) for p in (DECK, OTHER_DECK) if p in here}
        found[day] = Day({p: moment.assessed(p).state for p in here}, first)
    return found


def first_told(told: dict[date, Day], process: str, since: date) -> date | None:
    return next((day for day, said in told.items() if day >= since and said.open(process)), None)


def test_story_1_the_glazing_set_is_told_early_and_no_normal_set_is_taken_for_one(
    told: dict[date, Day], demo_shop: Shop
) -> None:
    noticed = {}
    for process in (CYCLE, RPK):
        day = first_told(told, process, date(2025, 7, 14))
        assert day is not None and day <= date(2025, 7, 25)
        noticed[process] = told[day].open(process)[-1]
    cycle, rpk = noticed[CYCLE].wear, noticed[RPK].wear
    assert cycle is not None and cycle < 100  # by cycle time before bore 100, by Rpk alone by bore 110
    assert rpk is not None and rpk <= 110
    # Traps: a normal set loses 0.00018 a bore, and a diamond head rises. Neither is taken for one that glazes: that a
    # set wears faster is said with how rarely chance shows it, from once in three months in the whole shop on, so that
    # these three of its twelve wearing features have a share in that.
    faster = {
        (process, left.tool)
        for day, said in told.items()
        for process in (RPK, CYCLE, HEAD)
        if process in said.states and (process == HEAD or day < date(2025, 7, 17))
        for left in [said.states[process].left]
        if left is not None and left.faster
    }
    wearing = sum(len(renewal.features) for renewal in demo_shop.plan.renewals)
    share = (date(2025, 7, 17) - BEGIN).days / (3 * 30.4) * 3 / wearing
    assert len(faster) <= poisson.ppf(0.975, share), faster
    assert not [
        s
        for day, said in told.items()
        if day < date(2025, 7, 17)
        for s in said.open(RPK)
        if s.monitor == "level"
    ]
    falls = [s for said in told.values() for s in said.open(HEAD) if s.monitor == "level" and s.direction < 0]
    assert not falls


def test_story_2_the_shoes_are_told_by_the_ends_while_the_mean_of_the_mains_says_nothing(
    told: dict[date, Day],
) -> None:
    day = first_told(told, ENDS, BEGIN)
    assert day is not None and date(2025, 2, 21) <= day <= date(2025, 4, 30)
    for at, said in told.items():
        assert not [s for s in said.open(MAINS) if s.monitor == "level"], at
        if day <= at <= date(2025, 9, 26):
            # Neither the invoice of July nor anything else but the shoes ends it.
            assert said.open(ENDS), at


def test_story_3_the_first_deck_of_a_day_is_told_before_the_warm_up_and_never_put_down_to_a_person(
    told: dict[date, Day],
) -> None:
    spring = [said for day, said in told.items() if date(2025, 2, 1) <= day < WARMED]
    assert sum(said.first[DECK] is not None for said in spring) >= 0.9 * len(spring)
    later = [said for day, said in told.items() if day >= date(2025, 9, 1)]
    assert not [said for said in later if said.first[DECK] is not None and said.first[DECK].gap > 10]  # type: ignore[union-attr]
    for day, said in told.items():
        assert not [f for f in said.first.values() if f is not None and f.by_person], day
    # The older mill has no such thing; a test asked some 60 times on the same decks may err, but not last.
    wrong = [day for day, said in told.items() if said.first.get(OTHER_DECK) is not None]
    assert len(wrong) <= 0.1 * len(told), wrong


def test_story_4_the_slide_is_told_before_its_service_and_the_season_is_not(told: dict[date, Day]) -> None:
    day = first_told(told, TAPER, date(2024, 11, 4))
    assert day is not None and day <= date(2025, 3, 31)
    for at, said in told.items():
        if at <= SERVICE:
            # The other hone stands in the same spring: were it the season, it would show there.
            assert not [s for s in said.open(SOUND_TAPER) if s.monitor == "level"], at
        if at >= SERVICE + timedelta(days=30):
            assert not [s for s in said.open(TAPER) if s.monitor == "level"], at


def test_story_6_the_older_mill_is_innocent(told: dict[date, Day], demo_shop: Shop) -> None:
    for at, said in told.items():
        assert not [s for s in said.open(OTHER_DECK) if s.monitor in ("level", "scatter")], at
    old, new = (demo_shop.capability(p, "F1") for p in (OTHER_DECK, DECK))
    assert (
        old is not None
        and new is not None
        and old.sigma_overall is not None
        and new.sigma_overall is not None
    )
    assert old.sigma_overall < new.sigma_overall


def test_story_7_the_missed_change_is_asked_about_before_the_limit_and_never_of_a_normal_set(
    told: dict[date, Day],
) -> None:
    asked = {day: s for day, said in told.items() for s in said.open(DECK_RA) + said.open(DECK_RZ)
             if s.monitor == "tool life"}  # fmt: skip
    assert asked
    day, signal = min(asked.items())
    # Due at 60; near 70 by the scenario, and the limit is reached at 88 or 89.
    assert date(2025, 8, 11) <= day <= date(2025, 9, 2)
    assert signal.wear is not None and 60 < signal.wear <= 88
    left = told[max(d for d in told if d <= date(2025, 8, 29))].states[DECK_RA].left
    assert left is not None and left.uses > 60


def test_story_10_what_nothing_was_planted_in_stays_within_its_share(
    told: dict[date, Day], demo_shop: Shop
) -> None:
    """Poisson 97.5 % point of the share that two of the shop's processes have of one false alarm a month."""
    last = told[max(told)]
    assert not [s for process in CONTROLS for s in last.open(process)]
    told_of = {
        (process, s.monitor, s.since)
        for said in told.values()
        for process in CONTROLS
        for s in said.open(process)
        # The worn slide of that hone opens the depths of its bores: planted, until its service.
        if not (process == CONTROLS[0] and s.within == "depth" and s.since <= SERVICE)
    }
    share = 14 * len(CONTROLS) / len(demo_shop.board())
    assert len(told_of) <= poisson.ppf(0.975, share), told_of


def test_nothing_told_of_what_is_left_is_ever_negative_or_endless_or_out_of_order(
    told: dict[date, Day],
) -> None:
    for day, said in told.items():
        for process, state in said.states.items():
            left = state.left
            if left is None:
                continue
            given = [v for v in (left.p10, left.p50, left.p90) if v is not None]
            assert given == sorted(given) and all(0 <= v <= 2 * max(left.uses, left.usual or 0) + 2_000
                                                  for v in given), (day, process)  # fmt: skip
            if left.p50 is None:
                assert left.reason in ("no limit", "learning", "far"), (day, process)
            if left.reason == "learning":
                assert left.missing_parts > 0, (day, process)
