"""Problems of files: every one at once, by dotted key and line, whatever the damage."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cuttable.catalogue.errors import FileError
from cuttable.catalogue.files.file_source import KeptFiles, parse_toml
from cuttable.catalogue.files.toml_lines import lines_of
from cuttable.catalogue.grades.own_grades import read_own_grades
from cuttable.catalogue.store import FOLDER, Catalogue, ModelFile
from cuttable.catalogue.tables.own_sections import read_own_sections
from cuttable.engine.inputs.contract import load_rules
from cuttable.rules.cases import load_cases
from cuttable.rules.loader import FOLDER as RULES
from hypothesis import given, settings
from hypothesis import strategies as st

MACHINE = Path(__file__).parent / "broken_machines" / "valid.toml"
VALID = re.sub(r"jaw_wobble.*\n", "", MACHINE.read_text(encoding="utf-8"))  # read by nothing


def problems(catalogue: Catalogue, text: str) -> tuple[str, ...]:
    """Return what is wrong with a machine file."""
    with pytest.raises(FileError) as told:
        catalogue.machine_content(text.encode(), "machine")
    assert told.value.code == "file-problems"
    return told.value.problems


# --- lines ------------------------------------------------------------------------------------

TRICKY = """\
# [no.table]
top = 1 # = not a key

  [ a . "b.c" ]
text = \"\"\"
[not.a.table]
key = "x" \\\"\"\" still
\"\"\"
list = [
  1, # ]
  { x = "}" },
]
raw = '''
[[nor.this]]
'''
"quoted = key" = { inline = { deep = 1 } }
d.e = 2
[[items]]
code = 'first'
[items.inner]
z = 1
[[items]]
code = "second"
[[items.parts]]
p = 1
"""


def test_lines_of_every_way_to_write_a_key() -> None:
    """Texts and lists over many lines, dotted and quoted keys, arrays of tables."""
    found = lines_of(TRICKY.encode())
    assert found == {
        ("top",): 2,
        ("a", "b.c"): 4,
        ("a", "b.c", "text"): 5,
        ("a", "b.c", "list"): 9,
        ("a", "b.c", "raw"): 13,
        ("a", "b.c", "quoted = key"): 16,
        ("a", "b.c", "d", "e"): 17,
        ("items", 0): 18,
        ("items", 0, "code"): 19,
        ("items", 0, "inner"): 20,
        ("items", 0, "inner", "z"): 21,
        ("items", 1): 22,
        ("items", 1, "code"): 23,
        ("items", 1, "parts", 0): 24,
        ("items", 1, "parts", 0, "p"): 25,
    }
    assert lines_of(TRICKY.replace("\n", "\r\n").encode()) == found


@pytest.mark.parametrize(
    "path",
    [*(FOLDER / "models").glob("*.toml"), FOLDER / "tolerances.toml", *RULES.glob("*.toml")],
    ids=lambda path: path.name,
)
def test_every_line_found_in_a_shipped_file_has_its_key(path: Path) -> None:
    """And every table and key that leads to a value has a line, or one around it has."""
    content = path.read_bytes()
    rows = content.decode().splitlines()
    found = lines_of(content)
    for keys, line in found.items():
        names = [key for key in keys if isinstance(key, str)]
        assert names[-1] in rows[line - 1]
    for name in parse_toml(content, str(path)):
        assert any(keys[0] == name for keys in found)


# --- values that are none ---------------------------------------------------------------------

QUANTITY = re.compile(r'(\w+)\s*= "\d[^"]* ?(mm|in|m|kg|N|kN|N\*m|kN\*m|kg\*m\^2|rpm|s)"')
NUMBER = re.compile(r"(\w+)\s*= ([\d.]+)(?=[ \n])")
BAD_QUANTITIES = [
    '"nan mm"', '"inf mm"', '"-5 mm"', '"1e300 mm"', '"1e-300 mm"', "true", "nan", "5", '"5 %"',
    '"5 MPa"', '"5"', '"many mm"', '""', "[]", "{ a = 1 }", "2026-11-25",
]  # fmt: skip
BAD_NUMBERS = ["nan", "inf", "-inf", "-1", "1e300", "true", '"1"', "[]", "{ a = 1 }", "2026-11-25"]


@pytest.mark.parametrize(
    ("pattern", "values"), [(QUANTITY, BAD_QUANTITIES), (NUMBER, BAD_NUMBERS)],
    ids=["quantities", "numbers"],
)  # fmt: skip
def test_no_key_takes_a_value_that_is_none(
    catalogue: Catalogue, pattern: re.Pattern[str], values: list[str]
) -> None:
    """Not finite, negative, huge, a truth, another unit: told at its key, on its line."""
    places = list(pattern.finditer(VALID))
    assert len(places) > 5
    for place in places:
        line = VALID[: place.start()].count("\n") + 1
        for value in values:
            text = f"{VALID[: place.start()]}{place[1]} = {value}{VALID[place.end() :]}"
            told = problems(catalogue, text)
            # A table may be a reference piece, of which several keys are then wrong.
            assert len(told) == 1 or value == "{ a = 1 }", (place[0], value, told)
            for problem in told:
                assert place[1] in problem.partition(": ")[0].split("."), (value, told)
                assert problem.endswith(f"(line {line})"), (value, told)


# --- what is checked over whatever could be read ----------------------------------------------


def test_values_are_checked_together_where_others_cannot_be_read(catalogue: Catalogue) -> None:
    """A wrong unit in one table hides neither the order of limits nor that of stations."""
    text = VALID.replace('"6 kN"', '"6 kg"').replace('absolute = "10 in"', 'absolute = "199 mm"')
    text = text.replace('last = "6300 mm"', 'last = "63 mm"').replace(
        'torque_friction  = "6 N*m"', 'torque_friction  = "91 N*m"'
    )
    text = text.replace("[[accessories]]", "[[accessories]]\nweight = 1")
    text = text.replace('code     = "reversed-jaws"', 'code     = "roller-pair"')
    keys = {problem.partition(":")[0] for problem in problems(catalogue, text)}
    assert keys == {
        "chuck.jaw_force", "limits.round_diameter.absolute", "bed.stations.last",
        "rotary.torque_friction", "accessories[0].weight", "supports",
    }  # fmt: skip


def test_what_cannot_be_read_is_not_compared(catalogue: Catalogue) -> None:
    """A value that is none is one problem, whatever else rests on it."""
    text = VALID.replace('absolute = "10 in"', 'absolute = "x in"').replace(
        'code     = "reversed-jaws"', "code     = 3"
    )
    keys = [problem.partition(":")[0] for problem in problems(catalogue, text)]
    assert sorted(keys) == ["accessories[0].code", "limits.round_diameter.absolute"]


def test_a_site_s_file_tells_its_own_lines(catalogue: Catalogue) -> None:
    """What is wrong in an overlay is told of the overlay, not of the model."""
    text = (
        'schema = 1\nmodel = "rowan-150"\noverlay = "a"\ntitle = "a"\n\n[chuck]\nbore = "3 kg"\n'
        'jawss = 3\n[[supports]]\ncode = "roller-pair"\ncount = 0\n'
    )
    model = ModelFile((FOLDER / "models" / "rowan-150.toml").read_bytes(), "model")
    with pytest.raises(FileError) as told:
        catalogue.overlaid("rowan-150@a", model, ModelFile(text.encode(), "site"))
    assert told.value.where == "site"
    assert [re.sub(r":.*\(", " (", item) for item in told.value.problems] == [
        "chuck.bore (line 7)", "chuck.jawss (line 8)", "supports[0].count (line 11)",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "text",
    ["a = " + "[" * 5000, "a = " + "[" * 300 + "]" * 300, "a" + ".a" * 800 + " = 1",
     "a = " + "{ a = " * 5000, "a = " + "1" * 5000, "[" + "a." * 3000 + "a]"],
    ids=["open", "lists", "dotted", "tables", "digits", "header"],
)  # fmt: skip
def test_what_is_nested_or_long_without_end_is_damaged(text: str) -> None:
    """No file makes a reader run out of room."""
    with pytest.raises(FileError) as told:
        parse_toml(text.encode(), "file")
    assert told.value.code == "file-damaged"


def test_a_key_of_any_characters_is_told_on_one_line(catalogue: Catalogue) -> None:
    """A line end in a key does not begin a new problem."""
    told = problems(catalogue, f'"a\\nb" = 1\n{VALID}')
    assert len(told) == 1
    assert told[0].startswith("'a\\nb': is not a known key.")
    assert told[0].endswith("(line 1)")


# --- any damage -------------------------------------------------------------------------------

GRADE = (
    'schema = 1\n[grades."Mill 35"]\nfamily = "carbon-steel"\nproduct = "ASTM A53"\n'
    'density = "7850 kg/m^3"\nelasticity = "200 GPa"\nyield = "240 MPa"\nsource = "certificate"\n'
    'status = "seen"\naliases = ["M35"]\n'
)
SECTION = (
    'schema = 1\n[sections."RING 210x8"]\nshape = "round"\noutside_diameter = "210 mm"\n'
    'wall = "8 mm"\nstandard = "own"\nbasis = "drawing"\n[sections.BOX]\nshape = "square"\n'
    'height = "100 mm"\nwidth = "100 mm"\nwall = "5 mm"\ncorners = "EN 10219-2"\n'
    'standard = "own"\nbasis = "drawing"\n'
)
SITE = (
    'schema = 1\nmodel = "rowan-150"\noverlay = "a"\ntitle = "a"\nfitted = ["reversed-jaws"]\n'
    'removed = ["vee-cradle"]\n[limits.stock_mass]\nrated = "250 kg"\nbasis = "rollers"\n'
    "[handling]\npersons = 2\n"
    '[[supports]]\ncode = "roller-pair"\nreaction = { rated = "1 kN", basis = "worn" }\n'
)
RULE_FILES = {path.name: path.read_bytes() for path in RULES.glob("*.toml")}
CASE_FILES = {path.name: path.read_bytes() for path in (RULES / "cases").glob("*.toml")}
RULE_SET = load_rules()


def read_machine(catalogue: Catalogue, content: bytes) -> None:
    """Read a machine file."""
    catalogue.machine_content(content, "file")


def read_site(catalogue: Catalogue, content: bytes) -> None:
    """Lay a site's file over a model."""
    model = ModelFile((FOLDER / "models" / "rowan-150.toml").read_bytes(), "file")
    catalogue.overlaid("rowan-150@a", model, ModelFile(content, "file"))


def read_grade(catalogue: Catalogue, content: bytes) -> None:
    """Read own grades."""
    read_own_grades(content, "file", catalogue.grades, catalogue.products)


def read_section(catalogue: Catalogue, content: bytes) -> None:
    """Read own sections."""
    read_own_sections(content, "file", catalogue.tables)


def read_tolerances(catalogue: Catalogue, content: bytes) -> None:
    """Read mill tolerances."""
    _ = catalogue
    files = {"tolerances.toml": content, "grades.toml": (FOLDER / "grades.toml").read_bytes()}
    assert Catalogue(KeptFiles(files, "file")).products


def rule_reader(name: str) -> Callable[[Catalogue, bytes], None]:
    """Return what reads the rules with one of their files damaged."""

    def read(catalogue: Catalogue, content: bytes) -> None:
        _ = catalogue
        load_rules(KeptFiles({**RULE_FILES, name: content}, "file"))

    return read


def case_reader(name: str) -> Callable[[Catalogue, bytes], None]:
    """Return what reads the cases with one of their files damaged."""

    def read(catalogue: Catalogue, content: bytes) -> None:
        _ = catalogue
        load_cases(RULE_SET, KeptFiles({**CASE_FILES, name: content}, "file"))

    return read


FILES: dict[str, tuple[str, Callable[[Catalogue, bytes], None]]] = {
    "machine": (VALID, read_machine),
    "site": (SITE, read_site),
    "grades": (GRADE, read_grade),
    "sections": (SECTION, read_section),
    "tolerances": ((FOLDER / "tolerances.toml").read_text(encoding="utf-8"), read_tolerances),
    "rules": (RULE_FILES["drive.toml"].decode(), rule_reader("drive.toml")),
    "mitigations": (RULE_FILES["mitigations.toml"].decode(), rule_reader("mitigations.toml")),
    "cautions": (RULE_FILES["cautions.toml"].decode(), rule_reader("cautions.toml")),
    "vocabulary": (RULE_FILES["vocabulary.toml"].decode(), rule_reader("vocabulary.toml")),
    "cases": (CASE_FILES["wall.toml"].decode(), case_reader("wall.toml")),
    "base-case": (CASE_FILES["base.toml"].decode(), case_reader("base.toml")),
}

JUNK = st.sampled_from(
    ["3", "-3", "0.5", "true", "nan", "inf", "-inf", '""', '" "', '"x"', '"5 mm"', '"5,000 mm"',
     '"-5 kg"', '"1e999 mm"', '"5 %"', "[]", '[""]', "[1]", '["x"]', "[[]]", "[{}]", "{}",
     "{ x = 1 }", '{ kind = "x" }', "2026-11-25", "12:00:00", '"2026-11-25"', '"question"',
     '"refused"', '"unknown"', "9" * 30, '"wall > 1,234 mm"', '"{wall:x} {nothing}"']
)  # fmt: skip


@st.composite
def damaged(draw: st.DrawFn, text: str) -> str:
    """Draw a file with lines taken out, doubled, moved or given another value or key."""
    lines = text.splitlines()
    for _ in range(draw(st.integers(1, 3))):
        number = draw(st.integers(0, len(lines) - 1))
        key, equals, _value = lines[number].partition("=")
        what = draw(st.sampled_from(["value", "value", "value", "out", "key", "add", "inside"]))
        if what == "value" and equals:
            lines[number] = f"{key}= {draw(JUNK)}"
        elif what == "key" and equals:
            lines[number] = f"{key.strip()}x ={_value}"
        elif what == "add":
            lines.insert(number, f"{draw(st.sampled_from(['odd', 'unit', 'kind']))} = {draw(JUNK)}")
        elif what == "inside":
            lines[number] = re.sub(r'"[^"]*"|\b\d+\b', lambda _: draw(JUNK), lines[number], count=1)
        else:
            del lines[number]
            lines = lines or [""]
    return "\n".join(lines)


@pytest.mark.parametrize("kind", FILES)
@settings(max_examples=120, deadline=None, derandomize=True, database=None)
@given(data=st.data())
def test_any_damage_is_told_by_key_and_line_or_harmless(
    catalogue: Catalogue, kind: str, data: st.DataObject
) -> None:
    """Never a traceback; each problem has a dotted key, and a line that the file has."""
    text, read = FILES[kind]
    content = data.draw(damaged(text))
    try:
        read(catalogue, content.encode())
    except FileError as fault:
        assert fault.code in ("file-damaged", "file-problems", "rule-set-empty", "file-missing")
        assert "file" in fault.where
        if fault.code == "file-problems" and fault.what != "names of cases must differ":
            assert fault.problems
            check(fault)


def check(fault: FileError) -> None:
    """Check that every problem has a key in front and a line behind, as far as there is one."""
    assert len(set(fault.problems)) == len(fault.problems)
    for problem in fault.problems:
        assert re.match(r"[^\s:](?:[^:]|:(?! ))*: \S", problem), problem
        assert "\n" not in problem
        line: Any = re.search(r"\(line (\d+)\)$", problem)
        assert line is None or int(line[1]) > 0
