"""Find sections and grades in the tables, and families of sections."""

from typing import Annotated, Literal, NotRequired, cast

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from ...catalogue.tables.families import FAMILIES
from ...catalogue.tables.search import find_sections
from ...catalogue.tables.sections import Section, inches_of
from ..auth.authenticator import CanAsk
from ..content import Content, lists
from ..engine_worker import Standing
from ..paging import Page, paged
from ..settings import API
from ..state import state_of

router = APIRouter(prefix=API, tags=["asking"])


class PrintedInches(Content):
    """Sizes as the standard prints them in inches."""

    height: float
    width: float
    wall: float


class SectionLine(Content):
    """A section of the tables; sizes in mm."""

    designation: str
    shape: Literal["round", "square", "rectangular"]
    height: float
    """Of a round the outside diameter, as is the width."""
    width: float
    wall: float
    standard: str
    note: str
    inches: NotRequired[PrintedInches]


class GradeLine(Content):
    """A grade."""

    grade: str
    family: str
    product: str
    density: float
    """kg/m3."""
    yield_strength: float
    """MPa, the least."""
    source: str
    status: str


def line_of(item: Section) -> SectionLine:
    """Return a section as data; with its inches where its standard prints them."""
    return cast("SectionLine", {
        "designation": item.designation, "shape": item.shape, "height": item.height,
        "width": item.width, "wall": item.wall, "standard": item.standard, "note": item.note,
        **inches_of(item),
    })  # fmt: skip


@router.get("/sections", responses=lists(SectionLine))
async def sections(
    request: Request, asker: CanAsk, page: Page, text: Annotated[str, Query(max_length=100)] = ""
) -> Response:
    """Find sections by size, schedule or standard; every word must be part of one."""
    _ = asker

    def work(standing: Standing) -> tuple[str, list[SectionLine]]:
        return standing.key, standing.known(f"sections {text}", lambda: told(standing))

    def told(standing: Standing) -> list[SectionLine]:
        tables = standing.assessor.catalogue.tables
        found = find_sections(text, tables) if text.strip() else list(tables.every_section())
        return [line_of(item) for item in found]

    key, rows = await state_of(request).engine.quick.run(work)
    return paged(request, rows, page, key)


@router.get("/grades", responses=lists(GradeLine))
async def grades(
    request: Request, asker: CanAsk, page: Page, text: Annotated[str, Query(max_length=100)] = ""
) -> Response:
    """Find grades by name, alias or family."""
    _ = asker
    wanted = text.casefold().split()

    def work(standing: Standing) -> tuple[str, list[GradeLine]]:
        rows: list[GradeLine] = []
        for item in standing.assessor.catalogue.grades.values():
            told = " ".join((item.name, item.family, item.product.name, *item.aliases)).casefold()
            if all(word in told for word in wanted):
                rows.append({
                    "grade": item.name, "family": item.family, "product": item.product.name,
                    "density": item.density, "yield_strength": item.yield_strength,
                    "source": item.source, "status": item.status,
                })  # fmt: skip
        return standing.key, rows

    key, rows = await state_of(request).engine.quick.run(work)
    return paged(request, rows, page, key)


@router.get("/families")
async def families(asker: CanAsk) -> list[str]:
    """Return the families of sections a chart can be drawn for."""
    _ = asker
    return list(FAMILIES)
