"""Schemas made of records: every field once, strict, and null where a number is unknown."""

from typing import Any

import pytest
from cuttable.catalogue.files.plain_schema import plain_schema
from cuttable.catalogue.ledger.records import Entry, Revision
from cuttable.catalogue.machines.model import MachineModel, describe
from cuttable.catalogue.store import Catalogue
from pydantic import ValidationError

REVISION: dict[str, Any] = Revision(
    "rowan-150", 2, 1, "approved", "sha256:0", "tuned", "test 31", "Ana", "", "2026-11-25"
)._asdict()


def test_a_record_keeps_to_its_own_schema(catalogue: Catalogue) -> None:
    """A revision, an entry of the journal, and every machine as the program tells it."""
    assert plain_schema(Revision).model_validate(REVISION).model_dump() == REVISION
    entry = Entry(1, "2026-11-25", "Ana", "draft", "rowan-150", 2, "", "")._asdict()
    assert plain_schema(Entry).model_validate(entry).model_dump() == entry
    for machine in catalogue.machines.values():
        plain = describe(machine)
        assert plain_schema(MachineModel).model_validate(plain).model_dump() == plain


@pytest.mark.parametrize(
    ("key", "value"),
    [("number", "2"), ("number", True), ("number", 2.0), ("base", None), ("state", 3),
     ("reason", None), ("entry", "0"), ("colour", "red")],
)  # fmt: skip
def test_no_field_takes_a_value_of_another_kind(key: str, value: object) -> None:
    """Nothing is converted, and no field is unknown: what is hashed is what was written."""
    with pytest.raises(ValidationError):
        plain_schema(Revision).model_validate({**REVISION, key: value})


def test_what_a_record_needs_is_required() -> None:
    """Texts that do not exist yet may be left out, and nothing else."""
    for name in REVISION:
        fewer = {key: value for key, value in REVISION.items() if key != name}
        if name in Revision._field_defaults:
            assert plain_schema(Revision).model_validate(fewer)
        else:
            with pytest.raises(ValidationError):
                plain_schema(Revision).model_validate(fewer)
