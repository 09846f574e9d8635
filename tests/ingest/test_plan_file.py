"""The plan: read whole or refused with file, line, key, what is wrong and what is legal."""

from datetime import date
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

import ingest
from ingest.plans.file import load_plan, parse_plan
from ingest.plans.lines import key_lines
from ingest.plans.model import Feature, Plan, parse_position, position_key
from ingest.problems import PlanError, Problem
from spc.capability.distribution import AnyShape

TEMPLATE = Path(ingest.__file__).parent / "plans" / "template.toml"
TEXT = TEMPLATE.read_text(encoding="utf-8")


def problems_of(text: str) -> list[Problem]:
    with pytest.raises(PlanError) as error:
        parse_plan(text, "plan.toml")
    return error.value.problems


def line_with(text: str, piece: str) -> int:
    return text[: text.index(piece)].count("\n") + 1


@pytest.fixture(scope="module")
def plan() -> Plan:
    return load_plan(TEMPLATE)


def test_the_starting_plan_has_no_fault(plan: Plan) -> None:
    assert plan.shop.zone.key == "Etc/UTC"
    assert plan.features["bore_taper"].operation == "finish_hone"
    assert plan.features["bore_taper"].display == "thou"


@pytest.mark.parametrize("data", [b"\xef\xbb\xbf" + TEXT.encode(), TEXT.replace("\n", "\r\n").encode()])
def test_byte_order_mark_and_windows_line_ends_do_not_matter(data: bytes, tmp_path: Path, plan: Plan) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(data)
    assert load_plan(path).sha256 == plan.sha256


def test_another_encoding_is_named_with_its_line_and_a_remedy(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(TEXT.replace('name = "Our shop"', 'name = "Müller"').encode("cp1252"))
    with pytest.raises(PlanError, match=r"not saved as UTF-8.*encoding UTF-8") as error:
        load_plan(path)
    assert error.value.problems[0].line == line_with(TEXT, 'name = "Our shop"')


def test_a_plan_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"cannot be read"):
        load_plan(tmp_path / "none.toml")


CHANGES = [
    ('display = "thou"\ndecimals = 2\naxes = ["main"', 'display = "cubit"\ndecimals = 2\naxes = ["main"',
     "features.main_size.display", "in, thou, uin"),
    ('unit = "um"', 'unit = "inch"', "features.main_size.unit", "'um', 'min' or 'degC'"),
    ('name = "ring check"', 'nam = "ring check"', "features.ring_size.nam", "Legal: axes"),
    ('kind = "size"   ', 'shape = "gamma"\nkind = "size"   ', "features.main_size.shape", "'weibull'"),
    ('operations = ["line_hone"]', 'operations = ["linehone"]', "machines.LINE-1.operations.1",
     "Declared: finish_hone, line_hone"),
    ('lower = "64.990 mm"', 'lower = "64.990"', "specifications.1.lower", "number and unit"),
    ('lower = "64.990 mm"', "lower = 64.990", "specifications.1.lower", "between quotes"),
    ('lower = "64.990 mm"', 'lower = "66 mm"', "specifications.1.lower", "Swap"),
    ('lower = "64.990 mm"', 'lower = "4 min"', "specifications.1.lower", "unit that fits 'um'"),
    ('nominal = "65.000 mm"', 'nominal = "66 mm"', "specifications.1.nominal", "outside the limits"),
    ('is = "serial"', 'is = "seral"', "layouts.bore_gauge.columns.2.is", "'serial'"),
    ('opens = "07:00"', 'opens = "25:00"', "shop.opens", '"07:00"'),
    ('closes = "16:00"', 'closes = "06:00"', "shop.closes", "after 'opens'"),
    ('time_zone = "Etc/UTC" ', 'time_zone = "Mars/X" ', "shop.time_zone", "Europe/London"),
    ("(?P<depth>[TMB])'", "[TMB]'", "layouts.bore_gauge.places.2.pattern", "(?P<depth>...)"),
    ("(?P<depth>[TMB])'", "(?P<depth>[TMB]'", "layouts.bore_gauge.places.2.pattern", "regular expression"),
    ('form = "%Y-%m-%d %H:%M:%S"', 'form = "%Y %Q"', "layouts.bore_gauge.columns.1.form", "%Y-%m-%d %H:%M:%S"),
    ('form = "%Y-%m-%d %H:%M:%S"', 'form = "%H:%M"', "layouts.bore_gauge.columns.1.form", "year, month and day"),
    ('plus = ["T"]', 'plus = ["X"]', "features.bore_taper.plus", "first, last, inner"),
    ('minus = ["B"]', 'minus = ["T"]', "features.bore_taper.minus", "Name each once"),
    ('of = "bore_size"', 'of = "bore"', "features.bore_taper.of", "bore_size, main_size"),
    ('axis = "depth"', 'axis = "main"', "features.bore_taper.axis", "cylinder, depth"),
    ('keep = ["cylinder"]', 'keep = ["depth"]', "features.bore_taper.keep.1", "cylinder, depth"),
    ('axes = ["cylinder", "depth"]', 'axes = ["cylindre", "depth"]', "features.bore_size.axes.1", "cylinder"),
    ('events = ["stones_new"]', 'events = ["service"]', "renewals.1.events.1", 'effect = "renews"'),
    ('count = "cylinder"', 'count = "day"', "renewals.1.count", "cylinder"),
    ('machine = "HONE-1"\nevents', 'machine = "HONE-9"\nevents', "renewals.1.machine", "HONE-1, LINE-1"),
    ("redo = { line_hone = 240.0", "redo = { line_bore = 240.0", "costs.FOUR.redo.line_bore", "line_hone"),
    ("redo = { line_hone = 240.0", "redo = { line_hone = 0.0", "costs.FOUR.redo.line_hone", "above 0"),
    ("[costs.FOUR]", "[costs.FIVE]", "costs.FIVE", "FOUR"),
    ("followed_up = 50", "followed_up = 0", "costs.shop.followed_up", "how many were followed up"),
    ("amounts_within = 0.20", "amounts_within = 1.5", "costs.shop.amounts_within", "from 0 to below 1"),
    ("cure = [0.8, 1.0]", "cure = [0.8, 1.2]", "costs.shop.cure", "0.8, 1.0"),
    ("scrap = 780.0", "scrap = 780.0\ncure = [0.8, 1.0]", "costs.FOUR.cure", "costs.shop"),
    ('resolution = "0.0001 in"', 'resolution = "0 in"', "gauges.BORE-A.resolution", "Correct it"),
    ('features = ["main_size", "bore_size", "ring_size"]', 'features = ["main"]', "gauges.BORE-A.features.1",
     "main_size"),
    ('size = "80.000 mm"', 'size = "80 min"', "masters.RING-1.size", "in, mm or um"),
    ('families = ["FOUR"]', 'families = ["FIVE"]', "specifications.1.families.1", "FOUR, RING-1"),
    ("parts_per_month = 60 ", "parts_per_month = 0 ", "shop.parts_per_month", "greater than 0"),
    ('"AB" = "machinist"', '"AB" = "boss"', "people.AB", "'machinist'"),
    ('unit = "mm" }', 'unit = "min" }', "layouts.bore_gauge.columns.5.unit", "length"),
    ('{ name = "set_mm", is = "set_size", unit = "mm" },', "", "layouts.bore_gauge.columns.4.measures",
     'measures = "difference"'),
    ('{ name = "serial", is = "serial" },\n  { name = "place"', '{ name = "place"', "layouts.bore_gauge.columns",
     "'serial'|serial"),
    ("features = { deviation_thou = \"main_size\" }", "features = { deviation = \"main_size\" }",
     "layouts.bore_gauge.places.1.features.deviation", "deviation_thou"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "key", "legal"), CHANGES, ids=[c[2] + "-" + c[1][:24] for c in CHANGES]
)
def test_each_fault_is_told_with_line_key_and_what_is_legal(old: str, new: str, key: str, legal: str) -> None:
    text = TEXT.replace(old, new, 1)
    assert text != TEXT
    found = [p for p in problems_of(text) if p.column == key]
    assert found, [str(p) for p in problems_of(text)]
    told = str(found[0])
    assert told.startswith("plan.toml:")
    assert any(piece in told for piece in legal.split("|"))
    assert found[0].line is not None
    near = TEXT[: TEXT.index(old)].count("\n") + 1
    assert abs(found[0].line - near) <= max(3, new.count("\n") + 8)


def test_a_line_that_is_no_toml_is_named() -> None:
    (problem,) = problems_of(TEXT.replace("[layouts.jobs]", "[layouts.jobs"))
    assert problem.line == line_with(TEXT, "[layouts.jobs]")


def test_all_faults_are_told_at_once_in_the_order_of_lines() -> None:
    text = TEXT.replace('unit = "um"', 'unit = "x"').replace('opens = "07:00"', "opens = 7")
    problems = problems_of(text)
    assert [p.column for p in problems][1:] == [
        f"features.{f}.unit" for f in ("main_size", "bore_size", "ring_size")
    ]
    assert [p.line for p in problems] == sorted(p.line or 0 for p in problems)


def test_two_layouts_for_one_header_are_refused() -> None:
    start = TEXT.index("[layouts.ring_check]")
    twin = TEXT[start : TEXT.index("[layouts.jobs]")].replace("ring_check", "ring_again")
    (problem,) = problems_of(f"{TEXT}\n{twin}")
    assert problem.column == "layouts.ring_again"
    assert "'ring_check'" in problem.reason


@given(st.text(max_size=200))
def test_no_text_escapes(text: str) -> None:
    with pytest.raises(PlanError):
        parse_plan(text, "plan.toml")


@given(st.integers(0, len(TEXT) - 1), st.integers(0, 40), st.text(max_size=6))
def test_no_damage_to_a_plan_escapes(at: int, lost: int, put: str) -> None:
    try:
        parse_plan(TEXT[:at] + put + TEXT[at + lost :], "plan.toml")
    except PlanError as error:
        assert all(p.reason and p.remedy for p in error.problems)


def test_lines_of_keys_in_every_way_toml_writes_them() -> None:
    text = '''a = 1 # x = "
[t."q r"]
b.c = """
[no]
""" # done
list = [
  1, # one
  { d = 'e', f = [ 2,
    3 ] },
]
[[many]]
g = 1
[[many]]
g = 2979-01-01 00:00:00
[many.sub]
h = "\\\\"
'''
    lines = key_lines(text)
    assert lines[("a",)] == 1
    assert lines[("t", "q r")] == 2
    assert lines[("t", "q r", "b", "c")] == 3
    assert lines[("t", "q r", "list", 0)] == 7
    assert lines[("t", "q r", "list", 1, "f", 1)] == 9
    assert lines[("many", 1, "g")] == 14
    assert lines[("many", 1, "sub", "h")] == 16


def test_positions_are_listed_coarse_to_fine(plan: Plan) -> None:
    mains = plan.positions("main_size", "FOUR")
    assert len(mains) == 10
    assert mains[:3] == ("main=1;direction=V", "main=1;direction=H", "main=2;direction=V")
    assert plan.positions("bore_taper", "FOUR") == tuple(f"cylinder={c}" for c in "1234")
    assert plan.positions("ring_size", "RING-1") == ("trial=1", "trial=2")
    assert plan.positions("main_size", None) == ()
    assert plan.axes_of("bore_taper") == ("cylinder",)


def test_a_difference_that_a_family_cannot_have_has_no_positions() -> None:
    text = TEXT.replace('depth = ["T", "M", "B"]', "").replace(
        'cylinder = ["1", "2", "3", "4"] }',
        'cylinder = ["1", "2"], depth = ["T", "B"] }\n[families.ONE]\nname = "one"\n'
        'axes = { main = ["1"], cylinder = ["1"], depth = ["M"] }',
    )
    plan = parse_plan(text, "plan.toml")
    assert plan.positions("bore_taper", "FOUR") == ("cylinder=1", "cylinder=2")
    assert plan.positions("bore_taper", "ONE") == ()
    assert plan.side(("first", "last"), "main", "FOUR") == ("1", "5")
    assert plan.side(("inner",), "main", "FOUR") == ("2", "3", "4")


def test_the_specification_in_force_is_the_latest_begun() -> None:
    more = (
        '\n[[specifications]]\nfeature = "main_size"\nfamilies = ["FOUR"]\nvalid_from = 2024-03-01\n'
        'upper = "65.02 mm"\n'
    )
    plan = parse_plan(TEXT + more, "plan.toml")
    assert plan.spec_for("main_size", "FOUR", date(2019, 12, 31)) is None
    before, after = (plan.spec_for("main_size", "FOUR", d) for d in (date(2024, 2, 29), date(2024, 3, 1)))
    assert before is not None
    assert after is not None
    assert (before.lower, before.aim) == (64990, 65000)
    assert (after.upper, after.aim) == (65020, 0)


@given(
    st.dictionaries(
        st.text(st.characters(categories=("L", "N")), min_size=1, max_size=5),
        st.text(st.characters(categories=("L", "N")), min_size=1, max_size=3),
        max_size=4,
    )
)
def test_position_texts_read_back(axes: dict[str, str]) -> None:
    assert parse_position(position_key(tuple(axes), tuple(axes.values()))) == axes


def test_a_log_scale_means_the_lognormal_shape_unless_another_is_named(plan: Plan) -> None:
    feature = plan.features["main_size"]
    assert feature.told_by is None
    assert feature.model_copy(update={"scale": "log"}).told_by == "lognormal"
    assert feature.model_copy(update={"scale": "log", "shape": "weibull"}).told_by == "weibull"
    assert feature.model_copy(update={"scale": "log", "judge": "absolute"}).told_by is None


@pytest.mark.parametrize("shape", ["lognormal", "weibull"])
def test_a_shape_above_nought_has_no_limit_below_it(shape: str) -> None:
    text = TEXT.replace('kind = "size"   ', f'shape = "{shape}"\nkind = "size"   ', 1).replace(
        'lower = "64.990 mm"', 'lower = "-1 mm"', 1
    )
    assert any(
        "cannot have a negative limit" in str(p) and "another shape" in str(p) for p in problems_of(text)
    )


def test_the_shapes_of_the_plan_are_those_of_the_statistics() -> None:
    named = get_args(Feature.model_fields["shape"].annotation)
    assert set(get_args(named[0])) == set(get_args(AnyShape))
