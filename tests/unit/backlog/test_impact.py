"""An impact is what two batch runs, compared row by row, come to; and it stays small.

Generated jobs, some of them wrong, some naming a machine, in chunks; machines with other limits,
other rules, and another catalogue.
"""

import csv
import json
import math
import shutil
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from html.parser import HTMLParser
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from cuttable.catalogue.errors import InputError
from cuttable.catalogue.machines.amend import amended_machine
from cuttable.catalogue.machines.model import MachineModel
from cuttable.catalogue.store import FOLDER, Catalogue
from cuttable.engine.answer.document import plain
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.backlog.answer import DETAILS, NUMBERS
from cuttable.engine.backlog.asked import Asked
from cuttable.engine.backlog.opened import Chunk
from cuttable.engine.backlog.readers import open_backlog
from cuttable.engine.backlog.runner import Runner
from cuttable.engine.impact.impact import EXAMPLES, Side, impact_of, state_over
from cuttable.engine.impact.model import Impact, Source
from cuttable.engine.impact.page import impact_page
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.parse import read_job
from cuttable.rules.loader import FOLDER as RULES
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

CORE = AssessorCore()
SOURCE = Source("a.csv", "sha256:0")
CODE = "alder-320"
SETTINGS = (
    "limits.stock_mass.rated=300 kg", "limits.stock_mass.absolute=700 kg",
    "limits.rotary_inertia.absolute=60 kg*m^2", "limits.stock_length.rated=9 m",
    "limits.round_diameter.minimum=15 mm", "rotary.rapid_speed=20 rpm",
    "supports.lift-and-index.standard=true",
)  # fmt: skip

SECTIONS = (
    "NPS 4 SCH 40", "NPS 6 XS", "NPS 10 XS", "NPS 12 STD", "NPS 20 STD", "tube 20 x 1 mm",
    "tube 219.1 x 3 mm", "SHS 100x5 cf", "RHS 150x100x6 cf", "tube 273 x 20 mm", "4 in pipe",
    "nonsense",
)  # fmt: skip
LENGTHS = ("6 m", "20 ft", "12 m", "900 mm", "3300 mm", "40 ft", "9.5 m", "-3 m", "6")
MACHINES = ("", "", "", CODE, " ALDER-320", "rowan-150", "medlar-300", "larch-611")
HEAD = ("job", "section", "length", "grade", "parts", "cuts", "fitted", "bow", "machine")
Row = tuple[str, ...]

rows_of_jobs = st.lists(
    st.tuples(
        st.sampled_from(("J-1", "", "=1+1", "Ü 2")),
        st.sampled_from(SECTIONS),
        st.sampled_from(LENGTHS),
        st.sampled_from(("", "", "A106 B", "304", "stainless")),
        st.sampled_from(("", "", "2*1.2 m", "5*3 m")),
        st.sampled_from(("", "", "", "2 m", "50 m")),
        st.sampled_from(("", "", "", "wide-roller-pair", "wings")),
        st.sampled_from(("", "", "3 mm", "40 mm")),
        st.sampled_from(MACHINES),
    ),
    min_size=1,
    max_size=12,
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("impact")


def side(assessor: AssessorCore = CORE, *settings: str, codes: Sequence[str] = (CODE,)) -> Side:
    """Return a side on which the first machine has values set."""
    content = (FOLDER / "models" / f"{codes[0]}.toml").read_bytes()
    first = amended_machine(assessor.catalogue, content, "a.toml", settings)
    return Side(assessor, (first, *(assessor.catalogue.machine(code) for code in codes[1:])))


@pytest.fixture(scope="module")
def other_rules(folder: Path) -> AssessorCore:
    """Rules in which two codes are others and a condition refuses."""
    place = folder / "rules"
    shutil.copytree(RULES, place, ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    text = (place / "mass.toml").read_text(encoding="utf-8")
    text = text.replace("[rules.MASS-02]", "[rules.MASS-92]")
    first = text.index("[rules.MASS-01]")
    text = text[:first] + text[first:].replace('outcome = "conditions"', 'outcome = "refused"', 1)
    (place / "mass.toml").write_text(text, encoding="utf-8")
    return AssessorCore(rules=place)


@pytest.fixture(scope="module")
def other_catalogue(folder: Path) -> AssessorCore:
    """A catalogue in which one grade is heavier."""
    place = folder / "catalogue"
    shutil.copytree(FOLDER, place, ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    grades = place / "grades.toml"
    text = grades.read_text(encoding="utf-8")
    start = text.index("ASTM A53 B")
    assert "7850" in text[start:]
    grades.write_text(text[:start] + text[start:].replace("7850", "8600", 1), encoding="utf-8")
    return AssessorCore(Catalogue(place))


def written(path: Path, rows: Sequence[Row]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([HEAD, *rows])
    return path


def impact(before: Side, after: Side, path: Path, rows: int = 250_000, **options: Any) -> Impact:
    chunks = open_backlog(path).chunks(rows)
    return impact_of(before, after, chunks, backlog=SOURCE, workers=1, **options)


# --- the same, row by row -----------------------------------------------------------------


def batch(asked: Side, path: Path) -> list[dict[str, Any]]:
    """Return the answer rows of one batch run, each row on the machine it names if any."""
    runner = Runner(asked.assessor, Asked(asked.machines, is_compared=True, is_by_code=True), 1)
    (chunk,) = open_backlog(path).chunks()
    return runner.answer(chunk.columns, chunk.rows, 1, chunk.faults).to_pylist()


def by_hand(before: Side, after: Side, rows: Sequence[Row], path: Path) -> dict[str, Any]:
    """Return totals, counts and first rows from two runs compared in plain Python."""
    codes = {machine.code for machine in before.machines}
    other = {code for code in ("rowan-150", "medlar-300", CODE) if code not in codes}
    left_out = {n for n, row in enumerate(rows, 1) if row[-1].strip().casefold() in other}
    pairs = zip(batch(before, path), batch(after, path), strict=True)
    found: dict[str, Any] = {
        "totals": Counter(not_asked=len(left_out), jobs=len(rows)), "causes": Counter(),
        "columns": Counter(), "governing": Counter(), "gained": Counter(), "lost": Counter(),
        "rows": {},
    }  # fmt: skip
    for a, b in pairs:
        if a["row"] in left_out:
            continue
        assert (a["row"], a["machine"]) == (b["row"], b["machine"])
        found["totals"]["answers"] += 1
        words = ("verdict", "decided_by", "governing", "mitigations", "missing", "error",
                 "error_text")  # fmt: skip
        if any(a[name] != b[name] for name in words):
            found["totals"]["changed"] += 1
            key = (a["verdict"], b["verdict"], a["error"] or a["decided_by"],
                   b["error"] or b["decided_by"])  # fmt: skip
            found["causes"][key] += 1
            found["rows"].setdefault(key, []).append(a["row"])
            if a["governing"] != b["governing"]:
                found["governing"][*key, a["governing"], b["governing"]] += 1
            old, new = (set(filter(None, item["mitigations"].split("; "))) for item in (a, b))
            found["gained"].update([(*key, item) for item in new - old])
            found["lost"].update([(*key, item) for item in old - new])
            continue
        if a["error"]:
            found["totals"]["faulty"] += 1
            continue
        differs = [name for name in (*NUMBERS, DETAILS) if not is_close(a[name], b[name])]
        differs += [name for name in ("stations", "grade") if a[name] != b[name]]
        found["columns"].update(differs)
        found["totals"]["numbers_only" if differs else "unchanged"] += 1
    return found


def is_close(one: float | None, two: float | None) -> bool:
    if one is None or two is None:
        return one is two
    return math.isclose(one, two, rel_tol=1e-9)


def told(found: Impact) -> dict[str, Any]:
    """Return an impact in the shape of :func:`by_hand`."""
    result: dict[str, Any] = {name: Counter() for name in ("causes", "governing", "gained", "lost")}
    rows: dict[Any, list[int]] = {}
    for group in found.groups:
        for cause in group.causes:
            key = (group.before, group.after, cause.before, cause.after)
            result["causes"][key] = cause.jobs
            rows[key] = [item.row for item in cause.examples]
            for before, after, count in cause.governing:
                result["governing"][*key, before, after] = count
            for name in ("gained", "lost"):
                for item, count in getattr(cause, name).items():
                    result[name][*key, item] = count
    totals = found.to_json()["totals"]
    return result | {"totals": totals, "columns": found.columns, "rows": rows}


IN, ON_CONDITIONS, REFUSED, NONE = "in-range", "oversize-allowed-with-conditions", "refused", ""
KINDS = ["newly-refused", "newly-conditional", "no-answer", "lifted", "other"]
KIND_OF = {
    (IN, ON_CONDITIONS): "newly-conditional",
    (IN, REFUSED): "newly-refused",
    (IN, NONE): "no-answer",
    (ON_CONDITIONS, IN): "lifted",
    (ON_CONDITIONS, REFUSED): "newly-refused",
    (ON_CONDITIONS, NONE): "no-answer",
    (REFUSED, IN): "lifted",
    (REFUSED, ON_CONDITIONS): "lifted",
    (REFUSED, NONE): "no-answer",
    (NONE, IN): "other",
    (NONE, ON_CONDITIONS): "other",
    (NONE, REFUSED): "newly-refused",
    # The verdict stays; what decides it or must be done is another.
    (IN, IN): "other",
    (ON_CONDITIONS, ON_CONDITIONS): "other",
    (REFUSED, REFUSED): "other",
    (NONE, NONE): "other",
}
"""What each change of a verdict is called; no verdict is an empty text."""


def agree(before: Side, after: Side, rows: Sequence[Row], path: Path, chunk: int) -> Impact:
    """Fail where an impact is not what two runs come to; return it."""
    written(path, rows)
    found = impact(before, after, path, chunk)
    expected, got = by_hand(before, after, rows, path), told(found)
    assert {name: count for name, count in got["totals"].items() if count} == {
        name: count for name, count in expected["totals"].items() if count
    }
    for name in ("causes", "governing", "gained", "lost", "columns"):
        assert got[name] == expected[name], name
    firsts = {key: places[:EXAMPLES] for key, places in expected["rows"].items()}
    assert got["rows"] == firsts
    assert found.answers == sum((found.faulty, found.unchanged, found.numbers_only, found.changed))
    for group in found.groups:
        assert group.kind == KIND_OF[group.before, group.after]
        assert group.jobs == sum(cause.jobs for cause in group.causes)
        assert all(item.jobs >= other.jobs for item, other in zip(group.causes, group.causes[1:],
                                                                  strict=False))  # fmt: skip
    order = [KINDS.index(group.kind) for group in found.groups]  # what is worst stands first
    assert order == sorted(order)
    return found


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(rows=rows_of_jobs, chunk=st.integers(1, 5), is_back=st.booleans())
def test_other_limits_are_compared_as_two_runs(
    rows: list[Row], chunk: int, is_back: bool, folder: Path
) -> None:
    """One assessor, one machine with other limits; one way and back."""
    sides = (side(), side(CORE, *SETTINGS))
    before, after = sides[::-1] if is_back else sides
    agree(before, after, rows, folder / "a.csv", chunk)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(rows=rows_of_jobs, chunk=st.integers(1, 12))
def test_several_machines_are_paired_by_place(rows: list[Row], chunk: int, folder: Path) -> None:
    """An answer a job and machine; a row that names one of them is asked on that one only."""
    codes = (CODE, "rowan-150")
    agree(side(codes=codes), side(CORE, *SETTINGS, codes=codes), rows, folder / "b.csv", chunk)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(rows=rows_of_jobs, chunk=st.integers(1, 5))
def test_other_rules_are_compared_as_two_runs(
    rows: list[Row], chunk: int, folder: Path, other_rules: AssessorCore
) -> None:
    """Rules that decide under another code, and that refuse what they allowed."""
    agree(side(), side(other_rules), rows, folder / "c.csv", chunk)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(rows=rows_of_jobs, chunk=st.integers(1, 5))
def test_another_catalogue_is_compared_as_two_runs(
    rows: list[Row], chunk: int, folder: Path, other_catalogue: AssessorCore
) -> None:
    """Texts are then read on each side by its own catalogue."""
    agree(side(), side(other_catalogue), rows, folder / "d.csv", chunk)


def many(count: int) -> list[Row]:
    """Return so many jobs of some variety."""
    return [
        (f"J{n}", SECTIONS[n % 12], LENGTHS[n % 6] if n % 3 else f"{900 + 2 * n} mm", "", "", "",
         "", "", MACHINES[n % 7])
        for n in range(count)
    ]  # fmt: skip


def test_thousands_of_jobs_on_two_processes(folder: Path, other_rules: AssessorCore) -> None:
    """Above the size from which work is shared; the same as on one, whatever the chunks."""
    rows, path = many(9000), folder / "e.csv"
    after = side(other_rules, *SETTINGS)
    found = agree(side(), after, rows, path, 250_000)
    assert {group.kind for group in found.groups} >= {"newly-refused", "lifted", "other"}
    chunks = open_backlog(path).chunks(4500)
    assert impact_of(side(), after, chunks, backlog=SOURCE, workers=2) == found


def test_nothing_changes_between_a_state_and_itself(folder: Path) -> None:
    """And what cannot be read is told as such."""
    path = written(folder / "f.csv", many(300))
    found = impact(side(), side(), path)
    assert (found.changed, found.numbers_only, found.groups) == (0, 0, ())
    assert found.faulty > 0
    assert found.not_asked == sum(row[-1] in ("rowan-150", "medlar-300") for row in many(300))
    assert found.before.verdicts == found.after.verdicts
    assert found.before.ranking == found.after.ranking


def test_examples_are_the_jobs_as_they_stand_in_the_file(folder: Path) -> None:
    """Row, job, section and length as typed; numbers as batch has them on either side."""
    path = written(folder / "g.csv", many(400))
    before, after = side(), side(CORE, *SETTINGS)
    found = impact(before, after, path, 37, examples=3)
    sides = [{row["row"]: row for row in batch(item, path)} for item in (before, after)]
    every = [item for group in found.groups for cause in group.causes for item in cause.examples]
    assert every
    for item in every:
        row = many(400)[item.row - 1]
        assert (item.job, item.section, item.length) == row[:3]
        for rows, numbers in zip(sides, (item.before, item.after), strict=True):
            for name, value in numbers._asdict().items():
                assert is_close(value, rows[item.row][name])
    assert max(len(cause.examples) for group in found.groups for cause in group.causes) == 3


def test_what_is_kept_does_not_grow_with_the_file(folder: Path) -> None:
    """Ten times the rows: no more groups, causes or examples than ten times the counts need."""
    path = folder / "h.csv"

    def kept(count: int) -> Impact:
        written(path, [(f"J{n}", *many(60)[n % 60][1:]) for n in range(count)])
        return impact(side(), side(CORE, *SETTINGS), path, 60)

    few, more = kept(600), kept(6000)
    assert more.changed == 10 * few.changed > 0
    shape = [[(c.before, c.after, c.examples) for c in group.causes] for group in few.groups]
    assert shape == [
        [(c.before, c.after, c.examples) for c in group.causes] for group in more.groups
    ]


def test_other_models_are_not_compared() -> None:
    """Answers of one machine say nothing of another."""
    with pytest.raises(InputError, match="cannot be compared"):
        impact_of(side(), side(codes=("rowan-150",)), nothing(), backlog=SOURCE)


def nothing() -> Iterator[Chunk]:
    yield from ()


def test_a_backlog_without_rows(folder: Path) -> None:
    """Nothing was asked, nothing changes."""
    path = written(folder / "i.csv", [])
    found = impact(side(), side(CORE, *SETTINGS), path)
    assert (found.jobs, found.answers, found.groups) == (0, 0, ())


def test_a_backlog_that_names_other_models_only(folder: Path) -> None:
    """No row is decided."""
    path = written(folder / "j.csv", [(*row[:-1], "rowan-150") for row in many(20)])
    found = impact(side(), side(CORE, *SETTINGS), path)
    assert (found.jobs, found.not_asked, found.answers) == (20, 20, 0)


# --- what refuses -------------------------------------------------------------------------


def test_what_refuses_is_counted_as_single_answers_say(folder: Path) -> None:
    """Every refusing finding of every refused job; alone where there is one."""
    rows = [row for row in many(240) if row[-1].strip() in ("", CODE) and row[1] in SECTIONS[:10]]
    path = written(folder / "k.csv", rows)
    state = state_over(side(), open_backlog(path).chunks(50), workers=1)
    together: Counter[str] = Counter()
    alone: Counter[str] = Counter()
    machine = side().machines[0]
    for row in rows:
        (verdict,) = CORE.ask(JobText(row[1], row[2]), [machine.code]).verdicts
        if verdict.verdict != "refused":
            continue
        refusing = {item.rule for item in verdict.findings if item.outcome == "refused"}
        together.update(refusing)
        if len(refusing) == 1:
            alone.update(refusing)
    assert {item.code: item.jobs for item in state.ranking} == together
    assert {item.code: item.alone for item in state.ranking if item.alone} == alone
    assert alone
    jobs = [item.jobs for item in state.ranking]
    assert jobs == sorted(jobs, reverse=True)
    assert state.verdicts["refused"] <= sum(jobs)
    titles = {rule.code: rule.title for rule in CORE.rule_set.rules}
    assert all(item.title == titles.get(item.code, item.title) for item in state.ranking)


def test_a_ranking_names_the_keys_of_the_machine_file(folder: Path) -> None:
    """Setting them is understood, and moves the count."""
    path = written(folder / "l.csv", [("J", "NPS 4 SCH 40", "14 m", *[""] * 6)])
    state = state_over(side(), open_backlog(path).chunks(), workers=1)
    (too_long,) = (item for item in state.ranking if item.code == "LEN-03")
    assert too_long.keys == ("limits.stock_length.absolute",)
    longer = side(CORE, f"{too_long.keys[0]}=20 m")
    state = state_over(longer, open_backlog(path).chunks(), workers=1)
    assert "LEN-03" not in [item.code for item in state.ranking]


# --- as data and as a page ----------------------------------------------------------------


class Page(HTMLParser):
    """What a page holds."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note the tag and what it points to."""
        self.tags.append(tag)
        self.links += [str(value) for name, value in attrs if name in ("src", "href")]

    def handle_data(self, data: str) -> None:
        """Note the text."""
        self.text += data


@pytest.fixture
def page(folder: Path) -> Callable[[Sequence[Row]], tuple[Impact, Page]]:
    """Make the page of an impact over some rows."""

    def make(rows: Sequence[Row]) -> tuple[Impact, Page]:
        path = written(folder / "m.csv", rows)
        found = impact(side(), side(CORE, *SETTINGS), path)
        text = impact_page(found, title="What <if>", set_lines=["a & b"], provenance="rules <1>")
        parsed = Page()
        parsed.feed(text)
        return found, parsed

    return make


def test_the_page_tells_every_group_and_needs_nothing_from_outside(page: Any) -> None:
    found, parsed = page(many(300))
    assert not parsed.links
    assert "script" not in parsed.tags
    assert found.groups
    assert parsed.text.count("→") >= len(found.groups)
    for item in found.before.ranking[:8]:
        assert item.title in parsed.text
    assert "What <if>" in parsed.text
    assert "a & b" in parsed.text


def test_texts_of_the_backlog_are_no_markup(page: Any) -> None:
    """A job named like a tag is shown as it was typed."""
    nasty = "<script>alert(1)</script><b>\"'&"
    _, parsed = page([(nasty, *row[1:]) for row in many(60)])
    assert "script" not in parsed.tags
    assert nasty in parsed.text


def test_data_for_scripts_are_complete(page: Any) -> None:
    """Plain data under a schema, the sums included."""
    import json

    found, _ = page(many(200))
    content = json.loads(json.dumps(found.to_json(), allow_nan=False))
    assert content["schema"] == "cuttable.impact/1"
    assert content["backlog"] == {"name": "a.csv", "digest": "sha256:0", "rows": 200}
    for name in ("before", "after"):
        assert content[name]["rules"] == CORE.rule_set.digest
        assert content[name]["machines"][0]["model"] == CODE
    assert content["before"]["machines"] != content["after"]["machines"]
    assert sum(group["jobs"] for group in content["groups"]) == content["totals"]["changed"]
    example = content["groups"][0]["causes"][0]["examples"][0]
    assert set(example["before"]) == {
        "utilisation", "heavy_utilisation", "stock_mass", "rotary_inertia", "rapid_override",
    }  # fmt: skip


SAME_HEAD = ("id", "machine", "provenance", "would_fit")


def essence(assessor: AssessorCore, machine: MachineModel, row: Row) -> str:
    """Return everything of a single answer but its names, limits and what would make it fit."""
    job, questions = read_job(
        JobText(row[1], row[2]), assessor.catalogue, assessor.rule_set.vocabulary
    )
    assert job is not None, questions
    answer = assessor.answer(job, [machine], system="si", is_all=False).verdicts[0]
    verdict = plain(answer, 1)  # later keys name the model and its bed again
    for measure in verdict["measures"].values():
        for limit in ("minimum", "rated", "absolute", "utilisation", "heavy_utilisation"):
            measure.pop(limit, None)
    verdict.pop("close")
    return json.dumps({name: item for name, item in verdict.items() if name not in SAME_HEAD})


@pytest.mark.parametrize(
    "setting",
    [  # each alters some of the answers
        'supports.roller-pair.roller_radius="45 mm"',
        'supports.roller-pair.reaction.rated="0.3 kN"',
        "supports.roller-pair.standard=false",
        'bed.stations.pitch="400 mm"',
        'bed.stub="300 mm"',
        'chuck.jaw_force="4.3 kN"',
        'cutting.trim="60 mm"',
    ],
)
def test_unchanged_means_that_nothing_of_the_answer_is_different(
    tmp_path: Path, setting: str
) -> None:
    """Every job that an impact calls unchanged has the same single answer, set-up and all."""
    content = (FOLDER / "models" / "rowan-150.toml").read_bytes()
    before = CORE.catalogue.machine("rowan-150")
    after = amended_machine(CORE.catalogue, content, "rowan-150.toml", [setting])
    sizes = ("NPS 1 SCH 40", "NPS 3 SCH 40", "NPS 4 SCH 80", "NPS 5 SCH 160", "NPS 8 SCH 40")
    rows = [
        (f"{n}", size, f"{length} m", *[""] * (len(HEAD) - 3))
        for n, (size, length) in enumerate(product(sizes, (0.4, 2, 4.2, 6.5)))
    ]
    differing = 0
    for row in rows:
        path = written(tmp_path / "one.csv", [row])
        found = impact(Side(CORE, (before,)), Side(CORE, (after,)), path)
        same = essence(CORE, before, row) == essence(CORE, after, row)
        if found.unchanged:
            assert same, row
        differing += not same
    assert differing
