"""The package's public names: all there, documented, and loaded only when asked for."""

from __future__ import annotations

import doctest
import inspect
import re
import subprocess
import sys
from pathlib import Path

import pytest

import spc


@pytest.mark.parametrize("name", spc.__all__)
def test_every_public_name_exists_and_is_documented(name):
    thing = getattr(spc, name)
    assert thing is getattr(spc, name)
    if inspect.isfunction(thing) or inspect.isclass(thing):
        assert thing.__doc__


def test_importing_the_package_loads_no_library():
    code = (
        "import spc, sys; print([m for m in ('numpy', 'scipy', 'statsmodels', 'pandas') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_modules_named_after_their_function_are_reached_as_modules():
    assert spc.capability.quick.quick([1.0, 2.0]).n == 2


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no public name 'chart_of_everything'"):
        _ = spc.chart_of_everything


def test_names_are_listed_for_completion():
    assert set(spc.__all__) <= set(dir(spc))


def test_the_overview_names_what_exists():
    """Every name in backticks in the overview is public, and so can be called as it stands there."""
    named = set(re.findall(r"`([A-Za-z_0-9]+)`", spc.__doc__ or "")) - {"warnings", "assess", "quick"}
    assert len(named) > 35
    assert named <= set(spc.__all__)


def test_the_example_of_the_overview_runs():
    found = doctest.testmod(spc)
    assert (found.failed, found.attempted) == (0, 4)


def test_the_methods_table_names_what_exists_and_misses_no_function():
    """`DEVELOPERS.md` tells of every public function, and tells of none that is not there."""
    text = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.split("## Methods")[1].split("\n## ")[0]
    column = " ".join(
        row.split("|")[2] for row in section.splitlines() if row.startswith("| ") and row.count("|") > 4
    )
    named = set(re.findall(r"`([a-z][a-z_0-9]+)[`(]", column))
    assert named <= set(spc.__all__)
    functions = {name for name in spc.__all__ if inspect.isfunction(inspect.unwrap(getattr(spc, name)))}
    helpers = {
        "difference", "steps", "spread_range", "dimension", "from_base", "parse_quantity", "parse_unit", "to_base",
        "histogram_of", "overall_sigma", "bissell_interval", "rule_named", "standard_score", "large_sample_interval",
    }  # fmt: skip
    assert functions - named <= helpers
