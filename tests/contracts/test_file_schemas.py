"""The JSON Schemas of files: shipped as made, true of every shipped file, never too strict."""

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from cuttable.catalogue.errors import FileError
from cuttable.catalogue.files.schema import Table, is_table
from cuttable.catalogue.machines.schema import MachineFile, SiteHead, site_file
from cuttable.catalogue.store import FOLDER, Catalogue
from cuttable.cli.schema import KINDS, schema_text
from cuttable.rules.loader import FOLDER as RULES
from hypothesis import given, settings
from hypothesis import strategies as st

ROOTS = {"catalogue": FOLDER, "rules": RULES, "engine": FOLDER.parent / "engine"}
MACHINE = Path(__file__).parents[1] / "unit" / "catalogue" / "broken_machines" / "valid.toml"
VALID = MACHINE.read_text(encoding="utf-8")
SHIPPED = sorted(
    [
        *(FOLDER / "models").glob("*.toml"), FOLDER / "grades.toml", FOLDER / "tolerances.toml",
        *RULES.glob("*.toml"), *(RULES / "cases").glob("*.toml"),
    ]
)  # fmt: skip


def shipped(kind: str) -> Path:
    """Return where a schema is shipped."""
    root, _, folder = KINDS[kind].shipped.partition("/")
    return ROOTS[root] / folder / f"{kind}.schema.json"


def checker(kind: str) -> Any:
    """Return what checks data against a schema of ours."""
    made = json.loads(schema_text(kind))
    jsonschema.Draft202012Validator.check_schema(made)
    return jsonschema.Draft202012Validator(made)


def faults(kind: str, text: str) -> list[str]:
    """Return where a file breaks a schema, as dotted keys."""
    return [error.json_path for error in checker(kind).iter_errors(tomllib.loads(text))]


@pytest.mark.parametrize("kind", KINDS)
def test_a_shipped_schema_is_the_one_that_is_made(kind: str) -> None:
    """After a change of a file's form: cuttable schema KIND > the file named here."""
    assert shipped(kind).read_text(encoding="utf-8") == f"{schema_text(kind)}\n", shipped(kind)


def test_no_other_schema_is_shipped() -> None:
    """A schema that is not made any more does not stay."""
    found = {path for root in ROOTS.values() for path in root.glob("**/*.schema.json")}
    assert found == {shipped(kind) for kind in KINDS}


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_every_shipped_file_names_its_schema_and_keeps_to_it(path: Path) -> None:
    """The first line leads an editor to the schema, from where the file is."""
    text = path.read_text(encoding="utf-8")
    first = re.fullmatch(r"#:schema (\S+/)?(\S+)\.schema\.json", text.splitlines()[0])
    assert first
    named = (path.parent / (first[1] or "") / f"{first[2]}.schema.json").resolve()
    assert named == shipped(first[2]).resolve()
    assert faults(first[2], text) == []


def test_the_site_s_own_files_keep_to_their_schemas() -> None:
    """A site's overlay, a section and a grade of its own."""
    site = (
        'schema = 1\nmodel = "rowan-150"\noverlay = "hall-2"\ntitle = "hall 2"\n'
        'fitted = ["reversed-jaws"]\n[limits.stock_mass]\nrated = "250 kg"\nbasis = "rollers"\n'
        '[rotary]\nramp = { kind = "constant-time", time = "1 s" }\n[chuck]\nbore = "0 mm"\n'
        '[[supports]]\ncode = "roller-pair"\ncount = 2\n'
    )
    assert faults("site", site) == []
    section = 'shape = "square"\nheight = "4 in"\nwidth = "4 in"\nwall = "1/4 in"\n'
    text = f'schema = 1\n[sections.box]\n{section}standard = "own"\nbasis = "measured"\n'
    assert faults("sections", text) == []


@pytest.mark.parametrize(
    ("old", "new", "at"),
    [
        ('jaw_force    = "6 kN"\n', "", "$.chuck"),
        ('"6 kN"', "6000", "$.chuck.jaw_force"),
        ('"6 kN"', '"6000"', "$.chuck.jaw_force"),
        ('"6 kN"', '"much"', "$.chuck.jaw_force"),
        ('"6 kN"', '"-6 kN"', "$.chuck.jaw_force"),
        ("jaws         = 3", "jaws         = true", "$.chuck.jaws"),
        ("jaws         = 3", "jaws         = 9", "$.chuck.jaws"),
        ("jaws         = 3", "jaws         = 3.5", "$.chuck.jaws"),
        ("jaw_friction = 0.2", 'jaw_friction = "0.2"', "$.chuck.jaw_friction"),
        ("jaw_friction = 0.2", "jaw_friction = 20", "$.chuck.jaw_friction"),
        ("standard = false", 'standard = "no"', "$.accessories[0].standard"),
        ('carries        = ["round"]', 'carries = ["oval"]', "$.supports[0].carries[0]"),
        ('keep_clear = "120 mm"', 'keep_claer = "120 mm"', "$.cutting"),
        ("[limits.stock_mass]", "[limits.stock_mas]", "$.limits"),
        ('kind = "constant-time"', 'kind = "constant-tim"', "$.rotary.ramp"),
        ('time = "0.8 s" }', 'acceleration = "4 rad/s^2" }', "$.rotary.ramp"),
        ('basis    = "jaw travel"', 'basis = " "', "$.limits.round_diameter.basis"),
        ("schema   = 1", "schema   = 2", "$.schema"),
        ("[[accessories]]", "[accessories]", "$.accessories"),
    ],
)
def test_what_is_wrong_in_form_breaks_the_schema_at_its_place(old: str, new: str, at: str) -> None:
    """An editor underlines what the tool would refuse."""
    assert VALID.count(old) == 1
    assert at in faults("machine", VALID.replace(old, new))


def test_keys_that_nothing_reads_stay_readable_and_are_called_so(catalogue: Catalogue) -> None:
    """A file of an earlier form is taken; an editor strikes the key through."""
    now = re.sub(r"jaw_wobble.*\n", "", VALID)
    old = now.replace("jaws         = 3", 'jaw_wobble = "0.1 mm"\njaws         = 3')
    assert old != now
    assert faults("machine", old) == []
    assert catalogue.machine_content(old.encode(), "old").chuck.jaws == 3
    chuck = json.loads(schema_text("machine"))["$defs"]["ChuckTable"]["properties"]
    assert chuck["jaw_wobble"]["deprecated"] is True


def tables_of(table: type[Table]) -> set[type[Table]]:
    """Return a schema's tables, all the way down."""
    found: set[type[Table]] = {table}
    for field in table.model_fields.values():
        waiting: list[Any] = [field.annotation]
        while waiting:
            kind = waiting.pop()
            waiting += getattr(kind, "__args__", ())
            if is_table(kind) and kind not in found:
                found |= tables_of(kind)
    return found


def test_every_key_of_a_machine_file_is_described() -> None:
    """What an editor shows beside a key says what it is; a table is described by itself."""
    for schema in (MachineFile, SiteHead):
        for table in tables_of(schema):
            assert table.__doc__
            for name, field in table.model_fields.items():
                kinds = (field.annotation, *getattr(field.annotation, "__args__", ()))
                is_told = field.description or any(is_table(kind) for kind in kinds)
                assert is_told or name == "kind", f"{table.__name__}.{name}"


def test_a_quantity_says_its_units_and_an_example() -> None:
    """The units are those of its dimension, and of no other."""
    chuck = json.loads(schema_text("machine"))["$defs"]["ChuckTable"]["properties"]
    assert chuck["jaw_force"]["description"] == "Force of one jaw. Number and unit: N, kN, lbf."
    assert chuck["jaw_force"]["examples"] == ["4.2 kN"]


def test_in_a_site_s_file_only_the_basis_and_the_codes_are_required() -> None:
    """Nothing else must be stated again."""
    for table in tables_of(site_file()) - {site_file()}:
        needed = {name for name, field in table.model_fields.items() if field.is_required()}
        whole = {"kind", "time", "acceleration", "section", "length"}  # values stated whole
        assert needed - whole <= {"basis", "code"}, table.__name__


VALUES = st.sampled_from(
    ['"6 kN"', '"6.0 kN "', '"6,5 kN"', '"+6 kN"', '"6"', "6", "6.5", "-1", "true", "nan", "inf",
     '""', '"  "', '"1/2 in"', '"½ in"', '"2-1/2""', '"6 mm"', '"6\\""', '"1 %"', '"90 deg"', "[]",
     '["round"]', "{}", '{ section = "NPS 5 SCH 40", length = "6 m" }', "2026-11-25", '"1e3 N"',
     '"0 mm"', '"roller-pair"', '"3 lbf"', '".5 m"', '"1 000 N"', "3", "0.5", "1"]
)  # fmt: skip
PLACES = [match.span(1) for match in re.finditer(r'= ("[^"]*"|[\d.]+|true|false)', VALID)]


@settings(max_examples=400, deadline=None, derandomize=True, database=None)
@given(place=st.sampled_from(PLACES), value=VALUES)
def test_a_schema_never_refuses_what_the_tool_takes(
    catalogue: Catalogue, place: tuple[int, int], value: str
) -> None:
    """An editor may be more lenient than the tool, and never stricter."""
    text = f"{VALID[: place[0]]}{value}{VALID[place[1] :]}"
    try:
        catalogue.machine_content(text.encode(), "machine")
    except FileError:
        return
    assert faults("machine", text) == []
