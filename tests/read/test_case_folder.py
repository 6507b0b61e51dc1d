"""Good case folders, whatever the spreadsheet made of them."""

from __future__ import annotations

import csv
import io
import os
from pathlib import Path

import pytest
from case_makers import GOOD, THREE, as_csv, cell, cells, toml, write

from repairecon.read import read_case
from repairecon.records import CaseError

EVENTS, PARTS, WAYS, QUOTES = "events.csv", "parts.csv", "ways.csv", "quotes.csv"


def recoded(files: dict[str, str], change: str) -> dict[str, str | bytes]:
    """The CSV files as another program would have saved them."""
    out: dict[str, str | bytes] = {"case.toml": files["case.toml"]}
    for name, text in files.items():
        records = list(csv.reader(io.StringIO(text)))
        if change == "semicolons" or change == "tabs":
            lines = io.StringIO()
            csv.writer(lines, delimiter=";" if change == "semicolons" else "\t").writerows(records)
            text = lines.getvalue()
        elif change == "quoted":
            lines = io.StringIO()
            csv.writer(lines, quoting=csv.QUOTE_ALL, lineterminator="\r").writerows(records)
            text = lines.getvalue()
        elif change == "headings":
            head, rest = text.split("\n", 1)
            text = head.upper().replace("_", " ") + "\n" + rest
        elif change == "spaces":
            text = as_csv([[f"  {c}\u00a0" for c in r] for r in records])
        elif change == "control":
            text = "\x00" + text.replace(",", "\x00,\x07") + "\x1b[0m"
        if name != "case.toml":
            encoding = {"bom": "utf-8-sig", "utf-16": "utf-16"}.get(change, "utf-8")
            out[name] = text.replace("\n", "\r\n" if change == "crlf" else "\n").encode(encoding)
    return out


CHANGES = ("bom", "utf-16", "semicolons", "tabs", "quoted", "crlf", "headings", "spaces", "control")


@pytest.mark.parametrize("change", CHANGES)
def test_the_same_case_however_it_is_saved(tmp_path: Path, change: str) -> None:
    plain = read_case(write(tmp_path / "x", GOOD))
    files = recoded(dict(GOOD), change)
    assert files["parts.csv"] != GOOD["parts.csv"].encode()
    other = read_case(write(tmp_path / "y", files))
    for name in ("unit", "terms", "parts", "tasks", "branches", "ways", "suppliers", "quotes", "waivers", "assumed"):
        assert getattr(other, name) == getattr(plain, name), name


def test_names_are_found_whatever_their_case(tmp_path: Path) -> None:
    files = cells(
        (QUOTES, 2, "item", "Top  Seal"), (EVENTS, 9, "given", "NEGLECT=Heavy"), (EVENTS, 7, "parts", "BEARING; SHAFT")
    )
    case = read_case(write(tmp_path, files))
    assert case.quotes[0].item == "top seal"
    assert case.branches[7].given == (("neglect", "heavy"),)
    assert case.branches[5].parts == (("bearing", 1), ("shaft", 1))


def test_toml_may_have_a_mark_and_other_line_ends(tmp_path: Path) -> None:
    text = b"\xef\xbb\xbf" + GOOD["case.toml"].replace("\n", "\r\n").encode()
    assert read_case(write(tmp_path, {**GOOD, "case.toml": text})).unit.name == "anchor windlass"
    text = GOOD["case.toml"].encode("utf-16")
    assert read_case(write(tmp_path, {**GOOD, "case.toml": text})).unit.name == "anchor windlass"


def test_empty_rows_are_left_out_but_counted(tmp_path: Path) -> None:
    head, rest = GOOD[PARTS].split("\n", 1)
    case = read_case(write(tmp_path, {**GOOD, PARTS: f"\n{head}\n,,,\n\n{rest}\n  \n"}))
    assert [p.source.row for p in case.parts] == [5, 6, 7, 8]
    assert [str(p.source) for p in case.parts][:1] == ["parts.csv:5"]


def test_a_break_inside_a_cell_is_one_row(tmp_path: Path) -> None:
    case = read_case(write(tmp_path, cell(PARTS, 2, "description", "lip\nseal")))
    assert [p.source.row for p in case.parts] == [2, 3, 4, 5]


def test_what_stands_in_the_files(tmp_path: Path) -> None:
    """Figures of the good case by hand: 21 % tax on what is ex, nothing done to quotes."""
    case = read_case(write(tmp_path, GOOD))
    seal, circlip, bearing, shaft = case.parts
    assert (seal.price, seal.lead_days, seal.standard_size) == (None, None, "40x62x10")
    assert circlip.price is not None
    assert (circlip.price.low, circlip.price.likely, circlip.price.high) == (1, 1.5, 3)
    assert circlip.quantity == 2
    assert bearing.price is not None
    assert bearing.price.sure
    assert bearing.price.likely == pytest.approx(14.52)  # 12 x 1.21
    assert bearing.needed == "damage"
    assert str(shaft.source) == "parts.csv:5"
    assert case.terms.labour["yard"].cost_hour.likely == pytest.approx(72.60)  # 60 x 1.21
    assert (case.terms.exchange, case.terms.exchange_date) == ({"GBP": 1.17}, "2026-10-01")
    assert (case.terms.cost_own_hour, case.terms.cost_lost_day.high) == (18, 40)
    assert case.terms.order_parts == "after strip"
    away = case.way("send away")
    assert away.price is not None
    assert (away.price.low, away.price.high) == (pytest.approx(847.0), pytest.approx(1573.0))
    assert away.lead_days is not None
    assert case.way("new, maker").price is None  # quoted
    assert case.way("second-hand").instead == "new, maker"
    assert case.way("exchange").core_surcharge.likely == 300
    assert list(case.waivers.values()) == ["tested under load before it is paid"]
    quote = case.quotes[2]
    assert (quote.quoted.low, quote.quoted.high, quote.p_never) == (1500, 1700, 0.02)
    assert (quote.quoted_on, quote.part_class, str(quote.source)) == ("2026-09-16", "maker's part", "quotes.csv:4")
    abroad = case.supplier("specialist abroad")
    assert (abroad.currency, abroad.imported, abroad.duty_rate, abroad.vat_rate) == ("GBP", True, 0.03, 0.2)
    assert (abroad.vat_included, abroad.cost_handling, abroad.carriage.likely) == (False, 15, 20)
    assert case.supplier("bearing stockist").vat_rate == 0.21
    assert case.branches[5].parts == (("shaft", 1), ("bearing", 2))
    assert (case.branches[5].by, case.branches[7].ends_rebuild, case.branches[7].core_refused) == ("yard", True, True)
    assert case.tasks[3].ways == ("send away",)
    assert case.tasks[3].cost.likely == pytest.approx(48.40)  # 40 x 1.21
    assert case.unit.price_new is not None
    assert case.unit.price_new.likely == 2200  # three_numbers: the way of kind new is only quoted


def test_only_what_is_missing_is_assumed(tmp_path: Path) -> None:
    names = [a.name for a in read_case(write(tmp_path, GOOD)).assumed]
    assert not [n for n in names if n.startswith(("task", "chance", "price", "currency", "vat", "safety"))]
    assert {"hours_per_day", "hours_correlation", "give_up_days", "near_tie_share", "near_tie_chance"} <= set(names)


def test_a_price_of_new_serves_where_ways_have_none(tmp_path: Path) -> None:
    files = cell(QUOTES, 4, "item", "second-hand")
    case = read_case(write(tmp_path, files))
    new = case.way("new, maker")
    assert new.price is not None
    assert (new.price.low, new.price.likely, new.price.high) == (2000, 2200, 2600)


def test_a_quote_that_says_nothing_of_never_takes_it_from_its_way(tmp_path: Path) -> None:
    files = cells((QUOTES, 4, "p_never", ""), (WAYS, 5, "p_never", "0.07"))
    assert [q.p_never for q in read_case(write(tmp_path, files)).quotes] == [0, 0, 0.07]
    files = cells((QUOTES, 4, "p_never", ""), (WAYS, 5, "p_never", ""))
    case = read_case(write(tmp_path, files))
    assert case.quotes[2].p_never == case.way("new, maker").p_never > 0
    assert "p_never (new, maker)" in [a.name for a in case.assumed]


def test_a_part_may_begin_with_a_number(tmp_path: Path) -> None:
    files = cells((PARTS, 4, "part", "2 bearing"), (EVENTS, 7, "parts", "3 2 bearing; 2x shaft; 2 bearing"))
    case = read_case(write(tmp_path, files))
    assert case.branches[5].parts == (("2 bearing", 4), ("shaft", 2))


def test_near_sums_are_scaled_to_one(tmp_path: Path) -> None:
    case = read_case(write(tmp_path, cell(EVENTS, 2, "chance", "0.6000001")))
    a, b = (x.chance for x in case.branches[:2])
    assert a + b == 1.0
    assert a == pytest.approx(0.6, abs=1e-6)
    thirds = cells((EVENTS, 2, "chance", "0.3333333"), (EVENTS, 3, "chance", "0.3333333"))
    extra = "neglect,,middling,0.3333333,5,,,,,,,,,all\n"
    extra += "shaft,neglect=middling,sound,1,6,strip,,,,,,,,\ncasing,neglect=middling,whole,1,6,strip,,,,,,,,\n"
    case = read_case(write(tmp_path, {**thirds, EVENTS: thirds[EVENTS] + extra}))
    assert sum(x.chance for x in case.branches if x.event == "neglect") == 1.0
    with pytest.raises(CaseError):
        read_case(write(tmp_path, cell(EVENTS, 2, "chance", "0.600002")))


def test_text_that_a_browser_or_spreadsheet_obeys_stays_text(tmp_path: Path) -> None:
    wild = '<script>alert("x")</script>'
    files = cells((PARTS, 2, "description", wild), (PARTS, 3, "description", '=HYPERLINK("x")'))
    case = read_case(write(tmp_path, files))
    assert [p.description for p in case.parts[:2]] == [wild, '=HYPERLINK("x")']


def test_control_characters_go(tmp_path: Path) -> None:
    files = toml('name = "anchor windlass"', 'name = "wind\\u001b[31mlass\\u0007"\nsymptom = "a\\u202eb"')
    files = cell(PARTS, 2, "description", "\x1b[2Jlip\x9b31m \x08seal\u202e", files)
    case = read_case(write(tmp_path, files))
    assert (case.unit.name, case.unit.symptom) == ("windlass", "ab")
    assert case.parts[0].description.isprintable()


def test_links_are_followed(tmp_path: Path) -> None:
    write(tmp_path / "real", GOOD)
    (tmp_path / "case").mkdir()
    for name in GOOD:
        (tmp_path / "case" / name).symlink_to(tmp_path / "real" / name)
    (tmp_path / "link").symlink_to(tmp_path / "case", target_is_directory=True)
    assert len(read_case(tmp_path / "link").parts) == 4
    assert len(read_case(str(tmp_path / "link") + os.sep).parts) == 4


def test_files_may_be_left_out_or_hold_headings_alone(tmp_path: Path) -> None:
    """A file of headings is as good as none; rows marked as examples are left out."""
    bare = read_case(write(tmp_path / "a", {"case.toml": THREE}))
    files = {name: text.split("\n")[0] + "\n" for name, text in GOOD.items() if name.endswith(".csv")}
    heads = read_case(write(tmp_path / "b", {**files, "case.toml": THREE}))
    files[PARTS] += "Example: seal,,1,always,,4,,,,\n"
    examples = read_case(write(tmp_path / "c", {**files, "case.toml": THREE}))
    assert bare.parts == heads.parts == examples.parts
    assert bare.ways == heads.ways == examples.ways
    assert bare.assumed == heads.assumed == examples.assumed


def test_notes_are_kept(tmp_path: Path) -> None:
    assert read_case(write(tmp_path, cell("tasks.csv", 2, "note", "stiff"))).notes == {"tasks.csv:2": "stiff"}


def many(rows: int, price: str) -> dict[str, str]:
    parts = "".join(f"part {k},{price}\n" for k in range(rows))
    return {"case.toml": THREE, PARTS: "part,price_likely\n" + parts}


def test_ten_thousand_rows(tmp_path: Path) -> None:
    case = read_case(write(tmp_path, many(10_000, "1.5")))
    assert len(case.parts) == 10_000
    assert case.parts[-1].source.row == 10_001


def test_ten_thousand_wrong_rows_are_kept_and_can_still_be_read(tmp_path: Path) -> None:
    files = many(10_000, "cheap")
    files[QUOTES] = "item,supplier,quoted_likely\n" + "".join(f"prt {k},shop,1\n" for k in range(3000))
    files["suppliers.csv"] = "supplier\nshop\n"
    with pytest.raises(CaseError) as raised:
        read_case(write(tmp_path, files))
    rows = [f.row for f in raised.value.faults if f.file == PARTS]
    assert rows == list(range(2, 10_002))
    text = str(raised.value)
    assert len(text.splitlines()) < 20
    assert "the same in 9999 more: row 3-10001" in text


def test_a_cell_too_long_for_a_cell(tmp_path: Path) -> None:
    with pytest.raises(CaseError) as raised:
        read_case(write(tmp_path, cell(PARTS, 3, "description", "x" * 300_000)))
    (fault,) = raised.value.faults
    assert (fault.row, fault.column) == (3, "description")
    assert len(str(raised.value)) < 300
