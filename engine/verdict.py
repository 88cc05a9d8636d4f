"""The answer: verdict, reasons in numbers, what must be done, and where it came from."""

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from ..catalogue.machines import MachineModel
from ..catalogue.sections import INCH
from ..rules.model import Rule
from .conditions import Scope, heavy_names, number_of, truth_of
from .decide import Decision, Engine, Fullness, fullness
from .frame import coating_mass, figures_of
from .inference import Found, Inferred
from .job import Job
from .layout import NOT_PLANNED, SetUp, set_up
from .measures.inch_column import inch_columns
from .wording import System, Words

VERDICTS: Final = {
    "setting": "in-range",
    "conditions": "oversize-allowed-with-conditions",
    "refused": "refused",
}
NEAR: Final = 0.9
"""Utilisation from which a limit counts as close."""


class MeasureValue(NamedTuple):
    """One measure of the answer. Numbers that do not exist are None.

    ``inches`` and ``heavy_inches`` are sizes of stock that its standard prints in inches too.
    """

    value: float | None
    heavy: float | None
    unit: str
    minimum: float | None = None
    rated: float | None = None
    absolute: float | None = None
    utilisation: float | None = None
    heavy_utilisation: float | None = None
    inches: float | None = None
    heavy_inches: float | None = None


class FindingText(NamedTuple):
    """A rule that holds for this job, in words."""

    rule: str
    title: str
    outcome: str
    text: str
    basis: str


class MitigationText(NamedTuple):
    """What must be done, in words and numbers."""

    code: str
    text: str
    values: dict[str, float]
    provided_by: str | None


class QuestionText(NamedTuple):
    """What must be said first."""

    code: str
    text: str
    choices: tuple[str, ...]


class Provenance(NamedTuple):
    """What the answer rests on."""

    tool: str
    rules: str
    catalogue: str


class Verdict(NamedTuple):
    """The answer for one job on one machine.

    ``verdict`` is empty while ``questions`` are open.
    """

    verdict: str
    machine: MachineModel
    job: Job
    governing: str
    decided_by: str
    measures: dict[str, MeasureValue]
    findings: tuple[FindingText, ...]
    mitigations: tuple[MitigationText, ...]
    cautions: tuple[str, ...]
    not_assessed: tuple[str, ...]
    close: tuple[str, ...]
    provenance: Provenance
    set_up: SetUp
    missing: tuple[str, ...] = ()
    questions: tuple[QuestionText, ...] = ()
    fit: Mapping[str, Any] = MappingProxyType({})

    @property
    def id(self) -> str:
        """Stable name of the answer: the same for the same inputs and digests."""
        content = {
            "job": describe_job(self.job),
            "machine": [self.machine.code, self.machine.revision, self.machine.digest],
            "provenance": [self.provenance.tool, self.provenance.rules, self.provenance.catalogue],
        }
        text = json.dumps(content, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:16]


def verdicts(
    engine: Engine,
    decision: Decision,
    jobs: Sequence[Job],
    machines: Sequence[MachineModel],
    provenance: Provenance,
    system: System,
) -> list[Verdict]:
    """Put every row of a decision into words."""
    full = fullness(engine.rule_set, decision.scope)
    scope = decision.scope
    if not scope.inches:
        # Nothing is compared in inches, but sizes are shown in them.
        heavy = heavy_names(engine.rule_set.vocabulary)
        scope = scope._replace(inches=inch_columns(decision.frame, heavy))
    return [
        _Writer(engine, decision, scope, full, row, system).verdict(job, machine, provenance)
        for row, (job, machine) in enumerate(zip(jobs, machines, strict=True))
    ]


class _Writer:
    def __init__(
        self,
        engine: Engine,
        decision: Decision,
        scope: Scope,
        full: Sequence[Fullness],
        row: int,
        system: System,
    ) -> None:
        self.rule_set = engine.rule_set
        self.carried_measures = engine.carried_measures
        self.decision = decision
        self.fullness = {item.name: item for item in full}
        self.row = row
        self.scope = _one_row(scope, row)
        self.words = Words(self.scope, 0, system)

    def verdict(self, job: Job, machine: MachineModel, provenance: Provenance) -> Verdict:
        inferred = self.decision.of(self.row)
        # What is not fitted comes first: the rest is how things would be without it.
        findings = self.consequences(inferred, machine)
        findings += [self.finding(found) for found in inferred.findings]
        questions = tuple(
            QuestionText(rule.code, rule.ask_text, rule.ask_choices)
            for found in inferred.findings
            if self.outcome_of(found) == "question"
            for rule in [self.rule_set.rules[found.rule]]
        )
        is_open = inferred.outcome == "question"
        measures = self.measures()
        worst = [item for item in findings if item.outcome == inferred.outcome]
        return Verdict(
            verdict="" if is_open else VERDICTS[inferred.outcome],
            machine=machine,
            job=job,
            governing=self.governing(),
            decided_by=worst[0].rule if worst and inferred.outcome != "setting" else "",
            measures=measures,
            findings=tuple(findings),
            mitigations=tuple(self.mitigation(code) for code in inferred.mitigations),
            cautions=tuple(
                caution.text
                for caution in self.rule_set.cautions
                if caution.when is None or not self.is_false(caution.when)
            ),
            not_assessed=tuple(self.not_assessed(job)),
            close=tuple(
                name
                for name, item in measures.items()
                if item.utilisation is not None
                and max(item.utilisation, item.heavy_utilisation or 0.0) >= NEAR
            ),
            provenance=provenance,
            set_up=self.set_up(job, machine),
            missing=tuple(dict.fromkeys(accessory for _, accessory in inferred.missing)),
            questions=questions if is_open else (),
        )

    def set_up(self, job: Job, machine: MachineModel) -> SetUp:
        """Return the set-up in full."""
        if not self.decision.frame.is_carried[self.row]:
            return NOT_PLANNED
        fitted = machine.fitted_as_delivered | (job.fitted & machine.offered.keys())
        zinc = coating_mass(job.section, job.coating)
        return set_up(job, machine, fitted, zinc, figures_of(self.rule_set))

    def is_false(self, when: Any) -> bool:
        truth = truth_of(when, self.scope)
        return bool(truth.known[0] and not truth.yes[0])

    def outcome_of(self, found: Found) -> str:
        rule = self.rule_set.rules[found.rule]
        return rule.unknown if found.is_unknown else rule.outcome

    def finding(self, found: Found) -> FindingText:
        rule = self.rule_set.rules[found.rule]
        text = self.words.fill(rule.says)
        if found.is_unknown:
            text = f"Cannot be judged ({rule.title.lower()}): {self.unknown_names(rule)}."
        return FindingText(rule.code, rule.title, self.outcome_of(found), text, rule.basis)

    def unknown_names(self, rule: Rule) -> str:
        from ..rules.expression import names_in

        vocabulary = self.rule_set.vocabulary
        names = sorted(
            name
            for name in names_in(rule.when)
            if name in self.scope.numbers and not math.isfinite(self.scope.numbers[name][0])
        )
        shown = [vocabulary.titles.get(name, name) for name in names]
        return f"{', '.join(shown) or 'an input'} not stated for this model"

    def consequences(self, inferred: Inferred, machine: MachineModel) -> list[FindingText]:
        """Return the findings that come from the chain, not from a rule."""
        findings: list[FindingText] = []
        titles = self.rule_set.vocabulary.accessories
        for _, accessory in inferred.missing:
            offered = machine.offered.get(accessory)
            state = (
                "offered for this model, but not fitted" if offered else "not made for this model"
            )
            text = f"Needs {offered or titles[accessory]}: {state}."
            item = FindingText("NOT-FITTED", "Accessory not fitted", "refused", text, "builder")
            if item not in findings:
                findings.append(item)
        for first, second in inferred.conflicts:
            text = f"Two things that must be done contradict each other: {first} and {second}."
            findings.append(
                FindingText("CONFLICT", "Contradicting mitigations", "refused", text, "rule set")
            )
        return findings

    def mitigation(self, code: str) -> MitigationText:
        item = self.rule_set.mitigations[code]
        values: dict[str, float] = {}
        for name, node in item.values:
            value = _finite(float(number_of(node, self.scope)[0]))
            if value is not None:
                values[name] = value
        return MitigationText(code, self.words.fill(item.text), values, item.provided_by or None)

    def measures(self) -> dict[str, MeasureValue]:
        measured, row = self.decision.measured, self.row
        result: dict[str, MeasureValue] = {}
        is_carried = bool(self.decision.frame.is_carried[row])
        for name, measure in self.rule_set.vocabulary.measures.items():
            if not is_carried and name in self.carried_measures:
                continue
            value = _finite(measured.nominal[name][row])
            if value is None:
                continue
            result[name] = MeasureValue(
                value,
                _finite(measured.heavy[name][row]) if measure.has_heavy else None,
                measure.unit,
                inches=self.inches(name),
                heavy_inches=self.inches(f"{name}.heavy"),
            )
        gauges = {gauge.name: gauge for gauge in self.rule_set.gauges}
        for name, full in self.fullness.items():
            known = result.get(name)
            utilisation = _finite(full.nominal[row])
            if known is None or utilisation is None:
                continue
            # Where the measure itself is what must be had at least (grip, override), the
            # demand is the least and the measure is not its own limit.
            is_least = _names(gauges[name].rated) == {name}
            result[name] = known._replace(
                minimum=_finite(full.demand[row] if is_least else full.minimum[row]),
                rated=None if is_least else _finite(full.rated[row]),
                absolute=_finite(full.absolute[row]),
                utilisation=utilisation,
                heavy_utilisation=_finite(full.heavy[row]),
            )
        return result

    def inches(self, name: str) -> float | None:
        """Return a size in the inches it is printed in; None for what is none, or is not printed.

        Where both columns say the same the number is there too: it has the digits of the print.
        """
        column = self.scope.inches.get(name)
        stock = self.decision.frame.stocks[int(self.decision.frame.stock[self.row])]
        if column is None or stock.section.inches is None:
            return None
        return _finite(float(column[0]) / INCH)

    def governing(self) -> str:
        """Return the measure with the largest utilisation, else the one whose heavy end is over."""
        row = self.row
        hidden = () if self.decision.frame.is_carried[row] else self.carried_measures
        shown = {name: full for name, full in self.fullness.items() if name not in hidden}
        nominal = {name: full.nominal[row] for name, full in shown.items()}
        heavy = {name: full.heavy[row] for name, full in shown.items()}
        chosen = {gauge.name for gauge in self.rule_set.gauges if gauge.is_chosen}
        known = {
            name: value
            for name, value in nominal.items()
            if math.isfinite(value) and (name not in chosen or value > 1 + 1e-9)
        }
        if not known:
            return ""
        over = {name: value for name, value in heavy.items() if 1 + 1e-9 < value < math.inf}
        if max(known.values()) <= 1 + 1e-9 and over:
            return max(over, key=lambda name: over[name])
        return max(known, key=lambda name: known[name])

    def not_assessed(self, job: Job) -> list[str]:
        names: list[str] = []
        if job.section.shape != "round":
            names.append("jaw_stress")
        if not self.decision.frame.is_carried[self.row]:
            names.append("supports")
        return names


def _names(node: Any) -> set[str]:
    from ..rules.expression import names_in

    return names_in(node)


def _one_row(scope: Scope, row: int) -> Scope:
    piece = slice(row, row + 1)
    return Scope(
        1,
        {name: column[piece] for name, column in scope.numbers.items()},
        {name: column[piece] for name, column in scope.facts.items()},
        scope.codes,
        {name: column[piece] for name, column in scope.inches.items()},
        {name: column[piece] for name, column in scope.in_inches.items()},
    )


def _finite(value: float) -> float | None:
    return _rounded(float(value)) if math.isfinite(value) else None


def _rounded(value: float) -> float:
    """Return twelve significant digits: beyond that is noise of the arithmetic."""
    return float(f"{value:.12g}")


def describe_job(job: Job) -> dict[str, Any]:
    """Return the job as plain data in canonical units."""
    section = job.section
    sizes: Mapping[str, Any] = (
        {"outside_diameter": section.height}
        if section.shape == "round"
        else {"height": section.height, "width": section.width}
    )
    described: dict[str, Any] = {
        "section": {
            "designation": section.designation,
            "shape": section.shape,
            **sizes,
            "wall": section.wall,
            "standard": section.standard,
        },
        "grade": job.grade.name,
        "stock_length": job.length,
    }
    optional: dict[str, Any] = {
        "parts": [{"length": part.length, "count": part.count} for part in job.parts],
        "cuts": list(job.cuts),
        "stations": list(job.stations),
        "behind": job.behind or None,
        "grip": None if job.grip == "outside" else job.grip,
        "bow": None if math.isnan(job.bow) else job.bow,
        "off_axis": {"mass": job.off_axis_mass, "distance": job.off_axis_distance}
        if job.off_axis_mass
        else None,
        "ends": job.ends,
        "contents": job.contents,
        "coating": job.coating,
        "fitted": sorted(job.fitted),
        "assumptions": list(job.assumptions),
    }
    return described | {
        key: value for key, value in optional.items() if value not in (None, [], "not-stated")
    }


def told_job(job: Job) -> dict[str, Any]:
    """Return the job as an answer tells it: with the inches that a standard prints.

    They are no part of what an answer is named by: it is computed from the millimetres.
    """
    described, inches = describe_job(job), job.section.inches
    if inches is None:
        return described
    height, width, wall = inches
    sizes = {"outside_diameter": height, "height": height, "width": width, "wall": wall}
    section = described["section"]
    printed = {name: size for name, size in sizes.items() if name in section}
    return described | {"section": section | {"inches": printed}}


def setup_of(verdict: Verdict) -> dict[str, Any]:
    """Return how the machine is to be set, in canonical units; positions from the chuck face."""
    measures, set_up = verdict.measures, verdict.set_up
    if set_up is NOT_PLANNED:
        return {"plan": set_up.level}
    settings: dict[str, Any] = {}
    for name, measure in (
        ("rapid_override", "rapid_override"),
        ("acceleration", "acceleration_setting"),
        ("jaw_force", "jaw_force_setting"),
        ("bow_to_refuse", "bow_to_refuse"),
    ):
        item = measures.get(measure)
        if item is not None and item.value is not None:
            settings[name] = item.value if item.heavy is None else item.heavy
    if "rapid_override" in settings:
        # What the heavy end would need below it is weighed before it is turned, or refused.
        lowest = verdict.machine.rotary.lowest_override
        settings["rapid_override"] = max(settings["rapid_override"], lowest)
    for mitigation in verdict.mitigations:
        if "rapid_override" in mitigation.values:
            settings["rapid_override"] = min(
                settings.get("rapid_override", 1.0), mitigation.values["rapid_override"]
            )
    supports = [
        {
            "station": item.station,
            "support": item.support.code,
            "reaction": _rounded(item.reaction),
            "lifts_off": item.is_lifted,
            "centre_height": _finite(item.centre),
            "reaction_per_mm": _finite(item.per_mm),
        }
        for item in set_up.standing
    ]
    parts = [
        {
            "cut": piece.inner,
            "length": _rounded(piece.length),
            "behaviour": piece.behaviour,
            "tabs": None
            if tabs is None
            else {"count": tabs.count, "width": tabs.width, "stress": _rounded(tabs.stress)},
        }
        for piece, tabs in zip(set_up.pieces, set_up.tabs, strict=True)
    ]
    return settings | {
        "plan": set_up.level,
        "supports": supports,
        "chuck_reaction": _rounded(set_up.chuck_reaction),
        "chuck_moment": _rounded(set_up.chuck_moment),
        "sag": _rounded(set_up.sag),
        "tip_deflection": _rounded(set_up.tip),
        "tip_slope": _rounded(set_up.tip_slope),
        "height_tolerance": _finite(set_up.height_tolerance),
        "safe_part_lengths": [list(item) for item in set_up.safe_parts],
        "parts": parts,
        "remnant": set_up.cuts[-1] if set_up.cuts else verdict.job.front,
    }


def to_json(verdict: Verdict) -> dict[str, Any]:
    """Return the verdict in the form scripts rely on (schema ``cuttable.verdicts/1``)."""
    machine, provenance = verdict.machine, verdict.provenance
    return {
        "id": verdict.id,
        "verdict": verdict.verdict or None,
        "machine": {
            "model": machine.code,
            "revision": machine.revision,
            "digest": machine.digest,
        }
        | ({"overlay_revision": machine.overlay_revision} if machine.overlay_revision else {})
        | ({"file": machine.file} if machine.file else {}),
        "job": told_job(verdict.job),
        "governing": verdict.governing,
        "decided_by": verdict.decided_by or None,
        "measures": {
            name: {
                key: value
                for key, value in (
                    ("value", item.value),
                    ("heavy", item.heavy),
                    ("unit", item.unit),
                    ("minimum", item.minimum),
                    ("rated", item.rated),
                    ("absolute", item.absolute),
                    ("utilisation", item.utilisation),
                    ("heavy_utilisation", item.heavy_utilisation),
                    ("inches", item.inches),
                    ("heavy_inches", item.heavy_inches),
                )
                if value is not None
            }
            for name, item in verdict.measures.items()
        },
        "findings": [
            {
                "rule": item.rule,
                "title": item.title,
                "outcome": item.outcome,
                "text": item.text,
                "basis": item.basis,
            }
            for item in verdict.findings
        ],
        "mitigations": [
            {
                "code": item.code,
                "text": item.text,
                "values": item.values,
                "provided_by": item.provided_by,
            }
            for item in verdict.mitigations
        ],
        "cautions": list(verdict.cautions),
        "close": list(verdict.close),
        "not_assessed": list(verdict.not_assessed),
        "would_fit": dict(verdict.fit),
        "setup": setup_of(verdict),
        "provenance": {
            "tool": provenance.tool,
            "rules": provenance.rules,
            "catalogue": provenance.catalogue,
        },
    }
