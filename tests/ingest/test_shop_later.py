"""Plans that change, and pages that are read while files come in."""

import threading
from datetime import date, datetime, timedelta

from ingest.shop.shop import Shop
from tests.ingest.small_shop import PLAN, day_files, parts


def with_new_nominal(valid_from: str) -> str:
    """The plan with the target of the small family 4 µm higher from a day on."""
    new = (
        f'[[specifications]]\nfeature = "size"\nfamilies = ["F4"]\nvalid_from = {valid_from}\n'
        'nominal = "80.004 mm"\nlower = "79.994 mm"\nupper = "80.014 mm"\n'
    )
    return PLAN.replace("[[renewals]]", f"{new}\n[[renewals]]", 1)


def test_a_changed_specification_leaves_earlier_parts_as_they_were(shop: Shop) -> None:
    shop.take_in_batches(day_files(parts(40)))
    before = shop.process("H1/hone/size")
    assert before is not None
    day = date(2025, 3, 12)
    shop.accept_plan(with_new_nominal(day.isoformat()))
    after = shop.process("H1/hone/size")
    assert after is not None
    for old, new in zip(before.parts, after.parts, strict=True):
        moved = 4.0 if new.family == "F4" and new.time.date() >= day else 0.0
        assert abs(old.mean - moved - new.mean) < 1e-6
    assert after.plan_sha != before.plan_sha
    assert {s.valid_from for s in after.specifications} == {date(2024, 1, 1), day}


def test_as_of_a_day_speaks_with_the_plan_of_that_day(shop: Shop) -> None:
    batches = day_files(parts(20))
    shop.take_in_batches(batches[:3])
    renamed = PLAN.replace('name = "hone one"', 'name = "the good hone"')
    shop.accept_plan(renamed, known_at=batches[3][0] - timedelta(hours=1))
    shop.take_in_batches(batches[3:])
    then = shop.board(batches[2][0].date())
    now = shop.board()
    assert {r.machine_name for r in then if r.machine == "H1"} == {"hone one"}
    assert {r.machine_name for r in now if r.machine == "H1"} == {"the good hone"}


def test_pages_are_read_while_files_come_in(shop: Shop) -> None:
    batches = day_files(parts(36))
    shop.take_in_batches(batches[:4])
    stop, wrong, told = threading.Event(), [], []

    def read() -> None:
        while not stop.is_set():
            try:
                rows = shop.board()
                view = shop.process("H1/hone/size")
                part = shop.part("S0001")
                assert view is not None
                assert part is not None
                assert {r.machine for r in rows} <= {"H1", "H2"}
                assert [p.index for p in view.parts] == list(range(len(view.parts)))
                assert all(p.serial.startswith("S") for p in view.parts)
                told.append(len(view.parts))
                shop.receipts()
            except Exception as error:
                wrong.append(error)

    readers = [threading.Thread(target=read) for _ in range(3)]
    for reader in readers:
        reader.start()
    for known_at, files in batches[4:]:
        shop.take_in(files, known_at)
    stop.set()
    for reader in readers:
        reader.join()
    assert not wrong
    assert told


def test_nothing_is_learned_twice_from_a_shop_that_stood_still(shop: Shop) -> None:
    shop.take_in_batches(day_files(parts(12)))
    folder, before = shop.folder, shop.digest()
    shop.close()
    with Shop.open(folder) as again:
        assert again.digest() == before
        assert again.now() == datetime(2025, 12, 31, 16, tzinfo=again.plan.zone)
