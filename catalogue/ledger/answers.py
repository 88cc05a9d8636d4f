"""The log of answers: inputs, what they rested on, and the answer to the byte.

An answer is kept squeezed against an earlier one of the same kind, the pattern, because most of
an answer is what answers have in common; the pattern itself is kept among the contents.
"""

import json
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from hashlib import sha256
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from sqlalchemy import func, insert, select, update

from ..errors import FileError, InputError
from . import schema
from .blobs import keep, kept
from .records import person

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from .database import Ledger

WINDOW: Final = 32_000
"""Bytes of a pattern that squeezing can use."""


class Kept(NamedTuple):
    """An answer as it was given.

    Attributes:
        answer: its number in the ledger.
        inputs: what was asked, as JSON can hold it.
        basis: what it rested on: ``at``, ``entries``, ``day`` of the rules, ``tool``, digests,
            and the machine files that were given by path.
        text: the answer, as ``check --json`` printed it.
    """

    answer: int
    at: str
    asker: str
    verdict: str
    inputs: dict[str, Any]
    basis: dict[str, Any]
    text: str


class New(NamedTuple):
    """An answer to be kept.

    ``names`` are the ids of its verdicts; ``files`` machine files that were given by path.
    """

    verdict: str
    inputs: Mapping[str, Any]
    basis: Mapping[str, Any]
    text: str
    names: Sequence[str]
    files: Mapping[str, bytes] = MappingProxyType({})


def keep_answers(ledger: "Ledger", asker: str, answers: Iterable[New]) -> list[int]:
    """Keep answers in one transaction, and return their numbers.

    Raises:
        FileError: what opening and writing tell.
    """
    numbers: list[int] = []
    name = person(asker)
    table = schema.answers
    with ledger.locked() as connection:
        row = connection.execute(select(schema.book)).mappings().one()
        at, count, head = ledger.next_moment(row["last_time"]), row["answers"], row["answers_head"]
        patterns: dict[str, tuple[str, bytes]] = {}
        rows: list[dict[str, Any]] = []
        names: list[dict[str, Any]] = []
        for new in answers:
            count += 1
            given = {path: keep(connection, {path: file}) for path, file in new.files.items()}
            inputs, basis = _json(new.inputs), _json({**new.basis, "files": given})
            kind = f"{new.basis.get('tool')}, {new.basis.get('rules')}"
            if kind not in patterns:
                patterns[kind] = _pattern(connection, kind, new.text.encode())
            pattern, known = patterns[kind]
            body = _squeezed(new.text.encode(), known)
            fields = (count, at, name, new.verdict, inputs, basis, pattern)
            digest = answer_digest(*fields, body, head)
            rows.append(dict(zip(table.c.keys(), (*fields, body, head, digest), strict=True)))
            names += [{"name": item, "answer": count} for item in dict.fromkeys(new.names)]
            head = digest
            numbers.append(count)
        if rows:
            connection.execute(insert(table), rows)
            connection.execute(
                update(schema.book).values(last_time=at, answers=count, answers_head=head)
            )
        if names:
            connection.execute(insert(schema.answer_names), names)
    return numbers


def answer_digest(
    answer: int, at: str, asker: str, verdict: str, inputs: str, basis: str, pattern: str,
    body: bytes, previous: str,
) -> str:  # fmt: skip
    """Return the digest of a kept answer: that of its fields and of its body."""
    fields = (
        f"{answer}\n{at}\n{asker}\n{verdict}\n{inputs}\n{basis}\n{pattern}\n{previous}"
    ).encode()
    # As the digest of any contents; at one go, because a ledger has millions of answers.
    parts = (len(fields).to_bytes(8, "big"), fields, len(body).to_bytes(8, "big"), body)
    return f"sha256:{sha256(b''.join(parts)).hexdigest()}"


def find_answer(connection: "Connection", name: str) -> Kept:
    """Return an answer by its number in the ledger, or by the id of one of its verdicts.

    Raises:
        InputError: ``answer-unknown``.
        FileError: ``ledger-damaged``.
    """
    wanted = name.strip().casefold()
    table, names = schema.answers, schema.answer_names
    number: int | None = int(wanted) if wanted.isdecimal() and len(wanted) < 10 else None
    is_named = len(wanted) == 16
    if is_named:
        number = connection.execute(
            select(func.max(names.c.answer)).where(names.c.name == wanted)
        ).scalar()
    row = None
    if number is not None:
        row = connection.execute(select(table).where(table.c.answer == number)).mappings().first()
    if row is None:
        count = connection.execute(select(schema.book.c.answers)).scalar() or 0
        told = f"It has answers 1 to {count}." if count else "It keeps none yet: check --keep."
        raise InputError(
            "answer-unknown", f"the ledger keeps no answer {name.strip()[:40]!r}", remedy=told
        )
    found = _kept(connection, row, {})
    if is_named and f'"{wanted}"' not in found.text:
        # The index of names is not in the chain of answers; what it finds must bear the name.
        raise _unreadable(row["answer"], "has no verdict of this id")
    return found


def count_of(connection: "Connection") -> int:
    """Return how many answers are kept."""
    return int(connection.execute(select(schema.book.c.answers)).scalar() or 0)


def recent(
    connection: "Connection", most: int, skip: int = 0
) -> list[tuple[int, str, str, str, dict[str, Any]]]:
    """Return number, time, asker, verdict and inputs of the answers given last.

    Args:
        connection: of the ledger.
        most: how many.
        skip: how many of the last are left out.
    """
    table = schema.answers
    rows = connection.execute(
        select(table.c.answer, table.c.at, table.c.asker, table.c.verdict, table.c.inputs)
        .order_by(table.c.answer.desc())
        .limit(most)
        .offset(skip)
    )
    return [(row[0], row[1], row[2], row[3], json.loads(row[4])) for row in rows]


def inputs_of_all(connection: "Connection", step: int = 50_000) -> Iterator[tuple[int, str]]:
    """Yield number and inputs (JSON) of every answer, in order."""
    table = schema.answers
    last = 0
    while True:
        rows = connection.execute(
            select(table.c.answer, table.c.inputs)
            .where(table.c.answer > last).order_by(table.c.answer).limit(step)
        ).all()  # fmt: skip
        if not rows:
            return
        yield from ((row[0], row[1]) for row in rows)
        last = rows[-1][0]


def given_files(connection: "Connection", answer: Kept) -> dict[str, bytes]:
    """Return the machine files that were given by path, as they were.

    Raises:
        FileError: ``ledger-damaged``.
    """
    files: dict[str, bytes] = {}
    for path, digest in answer.basis.get("files", {}).items():
        (files[path],) = kept(connection, digest, path).values()
    return files


def _kept(connection: "Connection", row: Mapping[Any, Any], patterns: dict[str, bytes]) -> Kept:
    digest = row["pattern"]
    if digest not in patterns:
        (patterns[digest],) = kept(connection, digest, "an answer").values()
    try:
        text = _opened(bytes(row["body"]), patterns[digest]).decode()
        inputs, basis = json.loads(row["inputs"]), json.loads(row["basis"])
    except (zlib.error, ValueError):
        raise _unreadable(row["answer"], "cannot be read") from None
    return Kept(row["answer"], row["at"], row["asker"], row["verdict"], inputs, basis, text)


def _unreadable(answer: int, what: str) -> FileError:
    return FileError(
        "ledger-damaged", f"answer {answer} {what}",
        remedy="See what else is wrong: cuttable ledger verify.",
    )  # fmt: skip


def _pattern(connection: "Connection", kind: str, text: bytes) -> tuple[str, bytes]:
    """Return the pattern in use for answers of a kind, else make this answer the pattern."""
    table = schema.answers
    row = connection.execute(
        select(table.c.answer, table.c.pattern, table.c.basis)
        .order_by(table.c.answer.desc()).limit(1)
    ).first()  # fmt: skip
    if row is not None:
        try:
            basis = json.loads(row[2])
            is_kind = f"{basis.get('tool')}, {basis.get('rules')}" == kind
        except (ValueError, AttributeError):
            raise _unreadable(row[0], "cannot be read") from None
        if is_kind:
            (known,) = kept(connection, row[1], "an answer").values()
            return row[1], known
    known = text[-WINDOW:]
    return keep(connection, {"pattern": known}), known


def _squeezed(text: bytes, pattern: bytes) -> bytes:
    squeezer = zlib.compressobj(6, zdict=pattern)
    return squeezer.compress(text) + squeezer.flush()


def _opened(body: bytes, pattern: bytes) -> bytes:
    opener = zlib.decompressobj(zdict=pattern)
    text = opener.decompress(body) + opener.flush()
    if not opener.eof or opener.unused_data:
        raise zlib.error
    return text


def _json(value: Mapping[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
