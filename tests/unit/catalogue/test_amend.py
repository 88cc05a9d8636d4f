"""Setting values of a machine file by dotted key: what is changed, and what is refused."""

import copy
from typing import Any

import pytest
from cuttable.catalogue.errors import FileError, InputError
from cuttable.catalogue.files.file_source import digest_of, parse_toml
from cuttable.catalogue.machines.amend import (
    amended,
    amended_machine,
    changes,
    machine_data,
    written_at,
)
from cuttable.catalogue.machines.model import LIMITS, MachineModel
from cuttable.catalogue.store import FOLDER, Catalogue, ModelFile
from hypothesis import given, settings
from hypothesis import strategies as st

MODELS = sorted((FOLDER / "models").glob("*.toml"))
CONTENT = (FOLDER / "models" / "medlar-300.toml").read_bytes()


def data() -> dict[str, Any]:
    return parse_toml(CONTENT, "a.toml")


def machine(catalogue: Catalogue, *settings: str, content: bytes = CONTENT) -> MachineModel:
    return amended_machine(catalogue, content, "a.toml", settings)


def leaves(table: dict[str, Any], prefix: str = "") -> list[str]:
    """Return the dotted keys of all values, items of arrays of tables by their code."""
    found: list[str] = []
    for name, value in table.items():
        if isinstance(value, dict):
            found += leaves(value, f"{prefix}{name}.")
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for item in value:
                found += leaves(item, f"{prefix}{name}.{item['code']}.")
        else:
            found.append(f"{prefix}{name}")
    return found


@pytest.mark.parametrize(
    ("setting", "value"),
    [
        ("limits.stock_mass.rated=320 kg", "320 kg"),
        ('limits.stock_mass.rated = "320 kg"', "320 kg"),
        ("limits.stock_mass.rated='320 kg'", "320 kg"),
        ("rotary.rapid_speed=30 rpm", "30 rpm"),
        ("limits.stock_length.rated=29'-6\"", "29'-6\""),
        ("chuck.jaws=3", 3),
        ("chuck.jaw_friction=0.15", 0.15),
        ("rotary.lowest_override=0.3", 0.3),
        ("supports.roller-pair.count=5", 5),
        ("supports.roller-pair.reaction.rated=2 kN", "2 kN"),
        ("supports.roller-pair.standard=false", False),
        ('supports.roller-pair.carries=["round", "square"]', ["round", "square"]),
        ("accessories.reversed-jaws.standard=true", True),
        ("rotary.ramp.time=1.2 s", "1.2 s"),
        ("limits.wall.carbon-steel.rated=14 mm", "14 mm"),
        ("limits.rotary_inertia.rated=5 kg*m^2", "5 kg*m^2"),
        ("limits.rotary_inertia.rated.length=8 m", "8 m"),
        (
            'limits.stock_mass.rated={ section = "SHS 200x8 hf", length = "9 m" }',
            {"section": "SHS 200x8 hf", "length": "9 m"},
        ),
    ],
)
def test_a_value_is_set_in_its_own_kind(setting: str, value: Any) -> None:
    """Quotes are optional; the data given stay as they are; nothing else changes."""
    given_data = data()
    kept = copy.deepcopy(given_data)
    result = amended(given_data, [setting])
    assert given_data == kept
    key = setting.partition("=")[0].strip()
    found: Any = result
    for part in key.split("."):
        if isinstance(found, list):
            found = next(item for item in found if item["code"] == part)
        else:
            found = found[part]
    assert found == value
    assert type(found) is type(value)
    others = [name for name in leaves(kept) if not name.startswith(key)]
    assert [written_at(result, name) for name in others] == [
        written_at(kept, name) for name in others
    ]


@pytest.mark.parametrize("path", MODELS, ids=lambda path: path.stem)
def test_setting_every_value_to_itself_changes_nothing(catalogue: Catalogue, path: Any) -> None:
    """Each key of each model, as it is written there: the same machine under another digest."""
    content = path.read_bytes()
    plain = parse_toml(content, str(path))
    keys = [key for key in leaves(plain) if key not in ("schema", "model")]
    same = [f"{key}={written_at(plain, key)}" for key in keys]
    assert len(same) > 60
    assert amended(plain, same) == plain
    found = amended_machine(catalogue, content, str(path), same)
    original = catalogue.machine_content(content, str(path))
    assert repr(found._replace(digest="")) == repr(original._replace(digest=""))
    assert found.digest != original.digest


def test_the_digest_is_over_the_file_and_what_is_set(catalogue: Catalogue) -> None:
    """Quotes and spaces are no difference; with nothing set it is that of the file."""
    one = machine(catalogue, "limits.stock_mass.rated=660 kg")
    two = machine(catalogue, 'limits.stock_mass.rated =  "660 kg"')
    other = machine(catalogue, "limits.stock_mass.rated=661 kg")
    assert one.digest == two.digest != other.digest
    assert machine(catalogue).digest == digest_of(CONTENT)
    changed = machine(catalogue, "limits.stock_mass.rated=660 kg", content=CONTENT + b"\n")
    assert changed.digest != one.digest


def test_old_and_new_values_are_told() -> None:
    """As they would be written in the file, one after the other."""
    found = changes(data(), ["chuck.jaws=3", "limits.stock_mass.rated=660 kg"])
    assert [tuple(item) for item in found] == [
        ("chuck.jaws", "4", "3"),
        ("limits.stock_mass.rated", '"650 kg"', '"660 kg"'),
    ]


def test_a_limit_that_is_not_stated_may_be(catalogue: Catalogue) -> None:
    """All of it is needed; the reader says what is missing."""
    content = CONTENT.replace(b"[limits.bow]", b"[limits.sag2]")
    start = content.index(b"[limits.sag2]")
    content = content[:start] + content[content.index(b"[limits.wall") :]
    assert "bow" not in machine(catalogue, content=content).limits
    full = ("limits.bow.rated=20 mm", "limits.bow.absolute=35 mm", "limits.bow.basis=measured")
    assert machine(catalogue, *full, content=content).limit("bow")[1:] == (20, 35, "measured")
    assert changes(parse_toml(content, "a"), full[:1])[0].before == ""
    with pytest.raises(FileError) as fault:
        machine(catalogue, *full[:1], content=content)
    assert [problem.partition(":")[0] for problem in fault.value.problems] == [
        "limits.bow.absolute",
        "limits.bow.basis",
    ]


@pytest.mark.parametrize("name", [*LIMITS, "wall.aluminium", "wall.carbon-steel"])
def test_every_limit_can_be_stated_anew(name: str) -> None:
    """Nothing of a limit needs to be in the file for it to be set."""
    bare = data()
    bare["limits"] = {}
    bounds = ("rated", "absolute", "basis")
    result = amended(bare, [f"limits.{name}.{bound}=1 x" for bound in bounds])
    found: Any = result["limits"]
    for part in name.split("."):
        found = found[part]
    assert found == dict.fromkeys(bounds, "1 x")


@pytest.mark.parametrize(
    ("setting", "code", "words"),
    [
        ("limits.stock_mas.rated=3 kg", "setting-unknown", "'limits.stock_mass.rated'"),
        ("supports.roler-pair.count=3", "setting-unknown", "'supports.roller-pair.count'"),
        ("rotary.speed=3 rpm", "setting-unknown", "'rotary.rapid_speed'"),
        ("limits.stock_mass=3 kg", "setting-unknown", "limits.stock_mass.rated"),
        ("supports.roller-pair=3", "setting-unknown", "supports.roller-pair.count"),
        ("qqq=3", "setting-unknown", "no key 'qqq'"),
        ("limits.stock_mass.rated.x=3 kg", "setting-unknown", "no key"),
        ("model=other", "setting-unknown", "cannot be set"),
        ("schema=2", "setting-unknown", "cannot be set"),
        ("chuck.jaws", "setting-unreadable", "sets no value"),
        ("=3", "setting-unreadable", "sets no value"),
        ("chuck.jaws=", "setting-unreadable", "sets no value"),
        ("", "setting-unreadable", "sets no value"),
        ("chuck.jaws=3\nmodel='x'", "setting-unreadable", "sets no value"),
        ("chuck.jaws=four", "setting-unreadable", "chuck.jaws must be a number"),
        ("chuck.jaws=true", "setting-unreadable", "chuck.jaws must be a number"),
        ("rotary.lowest_override=30 %", "setting-unreadable", "must be a number"),
        ("supports.roller-pair.standard=1", "setting-unreadable", "true or false"),
        ("supports.roller-pair.carries=round", "setting-unreadable", "a list"),
        ('limits.stock_mass.rated="320 kg', "setting-unreadable", "must be a text"),
        ("limits.stock_mass.rated=" + "3" * 500, "setting-unreadable", "sets no value"),
    ],
)
def test_what_sets_nothing_is_refused(setting: str, code: str, words: str) -> None:
    """With the nearest key, or the kind of value that is wanted."""
    with pytest.raises(InputError) as fault:
        amended(data(), [setting])
    assert fault.value.code == code
    assert words in str(fault.value)


def test_one_key_is_set_once() -> None:
    """Two values for one key are a slip."""
    with pytest.raises(InputError, match="set twice"):
        amended(data(), ["chuck.jaws=3", " chuck.jaws = 4"])


@pytest.mark.parametrize(
    ("setting", "problem"),
    [
        ("limits.stock_mass.rated=900 kg", "limits.stock_mass.absolute: is below rated"),
        ("limits.stock_mass.rated=3 m", "limits.stock_mass.rated: '3 m' is not in a unit"),
        ("limits.stock_mass.rated=-3 kg", "limits.stock_mass.rated: must be above zero"),
        ("limits.stock_mass.rated=much", "limits.stock_mass.rated: "),
        ("chuck.jaws=4.5", "chuck.jaws: must be a whole number"),
        ("chuck.jaws=99", "chuck.jaws: must be a whole number from 2 to 8"),
        ("rotary.lowest_override=nan", "rotary.lowest_override: must be a number"),
        ("supports.roller-pair.reaction.rated=9 kN", "supports.roller-pair.reaction.absolute: is "),
        ("supports.roller-pair.count=0", "supports.roller-pair.count: must be a whole number"),
        ("rotary.torque_friction=200 N*m", "rotary.torque_friction: leaves nothing"),
    ],
)
def test_a_machine_that_would_be_wrong_is_refused(
    catalogue: Catalogue, setting: str, problem: str
) -> None:
    """The message names what was set; each problem its dotted key, as settings write it."""
    with pytest.raises(FileError) as fault:
        machine(catalogue, setting)
    assert fault.value.code == "file-problems"
    assert f"with {setting.partition('=')[0]}=" in fault.value.what
    assert any(text.startswith(problem) for text in fault.value.problems), fault.value.problems


def test_a_file_that_is_wrong_without_settings_is_told_plainly(catalogue: Catalogue) -> None:
    """Nothing was set, so nothing that was set is named."""
    with pytest.raises(FileError) as fault:
        machine(catalogue, content=CONTENT.replace(b'"650 kg"', b'"650 m"'))
    assert "with " not in fault.value.what


def test_an_overlay_lies_over_the_file(catalogue: Catalogue) -> None:
    """What is set is set in what stands at the site."""
    text = (
        b'schema = 1\nmodel = "medlar-300"\noverlay = "north"\ntitle = "north works"\n'
        b'[limits.stock_mass]\nrated = "500 kg"\nbasis = "worn rollers"\n'
    )
    over = ModelFile(text, "over.toml")
    plain = machine_data(CONTENT, "a.toml", over)
    assert changes(plain, ["limits.stock_mass.rated=510 kg"])[0].before == '"500 kg"'
    found = amended_machine(catalogue, CONTENT, "a.toml", ["chuck.jaws=6"], over=over)
    assert (found.limit("stock_mass").rated, found.chuck.jaws) == (500, 6)
    assert found.digest != machine(catalogue, "chuck.jaws=6").digest


@settings(max_examples=300, deadline=None)
@given(text=st.text(max_size=60), key=st.sampled_from(["", *leaves(data())]))
def test_no_text_breaks_it(text: str, key: str) -> None:
    """Whatever is typed sets a value or is refused with a code."""
    try:
        amended(data(), [f"{key}={text}" if key else text])
    except InputError as fault:
        assert fault.code in ("setting-unknown", "setting-unreadable")
