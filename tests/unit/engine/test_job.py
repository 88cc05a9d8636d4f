"""From typed words to a job: what is taken for granted, and what is asked about."""

import shlex

import pytest
from cuttable.catalogue.errors import InputError, Question
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job import Job
from cuttable.engine.jobs.parse import read_job


def read(
    assessor: AssessorCore, section: str = "NPS 6 SCH 40", length: str = "6 m", **more: object
) -> Job:
    """Return the job that is read without a question."""
    job, questions = read_job(
        JobText(section, length)._replace(**more), assessor.catalogue, assessor.rule_set.vocabulary
    )
    assert job is not None, questions
    return job


def asked(
    assessor: AssessorCore, section: str = "NPS 6 SCH 40", length: str = "6 m", **more: object
) -> list[Question]:
    """Return the questions that a job leaves open."""
    job, questions = read_job(
        JobText(section, length)._replace(**more), assessor.catalogue, assessor.rule_set.vocabulary
    )
    assert job is None
    assert questions
    return questions


# --- grade --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("section", "grade", "said"),
    [
        ("NPS 6 SCH 40", "ASTM A53 B", "with the tolerances of ASTM A53 (ASTM A53 B)"),
        ("tube 168.3 x 8 mm", "ASTM A53 B", "with the tolerances of ASTM A53 (ASTM A53 B)"),
        ("HSS 6x4x1/4", "ASTM A500 B", "section's own standard ASTM A500 (ASTM A500 B)"),
        ("SHS 100x5 cf", "EN 10219 S235JRH", "EN 10219-2 (EN 10219 S235JRH)"),
        ("CHS 168.3x8", "EN 10210 S235JRH", "EN 10210-2 (EN 10210 S235JRH)"),
    ],
)
def test_without_a_grade_the_steel_of_the_section_is_taken(
    assessor: AssessorCore, section: str, grade: str, said: str
) -> None:
    """An A500 section is not answered with the tolerances of A53, and the answer says which."""
    job = read(assessor, section)
    assert job.grade.name == grade
    (assumption,) = [text for text in job.assumptions if text.startswith("Grade not stated")]
    assert said in assumption


def test_the_heavy_end_of_a_hollow_section_is_that_of_its_own_standard(
    assessor: AssessorCore,
) -> None:
    """A500 lets wall and size both grow: more than the tenth of mass that A53 allows."""
    assessor_answer = assessor.ask(JobText("HSS 6x4x1/4", "6 m"), ["medlar-300"]).verdicts[0]
    mass = assessor_answer.measures["stock_mass"]
    assert mass.heavy / mass.value == pytest.approx(1.1 * 1.01)


@pytest.mark.parametrize(
    ("text", "name"),
    [("304", "ASTM A312 TP304"), ("1.4404", "ASTM A312 TP316L"), ("6061", "6061-T6")],
)
def test_a_grade_that_was_completed_is_said(assessor: AssessorCore, text: str, name: str) -> None:
    """What the tool added to the name of a grade stands in the answer."""
    job = read(assessor, grade=text)
    assert job.grade.name == name
    assert f"Grade '{text}' was taken as {name}." in job.assumptions


@pytest.mark.parametrize("text", ["ASTM A106 B", "A106 B", "a106 gr b", "SA-106 B"])
def test_a_grade_named_in_full_needs_no_word(assessor: AssessorCore, text: str) -> None:
    """Another spelling is no assumption."""
    assert not [item for item in read(assessor, grade=text).assumptions if "rade" in item]


@pytest.mark.parametrize("text", ["stainless", "A106", "A500", "aluminium", "1.4301", "S355"])
def test_a_grade_of_several_is_asked_with_choices_that_can_be_typed(
    assessor: AssessorCore, text: str
) -> None:
    """Each choice is the option that names one grade, and settles the question."""
    (question,) = asked(assessor, grade=text)
    assert question.code == "which-grade"
    assert len(question.choices) > 1
    for choice in question.choices:
        option, name = shlex.split(choice)
        assert option == "--grade"
        assert read(assessor, grade=name).grade.name == name


@pytest.mark.parametrize("text", ["", " "])
def test_an_empty_grade_is_a_mistake_and_not_left_out(assessor: AssessorCore, text: str) -> None:
    """A script whose variable is empty learns of it."""
    with pytest.raises(InputError) as found:
        read(assessor, grade=text)
    assert found.value.code == "text-empty"


def test_a_wrong_grade_is_told_although_the_section_is_still_open(assessor: AssessorCore) -> None:
    """Questions about the section do not hide an error in the grade, or a second question."""
    with pytest.raises(InputError):
        asked(assessor, "NPS 6", grade="titanium")
    assert [item.code for item in asked(assessor, "NPS 6", grade="A106")] == [
        "which-wall", "which-grade",
    ]  # fmt: skip
    assert [item.code for item in asked(assessor, "NPS 6")] == ["which-wall"]


# --- questions keep what was typed ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "choices"),
    [
        ({"parts": ["1,234 mm*3"]}, ["--part '1.2340 mm*3'", "--part '1234 mm*3'"]),
        ({"parts": ["3 x 1,234 mm"]}, ["--part '1.2340 mm*3'", "--part '1234 mm*3'"]),
        ({"parts": ["500*3"]}, ["--part '500 in*3'", "--part '500 mm*3'"]),
        ({"cuts": ["1.250 mm"]}, ["--cut '1.25 mm'", "--cut '1250 mm'"]),
        ({"stations": ["1650"]}, ["--station '1650 in'", "--station '1650 mm'"]),
        ({"behind": "500"}, ["--behind '500 in'", "--behind '500 mm'"]),
        ({"bow": "8"}, ["--bow '8 in'", "--bow '8 mm'"]),
        ({"bow": "5-8 mm"}, ["--bow '8 mm'", "--bow '5 mm'"]),
        (
            {"off_axis": "1,234 kg @ 150 mm"},
            ["--off-axis '1.234 kg @ 150 mm'", "--off-axis '1234 kg @ 150 mm'"],
        ),
        (
            {"off_axis": "12 kg@1,150 mm"},
            ["--off-axis '12 kg @ 1.15 mm'", "--off-axis '12 kg @ 1150 mm'"],
        ),
        (
            {"off_axis": "12 kg @ 500"},
            ["--off-axis '12 kg @ 500 in'", "--off-axis '12 kg @ 500 mm'"],
        ),
        (
            {"parts": ["20-6 ft*2"]},
            ["--part '6 ft*2'", "--part '20 ft*2'", '--part "20\'-6\\"*2"'],
        ),
    ],
)
def test_choices_keep_unit_count_and_the_rest(
    assessor: AssessorCore, more: dict[str, object], choices: list[str]
) -> None:
    """A choice is the option as it must be typed, with everything that was typed before."""
    (question,) = asked(assessor, **more)
    assert list(question.choices) == choices


def test_no_question_is_asked_twice(assessor: AssessorCore) -> None:
    """Parts typed alike raise one question; other parts and cuts raise theirs in the same go."""
    questions = asked(assessor, length="40", parts=["40", "40", "50"], cuts=["40"])
    assert len(set(questions)) == len(questions) == 4


# --- readings that leave no choice ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "millimetres", "read_as"), [("6000", 6000, "6000 mm"), ("6,096 m", 6096, "6.096 m")]
)
def test_the_only_possible_reading_is_taken_and_said(
    assessor: AssessorCore, length: str, millimetres: float, read_as: str
) -> None:
    """6000 can be no feet, inches or metres: a question with one choice is none."""
    job = read(assessor, "SHS 100x5", length)
    assert job.length == millimetres
    assert [text for text in job.assumptions if f"{length!r} was read as {read_as}:" in text]


def test_a_bow_has_bounds_of_its_own(assessor: AssessorCore) -> None:
    """No bow at all is a bow; a metre is the most, so a bare 500 is millimetres."""
    assert read(assessor, bow="0 mm").bow == 0
    assert read(assessor, bow="8.125 mm").bow == 8.125
    assert read(assessor, bow="500").bow == 500
    with pytest.raises(InputError) as found:
        read(assessor, bow="-3 mm")
    assert "between 0 and 1 m" in str(found.value)
