"""Grades of steel and aluminium, by every name that they go by."""

import re
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
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
    known = _known(tuple((g.name, g.aliases, g.family) for g in grades.values()))
    if wanted in known.in_full:
        return grades[known.in_full[wanted]]
    called = {name for form in _forms(wanted) for name in known.called.get(form, ())}
    found = [grade for name, grade in grades.items() if name in called]
    if len(found) == 1:
        return found[0]
    if found:
        raise OpenQuestion(
            "which-grade",
            f"{text.strip()[:60]!r} names more than one grade. Which is it?",
            [grade.name for grade in found],
        )
    close = nearest(text[:200], known.names, cutoff=0.65)
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


_MATERIAL_WORDS: Final[dict[Family, tuple[str, ...]]] = {
    "carbon-steel": ("carbon steel", "mild steel", "black steel", "carbon", "CS"),
    "stainless-steel": ("stainless steel", "stainless", "SS"),
    "aluminium": ("aluminium", "aluminum"),
}


class _Known(NamedTuple):
    """What grades are called.

    Attributes:
        names: every name there is, as it is written.
        in_full: grades by their own folded name.
        called: grades by family and folded name.
    """

    names: tuple[str, ...]
    in_full: Mapping[str, str]
    called: Mapping[tuple[Family, str], tuple[str, ...]]


@lru_cache(maxsize=64)
def _known(grades: tuple[tuple[str, tuple[str, ...], Family], ...]) -> _Known:
    """Fold the names of grades once, and not for every text: name, aliases and family of each."""
    names: dict[str, None] = {}
    in_full: dict[str, str] = {}
    called: dict[tuple[Family, str], tuple[str, ...]] = {}
    for name, aliases, family in grades:
        in_full.setdefault(_fold(name), name)
        own = _names(name, aliases, family)
        names |= dict.fromkeys(own)
        for form in dict.fromkeys(_fold(item) for item in own):
            called[family, form] = (*called.get((family, form), ()), name)
    return _Known(tuple(names), in_full, called)


def _names(name: str, aliases: Sequence[str], family: Family) -> list[str]:
    """Return everything a grade is called, from its own name to its material."""
    names = [name, *aliases, *_MATERIAL_WORDS[family]]
    standard = name.rpartition(" ")[0]
    if any(character.isdigit() for character in standard):
        names.append(standard)
    return [*names, *(name.removeprefix("ASTM ") for name in names if name.startswith("ASTM "))]


def _forms(wanted: str) -> Iterator[tuple[Family, str]]:
    """Yield what a folded text names in each family, alone or beside its material: 316 SS."""
    for family, words in _MATERIAL_WORDS.items():
        yield family, wanted
        for word in map(_fold, words):
            yield family, wanted.removeprefix(word)
            yield family, wanted.removesuffix(word)


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
