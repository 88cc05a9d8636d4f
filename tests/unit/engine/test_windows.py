"""The two ends of the lengths that are taken: every one that is told is one the verdict gives."""

import dataclasses
import math
import random
from itertools import pairwise
from typing import Final

import pytest
from cuttable.catalogue.machines.model import MachineModel
from cuttable.engine.answer.document import Answer, Fit, Verdict, read_reply, text_of
from cuttable.engine.answer.wording import System, show_at_least, show_at_most, show_window
from cuttable.engine.answer.words import fit_sentences
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job import Job
from cuttable.engine.jobs.parse import read_job
from cuttable.engine.search.windows import (
    Windows,
    longest_of,
    rounded_down,
    rounded_up,
    windows_of,
)

CORE: Final = AssessorCore()
MACHINES: Final = list(CORE.catalogue.machines.values())
SECTIONS: Final = (
    "NPS 1 SCH 40", "NPS 2 SCH 80", "NPS 4 SCH 40", "NPS 6 SCH 40", "NPS 8 SCH 60", "NPS 10 XS",
    "NPS 12 STD", "NPS 20 SCH 10", "tube 35 x 1.5 mm", "SHS 100x5 cf", "HSS 6x4x1/4",
)  # fmt: skip
GOOD: Final = {0: {Verdict.IN_RANGE}, 1: {Verdict.IN_RANGE, Verdict.CONDITIONS}}
"""Verdicts of lengths in range, and of lengths allowed."""


def job_of(section: str, **more: str) -> Job:
    """Return a job of one metre."""
    job, _ = read_job(JobText(section, "1 m", **more), CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None
    return job


def verdict(job: Job, machine: MachineModel, length: float) -> Verdict | None:
    """Return the whole verdict at a length."""
    reply = CORE.answer(job._replace(length=length), [machine], system="si", is_all=False)
    return reply.verdicts[0].verdict if reply.verdicts else None


@pytest.mark.parametrize("seed", range(14))
def test_both_ends_are_what_the_verdict_gives_and_ten_millimetres_more_are_not(seed: int) -> None:
    """Random stock on a random machine, some of it standing behind the chuck."""
    dice = random.Random(seed)
    machine = dice.choice(MACHINES)
    job = job_of(dice.choice(SECTIONS), bow=dice.choice(["", "3 mm"]))
    if seed % 4 == 3:
        job = job._replace(behind=float(dice.randrange(50, 700, 50)))
    windows = windows_of(CORE.engine, job, machine)
    for bad, spans in enumerate(windows):
        for low, high in spans:
            assert job.behind < low <= high <= longest_of(machine) + job.behind
            # What is shown is a length of the verdict too, in both systems.
            halves = (math.ceil(low / 12.7 - 1e-9) * 12.7, math.floor(high / 12.7 + 1e-9) * 12.7)
            for at in (low, high, *(half for half in halves if low <= half <= high)):
                assert verdict(job, machine, at) in GOOD[bad], (machine.code, job, at)
            if low - 10 > job.behind:
                assert verdict(job, machine, low - 10) not in GOOD[bad]
            if high + 10 <= longest_of(machine) + job.behind:
                assert verdict(job, machine, high + 10) not in GOOD[bad]


def test_lengths_between_the_windows_are_not_taken() -> None:
    """With an overhang shorter than the pitch there are several windows, and gaps between them."""
    rowan = CORE.catalogue.machine("rowan-150")
    limits = dict(rowan.limits)
    limits["overhang"] = limits["overhang"]._replace(rated=500.0, absolute=600.0)
    bed = rowan.bed._replace(station_pitch=1300.0)
    machine = rowan._replace(limits=limits, bed=bed, digest="gaps")
    job = job_of("NPS 4 SCH 40")
    windows = windows_of(CORE.engine, job, machine).allowed
    assert len(windows) > 2
    for (_, high), (low, _) in pairwise(windows):
        assert low > high + 1
        assert verdict(job, machine, (low + high) / 2) == Verdict.REFUSED


def test_no_length_is_said_only_where_there_is_none() -> None:
    """Stock that no setting makes possible has no window; short stock has one above it."""
    assert windows_of(CORE.engine, job_of("NPS 4 SCH 40", ends="sealed"), MACHINES[0]) == Windows(
        (), ()
    )
    answer = CORE.ask(JobText("NPS 4 SCH 40", "10 in"), ["alder-320"], system="us").verdicts[0]
    assert answer.verdict == Verdict.REFUSED
    assert answer.would_fit is not None
    assert answer.would_fit.lengths_in_range == ((800.0, 12500.0),)
    assert fit_sentences(answer, "us")[0] == (
        "This section on this model: in range 2'-7 1/2\" to 41'-0\", and at no other length."
    )


def test_a_window_without_a_half_inch_is_told_as_it_is() -> None:
    """Two millimetres wide: there is no half inch in it, and none is shown."""
    assert show_window((500.0, 502.0), "us") == "19.685 in to 19.764 in"
    assert show_window((500.0, 502.0), "si") == "500 mm to 502 mm"


def test_where_only_the_way_it_is_carried_decides_an_end_is_what_the_whole_verdict_gives() -> None:
    """The other rules would let it be nine millimetres longer."""
    job, machine = job_of("SHS 50x4 cf"), CORE.catalogue.machine("alder-320")
    assert windows_of(CORE.engine, job, machine).in_range == ((800.0, 1580.0),)
    assert verdict(job, machine, 1580.0) == Verdict.IN_RANGE
    assert verdict(job, machine, 1589.0) == Verdict.CONDITIONS


def test_half_inches_are_inside() -> None:
    """Up for the shortest, down for the longest; what is on one stays."""
    assert rounded_up(800.0) == pytest.approx(63 * 12.7)
    assert rounded_down(800.0) == pytest.approx(62 * 12.7)
    assert rounded_up(63 * 12.7) == rounded_down(63 * 12.7) == 63 * 12.7


def test_how_windows_are_told() -> None:
    """One with the same beginning by its end; several each with both ends; none as none."""
    answer = CORE.ask(JobText("NPS 10 XS", "12 m"), ["alder-320"]).verdicts[0]

    def told(
        *, good: tuple[tuple[float, float], ...], most: tuple[tuple[float, float], ...]
    ) -> str:
        fit = Fit(
            longest_in_range=good[-1][1] if good else None, longest_allowed=most[-1][1],
            lengths_in_range=good, lengths_allowed=most,
        )  # fmt: skip
        return fit_sentences(_with(answer, fit), "si")[0].partition(": ")[2]

    whole = ((800.0, 12500.0),)
    assert told(good=((800.0, 8447.0),), most=whole) == (
        "in range 800 mm to 8447 mm, allowed with conditions up to 12500 mm."
    )
    assert told(good=(), most=whole) == (
        "in range at no length, allowed with conditions 800 mm to 12500 mm."
    )
    assert told(good=((900.0, 1000.0), (1200.0, 1200.0)), most=whole) == (
        "in range 900 mm to 1000 mm and 1200 mm; allowed, in part with conditions, 800 mm to "
        "12500 mm."
    )
    first = read_reply(text_of(CORE.ask(JobText("NPS 10 XS", "12 m"), ["alder-320"]), 1))
    assert fit_sentences(first.verdicts[0], "si")[0].endswith(
        "in range up to 8447 mm, allowed with conditions up to 12500 mm."
    )


def _with(answer: Answer, fit: Fit) -> Answer:
    return dataclasses.replace(answer, would_fit=fit)


@pytest.mark.parametrize(("system", "expected"), [("si", "801 mm to 8447 mm"),
                                                  ("us", "2'-8\" to 27'-8 1/2\"")])  # fmt: skip
def test_ends_are_rounded_inward(system: System, expected: str) -> None:
    """The shortest up, the longest down."""
    assert show_window((800.4, 8447.6), system) == expected
    assert show_at_least(800.0, "si") == show_at_most(800.0, "si") == "800 mm"
