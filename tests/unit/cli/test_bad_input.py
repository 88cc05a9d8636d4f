"""Whatever is typed wrong ends in one sentence and exit status 2, and never in a traceback."""

import json
import os
import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cuttable.catalogue.errors import ERROR_CODES

Run = Callable[..., "subprocess.CompletedProcess[str]"]

PIPE, LONG = "NPS 6 SCH 40", "6 m"
ROWAN = Path(__file__).resolve().parents[3] / "catalogue" / "models" / "rowan-150.toml"


def refused(done: "subprocess.CompletedProcess[str]") -> str:
    """Return what was said on standard error, having checked how the command ended."""
    assert done.returncode == 2
    assert "Traceback" not in done.stdout + done.stderr
    assert "internal-fault" not in done.stderr
    assert len(done.stderr) < 3000
    return done.stderr


def only_object(text: str) -> dict[str, Any]:
    """Return the one JSON object that standard output holds."""
    found = json.loads(text)
    assert isinstance(found, dict)
    return found


# --- check: section and length ----------------------------------------------------------------

WRONG: dict[str, tuple[list[str], str, str]] = {
    # what is typed, code, a word that helps
    "misspelt-word": (["NPS 6 SHC 40", LONG], "designation-unreadable", "nps 6 sch 40"),
    "unknown-schedule": (["NPS 6 SCH 45", LONG], "section-unknown", "NPS 6 SCH 40"),
    "unknown-size": (["NPS 7 SCH 40", LONG], "section-unknown", "NPS 8 SCH 40"),
    "unknown-rectangle": (["RHS 150x101x6", LONG], "section-unknown", "RHS 150x100x6"),
    "no-section": (["qqqq", LONG], "designation-unreadable", "Write it like"),
    "wall-over-half": (["tube 50 x 30 mm", LONG], "section-impossible", "below half"),
    "wall-of-half": (["tube 50 x 25 mm", LONG], "section-impossible", "below half"),
    "empty-section": (["", LONG], "text-empty", "Write a section"),
    "huge-section": (["NPS 6 " * 1700, LONG], "text-too-long", "at most 200"),
    "control-character": (["NPS 6\x01SCH 40", LONG], "designation-unreadable", "Write it like"),
    "negative-length": ([PIPE, "-6 m"], "length-range", "above zero"),
    "zero-length": ([PIPE, "0 mm"], "length-range", "above zero"),
    "absurd-length": ([PIPE, "1e308 mm"], "length-range", "at most 100 m"),
    "infinite-exponent": ([PIPE, "1e999 m"], "length-range", "at most 100 m"),
    "a-mile": ([PIPE, "5280 ft"], "length-range", "at most 100 m"),
    "nan-length": ([PIPE, "NaN"], "length-unreadable", "Write it like"),
    "nan-metres": ([PIPE, "nan m"], "length-unreadable", "Write it like"),
    "infinite-length": ([PIPE, "inf m"], "length-unreadable", "Write it like"),
    "empty-length": ([PIPE, ""], "text-empty", "a length"),
    "blank-length": ([PIPE, "   "], "text-empty", "a length"),
    "huge-length": ([PIPE, "1" * 10_000], "text-too-long", "at most 200"),
    "mass-for-length": ([PIPE, "6 kg"], "unit-mismatch", "mm, cm, m, in or ft"),
    "unknown-unit": ([PIPE, "6 inchs"], "unit-unknown", "'inches'"),
    "divided-by-zero": ([PIPE, "1/0 in"], "number-unreadable", "zero"),
    "thirteen-inches": ([PIPE, "20'-13\""], "length-unreadable", "12 inches"),
    "unquoted-words": (["NPS", "6", "SCH", "40", "6", "m"], "designation-unreadable", "in quotes"),
    "empty-grade": ([PIPE, LONG, "--grade", ""], "text-empty", "Leave --grade out"),
    "another-metal": ([PIPE, LONG, "--grade", "titanium"], "grade-unknown", "stainless steel"),
    "angle": (["angle 4x4x1/4", LONG], "section-not-hollow", "Only pipe and tube"),
    "coating-in-section": (["NPS 6 SCH 40 galv", LONG], "designation-unreadable", "--coating"),
    "two-pieces": ([PIPE, "2 x 20 ft"], "length-unreadable", "--part"),
    "dash-without-unit": ([PIPE, "20-6"], "length-unreadable", "20'-6\""),
    "unknown-grade": ([PIPE, LONG, "--grade", "A35"], "grade-unknown", "A53"),
    "empty-machine": ([PIPE, LONG, "--machine", ""], "machine-unknown", "Known"),
    "unknown-machine": ([PIPE, LONG, "--machine", "rowan-15"], "machine-unknown", "rowan-150"),
    "missing-file": ([PIPE, LONG, "--machine", "no-such.toml"], "file-missing", "no-such.toml"),
    "part-without-length": ([PIPE, LONG, "--part", "*3"], "text-empty", "length"),
    "no-parts": ([PIPE, LONG, "--part", "1.2 m*0"], "parts-unreadable", "1 to 10000"),
    "negative-part": ([PIPE, LONG, "--part", "-1.2 m*2"], "length-range", "above zero"),
    "cut-beyond-the-end": ([PIPE, LONG, "--cut", "7 m"], "cuts-outside", "chuck face"),
    "parts-and-cuts": ([PIPE, LONG, "--cut", "1 m", "--part", "1 m"], "parts-and-cuts", "order"),
    "cut-given-twice": ([PIPE, LONG, "--cut", "1 m", "--cut", "100 cm"], "cuts-outside", "once"),
    "negative-bow": ([PIPE, LONG, "--bow", "-3 mm"], "length-range", "between 0 and 1 m"),
    "mass-without-arm": ([PIPE, LONG, "--off-axis", "12 kg"], "value-range", "12 kg @ 150 mm"),
    "nan-mass": ([PIPE, LONG, "--off-axis", "nan kg @ 1 mm"], "number-unreadable", "12 kg"),
    "negative-mass": ([PIPE, LONG, "--off-axis", "-12 kg @ 150 mm"], "value-range", "12 kg"),
    "unknown-coating": ([PIPE, LONG, "--coating", "paintd"], "choice-unknown", "'painted'"),
    "unknown-end": ([PIPE, LONG, "--end", "opne"], "choice-unknown", "'open'"),
    "unknown-contents": ([PIPE, LONG, "--contents", "beer"], "choice-unknown", "flammable"),
    "unknown-accessory": (
        [PIPE, LONG, "--fitted", "reversed-jawz"],
        "accessory-unknown",
        "'reversed-jaws'",
    ),
}


@pytest.mark.parametrize("name", sorted(WRONG))
def test_wrong_input_of_check(cuttable: Run, name: str) -> None:
    """One sentence with code and way out, and with --json one object that says the same."""
    words, code, help_word = WRONG[name]
    done = cuttable("check", *words, "--json")
    message = refused(done)
    assert message.startswith("cuttable: ")
    assert f"[{code}]" in message
    assert help_word in message
    found = only_object(done.stdout)
    assert found["schema"] == "cuttable.verdicts/1"
    assert found["verdicts"] == []
    assert found["error"]["code"] == code
    assert help_word in " ".join(found["error"][key] for key in ("where", "text", "remedy"))


@pytest.mark.parametrize(
    "name", ["misspelt-word", "huge-length", "unquoted-words", "unknown-machine", "missing-file"]
)
def test_wrong_input_without_json_says_it_on_standard_error_only(cuttable: Run, name: str) -> None:
    """Standard output stays empty, so that nothing is taken for an answer."""
    words, code, help_word = WRONG[name]
    done = cuttable("check", *words)
    message = refused(done)
    assert done.stdout == ""
    assert f"[{code}]" in message
    assert help_word in message


def test_decimal_comma_is_accepted(cuttable: Run) -> None:
    """6,1 m is 6.1 m, and 168,3 x 7,11 is a pipe."""
    one = cuttable("check", "168,3 x 7,11 mm", "6,1 m", "--json")
    other = cuttable("check", "168.3 x 7.11 mm", "6.1 m", "--json")
    assert one.returncode == other.returncode == 0
    verdicts = only_object(one.stdout)["verdicts"]
    assert [item["verdict"] for item in verdicts] == [
        item["verdict"] for item in only_object(other.stdout)["verdicts"]
    ]
    assert all("error" not in item for item in verdicts)


# --- check: questions -------------------------------------------------------------------------

OPEN: dict[str, tuple[list[str], str, str]] = {
    "no-unit": ([PIPE, "20"], "length-unit", "20 ft"),
    "one-comma": ([PIPE, "6,100 mm"], "decimal-or-thousands", "6100 mm"),
    "random-length": ([PIPE, "16-22 ft"], "random-length", "22 ft"),
    "no-wall": (["6 in pipe", LONG], "which-wall", "NPS 6 SCH 40"),
    "pipe-or-tube": (["12 inch half wall", LONG], "pipe-or-tube", "NPS 12 XS"),
    "gauge": (["2 in x 11 ga tube", LONG], "which-gauge", "tube 2 x 0.12 in"),
    "grade": ([PIPE, LONG, "--grade", "S355"], "which-grade", "--grade 'EN 10219 S355J2H'"),
    "material": ([PIPE, LONG, "--grade", "stainless"], "which-grade", "--grade 'ASTM A312 TP304'"),
    "part-without-unit": ([PIPE, LONG, "--part", "500"], "length-unit", "--part '500 mm'"),
    "point-or-thousands": ([PIPE, "6.000 mm"], "decimal-or-thousands", "6000 mm"),
}


@pytest.mark.parametrize("name", ["no-unit", "pipe-or-tube", "grade"])
def test_open_question_ends_with_2(cuttable: Run, name: str) -> None:
    """A question is printed with its code and its choices, and there is no verdict."""
    words, code, choice = OPEN[name]
    done = cuttable("check", *words)
    refused(done)
    assert f"[{code}]" in done.stdout + done.stderr
    assert choice in done.stdout + done.stderr
    assert "IN RANGE" not in done.stdout


@pytest.mark.parametrize("name", sorted(OPEN))
def test_open_question_as_json(cuttable: Run, name: str) -> None:
    """With --json a question has code, text and choices, and there is no verdict."""
    words, code, choice = OPEN[name]
    done = cuttable("check", *words, "--json")
    refused(done)
    found = only_object(done.stdout)
    assert found["schema"] == "cuttable.verdicts/1"
    assert found["verdicts"] == []
    assert [question["code"] for question in found["questions"]] == [code]
    assert choice in found["questions"][0]["choices"]
    assert found["questions"][0]["text"]


def test_all_questions_are_asked_at_once(cuttable: Run) -> None:
    """Who must answer two questions learns of both the first time."""
    done = cuttable("check", "6 in pipe", "20", "--json")
    refused(done)
    codes = [question["code"] for question in only_object(done.stdout)["questions"]]
    assert codes == ["which-wall", "length-unit"]


# --- commands and options ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["chekc", PIPE, LONG], "Did you mean 'check'"),
        (["xyzzy"], "There are: check"),
        ([""], "There is no command ''"),
        (["--nope"], "--nope"),
        (["check"], "Name a section and a length"),
        (["check", PIPE], "Name a section and a length"),
        (["check", PIPE, LONG, "--machin", "rowan-150"], "Did you mean '--machine'"),
        (["check", PIPE, LONG, "--units", "imperial"], "'si', 'us'"),
        (["check", PIPE, LONG, "--at-least", "maybe"], "'in-range', 'allowed'"),
        (["check", PIPE, LONG, "--grade"], "--grade"),
        (["sections", "fnd"], "fnd"),
        (["sections", "find"], "TEXT"),
        (["sections", "find", "nps", "--most", "many"], "many"),
        (["sections", "show"], "SECTION"),
        (["machines", "validate"], "FILE"),
        (["compare", PIPE, LONG], "OTHER_SECTION"),
        (["completion", "bash"], "There is no command 'completion'"),
    ],
)
def test_misspelt_command_or_option_is_a_usage_error(
    cuttable: Run, words: list[str], said: str
) -> None:
    """A usage line and what was probably meant, on standard error only."""
    done = cuttable(*words)
    message = refused(done)
    assert done.stdout == ""
    assert message.startswith(("Usage: ", "Error: "))
    assert said in message


@pytest.mark.parametrize(
    "words", [["check", "--json"], ["check", PIPE, LONG, "--machin", "x", "--json"]]
)
def test_usage_error_leaves_nothing_but_json_on_standard_output(
    cuttable: Run, words: list[str]
) -> None:
    """A script that asked for JSON finds JSON or nothing, never a usage text."""
    done = cuttable(*words)
    assert "Usage: " in refused(done)
    assert done.stdout == "" or "error" in only_object(done.stdout)


@pytest.mark.parametrize(
    ("words", "code", "help_word"),
    [
        (["sections", "show", "NPS 6 SHC 40"], "designation-unreadable", "nps 6 sch 40"),
        (["sections", "show", "NPS 6"], "which-wall", "NPS 6 SCH 40"),
        (["sections", "show", PIPE, "--grade", "A35"], "grade-unknown", "A53"),
        (["sections", "show", PIPE, "--grade", ""], "text-empty", "Leave --grade out"),
        (["sections", "show", "NPS 4 SCH 10S"], "which-grade", "--grade 'ASTM A312 TP304'"),
        (["sections", "show", ""], "text-empty", "Write a section"),
        (["sections", "find", ""], "text-empty", ""),
        (["sections", "find", "x" * 10_000], "text-too-long", "at most 200"),
        (["machines", "show", "rowan-15"], "machine-unknown", "rowan-150"),
        (["machines", "show", "no-such.toml"], "file-missing", "no-such.toml"),
        (["machines", "validate", "no-such.toml"], "file-missing", "no-such.toml"),
        (["compare", PIPE, LONG, "NPS 6", LONG], "which-wall", "NPS 6 SCH 40"),
        (["compare", PIPE, LONG, PIPE, "0 m"], "length-range", "above zero"),
        (["explain", "rotary_inertai"], "measure-unknown", "'rotary_inertia'"),
        (["rules", "show", "INER-99"], "rule-unknown", "INER-0"),
    ],
)
def test_wrong_input_of_the_other_commands(
    cuttable: Run, words: list[str], code: str, help_word: str
) -> None:
    """Every command refuses what it cannot read with a code and a way out."""
    done = cuttable(*words)
    message = refused(done)
    assert done.stdout == ""
    assert f"[{code}]" in message
    assert help_word in message


@pytest.mark.parametrize("code", sorted(ERROR_CODES))
def test_codes_in_messages_are_those_that_explain_knows(code: str) -> None:
    """Codes are lower case words with hyphens, so that they stand out in brackets."""
    assert re.fullmatch(r"[a-z]+(-[a-z]+)+", code)
    assert ERROR_CODES[code].endswith(".")


# --- machine files ----------------------------------------------------------------------------

DAMAGE: dict[str, tuple[Callable[[bytes], bytes], str, list[str]]] = {
    "cut-off": (lambda content: content[: len(content) // 2 + 3], "file-", []),
    "empty": (lambda _: b"", "file-problems", ["rotary: is missing", "chuck: is missing"]),
    "binary": (lambda _: bytes(range(256)) * 8, "file-damaged", ["not UTF-8"]),
    "not-toml": (lambda _: b"jaws: 3\n", "file-damaged", ["not valid TOML"]),
    "wrong-unit": (
        lambda content: content.replace(b'bore         = "', b'bore         = "1 kg ', 1),
        "file-problems",
        ["chuck.bore"],
    ),
    "misspelt-key": (
        lambda content: content.replace(b"\njaw_force ", b"\njaw_forse ", 1),
        "file-problems",
        ["chuck.jaw_force: is missing", "chuck.jaw_forse", "Did you mean 'jaw_force'"],
    ),
}


@pytest.mark.parametrize("name", sorted(DAMAGE))
def test_damaged_machine_file(cuttable: Run, tmp_path: Path, name: str) -> None:
    """Validate and check name the file and every problem; --json says the same."""
    change, code, words = DAMAGE[name]
    original = ROWAN.read_bytes()
    content = change(original)
    assert content != original
    path = tmp_path / f"{name}.toml"
    path.write_bytes(content)
    done = cuttable("machines", "validate", str(path))
    message = refused(done)
    assert done.stdout == ""
    assert f"[{code}" in message
    assert [word for word in (path.name, *words) if word not in message] == []
    done = cuttable("check", PIPE, LONG, "--machine", str(path), "--json")
    refused(done)
    error = only_object(done.stdout)["error"]
    assert error["code"].startswith(code)
    assert error["where"] == str(path)
    told = "\n".join([error["text"], *error.get("problems", [])])
    assert [word for word in words if word not in told] == []


def test_undamaged_copy_of_a_machine_file_is_accepted(cuttable: Run, tmp_path: Path) -> None:
    """The file that the tests above damage is good to begin with."""
    path = tmp_path / "copy.toml"
    path.write_bytes(ROWAN.read_bytes())
    assert cuttable("machines", "validate", str(path)).returncode == 0
    assert cuttable("check", "NPS 4 SCH 40", "3 m", "--machine", str(path)).returncode == 0


@pytest.mark.parametrize("more", [[], ["--json"]])
@pytest.mark.parametrize(
    "words",
    [
        ["check", PIPE, LONG, "--grade", b"A53 B\xff"], ["check", b"NPS 6\xe9", LONG],
        ["sections", "find", b"\xff"], ["machines", "show", b"rowan\xff"], [b"ch\xffck"],
        ["check", PIPE, LONG, "--ledger", b"\xff.db"], ["explain", b"\xff"],
    ],
)  # fmt: skip
def test_what_is_no_text_is_refused(
    cuttable: Run, words: list[str | bytes], more: list[str]
) -> None:
    """Bytes that no character has: one sentence with a code, whatever they stand for."""
    typed = [os.fsdecode(word) for word in words]
    done = cuttable(*typed, *more)
    assert "is not valid text" in refused(done)
    assert "[usage-wrong]" in done.stderr
    if more:
        assert only_object(done.stdout)["error"]["code"] == "usage-wrong"


def test_a_ledger_named_in_no_text_is_refused(cuttable: Run) -> None:
    """The environment may hold such bytes too."""
    env = os.environ | {"CUTTABLE_LEDGER": os.fsdecode(b"/tmp/\xff.db")}
    assert "[ledger-place-unknown]" in refused(cuttable("check", PIPE, LONG, env=env))
