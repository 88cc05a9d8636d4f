"""Grades of the site's own, beside the curated ones: the same form as ``grades.toml``."""

from ..errors import CuttableError, OpenQuestion
from ..files.file_source import parse_toml
from ..files.problems import Problems
from .grades import Grade, Product, find_grade, read_grades
from .schema import OwnGradeFile


def read_own_grades(
    content: bytes, where: str, curated: dict[str, Grade], products: dict[str, Product]
) -> dict[str, Grade]:
    """Read the file of own grades.

    Raises:
        FileError: ``file-damaged`` or ``file-problems``: wrong keys or values, names taken.
    """
    problems = Problems(where, content)
    found = read_grades(parse_toml(content, where), problems, products, OwnGradeFile)
    for name, grade in found.items():
        for called in (name, *grade.aliases):
            try:
                known = find_grade(called, curated).name
            except OpenQuestion:
                known = "several grades"
            except CuttableError:
                continue
            problems.note(("grades", name), f"{called!r} is what {known} is called already.")
    problems.finish("file of own grades")
    return found
