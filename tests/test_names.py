"""The program knows no shop: every name of the demonstration stays in its plan and its exports."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def demonstration_names() -> set[str]:
    """What only the demonstration shop would say: its shop, machines, gauges, families, people and masters."""
    plan = tomllib.loads((ROOT / "sample_data" / "plan.toml").read_text(encoding="utf-8-sig"))
    names = {plan["shop"]["name"], *plan["people"]}
    for table in ("machines", "gauges", "families", "masters"):
        names |= set(plan[table])
    names |= {family["name"] for family in plan["families"].values()}
    return names | {"QB-", "K-27", "K-33", "D-04", "2024-09-02", "2025-11-03", "2025-10-31"}


def test_the_names_of_the_demonstration_occur_nowhere_in_the_program() -> None:
    names = demonstration_names()
    assert len(names) > 20
    pattern = re.compile(
        r"(?<![A-Za-z0-9])(" + "|".join(re.escape(name) for name in sorted(names)) + r")(?![A-Za-z0-9])"
    )
    found = []
    for package in ("spc", "ingest", "dashboard"):
        for path in sorted((ROOT / package).rglob("*")):
            if path.suffix in {".py", ".sql", ".toml", ".css", ".js", ".html"}:
                for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
                    if match := pattern.search(line):
                        found.append(f"{path.relative_to(ROOT)}:{number} says {match.group()!r}")
    assert found == []


def test_the_top_level_holds_what_it_should_and_nothing_else() -> None:
    import subprocess

    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    visible = {name.split("/")[0] for name in tracked if not name.startswith(".")}
    assert visible == {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "spc", "dashboard", "ingest", "tests", "sample_data",
    }  # fmt: skip
