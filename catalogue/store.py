"""The catalogue as one object: sections, grades and machine models, each with a digest."""

from functools import cached_property
from pathlib import Path
from typing import Final

from .designations import read_section
from .errors import InputError
from .grades import Grade, Product, find_grade, read_grades, read_products
from .machines import MachineModel, read_machine
from .nearest import nearest
from .reading import Reader, digest_of, parse_toml, read_bytes
from .sections import Section
from .tables import SectionTables

FOLDER: Final = Path(__file__).parent


class Catalogue:
    """Everything that exists, read when first asked for.

    Args:
        folder: holds ``tables/``, ``models/``, ``grades.toml`` and ``tolerances.toml``.

    Raises:
        FileError: on first use of a damaged or wrong file.
    """

    def __init__(self, folder: Path = FOLDER) -> None:
        self.folder = folder
        self.tables = SectionTables(folder / "tables")

    @cached_property
    def digest(self) -> str:
        """Digest of everything but the machine models, which have their own."""
        files = sorted(
            [
                *(self.folder / "tables").glob("*.csv"),
                self.folder / "grades.toml",
                self.folder / "tolerances.toml",
            ]
        )
        contents = [part for path in files for part in (path.name.encode(), read_bytes(path))]
        return digest_of(*contents)

    def _reader(self, name: str) -> Reader:
        path = self.folder / name
        return Reader(parse_toml(read_bytes(path), str(path)), str(path))

    @cached_property
    def products(self) -> dict[str, Product]:
        """Product standards by name."""
        top = self._reader("tolerances.toml")
        products = read_products(top)
        top.finish("tolerance file")
        return products

    @cached_property
    def grades(self) -> dict[str, Grade]:
        """Grades by name."""
        top = self._reader("grades.toml")
        grades = read_grades(top, self.products)
        top.finish("grade file")
        return grades

    @cached_property
    def model_files(self) -> dict[str, Path]:
        """Model files by model code (the file's name)."""
        return {path.stem: path for path in sorted((self.folder / "models").glob("*.toml"))}

    @cached_property
    def machines(self) -> dict[str, MachineModel]:
        """All models, smallest first: by rated diameter, then by rated length."""
        models = [self.machine_file(path) for path in self.model_files.values()]
        return {model.code: model for model in sorted(models, key=capacity)}

    def machine(self, code: str) -> MachineModel:
        """Return the model of this code.

        Raises:
            InputError: ``machine-unknown`` with the nearest codes.
            FileError: the model's file is wrong.
        """
        path = self.model_files.get(code.strip().casefold())
        if path is None:
            wanted = code.strip().casefold()
            begins = [name for name in self.model_files if wanted and name.startswith(wanted)]
            known = begins or nearest(code, self.model_files) or list(self.model_files)
            raise InputError(
                "machine-unknown",
                f"no machine model {code.strip()[:60]!r} is known",
                remedy=f"Known: {', '.join(known)}; or give the path of a .toml file.",
            )
        return self.machine_file(path)

    def machine_file(self, path: Path) -> MachineModel:
        """Load one machine file.

        Raises:
            FileError: ``file-missing``, ``file-damaged`` or ``file-problems``.
        """
        content = read_bytes(path)
        top = Reader(parse_toml(content, str(path)), str(path))
        return read_machine(top, digest_of(content), self.tables, self.grades)

    def section(self, text: str) -> Section:
        """Read a section; see :func:`cuttable.catalogue.designations.read_section`."""
        return read_section(text, self.tables)

    def grade(self, text: str) -> Grade:
        """Find a grade; see :func:`cuttable.catalogue.grades.find_grade`."""
        return find_grade(text, self.grades)


def capacity(model: MachineModel) -> tuple[float, float, str]:
    """Sort key that puts the smallest model first."""
    size = max(
        (value for name in ("round_diameter", "swept_diameter")
         if (value := model.limit(name).rated) == value),
        default=0.0,
    )  # fmt: skip
    return size, model.limit("stock_length").rated, model.code
