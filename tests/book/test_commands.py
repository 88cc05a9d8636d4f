"""The book by its real commands, in both kinds of database."""

import json
import os
import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from book_workshop import Databases
from cuttable.catalogue.book.brought import brought
from cuttable.catalogue.book.making import make_book
from cuttable.catalogue.book.place import Place
from cuttable.catalogue.store import FOLDER
from cuttable.rules.loader import FOLDER as RULES

Run = Callable[..., "subprocess.CompletedProcess[str]"]
Ask = Callable[..., "subprocess.CompletedProcess[str]"]

JOBS = """job,section,length,machine
A1,NPS 5 SCH 80,6 m,
A2,NPS 4 SCH 40,6 m,rowan-150
A3,NPS 5 SCH 80,6 m,alder-320
A4,NPS 6 SCH 40,not a length,
A5,NPS 3 SCH 40,6 m,
"""


ONE_KIND = pytest.mark.parametrize("databases", ["sqlite"], indirect=True)
"""For what has nothing to do with the kind of database."""


def whole_release(place: Place) -> None:
    """Make a book with everything the tool brings."""
    make_book(place, "Ana Reyes", brought(FOLDER, RULES)).close()


@pytest.fixture
def place(databases: Databases) -> Place:
    """A book with everything the tool brings."""
    return databases.copy_of("whole", whole_release)


@pytest.fixture
def ask(cuttable: Run, place: Place, tmp_path: Path) -> Ask:
    """Run the command on the book, and say who does it by ``who``."""

    def run(
        *words: str, who: str = "Kim", code: int | None = 0, **more: str
    ) -> "subprocess.CompletedProcess[str]":
        env = os.environ | {"CUTTABLE_BOOK": place.text, "CUTTABLE_PERSON": who} | more
        done = cuttable(*words, cwd=tmp_path, env=env)
        assert "Traceback" not in done.stderr
        if code is not None:
            assert done.returncode == code, done.stdout + done.stderr
        return done

    return run


def changed(ask: Ask, folder: Path, old: str, new: str, name: str = "draft.toml") -> Path:
    """Write the model as it is in the book, with one text changed."""
    ask("machines", "draft", "rowan-150", "--reason", "a test", who="Ana")
    path = folder / name
    ask("machines", "edit", "rowan-150/2", "--to", str(path), who="Ana")
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    ask("machines", "edit", "rowan-150/2", "--from", str(path), who="Ana")
    return path


def approved(ask: Ask, folder: Path, old: str, new: str) -> None:
    """Bring a change of the model into force."""
    changed(ask, folder, old, new)
    ask("machines", "submit", "rowan-150/2", who="Ana")
    ask("machines", "approve", "rowan-150/2", "--without-impact", "a test", who="Bo")


def code_of(done: "subprocess.CompletedProcess[str]") -> str:
    """Return the code of the error that was told."""
    found = re.findall(r"\[([a-z-]+)\]", done.stderr)
    return found[0] if found else ""


def test_the_life_of_a_limit(ask: Ask, tmp_path: Path) -> None:
    """Drafted, looked at, approved by another; the answer changes with it, and says why."""
    (tmp_path / "orders.csv").write_text(JOBS, encoding="utf-8")
    job = ("check", "NPS 5 SCH 80", "6 m", "--machine", "rowan-150")
    first = ask(*job, "--keep", "--json")
    assert "Kept as answer 1" in first.stderr
    changed(ask, tmp_path, '"1.1 kg*m^2"', '"0.7 kg*m^2"')
    told = ask("machines", "diff", "rowan-150/2").stdout
    assert "limits, rotary inertia, absolute: 1.1 kg*m^2 → 0.7 kg*m^2 (-0.4 kg*m^2" in told
    assert json.loads(ask(*job, "--json").stdout)["verdicts"][0]["machine"]["revision"] == 1
    ask("machines", "submit", "rowan-150/2", who="Ana")
    assert code_of(ask("machines", "approve", "rowan-150/2", who=" ANA ", code=2)) == "own-approval"
    refused = ask("machines", "approve", "rowan-150/2", who="Bo", code=2)
    assert code_of(refused) == "impact-missing"

    impact = ask("impact", "rowan-150/2", "--backlog", "orders.csv", "--json",
                 "--report", "impact.html", who="Bo")  # fmt: skip
    report = json.loads(impact.stdout)
    assert report["about"]["draft"] == "rowan-150/2"
    (group,) = report["groups"]
    assert (group["before"], group["after"]) == ("oversize-allowed-with-conditions", "refused")
    (cause,) = group["causes"]
    assert [example["job"] for example in cause["examples"]] == ["A1"]
    assert cause["decided_by"]["after"] == "INER-02"
    assert "rowan-150/2" in (tmp_path / "impact.html").read_text(encoding="utf-8")
    ask("machines", "approve", "rowan-150/2", who="Bo")
    second = ask(*job, "--json", code=1)
    after = json.loads(second.stdout)["verdicts"][0]
    assert (after["verdict"], after["machine"]["revision"]) == ("refused", 2)

    again = ask("answer", "1", "--again", "--json")
    assert again.stdout == first.stdout
    today = ask("answer", "1", "--today", code=1).stdout
    assert "oversize-allowed-with-conditions → refused" in today
    assert "rowan-150/1 → rowan-150/2, approved by Bo (a test)" in " ".join(today.split())
    history = ask("machines", "history", "rowan-150").stdout
    assert re.search(r"rowan-150/1 +superseded by 2", history)
    assert re.search(r"rowan-150/2 +in force .* +Ana +Bo +a test", history)
    assert "as it was written" in ask("book", "verify").stdout


def test_an_answer_is_found_by_the_id_on_paper(ask: Ask) -> None:
    """The id that sheet and JSON print leads to the answer; a list shows the newest first."""
    kept = ask("check", "NPS 4 SCH 40", "20 ft", "--keep", "--json")
    ask("check", "NPS 6 SCH 40", "3 m", "--keep", "--machine", "alder-320", code=None)
    verdict = json.loads(kept.stdout)["verdicts"][2]
    assert ask("answer", verdict["id"], "--json").stdout == kept.stdout
    rows = json.loads(ask("answer", "--json").stdout)["answers"]
    assert [row["answer"] for row in rows] == [2, 1]
    assert rows[0]["inputs"]["job"] == {"section": "NPS 6 SCH 40", "length": "3 m"}
    told = ask("answer", "1").stdout
    assert "given to Kim" in told
    assert "larch-610, revision 1" in told
    assert code_of(ask("answer", "3", code=2)) == "answer-unknown"
    assert code_of(ask("answer", "nonsense", code=2)) == "answer-unknown"


@pytest.mark.parametrize(
    "words",
    [
        ("HSS 6x4x1/4", "20 ft", "--part", "4 ft*3", "--machine", "medlar-300"),
        ("NPS 5 SCH 80", "6 m", "--fitted", "reversed-jaws", "--machine", "rowan-150",
         "--bow", "4 mm", "--end", "open", "--contents", "empty", "--coating", "oily"),
        ("NPS 24 STD", "18 m"),
        ("pipe 4 in", "6 m"),
        ("DN 100 SCH 40", "6 m", "--off-axis", "2 kg @ 60 mm", "--station", "2 m"),
    ],
)  # fmt: skip
def test_answers_come_out_again_to_the_byte(ask: Ask, words: tuple[str, ...]) -> None:
    """Whatever was asked: options, every model, refusals and open questions."""
    kept = ask("check", *words, "--keep", "--json", code=None)
    again = ask("answer", "1", "--again", "--json")
    assert again.stdout == kept.stdout
    assert "today the same" in ask("answer", "1", "--today").stdout


@ONE_KIND
def test_an_answer_on_a_file_comes_out_again_without_the_file(ask: Ask, tmp_path: Path) -> None:
    """The machine file that was given by path is kept with the answer."""
    source = FOLDER / "models" / "rowan-150.toml"
    path = tmp_path / "mine.toml"
    path.write_text(source.read_text(encoding="utf-8").replace("280 kg", "290 kg"), "utf-8")
    kept = ask("check", "NPS 5 SCH 80", "6 m", "--machine", "mine.toml", "--keep", "--json")
    path.unlink()
    assert ask("answer", "1", "--again", "--json").stdout == kept.stdout


def test_a_site_differs_from_its_model(ask: Ask, tmp_path: Path) -> None:
    """Fitted accessories, worn rollers, weak lifting gear: each changes the answer there only."""
    name = "rowan-150@hall-2"
    ask("sites", "draft", name, "--reason", "as surveyed", who="Ana")
    path = tmp_path / "hall.toml"
    ask("sites", "edit", f"{name}/1", "--to", str(path), who="Ana")
    path.write_text(
        'schema = 1\nmodel = "rowan-150"\noverlay = "hall-2"\ntitle = "hall 2"\n'
        'fitted = ["reversed-jaws"]\n[limits.stock_mass]\nrated = "100 kg"\n'
        'basis = "worn rollers"\n[handling]\nlifting_gear = "90 kg"\npersons = 2\n',
        encoding="utf-8",
    )
    ask("sites", "edit", f"{name}/1", "--from", str(path), who="Ana")
    ask("sites", "submit", f"{name}/1", who="Ana")
    ask("sites", "approve", f"{name}/1", who="Bo")
    site = answer(ask("check", "NPS 4 SCH 40", "6 m", "--machine", name, "--json", code=None))
    assert site["machine"]["model"] == name
    assert site["machine"]["overlay_revision"] == 1
    assert site["measures"]["stock_mass"]["rated"] == 100
    assert "HAND-06" in [finding["rule"] for finding in site["findings"]]
    model = answer(ask("check", "NPS 4 SCH 40", "6 m", "--machine", "rowan-150", "--json"))
    assert model["measures"]["stock_mass"]["rated"] == 280
    assert model["verdict"] == "in-range"
    lacking: dict[str, list[str]] = {}
    for machine in (name, "rowan-150"):
        wide = ask("check", "NPS 6 SCH 40", "2 m", "--machine", machine, "--json", code=None)
        lacking[machine] = [item["text"] for item in answer(wide)["findings"]
                            if item["rule"] == "NOT-FITTED"]  # fmt: skip
    assert [text for text in lacking["rowan-150"] if text not in lacking[name]] == [
        "Needs Reversed jaws for stock above 150 mm: offered for this model, but not fitted."
    ]
    assert name in ask("sites", "list").stdout
    shown = ask("machines", "show", name).stdout
    assert "lifting gear" in shown
    assert "worn rollers" in shown
    assert name not in ask("machines", "list").stdout
    every = json.loads(ask("check", "NPS 4 SCH 40", "6 m", "--json", code=None).stdout)
    assert len(every["verdicts"]) == 4


def answer(done: "subprocess.CompletedProcess[str]") -> dict[str, Any]:
    """Return the one verdict of an answer."""
    (verdict,) = json.loads(done.stdout)["verdicts"]
    found: dict[str, Any] = verdict
    return found


@ONE_KIND
def test_a_model_that_breaks_a_site_is_not_released(ask: Ask, tmp_path: Path) -> None:
    """A revision that takes away what an overlay fits is refused, naming the site."""
    ask("sites", "draft", "rowan-150@b7", "--reason", "as surveyed", who="Ana")
    path = tmp_path / "site.toml"
    ask("sites", "edit", "rowan-150@b7/1", "--to", str(path), who="Ana")
    text = path.read_text(encoding="utf-8").replace("fitted  = []", 'fitted = ["reversed-jaws"]')
    path.write_text(text, encoding="utf-8")
    ask("sites", "edit", "rowan-150@b7/1", "--from", str(path), who="Ana")
    ask("sites", "submit", "rowan-150@b7/1", who="Ana")
    ask("sites", "approve", "rowan-150@b7/1", who="Bo")
    changed(ask, tmp_path, '"reversed-jaws"', '"jaw-inserts"')
    done = ask("machines", "submit", "rowan-150/2", who="Ana", code=2)
    assert code_of(done) == "file-problems"
    assert "rowan-150@b7" in done.stderr


def test_own_sections_and_grades_stand_beside_the_curated_ones(ask: Ask, tmp_path: Path) -> None:
    """They are found, asked for by name, and part of the answer's provenance."""
    before = answer(ask("check", "NPS 4 SCH 40", "6 m", "--machine", "rowan-150", "--json"))
    (tmp_path / "s.toml").write_text(
        'schema = 1\n[sections."RING 110x8"]\nshape = "round"\noutside_diameter = "110 mm"\n'
        'wall = "8 mm"\nstandard = "drawing R-17"\nbasis = "measured"\n', encoding="utf-8",
    )  # fmt: skip
    (tmp_path / "g.toml").write_text(
        'schema = 1\n[grades."Mill 35"]\nfamily = "carbon-steel"\nproduct = "ASTM A53"\n'
        'density = "8000 kg/m^3"\nelasticity = "200 GPa"\nyield = "240 MPa"\n'
        'source = "mill certificate"\nstatus = "seen"\naliases = []\n', encoding="utf-8",
    )  # fmt: skip
    for group, file in (("sections", "s.toml"), ("grades", "g.toml")):
        ask(group, "draft", "--from", file, "--reason", "for frames", who="Ana")
        ask(group, "submit", "1", who="Ana")
        ask(group, "approve", f"{group}/1", who="Bo")
    done = ask("check", "ring 110X8", "6 m", "--grade", "mill 35", "--machine", "rowan-150",
               "--json", code=None)  # fmt: skip
    found = answer(done)
    assert found["job"]["section"]["designation"] == "RING 110x8"
    assert found["job"]["grade"] == "Mill 35"
    area = 3.141592653589793 * 8 * (110 - 8)
    assert found["measures"]["linear_mass"]["value"] == pytest.approx(8000 * area / 1e6)
    assert found["provenance"]["catalogue"] != before["provenance"]["catalogue"]
    assert "RING 110x8" in ask("sections", "find", "ring").stdout
    assert "Mill 35" in ask("grades", "list").stdout


@ONE_KIND
@pytest.mark.parametrize(
    ("group", "text", "told"),
    [
        ("sections", '[sections."NPS 4 SCH 40"]\nshape = "round"\noutside_diameter = "110 mm"\n'
         'wall = "8 mm"\nstandard = "x"\nbasis = "x"\n', "can be read as a section already"),
        ("sections", '[sections."A ring"]\nshape = "round"\noutside_diameter = "11 mm"\n'
         'wall = "8 mm"\nstandard = "x"\nbasis = "x"\n', "does not fit"),
        ("sections", '[sections."A ring"]\nshap = "round"\n', "shape"),
        ("grades", '[grades."A106 B"]\nfamily = "carbon-steel"\nproduct = "ASTM A53"\n'
         'density = "8000 kg/m^3"\nelasticity = "200 GPa"\nyield = "240 MPa"\nsource = "x"\n'
         'status = "seen"\naliases = []\n', "is what ASTM A106 B is called already"),
    ],
)  # fmt: skip
def test_own_names_do_not_shadow_the_curated_ones(
    ask: Ask, tmp_path: Path, group: str, text: str, told: str
) -> None:
    """What would make a name mean two things, or cannot be, is refused at submitting."""
    (tmp_path / "own.toml").write_text(f"schema = 1\n{text}", encoding="utf-8")
    drafted = ask(group, "draft", "--from", "own.toml", "--reason", "a test", who="Ana")
    assert told in drafted.stderr
    done = ask(group, "submit", "1", who="Ana", code=2)
    assert code_of(done) == "file-problems"
    assert told in done.stderr


def test_a_release_of_rules_goes_the_same_way(ask: Ask, tmp_path: Path) -> None:
    """A changed parameter fails the cases beside it; with them changed it is released."""
    ask("rules", "draft", "--reason", "lower load", who="Ana")
    folder = tmp_path / "rules"
    ask("rules", "edit", "2", "--to", str(folder), who="Ana")
    supports = folder / "mitigations.toml"
    text = supports.read_text(encoding="utf-8")
    old = "Load with two persons, or with lifting gear."
    assert old in text
    supports.write_text(text.replace(old, "Load with two persons or gear."), encoding="utf-8")
    mass = folder / "mass.toml"
    good = mass.read_text(encoding="utf-8")
    mass.write_text(good.replace('value = "23 kg"', 'value = "20 kg"'), encoding="utf-8")
    ask("rules", "edit", "2", "--from", str(folder), who="Ana")
    assert code_of(ask("rules", "submit", "2", who="Ana", code=2)) == "file-problems"
    mass.write_text(good, encoding="utf-8")
    ask("rules", "edit", "2", "--from", str(folder), who="Ana")
    assert old in ask("rules", "diff", "2").stdout
    before = answer(ask("check", "tube 50 x 3 mm", "7 m", "--machine", "alder-320", "--json",
                        code=None))  # fmt: skip
    ask("check", "tube 50 x 3 mm", "7 m", "--machine", "alder-320", "--keep", code=None)
    ask("impact", "rules/2", "--answers", who="Bo")
    ask("rules", "submit", "2", who="Ana")
    ask("rules", "approve", "2", who="Bo")
    after = answer(ask("check", "tube 50 x 3 mm", "7 m", "--machine", "alder-320", "--json",
                       code=None))  # fmt: skip
    assert old in [item["text"] for item in before["mitigations"]]
    assert "Load with two persons or gear." in [item["text"] for item in after["mitigations"]]
    assert after["provenance"]["rules"] != before["provenance"]["rules"]
    assert ask("answer", "1", "--again").returncode == 0
    assert "rules/1 → rules/2" in ask("answer", "1", "--today", code=1).stdout


def test_as_of_shows_what_was_in_force(ask: Ask, tmp_path: Path) -> None:
    """A day in the future has what takes effect by then; before the first release is nothing."""
    changed(ask, tmp_path, '"280 kg"', '"285 kg"')
    ask("machines", "submit", "rowan-150/2", "--effective", "2091-05-01", who="Ana")
    ask("machines", "approve", "rowan-150/2", "--without-impact", "a test", who="Bo")
    assert "280 kg" in ask("machines", "show", "rowan-150").stdout
    assert "280 kg" in ask("machines", "show", "rowan-150", "--as-of", "2091-04-30").stdout
    assert "285 kg" in ask("machines", "show", "rowan-150", "--as-of", "2091-05-01").stdout
    assert "285 kg" in ask("machines", "show", "rowan-150/2").stdout
    done = ask("machines", "show", "rowan-150", "--as-of", "2001-01-01", code=2)
    assert code_of(done) == "revision-unknown"
    done = ask("machines", "show", "rowan-150", "--as-of", "first of May", code=2)
    assert code_of(done) == "date-unreadable"
    assert "Coming: rowan-150/2 from 2091-05-01" in ask("book", "status").stdout


def test_bundles_go_from_book_to_book(
    ask: Ask, cuttable: Run, tmp_path: Path, databases: Databases
) -> None:
    """Signed, trusted by fingerprint, all or nothing; taken twice it changes nothing."""
    approved(ask, tmp_path, '"280 kg"', '"285 kg"')
    home = {"XDG_DATA_HOME": str(tmp_path / "home")}
    ask("book", "export", "limits.zip", "rowan-150", **home)
    ask("book", "export", "limits", **home)
    key = ask("book", "key", **home).stdout.strip()
    assert (tmp_path / "home" / "cuttable" / "signing-key.pem").stat().st_mode & 0o77 == 0
    other = databases.copy_of("whole", whole_release)

    def there(*words: str, code: int = 0) -> "subprocess.CompletedProcess[str]":
        return ask(*words, "--book", other.text, who="Lee", code=code)

    done = there("book", "import", "limits.zip", code=2)
    assert code_of(done) == "bundle-untrusted"
    assert key in done.stderr
    there("book", "trust", key, "--name", "North works")
    assert "North works" in there("book", "trust").stdout
    assert "rowan-150/2: taken" in there("book", "import", "limits.zip").stdout
    assert "285 kg" in there("machines", "show", "rowan-150").stdout
    told = there("book", "import", "limits").stdout
    assert "taken" not in told
    assert "Known already" in told
    assert "as it was written" in there("book", "verify").stdout
    _ = cuttable


@ONE_KIND
def test_a_wrong_command_says_what_to_do(ask: Ask, tmp_path: Path) -> None:
    """Every refusal has its code, and names what there is."""
    for words, code in {
        ("machines", "draft", "rowan-15", "--reason", "x"): "revision-unknown",
        ("machines", "draft", "rowan-150@hall"): "name-unusable",
        ("sites", "draft", "rowan-150"): "name-unusable",
        ("machines", "edit", "rowan-150"): "revision-unknown",
        ("machines", "edit", "rowan-150/9"): "revision-unknown",
        ("machines", "approve", "rowan-150/1"): "revision-state",
        ("machines", "submit", "rowan-150/1"): "revision-state",
        ("machines", "diff", "rowan-150/1"): "revision-unknown",
        ("machines", "history", "rowan"): "revision-unknown",
        ("impact", "rowan-150/1"): "option-needs",
        ("impact", "rowan-150/1", "--answers"): "revision-state",
        ("answer", "1", "--again", "--today"): "option-needs",
        ("book", "init"): "book-exists",
        ("book", "trust", "sha256:12", "--name", "x"): "key-unusable",
        ("book", "import", "nothing.zip"): "file-missing",
        ("book", "restore", "nothing.copy"): "file-missing",
        ("check", "NPS 4 SCH 40", "6 m", "--book", "mysql://x/y"): "book-place-unknown",
        ("check", "NPS 4 SCH 40", "6 m", "--book", str(tmp_path / "none.db")): "book-missing",
        ("machines", "draft", "rowan-150", "--book", "none"): "book-missing",
    }.items():
        done = ask(*words, code=2)
        assert code_of(done) == code, words
    assert "rowan-150" in ask("machines", "history", "rowan", code=2).stderr


@ONE_KIND
def test_a_draft_that_cannot_be_read_is_kept_but_not_submitted(ask: Ask, tmp_path: Path) -> None:
    """Editing is free; every problem is told with its dotted key."""
    path = changed(ask, tmp_path, 'rated    = "280 kg"', 'rated    = "280 m"')
    done = ask("machines", "submit", "rowan-150/2", who="Ana", code=2)
    assert code_of(done) == "file-problems"
    assert "limits.stock_mass.rated" in done.stderr
    text = path.read_text(encoding="utf-8").replace('= "rowan-150"', '= "other"')
    path.write_text(text.replace("280 m", "281 kg"), encoding="utf-8")
    ask("machines", "edit", "rowan-150/2", "--from", str(path), who="Ana")
    done = ask("machines", "submit", "rowan-150/2", who="Ana", code=2)
    assert "'other'" in done.stderr
    path.write_bytes(b"\xff\xfe")
    done = ask("machines", "edit", "rowan-150/2", "--from", str(path), who="Ana", code=2)
    assert code_of(done) == "file-damaged"
    ask("machines", "withdraw", "rowan-150/2", who="Ana")
    assert "withdrawn" in ask("machines", "history", "rowan-150").stdout
