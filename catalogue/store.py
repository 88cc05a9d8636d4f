"""The catalogue as one object: sections, grades and machine models, each with a digest."""

from functools import cached_property
from pathlib import Path
from typing import Any, Final, NamedTuple, Protocol

from .designations.designations import read_section
from .errors import InputError
from .files.file_source import (
    Files,
    Folder,
    KeptFiles,
    digest_of,
    files_of,
    parse_toml,
    read_bytes,
)
from .files.problems import Problems
from .grades.grades import Grade, find_grade, read_grades
from .grades.tolerances import Product, read_products
from .machines.model import MachineModel
from .machines.reader import read_machine
from .machines.site_overlay import MARK, merged
from .nearest import nearest
from .tables.reader import SectionTables
from .tables.sections import Section

FOLDER: Final = Path(__file__).parent


class ModelFile(NamedTuple):
    """The file of a model, and its revision where a ledger keeps it (else 0: the file says)."""

    content: bytes
    where: str
    revision: int = 0


class Models(Protocol):
    """Where the files of machine models come from."""

    def codes(self) -> list[str]:
        """Return the codes of all models."""
        ...

    def model(self, code: str) -> ModelFile:
        """Return the file of a model that there is."""
        ...

    def overlays(self) -> list[str]:
        """Return ``model@name`` for every overlay."""
        ...

    def overlay(self, code: str) -> ModelFile:
        """Return the file of an overlay that there is."""
        ...


class FolderModels:
    """One TOML file a model in a folder, named by the model's code. No overlays."""

    def __init__(self, files: Files) -> None:
        self.files = files

    def codes(self) -> list[str]:
        """Return the codes of all models."""
        return [name.removesuffix(".toml") for name in self.files.names("*.toml")]

    def model(self, code: str) -> ModelFile:
        """Return the file of a model that there is."""
        name = f"{code}.toml"
        return ModelFile(self.files.read(name), self.files.where(name))

    def overlays(self) -> list[str]:
        """Return nothing: overlays are kept in a ledger."""
        return []

    def overlay(self, code: str) -> ModelFile:
        """Refuse: there is none."""
        raise KeyError(code)


class Own(NamedTuple):
    """Files of the site's own sections and grades; None where it has none."""

    sections: ModelFile | None = None
    grades: ModelFile | None = None


class Catalogue:
    """Everything that exists, read when first asked for.

    Args:
        folder: holds ``tables/``, ``grades.toml`` and ``tolerances.toml``, and ``models/`` where
            ``models`` is not given.
        models: where machine models come from.
        own: sections and grades beside the curated ones.

    Raises:
        FileError: on first use of a damaged or wrong file.
    """

    def __init__(
        self,
        folder: Path | Files = FOLDER,
        *,
        models: Models | None = None,
        own: Own | None = None,
    ) -> None:
        self.files = files_of(folder)
        self.own = own or Own()
        self.models = models or FolderModels(_below(folder, "models"))
        self.given_files: dict[str, bytes] = {}

    @cached_property
    def tables(self) -> SectionTables:
        """The section tables, with the site's own sections."""
        curated = SectionTables(_below(self.files, "tables"))
        if self.own.sections is None:
            return curated
        from .tables.own_sections import read_own_sections

        kept = self.own.sections
        return SectionTables(curated.files, read_own_sections(kept.content, kept.where, curated))

    @cached_property
    def digest(self) -> str:
        """Digest of everything but the machine models, which have their own."""
        names = [*self.files.names("tables/*.csv"), "grades.toml", "tolerances.toml"]
        if self.tables.are_described:
            # An index kept before it said what columns mean decided nothing, and had no part.
            names.append("tables/index.toml")
        contents = [
            (name.rsplit("/", 1)[-1].encode(), self.files.read(name)) for name in sorted(names)
        ]
        contents += [(b"own", kept.content) for kept in self.own if kept is not None]
        return digest_of(*(part for pair in contents for part in pair))

    def _parsed(self, name: str) -> tuple[dict[str, Any], Problems]:
        where, content = self.files.where(name), self.files.read(name)
        return parse_toml(content, where), Problems(where, content)

    @cached_property
    def products(self) -> dict[str, Product]:
        """Product standards by name."""
        data, problems = self._parsed("tolerances.toml")
        products = read_products(data, problems)
        problems.finish("tolerance file")
        return products

    @cached_property
    def grades(self) -> dict[str, Grade]:
        """Grades by name: the curated ones, then the site's own."""
        data, problems = self._parsed("grades.toml")
        grades = read_grades(data, problems, self.products)
        problems.finish("grade file")
        if self.own.grades is None:
            return grades
        from .grades.own_grades import read_own_grades

        return grades | read_own_grades(
            self.own.grades.content, self.own.grades.where, grades, self.products
        )

    @cached_property
    def model_codes(self) -> tuple[str, ...]:
        """Codes of all models, sorted."""
        return tuple(self.models.codes())

    @cached_property
    def overlays(self) -> tuple[str, ...]:
        """Overlays by ``model@name``, sorted: machines as they stand at a site."""
        return tuple(self.models.overlays())

    @cached_property
    def machines(self) -> dict[str, MachineModel]:
        """All models, smallest first: by rated diameter, then by rated length."""
        models = [self._kept_machine(code) for code in self.model_codes]
        return {model.code: model for model in sorted(models, key=capacity)}

    def machine(self, code: str) -> MachineModel:
        """Return the model of this code, or ``model@name`` as it stands at a site.

        Raises:
            InputError: ``machine-unknown`` with the nearest codes.
            FileError: the model's file is wrong, or its overlay does not fit it.
        """
        wanted = code.strip().casefold()
        if wanted in self.model_codes:
            return self._kept_machine(wanted)
        if wanted in self.overlays:
            return self._overlaid(wanted)
        model, mark, _ = wanted.partition(MARK)
        if mark and model in self.model_codes:
            raise self._no_site(wanted, model)
        every = [*self.model_codes, *self.overlays]
        begins = [name for name in every if wanted and name.startswith(wanted)]
        known = begins or nearest(code, every) or every
        raise InputError(
            "machine-unknown",
            f"no machine model {code.strip()[:60]!r} is known",
            remedy=f"Known: {', '.join(known)}; or give the path of a .toml file.",
        )

    def _no_site(self, code: str, model: str) -> InputError:
        sites = [name for name in self.overlays if name.startswith(f"{model}{MARK}")]
        kept = (
            f"Of this model are kept: {', '.join(sites)}." if sites else "None is, of this model."
        )
        return InputError(
            "machine-unknown", f"no site {code[:60]!r} is kept",
            remedy=f"{kept} Begin it: cuttable sites draft {code[:60]}",
        )  # fmt: skip

    def _kept_machine(self, code: str) -> MachineModel:
        kept = self.models.model(code)
        model = self.machine_content(kept.content, kept.where)
        return model._replace(revision=kept.revision) if kept.revision else model

    def _overlaid(self, code: str) -> MachineModel:
        model = self.models.model(code.split(MARK, maxsplit=1)[0])
        return self.overlaid(code, model, self.models.overlay(code))

    def overlaid(self, code: str, model: ModelFile, over: ModelFile) -> MachineModel:
        """Return a model with an overlay laid over it.

        Raises:
            FileError: the overlay is wrong or does not fit the model.
        """
        base = parse_toml(model.content, model.where)
        data = merged(base, over.content, over.where)
        problems = Problems(f"{over.where}, over {model.where}")
        digest = digest_of(model.content, over.content)
        machine = read_machine(data, problems, digest, self.tables, self.grades)
        return machine._replace(
            code=code,
            revision=model.revision or machine.revision,
            overlay_revision=over.revision,
        )

    def machine_file(self, path: Path) -> MachineModel:
        """Load one machine file.

        Raises:
            FileError: ``file-missing``, ``file-damaged`` or ``file-problems``.
        """
        given = self.given_files.get(str(path))
        content = read_bytes(path) if given is None else given
        return self.machine_content(content, str(path))._replace(file=str(path))

    def machine_content(self, content: bytes, where: str) -> MachineModel:
        """Read the content of a machine file.

        Raises:
            FileError: ``file-damaged`` or ``file-problems``.
        """
        data, problems = parse_toml(content, where), Problems(where, content)
        return read_machine(data, problems, digest_of(content), self.tables, self.grades)

    def section(self, text: str) -> Section:
        """Read a section; see :func:`cuttable.catalogue.designations.designations.read_section`."""
        return read_section(text, self.tables)

    def grade(self, text: str) -> Grade:
        """Find a grade; see :func:`cuttable.catalogue.grades.grades.find_grade`."""
        return find_grade(text, self.grades)


def _below(place: Path | Files, folder: str) -> Files:
    """Return the files of a folder within a place."""
    if isinstance(place, Path):
        return Folder(place / folder)
    if isinstance(place, Folder):
        return Folder(place.path / folder)
    contents = {
        name.removeprefix(f"{folder}/"): place.read(name) for name in place.names(f"{folder}/*")
    }
    return KeptFiles(contents, place.where(folder))


def capacity(model: MachineModel) -> tuple[float, float, str]:
    """Sort key that puts the smallest model first."""
    size = max(
        (value for name in ("round_diameter", "swept_diameter")
         if (value := model.limit(name).rated) == value),
        default=0.0,
    )  # fmt: skip
    return size, model.limit("stock_length").rated, model.code
