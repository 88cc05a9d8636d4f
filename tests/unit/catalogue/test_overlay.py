"""What differs at one site, laid over a model's file."""

import tomllib
from typing import Any

import pytest
from cuttable.catalogue.errors import FileError
from cuttable.catalogue.machines.model import MachineModel
from cuttable.catalogue.store import FOLDER, Catalogue, ModelFile

MODEL = (FOLDER / "models" / "rowan-150.toml").read_bytes()
HEAD = 'schema = 1\nmodel = "rowan-150"\noverlay = "hall-2"\ntitle = "hall 2"\n'


def laid(catalogue: Catalogue, text: str) -> MachineModel:
    """Return the model with an overlay over it."""
    over = ModelFile((HEAD + text).encode(), "overlay", 3)
    return catalogue.overlaid("rowan-150@hall-2", ModelFile(MODEL, "model", 7), over)


def problems(catalogue: Catalogue, text: str) -> str:
    """Return what is wrong with an overlay."""
    with pytest.raises(FileError) as told:
        laid(catalogue, text)
    return "\n".join(told.value.problems)


def test_nothing_stated_is_the_model(catalogue: Catalogue) -> None:
    """All but the names is the model's; both revisions are told."""
    plain = catalogue.machine_content(MODEL, "model")
    found = laid(catalogue, "")
    assert (found.code, found.revision, found.overlay_revision) == ("rowan-150@hall-2", 7, 3)
    assert found.title == f"{plain.title}; hall 2"
    same = ("limits", "wall", "rotary", "chuck", "bed", "cutting", "supports", "accessories")
    assert all(getattr(found, name) == getattr(plain, name) for name in same)
    assert found.digest != plain.digest


def test_limits_are_stated_in_part(catalogue: Catalogue) -> None:
    """What is not stated stays, with the new basis for the whole limit."""
    text = '[limits.stock_mass]\nrated = "250 kg"\nbasis = "worn rollers"\n'
    limit = laid(catalogue, text).limit("stock_mass")
    assert (limit.rated, limit.absolute, limit.basis) == (250, 330, "worn rollers")
    text = '[limits.wall.aluminium]\nrated = "6 mm"\nbasis = "acceptance cuts at the site"\n'
    found = laid(catalogue, text)
    assert found.wall["aluminium"].rated == 6
    assert found.wall["carbon-steel"] == catalogue.machine("rowan-150").wall["carbon-steel"]


def test_a_reference_piece_and_a_ramp_are_one_value(catalogue: Catalogue) -> None:
    """They are not mixed with the model's."""
    text = (
        '[limits.rotary_inertia]\nrated = "0.5 kg*m^2"\nbasis = "tuned at the site"\n'
        '[rotary]\nramp = { kind = "constant-acceleration", acceleration = "3 rad/s^2" }\n'
    )
    found = laid(catalogue, text)
    assert found.limit("rotary_inertia").rated == 0.5
    assert found.rotary.ramp == "constant-acceleration"
    text = (
        "[limits.rotary_inertia]\n"
        'rated = { section = "NPS 3 SCH 40", length = "6 m", grade = "ASTM A53 B" }\n'
        'basis = "tuned at the site"\n'
    )
    assert laid(catalogue, text).limit("rotary_inertia").rated < 0.5


def test_what_is_fitted_and_removed(catalogue: Catalogue) -> None:
    """By the codes of supports and accessories."""
    found = laid(
        catalogue, 'fitted = ["reversed-jaws", "lift-and-index"]\nremoved = ["vee-cradle"]'
    )
    assert found.fitted_as_delivered == {"roller-pair", "reversed-jaws", "lift-and-index"}


def test_a_support_differs_and_an_accessory_is_added(catalogue: Catalogue) -> None:
    """An item of the model's code is changed, one with title and standard is new."""
    text = (
        '[[supports]]\ncode = "roller-pair"\ncount = 2\n'
        'reaction = { rated = "1 kN", absolute = "1.2 kN", basis = "worn bearing" }\n'
        '[[accessories]]\ncode = "loader"\ntitle = "Loader of the site"\nstandard = true\n'
    )
    found = laid(catalogue, text)
    rollers = next(item for item in found.supports if item.code == "roller-pair")
    assert (rollers.count, rollers.reaction.rated, rollers.roller_radius) == (2, 1000, 38)
    assert "loader" in found.fitted_as_delivered


def test_handling_is_of_the_site(catalogue: Catalogue) -> None:
    """Lifting gear and persons, and what a bin takes; not stated is unknown, of a bin 5 kg."""
    found = laid(catalogue, '[handling]\nlifting_gear = "1 t"\npersons = 2\n').handling
    assert found[:2] == (1000, 2)
    assert found.caught_mass == 5
    assert laid(catalogue, '[handling]\ncatch_mass = "8 kg"\n').handling.caught_mass == 8


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[limits.stock_mass]\nabsolute = "5000 kg"\n', "limits.stock_mass.basis"),
        ('[limits.wall.aluminium]\nrated = "9 mm"\n', "limits.wall.aluminium.basis"),
        ('[[supports]]\ncode = "roller-pair"\nreaction = { rated = "9 kN" }\n', "reaction.basis"),
        ('fitted = ["reversed-jaw"]\n', "Did you mean 'reversed-jaws'"),
        ('fitted = ["lift-and-index"]\nremoved = ["lift-and-index"]\n', "is fitted too"),
        ('[[supports]]\ncode = "roller-pair"\ncount = 2\n[[supports]]\ncode = "roller-pair"\n'
         "count = 1\n", "more than once"),
        ('[[supports]]\ncode = "rollers"\ncount = 2\n', "the model has no 'rollers'"),
        ('[limits.stock_mas]\nrated = "250 kg"\nbasis = "x"\n', "stock_mas"),
        ('[limits.stock_mass]\nrated = "350 kg"\nbasis = "x"\n', "limits.stock_mass"),
        ('[limits.stock_mass]\nrated = "250 m"\nbasis = "x"\n', "limits.stock_mass.rated"),
        ('colour = "red"\n', "colour"),
        ("[handling]\npersons = 0\n", "handling.persons"),
        ('[handling]\nlifting_gear = "-1 t"\n', "handling.lifting_gear"),
        ("limits = 3\n", "limits"),
        ("supports = 3\n", "supports"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_by_its_key(catalogue: Catalogue, text: str, told: str) -> None:
    """Nothing that does not fit is laid over a model in silence."""
    assert told in problems(catalogue, text)


def test_an_overlay_of_another_model_is_refused(catalogue: Catalogue) -> None:
    """It names the model it is over."""
    over = ModelFile(HEAD.replace("rowan-150", "alder-320").encode(), "overlay", 1)
    with pytest.raises(FileError, match="overlay") as told:
        catalogue.overlaid("rowan-150@hall-2", ModelFile(MODEL, "model", 1), over)
    assert "is laid over 'rowan-150'" in told.value.problems[0]


def test_laying_over_changes_nothing_of_the_model(catalogue: Catalogue) -> None:
    """The data it is laid over stay as they are."""
    from cuttable.catalogue.machines.site_overlay import merged

    base: dict[str, Any] = tomllib.loads(MODEL.decode())
    before = tomllib.loads(MODEL.decode())
    text = (
        '[limits.stock_mass]\nrated = "250 kg"\nbasis = "x"\n'
        '[[supports]]\ncode = "roller-pair"\ncount = 1\n'
    )
    merged(base, (HEAD + text).encode(), "overlay")
    assert base == before
    assert catalogue.machine_content(MODEL, "model").limit("stock_mass").rated == 280
