"""Ask a question of the catalogue: the whole path from typed text to verdicts."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Final, NamedTuple

from ..catalogue.errors import Question
from ..catalogue.files.file_source import Files
from ..catalogue.machines.model import MachineModel
from ..catalogue.machines.site_overlay import MARK
from ..catalogue.store import Catalogue
from ..rules.loader import FOLDER as RULES_FOLDER
from ..rules.model import RuleSet
from .answer import document as doc
from .answer.making import answers, traced
from .answer.wording import System
from .decision.decide import Engine
from .decision.inference import RANK
from .inputs.contract import load_rules
from .jobs.checks import check_fitted, check_kerf
from .jobs.fields import JobText
from .jobs.job import Job
from .jobs.parse import read_job
from .search.fit import more_supports, smallest_models, with_accessories
from .search.windows import windows_of
from .version import VERSION

ORDER: Final = {doc.Verdict.IN_RANGE: 0, doc.Verdict.CONDITIONS: 1, None: 2, doc.Verdict.REFUSED: 3}
"""Answers best first; one with an open question may still become a yes."""


class Chance(NamedTuple):
    """Chances are asked for: for a piece, and for a lot of so many pieces of one heat."""

    lot: int | None = None


class AssessorCore:
    """Catalogue, rules and engine together, each loaded when first needed."""

    def __init__(
        self,
        catalogue: Catalogue | None = None,
        rules: Path | Files = RULES_FOLDER,
        on: dt.date | None = None,
    ) -> None:
        self.catalogue = catalogue or Catalogue()
        self._rules, self._on = rules, on

    @cached_property
    def rule_set(self) -> RuleSet:
        """The rules in force on the day asked for, else today."""
        return load_rules(self._rules, self._on)

    @cached_property
    def engine(self) -> Engine:
        """The engine with these rules."""
        return Engine(self.rule_set)

    @cached_property
    def provenance(self) -> doc.Provenance:
        """What answers of this assessor rest on."""
        return doc.Provenance(
            tool=f"cuttable {VERSION}", rules=self.rule_set.digest, catalogue=self.catalogue.digest
        )

    def machines(self, names: Sequence[str]) -> list[MachineModel]:
        """Return models by code or by the path of a ``.toml`` file; all if none is named.

        Raises:
            InputError: ``machine-unknown``.
            FileError: a file is missing, damaged or wrong.
        """
        if not names:
            return list(self.catalogue.machines.values())
        return [
            self.catalogue.machine_file(Path(name))
            if name.casefold().endswith(".toml")
            else self.catalogue.machine(name)
            for name in names
        ]

    def ask(
        self,
        text: JobText,
        machine_names: Sequence[str] = (),
        *,
        system: System = "si",
        is_traced: bool = False,
        chance: Chance | None = None,
    ) -> doc.Reply:
        """Answer for one job on one, several or all models.

        Args:
            text: the job as typed.
            machine_names: models by code or file; all if none is named.
            system: units of the sentences.
            is_traced: tell how every measure came about.
            chance: tell how likely delivered stock is over a limit.

        Raises:
            CuttableError: the job or a file cannot be read.
        """
        job, questions = read_job(text, self.catalogue, self.rule_set.vocabulary)
        machines = self.machines(machine_names)
        if job is None:
            return _asking(questions)
        check_fitted(job.fitted, machines)
        check_kerf(job.cuts, machines)
        return self.answer(
            job, machines, system=system, is_all=not machine_names, is_traced=is_traced,
            chance=chance,
        )  # fmt: skip

    def answer(
        self,
        job: Job,
        machines: Sequence[MachineModel],
        *,
        system: System,
        is_all: bool,
        is_traced: bool = False,
        chance: Chance | None = None,
    ) -> doc.Reply:
        """Answer for a job that is read."""
        jobs = [job] * len(machines)
        decision = self.engine.decide(jobs, machines)
        found = answers(self.engine, decision, jobs, machines, self.provenance, system)
        asked = {item.code: item for answer in found for item in answer.questions}
        is_refused = all(item.verdict == doc.Verdict.REFUSED for item in found)
        is_possible = any(item.verdict not in (None, doc.Verdict.REFUSED) for item in found)
        if asked and not is_possible and not is_refused:
            return _asking(list(asked.values()))
        fits = _Fits(self.engine, self.catalogue, machines if is_all else ())
        full = [
            replace(answer, would_fit=fits.of(answer, job, machine))
            for answer, machine in zip(found, machines, strict=True)
        ]
        full = [
            replace(answer, cures=self._cures(answer, job, machine, system))
            for answer, machine in zip(full, machines, strict=True)
        ]
        full = [
            replace(answer, clampings=self._clampings(answer, job, machine, system))
            for answer, machine in zip(full, machines, strict=True)
        ]
        if is_traced:
            from .answer.trace import trace

            full = [
                replace(answer, trace=traced(trace(self, job, machine)))
                for answer, machine in zip(full, machines, strict=True)
            ]
        if chance is not None:
            from .answer.chance import chances_of

            told = chances_of(self.rule_set, decision, chance.lot)
            full = [
                replace(answer, chance=one) for answer, one in zip(full, told, strict=True)
            ]  # fmt: skip
        full.sort(key=lambda answer: ORDER[answer.verdict])
        return doc.Reply(verdicts=tuple(full), form=doc.FORM)

    def _cures(
        self, answer: doc.Answer, job: Job, machine: MachineModel, system: System
    ) -> tuple[doc.Cure, ...]:
        """Return what would make a refused job go; nothing is looked for where it goes."""
        if answer.verdict != doc.Verdict.REFUSED or answer.would_fit is None:
            return ()
        from .search.cures import Refused, cures_of

        refused = Refused(job, machine, answer.missing, answer.would_fit, system)
        return cures_of(self.engine, refused)

    def _clampings(
        self, answer: doc.Answer, job: Job, machine: MachineModel, system: System
    ) -> doc.Clampings | None:
        """Return the clampings of stock that is refused in one."""
        if answer.verdict != doc.Verdict.REFUSED or not job.parts:
            return None
        from .search.clampings import clampings_of

        return clampings_of(self.engine, job, machine, system)


def _asking(questions: Sequence[Question] | Sequence[doc.Question]) -> doc.Reply:
    asked = tuple(doc.Question(code=q.code, text=q.text, choices=q.choices) for q in questions)
    return doc.Reply(questions=asked, form=doc.FORM)


class _Fits:
    """What would make a job fit; the smallest models are found once for all answers.

    Args:
        engine: what decides.
        catalogue: its models are looked through, and read only where a job does not fit.
        models: looked through instead, where there are any.
    """

    def __init__(
        self,
        engine: Engine,
        catalogue: Catalogue,
        models: Sequence[MachineModel],
    ) -> None:
        self._engine = engine
        self._catalogue, self._given = catalogue, models
        self._smallest: dict[tuple[str, ...], dict[str, str | None]] = {}

    def of(self, answer: doc.Answer, job: Job, machine: MachineModel) -> doc.Fit | None:
        """Return what would make it fit; None where it does, or a question is open."""
        if answer.verdict in (None, doc.Verdict.IN_RANGE):
            return None
        wanted = answer.missing
        if not wanted and answer.setup.plan == "none":
            wanted = more_supports(job, machine)
        windows = windows_of(self._engine, job, machine)
        smallest = self._smallest_of(job, machine)
        return doc.Fit(
            longest_in_range=windows.longest_in_range,
            longest_allowed=windows.longest_allowed,
            smallest_model_in_range=smallest["in_range"],
            smallest_model_allowed=smallest["allowed"],
            accessories=with_accessories(self._engine, job, machine, wanted) if wanted else None,
            lengths_in_range=windows.in_range,
            lengths_allowed=windows.allowed,
        )

    def _smallest_of(self, job: Job, machine: MachineModel) -> dict[str, str | None]:
        model, mark, _ = machine.code.partition(MARK)
        # The site is that machine as it stands; its model as released is no way out.
        every = self._given or self._catalogue.machines.values()
        models = [
            machine if mark and item.code == model else item for item in every
        ]  # fmt: skip
        key = tuple(item.digest for item in models)
        if key not in self._smallest:
            self._smallest[key] = smallest_models(self._engine, job, models)
        return self._smallest[key]


def is_at_least(verdict: str | None, wanted: str) -> bool:
    """Say whether a verdict is as good as ``in-range`` or ``allowed``."""
    allowed = {"in-range": RANK["setting"], "allowed": RANK["conditions"]}[wanted]
    ranks = {name: RANK[outcome] for outcome, name in doc.VERDICTS.items()}
    return bool(verdict) and ranks[doc.Verdict(verdict)] <= allowed
