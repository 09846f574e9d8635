"""The readings behind a capability, in classes."""

import pytest

from ingest.shop.shop import Shop


def test_every_reading_of_a_capability_is_in_a_class(demo_shop: Shop) -> None:
    told = 0
    for row in demo_shop.board():
        view = demo_shop.process(row.process)
        for family in view.families if view else ():
            held = demo_shop.capability(row.process, family)
            classes = demo_shop.histogram(row.process, family, held.fit if held else None)
            assert (classes is None) == (held is None)
            if held is None or classes is None:
                continue
            told += 1
            assert classes.counts.sum() == held.n_readings
            if len(classes.curve):
                steps = classes.curve_at[1] - classes.curve_at[0]
                area = classes.curve.sum() * steps / (classes.edges[1] - classes.edges[0])
                # What lies beyond the drawn reach, and classes of a coarse gauge: a few in a hundred.
                assert area == pytest.approx(held.n_readings, rel=0.05)
    assert told > len(demo_shop.board())


def test_nothing_known_has_no_classes(demo_shop: Shop) -> None:
    process = demo_shop.board()[0].process
    assert demo_shop.histogram(process, "no such family", None) is None
    assert demo_shop.histogram("no/such/process", "x", None) is None
