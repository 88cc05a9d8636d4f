"""The keys of an answer are a contract: what was kept or scripted in an earlier form stays so."""

import datetime as dt
import json
import lzma
import re
from pathlib import Path
from typing import Any, Final

import pytest
from cuttable.catalogue.errors import CuttableError
from cuttable.engine.answer.document import FORM, read_reply, text_of
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.jobs.fields import JobText
from jsonschema import Draft202012Validator

FOLDER: Final = Path(__file__).parents[1] / "data" / "golden"
JOBS: Final[list[dict[str, Any]]] = [
    json.loads(line) for line in (FOLDER / "jobs.jsonl").read_text(encoding="utf-8").splitlines()
]
DAY: Final = dt.date(2026, 11, 28)
BASIS: Final = re.compile(r'"(id|digest|tool|rules|catalogue)": "[^"]*"')
"""What an answer rests on changes with every file of data, with no answer any different."""


@pytest.fixture(scope="module")
def texts() -> dict[int, str]:
    """What ``check --json`` printed, by the number of the job; answers only, no errors."""
    with lzma.open(FOLDER / "answers.jsonl.xz", "rt", encoding="utf-8") as lines:
        found = {item["number"]: item["printed"] for item in map(json.loads, lines)}
    return {number: text for number, text in found.items() if '"error": {' not in text}


def test_what_was_printed_is_read_without_loss(texts: dict[int, str]) -> None:
    """Every answer, of whatever form, is written again to the byte."""
    assert len(texts) > 400
    for number, text in texts.items():
        reply = read_reply(text)
        assert text_of(reply, reply.form) == text, number


@pytest.mark.parametrize("start", range(0, len(JOBS), 50))
def test_an_answer_has_the_keys_and_values_of_an_earlier_form(
    start: int, texts: dict[int, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Written with the keys of that form it is what was printed; today's form only adds."""
    monkeypatch.chdir(FOLDER)  # files of machines are named from there
    assessor = AssessorCore(on=DAY)
    for item in JOBS[start : start + 50]:
        if item["number"] not in texts:
            continue
        typed = {name: tuple(value) if isinstance(value, list) else value
                 for name, value in item["job"].items()}  # fmt: skip
        reply = assessor.ask(JobText(**typed), item["machines"], system=item["units"])
        before = texts[item["number"]]
        after = text_of(reply, read_reply(before).form)
        assert BASIS.sub("", after) == BASIS.sub("", before), item["number"]
        assert reply.form == FORM
        assert not lost(json.loads(text_of(reply, 1)), json.loads(text_of(reply))), item["number"]


def lost(before: Any, after: Any, key: str = "") -> list[str]:
    """Return the keys of which ``after`` has not the value that ``before`` has."""
    if isinstance(before, dict):
        return [found for name, value in before.items()
                for found in (lost(value, after[name], f"{key}.{name}") if name in after
                              else [f"{key}.{name}"])]  # fmt: skip
    if isinstance(before, list):
        pairs = zip(before, after, strict=True)
        return [found for old, new in pairs for found in lost(old, new, f"{key}[]")]
    return [] if before == after else [key]


def test_every_answer_is_of_the_published_schema(texts: dict[int, str]) -> None:
    """What was printed then, and what is printed now."""
    from cuttable.engine.answer.document import answer_schema

    schema = answer_schema()
    Draft202012Validator.check_schema(schema)
    judge = Draft202012Validator(schema)
    for text in texts.values():
        judge.validate(json.loads(text))
    reply = AssessorCore().ask(JobText("NPS 6 SCH 40", "6 m", parts=("1 m*3",)), is_traced=True)
    content = json.loads(text_of(reply))
    judge.validate(content)
    for break_it in (
        lambda item: item.pop("verdict"),
        lambda item: item.update(verdict="perhaps"),
        lambda item: item["job"].pop("section"),
        lambda item: item["measures"]["stock_mass"].update(value="heavy"),
        lambda item: item["setup"].update(plan="somehow"),
        lambda item: item["findings"].append({"rule": "X"}),
    ):
        wrong = json.loads(text_of(reply))
        break_it(wrong["verdicts"][0])
        assert not judge.is_valid(wrong)


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "{}", '{"verdicts": [1], "questions": []}', '{"verdicts": [{}]}', "NaN",
     '{"schema": "cuttable.verdicts/9", "verdicts": [], "questions": []}'],
)  # fmt: skip
def test_what_is_no_answer_is_told_plainly(text: str) -> None:
    """A text of another kind, or of a form that cannot be read, is one error of the family."""
    with pytest.raises(CuttableError) as refused:
        read_reply(text)
    assert refused.value.code == "answer-unreadable"


def test_a_later_form_is_read_by_what_is_known_of_it() -> None:
    """Keys of a later version are no reason to refuse the answer."""
    reply = AssessorCore().ask(JobText("NPS 4 SCH 40", "6 m"), ["rowan-150"])
    content = json.loads(text_of(reply))
    content["form"], content["colour"] = FORM + 1, "green"
    content["verdicts"][0]["measures"]["stock_mass"]["colour"] = "green"
    read = read_reply(json.dumps(content))
    assert read.verdicts == reply.verdicts
