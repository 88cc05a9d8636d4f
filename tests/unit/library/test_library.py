"""``import cuttable``: what a program or a notebook gets."""

import doctest
import importlib
import json
import lzma
import pickle
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any, get_type_hints

import cuttable
import pandas as pd
import pytest
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.library.options import Options

MODULES = (
    "cuttable",
    "cuttable.engine.library.assessor",
    "cuttable.engine.library.default",
    "cuttable.engine.library.options",
)
LEDGER = Path(__file__).parents[2] / "data" / "ledger" / "ledger.db.xz"


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_the_documentation_are_so(name: str) -> None:
    """Every example of a docstring prints what stands below it."""
    module = importlib.import_module(name)
    found = doctest.testmod(module, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert found.attempted > 0
    assert found.failed == 0


def test_importing_it_costs_nothing() -> None:
    """Every command imports the package first: no library comes with it, and all names are told."""
    code = (
        "import sys; before = set(sys.modules); import cuttable; "
        "new = {name.partition('.')[0] for name in set(sys.modules) - before}; "
        "assert 'check' in dir(cuttable) and '__version__' in dir(cuttable); "
        "print(sorted(new - set(sys.stdlib_module_names)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )  # fmt: skip
    assert done.stdout == "['cuttable']\n"


def test_asking_loads_no_table_library() -> None:
    """Tables need pandas and pyarrow; a check does without."""
    code = (
        "import sys, cuttable; cuttable.check('NPS 4 SCH 40', '20 ft', machine='rowan-150'); "
        "assert not {'pandas', 'pyarrow', 'sqlalchemy', 'rich', 'click'} & set(sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_every_name_that_is_promised_is_there() -> None:
    """And nothing else can be asked for."""
    for name in cuttable.__all__:
        assert getattr(cuttable, name) is not None
    assert cuttable.__version__.count(".") == 2
    with pytest.raises(AttributeError, match="has no attribute 'chek'"):
        _ = cuttable.chek  # type: ignore[attr-defined]


def test_the_options_are_those_of_a_job() -> None:
    """A field that a job gains can be said in a program too."""
    fields = set(JobText._fields) - {"section", "length"}
    assert set(get_type_hints(Options)) == fields | {"units"}


def test_one_machine_one_answer_several_a_list() -> None:
    """Best first; without machines, all."""
    one = cuttable.check("NPS 10 XS", "12 m", machine="alder-320", parts=["2 m*5"])
    assert isinstance(one, cuttable.Answer)
    assert one.verdict is cuttable.Verdict.CONDITIONS
    assert one.verdict == "oversize-allowed-with-conditions"
    assert one.measures["rotary_inertia"].utilisation == pytest.approx(1.266, abs=5e-4)
    assert any("builder" in sentence for sentence in one.to_do)
    assert len(one.setup.parts) == 5
    two = cuttable.check("NPS 10 XS", "12 m", machines=["alder-320", "larch-610"])
    assert [item.machine.model for item in two] == ["larch-610", "alder-320"]
    every = cuttable.check("NPS 10 XS", "12 m")
    assert len(every) == 4
    assert every[0].verdict is cuttable.Verdict.IN_RANGE
    (single,) = cuttable.check("NPS 10 XS", "12 m", machines="alder-320")  # type: ignore[arg-type]
    assert single.id == cuttable.check("NPS 10 XS", "12 m", machine="alder-320").id


def test_everything_that_can_be_said_is_heard() -> None:
    """Each option reaches the job."""
    answer = cuttable.check(
        "NPS 4 SCH 40", "6 m", machine="rowan-150", grade="A106 B", parts="1.2 m*2",
        stations=("2 m", "4 m"), bow="3 mm", off_axis="1 kg @ 60 mm", ends="open",
        contents="empty", coating="oily", behind="500 mm", fitted=["reversed-jaws"], units="us",
    )  # fmt: skip
    job = answer.job
    assert (job.grade, job.bow, job.behind) == ("ASTM A106 B", 3.0, 500.0)
    assert [(part.length, part.count) for part in job.parts] == [(1200.0, 2)]
    assert job.stations == (2000.0, 4000.0)
    assert job.off_axis is not None
    assert (job.off_axis.mass, job.off_axis.distance) == (1.0, 60.0)
    assert (job.ends, job.contents, job.coating) == ("open", "empty", "oily")
    assert job.fitted == ("reversed-jaws",)
    assert answer.units == "us"
    cut = cuttable.check("NPS 4 SCH 40", "6 m", machine="rowan-150", cuts=["2 m"], grip="inside")
    assert (cut.job.cuts, cut.job.grip, cut.units) == ((2000.0,), "inside", "si")


def test_a_program_gets_what_the_command_prints(cuttable_json: Any) -> None:
    """The same document."""
    from cuttable.engine.answer.document import plain

    printed = cuttable_json("check", "NPS 8 SCH 40", "9 m", "--machine", "alder-320")
    answer = cuttable.check("NPS 8 SCH 40", "9 m", machine="alder-320")
    assert json.loads(json.dumps(plain(answer))) == printed["verdicts"][0]


@pytest.mark.parametrize(
    ("section", "length", "more", "code", "choice"),
    [
        ("NPS 4 SCH 40", "6", {}, "length-unit", "6 m"),
        ("NPS 4 SCH 40", 6, {}, "length-unit", "6 m"),
        ("12 inch, half-inch wall", "20 ft", {}, "pipe-or-tube", "NPS 12 XS"),
        ("NPS 2 SCH 10S", "6 m", {}, "which-grade", "grade='ASTM A312 TP316L'"),
        ("NPS 4 SCH 40", "6 m", {"parts": ["2*3"]}, "length-unit", "parts='2 m*3'"),
    ],
)
def test_an_open_question_is_raised_with_its_choices(
    section: str, length: Any, more: dict[str, Any], code: str, choice: str
) -> None:
    """A choice can be given as it stands: a text, or the option with its text."""
    with pytest.raises(cuttable.OpenQuestion) as asked:
        cuttable.check(section, length, machine="rowan-150", **more)
    assert asked.value.code == code
    assert choice in asked.value.choices
    assert asked.value.text.endswith("?")
    again = pickle.loads(pickle.dumps(asked.value))  # noqa: S301 - our own
    assert again.questions == asked.value.questions


def test_every_open_question_is_told() -> None:
    """Not one after the other."""
    with pytest.raises(cuttable.OpenQuestion) as asked:
        cuttable.check("12 inch, half-inch wall", "40")
    assert [item.code for item in asked.value.questions] == ["pipe-or-tube", "length-unit"]


@pytest.mark.parametrize(
    ("said", "code"),
    [
        ({"section": "nonsense"}, "designation-unreadable"),
        ({"length": "-3 m"}, "length-range"),
        ({"length": "NaN"}, "length-unreadable"),
        ({"length": float("nan")}, "length-unreadable"),
        ({"length": None}, "type-wrong"),
        ({"length": True}, "type-wrong"),
        ({"section": ["NPS 4 SCH 40"]}, "type-wrong"),
        ({"machine": "willow-9"}, "machine-unknown"),
        ({"machine": "not-there.toml"}, "file-missing"),
        ({"machine": None, "machines": []}, "option-needs"),
        ({"machines": ["alder-320"]}, "option-needs"),
        ({"parts": [object()]}, "type-wrong"),
        ({"grade": "unobtainium"}, "grade-unknown"),
        ({"contents": "full"}, "choice-unknown"),
    ],
)
def test_bad_input_raises_the_error_family(said: dict[str, Any], code: str) -> None:
    """With code and remedy, never another kind of error."""
    asked = {"section": "NPS 4 SCH 40", "length": "6 m", "machine": "rowan-150"} | said
    with pytest.raises(cuttable.CuttableError) as fault:
        cuttable.check(asked.pop("section"), asked.pop("length"), **asked)
    assert fault.value.code == code
    assert fault.value.remedy


def test_an_option_that_is_none_is_refused_with_the_nearest() -> None:
    """As Python does, with a hint."""
    with pytest.raises(TypeError, match=r"no option 'part'.*parts"):
        cuttable.check("NPS 4 SCH 40", "6 m", part="1 m")  # type: ignore[call-overload]


def test_an_answer_shows_itself(tmp_path: Path) -> None:
    """In a line, in a notebook, and as the sheet."""
    answers = cuttable.check("NPS 10 XS", "12 m", parts=["1 m*7"])
    for answer in answers:
        assert len(repr(answer)) < 400
        assert answer.machine.model in repr(answer)
        shown = answer._repr_html_()
        assert shown.count("<table>") == shown.count("</table>") == 1
        assert answer.machine.model in shown
        for sentence in answer.to_do:
            assert sentence.split(":")[0].replace("'", "&#x27;") in shown
    assert len(repr(answers)) < 1600
    path = answers[0].sheet(tmp_path / "job.pdf")
    assert path.read_bytes().startswith(b"%PDF")


def test_html_of_an_answer_escapes_what_a_file_says(tmp_path: Path) -> None:
    """A machine file is somebody's text."""
    source = Path(__file__).parents[2] / "data" / "golden" / "quince-250.toml"
    text = source.read_text(encoding="utf-8").replace('"quince-250"', '"quince-250"')
    path = tmp_path / "a<b>.toml"
    path.write_text(text, encoding="utf-8")
    answer = cuttable.check("NPS 4 SCH 40", "6 m", machine=path)
    assert "a<b>" in repr(answer)
    assert "a<b>" not in answer._repr_html_()
    assert "a&lt;b&gt;" in answer._repr_html_()


def test_three_threads_ask_one_assessor() -> None:
    """Each gets its own answer, whoever asks at the same time."""
    jobs = [("NPS 4 SCH 40", "6 m"), ("NPS 10 XS", "12 m"), ("SHS 100x5 cf", "6 m")]
    assessor = cuttable.Assessor(ledger="none")
    expected = [[item.id for item in assessor.check(*job)] for job in jobs]
    found: dict[tuple[int, int], list[str]] = {}
    begin = threading.Barrier(3)

    def ask(number: int) -> None:
        begin.wait()
        for turn in range(5):
            found[number, turn] = [item.id for item in assessor.check(*jobs[number])]

    threads = [threading.Thread(target=ask, args=(number,)) for number in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 15
    assert all(ids == expected[number] for (number, _), ids in found.items())


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    """A ledger with limits of its own."""
    path = tmp_path / "plant.db"
    path.write_bytes(lzma.decompress(LEDGER.read_bytes()))
    return path


def test_a_ledger_is_asked_from_any_thread(ledger: Path) -> None:
    """What is in force there: another limit, a site, a model the tool does not bring."""
    with cuttable.Assessor(ledger=ledger) as assessor:
        found: list[Any] = []

        def ask() -> None:
            answer = assessor.check("NPS 4 SCH 40", "6 m", machine="rowan-150@north-hall")
            found.append((answer.machine.overlay_revision, answer.measures["stock_mass"].rated))

        threads = [threading.Thread(target=ask) for _ in range(3)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert found == [(1, 240.0)] * 3
        assert assessor.check("NPS 4 SCH 40", "6 m", machine="rowan-150").machine.revision == 2
        assert "quince-250" in set(assessor.machines()["machine"])
        assert str(ledger) in repr(assessor)
        copy = pickle.loads(pickle.dumps(assessor))  # noqa: S301 - our own
        assert copy.check("NPS 4 SCH 40", "6 m", machine="quince-250").machine.revision == 2
        copy.close()
    # Closed, it opens again when it is asked.
    assert assessor.check("NPS 4 SCH 40", "6 m", machine="rowan-150").machine.revision == 2
    assessor.close()


def test_a_revision_counts_from_when_it_is_in_force(
    ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program that runs for days does not answer with limits of last week."""
    from cuttable.catalogue.ledger import lifecycle
    from cuttable.catalogue.ledger.database import open_ledger
    from cuttable.catalogue.ledger.location import Location
    from cuttable.engine.library import standing

    monkeypatch.setattr(standing, "FRESH", 0.0)
    opened = open_ledger(Location("sqlite", str(ledger)))
    with cuttable.Assessor(ledger=ledger) as assessor:
        before = assessor.check("NPS 4 SCH 40", "6 m", machine="rowan-150")
        with opened.reading() as connection:
            content = lifecycle.revision(connection, "rowan-150", 1).content
        from cuttable.catalogue.ledger.blobs import kept

        with opened.writing("Ana Lindqvist") as writing:
            files = kept(writing.connection, content, "rowan-150")
            made = lifecycle.draft(writing, "rowan-150", files, reason="Brake mended", evidence="x")
            lifecycle.submit(writing, "rowan-150", made.number)
        with opened.writing("Bo Okafor") as writing:
            lifecycle.approve(writing, "rowan-150", made.number, without_impact="As it was before")
        after = assessor.check("NPS 4 SCH 40", "6 m", machine="rowan-150")
    opened.close()
    assert (before.machine.revision, after.machine.revision) == (2, 3)
    assert before.measures["rotary_inertia"].absolute == 0.9
    assert after.measures["rotary_inertia"].absolute == 1.1


def test_the_functions_ask_the_ledger_the_command_line_would(
    ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of the environment, at each question; none is named in these tests otherwise."""
    assert cuttable.check("NPS 4 SCH 40", "6 m", machine="rowan-150").machine.revision == 1
    monkeypatch.setenv("CUTTABLE_LEDGER", str(ledger))
    assert cuttable.check("NPS 4 SCH 40", "6 m", machine="rowan-150").machine.revision == 2
    monkeypatch.setenv("CUTTABLE_LEDGER", "none")
    assert cuttable.check("NPS 4 SCH 40", "6 m", machine="rowan-150").machine.revision == 1


def test_a_ledger_that_is_not_there_is_told(tmp_path: Path) -> None:
    """When it is asked; a name that can be none, at once."""
    assessor = cuttable.Assessor(ledger=tmp_path / "none.db")
    with pytest.raises(cuttable.FileError) as fault:
        assessor.check("NPS 4 SCH 40", "6 m")
    assert fault.value.code == "ledger-missing"
    with pytest.raises(cuttable.InputError) as wrong:
        cuttable.Assessor(ledger="mysql://somewhere")
    assert wrong.value.code == "ledger-place-unknown"


def test_sections_machines_and_lengths_are_tables() -> None:
    """By value: against the printed tables, a machine file, and the command."""
    sections = cuttable.sections()
    assert len(sections) > 5000
    pipe = sections.set_index("section").loc["NPS 4 SCH 40"]
    assert (pipe["height"], pipe["wall"], pipe["standard"]) == (114.3, 6.02, "ASME B36.10M")
    assert pipe["linear_mass"] == pytest.approx(16.07, abs=0.02)  # ASME B36.10M prints 16.08 kg/m
    assert set(cuttable.sections("SHS 100")["shape"]) == {"square"}
    limits = cuttable.machines().set_index(["machine", "limit"])
    assert limits.loc[("medlar-300", "stock_length"), "rated"] == 9000.0
    assert limits.loc[("medlar-300", "wall.aluminium"), "absolute"] == 16.0
    assert limits.loc[("medlar-300", "reaction.vee-cradle"), "rated"] == 1600.0
    one, several = (
        cuttable.lengths("NPS 10 XS", **{name: "alder-320"}) for name in ("machine", "machines")
    )
    assert one.equals(several)
    found = cuttable.lengths("NPS 10 XS", "alder-320")
    assert list(found["verdict"]) == [
        "refused", "in-range", "oversize-allowed-with-conditions",
        "oversize-allowed-with-conditions",
    ]  # fmt: skip
    assert list(found["longest"]) == [790.0, 8440.0, 9470.0, 12500.0]
    with pytest.raises(cuttable.OpenQuestion):
        cuttable.lengths("4 in pipe")


def test_one_model_is_named_alike_everywhere() -> None:
    """``machine`` and ``machines`` are options of every question, and not of one together."""
    jobs = pd.DataFrame({"section": ["NPS 4 SCH 40"], "length": ["20 ft"]})
    one = cuttable.check_frame(jobs, machine="rowan-150")
    assert one.equals(cuttable.check_frame(jobs, machines=["rowan-150"]))
    with pytest.raises(cuttable.InputError) as fault:
        cuttable.lengths("NPS 4 SCH 40", "rowan-150", machine="alder-320")
    assert fault.value.code == "option-needs"
    with pytest.raises(
        TypeError, match=r"no option .machin.\. Did you mean .machine. or .machines."
    ):
        cuttable.lengths("NPS 4 SCH 40", machin="alder-320")  # type: ignore[call-overload]
