"""Files nobody here wrote go from file to list, quick look and capability through a plan alone.

What is expected comes from the files by plain code that shares nothing with the program, or is what the source
itself says (SOURCES.md). Nothing in the program is set by these files, and nothing here asks for a signal.
"""

import csv
import json
import math
import statistics
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.commands.cli import app
from dashboard.words.sentences import reason
from dashboard.work.status import as_records
from ingest.intake.receipt import Receipt
from ingest.shop.shop import Shop
from spc.units import from_base, to_base

HERE = Path(__file__).parent
NAMES = ("shafts.csv", "MACHINE.DAT", "GEAR.DAT")
RECEIVED = datetime(2025, 6, 2, 10, tzinfo=UTC)
LOWEST, HIGHEST = 0.122, 0.128  # the handbook: .125 +/- .003 inches


def numbers(name: str) -> list[list[float]]:
    """Lines of a data file of the handbook that hold nothing but numbers."""
    rows = []
    for line in (HERE / name).read_text(encoding="ascii").splitlines():
        try:
            rows.append([float(word) for word in line.split()])
        except ValueError:
            continue
    return [row for row in rows if len(row) > 1]


def pins() -> dict[str, list[float]]:
    """Diameters by machine, in the order of the file. [in]"""
    found = defaultdict(list)
    for machine, _, _, _, diameter in numbers("MACHINE.DAT"):
        found[str(int(machine))].append(diameter)
    return found


def shafts(feature: str) -> dict[tuple[str, str, str], list[float]]:
    """Readings by condition, diameter and insert. [um]"""
    found = defaultdict(list)
    with (HERE / "shafts.csv").open(encoding="utf-8", newline="") as file:
        rows = csv.reader(file)
        at = next(rows).index(feature)
        for row in rows:
            found[row[0], row[4], row[5]].append(float(row[at]))
    return found


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Shop, list[Receipt]]]:
    plan = (HERE / "plan.toml").read_text(encoding="utf-8")
    folder = tmp_path_factory.mktemp("realdata") / "shop"
    with Shop.create(folder, plan, known_at=datetime(2025, 6, 1, tzinfo=UTC)) as shop:
        yield shop, shop.take_in([HERE / name for name in NAMES], known_at=RECEIVED)


@pytest.fixture(scope="module")
def shop(taken: tuple[Shop, list[Receipt]]) -> Shop:
    return taken[0]


def test_every_line_of_the_files_is_stored_or_stands_above_the_readings(
    taken: tuple[Shop, list[Receipt]],
) -> None:
    shop, receipts = taken
    for receipt, rows in zip(receipts, (2448, 180, 100), strict=True):
        lines = (HERE / receipt.name).read_bytes().count(b"\n")
        assert (receipt.status, receipt.lines.total, receipt.lines.stored) == ("taken", lines, rows)
        assert receipt.lines.blank == lines - rows
        assert receipt.lines.set_aside == receipt.lines.known == receipt.lines.partly == 0
        assert (
            receipt.cells.stored == receipt.cells.total == rows * (2 if receipt.name == "shafts.csv" else 1)
        )
        assert receipt.warnings["no_time"] == rows
    assert not shop.set_aside_rows()


def test_the_list_has_every_process_with_all_its_parts(shop: Shop) -> None:
    rows = {row.process: row for row in shop.board()}
    parts = {name: len(shop.process(name).parts) for name in rows}
    assert parts == {
        "LATHE/turn/ra": 68, "LATHE/turn/rz": 68, "CUTTER/cut/gear": 10,
        "1/screw/pin": 60, "2/screw/pin": 60, "3/screw/pin": 60,
    }  # fmt: skip
    records = as_records(shop.board(), shop.plan)
    assert all(record["reason"] for record in records)
    assert json.dumps(records, allow_nan=False)


def test_part_means_are_those_of_the_files_in_the_order_of_their_lines(shop: Shop) -> None:
    for machine, diameters in pins().items():
        points = shop.process(f"{machine}/screw/pin").parts
        nominal = to_base(0.125, "in")
        assert [from_base(p.mean + nominal, "in") for p in points] == pytest.approx(diameters)
    batches = defaultdict(list)
    for diameter, batch in numbers("GEAR.DAT"):
        batches[f"{batch:.3f}"].append(diameter)
    points = shop.process("CUTTER/cut/gear").parts
    assert [p.serial for p in points] == list(batches)
    means = [statistics.fmean(values) for values in batches.values()]
    assert statistics.fmean(from_base(p.mean, "in") for p in points) == pytest.approx(statistics.fmean(means))
    assert {p.n for p in points} == {10}


@pytest.mark.parametrize(("feature", "column"), [("ra", "Ra"), ("rz", "Rz")])
def test_shafts_keep_their_places_and_traces(shop: Shop, feature: str, column: str) -> None:
    expected = shafts(column)
    process = f"LATHE/turn/{feature}"
    points = shop.process(process).parts
    assert {p.serial for p in points} == {"/".join(key) for key in expected}
    assert {p.n for p in points} == {36}
    tool = {p.serial: p.family for p in points}
    assert all(serial.split("/")[1] == family for serial, family in tool.items())
    for family in ("D30", "D50"):
        logs = [math.log(v) for key, values in expected.items() if key[1] == family for v in values]
        found = shop.capability(process, family)
        assert found is not None
        assert (found.n_parts, found.n_readings) == (34, 34 * 36)
        assert found.median == pytest.approx(math.exp(statistics.fmean(logs)))
    view = shop.part("1/D30/New")
    first = [r for r in view.readings if r.feature == feature and r.position == "place=Live centre;trace=1"]
    assert [r.value for r in first] == [expected["1", "D30", "New"][0]]


def test_capability_of_the_machines_is_as_the_handbook_found_them(shop: Shop) -> None:
    found = {}
    for machine, diameters in pins().items():
        result = shop.capability(f"{machine}/screw/pin", "PIN")
        assert result is not None and result.ppk is not None
        mean, sigma = statistics.fmean(diameters), statistics.stdev(diameters)
        assert from_base(result.mean, "in") == pytest.approx(mean)
        assert from_base(result.sigma_overall, "in") == pytest.approx(sigma, rel=0.01)
        ppk = min(HIGHEST - mean, mean - LOWEST) / (3 * sigma)
        assert result.ppk.lower < ppk < result.ppk.upper
        found[machine] = result
    spread = {machine: result.sigma_overall for machine, result in found.items()}
    # "machines 1 and 2 had about the same variability", machine 3 "significantly more variation"
    assert spread["3"] > 1.4 * max(spread["1"], spread["2"])
    assert max(spread["1"], spread["2"]) < 1.4 * min(spread["1"], spread["2"])
    # "significantly different locations": machine 2 was not set correctly
    off = {machine: abs(result.mean - to_base(0.125, "in")) for machine, result in found.items()}
    assert max(off, key=lambda machine: off[machine]) == "2"


def test_gears_have_no_limits_and_so_no_index(shop: Shop) -> None:
    result = shop.capability("CUTTER/cut/gear", "GEAR")
    assert result is not None
    diameters = [row[0] for row in numbers("GEAR.DAT")]
    assert from_base(result.mean, "in") == pytest.approx(statistics.fmean(diameters))
    assert (result.n_parts, result.n_readings) == (10, 100)
    assert result.cp is result.cpk is result.pp is result.ppk is None


@pytest.mark.parametrize(
    ("name", "column", "how"),
    [
        ("shafts.csv", "Ra", ()),
        ("MACHINE.DAT", "DIAMETER", ("--names-in-line", "24", "--lower", LOWEST, "--upper", HIGHEST)),
        ("GEAR.DAT", "DIAMETER", ("--names-in-line", "24", "--separator", "spaces")),
    ],
)
def test_quick_looks_at_a_column_of_each(name: str, column: str, how: tuple[object, ...]) -> None:
    words = ["quick", str(HERE / name), "--column", column, "--json", *map(str, how)]
    answer = CliRunner().invoke(app, words)
    assert answer.exit_code == 0, answer.output
    told = json.loads(answer.stdout)
    if name == "shafts.csv":
        values = [v for readings in shafts("Ra").values() for v in readings]
    else:
        values = [row[-1 if name == "MACHINE.DAT" else 0] for row in numbers(name)]
    assert told["n"] == len(values)
    assert told["mean"] == pytest.approx(statistics.fmean(values))
    assert (told["capability"] is None) == ("--lower" not in how)


def test_a_second_delivery_of_the_same_measurements_changes_nothing(shop: Shop, tmp_path: Path) -> None:
    before = as_records(shop.board(), shop.plan)
    longer = tmp_path / "MACHINE again.DAT"
    longer.write_bytes((HERE / "MACHINE.DAT").read_bytes() + b"\r\n")
    receipt = shop.take_in([longer], known_at=datetime(2025, 6, 2, 11, tzinfo=UTC))[0]
    assert (receipt.lines.known, receipt.lines.stored, receipt.lines.set_aside) == (180, 0, 0)
    assert as_records(shop.board(), shop.plan) == before


def test_machines_that_make_pins_out_of_tolerance_do_not_simply_hold(shop: Shop) -> None:
    """Machine 2 was never set right and machine 3 always varied more: neither ever changed, and both made bad pins."""
    rows = {row.process: row for row in shop.board()}
    for machine, diameters in pins().items():
        row = rows[f"{machine}/screw/pin"]
        latest = diameters[-40:]
        below, above = sum(d < LOWEST for d in latest), sum(d > HIGHEST for d in latest)
        told = reason(row, shop.plan)
        if not below + above:
            assert row.beyond is None and "nothing to do" in told
            continue
        assert row.beyond is not None
        assert (row.beyond.parts, row.beyond.of) == (below + above, 40)
        assert (row.beyond.above, row.beyond.below) == (above, below)
        assert row.beyond.offset is not None
        assert from_base(row.beyond.offset, "in") == pytest.approx(statistics.fmean(latest) - 0.125, abs=1e-9)
        assert f"{below + above} of the last 40" in told and "nothing to do" not in told
    # the handbook: machine 2 "was not set correctly", machine 3 has "significantly more variation"
    assert "set the machine back to the middle" in reason(rows["2/screw/pin"], shop.plan)
    assert "differ more than the limits allow" in reason(rows["3/screw/pin"], shop.plan)
    assert [row.process for row in shop.board()].index("1/screw/pin") > max(
        [row.process for row in shop.board()].index(f"{machine}/screw/pin") for machine in "23"
    )


def test_what_the_shafts_say_of_wear_and_what_they_do_not(shop: Shop) -> None:
    """17 settings on two diameters, each cut with a new and with a worn insert: the worn one cuts rougher, and nobody
    counted its uses.
    """
    found = shafts("Ra")
    ratio = [
        statistics.median(found[number, family, "Worn"]) / statistics.median(found[number, family, "New"])
        for number, family, insert in found
        if insert == "New"
    ]
    assert (
        len(ratio) == 34 and sum(r > 1 for r in ratio) > 17 + 2 * math.sqrt(34) / 2
    )  # more than chance alone
    for feature in ("ra", "rz"):
        row = {r.process: r for r in shop.board()}[f"LATHE/turn/{feature}"]
        # No life is counted, so nothing is forecast and nothing is said to wear faster.
        assert row.left is None and row.parts_left is None
        # A worn edge and changed settings are named. Both are true of this experiment, and in the order of the file
        # they cannot be told apart: settings change from part to part, inserts every 17 parts.
        named = {cause.key: cause for cause in row.causes}
        assert set(named) == {"edge_uncounted", "feed"}
        assert all(cause.check for cause in named.values())
        assert max(cause.share for cause in named.values()) < 0.8  # neither "fits well"


def test_without_a_specification_no_target_is_named(shop: Shop) -> None:
    rows = {row.process: row for row in shop.board()}
    batches = [value for value, batch in numbers("GEAR.DAT") if f"{batch:.3f}" == "10.000"]
    told = reason(rows["CUTTER/cut/gear"], shop.plan)
    assert "target" not in told and f"{statistics.fmean(batches):.4f} in" in told
    assert "target" in reason(rows["1/screw/pin"], shop.plan)
