"""The packages keep one direction (spc <- ingest <- dashboard) and spc stays pure computation."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("spc", "ingest", "dashboard", "sample_data")

MAY_IMPORT = {
    "spc": set(),
    "ingest": {"spc"},
    "dashboard": {"spc", "ingest", "sample_data"},
    "sample_data": set(),
}
FLOORS = {
    "spc": [{""}, {"charts", "score", "wear", "change", "faults"}, {"capability"}, {"gauges"}],
    "ingest": [
        {""},
        {"answers", "plans"},
        {"storage", "layouts", "readings"},
        {"intake", "assessing"},
        {"state"},
        {"views", "month", "service"},
        {"gauges"},
        {"shop"},
    ],
    "dashboard": [{""}, {"words"}, {"figures"}, {"reports"}, {"work"}, {"pages"}, {"serving"}, {"commands"}],
}
"""The folders of each package from the ground up; files beside the folders stand on the ground."""
DOORS = {"__init__.py", "__main__.py"}
"""Files that only hand on what stands above them."""
FORBIDDEN_IN_SPC = {
    "duckdb", "sqlite3", "plotly", "dash", "flask", "waitress", "time", "datetime", "pathlib", "os", "io",
    "shutil", "tempfile", "subprocess", "socket", "urllib", "random", "csv", "json", "logging", "threading",
}  # fmt: skip
FORBIDDEN_IN_INGEST = {"dash", "plotly", "flask", "waitress", "typer", "scipy", "statsmodels"}
FORBIDDEN_IN_DASHBOARD = {"duckdb", "scipy", "statsmodels"}


def sources(package: str) -> list[Path]:
    return sorted((ROOT / package).rglob("*.py"))


def imported(path: Path) -> Iterator[tuple[int, str]]:
    """Every module a file imports, anywhere in it, by its top-level name."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name.split(".")[0]
        elif isinstance(node, ast.ImportFrom):
            assert node.level <= 1, f"{path}:{node.lineno} climbs out of its package"
            if node.level == 0 and node.module:
                yield node.lineno, node.module.split(".")[0]


def folders_imported(path: Path, package: str) -> Iterator[tuple[int, str]]:
    """The folders of its own package that a file imports from; an empty name is a file on the ground."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            parts = node.module.split(".")
            if parts[0] == package:
                for name in parts[1:2] or [alias.name for alias in node.names]:
                    yield node.lineno, name if (ROOT / package / name).is_dir() else ""


@pytest.mark.parametrize("package", PACKAGES)
def test_packages_import_only_what_lies_below_them(package: str) -> None:
    files = sources(package)
    assert files, f"{package} holds no code"
    wrong = [
        f"{path.relative_to(ROOT)}:{line} imports {name}"
        for path in files
        for line, name in imported(path)
        if name in {*PACKAGES, "tests"} and name != package and name not in MAY_IMPORT[package]
    ]
    assert wrong == []


@pytest.mark.parametrize("package", FLOORS)
def test_a_folder_imports_only_what_stands_on_a_lower_floor(package: str) -> None:
    floor = {folder: n for n, folders in enumerate(FLOORS[package]) for folder in folders}
    found = {path.name for path in (ROOT / package).iterdir() if any(path.glob("*.py"))}
    assert found == set(floor) - {""}, "each folder of code needs its floor"
    wrong = []
    for path in sources(package):
        place = path.relative_to(ROOT / package)
        own = place.parts[0] if len(place.parts) > 1 else ""
        for line, folder in folders_imported(path, package):
            door = not own and path.name in DOORS
            if folder != own and not door and floor[folder] >= floor[own]:
                wrong.append(f"{path.relative_to(ROOT)}:{line} imports from {folder or package}/")
    assert wrong == []


@pytest.mark.parametrize(
    ("package", "forbidden"),
    [
        ("spc", FORBIDDEN_IN_SPC),
        ("ingest", FORBIDDEN_IN_INGEST),
        ("dashboard", FORBIDDEN_IN_DASHBOARD),
    ],
)
def test_each_package_stays_at_its_own_work(package: str, forbidden: set[str]) -> None:
    wrong = [
        f"{path.relative_to(ROOT)}:{line} imports {name}"
        for path in sources(package)
        for line, name in imported(path)
        if name in forbidden
    ]
    assert wrong == []


def test_spc_opens_no_file_and_draws_no_hidden_random_number() -> None:
    wrong = []
    for path in sources("spc"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                if node.func.id in {"open", "print", "input"}:
                    wrong.append(f"{path.relative_to(ROOT)}:{node.lineno} calls {node.func.id}()")
            elif (
                isinstance(node, ast.Attribute)
                and isinstance(node.value, ast.Attribute)
                and node.value.attr == "random"
                and node.attr not in {"default_rng", "Generator", "SeedSequence"}
            ):
                wrong.append(f"{path.relative_to(ROOT)}:{node.lineno} uses numpy.random.{node.attr}")
            elif isinstance(node, ast.Global):
                wrong.append(f"{path.relative_to(ROOT)}:{node.lineno} keeps global state")
    assert wrong == []


SQL = re.compile(
    r"^\s*(select\b.+\bfrom\b|insert\s+into\b|update\b.+\bset\b|delete\s+from\b|create\s+table\b)",
    re.I | re.S,
)


def test_only_ingest_speaks_sql() -> None:
    """A page or a statistic that grew a query would tie itself to the store's tables."""
    wrong = [
        f"{path.relative_to(ROOT)}:{node.lineno}: {node.value[:60]!r}"
        for package in ("spc", "dashboard")
        for path in sources(package)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and SQL.match(node.value)
    ]
    assert wrong == []
