"""The table of causes, and what is made of it."""

import pytest

from ingest.assessing.causes import cause_table, read_table

EVIDENCE = '[evidence.down]\nbase = 0.5\nseen = "down"\nunseen = ""\n'
CAUSE = '[cause.x]\nname = "x"\ncheck = "look"\nweight = 1.0\nkinds = ["size"]\nshows = { %s }\n'


def test_the_table_that_comes_with_the_program_can_be_read():
    evidence, causes = cause_table()
    assert len(causes) >= 18
    kinds = {"size", "height", "form", "finish", "time", "check"}
    for cause in causes.values():
        assert set(cause.kinds) <= kinds and cause.kinds, cause.key
        assert cause.check and not cause.check.endswith("."), cause.key
        assert set(cause.direction) <= set(cause.kinds), cause.key
        assert set(cause.direction.values()) <= {"up", "down"}
        assert cause.weight > 0
    # Every piece of evidence is there for some cause.
    told = {key for cause in causes.values() for key in cause.shows} | {"down"}
    assert told == set(evidence)


def test_every_kind_of_feature_has_causes_and_a_person_is_never_named_without_a_comparison():
    _, causes = cause_table()
    for kind in ("size", "height", "form", "finish", "time", "check"):
        assert sum(kind in cause.kinds for cause in causes.values()) >= 3, kind
    assert all("one_person" in c.unless for c in causes.values() if c.shows.get("one_person", 0) > 0.5)


@pytest.mark.parametrize(
    ("shows", "said"),
    [("up = 0.5", "no evidence"), ("down = 1.5", "between 0 and 1"), ("down = 0.0", "0 and 1")],
)
def test_a_table_that_contradicts_itself_is_refused(shows: str, said: str):
    with pytest.raises(ValueError, match=said):
        read_table(EVIDENCE + CAUSE % shows)
