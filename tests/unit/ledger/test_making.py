"""Ledgers are made once, brought up from older forms, backed up, restored: whole or not at all."""

import contextlib
import os
import resource
import shutil
import signal
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from cuttable.catalogue.errors import CuttableError, FileError, InputError
from cuttable.catalogue.ledger import lifecycle as life
from cuttable.catalogue.ledger.answers import find_answer, keep_answers
from cuttable.catalogue.ledger.backup import back_up
from cuttable.catalogue.ledger.creation import bring_up, make_ledger
from cuttable.catalogue.ledger.database import FORMS, Ledger, open_ledger, read_form
from cuttable.catalogue.ledger.location import Location
from cuttable.catalogue.ledger.restore import restore
from cuttable.catalogue.ledger.schema import metadata
from cuttable.catalogue.ledger.snapshot import FORM, Snapshot
from cuttable.catalogue.ledger.verify import verify
from ledger_workshop import (
    FIRST,
    START,
    Child,
    Clock,
    Databases,
    PostgresDatabases,
    Rows,
    SqliteDatabases,
    approved,
    as_backed_up,
    at_once,
    changed,
    first_release,
    older_form,
    opened,
    quick_folder,
    rows,
    run_sql,
    some_answers,
    whole_life,
)


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder for backups."""
    found = quick_folder()
    yield found
    shutil.rmtree(found)


def code_of(do: Callable[[], object]) -> str:
    """Return the code of the error that something ends with."""
    with pytest.raises(CuttableError) as caught:
        do()
    assert caught.value.remedy or caught.value.code == "file-missing"
    return caught.value.code


# --- making -----------------------------------------------------------------------------------


def test_a_new_ledger_holds_the_first_release(databases: Databases, fresh: Location) -> None:
    """Every document once, approved; the journal tells who made it."""
    assert code_of(lambda: open_ledger(fresh)) == "ledger-missing"
    assert code_of(lambda: Snapshot(fresh)) == "ledger-missing"
    make_ledger(fresh, "Ana", FIRST, clock=Clock()).close()
    ledger = opened(fresh)
    assert verify(ledger).problems == ()
    snapshot = Snapshot(fresh, at=START)
    assert {name: number for name, (number, _) in snapshot.numbers.items()} == dict.fromkeys(
        FIRST, 1
    )
    assert snapshot.files("rules") == FIRST["rules"]
    snapshot.close()
    ledger.close()
    entry = rows(databases, fresh)["journal"][0]
    assert entry[2:4] == ("Ana", "init")


def test_first_records_are_the_same_in_every_ledger(databases: Databases) -> None:
    """So that bundles can be exchanged: not who made the ledger, nor when, is in them."""
    one, two = databases.empty(), databases.empty()
    first_release(one)
    make_ledger(two, "Bo", FIRST, clock=Clock(START.replace(year=2031))).close()
    found = [rows(databases, place) for place in (one, two)]
    assert found[0]["revisions"] == found[1]["revisions"]
    assert found[0]["contents"] == found[1]["contents"]
    assert found[0]["book"] != found[1]["book"]


def test_a_ledger_is_made_once(databases: Databases, fresh: Location) -> None:
    """The second time nothing is changed."""
    first_release(fresh)
    before = rows(databases, fresh)
    assert code_of(lambda: first_release(fresh)) == "ledger-exists"
    assert rows(databases, fresh) == before


def test_two_who_make_a_ledger_at_once_make_one(databases: Databases, fresh: Location) -> None:
    """The other is told that there is one."""
    outcomes = at_once(*[lambda: first_release(fresh)] * 4)
    faults = [outcome.fault for outcome in outcomes if outcome.fault]
    assert len(faults) == 3
    assert {fault.code for fault in faults if isinstance(fault, InputError)} == {"ledger-exists"}
    assert len(rows(databases, fresh)["revisions"]) == len(FIRST)


def test_folders_of_a_ledger_are_made(folder: Path) -> None:
    """As deep as need be; where they cannot be made, that is told."""
    place = Location("sqlite", str(folder / "a" / "b c" / "ledger.db"))
    first_release(place)
    assert verify(opened(place)).problems == ()
    (folder / "file").write_text("x")
    place = Location("sqlite", str(folder / "file" / "ledger.db"))
    assert code_of(lambda: first_release(place)) == "ledger-unwritable"


@pytest.mark.parametrize("name", ["what?.db", "100%41.db", "a#b.db", "ü ö.db", "[1].db", "a'b\".db",
                                  "ledger.db?mode=ro", ":memory:"])  # fmt: skip
def test_any_name_of_a_file_is_a_place(folder: Path, name: str) -> None:
    """It is opened under its own name, by all that open it."""
    place = Location("sqlite", str(folder / name))
    first_release(place)
    assert [path.name for path in folder.iterdir()] == [name]
    ledger = opened(place)
    approved(ledger, changed(ledger))
    back_up(ledger, folder / f"{name}.copy")
    ledger.close()
    restore(place, folder / f"{name}.copy", "Lee")
    snapshot = Snapshot(place, now=START.replace(year=2028))
    assert snapshot.numbers["rowan-150"][0] == 2
    snapshot.close()


def test_a_file_named_from_its_folder_is_a_place(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A path that begins in the folder where the command runs."""
    monkeypatch.chdir(folder)
    for name in ("ledger.db", ":memory:"):
        place = Location("sqlite", name)
        first_release(place)
        assert (folder / name).stat().st_size > 10_000
        ledger = opened(place)
        assert verify(ledger).problems == ()
        ledger.close()


# --- older forms ------------------------------------------------------------------------------


def shape(ledger: Ledger) -> dict[str, Any]:
    """Return what the database itself tells of the tables of a ledger."""
    from sqlalchemy import inspect

    found: dict[str, Any] = {}
    with ledger.reading() as connection:
        seen = inspect(connection)
        for name in sorted(seen.get_table_names()):
            found[name] = (
                [(item["name"], str(item["type"]), item["nullable"], item["default"])
                 for item in seen.get_columns(name)],
                seen.get_pk_constraint(name)["constrained_columns"],
                sorted(str((item["constrained_columns"], item["referred_table"]))
                       for item in seen.get_foreign_keys(name)),
                sorted(str((item["name"], item["column_names"]))
                       for item in seen.get_indexes(name)),
                sorted(str((item["name"], item["column_names"]))
                       for item in seen.get_unique_constraints(name)),
                sorted(str(item["name"]) for item in seen.get_check_constraints(name)),
            )  # fmt: skip
    return found


def test_the_form_that_is_read_is_the_last() -> None:
    """What is in force is read without the library that knows the forms."""
    assert FORMS[-1] == FORM


@pytest.mark.parametrize("form", FORMS[:-1])
def test_an_older_ledger_is_brought_up(databases: Databases, form: str) -> None:
    """It is refused until then, keeps every row, and a copy as it was is kept of a file."""
    place = databases.copy_of(f"form {form}", older_form(form))
    assert code_of(lambda: open_ledger(place)) == "ledger-older"
    assert code_of(lambda: Snapshot(place)) == "ledger-older"
    before = rows(databases, place)
    ledger = Ledger(place, clock=Clock())
    came_from, copy = bring_up(ledger)
    assert came_from == form
    after = rows(databases, place)
    for name, old in before.items():
        if name == "book":
            assert [row[:5] for row in after[name]] == [row[:5] for row in old]
        elif name != "alembic_version":
            assert after[name] == old
    if databases.kind == "sqlite":
        assert copy is not None
        assert rows(databases, Location("sqlite", str(copy))) == before
    else:
        assert copy is None
    assert verify(ledger).problems == ()
    ledger.close()
    ledger = opened(place)
    approved(ledger, changed(ledger))
    keep_answers(ledger, "Ana", some_answers(2))
    assert verify(ledger).problems == ()
    assert bring_up(ledger) == (FORMS[-1], None)
    ledger.close()


@pytest.mark.parametrize("form", FORMS[:-1])
def test_a_ledger_that_was_brought_up_is_as_a_new_one(databases: Databases, form: str) -> None:
    """Column by column, and as the description of the tables says."""
    from alembic.autogenerate import compare_metadata
    from alembic.runtime.migration import MigrationContext

    place = databases.copy_of(f"form {form}", older_form(form))
    ledger = Ledger(place)
    bring_up(ledger)
    new = opened(databases.copy_of("first", first_release))
    assert shape(ledger) == shape(new)
    assert set(shape(new)) == {*metadata.tables, "alembic_version"}
    for each in (ledger, new):
        with each.reading() as connection:
            assert compare_metadata(MigrationContext.configure(connection), metadata) == []
        each.close()


def test_two_who_bring_a_ledger_up_at_once(databases: Databases) -> None:
    """One does it, the other finds it done."""
    place = databases.copy_of("form 0001", older_form("0001"))
    outcomes = at_once(*[lambda: bring_up(Ledger(place))[0]] * 3)
    assert [outcome.fault for outcome in outcomes] == [None] * 3
    ledger = opened(place)
    assert verify(ledger).problems == ()
    ledger.close()
    if databases.kind == "sqlite":
        assert len(list(place.path.parent.glob("ledger.db.before-migration-*.copy"))) == 1


def test_a_newer_ledger_is_refused(databases: Databases) -> None:
    """It is neither read nor changed by a tool that does not know its form."""
    place = databases.copy_of("first", first_release)
    run_sql(databases, place, "UPDATE alembic_version SET version_num = '0999'")
    before = rows(databases, place)
    ledger = Ledger(place)
    for do in (lambda: open_ledger(place), lambda: Snapshot(place), lambda: bring_up(ledger),
               ):  # fmt: skip
        assert code_of(do) == "ledger-newer"
    assert code_of(lambda: make_ledger(place, "Ana", FIRST)) == "ledger-exists"
    assert rows(databases, place) == before
    ledger.close()


def test_nothing_is_brought_up_where_nothing_is(fresh: Location) -> None:
    """A missing ledger is told as missing, and stays missing."""
    ledger = Ledger(fresh)
    assert read_form(ledger) == ""
    assert code_of(lambda: bring_up(ledger)) == "ledger-missing"
    if fresh.kind == "sqlite":
        assert list(fresh.path.parent.iterdir()) == []
    ledger.close()


# --- backups ----------------------------------------------------------------------------------


@pytest.mark.parametrize("into", ["sqlite", "postgresql"])
@pytest.mark.parametrize("is_there", [True, False])
def test_a_backup_goes_into_either_database(
    databases: Databases,
    sqlite: SqliteDatabases,
    postgres: PostgresDatabases,
    folder: Path,
    into: str,
    is_there: bool,  # a ledger that is replaced
) -> None:
    """The same rows, whichever database the ledger was in, and none of what was there."""
    place = databases.copy_of("life", whole_life)
    ledger = opened(place)
    report = back_up(ledger, folder / "a.copy")
    ledger.close()
    assert report.problems == ()
    kept = rows(databases, place)
    other: Databases = sqlite if into == "sqlite" else postgres
    target = other.copy_of("first", first_release) if is_there else other.empty()
    before = rows(other, target)
    old = folder / "old.copy" if into == "postgresql" else None
    assert restore(target, folder / "a.copy", "Lee", copy=old)[0] == report
    again = opened(target)
    assert verify(again) == report._replace(entries=report.entries + 1)
    with again.reading() as connection:
        assert find_answer(connection, "7").text == some_answers(7)[6].text
    again.close()
    assert as_backed_up(rows(other, target), kept) == kept
    if is_there and old is not None:
        assert rows(sqlite, Location("sqlite", str(old))) == before
    if is_there and into == "sqlite":
        (copy,) = target.path.parent.glob("ledger.db.before-restore-*.copy")
        assert rows(other, Location("sqlite", str(copy))) == before
    other.drop()


def test_a_backup_has_a_name_of_its_own(ledger: Ledger, folder: Path) -> None:
    """A file that is there is left as it is; a folder that is not there is told."""
    target = folder / "a.copy"
    target.write_text("mine")
    assert code_of(lambda: back_up(ledger, target)) == "output-exists"
    assert target.read_text() == "mine"
    assert code_of(lambda: back_up(ledger, folder / "no" / "a.copy")) == "output-unwritable"
    assert [path.name for path in folder.iterdir()] == ["a.copy"]


def test_no_backup_is_made_of_a_damaged_ledger(
    databases: Databases, ledger: Ledger, folder: Path
) -> None:
    """A backup that cannot be restored would be found when it is needed."""
    run_sql(databases, ledger.place, "UPDATE journal SET who = 'Eve' WHERE entry = 2")
    assert code_of(lambda: back_up(ledger, folder / "a.copy")) == "ledger-damaged"
    assert list(folder.iterdir()) == []


def test_a_backup_is_one_state_of_a_busy_ledger(
    databases: Databases, ledger: Ledger, clock: Clock, folder: Path
) -> None:
    """Taken while others write, it is whole, and holds a beginning of what they wrote."""
    ledger.close()

    def work() -> None:
        mine = opened(ledger.place, Clock(clock.now), patience=60)
        for turn in range(15):
            changed(mine, mass=f"{turn + 1} kg")
            keep_answers(mine, "P", some_answers(1, turn))

    child = Child(work)
    counts: list[int] = []
    for turn in range(8):
        mine = opened(ledger.place, Clock(clock.now), patience=60)
        report = back_up(mine, folder / f"{turn}.copy")
        mine.close()
        assert report.problems == ()
        counts.append(report.entries + report.answers)
    assert child.outcome().fault is None
    assert counts == sorted(counts)
    whole = sorted(rows(databases, ledger.place)["journal"])
    for turn in range(8):
        part = rows_of(folder / f"{turn}.copy", "journal")
        assert part == whole[: len(part)]


def rows_of(path: Path, table: str) -> list[tuple[Any, ...]]:
    """Return the rows of a table of a file, in the order of their first column."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        return connection.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall()  # noqa: S608


def damage_missing(path: Path) -> None:
    path.unlink()


def damage_empty(path: Path) -> None:
    path.write_bytes(b"")


def damage_text(path: Path) -> None:
    path.write_text("To be or not to be.\n" * 900)


def damage_head(path: Path) -> None:
    content = path.read_bytes()
    path.write_bytes(b"\0" * 40 + content[40:])


def damage_cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-9000])


def damage_half(path: Path) -> None:
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])


def damage_value(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE revisions SET reason = 'x' WHERE number = 2")
        connection.commit()


def damage_other(path: Path) -> None:
    path.unlink()
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE notes (note TEXT)")
        connection.commit()


def damage_newer(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '0999'")
        connection.commit()


@pytest.mark.parametrize(
    ("damage", "code"),
    [
        (damage_missing, "file-missing"),
        (damage_empty, "backup-damaged"),
        (damage_text, "backup-damaged"),
        (damage_head, "backup-damaged"),
        (damage_cut, "backup-damaged"),
        (damage_half, "backup-damaged"),
        (damage_value, "backup-damaged"),
        (damage_other, "backup-damaged"),
        (damage_newer, "ledger-newer"),
    ],
)
def test_a_damaged_backup_is_refused(
    databases: Databases, ledger: Ledger, folder: Path,
    damage: Callable[[Path], None], code: str,
) -> None:  # fmt: skip
    """Before anything is changed; the ledger that is there stays."""
    approved(ledger, changed(ledger))
    back_up(ledger, folder / "a.copy")
    approved(ledger, changed(ledger, mass="333 kg"))
    before = rows(databases, ledger.place)
    damage(folder / "a.copy")
    assert code_of(lambda: restore(ledger.place, folder / "a.copy", "Lee")) == code
    assert rows(databases, ledger.place) == before
    assert verify(ledger).problems == ()
    if ledger.place.kind == "sqlite":
        assert [path.name for path in ledger.place.path.parent.iterdir()] == ["ledger.db"]


def read_if_it_can_be(sqlite: SqliteDatabases, place: Location) -> Rows | None:
    """Return what is in a file, if it is a database."""
    try:
        return rows(sqlite, place)
    except sqlite3.DatabaseError:
        return None


@pytest.mark.parametrize(
    "damage",
    [
        damage_empty, damage_text, damage_head, damage_cut, damage_half, damage_value,
        damage_other, damage_newer,
    ],
)  # fmt: skip
def test_a_damaged_ledger_is_restored(
    sqlite: SqliteDatabases, folder: Path, damage: Callable[[Path], None]
) -> None:
    """Whatever is wrong with the file; what it was is kept beside it."""
    place = sqlite.copy_of("life", whole_life)
    ledger = opened(place)
    report = back_up(ledger, folder / "a.copy")
    ledger.close()
    kept = rows(sqlite, place)
    damage(place.path)
    damaged, found = place.path.read_bytes(), read_if_it_can_be(sqlite, place)
    _, copy = restore(place, folder / "a.copy", "Lee")
    assert copy is not None
    if found is None:
        assert copy.read_bytes() == damaged
    else:
        assert rows(sqlite, Location("sqlite", str(copy))) == found
    assert as_backed_up(rows(sqlite, place), kept) == kept
    ledger = opened(place)
    assert verify(ledger) == report._replace(entries=report.entries + 1)
    ledger.close()
    assert {path.name for path in place.path.parent.iterdir()} == {"ledger.db", copy.name}
    sqlite.drop()


@pytest.mark.parametrize("form", FORMS[:-1])
def test_a_backup_goes_over_an_older_file(sqlite: SqliteDatabases, folder: Path, form: str) -> None:
    """It is replaced, form and all, and kept as a copy."""
    ledger = opened(sqlite.copy_of("life", whole_life))
    report = back_up(ledger, folder / "a.copy")
    ledger.close()
    place = sqlite.copy_of(f"form {form}", older_form(form))
    before = rows(sqlite, place)
    _, copy = restore(place, folder / "a.copy", "Lee")
    assert rows(sqlite, Location("sqlite", str(copy))) == before
    ledger = opened(place)
    assert verify(ledger) == report._replace(entries=report.entries + 1)
    ledger.close()
    sqlite.drop()


def test_an_older_database_is_not_replaced(postgres: PostgresDatabases, folder: Path) -> None:
    """Of a database no copy can be kept, so it is brought up first."""
    ledger = opened(postgres.copy_of("life", whole_life))
    back_up(ledger, folder / "a.copy")
    ledger.close()
    place = postgres.copy_of("form 0001", older_form("0001"))
    before = rows(postgres, place)
    assert code_of(lambda: restore(place, folder / "a.copy", "Lee")) == "ledger-older"
    assert rows(postgres, place) == before
    postgres.drop()


def test_an_older_backup_says_how_to_bring_it_up(
    databases: Databases, sqlite: SqliteDatabases, folder: Path
) -> None:
    """And can be restored once it was."""
    shutil.copy(sqlite.copy_of("form 0002", older_form("0002")).path, folder / "a.copy")
    place = databases.copy_of("first", first_release)
    assert code_of(lambda: restore(place, folder / "a.copy", "Lee")) == "ledger-older"
    backup = Ledger(Location("sqlite", str(folder / "a.copy")))
    bring_up(backup)
    backup.close()
    restore(place, folder / "a.copy", "Lee", copy=folder / "old.copy")
    ledger = opened(place)
    assert verify(ledger).problems == ()
    ledger.close()


def test_a_restore_waits_for_who_writes(
    databases: Databases, ledger: Ledger, clock: Clock, folder: Path
) -> None:
    """A writer's change is in the copy, or in the ledger after: none is lost between."""
    back_up(ledger, folder / "a.copy")
    ledger.close()
    reading, writing = os.pipe()

    def work() -> int:
        mine = opened(ledger.place, Clock(clock.now), patience=60)
        with mine.writing("Ana") as transaction:
            os.write(writing, b"x")
            os.read(reading_2, 1)  # until the restore waits
            made = life.draft(transaction, "rowan-150", None, reason="while restoring")
        return made.number

    reading_2, writing_2 = os.pipe()
    child = Child(work)
    os.read(reading, 1)
    old = folder / "old.copy"
    restoring = Child(lambda: restore(ledger.place, folder / "a.copy", "Lee", copy=old)[1])
    os.write(writing_2, b"x")
    assert child.outcome().value == 2
    copy = restoring.outcome().value
    found = rows(databases, ledger.place)
    assert len(found["revisions"]) == len(FIRST)
    assert copy == old
    assert len(rows_of(copy, "revisions")) == len(FIRST) + 1
    for handle in (reading, writing, reading_2, writing_2):
        os.close(handle)


def test_a_restore_gives_up_on_who_writes_for_long(
    sqlite: SqliteDatabases, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The ledger stays as it is, and no copy of it is made."""
    monkeypatch.setattr("cuttable.catalogue.ledger.database.PATIENCE", 0.1)
    monkeypatch.setattr(Ledger.__init__, "__kwdefaults__", {"clock": Clock(), "patience": 0.1})
    place = sqlite.copy_of("first", first_release)
    ledger = opened(place)
    back_up(ledger, folder / "a.copy")
    ledger.close()
    before = rows(sqlite, place)
    with contextlib.closing(sqlite.raw(place)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert code_of(lambda: restore(place, folder / "a.copy", "Lee")) == "ledger-locked"
        other.execute("ROLLBACK")
    assert rows(sqlite, place) == before
    assert [path.name for path in place.path.parent.iterdir()] == ["ledger.db"]
    sqlite.drop()


def test_a_backup_gives_up_on_a_ledger_that_stays_locked(
    sqlite: SqliteDatabases, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It does not wait for ever, and leaves nothing."""
    monkeypatch.setattr("cuttable.catalogue.ledger.backup.PATIENCE", 0.1)
    place = sqlite.copy_of("first", first_release)
    ledger = opened(place)
    with contextlib.closing(sqlite.raw(place)) as other:
        other.execute("BEGIN EXCLUSIVE")
        assert code_of(lambda: back_up(ledger, folder / "a.copy")) == "ledger-locked"
    ledger.close()
    assert list(folder.iterdir()) == []
    sqlite.drop()


def test_a_full_disk_of_the_backup_is_told(ledger: Ledger, folder: Path) -> None:
    """As a fault of the backup, not of the ledger; nothing is left of it."""
    ledger.close()

    def work() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
        back_up(opened(ledger.place), folder / "a.copy")

    fault = Child(work).outcome().fault
    assert isinstance(fault, FileError)
    assert fault.code == "output-unwritable"
    assert list(folder.iterdir()) == []


def test_a_database_of_another_encoding_is_refused(postgres: PostgresDatabases) -> None:
    """It could not hold every name that people have."""
    for encoding in ("LATIN1", "SQL_ASCII"):
        name = f"ledger_{encoding.casefold()}"
        postgres.ask(
            f"CREATE DATABASE {name} ENCODING '{encoding}' LC_COLLATE 'C' LC_CTYPE 'C' "
            "TEMPLATE template0"
        )
        place = postgres.place(name)
        assert code_of(lambda place=place: first_release(place)) == "ledger-place-unknown"
        postgres.ask(f"DROP DATABASE {name} WITH (FORCE)")
