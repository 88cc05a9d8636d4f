"""A ledger after years of use: 200 models of 20 revisions each, and a million kept answers.

Run by hand: ``python tests/benchmarks/ledger.py --answers 1000000``; ``--postgres`` runs a server
of its own. The ledger is built by the functions that make records, in bulk, so that verifying it
finds nothing; every answer is one that ``check --json`` gives, squeezed as ``--keep`` squeezes it.
"""

import argparse
import contextlib
import datetime as dt
import itertools
import os
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "unit" / "ledger"))

MODELS, REVISIONS = 200, 20
CODE = "rowan-150"
BEGIN = dt.datetime(2026, 12, 1, tzinfo=dt.UTC)


def build_history(ledger: Any) -> None:
    """Put models with their histories into a ledger, each revision with another limit."""
    from cuttable.catalogue.ledger.blobs import keep
    from cuttable.catalogue.ledger.lifecycle import put_approved
    from cuttable.catalogue.ledger.records import Revision, stamp
    from cuttable.catalogue.store import FOLDER

    model = (FOLDER / "models" / f"{CODE}.toml").read_text(encoding="utf-8")
    with ledger.writing("Ana") as writing:
        for number in range(MODELS):
            code, previous = f"model-{number:03d}", ""
            for turn in range(1, REVISIONS + 1):
                text = model.replace(CODE, code).replace('"280 kg"', f'"{200 + turn} kg"')
                at = stamp(BEGIN + dt.timedelta(days=turn, seconds=number))
                made = Revision(
                    code, turn, turn - 1, "approved",
                    keep(writing.connection, {"x": text.encode()}),
                    "Measured again", "report 17", "Ana", "", at, at, "", "Bo", at, at,
                    without_impact="built for measuring", previous=previous,
                )  # fmt: skip
                previous = made.own_digest()
                put_approved(writing, made._replace(digest=previous), "import")


def answer_texts(place: Any) -> list[tuple[dict[str, Any], dict[str, Any], str, str]]:
    """Return inputs, basis, verdict and text of real answers about one model."""
    from cuttable.catalogue.ledger.snapshot import Snapshot
    from cuttable.engine.answer.document import text_of
    from cuttable.engine.jobs.fields import JobText
    from cuttable.engine.review.ledger_assessor import assessor_of

    snapshot = Snapshot(place, at=BEGIN)
    assessor = assessor_of(snapshot)
    found: list[tuple[dict[str, Any], dict[str, Any], str, str]] = []
    sections = ["NPS 2 SCH 40", "NPS 4 SCH 40", "NPS 6 XS", "SHS 100x5 cf", "tube 60 x 3 mm"]
    lengths = [f"{300 + 7 * turn} cm" for turn in range(40)]
    for section, length in itertools.product(sections, lengths):
        answer = assessor.ask(JobText(section, length), [CODE])
        inputs = {"job": {"section": section, "length": length}, "machines": [CODE], "units": "si"}
        told = assessor.provenance
        basis = {
            "at": snapshot.mark.at, "entries": snapshot.mark.entries, "tool": told.tool,
            "rules": told.rules, "catalogue": told.catalogue, "files": {},
            "machines": [[item.machine.model, item.machine.revision, item.machine.digest]
                         for item in answer.verdicts],
        }  # fmt: skip
        found.append((inputs, basis, answer.best or "", text_of(answer)))
    snapshot.close()
    return found


def build_answers(ledger: Any, count: int) -> None:
    """Put answers into a ledger, chained as they are when each is kept by itself."""
    from cuttable.catalogue.ledger import answers as log
    from cuttable.catalogue.ledger import schema
    from cuttable.catalogue.ledger.blobs import keep
    from sqlalchemy import insert, update

    texts = answer_texts(ledger.place)
    with ledger.locked() as connection:
        known = texts[0][3].encode()[-log.WINDOW :]
        pattern = keep(connection, {"pattern": known})
        kept = [
            (log._json(inputs), log._json(basis), verdict, log._squeezed(text.encode(), known))
            for inputs, basis, verdict, text in texts
        ]
        head, at = "", ledger.next_moment(_last(connection))
        names = schema.answers.c.keys()
        for start in range(0, count, 20_000):
            rows: list[dict[str, Any]] = []
            for number in range(start + 1, min(start + 20_000, count) + 1):
                inputs, basis, verdict, body = kept[number * 7919 % len(kept)]
                fields = (number, at, "Ana", verdict, inputs, basis, pattern)
                digest = log.answer_digest(*fields, body, head)
                rows.append(dict(zip(names, (*fields, body, head, digest), strict=True)))
                head = digest
            connection.execute(insert(schema.answers), rows)
            connection.execute(
                insert(schema.answer_names),
                [{"name": f"{row['answer']:016x}", "answer": row["answer"]} for row in rows],
            )
        connection.execute(
            update(schema.book).values(last_time=at, answers=count, answers_head=head)
        )
    sizes = [len(body) for *_, body in kept]
    full = [len(text) for *_, text in texts]
    print(f"an answer is {statistics.mean(full):,.0f} bytes, kept in {statistics.mean(sizes):,.0f}")


def _last(connection: Any) -> str:
    from cuttable.catalogue.ledger import schema
    from sqlalchemy import select

    return str(connection.execute(select(schema.book.c.last_time)).scalar())


def measure(name: str, bar: float, do: Callable[[], object], turns: int = 21) -> None:
    """Print how long something takes, again and again, the first time not counted.

    Median and longest by the clock on the wall, and the median of this process's own work: on a
    machine that does other things too, the wall's clock tells of them as well.
    """
    times: list[float] = []
    own: list[float] = []
    for turn in range(turns + 1):
        begin, busy = time.perf_counter(), time.process_time()
        do()
        if turn:
            times.append(time.perf_counter() - begin)
            own.append(time.process_time() - busy)
    middle = statistics.median(times)
    told = (middle, max(times), statistics.median(own), bar)
    verdict = "within" if middle <= bar else "ABOVE"
    print(f"{name:<34}" + "".join(f"{1000 * item:>10.1f}" for item in told) + f"  {verdict}")


def measure_all(ledger: Any) -> None:
    """Measure what people wait for."""
    from cuttable.catalogue.ledger.answers import find_answer, recent
    from cuttable.catalogue.ledger.history import changes, history
    from cuttable.catalogue.ledger.lifecycle import revision
    from cuttable.catalogue.ledger.snapshot import Snapshot
    from cuttable.catalogue.ledger.verify import verify
    from cuttable.engine.review.ledger_assessor import assessor_of

    def show() -> None:
        snapshot = Snapshot(ledger.place, at=BEGIN + dt.timedelta(days=11, hours=1))
        machine = assessor_of(snapshot).catalogue.machine("model-077")
        assert machine.revision == 11
        snapshot.close()

    def told() -> None:
        with ledger.reading() as connection:
            assert len(history(connection, "model-077").revisions) == REVISIONS

    def diff() -> None:
        with ledger.reading() as connection:
            old, new = (revision(connection, "model-077", number) for number in (3, 17))
            assert len(changes(connection, old, new)) == 1

    def answer() -> None:
        with ledger.reading() as connection:
            assert find_answer(connection, "7").answer == 7
            recent(connection, 20)

    def proof() -> None:
        report = verify(ledger)
        assert report.problems == (), report.problems[:3]

    print(f"{'':<34}" + "".join(f"{item:>10}" for item in ("ms", "longest", "own work", "bar")))
    measure("show a model as of a date, warm", 0.05, show)
    measure("history of a model", 0.1, told)
    measure("difference of two revisions", 0.1, diff)
    measure("an answer, and the last 20", 0.1, answer)
    measure("verify everything", 10, proof, turns=3)


@contextlib.contextmanager
def a_place(is_server: bool) -> Iterator[Any]:
    """Give a new place, and take it away with all that was built in it."""
    from cuttable.catalogue.ledger.location import Location

    if not is_server:
        folder = Path(tempfile.mkdtemp(prefix="cuttable-bench-"))
        try:
            yield Location("sqlite", str(folder / "ledger.db"))
            print(f"file of {(folder / 'ledger.db').stat().st_size / 2**20:,.0f} MiB")
        finally:
            shutil.rmtree(folder)
        return
    from ledger_workshop import PostgresDatabases, postgres_server

    with postgres_server(in_memory=False) as uri:
        yield PostgresDatabases(uri).empty()


def main() -> None:
    """Build, measure, print."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--answers", type=int, default=1_000_000)
    asked.add_argument("--postgres", action="store_true")
    options = asked.parse_args()
    from cuttable.catalogue.ledger.creation import make_ledger
    from cuttable.catalogue.ledger.shipped import brought
    from cuttable.catalogue.store import FOLDER
    from cuttable.rules.loader import FOLDER as RULES

    with a_place(options.postgres) as place:
        begin = time.perf_counter()
        ledger = make_ledger(place, "Ana", brought(FOLDER, RULES))
        build_history(ledger)
        build_answers(ledger, options.answers)
        print(f"{place.kind}: {MODELS} models, {REVISIONS} revisions each, {options.answers:,} "
              f"answers, built in {time.perf_counter() - begin:.0f} s; "
              f"{os.cpu_count()} processors")  # fmt: skip
        measure_all(ledger)
        ledger.close()


if __name__ == "__main__":
    main()
