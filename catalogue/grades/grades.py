"""Grades of steel and aluminium, by every name that they go by."""

import re
from collections.abc import Mapping
from typing import Any, Final, NamedTuple, get_args

from ..errors import InputError, OpenQuestion
from ..files.problems import Problems
from ..files.schema import Hole
from ..nearest import did_you_mean, nearest
from ..tables.sections import Section
from .schema import (
    Family,
    GradeFile,
    GradeTable,
    OwnGradeFile,
)
from .tolerances import Product

FAMILIES: Final[tuple[Family, ...]] = get_args(Family)

DEFAULT_GRADE: Final = "ASTM A53 B"


class Grade(NamedTuple):
    """A grade.

    Attributes:
        density: kg/m^3.
        elasticity: modulus in MPa.
        yield_strength: least yield in MPa.
    """

    name: str
    family: Family
    product: Product
    density: float
    elasticity: float
    yield_strength: float
    source: str
    status: str
    aliases: tuple[str, ...]


def read_grades(
    data: dict[str, Any],
    problems: Problems,
    products: Mapping[str, Product],
    schema: type[GradeFile | OwnGradeFile] = GradeFile,
) -> dict[str, Grade]:
    """Read the data of ``grades.toml``, or of the site's own; what is wrong is noted."""
    file = problems.read(schema, data)
    return {
        name: grade
        for name, table in file.grades.items()
        if (grade := _grade(name, table, problems, products)) is not None
    }


def _grade(
    name: str, table: GradeTable, problems: Problems, products: Mapping[str, Product]
) -> Grade | None:
    if isinstance(table.product, Hole):
        return None
    if table.product not in products:
        hint = did_you_mean(table.product, products)
        what = f"{table.product!r} is not one of {', '.join(products)}. {hint}".strip()
        problems.note(("grades", name, "product"), what)
        return None
    return Grade(
        name=name,
        family=table.family,
        product=products[table.product],
        density=table.density,
        elasticity=table.elasticity,
        yield_strength=table.yield_strength,
        source=table.source,
        status=table.status,
        aliases=table.aliases,
    )


def default_grade(section: Section | None, grades: dict[str, Grade]) -> Grade:
    """Return the grade taken where none is stated: carbon steel as the section is sold.

    A section of a standard that grades are made to gets the weakest of them, so that neither
    its mill tolerance nor its strength is flattered; anything else is ASTM A53 B.
    """
    own = [
        grade
        for grade in grades.values()
        if section and grade.product.name == section.standard and grade.family == "carbon-steel"
    ]
    return min(own, key=lambda grade: grade.yield_strength, default=grades[DEFAULT_GRADE])


def find_grade(text: str, grades: dict[str, Grade]) -> Grade:
    """Return the one grade that ``text`` names: in full, by an alias, standard or material.

    Case, spaces, ``ASTM``, ``GR`` and the ASME and metric forms of a standard's number do not
    matter.

    Raises:
        InputError: ``text-empty`` or ``grade-unknown`` with the nearest names.
        OpenQuestion: ``which-grade`` where more than one grade is called so.
    """
    if not text.strip():
        raise InputError("text-empty", "the grade is empty", remedy="Leave --grade out instead.")
    wanted = _fold(text[:200])
    for grade in grades.values():
        if wanted == _fold(grade.name):
            return grade
    found = [grade for grade in grades.values() if _is_called(grade, wanted)]
    if len(found) == 1:
        return found[0]
    if found:
        raise OpenQuestion(
            "which-grade",
            f"{text.strip()[:60]!r} names more than one grade. Which is it?",
            [grade.name for grade in found],
        )
    called = dict.fromkeys(name for grade in grades.values() for name in _names(grade))
    close = nearest(text[:200], called, cutoff=0.65)
    families = ", ".join(name.replace("-", " ") for name in FAMILIES)
    examples = [next(g.name for g in grades.values() if g.family == name) for name in FAMILIES]
    raise InputError(
        "grade-unknown",
        f"no grade {text.strip()[:60]!r} is known",
        remedy=f"Nearest known: {', '.join(close)}."
        if close
        else f"Known are grades of {families}, such as {', '.join(examples)}.",
    )


def is_full_name(text: str, grade: Grade) -> bool:
    """Say whether ``text`` is the name of ``grade`` itself, and not merely leads to it."""
    return _fold(text) == _fold(grade.name)


_MATERIAL_WORDS: dict[Family, tuple[str, ...]] = {
    "carbon-steel": ("carbon steel", "mild steel", "black steel", "carbon", "CS"),
    "stainless-steel": ("stainless steel", "stainless", "SS"),
    "aluminium": ("aluminium", "aluminum"),
}


def _names(grade: Grade) -> list[str]:
    """Return everything a grade is called, from its own name to its material."""
    names = [grade.name, *grade.aliases, *_MATERIAL_WORDS[grade.family]]
    standard = grade.name.rpartition(" ")[0]
    if any(character.isdigit() for character in standard):
        names.append(standard)
    return [*names, *(name.removeprefix("ASTM ") for name in names if name.startswith("ASTM "))]


def _is_called(grade: Grade, wanted: str) -> bool:
    """Say whether a folded text is a name of ``grade``, alone or beside its material: 316 SS."""
    names = {_fold(name) for name in _names(grade)}
    words = [_fold(word) for word in _MATERIAL_WORDS[grade.family]]
    return not names.isdisjoint(
        [wanted, *(wanted.removeprefix(word) for word in words),
         *(wanted.removesuffix(word) for word in words)]
    )  # fmt: skip


# What people put around a grade that says nothing about which it is. Order matters.
_SPELLINGS: list[tuple[re.Pattern[str], str]] = [
    (re.compile(r"astm|\b(?:asme|aisi|uns|type)\b|\bgrade\b|\bgr\.?(?=\s|[a-z]\b)"), " "),
    (re.compile(r"/ ?s?a?[- ]?\d+m\b"), ""),  # A53/A53M
    (re.compile(r"\bsa[- ]?(?=\d)"), "a"),  # SA106, the ASME form of A106
    (re.compile(r"\b(a ?\d+)m\b"), r"\1"),
    (re.compile(r"\b(en ?\d{5})-\d\b"), r"\1"),  # EN 10219-2 is the standard of the sizes
    (re.compile(r"[^a-z0-9]"), ""),
]


def _fold(name: str) -> str:
    plain = name.casefold()
    for pattern, instead in _SPELLINGS:
        plain = pattern.sub(instead, plain)
    return plain
