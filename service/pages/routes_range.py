"""Range: sections against lengths on one model or two."""

from typing import Annotated, Any, Literal
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from ...catalogue.errors import CuttableError, OpenQuestion
from ...catalogue.tables.families import FAMILIES
from ...engine.answer.wording import System
from ...engine.search.charting import charts_of
from ..asking import check_names
from ..engine_worker import Standing
from ..problems import status_of
from ..state import state_of
from .faults import Fault, fault_of
from .range_view import drawings
from .rendering import Asks, page
from .routes_ask import models_of

router = APIRouter()

_FAMILIES = {
    "pipe": "Pipe, ASME", "tube": "Tube, metric", "chs": "CHS, EN 10219", "shs": "SHS, EN 10219",
    "rhs": "RHS, EN 10219", "hss": "HSS, ASTM A500",
}  # fmt: skip
Text = Annotated[str, Query(max_length=100)]


@router.get("/range")
async def show_range(
    request: Request,
    asker: Asks,
    machine: Text = "",
    against: Text = "",
    family: Text = "pipe",
    wall: Text = "",
    grade: Text = "",
    units: Literal["si", "us"] = "si",
) -> Response:
    """Draw a model's range; what is wrong in the form is told above it."""
    _ = asker
    asked = {"machine": machine, "against": against, "family": family, "wall": wall.strip(),
             "grade": grade.strip()}  # fmt: skip

    def work(standing: Standing) -> dict[str, Any]:
        assessor, system = standing.assessor, units
        models = models_of(assessor)
        names = [machine or next((code for code, *_ in models), "")]
        names += [against] if against and against != machine else []
        known: dict[str, Any] = {"models": models, "drawings": [], "title": "", "fault": None,
                                 "status": 200, "first": names[0]}  # fmt: skip
        try:
            check_names(names)
            found = charts_of(assessor, assessor.machines(names), family=family, wall=wall,
                              grade=grade.strip() or None, system=system)  # fmt: skip
        except (CuttableError, OpenQuestion) as fault:
            code = fault.code if isinstance(fault, CuttableError) else "question-open"
            return known | {"fault": fault_of(fault), "status": status_of(code)}
        drawn = drawings(found, system, grade.strip())
        if not any(item.rows for item in drawn):
            return known | {"fault": Fault("Nothing of this family can be drawn")}
        return known | {"drawings": drawn, "title": found.title}

    found = await state_of(request).engine.long.run(work)

    def link(system: System) -> str:
        pairs = {name: value for name, value in asked.items() if value}
        return f"/range?{urlencode(pairs | {'units': system})}"

    families = [(name, _FAMILIES.get(name, name)) for name in FAMILIES]
    return page(request, "range.html", found.pop("status"), asked=asked, units=units, link=link,
                families=families, **found)  # fmt: skip
