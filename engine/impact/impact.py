"""What would be answered otherwise: two states of machines and rules over one backlog.

Both sides decide the same chunks, which are read once where they can be; memory does not grow
with the file.
"""

from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import contextmanager
from typing import Final, NamedTuple

from ...catalogue.errors import InputError
from ...catalogue.machines.model import MachineModel
from ...catalogue.machines.site_overlay import MARK
from ..answer.words import WORDS_BY_NAME
from ..assessor import AssessorCore
from ..backlog.asked import Asked
from ..backlog.opened import Chunk
from ..backlog.parse_jobs import Normaliser
from ..backlog.pipeline import each_chunk
from ..backlog.row_filter import Narrowing
from ..backlog.runner import Runner
from ..backlog.workers import Workers
from .comparing import Comparing
from .model import Impact, Names, Revision, Source, State
from .ranking import OTHER_TITLES, ranking_of

EXAMPLES: Final = 5
"""Jobs shown of each cause."""


class Side(NamedTuple):
    """One of the two states that are compared.

    Attributes:
        assessor: its catalogue and rules.
        machines: the models asked, in the order of those of the other side.
        open_to: how many of them, from the first, a row is asked on that names none; all without.
    """

    assessor: AssessorCore
    machines: tuple[MachineModel, ...]
    open_to: int | None = None


def models_only(side: Side) -> Side:
    """Return a side on which rows that name no machine are asked on models, not on sites.

    Models come before sites, as :mod:`.draft_impact` puts them.
    """
    models = sum(MARK not in machine.code for machine in side.machines)
    return side._replace(open_to=models)


def impact_of(
    before: Side,
    after: Side,
    chunks: Iterable[Chunk],
    *,
    backlog: Source,
    workers: int | None = None,
    examples: int = EXAMPLES,
    advance: Callable[[int], None] | None = None,
) -> Impact:
    """Compare the answers of two states for the same jobs.

    A row that names a model which is not asked about is counted and left alone.

    Args:
        before: the one state.
        after: the other; its machines are revisions of those of ``before``, one by one.
        chunks: the backlog.
        backlog: what the backlog is known by.
        workers: processes to use; without it one for each processor.
        examples: jobs kept of each cause.
        advance: told the rows read so far after each chunk.

    Raises:
        InputError: ``choice-unknown`` where the machines are not the same models.
        CuttableError: a file of either side is wrong, or the engine failed.
    """
    codes = [[machine.code for machine in side.machines] for side in (before, after)]
    if codes[0] != codes[1]:
        raise InputError(
            "choice-unknown",
            f"{', '.join(codes[0])} cannot be compared with {', '.join(codes[1])}",
            remedy="Compare revisions of the same models.",
        )
    with _runners(before, after, workers) as (first, second, is_shared):
        comparing = Comparing(first, second, examples)
        narrowing = _narrowing((before, after))

        def compare(whole: Chunk) -> None:
            chunk, kept = narrowing.narrowed(whole)
            if not chunk.rows:
                return
            read = first.read(chunk.columns, chunk.rows)
            a = first.decide(chunk.columns, chunk.rows, chunk.faults, read)
            b = second.decide(chunk.columns, chunk.rows, chunk.faults, read if is_shared else None)
            first.count(a)
            second.count(b)
            comparing.add(chunk, kept, a, b)

        rows = each_chunk(chunks, compare, advance=advance)
    return Impact(
        backlog=backlog,
        before=_state(before, first),
        after=_state(after, second),
        jobs=rows,
        not_asked=rows - first.tally.jobs,
        answers=comparing.answers,
        faulty=comparing.faulty,
        unchanged=comparing.unchanged,
        numbers_only=comparing.numbers_only,
        changed=comparing.changed,
        columns={name: count for name, count in comparing.columns.items() if count},
        groups=comparing.groups(),
        names=names_of(before.assessor).joined(names_of(after.assessor)),
    )


def state_over(
    side: Side,
    chunks: Iterable[Chunk],
    *,
    workers: int | None = None,
    advance: Callable[[int], None] | None = None,
) -> State:
    """Return what one state alone comes to over a backlog: which limit refuses most.

    Raises:
        CuttableError: a file is wrong, or the engine failed.
    """
    runner = Runner(side.assessor, _asked(side), workers)
    narrowing = _narrowing((side,))

    def count(whole: Chunk) -> None:
        chunk, _ = narrowing.narrowed(whole)
        if chunk.rows:
            runner.count(runner.decide(chunk.columns, chunk.rows, chunk.faults))

    try:
        each_chunk(chunks, count, advance=advance)
    finally:
        runner.close()
    return _state(side, runner)


def names_of(assessor: AssessorCore) -> Names:
    """Return what the codes of an assessor's answers are called."""
    rule_set = assessor.rule_set
    return Names(
        {rule.code: rule.title for rule in rule_set.rules} | OTHER_TITLES,
        dict(rule_set.vocabulary.titles),
        {item.code: item.title for item in rule_set.mitigations.values()},
        dict(rule_set.vocabulary.accessories),
    )


def _state(side: Side, runner: Runner) -> State:
    assessor, tally = side.assessor, runner.tally
    return State(
        tuple(Revision(item.code, item.revision, item.digest) for item in side.machines),
        assessor.rule_set.digest,
        assessor.catalogue.digest,
        tally.jobs,
        tally.faulty,
        {name: tally.verdicts[name] for name in WORDS_BY_NAME if tally.verdicts.get(name)},
        ranking_of(tally, assessor.rule_set, side.machines),
    )


def _narrowing(sides: Sequence[Side]) -> Narrowing:
    """Return what leaves out the rows of a chunk that are not asked about."""

    def is_known(name: str) -> bool:
        return any(_has(side.assessor, name) for side in sides)

    codes = (machine.code for machine in sides[0].machines)
    return Narrowing(codes, is_known, has_open=sides[0].open_to != 0)


def _asked(side: Side) -> Asked:
    return Asked(side.machines, is_compared=True, is_by_code=True, open_to=side.open_to)


def _has(assessor: AssessorCore, name: str) -> bool:
    try:
        assessor.catalogue.machine(name)
    except InputError:
        return False
    return True


@contextmanager
def _runners(
    before: Side, after: Side, workers: int | None
) -> Generator[tuple[Runner, Runner, bool]]:
    """Give a runner for each side, and say whether texts need to be read only once for both."""
    one, two = before.assessor, after.assessor
    first_rules, second_rules = one.rule_set, two.rule_set
    is_shared = (
        one.catalogue.digest == two.catalogue.digest
        and first_rules.vocabulary == second_rules.vocabulary
    )
    normaliser = Normaliser(one.catalogue, first_rules.vocabulary)
    deciders = [Workers(one.engine, workers)]
    if first_rules != second_rules:
        deciders.append(Workers(two.engine, workers))
    asked = [_asked(side) for side in (before, after)]
    try:
        yield (
            Runner(one, asked[0], decider=deciders[0], normaliser=normaliser),
            Runner(
                two, asked[1], decider=deciders[-1], normaliser=normaliser if is_shared else None
            ),
            is_shared,
        )
    finally:
        for decider in deciders:
            decider.close()
