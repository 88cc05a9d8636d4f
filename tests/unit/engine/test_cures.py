"""What would make a refused job go: every cure is asked again, as it would be typed."""

import dataclasses
import random
from collections.abc import Mapping
from typing import Any, Final

import pytest
from cuttable.engine.answer.cure_words import MOST_TOLD
from cuttable.engine.answer.document import (
    Answer,
    Cure,
    CureChange,
    Reply,
    Verdict,
    read_reply,
    text_of,
)
from cuttable.engine.answer.wording import System
from cuttable.engine.answer.words import card_of
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.parse import read_job
from cuttable.engine.search import trials
from cuttable.engine.search.cures import Judged, best_of
from cuttable.engine.sheet.content import content_of

CORE: Final = AssessorCore()
MODELS: Final = tuple(CORE.catalogue.machines)


def ask(text: JobText, model: str, system: System = "si") -> Answer:
    """Return the answer of one model."""
    return CORE.ask(text, [model], system=system).verdicts[0]


def changed(text: JobText, model: str, cure: Cure) -> tuple[JobText, str]:
    """Return the job and the model as a cure says that they should be asked."""
    say: dict[str, Any] = {}
    for change in cure.changes:
        if change.kind == "model":
            model = change.names[0]
        for name, texts in change.say.items():
            is_list = isinstance(JobText._field_defaults.get(name), tuple)
            say[name] = texts if is_list else (texts[0] if texts else "")
    return text._replace(**say), model


def random_job(dice: random.Random) -> tuple[JobText, str, System]:
    """Return a job that is mostly refused for something."""
    section = dice.choice((
        "NPS 2 SCH 40", "NPS 4 SCH 40", "NPS 6 SCH 40", "NPS 8 SCH 60", "NPS 10 XS", "NPS 12 STD",
        "SHS 100x5 cf", "HSS 6x4x1/4",
    ))  # fmt: skip
    metres = dice.choice((0.3, 2.5, 6.0, 6.4, 9.0, 12.0, 12.4, 14.0))
    said: dict[str, Any] = {}
    for name, values, share in (
        ("bow", ("4 mm", "1 in", "35 mm", "60 mm"), 0.35),
        ("stations",
         (("1 m", "2 m"), ("2.1 m",), ("1500 mm", "6 ft", "17 ft"), ("4 m", "5 m")), 0.4),
        ("parts", (("1.2 m*3",), ("0.5 m*8", "1 m"), ("4 ft*4",), ("1 m", "3 m", "0.4 m")), 0.4),
        ("behind", ("300 mm", "2 ft"), 0.15),
        ("off_axis", ("30 kg @ 200 mm", "8 kg @ 120 mm"), 0.2),
        ("ends", ("sealed", "open"), 0.2),
        ("coating", ("lined", "galvanised", "lead-paint"), 0.2),
        ("grip", ("inside",), 0.1),
    ):  # fmt: skip
        if dice.random() < share:
            said[name] = dice.choice(values)
    system: System = dice.choice(("si", "us"))
    length = f"{metres} m" if system == "si" else f"{metres / 0.3048:.0f} ft"
    return JobText(section, length, **said), dice.choice(MODELS), system


@pytest.mark.parametrize("seed", range(8))
def test_every_cure_gets_the_verdict_it_names(seed: int) -> None:
    """Random jobs; what a cure says is typed into the job, and asked."""
    dice, tried, cured = random.Random(seed), 0, 0
    while tried < 8:
        text, model, system = random_job(dice)
        try:
            reply = CORE.ask(text, [model], system=system)
        except Exception as fault:  # noqa: BLE001 - stations beyond the stock, and the like
            assert hasattr(fault, "code"), fault
            continue
        if not reply.verdicts or reply.verdicts[0].verdict != Verdict.REFUSED:
            assert not any(answer.cures for answer in reply.verdicts)
            continue
        tried += 1
        answer = reply.verdicts[0]
        assert read_reply(text_of(reply)) == reply
        kinds = [tuple(change.kind for change in cure.changes) for cure in answer.cures]
        assert len(set(kinds)) == len(kinds)
        singles = [kind for kind in kinds if len(kind) == 1 and kind != ("model",)]
        assert not singles or all(len(kind) == 1 for kind in kinds)
        for cure in answer.cures:
            cured += 1
            again, where = changed(text, model, cure)
            assert ask(again, where, system).verdict == cure.verdict, (text, model, cure)
    assert cured > 0


CASES: Final[Mapping[str, tuple[JobText, str, str]]] = {
    "a support is moved the least": (
        JobText("NPS 4 SCH 40", "20 ft", stations=("6 ft", "15 ft"), parts=("4 ft*3",)),
        "rowan-150", "stations",
    ),
    "supports stand where they would be planned": (
        JobText("NPS 10 XS", "12 m", stations=("1.5 m", "9 m")), "alder-320", "stations",
    ),
    "one support is one too many": (
        JobText("NPS 4 SCH 40", "6 m",
                stations=tuple(f"{600 + 750 * number} mm" for number in range(7))),
        "rowan-150", "stations",
    ),
    "straighter stock": (JobText("NPS 10 XS", "12 m", bow="60 mm"), "alder-320", "bow"),
    "an accessory": (JobText("SHS 100x5 cf", "6 m"), "alder-320", "accessories"),
    "a longer piece": (JobText("NPS 4 SCH 40", "10 in"), "alder-320", "length"),
    "a shorter piece": (JobText("NPS 4 SCH 40", "14 m"), "rowan-150", "length"),
    "stock that all parts come out of": (
        JobText("NPS 12 STD", "6 m", parts=("1 m*6",)), "alder-320", "length",
    ),
    "fewer parts": (JobText("NPS 12 STD", "6 m", parts=("1 m*6",)), "alder-320", "parts"),
    "a lighter fitting": (
        JobText("NPS 4 SCH 40", "6 m", off_axis="40 kg @ 60 mm x 20 mm"), "rowan-150", "off-axis",
    ),
    "open ends": (JobText("NPS 4 SCH 40", "6 m", ends="sealed"), "rowan-150", "stock"),
    "nothing behind a closed chuck": (
        JobText("NPS 6 SCH 40", "6 m", behind="500 mm"), "alder-320", "behind",
    ),
    "held from outside": (JobText("NPS 4 SCH 40", "6 m", grip="inside"), "alder-320", "grip"),
    "another model": (JobText("NPS 10 XS", "12 m"), "rowan-150", "model"),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_each_kind_of_cure(name: str) -> None:
    """One job for each, which is refused without and goes with it."""
    text, model, kind = CASES[name]
    answer = ask(text, model)
    assert answer.verdict == Verdict.REFUSED
    cure = next(cure for cure in answer.cures if [c.kind for c in cure.changes] == [kind])
    again, where = changed(text, model, cure)
    assert ask(again, where).verdict == cure.verdict != Verdict.REFUSED


def single(text: JobText, model: str, kind: str, system: System = "si") -> CureChange:
    """Return the one change of a kind that is told."""
    answer = ask(text, model, system)
    return next(cure.changes[0] for cure in answer.cures if cure.changes[0].kind == kind)


@pytest.mark.parametrize(("system", "step"), [("si", 1.0), ("us", 25.4 / 16)])
def test_the_bow_is_the_largest_that_goes(system: System, step: float) -> None:
    """A step more is refused; every one below goes."""
    text = JobText("NPS 8 SCH 60", "9 m", bow="60 mm")
    most = single(text, "alder-320", "bow", system).most
    assert most is not None
    more = ask(text._replace(bow=f"{most + step:.4f} mm"), "alder-320", system)
    assert more.verdict == Verdict.REFUSED
    for share in (0.1, 0.5, 0.9):
        less = ask(text._replace(bow=f"{most * share:.4f} mm"), "alder-320", system)
        assert less.verdict != Verdict.REFUSED


def test_the_fitting_is_the_heaviest_that_goes() -> None:
    """One kilogram more at its distance is refused."""
    text = JobText("NPS 4 SCH 40", "6 m", off_axis="40 kg @ 60 mm x 20 mm")
    most = single(text, "rowan-150", "off-axis").most
    assert most is not None
    more = text._replace(off_axis=f"{most + 1} kg @ 60 mm x 20 mm")
    assert ask(more, "rowan-150").verdict == Verdict.REFUSED


def test_no_shorter_move_of_a_support_goes() -> None:
    """Every station of the bed that is nearer is refused."""
    text = JobText("NPS 4 SCH 40", "6 m", stations=("1.5 m", "3.6 m"), bow="2 mm")
    change = single(text, "rowan-150", "stations")
    at, to = change.moved
    assert set(change.stations) == {1500.0, 3600.0, to} - {at}
    for station in (1500.0, 3600.0):
        for number in range(39):
            place = 600.0 + 150.0 * number
            if place in (1500.0, 3600.0) or abs(place - station) >= abs(to - at) - 1e-6:
                continue
            stations = tuple(f"{s} mm" for s in {1500.0, 3600.0, place} - {station})
            assert ask(text._replace(stations=stations), "rowan-150").verdict == Verdict.REFUSED


def test_the_most_parts_that_come_out_are_told() -> None:
    """Five of six; a sixth does not come out."""
    change = single(JobText("NPS 12 STD", "6 m", parts=("1 m*6",)), "alder-320", "parts")
    assert [(part.length, part.count) for part in change.parts] == [(1000.0, 5)]


def test_two_changes_only_where_one_is_not_enough() -> None:
    """Jaws, supports and a shorter piece: neither accessories nor a length alone are told."""
    text = JobText("NPS 6 SCH 40", "6 m")
    answer = ask(text, "rowan-150")
    kinds = [[change.kind for change in cure.changes] for cure in answer.cures]
    assert ["accessories", "length"] in kinds
    cure = answer.cures[kinds.index(["accessories", "length"])]
    fitted, shorter = cure.changes
    assert set(fitted.names) == {"reversed-jaws", "wide-roller-pair"}
    assert shorter.most is not None
    again, _ = changed(text, "rowan-150", cure)
    assert ask(again, "rowan-150").verdict == cure.verdict
    assert ask(again._replace(length="6 m"), "rowan-150").verdict == Verdict.REFUSED
    assert ask(again._replace(fitted=()), "rowan-150").verdict == Verdict.REFUSED


def test_what_kills_has_no_cure() -> None:
    """Cadmium fume: nothing on this or another machine."""
    assert ask(JobText("NPS 4 SCH 40", "6 m", coating="cadmium"), "rowan-150").cures == ()


def test_stations_and_bow_are_told_in_the_units_asked_in() -> None:
    """In eighths and sixteenths of an inch, and judged as they are told."""
    text = JobText("NPS 4 SCH 40", "20 ft", stations=("6 ft", "15 ft"), parts=("4 ft*3",))
    change = single(text, "rowan-150", "stations", "us")
    for station in change.stations:
        assert abs(station / 25.4 * 8 - round(station / 25.4 * 8)) < 1e-9
    cure = next(c for c in ask(text, "rowan-150", "us").cures if c.changes[0].kind == "stations")
    again, _ = changed(text, "rowan-150", cure)
    assert ask(again, "rowan-150", "us").verdict == cure.verdict


def test_terminal_page_and_sheet_tell_the_first_three() -> None:
    """No line twice, and none that the lengths and models tell already."""
    answer = ask(JobText("NPS 12 STD", "6 m", parts=("1 m*6",)), "alder-320")
    lines = [line for line in card_of(answer, "si", has_options=True).fits if "Would go" in line]
    assert lines == [
        "Would go with stock of 6266 mm: in range.",
        "Would go with 5 of the 6 parts (1000 mm*5): in range.",
    ]
    assert set(lines) <= set(content_of(answer, "si").fits)
    many = dataclasses.replace(answer, cures=answer.cures * 4)
    assert sum("Would go" in line for line in card_of(many, "si").fits) == MOST_TOLD
    whole = ask(JobText("NPS 4 SCH 40", "10 in"), "alder-320")
    assert [cure.changes[0].kind for cure in whole.cures] == ["length"]
    assert not any("Would go" in line for line in card_of(whole, "si").fits)
    fitted = card_of(ask(JobText("SHS 100x5 cf", "6 m"), "alder-320"), "si", has_options=True)
    assert fitted.fits[-1] == (
        "Would go with lift-and-index fitted: in range (--fitted lift-and-index)."
    )
    assert sum("lift-and-index" in line for line in fitted.fits) == 1


def test_an_answer_that_goes_has_no_cures() -> None:
    """Nothing is looked for, and the key is not written."""
    for text in (JobText("NPS 4 SCH 40", "6 m"), JobText("NPS 10 XS", "12 m")):
        answer = ask(text, "alder-320")
        assert answer.verdict != Verdict.REFUSED
        assert answer.cures == ()
        assert '"cures"' not in text_of(Reply(verdicts=(answer,), form=2))


@pytest.mark.parametrize(
    ("value", "text"),
    [(1650.0, "1650 mm"), (914.375, "914.3750 mm"), (1219.2, "1219.2 mm"), (0.125, "0.1250 mm")],
)
def test_a_length_is_typed_so_that_it_is_read_as_it_was(value: float, text: str) -> None:
    """A point before three digits would be asked about."""
    assert trials.exact_text(value) == text
    assert trials.read_length(text) == value


def test_a_number_is_at_most_what_every_lower_one_allows() -> None:
    """A bow that goes above one that is refused is not told."""
    job, _ = read_job(JobText("NPS 4 SCH 40", "6 m", bow="9 mm"), CORE.catalogue,
                      CORE.rule_set.vocabulary)  # fmt: skip
    assert job is not None
    tried = [
        Judged((), trials.Trial("bow", job, CureChange(kind="bow", say={}, most=most), -most), rank)
        for most, rank in ((1.0, 0), (2.0, 1), (3.0, 3), (4.0, 0))
    ]
    assert [item.trial.change.most for item in best_of(tried)] == [2.0]


def test_stations_are_rounded_onto_the_bed() -> None:
    """To an eighth of an inch: the first one up, the last one down."""
    rowan = CORE.catalogue.machine("rowan-150")
    assert trials.typed_station(600.0, rowan, "us") == ("1'-11 5/8\"", 600.075)
    text, last = trials.typed_station(6300.0, rowan, "us")
    assert (text, last) == ("20'-8\"", 6299.2)
    assert trials.typed_station(6300.0, rowan, "si") == ("6300 mm", 6300.0)
