"""Nothing of one machine or one network in the tree, and the demo cases hold real standard sizes only."""

from __future__ import annotations

import csv
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
# pieces are put together so that this file does not hold what it looks for
FIRST = ("ho" + r"me/\w", "Us" + r"ers/\w", "ro" + "ot/", "wo" + "rk/", "tm" + r"p/\w", "priv" + "ate/")
FORBIDDEN = {
    "a package registry": re.compile("ind" + r"ex[-_]url|py" + r"pi\.|python" + r"hosted|registry\.\w", re.I),
    "a private network": re.compile(r"https?://[\w.-]*(artifact" + r"ory|nexus|dev" + "pi|mirror)", re.I),
    "a path of one machine": re.compile(rf"(?<![\w.)\]}}/~:<])/({'|'.join(FIRST)})|[A-Z]:\\\\?Users"),
    "a ticket": re.compile(r"\b[Ii]ss" + r"ues? #?\d"),
    "a folder outside the tree": re.compile(r"\.\./" + "shared"),
}
SKIP = {".png", ".jpg", ".xlsx", ".db"}


def tracked() -> Iterator[Path]:
    """Files git knows or would take; without git the test has nothing to say."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    try:
        listed = subprocess.run(command, cwd=ROOT, capture_output=True, check=True).stdout
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git checkout")
    paths = [ROOT / name for name in listed.decode().split("\0") if name]
    return (p for p in paths if p.is_file() and p.suffix not in SKIP)


def breaches(text: str) -> list[str]:
    """What a text holds that it must not, with its line."""
    return [
        f"line {k}: {what}: {line.strip()[:80]}"
        for k, line in enumerate(text.splitlines(), 1)
        for what, pattern in FORBIDDEN.items()
        if pattern.search(line)
    ]


def test_no_file_holds_what_is_outside() -> None:
    paths = list(tracked())
    assert len(paths) > 20
    found = [f"{p.relative_to(ROOT)} {b}" for p in paths for b in breaches(p.read_text("utf-8", "replace"))]
    assert not found, "\n" + "\n".join(found)


@pytest.mark.parametrize(
    "line",
    [
        "pip install --ind" + "ex-url https://somewhere.example/simple x",
        "https://py" + "pi.org/simple",
        "https://files.python" + "hosted.org/x.whl",
        "https://artifact" + "ory.example/x",
        "open('/ho" + "me/jan/boat/case.toml')",
        'path = "/tm' + 'p/case"',
        "cd /wo" + "rk/x",
        "as in iss" + "ue 12",
        "see ../" + "shared/x.md",
    ],
)
def test_a_breach_is_seen(line: str) -> None:
    assert breaches(line), line


def test_what_is_allowed_passes() -> None:
    lines = [
        "http://127.0.0.1:8888/api",
        "price/work/day",
        "#!/usr/bin/env bash",
        "data/windlass",
        "/dev/null",
    ]
    assert [line for line in lines if breaches(line)] == []


def test_ci_runs_the_command_of_the_readme() -> None:
    script = (ROOT / ".ci" / "run").read_text()
    command = next(line.strip() for line in script.splitlines() if "--dist loadfile" in line)
    assert command in (ROOT / "README.md").read_text("utf-8")


# d x D x B [mm] of deep groove ball bearings, ISO 15 boundary dimensions (series 60, 62, 63) as printed
# in general bearing catalogues
BEARINGS = {"6008": (40, 68, 15), "6304": (20, 52, 15), "6303": (17, 47, 14), "6202": (15, 35, 11)}
# d x D x b [mm] listed for rotary shaft lip seals (ISO 6194-1 / DIN 3760 form) in a trade size list
SEALS = {"40x62x10", "40x60x10", "20x35x7"}
# inside diameter x section [mm], ISO 3601-1 general series (GB/T 3452.1 series G)
O_RINGS = {"100x3.55", "42.5x2.65"}
# nominal shaft diameters, DIN 471
CIRCLIPS = {"DIN 471 40"}


@pytest.mark.parametrize("case", ["windlass", "alternator"])
def test_demo_sizes_are_standard_ones_and_fit_each_other(case: str) -> None:
    with (ROOT / "data" / case / "parts.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["standard_size"]]
    assert rows
    for row in rows:
        size, words = row["standard_size"], row["description"]
        if "bearing" in words:
            assert re.split(r"[- ]", size)[0] in BEARINGS, row
        elif "seal" in words:
            assert size in SEALS, row
        else:
            assert size in O_RINGS | CIRCLIPS, row
    if case == "windlass":
        sizes = {row["part"]: row["standard_size"] for row in rows}
        main = BEARINGS[sizes["main bearing"]][0]
        assert {int(sizes[p].split("x")[0]) for p in ("top seal", "bottom seal")} == {main}
        assert sizes["circlip"].endswith(f" {main}")
        assert int(sizes["motor seal"].split("x")[0]) == BEARINGS[sizes["worm bearing"]][0]


# what stands before the marks of a bearing, the sizes of seals and O-rings as above; circlips DIN 471 and DIN 472 and
# the key section for 12 to 17 mm shafts of DIN 6885-1 from trade tables; V-belt numbers of DIN 2215 (inside inches)
SERVICE_BEARINGS = {"6201": (12, 32), "6202": (15, 35), "6203": (17, 40), "6303": (17, 47)}
SERVICE_SIZES = {
    *("15x26x7", "15x30x7", "17x30x7", "28x40x7"),
    *("60x3.55", "90x3.55", "56x3.55", "42.5x2.65"),
    *("DIN 471 15", "DIN 472 35", "DIN 472 40", "DIN 6885 A 5x5x16"),
    *("A 38", "A 39", "Z 40"),
}


def test_sizes_of_the_engine_service_are_standard_ones_and_fit_each_other() -> None:
    folder = ROOT / "data" / "engine_service"
    sizes = {}
    for file, column in (("parts.csv", "standard_size"), ("quotes.csv", "designation")):
        with (folder / file).open(encoding="utf-8", newline="") as opened:
            for row in csv.DictReader(opened):
                size = row[column]
                assert not size or size in SERVICE_SIZES or re.split(r"[- ]", size)[0] in SERVICE_BEARINGS, row
                sizes.setdefault(row.get("part", row.get("item")), size)
    bore, outside = SERVICE_BEARINGS[sizes["pump front bearing"][:4]]
    assert sizes["pump circlip, shaft"] == f"DIN 471 {bore}"
    assert sizes["pump circlip, bore"] == f"DIN 472 {outside}"
    for seal in ("pump lip seal, water side", "pump lip seal, bearing side"):
        assert sizes[seal].startswith(f"{bore}x")
    bore, outside = SERVICE_BEARINGS[sizes["circulating pump bearing"]]
    assert sizes["circulating pump circlip"] == f"DIN 472 {outside}"
    assert sizes["circulating pump lip seal"].startswith(f"{bore}x")


@pytest.mark.parametrize("case", ["windlass", "alternator", "starter", "engine_service"])
def test_demo_figures_are_said_to_be_invented(case: str) -> None:
    assert 'figures = "invented"' in (ROOT / "data" / case / "case.toml").read_text("utf-8")
