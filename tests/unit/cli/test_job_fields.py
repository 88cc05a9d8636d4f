"""What can be said of a job is declared once, and everything that takes a job follows from it."""

import json
import subprocess
import sys
from typing import Any, get_type_hints

import pytest
from cuttable.engine.jobs.fields import FIELDS, JobText
from cuttable.engine.jobs.parse import READERS, Reading, read_field

# A field that nobody has heard of is declared before anything reads the declaration; then every
# front is asked what it makes of it.
_MADE_UP = """
import contextlib, io, json, sys
from typing import Annotated, NamedTuple

from cuttable.engine.jobs import fields

declared = fields.Field(
    "length", "Mandrel", "Length of a mandrel.", "90 mm", "mandrel dorn",
    option="--mandrel", metavar="LENGTH", what="mandrel", is_of_stock=True,
)
made = NamedTuple(
    "JobText", [*fields.JobText.__annotations__.items(), ("mandrel", Annotated[str, declared])]
)
made._field_defaults = {**fields.JobText._field_defaults, "mandrel": ""}
made.__new__.__defaults__ = tuple(made._field_defaults.values())
fields.JobText, fields.FIELDS = made, fields.fields_of(made)
assert fields.FIELDS[-1].name == "mandrel"

from cuttable.cli.main import run
from cuttable.engine.assessor import AssessorCore

found = {}
PIPE, LONG = "NPS 6 SCH 40", "6 m"


def typed(*words):
    out, err = io.StringIO(), io.StringIO()
    sys.argv = ["cuttable", *words]
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            run()
        except SystemExit as ended:
            return ended.code, out.getvalue(), err.getvalue()


for name in ("check", "sheet", "lengths", "compare", "batch"):
    found[f"help of {name}"] = typed(name, "--help")[1]
for name, words in {
    "check": [PIPE, LONG, "--machine", "rowan-150"],
    "sheet": [PIPE, LONG, "--machine", "rowan-150", "--out", "no-folder/a.pdf"],
    "lengths": [PIPE, "--machine", "rowan-150"],
}.items():
    found[name] = typed(name, *words, "--mandrel", "-3 mm")[2]

import numpy as np
from cuttable.engine.backlog.columns import map_headers
from cuttable.engine.backlog.parse_jobs import Normaliser, Texts

mapping = map_headers(["Job", "Size", "Length", "Dorn [in]"], "orders.csv")
found["columns"] = [mapping.places, mapping.units]
assessor = AssessorCore()
one = np.zeros(1, dtype=np.intp)
chunk = {"section": Texts([PIPE], one), "length": Texts([LONG], one),
         "mandrel": Texts(["-3 mm"], one)}
read = Normaliser(assessor.catalogue, assessor.rule_set.vocabulary).read(chunk, 1)
found["backlog"] = [fault.text for fault in read.faults]

from cuttable.service.asking import Question

found["api"] = Question.model_json_schema()["properties"]["mandrel"]
found["asked"] = Question(section=PIPE, length=LONG, mandrel="2 m").text().mandrel

from starlette.datastructures import MultiDict
from cuttable.service.pages.question_form import FIRST, MORE, form_of, notes_on
from cuttable.service.pages.rendering import ENVIRONMENT

form = form_of(MultiDict([("section", PIPE), ("length", LONG), ("mandrel", "-3 mm")]))
found["address"] = form.query()
found["notes"] = [[note.field, note.text] for note in notes_on(form, assessor)]
found["from the form"] = form.question().text().mandrel
page = ENVIRONMENT.from_string(
    '{% import "_ask.html" as ask with context %}'
    "{% for item in first + more %}{{ ask.asked(item, facts, ()) }}{% endfor %}"
)
found["page"] = page.render(
    form=form, notes={}, first=FIRST, more=MORE, facts=assessor.rule_set.vocabulary.facts
)
print(json.dumps(found))
"""


@pytest.fixture(scope="module")
def made_up() -> dict[str, Any]:
    """What every front makes of a field that only the declaration knows."""
    done = subprocess.run(
        [sys.executable, "-c", _MADE_UP], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize("name", ["check", "sheet", "lengths"])
def test_a_declared_field_is_an_option(made_up: dict[str, Any], name: str) -> None:
    """With its help, and what is typed there is read by its kind."""
    assert "--mandrel LENGTH" in made_up[f"help of {name}"]
    assert "Length of a mandrel." in made_up[f"help of {name}"]
    assert "mandrel '-3 mm'" in made_up[name]
    assert "[length-range]" in made_up[name]


def test_a_command_that_does_not_ask_for_it_has_it_not(made_up: dict[str, Any]) -> None:
    """Two pieces are compared by their stock alone."""
    assert "--grade" in made_up["help of compare"]
    assert "mandrel" not in made_up["help of compare"]


def test_a_declared_field_is_a_column(made_up: dict[str, Any]) -> None:
    """By the names people use, with the unit of its header; its cells are read."""
    places, units = made_up["columns"]
    assert places["mandrel"] == 3
    assert units["mandrel"] == "in"
    assert "mandrel" in made_up["help of batch"]
    assert len(made_up["backlog"]) == 1
    assert "mandrel '-3 mm'" in made_up["backlog"][0]


def test_a_declared_field_is_in_the_api(made_up: dict[str, Any]) -> None:
    """With what it is, and given on to the engine."""
    assert made_up["api"]["description"].startswith("Length of a mandrel.")
    assert made_up["asked"] == "2 m"


def test_a_declared_field_is_on_the_page(made_up: dict[str, Any]) -> None:
    """Asked for, kept in the address, and told about where it stands."""
    assert '<label for="mandrel">Mandrel</label>' in made_up["page"]
    assert 'placeholder="90 mm"' in made_up["page"]
    assert "mandrel=-3+mm" in made_up["address"]
    assert [name for name, _ in made_up["notes"]] == ["mandrel"]
    assert "-3 mm" in made_up["notes"][0][1]
    assert made_up["from the form"] == "-3 mm"


def test_the_declaration_agrees_with_itself() -> None:
    """Names, options and headers are given once; what is several is a list of texts."""
    assert [field.name for field in FIELDS] == list(JobText._fields)
    options = [field.option for field in FIELDS if field.option]
    assert len(options) == len(set(options))
    headers = [header for field in FIELDS for header in field.headers.split()]
    assert len(headers) == len(set(headers))
    assert {field.kind for field in FIELDS} == set(READERS)
    assert [field.name for field in FIELDS if field.is_required] == ["section", "length"]
    hints = get_type_hints(JobText)
    for field in FIELDS:
        assert field.is_list == (hints[field.name] not in (str, str | None)), field.name
        assert field.name.replace("_", "") in field.headers.split(), field.name


@pytest.mark.parametrize("field", FIELDS, ids=[field.name for field in FIELDS])
def test_the_example_of_every_field_can_be_read(field: Any, assessor: Any) -> None:
    """As it stands, without a question."""
    reading = Reading(assessor.catalogue, assessor.rule_set.vocabulary)
    said = [field.example] if field.is_list else field.example
    assert read_field(reading, field, said) is not None
    assert not reading.questions
