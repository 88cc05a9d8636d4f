"""An answer that was kept, printed as it was given: the words of ``check``, from its JSON."""

import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

from ..engine.severing import SENTENCES
from ..engine.verdict import VERDICTS
from ..engine.wording import System, levelling, show, show_at_most, show_both, show_size
from .rows import Cell, columns, paragraph

if TYPE_CHECKING:
    from rich.console import Console

UNITS: Final = {
    "rapid_override": "1", "acceleration": "rad/s^2", "jaw_force": "N", "bow_to_refuse": "mm",
    "station": "mm", "reaction": "N", "centre_height": "mm", "reaction_per_mm": "N",
    "chuck_reaction": "N", "chuck_moment": "N*m", "sag": "mm", "tip_deflection": "mm",
    "height_tolerance": "mm", "safe_part_lengths": "mm", "remnant": "mm", "cut": "mm",
    "length": "mm", "width": "mm", "stress": "MPa", "stock_length": "mm", "behind": "mm",
    "bow": "mm", "mass": "kg", "distance": "mm", "height": "mm", "wall": "mm",
    "outside_diameter": "mm", "cuts": "mm", "stations": "mm", "longest_in_range": "mm",
    "longest_allowed": "mm",
}  # fmt: skip
"""Units of the numbers of an answer by the last part of their name; measures tell their own."""

_SETTINGS: Final = {
    "rapid_override": "rapid override", "acceleration": "ramp acceleration",
    "jaw_force": "jaw force, each", "bow_to_refuse": "refuse if bowed more than",
}  # fmt: skip

_PLANS: Final = {
    "rated": "Supports, from the chuck face",
    "absolute": "Supports, from the chuck face (only within absolute limits)",
    "given": "Supports as given, from the chuck face",
    "none": "No plan satisfies the limits; spread evenly the supports would carry",
}


def words_of(key: str) -> str:
    """Return a dotted key in words: ``measures.stock_mass.rated`` is ``stock mass, rated``."""
    plain = re.sub(r"\[(\d+)\]", lambda found: f" {int(found[1]) + 1}", key)
    plain = re.sub(r"^(measures|setup)\.", "", plain)
    return plain.replace("_", " ").replace(".", ", ")


def settings(setup: Mapping[str, Any], system: System) -> Iterator[tuple[str, str]]:
    """Yield what the machine is set to, in words."""
    for name, words in _SETTINGS.items():
        if setup.get(name):  # a ramp of constant time has no acceleration to be set
            style = "%" if name == "rapid_override" else ""
            yield words, show(setup[name], UNITS[name], system, style, digits=4)


class KeptWriter:
    """Prints the verdicts of a kept answer, in the order of ``check``."""

    def __init__(self, out: "Console", system: System) -> None:
        self.out = out
        self.system: System = system

    def show(self, value: float | None, unit: str, style: str = "") -> str:
        """Return a quantity in the units of the answer; nothing for None."""
        return "" if value is None else show(value, unit, self.system, style, digits=4)

    def measured(self, measure: Mapping[str, Any], end: str, style: str) -> str:
        """Return the ``value`` or ``heavy`` end of a measure; a size in the unit's own column."""
        inches = measure.get("inches" if end == "value" else "heavy_inches")
        if inches is None:
            return self.show(measure.get(end), measure["unit"], style)
        return show_size(measure[end], inches, self.system, is_printed=end == "value")

    def both(self, value: float, unit: str) -> str:
        """Return a quantity in both systems."""
        return show_both(value, unit, self.system)

    def line(self, text: str, indent: int = 2, mark: str = "") -> None:
        """Print one wrapped paragraph."""
        self.out.print(paragraph(text, self.out.width, indent=indent, mark=mark), soft_wrap=True)

    def table(self, rows: list[list[Cell]], heads: tuple[str, ...], indent: int) -> None:
        """Print aligned columns."""
        self.out.print(columns(rows, self.out.width, heads=heads, indent=indent), soft_wrap=True)

    def stock(self, item: Mapping[str, Any]) -> None:
        """Say what was asked about, in numbers."""
        job, measures = item["job"], item["measures"]
        section = job["section"]
        self.line(
            f"{section['designation']}, {self.both(job['stock_length'], 'mm')}, {job['grade']}", 0
        )
        names = ("outside_diameter", "height", "width", "wall")
        inches = section.get("inches", {})
        sizes = " x ".join(
            show_size(section[name], inches.get(name), self.system)
            for name in names
            if name in section
        )
        mass, inertia = measures.get("stock_mass"), measures.get("rotary_inertia")
        parts = [sizes]
        if mass is not None:
            parts.append(f"{self.both(mass['value'], 'kg')}, heavy end "
                         f"{self.show(mass.get('heavy'), 'kg')}")  # fmt: skip
        if inertia is not None:
            parts.append(f"rotary inertia {self.show(inertia['value'], 'kg*m^2')}, heavy end "
                         f"{self.show(inertia.get('heavy'), 'kg*m^2')}")  # fmt: skip
        self.line("; ".join(parts), 0)
        for assumption in job["assumptions"]:
            self.line(assumption, 0, "- ")

    def verdict(self, item: Mapping[str, Any]) -> None:
        """Print one verdict in full, below its head."""
        self.findings(item)
        self.limits(item)
        self.set_up(item)
        self.to_do(item)
        self.fit(item)
        self.close(item)

    def findings(self, item: Mapping[str, Any]) -> None:
        """Print the rules that held, worst first."""
        words = {"refused": "refused", "question": "asks", "conditions": "condition",
                 "setting": "setting"}  # fmt: skip
        order = list(words)
        found = sorted(item["findings"], key=lambda part: order.index(part["outcome"]))
        rows: list[list[Cell]] = [
            [words[part["outcome"]], part["rule"], part["text"]] for part in found
        ]
        if rows:
            self.table(rows, (), 2)

    def limits(self, item: Mapping[str, Any]) -> None:
        """Print how full each limit was."""
        rows: list[list[Cell]] = []
        for name, measure in item["measures"].items():
            if measure.get("utilisation") is None and measure.get("rated") is None:
                continue
            unit = measure["unit"]
            style = "%" if name == "rapid_override" else ""
            rated = self.show(measure.get("rated"), unit, style)
            heavy = measure.get("heavy")
            rows.append([
                name.replace("_", " "),
                self.measured(measure, "value", style),
                "" if heavy == measure["value"] else self.measured(measure, "heavy", style),
                rated or f"min {self.show(measure.get('minimum'), unit, style)}",
                self.show(measure.get("absolute"), unit, style),
                _used(measure),
            ])  # fmt: skip
        self.out.print()
        if rows:
            heads = ("limit", "this job", "heavy end", "rated", "absolute", "used")
            self.table(rows, heads, 2)

    def set_up(self, item: Mapping[str, Any]) -> None:
        """Print where supports stand, what each carries, the settings, and what the parts do."""
        setup = item["setup"]
        if "supports" not in setup or (_is_moot(item) and setup["plan"] != "given"):
            return  # numbers to set a machine by, beside a refusal, would be taken for leave
        self.out.print()
        if _is_moot(item):
            self.line("To study the refusal only; this job must not be loaded.")
        if not setup["supports"]:
            self.line("No support: the chuck alone carries the stock.")
        else:
            self.line(f"{_PLANS[setup['plan']]}:")
            rows: list[list[Cell]] = [
                [
                    self.show(part["station"], "mm"),
                    part["support"],
                    "lifts off" if part["lifts_off"] else self.show(part["reaction"], "N"),
                    self.show(part["centre_height"], "mm"),
                ]
                for part in setup["supports"]
            ]
            self.table(rows, ("station", "support", "carries", "centre height"), 4)
            if setup["height_tolerance"] is not None:
                self.line(levelling(setup["height_tolerance"], self.system), 4)
        if not _is_moot(item):
            told = "; ".join(f"{name} {value}" for name, value in settings(setup, self.system))
            self.line(f"Settings: {told}.")
        self.parts(setup)

    def parts(self, setup: Mapping[str, Any]) -> None:
        """Print what each part does as it comes free."""
        if not setup["parts"]:
            lengths = [f"{self.show(low, 'mm')} to {self.show(high, 'mm')}"
                       for low, high in setup["safe_part_lengths"]]  # fmt: skip
            if lengths:
                self.line(
                    "No parts were given (--part). A piece cut off the free end of the whole stock "
                    f"stays on its supports if it is {', or '.join(lengths)} long; "
                    "others tip or drop."
                )
            return
        self.line("Parts as they come free:")
        rows: list[list[Cell]] = []
        for part in setup["parts"]:
            held = "" if part["behaviour"] == "stays" else "nothing: support or sling it"
            if part["tabs"] is not None:
                held = f"{part['tabs']['count']} tabs of {self.show(part['tabs']['width'], 'mm')}"
            told = SENTENCES[part["behaviour"]]
            rows.append([self.show(part["cut"], "mm"), self.show(part["length"], "mm"), told, held])
        self.table(rows, ("cut at", "length", "the part", "held by"), 4)

    def to_do(self, item: Mapping[str, Any]) -> None:
        """Print what had to be done as boxes to tick."""
        if not item["mitigations"]:
            return
        self.out.print()
        if _is_moot(item):
            self.line("No setting lifts the refusal.")
            return
        self.line("Once fitted, to do:" if item["verdict"] == "refused" else "To do:")
        for part in item["mitigations"]:
            needs = f" (accessory {part['provided_by']})" if part["provided_by"] else ""
            self.line(f"{part['text'].removesuffix('.')}{needs}.", 2, "[ ] ")

    def fit(self, item: Mapping[str, Any]) -> None:
        """Print what would have made it fit."""
        fit = item["would_fit"]
        if not fit:
            return
        self.out.print()
        in_range, allowed = fit.get("longest_in_range"), fit.get("longest_allowed")
        if allowed is None:
            self.line("No length of this section is allowed on this model as fitted.")
        else:
            within = "at no length"
            if in_range is not None:
                within = f"up to {show_at_most(in_range, self.system)}"
            self.line(f"This section on this model: in range {within}, allowed with conditions up "
                      f"to {show_at_most(allowed, self.system)}.")  # fmt: skip
        for key, words in (("in_range", "in range"), ("allowed", "allowed with conditions")):
            model = fit.get(f"smallest_model_{key}") or "none in the catalogue"
            self.line(f"Smallest model that has this job {words}: {model}.")
        if fit.get("accessories"):
            self.line(f"With {' and '.join(fit['accessories'])} fitted it is allowed.")

    def close(self, item: Mapping[str, Any]) -> None:
        """Print what was not assessed, and what the verdict rests on."""
        self.out.print()
        missing = ", ".join(name.replace("_", " ") for name in item["not_assessed"])
        if missing:
            self.line(f"Not assessed, and not passed: {missing}.", 0)
        provenance, machine = item["provenance"], item["machine"]
        self.line(
            f"Answer {item['id']}; {provenance['tool']}; rules {_short(provenance['rules'])}; "
            f"catalogue {_short(provenance['catalogue'])}; "
            f"{machine['model']} {_short(machine['digest'])}", 0,
        )  # fmt: skip


def release(machine: Mapping[str, Any]) -> str:
    """Return which revision of a machine an answer is of, in words."""
    if "file" in machine:
        return f"from the file {machine['file']}, not released"
    over = machine.get("overlay_revision")
    return f"revision {machine['revision']}" + (f", site revision {over}" if over else "")


def _is_moot(item: Mapping[str, Any]) -> bool:
    """Say whether a job is refused for more than an accessory that is not fitted."""
    refusing = {part["rule"] for part in item["findings"] if part["outcome"] == "refused"}
    return item["verdict"] == VERDICTS["refused"] and refusing != {"NOT-FITTED"}


def _used(measure: Mapping[str, Any]) -> str:
    share, heavy = measure.get("utilisation"), measure.get("heavy_utilisation")
    if share is None:
        return ""
    used = f"{share * 100:.3g} %"
    return f"{used}, heavy {heavy * 100:.3g} %" if heavy and heavy != share else used


def _short(digest: str) -> str:
    return digest.removeprefix("sha256:")[:8]
