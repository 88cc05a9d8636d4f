"""From a decision to the document: verdict, reasons in numbers, what must be done, set-up.

One file, for every part of the document is made here once.
"""

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any, Final, cast

from ...catalogue.machines.model import Chuck, MachineModel
from ...catalogue.tables.sections import INCH
from ...rules.expression import asked_about_in, names_in
from ...rules.model import Rule
from ..decision.conditions import Scope, number_of, truth_of
from ..decision.decide import Decision, Engine, fullness
from ..decision.deciding import CONFLICT, NOT_FITTED, asking, decided_by, missing, outcome_of
from ..decision.inference import Found, Inferred
from ..decision.limit_check import governing, is_near
from ..decision.settings import SETTINGS, settings
from ..inputs.figures import figures_of
from ..inputs.stock import coating_mass
from ..jobs.job import Job
from ..measures.inch_column import inch_columns
from . import document as doc
from .plan_reason import reason_of, role_of
from .setup import set_up
from .wording import System, Words

ID_FORM: Final = 1
"""The form of a job that the id of an answer is worked out from, for ever."""


def answers(
    engine: Engine,
    decision: Decision,
    jobs: Sequence[Job],
    machines: Sequence[MachineModel],
    provenance: doc.Provenance,
    system: System,
) -> list[doc.Answer]:
    """Return the answer of every row of a decision; ``would_fit`` is not looked for yet."""
    maker = _Maker(engine, decision, provenance, system)
    return [
        maker.answer(row, job, machine)
        for row, (job, machine) in enumerate(zip(jobs, machines, strict=True))
    ]


class _Maker:
    """What is found once for all rows of a decision."""

    def __init__(
        self, engine: Engine, decision: Decision, provenance: doc.Provenance, system: System
    ) -> None:
        self.engine, self.rule_set, self.decision = engine, engine.rule_set, decision
        self.full = {item.name: item for item in fullness(engine.rule_set, decision.scope)}
        self.chief = governing(engine, decision, list(self.full.values()))
        self.settings = settings(engine, decision)
        self.scope = decision.scope
        if not self.scope.inches:
            # Nothing is compared in inches, but sizes are shown in them.
            self.scope = self.scope._replace(inches=inch_columns(decision.frame))
        self.limit_checks = {
            limit_check.name: limit_check for limit_check in engine.rule_set.limit_checks
        }
        self.provenance: Final = provenance
        self.system: System = system

    def answer(self, row: int, job: Job, machine: MachineModel) -> doc.Answer:
        inferred, rules = self.decision.of(row), self.rule_set
        teller = _Teller(self, row)
        asked, lacking = job_asked(job), missing(inferred)
        measures = self.measures(row)
        left_out = self.not_assessed(row, job, machine)
        is_open = inferred.outcome == "question"
        return doc.Answer(
            id=id_of(asked, machine, self.provenance),
            verdict=None if is_open else doc.VERDICTS[inferred.outcome],
            machine=machine_asked(machine),
            job=asked,
            governing=self.chief.name(row),
            decided_by=decided_by(inferred, rules) or None,
            measures=measures,
            findings=(*teller.consequences(inferred, machine),
                      *(teller.finding(found) for found in inferred.findings)),
            mitigations=tuple(teller.mitigation(code) for code in inferred.mitigations),
            cautions=tuple(caution.text for caution in rules.cautions
                           if caution.when is None or not teller.is_false(caution.when)),
            close=tuple(name for name, item in measures.items()
                        if is_near(item.utilisation, item.heavy_utilisation)),
            not_assessed=left_out,
            would_fit=None,
            setup=self.set_up(row, job, machine),
            provenance=self.provenance,
            units=self.system,
            left_out=tuple(rules.vocabulary.not_assessed[name] for name in left_out),
            missing=lacking,
            questions=tuple(
                doc.Question(code=rule.code, text=rule.ask_text, choices=rule.ask_choices)
                for rule in asking(inferred, rules)
            ),
        )  # fmt: skip

    def measures(self, row: int) -> dict[str, doc.Measure]:
        """Return the measures that are known, with the limits of those that are checked."""
        measured = self.decision.measured
        is_carried = bool(self.decision.frame.is_carried[row])
        result: dict[str, doc.Measure] = {}
        for name, measure in self.rule_set.vocabulary.measures.items():
            if not is_carried and name in self.engine.carried_measures:
                continue
            value = _finite(measured.nominal[name][row])
            if value is None:
                continue
            limit_check = self.limit_checks.get(name)
            result[name] = doc.Measure(
                value=value,
                heavy=_finite(measured.heavy[name][row]) if measure.has_heavy else None,
                unit=measure.unit,
                title=measure.title,
                inches=self.inches(name, row),
                heavy_inches=self.inches(f"{name}.heavy", row),
                style="%" if limit_check is not None and limit_check.style == "%" else None,
                **self.limits(name, row),
            )
        return result

    def inches(self, name: str, row: int) -> float | None:
        """Return a size in the inches it is printed in; None for what is none, or not printed.

        Where both columns say the same the number is there too: it has the digits of the print.
        """
        column, frame = self.scope.inches.get(name), self.decision.frame
        if column is None or frame.stocks[int(frame.stock[row])].section.inches is None:
            return None
        return _finite(float(column[row]) / INCH)

    def limits(self, name: str, row: int) -> dict[str, float | None]:
        """Return the limits of a measure and how full they are; nothing where none applies."""
        full = self.full.get(name)
        utilisation = None if full is None else _finite(full.nominal[row])
        if full is None or utilisation is None:
            return {}
        # Where the measure itself is what must be had at least (grip, override), the
        # demand is the least and the measure is not its own limit.
        is_least = names_in(self.limit_checks[name].rated) == {name}
        return {
            "minimum": _finite(full.demand[row] if is_least else full.minimum[row]),
            "rated": None if is_least else _finite(full.rated[row]),
            "absolute": _finite(full.absolute[row]),
            "utilisation": utilisation,
            "heavy_utilisation": _finite(full.heavy[row]),
        }

    def not_assessed(self, row: int, job: Job, machine: MachineModel) -> tuple[str, ...]:
        is_round = job.section.shape == "round"
        names = [] if is_round else ["jaw_stress"]
        vocabulary = self.rule_set.vocabulary.not_assessed
        left_open = {
            "jaw_motion": is_grip_open(job, machine),
            "support_give": is_give_open(machine),
            "emergency_stop": not math.isfinite(machine.stop_torque),
        }
        names += [name for name, is_open in left_open.items() if is_open and name in vocabulary]
        is_carried = bool(self.decision.frame.is_carried[row])
        frame = self.decision.frame
        has_rests = frame.place is not None and bool(frame.places[int(frame.place[row])])
        if "jaw_bending" in vocabulary and machine.chuck.jaw_hold is None and is_carried:
            # Only where the chuck carries alone at some stage is there such a moment.
            moment = self.decision.measured.nominal["jaw_moment"]
            names += ["jaw_bending"] if math.isfinite(moment[row]) else []
        is_open = is_carried and has_rests and are_rests_open(job, machine)
        if is_open and "rest_turns" in vocabulary:
            names.append("rest_turns")
        if not is_carried:
            names.append("supports")
        return tuple(names)

    def set_up(self, row: int, job: Job, machine: MachineModel) -> doc.SetUp:
        """Return the set-up in full; the numbers that rules read are of the same plan."""
        if not self.decision.frame.is_carried[row]:
            return doc.SetUp(plan="not-planned")
        fitted = machine.fitted_as_delivered | (job.fitted & machine.offered.keys())
        zinc = coating_mass(job.section, job.coating, self.rule_set.lookups["zinc_mass"])
        found = set_up(job, machine, fitted, zinc, figures_of(self.rule_set))
        told = {name: _finite(self.settings[name][row]) for name in SETTINGS}
        return doc.SetUp(
            **told,
            **_dial(machine.chuck, told["jaw_force"]),
            plan=cast("doc.Plan", found.level),
            supports=tuple(
                doc.Support(
                    station=item.station, support=item.support.code,
                    reaction=_rounded(item.reaction), lifts_off=item.is_lifted,
                    centre_height=_finite(item.centre), reaction_per_mm=_finite(item.per_mm),
                    title=item.support.title,
                    role=role_of(item) if found.pieces else None,
                )
                for item in found.standing
            ),
            chuck_reaction=_rounded(found.chuck_reaction),
            chuck_moment=_rounded(found.chuck_moment),
            sag=_rounded(found.sag),
            tip_deflection=_rounded(found.tip),
            tip_slope=_rounded(found.tip_slope),
            height_tolerance=_finite(found.height_tolerance),
            safe_part_lengths=found.safe_parts,
            parts=tuple(
                doc.Part(
                    cut=piece.inner, length=_rounded(piece.length), behaviour=behaviour,
                    tabs=None if tabs is None else doc.Tabs(
                        count=tabs.count, width=tabs.width, stress=_rounded(tabs.stress)
                    ),
                    taker=taker,
                )
                for piece, behaviour, taker, tabs in zip(
                    found.pieces, found.behaviours, found.takers, found.tabs, strict=True
                )
            ),
            steps=tuple(
                doc.Step(
                    cut=step.cut, action=step.action, station=step.station,
                    to=_finite(step.to), support=step.support.code,
                )
                for step in found.steps
            ),
            plan_reason=reason_of(found) or None,
            remnant=found.cuts[-1] if found.cuts else job.front,
            trim=machine.cutting.trim,
            stub=machine.bed.stub,
            last_station=machine.bed.last_station,
            ramp=machine.rotary.ramp,
        )  # fmt: skip


def is_grip_open(job: Job, machine: MachineModel) -> bool:
    """Say whether it depends on how the jaws move, and nobody has stated it, if they hold this.

    Fewer than four never hold a square or rectangle; four hold a square however they move.
    """
    jaws, motion = machine.chuck.jaws, machine.chuck.jaw_motion
    if motion is not None or job.section.shape == "round" or jaws < 4:
        return False
    return job.section.shape == "rectangular" or jaws > 4


def is_give_open(machine: MachineModel) -> bool:
    """Say whether the builder has left out how far supports give, or how they are levelled."""
    return math.isnan(machine.bed.levelling) or any(
        math.isnan(item.give) for item in machine.supports
    )


def _dial(chuck: Chuck, force: float | None) -> dict[str, Any]:
    """Return what the operator sets for the jaw force; nothing where the builder does not say."""
    if chuck.force_set_by is None or force is None:
        return {}
    return {"jaw_set_by": chuck.force_set_by, "jaw_set_to": _rounded(force / chuck.force_scale)}


def are_rests_open(job: Job, machine: MachineModel) -> bool:
    """Say whether nobody has stated if a rest fitted carries this section while it turns."""
    shape, fitted = job.section.shape, machine.fitted_as_delivered | job.fitted
    return shape != "round" and any(
        item.turns is None and shape in item.carries and item.code in fitted
        for item in machine.supports
    )


class _Teller:
    """Puts one row into words."""

    def __init__(self, maker: _Maker, row: int) -> None:
        self.rule_set = maker.rule_set
        self.scope = _one_row(maker.scope, row)
        frame = maker.decision.frame
        is_printed = frame.stocks[int(frame.stock[row])].section.inches is not None
        # What is converted to inches is shown as every other length, not with a print's digits.
        shown = self.scope if is_printed else self.scope._replace(inches={}, in_inches={})
        self.words = Words(shown, 0, maker.system)

    def is_false(self, when: Any) -> bool:
        truth = truth_of(when, self.scope)
        return bool(truth.known[0] and not truth.yes[0])

    def finding(self, found: Found) -> doc.Finding:
        rule = self.rule_set.rules[found.rule]
        text = self.words.fill(rule.says)
        if found.is_unknown:
            text = f"Cannot be judged ({rule.title.lower()}): {self.unknown_names(rule)}."
        return doc.Finding(
            rule=rule.code, title=rule.title, outcome=outcome_of(found, self.rule_set),
            text=text, basis=rule.basis,
        )  # fmt: skip

    def unknown_names(self, rule: Rule) -> str:
        vocabulary = self.rule_set.vocabulary
        aside = asked_about_in(rule.when)
        names = sorted(
            name
            for name in names_in(rule.when)
            if name.removesuffix(".heavy") not in aside
            and name in self.scope.numbers
            and not math.isfinite(self.scope.numbers[name][0])
        )
        shown = [vocabulary.titles.get(name, name) for name in names]
        return f"{', '.join(shown) or 'an input'} not stated for this model"

    def consequences(self, inferred: Inferred, machine: MachineModel) -> list[doc.Finding]:
        """Return the findings that come from the chain, not from a rule."""
        titles = self.rule_set.vocabulary.accessories
        findings: list[doc.Finding] = []
        for accessory in missing(inferred):
            offered = machine.offered.get(accessory)
            state = (
                "offered for this model, but not fitted" if offered else "not made for this model"
            )
            findings.append(_consequence(
                NOT_FITTED, "Accessory not fitted",
                f"Needs {offered or titles[accessory]}: {state}.", "builder",
            ))  # fmt: skip
        findings += [
            _consequence(
                CONFLICT, "Contradicting mitigations",
                f"Two things that must be done contradict each other: {first} and {second}.",
                "rule set",
            )
            for first, second in inferred.conflicts
        ]  # fmt: skip
        return list(dict.fromkeys(findings))

    def mitigation(self, code: str) -> doc.Mitigation:
        item = self.rule_set.mitigations[code]
        values: dict[str, float] = {}
        for name, node in item.values:
            value = _finite(float(number_of(node, self.scope)[0]))
            if value is not None:
                values[name] = value
        return doc.Mitigation(
            code=code, text=self.words.fill(item.text), values=values,
            provided_by=item.provided_by or None,
        )  # fmt: skip


def _consequence(code: str, title: str, text: str, basis: str) -> doc.Finding:
    return doc.Finding(rule=code, title=title, outcome="refused", text=text, basis=basis)


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


def job_asked(job: Job) -> doc.JobAsked:
    """Return the job as it was read, in canonical units."""
    section = job.section
    sizes: Mapping[str, float] = (
        {"outside_diameter": section.height}
        if section.shape == "round"
        else {"height": section.height, "width": section.width}
    )
    inches = None
    if section.inches is not None:
        height, width, wall = section.inches
        printed = {"outside_diameter": height, "height": height, "width": width}
        inches = doc.SizesInInches(**{name: printed[name] for name in sizes}, wall=wall)
    facts = {name: None if fact == "not-stated" else fact
             for name, fact in (("ends", job.ends), ("contents", job.contents),
                                ("coating", job.coating))}  # fmt: skip
    off_axis = (
        doc.OffAxis(
            mass=job.off_axis_mass,
            distance=job.off_axis_distance,
            size=None if math.isnan(job.off_axis_size) else job.off_axis_size,
        )
        if job.off_axis_mass
        else None
    )
    return doc.JobAsked(
        section=doc.SectionAsked(
            designation=section.designation, shape=section.shape, **sizes, wall=section.wall,
            standard=section.standard, inches=inches,
        ),
        grade=job.grade.name,
        stock_length=job.length,
        parts=tuple(doc.PartWanted(length=part.length, count=part.count) for part in job.parts),
        cuts=job.cuts,
        stations=job.stations,
        behind=job.behind or None,
        grip=None if job.grip == "outside" else job.grip,
        bow=None if math.isnan(job.bow) else job.bow,
        off_axis=off_axis,
        fitted=tuple(sorted(job.fitted)),
        assumptions=job.assumptions,
        **facts,
    )  # fmt: skip


def machine_asked(machine: MachineModel) -> doc.MachineAsked:
    """Return the model at the revision that is asked."""
    return doc.MachineAsked(
        model=machine.code, revision=machine.revision, digest=machine.digest,
        overlay_revision=machine.overlay_revision or None, file=machine.file or None,
        title=machine.title,
    )  # fmt: skip


def id_of(job: doc.JobAsked, machine: MachineModel, provenance: doc.Provenance) -> str:
    """Return the stable name of an answer: the same for the same inputs and digests."""
    content = {
        "job": doc.plain(job, ID_FORM),
        "machine": [machine.code, machine.revision, machine.digest],
        "provenance": [provenance.tool, provenance.rules, provenance.catalogue],
    }
    text = json.dumps(content, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def traced(entries: Sequence[Mapping[str, Any]]) -> tuple[doc.Traced, ...]:
    """Return how measures came about, from the entries of :func:`..trace.trace`."""
    return tuple(
        doc.Traced(
            name=entry["name"], value=entry["value"], unit=entry["unit"],
            heavy=entry.get("heavy"), formula=entry["formula"], source=entry["source"],
            inputs={name: doc.TracedNumber(**item) for name, item in entry["inputs"].items()},
        )
        for entry in entries
    )  # fmt: skip
