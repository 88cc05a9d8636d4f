"""Change the code in small ways, one at a time, and see whether the tests notice.

    python tests/benchmarks/mutants.py                     # 12 mutants of each subject
    python tests/benchmarks/mutants.py --each 30 --only carry decide --jobs 4
    python tests/benchmarks/mutants.py --seed 2

A mutant that lives is a line that no test holds, unless it means the same as the line it replaces
(a bound that is never met, an order that does not matter): that is for a reader to say. The tree
is copied; what is mutated is the copy. Only the tests named beside a subject are run, with the
first failure ending them, so a table of 150 mutants takes a quarter of an hour on two cores.
"""

import argparse
import ast
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Final, NamedTuple

ROOT: Final = Path(__file__).resolve().parents[2]
ROOMS: Final = ("catalogue", "rules", "engine", "cli", "service")
PATIENCE: Final = 900
"""Seconds after which tests that go on for ever count as failed."""

# What is mutated, and the tests that should notice.
SUBJECTS: Final[dict[str, tuple[tuple[str, ...], tuple[str, ...]]]] = {
    "measures": (
        ("engine/measures/*.py",), ("tests/unit/engine/test_measure_values.py",),
    ),
    "conditions": (("engine/decision/conditions.py",), ("tests/unit/engine/test_conditions.py",)),
    "decide": (("engine/decision/decide.py",), ("tests/unit/engine/test_decide.py",)),
    "carry": (
        ("engine/statics/support_loads*.py", "engine/statics/stocks.py"),
        ("tests/unit/engine/test_carry_values.py", "tests/unit/engine/test_decide.py"),
    ),
    "frame": (
        ("engine/inputs/stock.py", "engine/inputs/machine.py", "engine/inputs/supports.py"),
        ("tests/unit/engine/test_measure_values.py", "tests/unit/engine/test_decide.py"),
    ),
    "plan": (("engine/statics/support_[prc]*.py",), (
        "tests/unit/engine/test_plan.py", "tests/unit/engine/test_planning.py",
    )),
    "severing": (
        ("engine/statics/part_release.py",),
        ("tests/unit/engine/test_severing.py", "tests/published/test_beams.py"),
    ),
    "cradle": (("engine/statics/seating.py",), ("tests/unit/engine/test_cradle.py",)),
    "rules": (("rules/*.toml",), ("tests/unit/rules/test_snapshot.py",)),
    "loading": (
        ("rules/contract.py", "rules/lookup.py", "engine/inputs/figures.py"),
        ("tests/unit/rules/test_contract.py",),
    ),
}  # fmt: skip


class Mutant(NamedTuple):
    """One change: the file, its whole new content, and the change in words."""

    subject: str
    path: str
    content: str
    change: str


# --- Python -----------------------------------------------------------------------------------

COMPARES: Final[dict[type[ast.cmpop], type[ast.cmpop]]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
OPERATORS: Final[dict[type[ast.operator], type[ast.operator]]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.Pow: ast.Mult, ast.FloorDiv: ast.Mult,
}  # fmt: skip
NAMES: Final = {
    "maximum": "minimum", "minimum": "maximum", "fmax": "fmin", "fmin": "fmax", "any": "all",
    "all": "any", "floor": "ceil", "ceil": "floor", "max": "min", "min": "max", "sin": "cos",
    "cos": "sin", "isnan": "isfinite", "sorted": "list", "rated": "absolute", "absolute": "rated",
}  # fmt: skip


def changes_of(node: ast.AST) -> Iterator[tuple[str, Callable[[], Callable[[], None]]]]:
    """Return what can be changed at a node: words, and a function that does and returns undo."""

    def swap(field: str, value: object) -> Callable[[], Callable[[], None]]:
        def do() -> Callable[[], None]:
            before = getattr(node, field)
            setattr(node, field, value)
            return lambda: setattr(node, field, before)

        return do

    match node:
        case ast.Compare(ops=[op]) if type(op) in COMPARES:
            yield "comparison", swap("ops", [COMPARES[type(op)]()])
        case ast.BinOp(op=op) if type(op) in OPERATORS:
            yield "operator", swap("op", OPERATORS[type(op)]())
        case ast.AugAssign(op=op) if type(op) in OPERATORS:
            yield "operator", swap("op", OPERATORS[type(op)]())
        case ast.BoolOp(op=op):
            yield "and/or", swap("op", ast.Or() if isinstance(op, ast.And) else ast.And())
        case ast.UnaryOp(op=ast.Not() | ast.Invert() | ast.USub()):
            yield "sign or not", swap("op", ast.UAdd())
        case ast.Constant(value=bool() as value):
            yield "constant", swap("value", not value)
        case ast.Constant(value=int() | float() as value):
            yield "constant", swap("value", value + 1 if isinstance(value, int) else value * 1.1)
        case ast.Attribute(attr=name) if name in NAMES:
            yield "name", swap("attr", NAMES[name])
        case ast.Name(id=name) if name in NAMES:
            yield "name", swap("id", NAMES[name])
        case ast.IfExp(body=body, orelse=orelse):

            def turn() -> Callable[[], None]:
                node.body, node.orelse = orelse, body

                def back() -> None:
                    node.body, node.orelse = body, orelse

                return back

            yield "branches", turn
        case _:
            return


def python_mutants(subject: str, path: Path) -> Iterator[Mutant]:
    """Return every mutant of a module; annotations, slices of text and docstrings stay."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    before = ast.unparse(tree).splitlines()
    left_out: set[int] = set()
    for node in ast.walk(tree):
        for field in ("annotation", "returns", "decorator_list"):
            for part in ast.walk(ast.Module(body=listed(getattr(node, field, None)))):
                left_out.add(id(part))
    for node in ast.walk(tree):
        if id(node) in left_out:
            continue
        for _, do in changes_of(node):
            undo = do()
            try:
                content = ast.unparse(tree)
            finally:
                undo()
            after = content.splitlines()
            if len(after) != len(before):
                continue
            lines = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
            if lines:
                old, new = lines[0]
                change = f"{old.strip()}  ->  {new.strip()}"
                yield Mutant(subject, path.relative_to(ROOT).as_posix(), content, change)


def listed(value: object) -> list[ast.stmt]:
    """Return a node or a list of nodes as a list."""
    nodes = value if isinstance(value, list) else [value]
    return [node for node in nodes if isinstance(node, ast.AST)]  # type: ignore[misc]


# --- rule files -------------------------------------------------------------------------------

TEXTS: Final = (
    (r"\.heavy\b", ""), (r" > ", " >= "), (r" <= ", " < "), (r" < ", " <= "), (r" and ", " or "),
    (r"\.rated\b", ".absolute"), (r"\.absolute\b", ".rated"), (r'"refused"', '"conditions"'),
    (r'"conditions"', '"setting"'), (r"\bnot ", ""), (r"\bmin\(", "max("), (r"\bmax\(", "min("),
    (r" / 2\b", " / 3"), (r"\b2 \* ", ""),
)  # fmt: skip


def toml_mutants(subject: str, path: Path) -> Iterator[Mutant]:
    """Return mutants of a rule file: a comparison, a heavy end, a number, a line left out."""
    lines = path.read_text(encoding="utf-8").splitlines()
    for number, line in enumerate(lines):
        if not line or line.startswith(("#", "[", "since")):
            continue
        found = [
            line[: match.start()] + new + line[match.end() :]
            for old, new in TEXTS for match in re.finditer(old, line)
        ]  # fmt: skip
        found += [
            line[: match.start()] + f"{float(match[0]) * 1.1:g}" + line[match.end() :]
            for match in re.finditer(r"(?<![\w.-])\d+(?:\.\d+)?(?![\w.-])", line)
        ]
        if line.startswith(("mitigations =", "replaces =", "tags =", "given =", "chosen")):
            found.append("")
        for new in found:
            content = "\n".join([*lines[:number], new, *lines[number + 1 :]]) + "\n"
            change = f"{line[:90]}  ->  {new[:90] or 'left out'}"
            yield Mutant(subject, path.relative_to(ROOT).as_posix(), content, change)


MUTANTS: Final = {".py": python_mutants, ".toml": toml_mutants}

# --- running ----------------------------------------------------------------------------------


def tree_in(folder: Path) -> Path:
    """Copy the tree, so that it is imported from there: ``cuttable`` is a folder of links."""
    tree = folder / "tree"
    for room in (*ROOMS, "tests"):
        shutil.copytree(ROOT / room, tree / room, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tree)
    (folder / "cuttable").mkdir()
    for room in ROOMS:
        (folder / "cuttable" / room).symlink_to(tree / room)
    return tree


def is_killed(tree: Path, mutant: Mutant, tests: tuple[str, ...]) -> bool:
    """Run the tests on a tree with a mutant in it, and put the tree back."""
    environment = {**os.environ, "PYTHONPATH": str(tree.parent), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:xdist", "-p", "no:randomly"]
    target = tree / mutant.path
    before = target.read_bytes()
    try:
        target.write_text(mutant.content, encoding="utf-8")
        done = subprocess.run(
            [*command, "-o", "addopts=--import-mode=importlib", *tests],
            cwd=tree, env=environment, capture_output=True, timeout=PATIENCE, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return True
    finally:
        target.write_bytes(before)
    return done.returncode != 0


def main() -> None:
    """Print a line for each mutant, and the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--each", type=int, default=12)
    parser.add_argument("--only", nargs="*", default=list(SUBJECTS), choices=list(SUBJECTS))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    dice = random.Random(options.seed)
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    chosen: list[Mutant] = []
    for subject in options.only:
        files = [path for pattern in SUBJECTS[subject][0] for path in sorted(ROOT.glob(pattern))]
        every = [
            mutant for path in files
            for mutant in MUTANTS[path.suffix](subject, path)
        ]  # fmt: skip
        chosen += dice.sample(every, min(options.each, len(every)))
    dice.shuffle(chosen)  # stopped early, it has still looked at every subject
    with tempfile.TemporaryDirectory() as name:
        trees = [tree_in(Path(name) / str(number)) for number in range(options.jobs)]
        free = list(trees)

        def run(mutant: Mutant) -> tuple[Mutant, bool]:
            tree = free.pop()
            try:
                return mutant, is_killed(tree, mutant, SUBJECTS[mutant.subject][1])
            finally:
                free.append(tree)

        # A mutant that changes nothing: tests that fail on it would kill everything.
        none = [Mutant(subject, "pyproject.toml", project, "") for subject in options.only]
        table: dict[str, list[bool]] = {}
        with ThreadPoolExecutor(options.jobs) as pool:
            for mutant, killed in pool.map(run, [*none, *chosen]):
                if not mutant.change:
                    if killed:
                        sys.exit(f"{mutant.subject}: its tests fail without any mutant")
                    continue
                table.setdefault(mutant.subject, []).append(killed)
                word = "killed" if killed else "lives"
                print(f"{word:<7}{mutant.path}: {mutant.change}", flush=True)
    print(f"\n{'subject':<12}{'mutants':>8}{'killed':>8}{'lived':>8}")
    for subject, results in table.items():
        killed = sum(results)
        print(f"{subject:<12}{len(results):>8}{killed:>8}{len(results) - killed:>8}")
    total = [item for results in table.values() for item in results]
    print(f"{'all':<12}{len(total):>8}{sum(total):>8}{len(total) - sum(total):>8}")


if __name__ == "__main__":
    main()
