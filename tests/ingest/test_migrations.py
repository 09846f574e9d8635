"""A store of any earlier version of the program is brought up to date: wholly, once, and with all it held."""

from pathlib import Path

import duckdb
import pytest

from ingest.shop.shop import Shop
from ingest.storage import store as store_module
from ingest.storage.store import NewerStore, Store, migrations
from tests.ingest.small_shop import PLAN, day_files, parts

KNOWN = migrations()
EARLIER = range(1, len(KNOWN))


def schema(path: Path) -> list[tuple]:
    connection = duckdb.connect(str(path), read_only=True)
    told = connection.execute(
        "select table_name, column_name, data_type, is_nullable from duckdb_columns() where not internal "
        "order by all"
    ).fetchall()
    connection.close()
    return told


def content(path: Path, tables: list[str]) -> dict[str, list[tuple]]:
    connection = duckdb.connect(str(path), read_only=True)
    told = {t: sorted(map(repr, connection.execute(f"select * from {t}").fetchall())) for t in tables}
    connection.close()
    return told  # type: ignore[return-value]


@pytest.fixture(scope="module")
def current(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop as this version leaves it."""
    folder = tmp_path_factory.mktemp("shop") / "shop"
    shop = Shop.create(folder, PLAN)
    shop.take_in_batches(day_files(parts(6)))
    shop.close()
    return folder


def as_of_version(number: int, current: Path, path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Write the database that an earlier version would hold of the same shop; returns its tables."""
    monkeypatch.setattr(store_module, "migrations", lambda: KNOWN[:number])
    Store.open(path).close()
    monkeypatch.undo()
    tables = sorted({row[0] for row in schema(path)} - {"schema_version"})
    connection = duckdb.connect(str(path))
    connection.execute(f"attach '{current / 'tenthwise.duckdb'}' as whole (read_only)")
    for table in tables:
        columns = ", ".join(row[1] for row in schema_of(connection, table))
        connection.execute(f"insert into {table} ({columns}) select {columns} from whole.{table}")
    connection.close()
    return tables


def schema_of(connection: duckdb.DuckDBPyConnection, table: str) -> list[tuple]:
    return connection.execute(
        "select table_name, column_name from duckdb_columns() where table_name = $1 and "
        "database_name = current_database()",
        [table],
    ).fetchall()


@pytest.mark.parametrize("number", EARLIER)
def test_every_earlier_version_is_brought_up_to_date(
    number: int, current: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "old" / "tenthwise.duckdb"
    path.parent.mkdir()
    tables = as_of_version(number, current, path, monkeypatch)
    before = content(path, tables)
    Store.open(path).close()
    Store.open(path).close()  # the second time there is nothing to do
    assert schema(path) == schema(current / "tenthwise.duckdb")
    assert content(path, tables) == before


@pytest.mark.parametrize("number", EARLIER)
def test_a_shop_with_an_older_database_opens_equal(
    number: int, current: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "shop"
    for path in current.rglob("*"):
        if path.is_file() and not path.name.startswith("tenthwise.duckdb"):
            (folder / path.relative_to(current)).parent.mkdir(parents=True, exist_ok=True)
            (folder / path.relative_to(current)).write_bytes(path.read_bytes())
    (tmp_path / "old").mkdir()
    as_of_version(number, current, tmp_path / "old" / "tenthwise.duckdb", monkeypatch)
    (tmp_path / "old" / "tenthwise.duckdb").replace(folder / "tenthwise.duckdb")
    shop = Shop.open(folder)
    digest, board = shop.digest(), shop.board()
    shop.close()
    with Shop.rebuild(folder) as rebuilt:
        assert rebuilt.digest() == digest
        assert rebuilt.board() == board


@pytest.mark.parametrize("number", EARLIER)
def test_a_migration_that_stops_half_way_changes_nothing(
    number: int, current: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "tenthwise.duckdb"
    tables = as_of_version(number, current, path, monkeypatch)
    before, columns = content(path, tables), schema(path)
    broken = [*KNOWN[:number], (number + 1, "x.sql", f"{KNOWN[number][2]}; select error('the power went')")]
    monkeypatch.setattr(store_module, "migrations", lambda: broken)
    with pytest.raises(duckdb.Error, match="the power went"):
        Store.open(path)
    monkeypatch.undo()
    assert schema(path) == columns
    assert content(path, tables) == before


def test_a_newer_database_is_left_alone_and_says_so(current: Path, tmp_path: Path) -> None:
    path = tmp_path / "tenthwise.duckdb"
    path.write_bytes((current / "tenthwise.duckdb").read_bytes())
    connection = duckdb.connect(str(path))
    connection.execute("insert into schema_version values (999, '999_future.sql')")
    connection.close()
    before = content(path, ["reading", "receipt", "schema_version"])
    with pytest.raises(NewerStore, match=r"newer version .* update the program"):
        Store.open(path)
    assert content(path, ["reading", "receipt", "schema_version"]) == before
