"""Causes, what is left and where to aim, on the page of a process."""

from dataclasses import replace

from dashboard.desk import Desk
from dashboard.pages.insight import aim_part, causes_part, wear_part
from dashboard.words.causes import as_if
from dashboard.words.sentences import reason
from ingest.answers.wear import AimFact, CauseFact, StartFact
from spc.wear.aim import Aim
from tests.dashboard.paper_shop import PaperShop, off, row
from tests.dashboard.test_stones import NEAR

GLAZED = CauseFact(
    "glazed",
    "the stones have glazed",
    0.9,
    ("the cut takes longer too",),
    ("it came at once",),
    "dress <them>",
)
OTHER = replace(GLAZED, key="worn", name="the head is worn", share=0.06, speaks_against=())


class KnowingShop(PaperShop):
    """A shop on paper that has answers."""

    def causes(self, process: str):
        del process
        return (GLAZED, OTHER), ("person", "gauge")

    def aims(self, process: str):
        del process
        return (
            AimFact(
                "FOUR", Aim(-0.5, -1.0, 0.0, 0.3, 4.1, 3.1, 162.0, 777.0, 25.4, 0.01, 0.001, 60), 165.0, 780.0
            ),
        )

    def starts(self, process: str):
        del process
        return (
            StartFact("FOUR", 0.27, 0.14, 640.0, 700.0, 0.24),
            StartFact("SIX", 0.27, 0.2, None, 192.0, 0.24),
        )


def test_causes_are_suggested_with_what_speaks_for_and_against_and_the_check() -> None:
    text = str(causes_part(Desk(KnowingShop()), off("bore_peak")))  # type: ignore[arg-type]
    assert text.index("The stones have glazed") < text.index("The head is worn")
    assert "fits well" in text and "may be" in text
    assert "For it: </b>the cut takes longer too" in text and "Against it: </b>it came at once" in text
    assert "To confirm: </b>dress &lt;them&gt;." in text
    assert "cannot be told" in text and "Suggestions" in text
    assert causes_part(Desk(KnowingShop()), row("bore_peak")) == ""  # type: ignore[arg-type]


def test_without_a_cause_that_fits_that_is_said() -> None:
    assert "None of the known faults fits" in str(causes_part(Desk(PaperShop()), off("bore_peak")))  # type: ignore[arg-type]


def test_the_list_names_a_cause_only_when_it_stands_out() -> None:
    shop = PaperShop()
    clear = replace(off("bore_peak"), causes=(GLAZED, OTHER))
    assert ", as if the stones have glazed: " in reason(clear, shop.plan)
    assert as_if(replace(clear, causes=(replace(GLAZED, share=0.4),))) == ""
    assert as_if(off("bore_peak")) == ""


def test_what_is_left_stands_on_the_page_of_the_process() -> None:
    shop = KnowingShop()
    text = str(wear_part(Desk(shop), replace(off("bore_peak"), left=NEAR)))  # type: ignore[arg-type]
    assert "about 14 bores left (5 to 30) before the lower limit" in text
    assert "four: at its usual wear a set would last longest, about 650 bores" in text
    # No life of more than 192 was seen by the other family: no number is made up for what comes after.
    assert "after 192 bores, the most that any set has done" in text and "no number is said" in text
    assert "qualified sign-off" in text
    assert wear_part(Desk(shop), row("bore_size")) == ""  # type: ignore[arg-type]


def test_the_aim_has_its_range_and_what_a_thou_either_way_costs() -> None:
    text = str(aim_part(Desk(KnowingShop()), row("main_size")))  # type: ignore[arg-type]
    assert "\u22120.02 thou" in text and "162 more" in text and "777 more" in text and "60 blocks" in text
    assert "4.1 now, 3.1 there" in text and "sign-off" in text
    assert aim_part(Desk(PaperShop()), row("main_size")) == ""  # type: ignore[arg-type]
