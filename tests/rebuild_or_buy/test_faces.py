"""The faces: words, plain text, plain data, panels and the offline page."""

from __future__ import annotations

import json
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import nbformat
import pytest
import reference_case as rc

from repairecon.rebuild_or_buy import as_json, captions, panels, summary
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.records import RepaireconError
from repairecon.show import report, words

HOSTILE = "<script>alert(1)</script> $x^2$ **b** =1+1"
JSON_KEYS = {
    "ways", "verdict", "near_tie", "assumed", "cautions", "thumb_rules", "tree", "seed", "draws",
}  # fmt: skip
WAY_KEYS = {"way", "cash", "total", "days", "own_hours", "p_cheapest", "expected_regret", "allowed"}


@pytest.fixture(scope="module")
def answer():
    return rebuild_or_buy(rc.case(), draws=3_000, seed=4)


@pytest.fixture(scope="module")
def hostile():
    base = rc.case()
    ways = (*base.ways[:2], replace(base.ways[2], way=HOSTILE), base.ways[3])
    unit = replace(base.unit, name=HOSTILE, cautions=(HOSTILE,))
    return rebuild_or_buy(rc.case(unit=unit, ways=ways), draws=500)


@pytest.mark.parametrize(
    ("amount", "se", "said"),
    [
        (1234.4, 0.0, "EUR 1,234"),
        (1234.4, 4.0, "EUR 1,230"),
        (1234.4, 40.0, "EUR 1,200"),
        (-7.6, 0.0, "EUR -8"),
    ],
)
def test_money_has_no_more_digits_than_its_error_supports(amount, se, said):
    assert words.money(amount, "EUR", se) == said


@pytest.mark.parametrize(
    ("p", "said"), [(0.0, "0 in 100"), (0.001, "under 1 in 100"), (0.374, "37 in 100"), (1.0, "100 in 100")]
)
def test_chances_are_so_many_in_100(p, said):
    assert words.chance_words(p) == said


def test_first_on_screen_is_money_and_days_then_the_bad_case(answer):
    text = summary.summary(answer)
    head = text.splitlines()[2]
    assert head.split() == ["way", "all", "in", "days", "out", "bad", "case", "bad", "case", "days", "cash", "own",
                            "hours", "own", "time", "free"]  # fmt: skip
    assert text.index("bad case") < text.index("Verdict") < text.index("in 100")
    assert max(map(len, text.splitlines())) <= 140


def test_json_has_the_agreed_keys_and_is_plain(answer):
    data = json.loads(json.dumps(as_json.as_json(answer), allow_nan=False))
    assert set(data) >= JSON_KEYS
    for way in data["ways"]:
        assert set(way) >= WAY_KEYS
        for quantity in ("cash", "total", "days", "own_hours"):
            assert set(way[quantity]) >= {"mean", "p10", "p50", "p90"}
    assert sum(w["p_cheapest"] for w in data["ways"]) == pytest.approx(1.0)
    assert set(data["tree"][0]) == {"chance", "outcomes", "expected_extra_cost", "ends_rebuild"}
    assert sum(leaf["chance"] for leaf in data["tree"]) == pytest.approx(1.0)
    assert isinstance(data["verdict"], str)
    assert isinstance(data["near_tie"], bool)


def test_never_says_its_chance_and_what_is_done(answer):
    text = " ".join(summary.summary(answer).split())
    assert "Second-hand: 30 times in 100 it never comes; then exchange, after the wait." in text
    way = next(w for w in as_json.as_json(answer)["ways"] if w["way"] == "second-hand")
    assert (way["p_never"], way["instead"]) == (0.3, "exchange")


def test_captions_say_what_to_do(answer):
    said = [f(answer) for f in (captions.ranges, captions.curves, captions.tree, captions.days)]
    assert all(any(verb in s for verb in ("take", "Keep", "Find", "Follow")) for s in said)


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.seen: set[str] = set()
        self.fetched: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.seen.add(tag)
        self.fetched += [v for k, v in attrs if k in ("src", "href") and v and not v.startswith(("data:", "#"))]


def test_text_from_files_is_escaped(hostile):
    pieces = [
        panels.heading(hostile),
        panels.verdict(hostile),
        panels.cautions(hostile),
        panels.flips(hostile),
    ]
    pages = [p._repr_html_() for p in pieces] + [summary.ways_table(hostile)._repr_html_()]
    for page in pages:
        tags = Tags()
        tags.feed(page)
        assert "script" not in tags.seen
    assert "&lt;script&gt;" in "".join(pages)


def test_unknown_notebook_parameter_is_refused():
    with pytest.raises(RepaireconError, match="drawz"):
        report.run_notebook("rebuild_or_buy", {"drawz": 3})


def test_parameter_names_are_pinned():
    """What other work passes to the notebook; a parameter that is not named is only warned of by the runner."""
    import papermill

    path = Path(__file__).parents[2] / "notebooks" / "rebuild_or_buy.ipynb"
    names = ["case_folder", "draws", "seed", "cost_own_hour", "horizon_years", "found", "stage"]
    assert list(papermill.inspect_notebook(str(path))) == names
    assert report.parameter_names(nbformat.read(path, as_version=4)) == names


def test_offline_page(tmp_path):
    folder = tmp_path / "case"
    folder.mkdir()
    (folder / "case.toml").write_text(
        f'[unit]\nname = """{HOSTILE}"""\n[three_numbers]\nprice_new = 500\nprice_kit = 90\nwait_days = 6\n'
    )
    path = tmp_path / "report.html"
    report.write_report("rebuild_or_buy", path, {"case_folder": str(folder), "draws": 500})
    page = path.read_text(encoding="utf-8")
    tags = Tags()
    tags.feed(page)
    assert "script" not in tags.seen
    assert tags.fetched == []
    assert "Verdict" in page
    assert page.count("data:image/png") == 6
    assert "read_case" not in page
    assert all(f'alt="{t}' in page for t in ("What each way costs", "The chance that it costs"))


def test_report_leaves_nothing_half_written(tmp_path):
    with pytest.raises(RepaireconError):
        report.write_report("rebuild_or_buy", tmp_path / "r.html", {"case_folder": str(tmp_path / "none")})
    with pytest.raises(RepaireconError, match="no folder"):
        report.write_report("rebuild_or_buy", tmp_path / "none" / "r.html", {"case_folder": "x"})
    assert list(tmp_path.iterdir()) == []
