from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Connection, Inspector, create_engine, inspect

from app.errors import RecordsError
from app.records import Store, migrations, schema
from app.records.database import Database
from tests.records.examples import HERON, a_picture, a_sighting, a_start

AT = datetime(2026, 11, 25, 11, 30, tzinfo=UTC)


def add_notes(connection: Connection) -> None:
    connection.exec_driver_sql("ALTER TABLE runs ADD COLUMN note TEXT NOT NULL DEFAULT ''")


def add_places(connection: Connection) -> None:
    connection.exec_driver_sql("ALTER TABLE runs ADD COLUMN place TEXT")


def fail_half_way(connection: Connection) -> None:
    connection.exec_driver_sql("ALTER TABLE runs ADD COLUMN half TEXT")
    connection.exec_driver_sql("THIS IS NO STATEMENT")


@pytest.fixture
def old_file(tmp_path: Path) -> Path:
    """Records of version 1, with a run in them."""
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        store.append(run_id, a_sighting(), [a_picture()])
        store.save_machine(HERON)
    return tmp_path / "records.sqlite"


@pytest.fixture
def database(old_file: Path) -> Iterator[Database]:
    opened = Database(old_file, busy_timeout_s=5.0)
    yield opened
    opened.close()


def version_of(path: Path) -> int:
    with closing(sqlite3.connect(path)) as connection:
        return int(connection.execute("PRAGMA user_version").fetchone()[0])


def columns_of(path: Path) -> set[str]:
    with closing(sqlite3.connect(path)) as connection:
        return {row[1] for row in connection.execute("PRAGMA table_info(runs)")}


def shape(tables: Inspector, table: str) -> list[object]:
    """All that a table's definition says, in an order that does not matter."""
    columns = [(c["name"], str(c["type"]), c["nullable"]) for c in tables.get_columns(table)]
    keys = sorted(
        (tuple(k["constrained_columns"]), k["referred_table"], tuple(k["referred_columns"]))
        for k in tables.get_foreign_keys(table)
    )
    indexes = sorted((str(i["name"]), tuple(i["column_names"])) for i in tables.get_indexes(table))
    checks = sorted(str(c["sqltext"]) for c in tables.get_check_constraints(table))
    return [columns, tables.get_pk_constraint(table), keys, indexes, checks]


def test_the_newest_migration_leaves_the_tables_of_the_schema(old_file: Path) -> None:
    migrated = create_engine(f"sqlite:///{old_file}")
    wanted = create_engine("sqlite://")
    schema.METADATA.create_all(wanted)
    found, meant = inspect(migrated), inspect(wanted)

    assert found.get_table_names() == meant.get_table_names()
    for table in meant.get_table_names():
        assert shape(found, table) == shape(meant, table)
    migrated.dispose()
    wanted.dispose()


def test_a_new_file_is_made_in_the_present_version_without_a_copy(tmp_path: Path) -> None:
    Store(tmp_path).close()

    assert version_of(tmp_path / "records.sqlite") == len(migrations.STEPS)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["incoming", "records.sqlite"]


def test_an_old_file_is_led_through_each_step_with_a_copy_before_it(
    old_file: Path, database: Database
) -> None:
    steps = (migrations.create, add_notes, add_places)

    copies = migrations.migrate(database, now=lambda: AT, steps=steps)

    assert [copy.name for copy in copies] == [
        "records-version-1-20261125-113000.sqlite",
        "records-version-2-20261125-113000.sqlite",
    ]
    assert [version_of(copy) for copy in copies] == [1, 2]
    assert version_of(old_file) == 3
    assert {"note", "place"} <= columns_of(old_file)
    assert migrations.migrate(database, now=lambda: AT, steps=steps) == ()


def test_the_copy_holds_what_the_old_file_held(
    tmp_path: Path, old_file: Path, database: Database
) -> None:
    (copy,) = migrations.migrate(database, now=lambda: AT, steps=(migrations.create, add_notes))
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    copy.rename(elsewhere / "records.sqlite")

    with Store(elsewhere) as store:
        (run,) = store.runs()
        assert store.entries(run.run_id)[1].fact == a_sighting()
        assert store.machine("Heron") == HERON


def test_an_earlier_copy_is_never_overwritten(old_file: Path, database: Database) -> None:
    earlier = old_file.with_name("records-version-1-20261125-113000.sqlite")
    earlier.write_text("an earlier copy")

    (copy,) = migrations.migrate(database, now=lambda: AT, steps=(migrations.create, add_notes))

    assert earlier.read_text() == "an earlier copy"
    assert copy.name == "records-version-1-20261125-113000-2.sqlite"


def test_a_step_that_fails_leaves_the_file_as_it_was(old_file: Path, database: Database) -> None:
    with pytest.raises(RecordsError):
        migrations.migrate(database, now=lambda: AT, steps=(migrations.create, fail_half_way))

    assert version_of(old_file) == 1
    assert "half" not in columns_of(old_file)
    with Store(old_file.parent) as store:
        assert store.runs()[0].n_facts == 2


def test_a_file_of_a_newer_program_is_refused_and_left_alone(old_file: Path) -> None:
    with closing(sqlite3.connect(old_file)) as connection:
        connection.execute("PRAGMA user_version = 7")
    before = old_file.read_bytes()

    with pytest.raises(RecordsError, match=r"newer version of the program .*version 7") as caught:
        Store(old_file.parent)

    assert caught.value.code == "records-newer"
    assert old_file.read_bytes() == before


def test_a_database_of_another_program_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE songs (name TEXT)")
    before = path.read_bytes()

    with pytest.raises(RecordsError, match="database of another program") as caught:
        Store(tmp_path)

    assert caught.value.code == "records-foreign"
    assert path.read_bytes() == before
