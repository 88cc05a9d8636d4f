"""Five hundred jobs and what ``check --json`` prints for each, kept to the byte.

``tests/data/golden/jobs.jsonl`` is what is asked, one job a line; ``answers.jsonl.xz`` is what is
printed. A change that is meant to leave answers alone leaves these alone. After one that is meant
to alter some, write them anew and read what it says about each key before committing:

    CUTTABLE_UPDATE_GOLDEN=1 python -m pytest tests/contracts/test_golden_answers.py -s

An answer also names what it rests on: version, digests of rules, catalogue and machine, and its own
name, which follows from these. Those change whenever a file of data does, with no answer any
different; so content is compared by itself, and the whole only where all it rests on is the same.
"""

import datetime as dt
import json
import lzma
import os
import re
from collections import Counter
from collections.abc import Callable, Iterator
from itertools import zip_longest
from pathlib import Path
from typing import Any, Final

import pytest
from cuttable.catalogue.errors import CuttableError
from cuttable.engine.answer.document import text_of
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.jobs.fields import JobText

FOLDER: Final = Path(__file__).parents[1] / "data" / "golden"
JOBS: Final[list[dict[str, Any]]] = [
    json.loads(line) for line in (FOLDER / "jobs.jsonl").read_text(encoding="utf-8").splitlines()
]
ANSWERS: Final = FOLDER / "answers.jsonl.xz"
DAY: Final = dt.date(2026, 11, 28)
"""The day of the rules: one that begins or ends later alters no answer here."""
PIECE: Final = 50
RESTS_ON: Final = re.compile(
    r'"(?P<key>id|digest|tool|rules|catalogue)": '
    r'"(?:[0-9a-f]{16}|sha256:[0-9a-f]{64}|cuttable [^"]+)"'
)
IS_UPDATE: Final = os.environ.get("CUTTABLE_UPDATE_GOLDEN") == "1"


@pytest.fixture(scope="module")
def asked() -> AssessorCore:
    """The limits the tool brings, on the day of the answers that are kept."""
    return AssessorCore(on=DAY)


@pytest.fixture(scope="module")
def kept() -> dict[int, str]:
    """What was printed, by the number of the job."""
    if IS_UPDATE:
        pytest.skip("they are written anew")
    with lzma.open(ANSWERS, "rt", encoding="utf-8") as lines:
        return {item["number"]: item["printed"] for item in map(json.loads, lines)}


@pytest.fixture(autouse=True)
def _here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files of machines are named from the folder of the jobs."""
    monkeypatch.chdir(FOLDER)


def printed(assessor: AssessorCore, item: dict[str, Any]) -> str:
    """Return what ``check --json`` prints for a job."""
    typed = {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in item["job"].items()
    }
    try:
        answer = assessor.ask(JobText(**typed), item["machines"], system=item["units"])
    except CuttableError as fault:
        error = {"code": fault.code, "text": fault.what, "where": fault.where,
                 "remedy": fault.remedy}  # fmt: skip
        content = {"schema": "cuttable.verdicts/1", "verdicts": [], "questions": [], "error": error}
        return json.dumps(content, ensure_ascii=False, indent=2)
    return text_of(answer)


def content_of(text: str) -> str:
    """Return an answer without the names of what it rests on."""
    return RESTS_ON.sub(r'"\g<key>": "…"', text)


def differences(before: Any, after: Any, key: str = "") -> Iterator[str]:
    """Yield a line for each value that differs in two JSON values."""
    if isinstance(before, dict) and isinstance(after, dict):
        if list(before) != list(after) and before.keys() == after.keys():
            yield f"{key}: keys in another order"
        for name in dict.fromkeys([*before, *after]):
            inner = f"{key}.{name}" if key else name
            yield from differences(before.get(name, "(no such key)"),
                                   after.get(name, "(no such key)"), inner)  # fmt: skip
    elif isinstance(before, list) and isinstance(after, list):
        for place, (old, new) in enumerate(zip_longest(before, after, fillvalue="(none)")):
            yield from differences(old, new, f"{key}[{place}]")
    elif before != after or type(before) is not type(after):
        yield f"{key}: {before!r} -> {after!r}"


def told(item: dict[str, Any], before: str, after: str) -> str:
    """Return in a few lines how an answer differs."""
    found = list(differences(json.loads(before), json.loads(after))) or ["written otherwise"]
    more = [f"… and {len(found) - 6} more"] if len(found) > 6 else []
    asked = ", ".join(f"{name} {value}" for name, value in item["job"].items())
    head = f"job {item['number']} ({item['topic']}: {asked}; on {item['machines'] or 'all'})"
    return "\n    ".join([head, *found[:6], *more])


@pytest.mark.parametrize("start", range(0, len(JOBS), PIECE))
def test_answers_are_those_that_were_given(
    start: int, asked: AssessorCore, kept: dict[int, str]
) -> None:
    """To the byte; without what it rests on, where that is another."""
    wrong: list[str] = []
    for item in JOBS[start : start + PIECE]:
        before, after = kept[item["number"]], printed(asked, item)
        pair = (before, after)
        if _basis(before) != _basis(after):
            pair = (content_of(before), content_of(after))
        if pair[0] != pair[1]:
            wrong.append(told(item, *pair))
    assert not wrong, f"{len(wrong)} of {PIECE} answers differ:\n" + "\n".join(wrong)


def _basis(text: str) -> set[str]:
    """Return all that an answer says it rests on, but its own name."""
    return {found[0] for found in RESTS_ON.finditer(text) if found["key"] != "id"}


def test_they_are_five_hundred_of_every_kind(kept: dict[int, str]) -> None:
    """What is kept covers verdicts, questions, errors, shapes, units and every model."""
    assert [item["number"] for item in JOBS] == list(range(1, 501)) == sorted(kept)
    answers = [json.loads(text) for text in kept.values()]
    verdicts = [verdict for answer in answers for verdict in answer["verdicts"]]
    counts = Counter(verdict["verdict"] for verdict in verdicts)
    assert min(counts[name] for name in ("in-range", "oversize-allowed-with-conditions",
                                         "refused")) >= 60  # fmt: skip
    models = Counter(verdict["machine"]["model"] for verdict in verdicts)
    assert models.keys() == {"rowan-150", "medlar-300", "alder-320", "larch-610", "quince-250"}
    sections = [verdict["job"]["section"] for verdict in verdicts]
    assert {item["shape"] for item in sections} == {"round", "square", "rectangular"}
    assert len({item["standard"] for item in sections}) >= 6
    assert sum(bool(answer["questions"]) for answer in answers) >= 15
    codes = {answer["error"]["code"] for answer in answers if "error" in answer}
    assert len(codes) >= 18, sorted(codes)
    rules = {finding["rule"] for verdict in verdicts for finding in verdict["findings"]}
    assert len(rules) >= 70, sorted(rules)
    assert {item["units"] for item in JOBS} == {"si", "us"}


@pytest.mark.parametrize("number", [1, 200, 260, 320, 430])
def test_the_command_prints_what_is_kept(
    number: int, asked: AssessorCore, cuttable: Callable[..., Any]
) -> None:
    """What this module asks within the process is what a person gets from the command."""
    item = JOBS[number - 1]
    options = {"parts": "--part", "cuts": "--cut", "stations": "--station",
               "off_axis": "--off-axis", "ends": "--end"}  # fmt: skip
    words = [item["job"]["section"], item["job"]["length"], "--units", item["units"]]
    for name, value in item["job"].items():
        if name not in ("section", "length"):
            for text in value if isinstance(value, list) else [value]:
                words += [options.get(name, f"--{name}"), text]
    for machine in item["machines"]:
        words += ["--machine", machine]
    done = cuttable("check", *words, "--json", cwd=FOLDER)
    # The command asks the rules of today, whose digest is that of any day.
    assert done.stdout == printed(asked, item) + "\n", done.stderr


@pytest.mark.skipif(not IS_UPDATE, reason="CUTTABLE_UPDATE_GOLDEN=1 writes the answers anew")
def test_answers_are_written_anew(asked: AssessorCore) -> None:
    """And it is told which keys of how many answers came out otherwise."""
    before: dict[int, str] = {}
    if ANSWERS.is_file():
        with lzma.open(ANSWERS, "rt", encoding="utf-8") as lines:
            before = {item["number"]: item["printed"] for item in map(json.loads, lines)}
    after = {item["number"]: printed(asked, item) for item in JOBS}
    changed: Counter[str] = Counter()
    for number, text in after.items():
        old = content_of(before.get(number, "{}"))
        changed.update(
            {re.sub(r"\[\d+\]", "[]", line.partition(": ")[0])
             for line in differences(json.loads(old), json.loads(content_of(text)))}
        )  # fmt: skip
    lines = "".join(
        json.dumps({"number": number, "printed": text}, ensure_ascii=False) + "\n"
        for number, text in after.items()
    )
    ANSWERS.write_bytes(lzma.compress(lines.encode(), preset=9))
    for key, count in changed.most_common():
        print(f"{count:4} answers: {key}")  # noqa: T201 - it is for the person who asked for it
