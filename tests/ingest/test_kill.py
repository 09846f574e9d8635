"""A process killed in the middle of intake: what it acknowledged is there, whole, and the rest can follow."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.ingest.desk import Desk, long_file, long_row

FILES = [long_file(*(long_row(m, serial=f"A{1000 + n}") for m in range(30))) for n in range(60)]
ROOT = Path(__file__).resolve().parents[2]
CHILD = f"""
import sys
sys.path.insert(0, {str(ROOT)!r})
from pathlib import Path
from tests.ingest.test_kill import FILES
from tests.ingest.desk import Desk
desk = Desk(Path(sys.argv[1]))
for data in FILES:
    print(desk.one(data).id, flush=True)
"""


@pytest.mark.parametrize("acknowledged", [1, 7, 20])
def test_killed_while_taking_files_in(acknowledged: int, tmp_path: Path) -> None:
    child = subprocess.Popen([sys.executable, "-c", CHILD, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    seen = [int(child.stdout.readline()) for _ in range(acknowledged)]
    child.kill()
    seen += [int(line) for line in child.stdout.read().splitlines() if line.strip()]
    child.wait()
    child.stdout.close()
    desk = Desk(tmp_path)
    kept = desk.rows("select receipt, count(*) from reading group by receipt order by receipt")
    assert {number for number, _ in kept} >= set(seen)
    assert {rows for _, rows in kept} == {30}
    desk.take(*FILES)
    assert desk.rows("select count(*), count(distinct serial) from reading") == [(1800, 60)]
    assert desk.archive.verify() == []
    desk.close()
