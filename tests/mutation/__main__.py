"""Break each formula in a copy of the project and show that its tests fail.

The untouched copy must pass first, so that a failure means the break. Ends with 1 when a break goes unnoticed.
`python -m tests.mutation 3 5` tries only those numbers.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.mutation.breaks import BREAKS, Break

ROOT = Path(__file__).resolve().parents[2]
COPIED = ("spc", "tests", "pyproject.toml")
CONFTEST = """# No shop is needed here, and no clock of a busy machine is judged.
from hypothesis import settings

settings.register_profile("calm", deadline=None)
settings.load_profile("calm")
"""


def say(text: str) -> None:
    """A line for the person who runs it."""
    print(text, flush=True)  # noqa: T201 - its whole purpose is to print


def copy_project(place: Path) -> None:
    """The package and its tests, without what earlier runs left behind."""
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, place / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(source, place / name)
    (place / "tests" / "conftest.py").write_text(CONFTEST, encoding="utf-8")


def run(place: Path, tests: tuple[str, ...]) -> tuple[int, str]:
    """Exit code of the tests in a copy, and the first that failed."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
    done = subprocess.run(command, cwd=place, capture_output=True, text=True, check=False)
    failed = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    return done.returncode, failed[0] if failed else done.stdout.strip().splitlines()[-1]


def loads_from_the_copy(place: Path) -> bool:
    """Whether Python takes the package from the copy and not from where it is installed."""
    done = subprocess.run(
        [sys.executable, "-c", "import spc; print(spc.__file__)"],
        cwd=place, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return Path(done.stdout.strip()).is_relative_to(place)


def broken(place: Path, wrong: Break) -> tuple[int, str]:
    """Break one formula, run its tests, mend it again."""
    file = place / wrong.file
    text = file.read_text(encoding="utf-8")
    if text.count(wrong.right) != 1:
        raise SystemExit(
            f"{wrong.file} holds {wrong.right!r} {text.count(wrong.right)} times where once is expected: "
            "bring tests/mutation/breaks.py up to date"
        )
    file.write_text(text.replace(wrong.right, wrong.wrong), encoding="utf-8")
    try:
        return run(place, wrong.tests)
    finally:
        file.write_text(text, encoding="utf-8")


def main(wanted: list[int]) -> int:
    """Try every break, or those that are wanted; 0 when every one was noticed."""
    chosen = [BREAKS[i - 1] for i in wanted] if wanted else list(BREAKS)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder).resolve()
        copy_project(place)
        if not loads_from_the_copy(place):
            say("the copy is not what Python loads: nothing would be proved")
            return 1
        tests = tuple(sorted({test for wrong in chosen for test in wrong.tests}))
        code, line = run(place, tests)
        if code != 0:
            say(f"the tests fail before anything is broken: {line}")
            return 1
        unnoticed = 0
        for wrong in chosen:
            code, line = broken(place, wrong)
            noticed = code == 1
            unnoticed += not noticed
            say(f"{'noticed  ' if noticed else 'UNNOTICED'}  {wrong.formula}\n           {line}")
    say(f"{len(chosen) - unnoticed} of {len(chosen)} broken formulas were noticed")
    return 1 if unnoticed else 0


if __name__ == "__main__":
    sys.exit(main([int(word) for word in sys.argv[1:]]))
