"""``cuttable lengths``, ``section-range`` and ``chart`` by their real process."""

import struct
import subprocess
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from browsers import running_browser

Run = Callable[..., "subprocess.CompletedProcess[str]"]
MODELS = Path(__file__).resolve().parents[3] / "catalogue" / "models"


def test_lengths_says_each_interval_and_what_decides(cuttable: Run) -> None:
    """One sentence and a table a machine; the longest in range first."""
    done = cuttable("lengths", "NPS 10 XS")
    assert done.returncode == 0, done.stderr
    assert (
        "alder-320: in range 800 mm to 8440 mm, allowed with conditions 8450 mm to 12500 mm."
        in (done.stdout)
    )
    assert done.stdout.index("larch-610:") < done.stdout.index("alder-320:")
    assert "Rotary inertia may come above rated (INER-03)" in done.stdout


def test_lengths_in_inches_and_as_json(cuttable: Run, cuttable_json: Callable[..., Any]) -> None:
    """Half-inch steps; the same intervals as data."""
    done = cuttable("lengths", "HSS 6x4x1/4", "--machine", "medlar-300", "--units", "us")
    assert "29'-6 1/2\"" in done.stdout
    content = cuttable_json("lengths", "HSS 6x4x1/4", "--machine", "medlar-300", "--units", "us")
    assert content["step"] == 12.7
    intervals = content["machines"][0]["intervals"]
    assert [item["verdict"] for item in intervals] == [
        "refused", "in-range", "oversize-allowed-with-conditions",
    ]  # fmt: skip


def test_nothing_at_any_length_ends_with_1(cuttable: Run) -> None:
    """As a refusal of ``check`` does."""
    done = cuttable("lengths", "NPS 24 STD", "--machine", "rowan-150")
    assert done.returncode == 1
    assert "refused at every length" in done.stdout


def test_section_range_joins_neighbours(cuttable: Run, cuttable_json: Callable[..., Any]) -> None:
    """A line a size, runs of schedules, sizes that are alike as one."""
    done = cuttable("section-range", "--machine", "rowan-150", "--length", "20 ft")
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert any(line.startswith("NPS 4 ") and "SCH 5 to STD" in line for line in lines)
    assert any(line.startswith("NPS 10 to NPS 48") for line in lines)
    content = cuttable_json("section-range", "--machine", "rowan-150", "--length", "20 ft")
    assert len(content["sections"]) > 200
    assert {item["verdict"] for item in content["sections"]} >= {"in-range", "refused"}


def png_size(path: Path) -> tuple[int, int]:
    head = path.read_bytes()[:24]
    assert head.startswith(b"\x89PNG")
    return struct.unpack(">II", head[16:24])


@pytest.mark.parametrize("machine", ["rowan-150", "medlar-300", "alder-320", "larch-610"])
def test_chart_as_svg_has_every_size_and_what_decides(
    cuttable: Run, tmp_path: Path, machine: str
) -> None:
    """Text is text, so that it can be searched; each verdict shown has its word."""
    out = tmp_path / "c.svg"
    done = cuttable("chart", "--machine", machine, "--out", str(out))
    assert done.returncode == 0, done.stderr
    texts = [item.text or "" for item in ET.parse(out).iter() if item.text]  # noqa: S314 - our own file
    for words in (
        "in range",
        "refused",
        "stock length, m",
        "stock shorter than the machine can hold",
    ):
        assert words in texts
    assert sum(text.startswith("NPS ") for text in texts) >= 8
    again = tmp_path / "again.svg"
    cuttable("chart", "--machine", machine, "--out", str(again))
    assert again.read_bytes() == out.read_bytes()


def test_two_charts_stand_side_by_side_on_one_scale(cuttable: Run, tmp_path: Path) -> None:
    """A model against another revision of it, from a file."""
    changed = tmp_path / "next.toml"
    text = (MODELS / "alder-320.toml").read_text()
    changed.write_text(text.replace("revision = 1", "revision = 2"))
    one, two = tmp_path / "one.png", tmp_path / "two.png"
    assert cuttable("chart", "--machine", "alder-320", "--out", str(one)).returncode == 0
    done = cuttable("chart", "--machine", "alder-320", "--against", str(changed), "--out", str(two))
    assert done.returncode == 0, done.stderr
    assert png_size(two)[0] > 1.6 * png_size(one)[0]


def test_the_page_tells_what_is_pointed_at(cuttable: Run, tmp_path: Path) -> None:
    """In a real browser: hover, and Tab, tell section, length, verdict and what decides."""
    out = tmp_path / "c.html"
    done = cuttable("chart", "--machine", "rowan-150", "--units", "us", "--out", str(out))
    assert done.returncode == 0, done.stderr
    with running_browser() as browser:
        page = browser.new_page(viewport={"width": 390, "height": 800})
        trouble: list[str] = []
        page.on("console", lambda message: trouble.append(message.text))
        page.on(
            "request", lambda asked: trouble.append(asked.url) if asked.url[:5] != "file:" else 0
        )
        page.goto(out.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        field = page.locator("rect[data-t*='in range']").first
        field.hover()
        told = page.inner_text("#told")
        assert "NPS" in told
        assert "in range; fullest limit" in told
        page.keyboard.press("Tab")
        assert page.inner_text("#told") != told
        assert not trouble


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["chart", "--machine", "birch"], "machine-unknown"),
        (["chart", "--machine", "rowan-150", "--out", "{dir}/c.gif"], "choice-unknown"),
        (["chart", "--machine", "rowan-150", "--out", "{dir}/no/c.svg"], "output-unwritable"),
        (["chart", "--machine", "rowan-150", "--wall", "SCH 41"], "section-unknown"),
        (["lengths", "NPS 4 SCH 41"], "section-unknown"),
        (["lengths", "4 in pipe"], "which-wall"),
        (["lengths", "NPS 4 SCH 40", "--coating", "gold"], "choice-unknown"),
        (["section-range", "--machine", "rowan-150", "--length", "6"], "length-unit"),
        (["section-range", "--machine", "birch", "--length", "6 m"], "machine-unknown"),
    ],
)
def test_what_cannot_be_done_is_told(
    cuttable: Run, tmp_path: Path, words: list[str], code: str
) -> None:
    """A code and no file."""
    done = cuttable(*(word.format(dir=tmp_path) for word in words), cwd=tmp_path)
    assert done.returncode == 2
    assert f"[{code}]" in done.stderr
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())
