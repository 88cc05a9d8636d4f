"""Chances beside an answer: told, never decided by."""

import json
from dataclasses import replace

import pytest
from cuttable.engine.answer.chance import shown, told_of
from cuttable.engine.answer.document import Reply, read_reply, text_of
from cuttable.engine.assessor import AssessorCore, Chance
from cuttable.engine.decision.mill_chance import in_lot
from cuttable.engine.jobs.fields import JobText

CORE = AssessorCore()


def asked(section: str, length: str, lot: int | None = None, **said: str) -> Reply:
    text = JobText(section, length, **said)
    return CORE.ask(text, ["rowan-150"], chance=Chance(lot))


def test_an_answer_is_the_same_but_for_its_chances() -> None:
    """No verdict, rule or number of it is changed by asking."""
    text = JobText("NPS 5 SCH 40", "6 m")
    without, told = CORE.ask(text), CORE.ask(text, chance=Chance())
    assert all(item.chance is not None for item in told.verdicts)
    assert tuple(replace(item, chance=None) for item in told.verdicts) == without.verdicts
    assert "chance" not in json.loads(text_of(without))["verdicts"][0]
    assert told.untraced == without


def test_chances_are_read_back_and_left_out_of_earlier_forms() -> None:
    reply = asked("NPS 5 SCH 40", "6 m", lot=4)
    assert read_reply(text_of(reply)) == reply
    assert "chance" not in json.loads(text_of(reply, form=1))["verdicts"][0]


def test_a_longer_piece_is_over_more_often_and_absolute_never_more_than_rated() -> None:
    seen: dict[str, list[float]] = {}
    for length in range(4000, 6200, 100):
        (answer,) = asked("NPS 6 SCH 80", f"{length} mm", lot=3).verdicts
        assert answer.chance is not None
        for name, of in answer.chance.limits.items():
            assert of.rated is not None
            assert of.absolute is not None
            for law in ("normal", "uniform"):
                rated, absolute = getattr(of.rated, law), getattr(of.absolute, law)
                assert 0 <= absolute <= rated <= 1
                assert getattr(of.rated, f"lot_{law}") == pytest.approx(in_lot(rated, 3), abs=1e-8)
                seen.setdefault(f"{name} {law}", []).append(rated)
    assert all(column == sorted(column) for column in seen.values())
    assert any(0.01 < one < 0.99 for one in seen["stock_mass normal"])
    assert len(set(seen["wall normal"])) == 1


def test_where_the_heaviest_is_within_nothing_is_over_and_far_over_all_is() -> None:
    (answer,) = asked("NPS 6 SCH 40", "9 m").verdicts
    assert answer.chance is not None
    for name in ("stock_mass", "rotary_inertia"):
        measure, of = answer.measures[name], answer.chance.limits[name]
        assert measure.heavy is not None
        assert measure.rated is not None
        assert of.rated is not None
        if measure.heavy <= measure.rated:
            assert of.rated.uniform == 0
        elif measure.value * 0.7 > measure.rated:
            assert of.rated.normal == 1
        else:
            assert 0 < of.rated.normal < of.rated.uniform < 1


def test_what_is_fixed_beside_the_axis_and_zinc_weigh_too() -> None:
    plain, flanged, coated = (
        asked("NPS 6 SCH 40", "9 m", **said).verdicts[0].chance
        for said in ({}, {"off_axis": "6 kg @ 150 mm"}, {"coating": "galvanised"})
    )  # fmt: skip
    masses = [
        one.limits["stock_mass"].rated.uniform
        for one in (plain, flanged, coated)
        if one is not None and one.limits["stock_mass"].rated is not None
    ]
    assert len(masses) == 3
    assert masses[0] < min(masses[1:])
    assert masses[1] != masses[2]


@pytest.mark.parametrize("section", ["HSS 4x4x1/4", "HSS 6x4x1/4"])
def test_what_is_no_round_says_why_there_is_none(section: str) -> None:
    (answer,) = asked(section, "3 m").verdicts
    assert answer.chance is not None
    assert not answer.chance.limits
    told = told_of(answer)
    assert told is not None
    assert "not worked out, only rounds" in told.head


def test_chances_in_words() -> None:
    told = told_of(asked("NPS 6 SCH 40", "9 m", lot=10).verdicts[0])
    assert told is not None
    assert [row.measure for row in told.rows] == ["rotary inertia", "stock mass", "wall"]
    assert "lifts no refusal and no condition" in told.note
    assert "50% of lots" in told.note
    assert all("%" in text for row in told.rows for text in row[1:])
    assert [shown(chance) for chance in (0, 1e-7, 0.0014, 0.0121, 0.42, 0.9986, 0.9999, 1)] == [
        "0%", "<0.1%", "0.1%", "1.2%", "42%", "99.9%", ">99.9%", "100%",
    ]  # fmt: skip
