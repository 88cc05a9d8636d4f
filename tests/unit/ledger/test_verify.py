# ruff: noqa: S608 - statements made of our own words
"""What was changed in a ledger past the tool is found, and told by name."""

import contextlib
import re
from collections.abc import Iterator
from typing import Any

import pytest
from cuttable.catalogue.errors import FileError
from cuttable.catalogue.ledger.answers import find_answer, keep_answers
from cuttable.catalogue.ledger.database import Ledger
from cuttable.catalogue.ledger.location import Location
from cuttable.catalogue.ledger.schema import metadata
from cuttable.catalogue.ledger.signing import trust
from cuttable.catalogue.ledger.verify import verify
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ledger_workshop import (
    FIRST,
    TABLES,
    Databases,
    opened,
    rows,
    run_sql,
    some_answers,
    whole_life,
)

KEY = "sha256:" + "ab" * 32


def full_life(place: Location) -> None:
    """Make a ledger in which everything has happened, with a key that is trusted."""
    whole_life(place)
    ledger = opened(place)
    with ledger.writing("Ana") as writing:
        trust(writing, KEY, "Hollin")
    answer = some_answers(1, start=7)[0]._replace(files={"own.toml": b"schema = 1\n"})
    keep_answers(ledger, "Dee", [answer])
    ledger.close()


@pytest.fixture
def place(databases: Databases) -> Location:
    """A ledger in which everything has happened."""
    return databases.copy_of("full life", full_life)


def problems(place: Location) -> tuple[str, ...]:
    """Return what verifying finds; a database that cannot be read is found too."""
    ledger = opened(place)
    try:
        return verify(ledger).problems
    except FileError as fault:
        assert fault.code == "ledger-damaged"
        return (f"database: {fault.what}",)
    finally:
        ledger.close()


def test_what_nobody_touched_is_whole(place: Location) -> None:
    """Everything is counted, nothing is wrong."""
    ledger = opened(place)
    report = verify(ledger)
    ledger.close()
    assert report.problems == ()
    assert (report.revisions, report.answers) == (9, 8)
    assert report.entries == 21
    assert report.contents > len(FIRST)


ROWAN_2 = "document = 'rowan-150' AND number = 2"
TAMPERINGS = [
    *(
        (f"UPDATE revisions SET {column} = {value} WHERE {ROWAN_2}", "rowan-150/2: ")
        for column, value in {
            "base": "0", "reason": "'another'", "evidence": "'another'", "author": "'Bo'",
            "editors": "'Eve'", "drafted": "'2026-12-01T00:00:00.000000Z'",
            "submitted": "'2026-12-01T00:00:00.000000Z'", "wanted": "effective",
            "approver": "'Eve'", "approved": "'2026-12-01T00:00:00.000000Z'",
            "effective": "'2026-11-30T00:00:00.000000Z'", "impact": "content",
            "without_impact": "'nobody asked'", "previous": "''", "digest": "previous",
            "entry": "1", "state": "'withdrawn'", "content": "'sha256:0'",
        }.items()
    ),
    (
        f"UPDATE revisions SET content = (SELECT r.content FROM revisions r WHERE "
        f"r.document = 'rowan-150' AND r.number = 1) WHERE {ROWAN_2}",
        "rowan-150/2: changed after it was approved",
    ),
    (f"DELETE FROM revisions WHERE {ROWAN_2}", "rowan-150/2: missing"),
    (f"UPDATE revisions SET number = 12 WHERE {ROWAN_2}", "rowan-150/2: missing"),
    (f"UPDATE revisions SET document = 'x' WHERE {ROWAN_2}", "x/2: the journal tells nothing"),
    ("UPDATE revisions SET number = number + 7 WHERE number IN (2, 3)",
     "rowan-150/2: "),
    ("UPDATE revisions SET author = 'Eve' WHERE document = 'larch-610'",
     "larch-610/1: is not what the journal says"),
    ("UPDATE revisions SET editors = '' WHERE document = 'rowan-150'", "rowan-150/3: changed"),
    ("UPDATE revisions SET reason = 'x' WHERE state = 'draft'", "alder-320/2: is not what"),
    ("UPDATE revisions SET state = 'approved' WHERE document = 'larch-610'",
     "larch-610/1: is approved, though the journal says submitted"),
    ("UPDATE revisions SET state = 'submitted' WHERE state = 'withdrawn'",
     "rowan-150/4: is submitted, though the journal says withdrawn"),
    ("UPDATE contents SET body = (SELECT c.body FROM contents c WHERE c.digest != contents.digest"
     " AND c.packing = 'file' LIMIT 1)"
     f" WHERE digest = (SELECT content FROM revisions WHERE {ROWAN_2})", "content sha256:"),
    (f"DELETE FROM contents WHERE digest = (SELECT content FROM revisions WHERE {ROWAN_2})",
     "rowan-150/2: its content is missing"),
    ("DELETE FROM contents WHERE digest = (SELECT impact FROM revisions WHERE impact != '')",
     "rowan-150/3: its report is missing"),
    ("UPDATE contents SET packing = 'set' "
     "WHERE digest = (SELECT impact FROM revisions WHERE impact != '')", "content sha256:"),
    ("UPDATE contents SET packing = 'sett' "
     "WHERE digest = (SELECT impact FROM revisions WHERE impact != '')", "content sha256:"),
    ("DELETE FROM contents WHERE digest = (SELECT pattern FROM answers WHERE answer = 1)",
     "answer 1: the content it needs is missing"),
    ("DELETE FROM journal WHERE entry = 7", "journal: entry 7 is missing"),
    ("DELETE FROM journal WHERE entry IN (8, 9)", "journal: entries 8 to 9 are missing"),
    ("DELETE FROM journal WHERE entry = 1", "journal: entry 1 is missing"),
    ("DELETE FROM journal WHERE entry = 21", "journal: entry 21 is missing"),
    ("DELETE FROM journal", "journal: entries 1 to 21 are missing"),
    ("UPDATE journal SET entry = 22 WHERE entry = 21", "journal: entry 21 is missing"),
    ("UPDATE journal SET who = 'Eve' WHERE entry = 7",
     "journal, entry 7: changed after it was written"),
    ("UPDATE journal SET previous = '' WHERE entry = 7", "journal, entry 7: does not follow"),
    ("UPDATE journal SET digest = previous WHERE entry = 7", "journal, entry 8: does not follow"),
    ("UPDATE journal SET details = 'x' WHERE entry = 7", "journal, entry 7: changed"),
    ("UPDATE journal SET details = '[]' WHERE entry = 7", "journal, entry 7: changed"),
    ("UPDATE book SET entries = entries - 1",
     "journal: the last entry is not the one the ledger ends with"),
    ("UPDATE book SET entries = entries + 1", "journal: entry 22 is missing"),
    ("UPDATE book SET entries_head = ''",
     "journal: the last entry is not the one the ledger ends with"),
    ("UPDATE book SET id = 'x'", "ledger: its name is not the one its journal begins with"),
    ("UPDATE book SET last_time = '2026-12-01T08:00:00.000000Z'", "ledger: its last moment"),
    ("UPDATE book SET last_time = '2099-12-01T08:00:00.000000Z'", "ledger: its last moment"),
    ("UPDATE book SET answers = 7", "answers: the last is not the one the ledger ends with"),
    ("UPDATE book SET answers = 9", "answers: 9 to 9 missing"),
    ("UPDATE book SET answers_head = entries_head", "answers: the last is not the one"),
    ("DELETE FROM book", "ledger: the row that tells where its chains end is missing"),
    ("DELETE FROM answers WHERE answer = 3", "answers: 3 to 3 missing"),
    ("DELETE FROM answers WHERE answer = 8", "answers: 8 to 8 missing"),
    ("DELETE FROM answers", "answers: 1 to 8 missing"),
    ("UPDATE answers SET answer = 9 WHERE answer = 8", "answers: 8 to 8 missing"),
    ("UPDATE answers SET answer = 30 WHERE answer = 3", "answers: 3 to 3 missing"),
    *(
        (f"UPDATE answers SET {column} = {value} WHERE answer = 3",
         "answer 3: changed after it was kept")
        for column, value in {
            "at": "'2026-12-01T00:00:00.000000Z'", "asker": "'Eve'", "verdict": "'refused'",
            "inputs": "'{}'", "basis": "'{}'", "digest": "previous",
            "body": "(SELECT a.body FROM answers a WHERE a.answer = 4)",
        }.items()
    ),
    ("UPDATE answers SET previous = '' WHERE answer = 3", "answer 3: does not follow"),
    ("UPDATE answers SET pattern = 'x' WHERE answer = 3",
     "answer 3: the content it needs is missing"),
    ("DELETE FROM keys", f"key {KEY[:19]}…: missing, though the journal tells of it"),
    ("UPDATE keys SET name = 'Rudd'", f"key {KEY[:19]}…: the journal tells nothing of it"),
    ("INSERT INTO keys VALUES ('sha256:cd', 'Eve', '', 'Eve')",
     "key sha256:cd…: the journal tells nothing of it"),
]  # fmt: skip


@pytest.mark.parametrize(("statement", "told"), TAMPERINGS)
def test_what_was_changed_is_told_by_name(
    databases: Databases, place: Location, statement: str, told: str
) -> None:
    """Each thing that can be changed, taken out or moved by someone with the database's tools."""
    before = rows(databases, place)
    run_sql(databases, place, statement)
    assert rows(databases, place) != before
    assert [item for item in problems(place) if item.startswith(told)]


def test_the_machine_file_of_an_answer_is_missed(databases: Databases, place: Location) -> None:
    """A file given by path is needed to give the answer again."""
    digest = re.search("sha256:[0-9a-f]+", rows(databases, place)["answers"][7][5])
    assert digest
    run_sql(databases, place, f"DELETE FROM contents WHERE digest = '{digest[0]}'")
    assert problems(place) == ("answer 8: the content it needs is missing",)


def test_two_answers_that_were_swapped_are_told(databases: Databases, place: Location) -> None:
    """Whole rows, digests and all, under each other's number."""
    run_sql(
        databases,
        place,
        "UPDATE answers SET answer = 99 WHERE answer = 3",
        "UPDATE answers SET answer = 3 WHERE answer = 4",
        "UPDATE answers SET answer = 4 WHERE answer = 99",
    )
    found = problems(place)
    assert "answer 3: changed after it was kept" in found
    assert "answer 4: changed after it was kept" in found


def test_two_entries_that_were_swapped_are_told(databases: Databases, place: Location) -> None:
    """Whole rows, digests and all, under each other's number."""
    run_sql(
        databases,
        place,
        "UPDATE journal SET entry = 99 WHERE entry = 7",
        "UPDATE journal SET entry = 7 WHERE entry = 8",
        "UPDATE journal SET entry = 8 WHERE entry = 99",
    )
    found = problems(place)
    assert "journal, entry 7: changed after it was written" in found
    assert "journal, entry 8: changed after it was written" in found


def test_a_row_that_was_added_is_told(databases: Databases, place: Location) -> None:
    """A revision nobody approved, an entry and an answer after the last."""
    run_sql(
        databases,
        place,
        "INSERT INTO revisions SELECT document, 9, base, state, content, reason, evidence, author,"
        " editors, drafted, submitted, wanted, approver, approved, effective, impact,"
        f" without_impact, previous, digest, entry FROM revisions WHERE {ROWAN_2}",
        'INSERT INTO journal SELECT 22, "at", who, action, document, number, details, digest,'
        " digest FROM journal WHERE entry = 21",
        'INSERT INTO answers SELECT 9, "at", asker, verdict, inputs, basis, pattern, body, digest,'
        " digest FROM answers WHERE answer = 8",
    )
    found = problems(place)
    for told in (
        "rowan-150/9: the journal tells nothing of it", "rowan-150/9: changed after",
        "journal, entry 22: changed", "journal: the last entry is not the one",
        "answer 9: changed", "answers: the last is not the one",
    ):  # fmt: skip
        assert [item for item in found if item.startswith(told)], told


def test_a_name_finds_only_the_answer_that_bears_it(databases: Databases, place: Location) -> None:
    """The index of names is in no chain: a wrong entry finds nothing, rather than the wrong."""
    name = f"{2:016x}"
    run_sql(databases, place, f"UPDATE answer_names SET answer = 5 WHERE name = '{name}'")
    ledger = opened(place)
    with ledger.reading() as connection, pytest.raises(FileError) as caught:
        find_answer(connection, name)
    with ledger.reading() as connection:
        assert find_answer(connection, f"{3:016x}").answer == 4
    ledger.close()
    assert caught.value.code == "ledger-damaged"


@pytest.mark.parametrize("body", ["x'789c'", "x''", "substr(body, 1, length(body) - 5)",
                                  "CAST(body || x'00' AS BLOB)"])  # fmt: skip
def test_an_answer_that_is_not_whole_is_not_given(
    databases: Databases, place: Location, body: str
) -> None:
    """Cut off or added to, it is told as damaged."""
    if databases.kind == "postgresql":
        body = re.sub("x'([^']*)'", r"'\\x\1'::bytea", body).replace("BLOB", "bytea")
    run_sql(databases, place, f"UPDATE answers SET body = {body} WHERE answer = 3")
    ledger = opened(place)
    with ledger.reading() as connection, pytest.raises(FileError) as caught:
        find_answer(connection, "3")
    ledger.close()
    assert caught.value.code == "ledger-damaged"


# --- any one value ----------------------------------------------------------------------------

NOT_PROVEN = {"answer_names"}
"""The index of names: what it finds is compared with what it was asked for, see above."""


@contextlib.contextmanager
def changed_value(databases: Databases, place: Location, dice: st.DataObject) -> Iterator[str]:
    """Change one value of one row to another that the database takes, and change it back."""
    table = metadata.tables[dice.draw(st.sampled_from(sorted(set(TABLES) - NOT_PROVEN)))]
    keys = [column.name for column in table.primary_key]
    names = [column.name for column in table.columns]
    mark = "?" if databases.kind == "sqlite" else "%s"
    with contextlib.closing(databases.raw(place)) as connection:
        if databases.kind == "sqlite":
            connection.execute("PRAGMA foreign_keys = OFF")
        else:
            connection.execute("SET session_replication_role = replica")
        quoted = ", ".join(f'"{name}"' for name in names)
        found = connection.execute(f"SELECT {quoted} FROM {table.name}").fetchall()
        row = dict(zip(names, dice.draw(st.sampled_from(sorted(found, key=repr))), strict=True))
        name = dice.draw(st.sampled_from(names))
        new = dice.draw(other(row[name]))
        where = " AND ".join(f'"{key}" = {mark}' for key in keys)

        def put(old: Any, value: Any) -> bool:
            query = f'UPDATE {table.name} SET "{name}" = {mark} WHERE {where}'
            key = [old if key == name else row[key] for key in keys]
            try:
                connection.execute(query, [value, *key])
            except Exception as fault:  # noqa: BLE001 - of whichever library
                assert "onstraint" in str(fault) or "too long" in str(fault), fault
                return False
            return True

        is_put = put(row[name], new)
        try:
            yield f"{table.name}.{name}: {row[name]!r} → {new!r}" if is_put else ""
        finally:
            if is_put and not put(new, row[name]):
                pytest.fail("what was changed cannot be changed back")


def other(value: Any) -> st.SearchStrategy[Any]:
    """Return values of the same kind that are not this one: near it, and far."""
    if isinstance(value, int):
        found = st.integers(value - 3, value + 3) | st.integers(-(2**31), 2**31 - 1)
    elif isinstance(value, bytes):
        places = st.integers(0, max(0, len(value) - 1))
        found = st.builds(
            lambda place, bit: (
                value[:place] + bytes([value[place] ^ bit]) + value[place + 1 :] if value else b"\0"
            ),
            places,
            st.integers(1, 255),
        ) | st.binary(max_size=40)
    else:
        text = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))
        places = st.integers(0, len(value))
        found = (
            st.builds(lambda place, new: value[:place] + new + value[place:], places, text)
            | st.builds(lambda place: value[:place] + value[place + 1 :], places)
            | text
            | st.just(value.swapcase())
        )
    return found.filter(lambda new: new != value)


@pytest.fixture
def lasting(databases: Databases) -> Iterator[Ledger]:
    """A ledger in which everything has happened, that stays open for many changes."""
    ledger = opened(databases.copy_of("full life", full_life))
    yield ledger
    ledger.close()


@settings(
    max_examples=400,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(dice=st.data())
def test_any_value_that_was_changed_is_found(
    databases: Databases, lasting: Ledger, dice: st.DataObject
) -> None:
    """Any column of any row of any table but the index of names."""
    with changed_value(databases, lasting.place, dice) as change:
        try:
            found = verify(lasting).problems
        except FileError as fault:
            assert fault.code == "ledger-damaged"
            found = (fault.what,)
        assert bool(found) == bool(change), change


@pytest.mark.parametrize("value", ["NULL", "'x'", "x'00'", "1.5", "-1", "'[]'", "9e99"])
def test_values_of_another_kind_are_found(sqlite: Databases, value: str) -> None:
    """A file's columns take values of any kind: they are told, not stumbled over."""
    place = sqlite.copy_of("full life", full_life)
    before = rows(sqlite, place)
    changes = 0
    for table in (metadata.tables[name] for name in TABLES if name not in NOT_PROVEN):
        for column in table.columns:
            with contextlib.closing(sqlite.raw(place)) as connection:
                connection.execute("PRAGMA foreign_keys = OFF")
                connection.execute("PRAGMA ignore_check_constraints = ON")
                connection.execute("BEGIN IMMEDIATE")
                try:
                    # The row that was written last: of journal and answers, the end of the chain.
                    connection.execute(
                        f'UPDATE {table.name} SET "{column.name}" = {value} '
                        f"WHERE rowid = (SELECT max(rowid) FROM {table.name})"
                    )
                except Exception as fault:  # noqa: BLE001
                    assert "onstraint" in str(fault) or "mismatch" in str(fault), fault
                    connection.execute("ROLLBACK")
                    continue
                connection.execute("COMMIT")
            if rows(sqlite, place) != before:
                changes += 1
                assert problems(place), f"{table.name}.{column.name} = {value}"
            place.path.unlink()
            place = sqlite.copy_of("full life", full_life)
    sqlite.drop()
    assert changes > 0 or value == "NULL"
