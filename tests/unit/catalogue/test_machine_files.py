"""Machine files: strict loading, and every problem told by file, key and remedy."""

import math
from pathlib import Path

import pytest
from cuttable.catalogue.errors import ERROR_CODES, FileError, InputError
from cuttable.catalogue.machines.model import LIMITS, MachineModel, describe
from cuttable.catalogue.store import Catalogue
from hypothesis import given, settings
from hypothesis import strategies as st

FUZZ = settings(max_examples=150, deadline=None, derandomize=True, database=None)

VALID_FILE = Path(__file__).parent / "broken_machines" / "valid.toml"
VALID = VALID_FILE.read_text(encoding="utf-8")


def broken(text: str, old: str, new: str) -> str:
    """Return ``text`` with its only ``old`` replaced."""
    assert text.count(old) == 1, f"{old!r} is there {text.count(old)} times"
    return text.replace(old, new)


def write(folder: Path, name: str, content: str | bytes) -> Path:
    """Write a machine file and return its path."""
    path = folder / f"{name}.toml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def refused(catalogue: Catalogue, path: Path) -> FileError:
    """Return the error that loading ``path`` causes; it always names the file."""
    with pytest.raises(FileError) as found:
        catalogue.machine_file(path)
    assert found.value.where == str(path)
    assert str(path) in str(found.value)
    return found.value


# --- what is valid ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def machine(catalogue: Catalogue) -> MachineModel:
    """The valid machine that all others are broken from."""
    return catalogue.machine_file(VALID_FILE)


def test_valid_file_is_read_into_canonical_units(machine: MachineModel) -> None:
    """Inches, newton metres, turns per minute: all come out in the units of the program."""
    assert (machine.code, machine.revision) == ("aspen-200", 2)
    assert machine.limit("round_diameter").absolute == 254.0
    assert machine.limit("round_diameter").minimum == 20.0
    assert machine.rotary.rapid_speed == pytest.approx(math.pi)
    assert machine.rotary.acceleration == pytest.approx(math.pi / 0.8)
    assert machine.chuck.jaw_force == 6000.0
    assert machine.supports[0].reaction.rated == 1800.0
    assert machine.fitted_as_delivered == {"roller-pair"}
    assert set(machine.offered) == {"roller-pair", "reversed-jaws"}
    assert machine.digest.startswith("sha256:")


def test_reference_pieces_become_numbers(catalogue: Catalogue, machine: MachineModel) -> None:
    """As much as 6 m of NPS 6 SCH 40 is its mass; as hard to turn as 20 ft, its inertia."""
    section = catalogue.section("NPS 6 SCH 40")
    mass = 7850 * section.area / 1e6 * 6
    inertia = 7850 * section.polar_moment / 1e12 * 6.096
    assert machine.limit("stock_mass").rated == pytest.approx(mass)
    assert machine.limit("rotary_inertia").rated == pytest.approx(inertia)


def test_unstated_limits_are_unknown(machine: MachineModel) -> None:
    """A limit that the file leaves out has no number at all, and no basis."""
    unstated = machine.limit("chuck_moment")
    assert math.isnan(unstated.rated)
    assert math.isnan(unstated.absolute)
    assert unstated.basis == ""
    assert "stainless-steel" not in machine.wall


def test_carried_shapes_follow_what_is_fitted(machine: MachineModel) -> None:
    """Shapes are carried by supports that are fitted, and by no other."""
    assert machine.carried_shapes(frozenset({"roller-pair"})) == {"round"}
    assert machine.carried_shapes(frozenset()) == frozenset()


def test_digest_changes_with_the_content(catalogue: Catalogue, tmp_path: Path) -> None:
    """A single changed character makes another digest, the same content the same."""
    first = catalogue.machine_file(write(tmp_path, "first", VALID))
    second = catalogue.machine_file(write(tmp_path, "second", VALID))
    third = catalogue.machine_file(write(tmp_path, "third", broken(VALID, '"400 kg"', '"401 kg"')))
    assert first.digest == second.digest != third.digest


def test_a_key_that_is_read_no_more_may_stand_in_a_file(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    """Files written when jaw wobble was asked for are the same machine; elsewhere it is unknown."""
    stated = broken(VALID, "jaws         = 3", 'jaws         = 3\njaw_wobble = "0.1 mm"')
    old = catalogue.machine_file(write(tmp_path, "old", stated))
    new = catalogue.machine_file(write(tmp_path, "new", VALID))
    assert (old.chuck, old.limits, old.bed) == (new.chuck, new.limits, new.bed)
    assert "jaw_wobble" not in str(describe(old))
    fault = refused(
        catalogue, write(tmp_path, "bed", broken(VALID, "[bed]", "[bed]\njaw_wobble = 1"))
    )
    assert "bed.jaw_wobble: is not a known key" in str(fault)


def test_how_the_jaws_move_may_be_stated(catalogue: Catalogue, tmp_path: Path) -> None:
    """Left out it is not known; shipped models state it."""
    stated = broken(VALID, "jaws         = 3", 'jaws         = 3\njaw_motion = "independent"')
    assert catalogue.machine_file(write(tmp_path, "new", stated)).chuck.jaw_motion == "independent"
    assert catalogue.machine_file(VALID_FILE).chuck.jaw_motion is None
    assert all(item.chuck.jaw_motion for item in catalogue.machines.values())


def test_all_shipped_models_load(catalogue: Catalogue) -> None:
    """Every model is whole, ordered, named as its file, and smallest first."""
    machines = catalogue.machines
    assert len(machines) >= 4
    assert set(machines) == set(catalogue.model_codes)
    for machine in machines.values():
        for name, limit in machine.limits.items():
            assert name in LIMITS
            assert 0 < limit.rated <= limit.absolute
            assert not limit.minimum > limit.rated
            assert limit.basis
        assert machine.supports
        assert catalogue.machine(machine.code.upper()) == machine
    rated = [machine.limit("round_diameter").rated for machine in machines.values()]
    assert rated == sorted(rated)


def test_description_has_no_number_that_json_lacks(catalogue: Catalogue) -> None:
    """Plain data for JSON holds null where a number is unknown."""

    def check(value: object) -> None:
        if isinstance(value, dict):
            for item in value.values():
                check(item)
        elif isinstance(value, list):
            for item in value:
                check(item)
        else:
            assert not isinstance(value, float) or math.isfinite(value)

    for machine in catalogue.machines.values():
        check(describe(machine))


def test_unknown_model_names_the_nearest(catalogue: Catalogue) -> None:
    """A misspelt model is answered with the codes that are close."""
    with pytest.raises(InputError) as found:
        catalogue.machine("alder-330")
    assert found.value.code == "machine-unknown"
    assert "alder-320" in found.value.remedy


# --- what is broken in one way ----------------------------------------------------------------

ACCELERATION = '{ kind = "constant-acceleration", time = "0.8 s" }'
LAST_SUPPORT = VALID[VALID.index("[[supports]]") : VALID.index("[[accessories]]")]

ONE_FAULT: dict[str, tuple[str, str, list[str]]] = {
    "unknown-key": (
        'kerf       = "2.0 mm"',
        'kerf       = "2.0 mm"\nweather = "fine"',
        ["cutting.weather", "not a known key", "keep_clear, kerf, trim"],
    ),
    "unknown-top-key": (
        "schema   = 1",
        'schema   = 1\nlicence = "none"',
        ["licence: is not a known key", "Allowed here"],
    ),
    "unknown-limit": (
        "[limits.stock_mass]",
        "[limits.stock_mas]",
        ["limits.stock_mas:", "not a known key", "'stock_mass'"],
    ),
    "misspelt-key": (
        'keep_clear = "120 mm"',
        'keep_claer = "120 mm"\nkeep_clear = "120 mm"',
        ["cutting.keep_claer", "not a known key", "Did you mean 'keep_clear'"],
    ),
    "missing-key": (
        'jaw_force    = "6 kN"\n',
        "",
        ["chuck.jaw_force", "is missing", "a text with number and unit"],
    ),
    "wrong-unit": (
        '"6 kN"',
        '"6 kg"',
        ["chuck.jaw_force", "'6 kg' is not in a unit of this kind", "6 N"],
    ),
    "unknown-unit": ('"6 kN"', '"6 kNs"', ["chuck.jaw_force", "unit 'kns'", "'kN'"]),
    "missing-unit": ('"6 kN"', '"6000"', ["chuck.jaw_force", "has no unit", "'6000 N'"]),
    "number-for-quantity": (
        '"6 kN"',
        "6000",
        ["chuck.jaw_force", "must be a text with number and unit, not 6000"],
    ),
    "ambiguous-comma": (
        '"6 kN"',
        '"6,000 N"',
        ["chuck.jaw_force", "comma", "Write it without the comma"],
    ),
    "negative": ('"70 mm"', '"-70 mm"', ["chuck.grip_length", "must be above zero"]),
    "zero": ('"70 mm"', '"0 mm"', ["chuck.grip_length", "must be above zero"]),
    "not-finite": ('"70 mm"', '"nan mm"', ["chuck.grip_length", "not a number with a unit"]),
    "too-large": ('"70 mm"', '"1e999 mm"', ["chuck.grip_length", "too large"]),
    "absolute-below-rated": (
        'absolute = "10 in"',
        'absolute = "199 mm"',
        ["limits.round_diameter.absolute", "below rated", "must be rated or more"],
    ),
    "rated-below-minimum": (
        'minimum  = "20 mm"',
        'minimum  = "201 mm"',
        ["limits.round_diameter.rated", "below minimum"],
    ),
    "missing-basis": (
        'basis    = "jaw travel"\n',
        "",
        ["limits.round_diameter.basis", "is missing", "a text in quotes"],
    ),
    "empty-basis": (
        'basis    = "jaw travel"',
        'basis    = " "',
        ["limits.round_diameter.basis", "empty text"],
    ),
    "minimum-where-there-is-none": (
        'absolute = "400 kg"',
        'absolute = "400 kg"\nminimum = "1 kg"',
        ["limits.stock_mass.minimum", "not a known key", "absolute, basis, rated"],
    ),
    "missing-table": (
        VALID[VALID.index("[chuck]") : VALID.index("[bed]")],
        "",
        ["chuck: is missing", "a table is required"],
    ),
    "missing-inner-table": (
        'centre_height = { minimum = "25 mm", maximum = "180 mm" }\n',
        "",
        ["bed.centre_height: is missing", "a table is required"],
    ),
    "table-for-array": (
        "[[accessories]]",
        "[accessories]",
        ["accessories: must be an array of tables"],
    ),
    "text-for-number": (
        "jaw_friction = 0.2",
        'jaw_friction = "0.2"',
        ["chuck.jaw_friction", "must be a number from 0.02 to 1, not '0.2'"],
    ),
    "number-out-of-range": (
        "jaw_friction = 0.2",
        "jaw_friction = 20",
        ["chuck.jaw_friction", "must be a number from 0.02 to 1, not 20"],
    ),
    "nan-for-number": (
        "jaw_friction = 0.2",
        "jaw_friction = nan",
        ["chuck.jaw_friction", "must be a number from 0.02 to 1"],
    ),
    "boolean-for-integer": (
        "jaws         = 3",
        "jaws         = true",
        ["chuck.jaws", "must be a whole number from 2 to 8, not True"],
    ),
    "fraction-for-integer": (
        "jaws         = 3",
        "jaws         = 3.5",
        ["chuck.jaws", "must be a whole number from 2 to 8, not 3.5"],
    ),
    "text-for-boolean": (
        "standard = false",
        'standard = "no"',
        ["accessories[0].standard", "must be true or false, not 'no'"],
    ),
    "unknown-shape": (
        'carries        = ["round"]',
        'carries        = ["round", "oval"]',
        ["supports[0].carries", "'oval'", "round, square, rectangular"],
    ),
    "ambiguous-piece": (
        'section = "NPS 6 SCH 40", length = "6 m"',
        'section = "2 in x .154", length = "6 m"',
        ["limits.stock_mass.rated", "NPS 2 pipe", "Write one of", "NPS 2 SCH 40"],
    ),
    "unknown-piece": (
        'section = "NPS 6 SCH 40", length = "6 m"',
        'section = "NPS 6 SCH 41", length = "6 m"',
        ["limits.stock_mass.rated", "NPS 6 has no SCH 41", "NPS 6 SCH 40"],
    ),
    "piece-without-unit": (
        'length = "6 m"',
        'length = "6"',
        ["limits.stock_mass.rated", "In which unit", "6 ft"],
    ),
    "piece-without-length": (
        ', length = "6 m"',
        "",
        ["limits.stock_mass.rated.length", "is missing"],
    ),
    "piece-of-unknown-grade": (
        '"A106 B"',
        '"A106 X"',
        ["limits.rotary_inertia.rated", "no grade 'A106 X'", "A106 B"],
    ),
    "piece-for-a-length": (
        'rated    = "200 mm"',
        'rated    = { section = "NPS 6 SCH 40", length = "6 m" }',
        ["limits.round_diameter.rated", "must be a text with number and unit"],
    ),
    "unknown-ramp-kind": (
        'kind = "constant-time"',
        'kind = "constant-tim"',
        ["rotary.ramp.kind", "constant-time, constant-acceleration", "Did you mean"],
    ),
    "key-of-the-other-ramp": (
        'time = "0.8 s" }',
        'time = "0.8 s", acceleration = "4 rad/s^2" }',
        ["rotary.ramp.acceleration", "not a known key", "kind, time"],
    ),
    "friction-above-torque": (
        'torque_friction  = "6 N*m"',
        'torque_friction  = "91 N*m"',
        ["rotary.torque_friction", "leaves nothing of torque_available"],
    ),
    "stations-out-of-order": (
        'last = "6300 mm"',
        'last = "63 mm"',
        ["bed.stations.last", "is before first"],
    ),
    "centre-heights-swapped": (
        'maximum = "180 mm"',
        'maximum = "18 mm"',
        ["bed.centre_height.maximum", "is below minimum"],
    ),
    "pairs-of-three-jaws": (
        "jaws         = 3",
        'jaws         = 3\njaw_motion = "pairs"',
        ["chuck.jaw_motion: is 'pairs', but chuck.jaws is 3"],
    ),
    "unknown-jaw-motion": (
        "jaws         = 3",
        'jaws         = 3\njaw_motion = "sideways"',
        ["chuck.jaw_motion", "is not one of together, pairs, independent"],
    ),
    "unknown-schema": (
        "schema   = 1",
        "schema   = 2",
        ["schema: must be a whole number from 1 to 1, not 2"],
    ),
    "doubled-support": (
        "[[accessories]]",
        f"{LAST_SUPPORT}\n[[accessories]]",
        ["supports: the code 'roller-pair' is used more than once"],
    ),
    "accessory-named-as-support": (
        'code     = "reversed-jaws"',
        'code     = "roller-pair"',
        ["the code 'roller-pair' is used more than once"],
    ),
    "bad-model-code": (
        'model    = "aspen-200"',
        'model    = "aspen/200"',
        ["model: may hold letters, digits, hyphens and underscores only"],
    ),
    "empty-title": ('title    = "Aspen 200"', 'title    = ""', ["title: is an empty text"]),
}


@pytest.mark.parametrize("name", sorted(ONE_FAULT))
def test_one_fault_is_told_once_with_key_and_remedy(
    catalogue: Catalogue, tmp_path: Path, name: str
) -> None:
    """A file wrong in one place gives one problem, with the dotted key and what is allowed."""
    old, new, words = ONE_FAULT[name]
    fault = refused(catalogue, write(tmp_path, name, broken(VALID, old, new)))
    assert fault.code == "file-problems"
    assert len(fault.problems) == 1, fault.problems
    assert "1 problem " in f"{fault.what} "
    message = str(fault)
    assert [word for word in words if word not in message] == []
    assert f"{name}.toml" in message


def test_ramp_kind_with_only_the_other_key_names_both(catalogue: Catalogue, tmp_path: Path) -> None:
    """A constant-acceleration ramp with a time lacks one key and has another too many."""
    text = broken(VALID, '{ kind = "constant-time", time = "0.8 s" }', ACCELERATION)
    fault = refused(catalogue, write(tmp_path, "ramp", text))
    assert len(fault.problems) == 2
    assert "rotary.ramp.acceleration: is missing" in str(fault)
    assert "rotary.ramp.time: is not a known key" in str(fault)


def test_all_problems_of_a_file_are_told_at_once(catalogue: Catalogue, tmp_path: Path) -> None:
    """Three faults in three tables are three problems of one message."""
    text = broken(VALID, '"6 kN"', '"6 kg"')
    text = broken(text, 'trim       = "20 mm"', 'trimm      = "20 mm"\ntrim = "1 in"')
    text = broken(text, "lowest_override  = 0.25", "lowest_override  = 25")
    fault = refused(catalogue, write(tmp_path, "three", text))
    assert "has 3 problems" in fault.what
    assert len(fault.problems) == 3
    for key in ("chuck.jaw_force", "cutting.trimm", "rotary.lowest_override"):
        assert sum(problem.startswith(f"{key}: ") for problem in fault.problems) == 1


def test_message_has_a_line_for_each_problem(catalogue: Catalogue, tmp_path: Path) -> None:
    """The head names file and count, then each problem stands on a line of its own."""
    text = broken(broken(VALID, '"6 kN"', '"6 kg"'), '"70 mm"', '"70"')
    message = str(refused(catalogue, write(tmp_path, "two", text)))
    head, *lines = message.splitlines()
    assert head.endswith("[file-problems]")
    assert len(lines) == 2
    assert all(line.startswith("  - chuck.") for line in lines)


# --- what is no machine file at all -----------------------------------------------------------

DAMAGED: dict[str, tuple[bytes, list[str]]] = {
    "cut-off-in-a-text": (VALID.encode()[: VALID.index("jaw travel") + 4], ["not valid TOML"]),
    "cut-off-in-a-table": (VALID.encode()[: VALID.index("constant-time") - 8], ["not valid TOML"]),
    "cut-off-in-a-header": (VALID.encode()[: VALID.index("[chuck]") + 4], ["not valid TOML"]),
    "duplicate-key": (
        broken(VALID, "jaws         = 3", "jaws         = 3\njaws = 4").encode(),
        ["not valid TOML", "line"],
    ),
    "duplicate-table": (f"{VALID}\n[chuck]\njaws = 3\n".encode(), ["not valid TOML", "line"]),
    "no-quotes": (broken(VALID, '"6 kN"', "6 kN").encode(), ["not valid TOML", "line", "quotes"]),
    "not-utf-8": (broken(VALID, "Aspen 200", "Espèce 200").encode("latin-1"), ["not UTF-8"]),
    "utf-16": (VALID.encode("utf-16"), ["not UTF-8"]),
    "zeros": (bytes(512), ["not valid TOML"]),
    "json": (b'{"schema": 1}', ["not valid TOML"]),
}


@pytest.mark.parametrize("name", sorted(DAMAGED))
def test_damaged_file_is_refused(catalogue: Catalogue, tmp_path: Path, name: str) -> None:
    """A file that is no TOML is called damaged, with the place of the fault where it has one."""
    content, words = DAMAGED[name]
    fault = refused(catalogue, write(tmp_path, name, content))
    assert fault.code == "file-damaged"
    assert [word for word in words if word not in str(fault)] == []


def test_empty_file_lists_what_is_required(catalogue: Catalogue, tmp_path: Path) -> None:
    """An empty file is answered with every key and table a machine file must have."""
    fault = refused(catalogue, write(tmp_path, "empty", b""))
    assert fault.code == "file-problems"
    for key in ("schema", "model", "title", "limits", "rotary", "chuck", "bed", "cutting",
                "supports"):  # fmt: skip
        assert f"- {key}: is missing" in str(fault)


def test_file_cut_off_between_tables_lists_what_is_lost(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    """A half-written file that happens to be valid TOML lacks what came after the cut."""
    fault = refused(catalogue, write(tmp_path, "half", VALID[: VALID.index("[bed]")]))
    assert {problem.partition(":")[0] for problem in fault.problems} == {
        "bed",
        "cutting",
        "supports",
    }


def test_file_that_is_not_there(catalogue: Catalogue, tmp_path: Path) -> None:
    """A path that leads nowhere is called missing, a folder cannot be read."""
    assert refused(catalogue, tmp_path / "nowhere.toml").code == "file-missing"
    assert refused(catalogue, tmp_path).code == "file-missing"


# --- fuzz -------------------------------------------------------------------------------------

CHUNKS = st.sampled_from(
    ["", "\n", '"', "[", "]", "{", "}", "=", "x = 1\n", "nan", "true", "-1", "0", '"1e999 mm"',
     '"1,234 mm"', "9" * 40, "[[supports]]\n", "[limits]\n", "\x00", "é", "[]", "{}", "1979-05-27"]
)  # fmt: skip


@st.composite
def damaged(draw: st.DrawFn) -> str:
    """Draw the valid file with a stretch cut out and something else put in its place."""
    start = draw(st.integers(0, len(VALID)))
    length = draw(st.integers(0, 40))
    return VALID[:start] + draw(CHUNKS) + VALID[start + length :]


@FUZZ
@given(text=damaged())
def test_any_damage_gives_a_machine_or_a_file_error(
    catalogue: Catalogue, tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    """Whatever is cut out of or put into a file, loading it ends in a machine or a message."""
    path = write(tmp_path_factory.getbasetemp(), "damaged", text)
    try:
        machine = catalogue.machine_file(path)
    except FileError as fault:
        problem = fault
    else:
        assert machine.code
        return
    assert problem.code in ERROR_CODES
    assert problem.where == str(path)
