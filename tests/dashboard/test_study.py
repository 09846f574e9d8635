"""The command `study`: its contract, and that a user's mistake is answered in a sentence."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from dashboard.commands.cli import app

TABLE = Path(__file__).parents[1] / "reference" / "data" / "gauge_10x3x3.csv"


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """The published 10 x 3 x 3 study."""
    path = tmp_path / "study.csv"
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_the_contract(file: Path) -> None:
    answer = run("study", file, "--lower", "-4", "--upper", "4", "--json")
    assert answer.exit_code == 0
    told = json.loads(answer.stdout)
    variance = told["variance"]
    assert list(variance) == ["repeatability", "operator", "interaction", "reproducibility", "part", "total"]
    assert variance["interaction"] is None
    for name in ("repeatability", "operator", "reproducibility", "part", "total"):
        assert set(variance[name]) == {"estimate", "lower", "upper"}
        assert variance[name]["lower"] < variance[name]["estimate"] < variance[name]["upper"]
    assert variance["repeatability"]["estimate"] ** 0.5 == pytest.approx(0.199933, abs=2e-6)
    summed = sum(variance[name]["estimate"] for name in ("repeatability", "reproducibility", "part"))
    assert variance["total"]["estimate"] == pytest.approx(summed)
    assert told["percent_tolerance"]["estimate"] == pytest.approx(100 * 6 * 0.302373 / 8, abs=1e-3)
    assert told["percent_total_variation"]["estimate"] == pytest.approx(27.86, abs=0.01)
    assert told["ndc"]["estimate"] == 4


def test_without_limits_there_is_no_share_of_the_tolerance(file: Path) -> None:
    told = json.loads(run("study", file, "--json").stdout)
    assert told["percent_tolerance"] is None


def test_it_is_readable_and_says_what_was_done_with_the_interaction(file: Path) -> None:
    answer = run("study", file)
    assert answer.exit_code == 0
    assert "10 parts, 3 operators, 90 readings" in answer.stdout
    assert "interaction pooled with repeatability" in answer.stdout


def test_columns_stand_in_any_order_with_semicolons_and_commas(file: Path, tmp_path: Path) -> None:
    rows = [line.split(",") for line in file.read_text(encoding="utf-8").splitlines()]
    at = [rows[0].index(name) for name in ("reading", "part", "trial", "operator")]
    lines = [";".join(row[i] for i in at).replace(".", ",") for row in rows]
    other = tmp_path / "other.csv"
    other.write_text("\ufeff" + "\n".join([lines[0].upper(), *lines[1:]]), encoding="utf-8")
    first, again = run("study", file, "--json"), run("study", other, "--json")
    assert json.loads(again.stdout) == json.loads(first.stdout)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("part,operator,reading\n1,a,2\n", "no column 'trial'"),
        ("part,operator,trial,reading\n1,a,1,x\n", "line 2 holds 'x', which is no number"),
        ("part,operator,trial,reading\n1,a,1\n", "line 2 has 3 cells where 4 are expected"),
        ("part,operator,trial,reading\n1,,1,5\n", "line 2 has no operator"),
        (
            "part,operator,trial,reading\n1,a,1,5\n1,a,1,6\n",
            "line 3 repeats trial 1 of part 1 by a from line 2",
        ),
        ("part,operator,trial,reading\n", "no reading below its line of names"),
        ("part,operator,trial,reading\n1,a,1,5\n1,a,2,6\n", "needs at least 2 parts; got 1"),
        ("part,operator,trial,reading\n1,a,1,5\n1,a,2,5\n2,a,1,5\n2,a,2,5\n", "all readings are equal"),
        ("", "is empty"),
    ],
)
def test_a_mistake_in_the_file_is_answered_in_a_sentence(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "study.csv"
    path.write_text(text, encoding="utf-8")
    answer = run("study", path)
    assert answer.exit_code == 2
    assert words in answer.stderr
    assert "Traceback" not in answer.output


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--lower", "4", "--upper", "-4"), "wrong way round"),
        (("--separator", "dot"), "not a separator"),
        (("--decimal", "x"), "not a decimal mark"),
    ],
)
def test_a_mistake_in_the_options_is_answered_in_a_sentence(
    file: Path, options: tuple[str, ...], words: str
) -> None:
    answer = run("study", file, *options)
    assert (answer.exit_code, words in answer.stderr) == (2, True)


def test_no_such_file(tmp_path: Path) -> None:
    answer = run("study", tmp_path / "none.csv")
    assert (answer.exit_code, "cannot be read" in answer.stderr) == (2, True)


def test_quick_looks_for_more_patterns_when_asked(tmp_path: Path) -> None:
    path = tmp_path / "ra.csv"
    path.write_text(
        "x\n" + "\n".join(str(v) for v in (5, 6, 5, 6, 5, 6, 7, 8, 9, 10, 11, 12)), encoding="utf-8"
    )
    asked = run("quick", path, "--column", "x", "--rule", "six in a row rising or falling", "--json")
    told = json.loads(asked.stdout)
    assert told["signals"][-1]["rule"] == "six in a row rising or falling"
    assert told["rules"]["in_control_run_length"] < 371
    assert "every" in run("quick", path, "--column", "x", "--rule", "all").stdout
    wrong = run("quick", path, "--column", "x", "--rule", "seven")
    assert wrong.exit_code == 2
    assert "nine in a row on one side" in wrong.stderr


def test_quick_tells_the_capability_by_the_shape_that_is_named(tmp_path: Path) -> None:
    path = tmp_path / "rpk.csv"
    path.write_text("x\n" + "\n".join(str(0.1 * k * k) for k in range(1, 31)), encoding="utf-8")
    limit = ("--column", "x", "--upper", "200")
    told = json.loads(run("quick", path, *limit, "--shape", "Weibull", "--json").stdout)
    assert told["distribution"]["name"] == "weibull"
    assert told["capability"]["cpk"] is None
    ppk = told["capability"]["ppk"]
    assert ppk["lower"] < ppk["estimate"] < ppk["upper"]
    assert "by the weibull shape" in run("quick", path, *limit, "--shape", "weibull").stdout
    wrong = run("quick", path, *limit, "--shape", "gamma")
    assert wrong.exit_code == 2
    assert "choose normal, lognormal" in wrong.stderr
