"""The answer as a typed document: what every view of it tells, and that they tell the same."""

import dataclasses
import io
import math
import random
from collections.abc import Iterator, Mapping
from contextlib import redirect_stdout
from pathlib import Path
from typing import Any, Final

import pytest
from cuttable.catalogue.errors import InputError
from cuttable.cli.terminal.layout import print_answer
from cuttable.engine.answer import document as doc
from cuttable.engine.answer.differences import changes, essence, lines, question_lines
from cuttable.engine.answer.document import Answer, Reply, Verdict, read_reply, text_of
from cuttable.engine.answer.wording import System
from cuttable.engine.answer.words import WORTH_SHOWING, card_of, is_moot
from cuttable.engine.assessor import AssessorCore, Chance
from cuttable.engine.decision.limit_check import FULL, is_near, is_over
from cuttable.engine.jobs.fields import JobText
from cuttable.service.pages.answer_view import shown
from cuttable.service.pages.rendering import ENVIRONMENT

CORE: Final = AssessorCore()
ASKED: Final[list[tuple[JobText, tuple[str, ...], System]]] = [
    (JobText("NPS 4 SCH 40", "20 ft", parts=("4 ft*3",)), ("rowan-150",), "us"),
    (JobText("NPS 4 SCH 40", "6 m", bow="3 mm", off_axis="5 kg @ 70 mm x 10 mm"),
     ("rowan-150",), "si"),
    (JobText("NPS 10 XS", "12 m"), ("alder-320", "rowan-150", "medlar-300"), "si"),
    (JobText("NPS 6 SCH 40", "3 m"), ("rowan-150", "medlar-300"), "si"),
    (JobText("NPS 6 SCH 40", "3 m", fitted=("reversed-jaws", "wide-roller-pair")),
     ("rowan-150",), "si"),
    (JobText("SHS 100x5", "6 m", cuts=("2 m", "1 m")), ("medlar-300",), "si"),
    (JobText("NPS 4 SCH 40", "6 m", stations=("1650 mm",)), ("rowan-150",), "si"),
    (JobText("NPS 6 SCH 40", "6 m", parts=("0.3 m*4",), behind="500 mm"), ("alder-320",), "si"),
    (JobText("NPS 12 STD", "12 m", parts=("4.4 m*2",)), ("alder-320",), "us"),
    (JobText("NPS 24 STD", "18 m"), (), "si"),
    (JobText("NPS 4 SCH 40S", "6 m"), ("rowan-150",), "si"),
    (JobText("NPS 4 SCH 40", "20 ft", stations=("6 ft", "15 ft"), parts=("4 ft*3",)),
     ("rowan-150",), "us"),
    (JobText("NPS 10 XS", "12 m", stations=("1.5 m", "9 m")), ("alder-320",), "si"),
    (JobText("NPS 12 STD", "6 m", parts=("1 m*6",)), ("alder-320",), "si"),
    (JobText("NPS 6 SCH 40", "6 m"), ("rowan-150",), "si"),
    (JobText("NPS 10 XS", "12 m", bow="60 mm"), ("alder-320",), "si"),
    (JobText("NPS 4 SCH 40", "8 m", parts=("1 m*7",)), ("rowan-150",), "si"),
    (JobText("NPS 4 SCH 40", "12 m", parts=("1 m*11",)), ("rowan-150",), "si"),
]  # fmt: skip


@pytest.fixture(scope="module")
def replies() -> list[tuple[Reply, System]]:
    """Answers of many kinds."""
    return [
        (CORE.ask(text, names, system=system, is_traced=place % 3 == 0), system)
        for place, (text, names, system) in enumerate(ASKED)
    ]


def told(reply: Reply, system: System, *, is_full: bool = True, is_every: bool = True) -> str:
    """Return what the terminal shows."""
    screen = io.StringIO()
    with redirect_stdout(screen):
        print_answer(reply, system, is_full=is_full, is_every=is_every)
    return screen.getvalue()


def test_what_is_written_is_read_as_it_was(replies: list[tuple[Reply, System]]) -> None:
    """The document comes back equal, to the last number; of the first form, its JSON does."""
    for reply, _ in replies:
        assert read_reply(text_of(reply)) == reply
        first = text_of(reply, 1)
        assert text_of(read_reply(first), 1) == first


def test_a_kept_answer_shows_the_words_of_a_fresh_one(
    replies: list[tuple[Reply, System]],
) -> None:
    """On the terminal, short and in full, and on a page."""
    page = ENVIRONMENT.get_template("_answer.html")
    for reply, system in replies:
        kept = read_reply(text_of(reply))
        for is_full in (False, True):
            fresh = told(reply, system, is_full=is_full, is_every=False)
            assert told(kept, system, is_full=is_full, is_every=False) == fresh
            # What answer N prints begins with what check printed.
            assert told(kept, system, is_full=is_full).startswith(fresh)
        pages = [page.render(answer=shown(item, system), kept={}) for item in (reply, kept)]
        assert pages[0] == pages[1]


def test_an_answer_of_the_first_form_is_shown_whole(
    replies: list[tuple[Reply, System]],
) -> None:
    """Codes stand for titles it does not have; every sentence and number is there."""
    for reply, system in replies:
        first = read_reply(text_of(reply, 1))
        screen = " ".join(told(first, system).split())
        for answer in first.verdicts:
            card = card_of(answer, system)
            assert card.sentence in screen
            for text in (*card.boxes, *card.cautions, *(item.text for item in card.findings)):
                assert " ".join(text.split()) in screen or _is_split(text, screen)
        page = ENVIRONMENT.get_template("_answer.html").render(answer=shown(first, system), kept={})
        assert all(answer.id in page for answer in first.verdicts)


def _is_split(text: str, screen: str) -> bool:
    """Say whether a text is there word by word: cells of a table are wrapped among others."""
    return all(word in screen for word in text.split())


# --- nothing is left out --------------------------------------------------------------------

NOT_SHOWN: Final = {
    # names and forms, for programs
    "Reply.schema", "Reply.form", "Answer.units", "Answer.close", "Answer.not_assessed",
    "Mitigation.code", "Mitigation.values",
    # told in the sentence of the finding, which has the number
    "Finding.basis", "SectionAsked.shape", "SectionAsked.standard",
    # typed by the asker, and told above a kept answer as it was typed
    "JobAsked.parts", "JobAsked.cuts", "JobAsked.stations", "JobAsked.behind", "JobAsked.bow",
    "JobAsked.off_axis", "JobAsked.fitted", "JobAsked.grip", "JobAsked.ends",
    "JobAsked.contents", "JobAsked.coating",
    "OffAxis.mass", "OffAxis.distance", "OffAxis.size",
    # on the sheet or its drawing
    "SetUp.remnant", "SetUp.trim", "SetUp.stub", "SetUp.last_station", "Support.title",
    # the measures of the same name show the worse of all stages
    "SetUp.chuck_reaction", "SetUp.chuck_moment", "SetUp.sag", "SetUp.tip_deflection",
    "SetUp.tip_slope", "Support.reaction_per_mm", "Tabs.stress",
    # for programs: the same as the sentence says, as it is typed
    "CureChange.say",
    "Clamping.say", "Clamping.cuts", "Clamping.governing", "Clamping.utilisation",
    # told as a cure
    "Fit.accessories",
    # seen in what is said to hold a part; a catcher is named in the table of supports
    "Part.taker", "Step.support",
}  # fmt: skip
"""What the terminal does not show, reviewed: why stands above each group."""

OTHER: Final[Mapping[str, tuple[Any, ...]]] = {
    "Answer.verdict": tuple(Verdict), "Finding.outcome": ("setting", "conditions", "refused"),
    "SetUp.plan": ("rated", "given"),
    "SetUp.jaw_set_by": ("pressure", "key-torque"), "Part.behaviour": ("stays", "drops"),
    "SetUp.ramp": ("constant-time", "constant-acceleration"),
    "Answer.close": (("stock_mass",), ()),
    "CureChange.kind": ("bow", "grip"), "Forbidden.kind": ("bore", "rear-room"),
    "Clampings.verdict": (Verdict.IN_RANGE, Verdict.CONDITIONS),
    "Clamping.verdict": (Verdict.IN_RANGE, Verdict.CONDITIONS),
    "Cure.verdict": (Verdict.IN_RANGE, Verdict.CONDITIONS),
}  # fmt: skip
"""Values of fields that take only some."""


def changed(key: str, value: Any) -> Any:  # noqa: PLR0911 - one line a kind of value
    """Return another value of the same kind."""
    if key in OTHER:
        return next(item for item in OTHER[key] if item != value)
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 7
    if isinstance(value, float):
        return value * 1.31 + 11.0
    if isinstance(value, str):
        return f"qq{value}"  # of a digest only the beginning is shown
    if isinstance(value, tuple) and value and isinstance(value[0], tuple):
        return ((value[0][0] + 111.0, value[0][1] + 222.0), *value[1:])
    if isinstance(value, tuple) and value and isinstance(value[0], str | float):
        return (changed("", value[0]), *value[1:])
    return value


def variants(item: Any) -> Iterator[tuple[str, Any]]:
    """Yield copies of a part of the document, each with one value another, by class and field."""
    for each in dataclasses.fields(item):
        value, key = getattr(item, each.name), f"{type(item).__name__}.{each.name}"
        other = changed(key, value)
        if other != value:
            yield key, dataclasses.replace(item, **{each.name: other})
        for name, inner in _inner(value):
            yield from (
                (found, dataclasses.replace(item, **{each.name: name(copy)}))
                for found, copy in variants(inner)
            )


def _inner(value: Any) -> Iterator[tuple[Any, Any]]:
    """Yield parts of the document inside a value, each with how to put a copy in its place."""
    if dataclasses.is_dataclass(value):
        yield (lambda copy: copy), value
    elif isinstance(value, tuple):
        for place, part in enumerate(value):
            if dataclasses.is_dataclass(part):
                yield (lambda copy, at=place: (*value[:at], copy, *value[at + 1 :])), part
    elif isinstance(value, Mapping):
        for name, part in value.items():
            if dataclasses.is_dataclass(part):
                yield (lambda copy, at=name: {**value, at: copy}), part


def test_the_terminal_shows_every_key_but_those_that_are_named(
    replies: list[tuple[Reply, System]],
) -> None:
    """Another value of a key is another text on the screen, at least in one of the answers."""
    seen: set[str] = set()
    tried: dict[str, int] = {}
    # Parts too short for a support under them are held by tabs; others are caught, with moves.
    asked = [JobText("NPS 4 SCH 40", "6 m"), JobText("NPS 20 STD", "12 m"),
             JobText("NPS 10 STD", "4 m", parts=["0.3 m*2"]),
             JobText("NPS 4 SCH 40", "11.8 m", parts=["1.82 m*5"]),
             JobText("SHS 100x5 cf", "6 m")]  # fmt: skip
    chances: list[tuple[Reply, System]] = [
        (CORE.ask(text, ["alder-320"], chance=Chance(lot=8)), "si") for text in asked
    ]
    for reply, system in [*replies, *chances]:
        one = dataclasses.replace(reply, verdicts=reply.verdicts[:2])
        before = told(one, system)
        copies = list(variants(one))
        random.Random(5).shuffle(copies)
        here: dict[str, int] = {}
        for key, copy in copies:
            if key in seen or here.get(key, 0) >= 40:
                continue
            here[key] = tried[key] = here.get(key, 0) + 1
            if told(copy, system) != before:
                seen.add(key)
    parts = {kind for kind in vars(doc).values() if dataclasses.is_dataclass(kind)}
    every = {f"{kind.__name__}.{each.name}" for kind in parts for each in dataclasses.fields(kind)}
    nested = {key for key in every if key not in tried}
    containers = {
        "Reply.verdicts", "Reply.questions", "Answer.machine", "Answer.job", "Answer.measures",
        "Answer.findings", "Answer.mitigations", "Answer.would_fit", "Answer.setup",
        "Answer.provenance", "Answer.trace", "JobAsked.section", "SectionAsked.inches",
        "SetUp.supports", "SetUp.parts", "SetUp.steps", "Part.tabs", "Traced.inputs",
        "Answer.questions",
        "Answer.clampings", "Clampings.steps", "Clampings.forbidden", "Clamping.parts",
        "Answer.cures", "Cure.changes", "CureChange.parts",
        "Answer.chance", "Chance.limits", "ChanceOfLimits.rated", "ChanceOfLimits.absolute",
    }  # fmt: skip
    unseen = every - seen - containers
    assert unseen <= NOT_SHOWN | RARE, sorted(unseen - NOT_SHOWN - RARE)
    assert not seen & NOT_SHOWN, sorted(seen & NOT_SHOWN)
    assert nested - containers <= RARE | NOT_SHOWN, sorted(nested - containers - RARE - NOT_SHOWN)


RARE: Final = {
    "Forbidden.rule", "Forbidden.title",  # test_clampings
    "MachineAsked.file", "MachineAsked.overlay_revision",  # tests/ledger: sites and files
    "SizesInInches.height", "SizesInInches.width",  # of tables in inches, shown as the diameter is
}  # fmt: skip
"""What none of the answers here has."""


# --- parts of the presenter -----------------------------------------------------------------


def test_what_is_over_near_and_full_is_said_once() -> None:
    """At the tolerance itself a limit is met; beyond it is over."""
    assert not is_over(1.0)
    assert not is_over(FULL)
    assert is_over(math.nextafter(FULL, 2.0))
    assert not is_over(None)
    assert is_near(0.9, None)
    assert not is_near(0.8999, None)
    assert is_near(0.1, 0.9)
    assert not is_near(None, 2.0)


def answer_of(section: str, length: str, machine: str, **more: Any) -> Answer:
    """Return the answer of one model."""
    return CORE.ask(JobText(section, length, **more), [machine]).verdicts[0]


def test_a_refusal_gives_nothing_to_do_unless_an_accessory_lifts_it() -> None:
    """Numbers beside a refusal would be taken for leave to try."""
    heavy = answer_of("NPS 24 STD", "18 m", "rowan-150")
    assert is_moot(heavy)
    assert heavy.to_do == ()
    lacking = answer_of("NPS 6 SCH 40", "3 m", "rowan-150")
    assert lacking.decided_by == "NOT-FITTED"
    assert not is_moot(lacking)
    assert len(lacking.to_do) == len(lacking.mitigations) > 0
    assert all(text.endswith(".") and not text.endswith("..") for text in lacking.to_do)
    assert any("(accessory reversed-jaws)" in text for text in lacking.to_do)
    assert card_of(lacking, "si").decided == f"needs {', '.join(lacking.missing)}"


def test_a_machine_with_a_ramp_of_constant_time_has_no_acceleration_to_set() -> None:
    """The number is in the document, and in no setting that a person is told."""
    for machine in ("rowan-150", "medlar-300", "alder-320", "larch-610"):
        answer = answer_of("NPS 4 SCH 40", "6 m", machine)
        ramp = CORE.catalogue.machine(machine).rotary.ramp
        names = [name for name, _ in card_of(answer, "si").told_settings]
        assert ("ramp acceleration" in names) == (ramp == "constant-acceleration")
        assert {"rapid override", "jaw force, each", "refuse if bowed more than"} <= set(names)


def test_limits_less_than_half_used_are_little() -> None:
    """But for the one that decides."""
    answer = answer_of("NPS 4 SCH 40", "6 m", "rowan-150")
    for row in card_of(answer, "si").limits:
        most = max(row.share or 0.0, row.heavy_share or 0.0)
        assert row.is_little == (most < WORTH_SHOWING and not row.is_decisive)


def test_a_sheet_is_made_from_the_document_alone(tmp_path: Path) -> None:
    """One that was kept gives the same sheet; another kind of file is an error."""
    answer = answer_of("NPS 4 SCH 40", "20 ft", "rowan-150", parts=("4 ft*3",))
    kept = read_reply(text_of(Reply(verdicts=(answer,), form=doc.FORM))).verdicts[0]
    pages = [item.sheet(tmp_path / f"{n}.html").read_text("utf-8")
             for n, item in enumerate((answer, kept))]  # fmt: skip
    assert pages[0] == pages[1]
    assert "Set the origin inside the trim" in pages[0]
    with pytest.raises(InputError) as refused:
        answer.sheet(tmp_path / "job.docx")
    assert refused.value.code == "choice-unknown"
    assert not (tmp_path / "job.docx").exists()


# --- what differs ---------------------------------------------------------------------------


def reply_of(answer: Answer) -> Reply:
    """Return a reply of one answer."""
    return Reply(verdicts=(answer,), form=doc.FORM)


def test_two_answers_that_rest_on_other_revisions_do_not_differ() -> None:
    """Id, digests and revision are no differences of the answer."""
    answer = answer_of("NPS 4 SCH 40", "6 m", "rowan-150")
    machine = dataclasses.replace(answer.machine, revision=9, digest="sha256:0")
    other = dataclasses.replace(answer, id="0", machine=machine)
    assert changes(reply_of(answer), reply_of(other)) == []


def test_findings_supports_and_settings_are_compared_too() -> None:
    """A change in any of them is told in a sentence of its own."""
    answer = answer_of("NPS 4 SCH 40", "6 m", "rowan-150")
    setup = answer.setup
    moved = dataclasses.replace(setup.supports[0], station=setup.supports[0].station + 150)
    finding = dataclasses.replace(answer.findings[0], rule="NEW-01", text="Something new.")
    for other, line in (
        (dataclasses.replace(answer, findings=(*answer.findings, finding)),
         "now: NEW-01 Something new."),
        (dataclasses.replace(answer, setup=dataclasses.replace(setup, rapid_override=0.5)),
         "rapid override 100 % → 50 %"),
        (dataclasses.replace(answer, setup=dataclasses.replace(
            setup, supports=(moved, *setup.supports[1:]))), "supports at "),
    ):  # fmt: skip
        (change,) = changes(reply_of(answer), reply_of(other))
        assert not change.is_of_verdict
        assert any(text.startswith(line) for text in lines(change, "si"))
    refused = answer_of("NPS 24 STD", "6 m", "rowan-150")
    (change,) = changes(reply_of(answer), reply_of(refused))
    assert change.heading == "in-range → refused"
    assert essence(change.after)["decided_by"] == refused.decided_by


def test_an_answer_of_the_first_form_is_compared_by_what_it_tells() -> None:
    """Keys that came later are no change of the answer."""
    reply = CORE.ask(JobText("NPS 4 SCH 40", "6 m", parts=("1 m*3",)))
    first = read_reply(text_of(reply, 1))
    assert changes(first, reply) == []
    assert changes(reply, reply) == []
    asked = CORE.ask(JobText("NPS 4 SCH 40S", "6 m"), ["rowan-150"])
    assert question_lines(first, asked)[0].startswith("Now a question is open: ")
    assert len(changes(first, asked)) == len(first.verdicts)
