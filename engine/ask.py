"""Ask a question of the catalogue: the whole path from typed text to verdicts."""

import datetime as dt
from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import Any, Final, NamedTuple

from ..catalogue.errors import Question
from ..catalogue.machines import MachineModel
from ..catalogue.overlay import MARK
from ..catalogue.reading import Files
from ..catalogue.store import Catalogue
from ..rules.loader import FOLDER as RULES_FOLDER
from ..rules.model import RuleSet
from .decide import Engine
from .fit import longest_lengths, more_supports, smallest_models, with_accessories
from .inference import RANK
from .inputs.contract import load_rules
from .job import Job, JobText, check_fitted, check_kerf, read_job
from .verdict import VERDICTS, Provenance, Verdict, verdicts
from .version import VERSION
from .wording import System

ORDER: Final = {"in-range": 0, "oversize-allowed-with-conditions": 1, "": 2, "refused": 3}


class Answer(NamedTuple):
    """What came of asking: verdicts best first, or questions to answer first."""

    verdicts: tuple[Verdict, ...]
    questions: tuple[Question, ...]

    @property
    def best(self) -> str:
        """The best verdict, empty if there is none."""
        return self.verdicts[0].verdict if self.verdicts else ""


class Desk:
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
    def provenance(self) -> Provenance:
        """What answers of this desk rest on."""
        return Provenance(f"cuttable {VERSION}", self.rule_set.digest, self.catalogue.digest)

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
        self, text: JobText, machine_names: Sequence[str] = (), *, system: System = "si"
    ) -> Answer:
        """Answer for one job on one, several or all models.

        Raises:
            CuttableError: the job or a file cannot be read.
        """
        job, questions = read_job(text, self.catalogue, self.rule_set.vocabulary)
        machines = self.machines(machine_names)
        if job is None:
            return Answer((), tuple(questions))
        check_fitted(job.fitted, machines)
        check_kerf(job.cuts, machines)
        return self.answer(job, machines, system=system, is_all=not machine_names)

    def answer(
        self, job: Job, machines: Sequence[MachineModel], *, system: System, is_all: bool
    ) -> Answer:
        """Answer for a job that is read."""
        jobs = [job] * len(machines)
        decision = self.engine.decide(jobs, machines)
        found = verdicts(self.engine, decision, jobs, machines, self.provenance, system)
        asked = {item.code: item for verdict in found for item in verdict.questions}
        if asked and not any(verdict.verdict not in ("", "refused") for verdict in found):
            is_refused = all(verdict.verdict == "refused" for verdict in found)
            if not is_refused:
                return Answer(
                    (), tuple(Question(q.code, q.text, q.choices) for q in asked.values())
                )
        others = machines if is_all else ()
        smallest: dict[tuple[str, ...], dict[str, str | None]] = {}
        full = [self._with_fit(verdict, others, smallest) for verdict in found]
        full.sort(key=lambda verdict: ORDER[verdict.verdict])
        return Answer(tuple(full), ())

    def _with_fit(
        self,
        verdict: Verdict,
        others: Sequence[MachineModel],
        smallest: dict[tuple[str, ...], dict[str, str | None]],
    ) -> Verdict:
        """Add what would make it fit; the smallest models are found once for all verdicts."""
        job, machine = verdict.job, verdict.machine
        fit: dict[str, Any] = {}
        if verdict.verdict not in ("", VERDICTS["setting"]):
            fit |= {
                f"longest_{name}": value
                for name, value in longest_lengths(self.engine, job, machine).items()
            }
            models = list(others) or list(self.catalogue.machines.values())
            model, mark, _ = machine.code.partition(MARK)
            if mark:
                # The site is that machine as it stands; its model as released is no way out.
                models = [machine if item.code == model else item for item in models]
            key = tuple(item.digest for item in models)
            if key not in smallest:
                smallest[key] = smallest_models(self.engine, job, models)
            fit |= {f"smallest_model_{name}": code for name, code in smallest[key].items()}
            wanted = verdict.missing
            if not wanted and verdict.set_up.level == "none":
                wanted = more_supports(job, machine)
            if wanted:
                fit["accessories"] = list(with_accessories(self.engine, job, machine, wanted))
        return verdict._replace(fit=fit)


def is_at_least(verdict: str, wanted: str) -> bool:
    """Say whether a verdict is as good as ``in-range`` or ``allowed``."""
    allowed = {"in-range": RANK["setting"], "allowed": RANK["conditions"]}[wanted]
    ranks = {name: RANK[outcome] for outcome, name in VERDICTS.items()}
    return bool(verdict) and ranks[verdict] <= allowed
