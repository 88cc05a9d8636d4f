"""What a revision must be before it is submitted or approved: readable, whole, consistent."""

from collections.abc import Mapping

from ..catalogue.book.held import Held
from ..catalogue.book.records import CATALOGUE, GRADES, RULES, SECTIONS, kind_of
from ..catalogue.errors import FileError
from ..catalogue.overlay import MARK, check_overlay
from ..catalogue.reading import KeptFiles, parse_toml
from ..catalogue.store import Catalogue, ModelFile, Own
from .book_desk import catalogue_files


def check_files(held: Held, document: str, files: Mapping[str, bytes], where: str) -> None:
    """Read the files of a revision as if it were in force, strictly.

    Args:
        held: what is in force otherwise.
        document: whose revision it is.
        files: its files.
        where: how to call it in messages.

    Raises:
        FileError: ``file-damaged`` or ``file-problems``, with every problem.
    """
    kind = kind_of(document)
    if kind == RULES:
        _check_rules(files, where)
        return
    if kind == CATALOGUE:
        catalogue = Catalogue(KeptFiles(files, where), models=held, own=held.own)
        _read_all(catalogue)
        return
    content = next(iter(files.values()), b"")
    kept = ModelFile(content, where)
    if kind in (SECTIONS, GRADES):
        own = held.own._replace(**{kind: kept})
        _read_all(Catalogue(catalogue_files(held), models=held, own=Own(*own)))
        return
    catalogue = Catalogue(catalogue_files(held), models=held, own=held.own)
    if kind == "overlay":
        model, _, name = document.partition(MARK)
        said = check_overlay(parse_toml(content, where), where, name)
        if said != model:
            raise FileError(
                "file-problems", "overlay is wrong", where=where,
                problems=[f"model: is {said!r}, but the overlay is kept for {model!r}."],
            )  # fmt: skip
        catalogue.overlaid(document, held.model(model), kept)
        return
    machine = catalogue.machine_content(content, where)
    if machine.code != document:
        raise FileError(
            "file-problems", "machine file is of another model", where=where,
            problems=[f"model: is {machine.code!r}, but the revision is of {document!r}."],
        )  # fmt: skip
    for overlay in held.overlays():
        if overlay.startswith(f"{document}{MARK}"):
            catalogue.overlaid(overlay, kept, held.overlay(overlay))


def _read_all(catalogue: Catalogue) -> None:
    """Read sections, grades and every machine that refers to them."""
    for _ in catalogue.tables.every_section():
        pass
    _ = catalogue.grades
    for code in (*catalogue.model_codes, *catalogue.overlays):
        catalogue.machine(code)


def _check_rules(files: Mapping[str, bytes], where: str) -> None:
    from ..rules.cases import load_cases
    from ..rules.loader import load_rules
    from .rulecheck import check_rules

    rule_set = load_rules(KeptFiles(files, where))
    cases = {
        name.removeprefix("cases/"): content
        for name, content in files.items()
        if name.startswith("cases/")
    }
    found = check_rules(rule_set, load_cases(rule_set, KeptFiles(cases, f"{where}, cases")))
    if found:
        raise FileError(
            "file-problems", "rule set has problems", where=where,
            problems=[problem.text for problem in found],
        )  # fmt: skip
