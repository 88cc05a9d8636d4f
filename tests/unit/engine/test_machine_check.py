"""Machine files whose keys are valid each by itself and cannot be true together."""

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import pytest
from cuttable.catalogue.machines.model import MachineModel
from cuttable.catalogue.store import Catalogue
from cuttable.engine.statics.machine_check import contradictions

ROWAN: Final = Path(__file__).resolve().parents[3] / "catalogue" / "models" / "rowan-150.toml"
HEAD: Final = ('absolute = "215 mm"\nbasis    = "clear', 'absolute = "{}"\nbasis    = "clear')


def rowan(catalogue: Catalogue, *changes: tuple[str, str]) -> MachineModel:
    """The rowan-150 with texts of its file replaced, each there once."""
    text = ROWAN.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return catalogue.machine_content(text.encode(), "test")


def test_no_shipped_model_contradicts_itself(catalogue: Catalogue) -> None:
    """Every diameter of its range has a support that can seat it, and passes the head."""
    assert {code: contradictions(item) for code, item in catalogue.machines.items()} == {
        code: [] for code in catalogue.model_codes
    }


@pytest.mark.parametrize(("clear", "is_told"), [("205 mm", False), ("204.9 mm", True)])
def test_a_round_that_does_not_pass_the_head_is_told(
    catalogue: Catalogue, clear: str, *, is_told: bool
) -> None:
    """Absolute diameter against absolute swept circle: equal is enough, a hair less is not."""
    machine = rowan(catalogue, (HEAD[0], HEAD[1].format(clear)))
    found = contradictions(machine)
    assert bool(found) == is_told
    for key, what in found:
        assert key == ("limits", "round_diameter", "absolute")
        assert what.startswith("205 mm is beyond limits.swept_diameter.absolute, 204.9 mm")


def test_a_limit_that_is_not_stated_contradicts_nothing(catalogue: Catalogue) -> None:
    """Unknown is judged where a job is."""
    machine = rowan(catalogue)
    for name in ("swept_diameter", "round_diameter"):
        less = {key: limit for key, limit in machine.limits.items() if key != name}
        assert contradictions(machine._replace(limits=less)) == []


def test_rounds_that_sit_too_low_are_told_from_where_to_where(catalogue: Catalogue) -> None:
    """In a V of 90 degrees the centre of a round stands D / sqrt 2 high (geometry)."""
    low = ('centre_height = { minimum = "18 mm"', 'centre_height = { minimum = "20 mm"')
    ((key, what),) = contradictions(rowan(catalogue, low))
    assert key == ("limits", "round_diameter", "minimum")
    highest = max(size for size in range(26, 206) if size / math.sqrt(2) < 20)
    assert what.startswith(f"no support seats a round of 26 mm to {highest} mm: ")
    assert "bed.centre_height, 20 mm to 190 mm" in what


def lowest_centre(size: float) -> float:
    """Lowest centre of a round in the V or between the rollers that it does not fall through."""
    pairs = [
        math.sqrt((size / 2 + radius) ** 2 - (spacing / 2) ** 2)
        for radius, spacing in ((38, 120), (45, 180))
        if size / 2 + radius > spacing / 2
    ]
    return min([size / math.sqrt(2), *pairs])


def test_rounds_that_sit_too_high_are_told(catalogue: Catalogue) -> None:
    """Between rollers h = sqrt((R + r)^2 - (s / 2)^2) (geometry); the lowest seat counts."""
    high = ('maximum = "190 mm" }', 'maximum = "100 mm" }')
    ((key, what),) = contradictions(rowan(catalogue, high))
    first = next(size for size in range(26, 206) if lowest_centre(size) > 100)
    assert key == ("limits", "round_diameter", "absolute")
    assert what.startswith(f"no support seats a round of {first} mm to 205 mm: ")


def test_rounds_that_fall_through_are_told(catalogue: Catalogue) -> None:
    """Between rollers 120 mm apart of 38 mm radius falls what is not wider than 44 mm."""
    machine = rowan(catalogue)
    pairs = tuple(item for item in machine.supports if item.code == "roller-pair")
    low = machine.bed._replace(lowest_centre=0.0)
    ((key, what),) = contradictions(machine._replace(supports=pairs, bed=low))
    assert key == ("limits", "round_diameter", "minimum")
    assert what.startswith("no support seats a round of 26 mm to 44 mm: ")
    assert contradictions(machine._replace(supports=())) == []


def test_validate_tells_them_with_line_and_check_still_answers(
    cuttable: Callable[..., Any], tmp_path: Path
) -> None:
    """Who writes a file is told; a file that is in use already keeps its answers."""
    text = ROWAN.read_text(encoding="utf-8").replace(HEAD[0], HEAD[1].format("180 mm"))
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    done = cuttable("machines", "validate", str(path))
    assert (done.returncode, done.stdout) == (2, "")
    line = text[: text.index('absolute = "205 mm"')].count("\n") + 1
    assert "limits.round_diameter.absolute: 205 mm is beyond" in done.stderr
    assert f"(line {line})" in done.stderr
    assert cuttable("check", "NPS 4 SCH 40", "3 m", "--machine", str(path)).returncode == 0
