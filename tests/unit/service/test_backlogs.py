"""Backlogs that are sent: answered as the command line answers, stopped, taken up again."""

import csv
import io
import json
import os
import re
import signal
import struct
import zipfile
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import xlsxwriter
from cuttable.service.workers.backlogs import MOST_OF_ONE
from cuttable.service.workers.uploads import MOST_UNPACKED
from service_workshop import CSV, Service, Template, service_of, waited

MANY = b"job,section,length\n" + b"".join(
    b"J%d,NPS %d STD,%d mm\n" % (number, (2, 4, 6, 8)[number % 4], 1500 + number % 9000)
    for number in range(400_000)
)


def test_a_backlog_is_answered_row_by_row_as_check_answers(service: Service) -> None:
    name = service.sent(machine="rowan-150")
    found = service.ended(name)
    assert found["state"] == "done"
    assert found["rows"] == 3
    rows = service.api("GET", f"/backlogs/{name}/answers", "asker")
    one = service.api("POST", "/check", "asker", json={
        "section": "NPS 4 SCH 40", "length": "20 ft", "machines": ["rowan-150"]})  # fmt: skip
    assert rows["items"][0]["verdict"] == one["verdicts"][0]["verdict"]
    assert [row["job"] for row in rows["items"]] == ["A", "B", "C"]
    assert rows["items"][2]["error"]
    assert found["summary"]["headline"]


def test_rows_are_filtered_sorted_and_paged(service: Service) -> None:
    name = service.sent()
    service.ended(name)

    def rows(**asked: object) -> list[dict[str, object]]:
        found = service.api("GET", f"/backlogs/{name}/answers", params=asked)
        assert found["total"] >= len(found["items"])
        return list(found["items"])

    every = rows()
    refused = rows(verdict="refused")
    assert refused == [row for row in every if row["verdict"] == "refused"]
    assert rows(machine="rowan-150", text="inEr") == [
        row for row in every if row["machine"] == "rowan-150" and "INER" in str(row["decided_by"])
    ]
    by_use = rows(sort="-utilisation", verdict="refused")
    uses = [row["utilisation"] for row in by_use]
    assert uses == sorted(uses, reverse=True, key=lambda use: use if use is not None else -1)
    assert rows(first=2, count=3) == every[2:5]
    assert rows(first=10_000) == []
    wrong = service.ask("GET", f"/api/v1/backlogs/{name}/answers?sort=nothing", role="asker")
    assert wrong.json()["code"] == "choice-unknown"


@pytest.mark.parametrize("kind", ["csv", "jsonl", "xlsx", "parquet"])
def test_answers_are_downloaded_as_any_kind_of_file(service: Service, kind: str) -> None:
    name = service.sent(b"job,section,length\n=1+1,NPS 4 SCH 40,20 ft\n", "=x(1).csv")
    service.ended(name)
    found = service.ask("GET", f"/api/v1/backlogs/{name}/file?kind={kind}", role="asker")
    assert found.status_code == 200, found.text
    assert found.headers["content-disposition"] == f'attachment; filename="_x_1_-answers.{kind}"'
    if kind == "csv":
        rows = list(csv.DictReader(io.StringIO(found.text)))
        assert {row["job"] for row in rows} == {"'=1+1"}
    if kind == "xlsx":
        with zipfile.ZipFile(io.BytesIO(found.content)) as ledger:
            assert b"<f>" not in ledger.read("xl/worksheets/sheet1.xml")


def test_other_people_do_not_see_a_backlog_and_administrators_do(service: Service) -> None:
    name = service.sent()
    for path in ("", "/answers", "/file", "/report"):
        found = service.ask("GET", f"/api/v1/backlogs/{name}{path}", role="engineer")
        assert found.status_code == 404
    assert service.ask("DELETE", f"/api/v1/backlogs/{name}", role="approver").status_code == 404
    assert service.api("GET", "/backlogs", "engineer")["items"] == []
    assert [item["id"] for item in service.api("GET", "/backlogs")["items"]] == [name]


def test_a_backlog_is_stopped_and_then_forgotten(service: Service) -> None:
    name = service.sent(MANY)
    waited(lambda: service.api("GET", f"/backlogs/{name}"), lambda item: item["rows"] > 0)
    service.api("DELETE", f"/backlogs/{name}", "asker")
    assert service.api("GET", f"/backlogs/{name}")["state"] == "stopped"
    found = service.ask("GET", f"/api/v1/backlogs/{name}/answers", role="asker")
    assert (found.status_code, found.json()["code"]) == (409, "backlog-stopped")
    service.api("DELETE", f"/backlogs/{name}", "asker")
    assert service.ask("GET", f"/api/v1/backlogs/{name}", role="asker").status_code == 404
    assert service.ended(service.sent())["state"] == "done"


def test_a_service_that_ends_in_the_middle_goes_on_to_the_same_bytes(
    tmp_path: Path, template: Template
) -> None:
    (tmp_path / "one").mkdir()
    with service_of(tmp_path / "one", template) as first:
        name = first.sent(MANY, best=True)
        waited(lambda: first.api("GET", f"/backlogs/{name}"), lambda item: item["rows"] > 0)
    assert not (tmp_path / "one/data/backlogs" / name / "answers.parquet").exists()
    with service_of(tmp_path / "one", template) as again:
        assert again.ended(name)["state"] == "done"
        whole = again.sent(MANY, best=True)
        assert again.ended(whole)["state"] == "done"
        broken, straight = (
            (tmp_path / "one/data/backlogs" / item / "answers.parquet").read_bytes()
            for item in (name, whole)
        )
    assert _told(broken) == _told(straight)
    assert broken == straight


def _told(content: bytes) -> object:
    return pq.read_table(io.BytesIO(content)).to_pydict()["verdict"]


def test_a_process_that_is_killed_is_told_and_not_begun_again(service: Service) -> None:
    name = service.sent(MANY)
    folder = service.settings.data / "backlogs" / name
    waited(lambda: service.api("GET", f"/backlogs/{name}"), lambda item: item["rows"] > 0)
    os.kill(_process_on(folder), signal.SIGKILL)
    found = service.ended(name)
    assert (found["state"], found["fault"]["code"]) == ("failed", "backlog-stopped")
    assert json.loads((folder / "tries.json").read_text()) == {"tries": 1}
    assert service.ended(service.sent())["state"] == "done"


def _process_on(folder: Path) -> int:
    for process in Path("/proc").glob("[0-9]*"):
        try:
            words = (process / "cmdline").read_bytes().split(b"\0")
        except OSError:
            continue
        if str(folder).encode() in words:
            return int(process.name)
    message = f"no process works on {folder}"
    raise AssertionError(message)


def test_what_ended_the_service_three_times_is_not_begun_again(
    tmp_path: Path, template: Template
) -> None:
    with service_of(tmp_path, template) as first:
        name = first.sent()
        first.ended(name)
    folder = tmp_path / "data/backlogs" / name
    (folder / "summary.json").unlink()
    (folder / "tries.json").write_text('{"tries": 3}')
    with service_of(tmp_path, template) as again:
        assert again.ended(name)["state"] == "failed"


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("jobs.exe", CSV, "kind-wrong"),
        ("jobs", CSV, "kind-wrong"),
        ("jobs.csv/..", CSV, "kind-wrong"),
        ("jobs.csv", b"", "backlog-empty"),
        ("jobs.csv", b"PK\x03\x04 zip", "kind-wrong"),
        ("jobs.csv", b"\x1f\x8b\x08 gzip", "kind-wrong"),
        ("jobs.xlsx", CSV, "kind-wrong"),
        ("jobs.parquet", b"PK\x03\x04 zip", "kind-wrong"),
    ],
)
def test_what_is_no_backlog_is_refused_when_it_is_sent(
    asked: Service, name: str, content: bytes, code: str
) -> None:
    found = asked.ask("POST", "/api/v1/backlogs", role="asker", params={"name": name},
                      content=content, headers={"Content-Type": "text/csv"})  # fmt: skip
    assert found.json()["code"] == code
    assert not list((asked.settings.data / "backlogs").glob(".*"))


@pytest.mark.parametrize("name", ["../../../etc/passwd.csv", "..\\..\\x.csv", "/etc/x.csv"])
def test_a_name_with_a_path_stays_in_the_folder(service: Service, name: str) -> None:
    made = service.sent(name=name)
    assert "/" not in service.api("GET", f"/backlogs/{made}")["name"]
    files = {path.name for path in (service.settings.data / "backlogs" / made).iterdir()}
    assert "jobs.csv" in files


@pytest.mark.parametrize("name", ["..", "%2e%2e", "0123456789abcdeg", "../../x", "0" * 16])
def test_an_id_that_is_none_is_unknown(asked: Service, name: str) -> None:
    found = asked.ask("GET", f"/api/v1/backlogs/{name}", role="administrator")
    assert found.status_code == 404


@pytest.mark.parametrize("content", [b"PK\x03\x04" + b"\0" * 100, b"PAR1" + b"\xff" * 200])
def test_what_is_damaged_is_told(service: Service, content: bytes) -> None:
    kind = "xlsx" if content.startswith(b"PK") else "parquet"
    found = service.ended(service.sent(content, f"jobs.{kind}"))
    assert (found["state"], found["fault"]["code"]) == ("failed", "backlog-not-a-table")
    assert "/" not in found["fault"]["what"]


def test_a_workbook_that_says_it_unpacks_to_too_much_is_refused(service: Service) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as ledger:
        for number in range(2):
            ledger.writestr(f"xl/worksheets/sheet{number}.xml", "<worksheet/>")
    content, most = packed.getvalue(), struct.pack("<I", MOST_UNPACKED // 2 + 1)
    for place in [match.start() + 24 for match in re.finditer(b"PK\x01\x02", content)]:
        content = content[:place] + most + content[place + 4 :]
    found = service.ended(service.sent(content, "bomb.xlsx"))
    assert (found["state"], found["fault"]["code"]) == ("failed", "too-large")


def test_a_workbook_with_a_cell_in_its_farthest_corner_ends_alone(service: Service) -> None:
    packed = io.BytesIO()
    with xlsxwriter.Workbook(packed) as ledger:
        sheet = ledger.add_worksheet()
        for place, name in enumerate(("job", "section", "length")):
            sheet.write_string(0, place, name)
            sheet.write_string(1, place, "x")
        sheet.write_string(1_048_575, 16_383, "far")
    found = service.ended(service.sent(packed.getvalue(), "far.xlsx"))
    assert found["state"] == "failed"
    assert found["fault"]["code"] in ("too-large", "backlog-stopped", "backlog-not-a-table")
    assert service.ended(service.sent())["state"] == "done"


def test_a_file_that_takes_too_much_memory_ends_alone(made: object, tmp_path: Path) -> None:
    start = made
    assert callable(start)
    # One long text, a hundred thousand times: a few kilobytes that come to a hundred gigabytes.
    text = pa.DictionaryArray.from_arrays(
        pa.array([0] * 100_000, pa.int32()), pa.array(["x" * 1_000_000])
    )
    path = tmp_path / "bomb.parquet"
    pq.write_table(
        pa.table({"job": text, "section": text, "length": text}), path, compression="zstd"
    )
    with start(most_memory=2 * 2**30) as service:
        found = service.ended(service.sent(path.read_bytes(), "bomb.parquet"))
        assert found["state"] == "failed"
        assert found["fault"]["code"] in ("too-large", "backlog-stopped")
        assert service.ended(service.sent())["state"] == "done"


def test_one_person_does_not_fill_the_queue(service: Service) -> None:
    first = service.sent(MANY)
    for _ in range(MOST_OF_ONE - 1):
        service.sent()
    found = service.ask("POST", "/api/v1/backlogs?name=x.csv", role="asker", content=CSV,
                        headers={"Content-Type": "text/csv"})  # fmt: skip
    assert (found.status_code, found.json()["code"]) == (429, "too-many")
    other = service.ask("POST", "/api/v1/backlogs?name=x.csv", role="engineer", content=CSV,
                        headers={"Content-Type": "text/csv"})  # fmt: skip
    assert other.status_code == 201
    service.api("DELETE", f"/backlogs/{first}")


def test_a_check_is_answered_while_a_backlog_runs(service: Service) -> None:
    name = service.sent(MANY)
    waited(lambda: service.api("GET", f"/backlogs/{name}"), lambda item: item["rows"] > 0)
    for feet in range(5, 8):
        found = service.api("POST", "/check", "asker",
                            json={"section": "NPS 6 STD", "length": f"{feet} ft"})  # fmt: skip
        assert found["verdicts"]
    assert service.api("GET", f"/backlogs/{name}")["state"] == "running"
    service.api("DELETE", f"/backlogs/{name}")
