"""Backlogs against the floor: reading the file and writing the answer's columns, no thinking.

Run by hand: ``python tests/benchmarks/backlog.py --rows 10000 100000 1000000``. Each case runs in
a process of its own; imports are not counted, loading catalogue and rules is. Ratios are to the
floor of the same run. ``--decide 1000000`` measures the decision stage alone, ``--files 50000``
workbooks and texts, ``--impact 1000000`` two revisions of a machine over one backlog against one
batch run. ``--differ 1000000`` answers a backlog in which no row is like another and asks ``check``
for 2,000 of its rows (``--sample``): it ends with 1 where any differs.
"""

import argparse
import itertools
import json
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve()


# --- backlogs -----------------------------------------------------------------------------


def section_texts(dice: random.Random, count: int) -> list[str]:
    """Return sections as people write them: pipe, tube, hollow sections, several ways each."""
    from cuttable.catalogue.store import Catalogue

    pipes = [
        row.section().designation
        for row in Catalogue().tables.pipes.values()
        if row.standard == "ASME B36.10M" and row.od_in <= 20
    ]
    texts = [form for name in pipes for form in (name, name.lower(), name.replace(" SCH ", " S"))]
    texts += [
        f"tube {10 + 2.5 * step:g} x {wall:g} mm"
        for step in range(4, 130)
        for wall in (1.5, 2, 2.5, 3, 4, 5, 6, 8, 10)
        if 2 * wall < 10 + 2.5 * step
    ]
    texts += [f"SHS {side}x{wall} cf" for side in (40, 50, 60, 80, 100, 120, 150, 200)
              for wall in (3, 4, 5, 6, 8)]  # fmt: skip
    texts += [f"RHS {a}x{b}x{wall} cf" for a, b in ((60, 40), (100, 50), (120, 80), (150, 100))
              for wall in (3, 4, 5, 6)]  # fmt: skip
    dice.shuffle(texts)
    return texts[:count]


LENGTHS = ["6 m", "20 ft", "12 m", "40 ft", "21 ft", "6000 mm", "3 m", "24 ft", "18 ft", "8 m",
           "9 m", "10 m", "7.5 m", "4 m", "5.8 m", "11.8 m", "2.4 m", "30 ft", "19'-6\"",
           "16 ft"]  # fmt: skip
PARTS = ["2*1.2 m", "3*900 mm + 1 m", "4*1 m", "2 m", "5*600 mm", "6*24 in", "2*1.5 m + 2*400 mm"]


def make_backlog(path: Path, rows: int, kind: str) -> None:
    """Write a backlog: ``real`` repeats sections and lengths like an order book, ``worst`` none.

    ``bad`` is ``real`` with every length unreadable.
    """
    dice = random.Random(7)
    sections = section_texts(dice, 1200)
    weights = list(itertools.accumulate(1 / (place + 1) for place in range(len(sections))))
    odd = [f"{dice.randint(1000, 12500)} mm" for _ in range(180)]
    lengths = LENGTHS + odd
    usual = list(itertools.accumulate([20 / (n + 1) for n in range(len(LENGTHS))] + [0.06] * 180))
    with path.open("w", encoding="utf-8") as file:
        file.write("job,section,length,grade,quantity,parts\n")
        for start in range(0, rows, 100_000):
            count = min(100_000, rows - start)
            picked = dice.choices(sections, cum_weights=weights, k=count)
            long = dice.choices(lengths, cum_weights=usual, k=count)
            lines: list[str] = []
            for row, (section, length) in enumerate(zip(picked, long, strict=True), start=start):
                parts = ""
                if kind == "worst":
                    length = f"{1000 + 11500 * dice.random():.3f} mm"  # noqa: PLW2901
                elif length in LENGTHS and dice.random() < 0.4:
                    parts = dice.choice(PARTS)
                if kind == "bad":
                    length = f"about {length}"  # noqa: PLW2901
                grade = dice.choice(["", "", "", "A106 B"])
                quoted = length.replace('"', '""')
                lines.append(f'J{row:08d},{section},"{quoted}",{grade},{row % 40 + 1},{parts}\n')
            file.writelines(lines)


# --- cases, each in its own process -------------------------------------------------------


def case_ours(source: Path, machines: str, out: Path) -> dict[str, Any]:
    """Answer a backlog with everything assessed and supports planned."""
    import numpy as np  # noqa: F401 - imports are not counted
    import pyarrow as pa  # noqa: F401
    import pyarrow.csv as arrow_csv  # noqa: F401
    from cuttable.cli.terminal.progress import chunk_rows
    from cuttable.engine.assessor import AssessorCore
    from cuttable.engine.backlog.asked import Asked
    from cuttable.engine.backlog.pipeline import answer_all
    from cuttable.engine.backlog.readers import open_backlog
    from cuttable.engine.backlog.runner import Runner
    from cuttable.engine.backlog.writers import open_answers

    began = time.perf_counter()
    assessor = AssessorCore()
    models = assessor.machines([] if machines == "all" else machines.split(","))
    if machines == "all":
        models += [
            model._replace(code=f"{model.code}-b", digest=f"{model.digest}b") for model in models
        ]
    runner = Runner(assessor, Asked(tuple(models)))
    opened = open_backlog(source)
    answers = open_answers(out, runner.schema, typed=("job", "error_text"), key={})
    answer_all(opened, runner, answers, rows_at_once=chunk_rows(len(models)))
    answers.finish()
    runner.close()
    return {"seconds": time.perf_counter() - began, "answers": sum(runner.tally.verdicts.values())}


def case_impact(source: Path, machine: str) -> dict[str, Any]:
    """Compare two revisions of a machine over a backlog: one limit lower, one higher."""
    import numpy as np  # noqa: F401 - imports are not counted
    import pyarrow.csv as arrow_csv  # noqa: F401
    from cuttable.cli import impact_run
    from cuttable.engine.assessor import AssessorCore
    from cuttable.engine.impact.impact import Side

    began = time.perf_counter()
    assessor = AssessorCore()
    (model,) = assessor.machines([machine])
    mass, inertia = model.limit("stock_mass"), model.limit("rotary_inertia")
    limits = model.limits | {
        "stock_mass": mass._replace(rated=mass.rated * 0.8, absolute=mass.absolute * 0.8),
        "rotary_inertia": inertia._replace(absolute=inertia.absolute * 1.5),
    }
    other = model._replace(limits=limits, digest=f"{model.digest}b")
    found = impact_run.run_impact(
        Side(assessor, (model,)), Side(assessor, (other,)), source, "", None
    )
    return {
        "seconds": time.perf_counter() - began,
        "answers": found.answers,
        "changed": found.changed,
    }


def case_floor(source: Path, answers: Path, engine: str, out: Path) -> dict[str, Any]:
    """Read the backlog and write columns like those of the answer."""
    if engine == "polars":
        import polars as pl

        table: Any = pl.read_csv(answers, infer_schema_length=10_000)
        began = time.perf_counter()
        pl.read_csv(source, infer_schema=False)
        table.write_csv(out)
    else:
        import pyarrow.csv as arrow_csv

        table = arrow_csv.read_csv(answers)
        began = time.perf_counter()
        arrow_csv.read_csv(source)
        arrow_csv.write_csv(table, out)
    return {"seconds": time.perf_counter() - began, "answers": len(table)}


def in_own_process(*words: object) -> dict[str, Any]:
    """Run a case and return what it measured, with its peak memory in MB, workers included."""
    done = subprocess.run(
        [sys.executable, str(HERE), "--case", *map(str, words)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return json.loads(done.stdout.splitlines()[-1])


def run_case(words: list[str]) -> None:
    """Run one case here and print what it measured."""
    name, *rest = words
    if name == "ours":
        found = case_ours(Path(rest[0]), rest[1], Path(rest[2]))
    elif name == "impact":
        found = case_impact(Path(rest[0]), rest[1])
    else:
        found = case_floor(Path(rest[0]), Path(rest[1]), rest[2], Path(rest[3]))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    peak += resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    print(json.dumps(found | {"peak": peak / 1024}))


def line(*cells: object) -> None:
    """Print a row of the table."""
    print("  ".join(f"{cell!s:>14}" for cell in cells), flush=True)


def table_of_backlogs(sizes: list[int], rounds: int) -> None:
    """Print times, ratios to the floor, rates and peaks."""
    line(
        "rows",
        "backlog",
        "models",
        "floor s",
        "polars s",
        "ours s",
        "ratio",
        "answers/s",
        "peak MB",
    )
    cases = [("real", "rowan-150"), ("real", "all"), ("worst", "rowan-150"), ("bad", "rowan-150")]
    for rows in sizes:
        for kind, machines in cases:
            if rows > 1_000_000 and (kind, machines) != ("real", "rowan-150"):
                continue
            with tempfile.TemporaryDirectory() as place:
                folder = Path(place)
                source, out, floor = folder / "a.csv", folder / "b.csv", folder / "c.csv"
                make_backlog(source, rows, kind)
                ours, arrow, polars = [], [], []
                for _ in range(rounds):
                    ours.append(in_own_process("ours", source, machines, out))
                    arrow.append(in_own_process("floor", source, out, "pyarrow", floor))
                    if has_polars():
                        polars.append(in_own_process("floor", source, out, "polars", floor))
                ratio = statistics.median(
                    a["seconds"] / b["seconds"] for a, b in zip(ours, arrow, strict=True)
                )
                own = statistics.median(item["seconds"] for item in ours)
                line(
                    rows, kind, {"all": 8}.get(machines, 1), f"{middle(arrow):.2f}",
                    f"{middle(polars):.2f}" if polars else "-", f"{own:.2f}", f"x{ratio:.2f}",
                    f"{arrow[0]['answers'] / own:,.0f}", f"{max(i['peak'] for i in ours):.0f}",
                )  # fmt: skip


def impact(rows: int, rounds: int) -> None:
    """Print the time of comparing two revisions against that of one batch run of one."""
    line("rows", "backlog", "batch s", "impact s", "ratio", "changed", "peak MB")
    for kind in ("real", "worst", "bad"):
        with tempfile.TemporaryDirectory() as place:
            source, out = Path(place) / "a.csv", Path(place) / "b.csv"
            make_backlog(source, rows, kind)
            batch, both = [], []
            for _ in range(rounds):
                batch.append(in_own_process("ours", source, "rowan-150", out))
                both.append(in_own_process("impact", source, "rowan-150"))
            ratio = statistics.median(
                b["seconds"] / a["seconds"] for a, b in zip(batch, both, strict=True)
            )
            line(
                rows, kind, f"{middle(batch):.2f}", f"{middle(both):.2f}", f"x{ratio:.2f}",
                both[0]["changed"], f"{max(item['peak'] for item in both):.0f}",
            )  # fmt: skip


# --- a large backlog beside single answers ------------------------------------------------


def make_varied(path: Path, rows: int) -> None:
    """Write a backlog in which every column that makes a job differs from row to row."""
    dice = random.Random(11)
    sections = section_texts(dice, 1200)
    with path.open("w", encoding="utf-8") as file:
        file.write("job,section,length,bow,off_axis,ends,coating,grade\n")
        for row in range(rows):
            section = dice.choice(sections)
            if dice.random() < 0.1:
                section = f"tube {20 + 280 * dice.random():.3f} x {2 + 6 * dice.random():.3f} mm"
            bow = f"{20 * dice.random():.4f} mm" if dice.random() < 0.7 else ""
            ends = dice.choice(["", "", "", "open", "sealed"])
            off_axis = f"{1 + 20 * dice.random():.4f} kg @ {dice.randint(20, 200)} mm"
            cells = [
                f"J{row:08d}", section, f"{1000 + 11500 * dice.random():.3f} mm", bow,
                off_axis if dice.random() < 0.3 else "", ends,
                dice.choice(["", "", "", "galvanised", "wet"]), dice.choice(["", "", "A106 B"]),
            ]  # fmt: skip
            file.write(",".join(cells) + "\n")


def differ(rows: int, sample: int) -> int:
    """Print how many sampled rows of a large backlog have another answer than ``check``."""
    import pyarrow.csv as arrow_csv
    import pyarrow.parquet as pq
    from cuttable.catalogue.errors import InputError
    from cuttable.engine.assessor import AssessorCore
    from cuttable.engine.jobs.fields import JobText

    assessor = AssessorCore()
    wrong = 0
    with tempfile.TemporaryDirectory() as place:
        source, out = Path(place) / "a.csv", Path(place) / "b.parquet"
        make_varied(source, rows)
        found = in_own_process("ours", source, "rowan-150", out)
        line("rows", "answers", "seconds", "peak MB")
        line(rows, found["answers"], f"{found['seconds']:.1f}", f"{found['peak']:.0f}")
        picked = sorted(random.Random(13).sample(range(rows), min(sample, rows)))
        as_text = arrow_csv.ConvertOptions(strings_can_be_null=False)
        asked = arrow_csv.read_csv(source, convert_options=as_text).take(picked).to_pylist()
        answers = pq.read_table(out).take(picked).to_pylist()
        for job, row in zip(asked, answers, strict=True):
            name, job["grade"] = job.pop("job"), job["grade"] or None
            try:
                (verdict,) = assessor.ask(JobText(**job), ["rowan-150"]).verdicts or (None,)
                told = _as_row(name, verdict)
            except InputError as fault:
                told = {"job": name, "verdict": "", "error": fault.code}
            if any(_is_other(row[key], value) for key, value in told.items()):
                wrong += 1
                print(name, job, {key: (row[key], value) for key, value in told.items()})
    line("sampled", "other than check")
    line(len(picked), wrong)
    return 1 if wrong else 0


def _as_row(name: str, verdict: Any) -> dict[str, Any]:
    """Return what an answer row must hold; a job with a question has no verdict."""
    if verdict is None:
        return {"job": name, "verdict": ""}
    measures = {
        f"{key}{end}": getattr(verdict.measures[key], field)
        for key in ("stock_mass", "rotary_inertia")
        for end, field in (("", "value"), ("_heavy", "heavy"))
    }
    return measures | {
        "job": name,
        "verdict": verdict.verdict,
        "decided_by": verdict.decided_by or "",
        "governing": verdict.governing or "",
        "mitigations": "; ".join(item.code for item in verdict.mitigations),
        "missing": "; ".join(verdict.missing),
        "grade": verdict.job.grade,
    }


def _is_other(one: Any, other: Any) -> bool:
    if isinstance(other, float):
        return one is None or abs(one - other) > 1e-9 * abs(other)
    return bool(one != other)


def middle(found: list[dict[str, Any]]) -> float:
    """Return the median of the seconds."""
    return statistics.median(item["seconds"] for item in found)


def has_polars() -> bool:
    """Say whether the second floor can be measured."""
    import importlib.util

    return importlib.util.find_spec("polars") is not None


# --- the decision stage alone -------------------------------------------------------------

BLOCK = 32_768


def mask_text(node: Any) -> str:
    """Return a condition as a person would write it with NumPy: no tolerance, no unknowns."""
    from cuttable.rules import expression as ex

    match node:
        case ex.Number(value=value):
            return repr(value)
        case ex.Name(name=name):
            return f'n["{name}"]'
        case ex.Extreme(op=op, items=items):
            return f"np.{op}imum({mask_text(items[0])}, {mask_text(items[1])})"
        case (
            ex.Arithmetic(op=op, left=left, right=right) | ex.Compare(op=op, left=left, right=right)
        ):
            return f"({mask_text(left)} {op} {mask_text(right)})"
        case ex.FactIs(fact=fact, values=values):
            return "(" + " | ".join(f'(f["{fact}"] == c["{fact}"]["{v}"])' for v in values) + ")"
        case ex.Known(item=item):
            return f"np.isfinite({mask_text(item)})"
        case ex.Not(item=item):
            return f"(~{mask_text(item)})"
        case ex.Both(items=items):
            return "(" + " & ".join(map(mask_text, items)) + ")"
        case ex.Either(items=items):
            return "(" + " | ".join(map(mask_text, items)) + ")"
    raise TypeError(node)


def decide(rows: int) -> None:
    """Print the decision stage, measures in and verdicts out, against hand-written masks."""
    import numpy as np
    from cuttable.engine.assessor import AssessorCore
    from cuttable.engine.backlog.parse_jobs import Normaliser, Texts
    from cuttable.engine.decision.decide import Engine
    from cuttable.engine.decision.inference import RANK
    from cuttable.engine.measures import Measured

    assessor = AssessorCore()
    rule_set, dice = assessor.rule_set, random.Random(5)
    count = BLOCK * 4
    texts = {
        "section": section_texts(dice, 1200), "length": LENGTHS,
    }  # fmt: skip
    columns = {
        name: Texts(values, np.array(dice.choices(range(len(values)), k=count)))
        for name, values in texts.items()
    }
    table = Normaliser(assessor.catalogue, rule_set.vocabulary).read(columns, count).table
    machines = list(assessor.catalogue.machines.values())[:3]
    blocks: list[tuple[Any, Any]] = []
    for machine in machines:
        for start in range(0, table.rows - BLOCK, BLOCK):
            part = table.take(np.arange(start, start + BLOCK))
            found = assessor.engine.decide_table(part, [machine], np.zeros(BLOCK, dtype=np.intp))
            blocks.append((found.frame, found.scope))
    times = max(1, rows // (BLOCK * len(blocks)))
    done = BLOCK * len(blocks) * times
    source = ["def masks(n, f, c, rows):", "    rank = np.zeros(rows, dtype=np.int8)"]
    for rule in rule_set.rules:
        rank = RANK.get(rule.outcome, 0)
        if rank:
            source.append(f"    np.maximum(rank, {rank} * {mask_text(rule.when)}, out=rank)")
    source.append("    return rank")
    space: dict[str, Any] = {"np": np}
    exec("\n".join(source), space)  # noqa: S102 - our own rules, written out

    def floor() -> None:
        with np.errstate(invalid="ignore"):
            for _, scope in blocks:
                space["masks"](scope.numbers, scope.facts, scope.codes, scope.rows)

    def ours(engine: Engine) -> None:
        for frame, scope in blocks:
            engine.decide_scope(frame, scope, Measured({}, {}))

    def timed(run: Any) -> float:
        began = time.perf_counter()
        run()
        return time.perf_counter() - began

    plain, warm = [], []
    ours(assessor.engine)
    for _ in range(5):
        plain.append(timed(lambda: [floor() for _ in range(times)]))
        warm.append(timed(lambda: [ours(assessor.engine) for _ in range(times)]))
    base = statistics.median(plain)
    cold = timed(
        lambda: (ours(Engine(rule_set)), [ours(assessor.engine) for _ in range(times - 1)])
    )
    line("decision stage", "rows", "seconds", "ratio")
    line("NumPy masks", done, f"{base:.3f}", "x1")
    line(
        "ours, warm",
        done,
        f"{statistics.median(warm):.3f}",
        f"x{statistics.median(warm) / base:.2f}",
    )
    line("ours, cold, 3 models", done, f"{cold:.3f}", f"x{cold / base:.2f}")


# --- files and texts ----------------------------------------------------------------------


def files(rows: int) -> None:
    """Print reading and writing of workbooks, and of lengths, against their floors."""
    import numpy as np
    import pyarrow as pa
    import xlsxwriter
    from cuttable.catalogue.units.lengths import length
    from cuttable.engine.backlog.readers import open_backlog
    from cuttable.engine.backlog.writers import open_answers
    from python_calamine import CalamineWorkbook

    dice = random.Random(9)
    names = ["job", "section", "length", "grade", "quantity", "parts", "bow", "coating", "a", "b"]
    rows_of = [
        [f"J{row}", dice.choice(["NPS 6 SCH 40", "tube 60.3 x 2 mm"]), dice.choice(LENGTHS), "",
         row % 40, dice.choice(PARTS), "", "", row / 7, "text"]
        for row in range(rows)
    ]  # fmt: skip
    found: dict[str, list[float]] = {}

    def timed(name: str, run: Any) -> None:
        began = time.perf_counter()
        run()
        found.setdefault(name, []).append(time.perf_counter() - began)

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        source, out = folder / "a.xlsx", folder / "b.xlsx"

        def write_plain() -> None:
            with xlsxwriter.Workbook(str(source), {"constant_memory": True}) as ledger:
                sheet = ledger.add_worksheet()
                for number, cells in enumerate([names, *rows_of]):
                    for column, cell in enumerate(cells):
                        if cell != "":
                            sheet.write(number, column, cell)

        def read_plain() -> None:
            CalamineWorkbook.from_path(source).get_sheet_by_index(0).to_python()

        def read_ours() -> None:
            for _ in open_backlog(source).chunks():
                pass

        texts = [
            [str(cell) if not isinstance(cell, float) else cell for cell in row] for row in rows_of
        ]
        columns = list(zip(*texts, strict=True))
        batch = pa.record_batch([pa.array(column) for column in columns], names=names)

        def write_ours() -> None:
            answers = open_answers(out, batch.schema, typed=("job",), key={})
            answers.write(batch, rows, {})
            answers.finish()

        for _ in range(3):
            timed("write xlsxwriter", write_plain)
            timed("write ours", write_ours)
            timed("read calamine", read_plain)
            timed("read ours", read_ours)
    many = [f"{dice.randint(1000, 12000) + dice.randint(0, 9) / 10:.1f} mm" for _ in range(5000)]
    column = pa.array(dice.choices(many, k=1_000_000))

    def encode() -> None:
        encoded = column.dictionary_encode()
        encoded.dictionary.take(encoded.indices)

    def parse() -> None:
        encoded = column.dictionary_encode()
        values = np.array([length(text) for text in encoded.dictionary.to_pylist()])
        values[encoded.indices.to_numpy(zero_copy_only=False)]

    for _ in range(5):
        timed("lengths, encode and take", encode)
        timed("lengths, ours exact", parse)
    for plain, ours in (("write xlsxwriter", "write ours"), ("read calamine", "read ours"),
                        ("lengths, encode and take", "lengths, ours exact")):  # fmt: skip
        a, b = statistics.median(found[plain]), statistics.median(found[ours])
        line(plain, f"{a:.3f} s", ours, f"{b:.3f} s", f"x{b / a:.2f}")


def main() -> None:
    """Read what to run."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", type=int, nargs="*", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--files", type=int, default=0, metavar="ROWS")
    parser.add_argument("--decide", type=int, default=0, metavar="ROWS")
    parser.add_argument("--impact", type=int, default=0, metavar="ROWS")
    parser.add_argument("--differ", type=int, default=0, metavar="ROWS")
    parser.add_argument("--sample", type=int, default=2000)
    parser.add_argument("--case", nargs="*", default=None)
    asked = parser.parse_args()
    if asked.case:
        run_case(asked.case)
        return
    if asked.differ:
        sys.exit(differ(asked.differ, asked.sample))
    if asked.impact:
        impact(asked.impact, asked.rounds)
        return
    if asked.files:
        files(asked.files)
        return
    if asked.decide:
        decide(asked.decide)
        return
    table_of_backlogs(asked.rows, asked.rounds)


if __name__ == "__main__":
    main()
