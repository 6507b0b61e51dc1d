"""One wrong cell or value is one fault: where, what was found, what to write instead."""

from __future__ import annotations

from pathlib import Path

import pytest
from case_makers import (
    CASE,
    EVENTS,
    PARTS,
    QUOTES,
    SUPPLIERS,
    TASKS,
    WAYS,
    cell,
    faults,
    line,
    spots,
    toml,
    write,
)

# file, row, column, what is written there, what the fault says was found, what it says to write
ONE_CELL = [
    (PARTS, 3, "price_likely", "cheap", "'cheap'", "write a number such as 12.50"),
    (PARTS, 3, "price_likely", "2,50", "'2,50'", "write 2.50, with a point"),
    (PARTS, 3, "price_high", "1,250.00", "'1,250.00'", "write 1250.00"),
    (PARTS, 3, "price_high", "1.250,50", "'1.250,50'", "write 1250.50"),
    (PARTS, 3, "price_high", "1 250", "'1 250'", "write 1250,"),
    (PARTS, 3, "price_high", "1,250", "'1,250'", "write 1250 or 1.250, whichever is meant"),
    (PARTS, 3, "price_high", "€ 12.50", "'€ 12.50'", "write 12.50 and nothing else"),
    (PARTS, 3, "price_likely", "nan", "'nan'", "write a number"),
    (PARTS, 3, "price_likely", "inf", "'inf'", "write a number"),
    (PARTS, 3, "price_high", "1e999", "'1e999'", "write a number"),
    (PARTS, 3, "price_high", "1e15", "'1e15'", "at most"),
    (PARTS, 3, "price_low", "-1", "'-1'", "not less than 0"),
    (PARTS, 3, "price_low", "9", "low 9, likely 1.5, high 3", "low <= likely <= high"),
    (PARTS, 3, "price_high", "1.2", "low 1, likely 1.5, high 1.2", "low <= likely <= high"),
    (PARTS, 3, "price_low", "", "nothing", "low, likely and high, or likely alone"),
    (PARTS, 3, "price_likely", "", "nothing", "low, likely and high, or likely alone"),
    (PARTS, 3, "price_shape", "normal", "'normal'", "pert, triangular, lognormal, uniform"),
    (PARTS, 3, "quantity", "0", "'0'", "not less than 1"),
    (PARTS, 3, "quantity", "1.5", "'1.5'", "whole number"),
    (PARTS, 3, "needed", "alwys", "'alwys'", "did you mean 'always'?"),
    (PARTS, 3, "vat", "incl", "'incl'", "'in'"),
    (PARTS, 3, "lead_days_likely", "-2", "'-2'", "not less than 0"),
    (TASKS, 2, "stage", "removl", "'removl'", "did you mean 'removal'?"),
    (TASKS, 2, "stage", "", "nothing", "outside, removal, strip"),
    (TASKS, 2, "task", "", "nothing", "name the task"),
    (TASKS, 2, "hours_likely", "-2", "'-2'", "not less than 0"),
    (TASKS, 2, "hours_likely", "two", "'two'", "write a number"),
    (TASKS, 2, "by", "electrician", "'electrician'", '[labour."electrician"]'),
    (TASKS, 2, "by", "yrad", "'yrad'", "did you mean 'yard'?"),
    (TASKS, 5, "ways", "send awy", "'send awy'", "did you mean 'send away'?"),
    (TASKS, 5, "ways", "send away; zzz", "'zzz'", "write one of"),
    (EVENTS, 2, "chance", "1.2", "'1.2'", "from 0 to 1"),
    (EVENTS, 2, "chance", "60", "'60'", "give 0.60 for 60 %"),
    (EVENTS, 2, "chance", "60 %", "'60 %'", "give 0.60 for 60 %"),
    (EVENTS, 2, "chance", "-0.1", "'-0.1'", "from 0 to 1"),
    (EVENTS, 2, "chance", "", "nothing", "from 0 to 1"),
    (EVENTS, 2, "chance", "0.5", "chances of 'neglect' that sum to 0.9 (rows 2, 3)", "sum to 1"),
    (EVENTS, 4, "chance", "0.99", "'shaft' given 'neglect=light' that sum to 1.09 (rows 4, 5)", "sum to 1"),
    (EVENTS, 2, "weight", "-1", "'-1'", "not less than 0"),
    (EVENTS, 5, "seen_at", "stripp", "'stripp'", "did you mean 'strip'?"),
    (EVENTS, 5, "parts", "shft", "an unknown part 'shft'", "did you mean 'shaft'?"),
    (EVENTS, 5, "parts", "0 shaft", "'0 shaft'", "1 or more"),
    (EVENTS, 5, "by", "nobody", "'nobody'", "write owner"),
    (EVENTS, 5, "ends_rebuild", "perhaps", "'perhaps'", "yes or no"),
    (EVENTS, 2, "extra_hours_likely", "3", "a consequence of 'neglect=light'", "write in seen_at"),
    (EVENTS, 2, "parts", "shaft", "a consequence of 'neglect=light'", "write in seen_at"),
    (EVENTS, 2, "ends_rebuild", "yes", "a consequence of 'neglect=light'", "write in seen_at"),
    (WAYS, 2, "kind", "rebuilt", "'rebuilt'", "did you mean 'rebuild'?"),
    (WAYS, 2, "kind", "", "nothing", "rebuild, send away"),
    (WAYS, 3, "price_likely", "dear", "'dear'", "write a number"),
    (WAYS, 4, "price_likely", "", "nothing", "write a price, or a row for 'exchange' in quotes.csv"),
    (WAYS, 2, "price_likely", "500", "a price on a way of kind rebuild", "leave it blank"),
    (WAYS, 7, "price_likely", "500", "a price on a way of kind buy and rebuild", "'bought'"),
    (WAYS, 2, "p_never", "0.1", "'0.1'", "events.csv"),
    (WAYS, 6, "p_never", "30", "'30'", "give 0.30 for 30 %"),
    (WAYS, 6, "instead", "nwe, maker", "'nwe, maker'", "did you mean 'new, maker'?"),
    (WAYS, 6, "instead", "second-hand", "'second-hand'", "another way"),
    (WAYS, 6, "instead", "rebuild here", "'rebuild here'", "a way of kind exchange, new"),
    (WAYS, 7, "bought", "exchange", "'exchange'", "an exchange takes it"),
    (WAYS, 7, "bought", "send away", "'send away'", "new, pattern or second-hand"),
    (WAYS, 3, "bought", "exchange", "'exchange'", "leave it blank"),
    (WAYS, 4, "p_refund", "90", "'90'", "give 0.90 for 90 %"),
    (WAYS, 4, "old_unit", "corr", "'corr'", "did you mean 'core'?"),
    (SUPPLIERS, 2, "currency", "USD", "'USD'", "[money.exchange]"),
    (SUPPLIERS, 3, "vat_rate", "20", "'20'", "give 0.20 for 20 %"),
    (SUPPLIERS, 3, "duty_rate", "3", "'3'", "give 0.03 for 3 %"),
    (SUPPLIERS, 3, "imported", "maybe", "'maybe'", "yes or no"),
    (SUPPLIERS, 3, "cost_handling", "-15", "'-15'", "not less than 0"),
    (QUOTES, 3, "item", "top sael", "'top sael'", "did you mean 'top seal'?"),
    (QUOTES, 3, "supplier", "bearing stockst", "'bearing stockst'", "did you mean 'bearing stockist'?"),
    (QUOTES, 3, "supplier", "", "nothing", "name the supplier"),
    (QUOTES, 3, "item", "", "nothing", "name the part or the way"),
    (QUOTES, 3, "quoted_likely", "", "nothing", "as quoted"),
    (QUOTES, 3, "pack", "0", "'0'", "not less than 1"),
    (QUOTES, 3, "part_class", "copy", "'copy'", "pattern part"),
    (QUOTES, 3, "p_never", "0.1", "'0.1'", "'part no longer available' row in events.csv"),
    (QUOTES, 3, "quoted_on", "15/09/2026", "'15/09/2026'", "2026-03-31"),
    (QUOTES, 3, "quoted_on", "2026-02-30", "'2026-02-30'", "2026-03-31"),
]


@pytest.mark.parametrize(
    ("file", "row", "column", "value", "found", "advice"),
    ONE_CELL,
    ids=[f"{c[0]}:{c[2]}={c[3]}" for c in ONE_CELL],
)
def test_one_wrong_cell_is_one_fault(
    tmp_path: Path, file: str, row: int, column: str, value: str, found: str, advice: str
) -> None:
    """Nothing follows from it that is no fault."""
    seen = faults(write(tmp_path, cell(file, row, column, value)))
    assert spots(seen) == [(file, row, column)], seen
    assert found in seen[0].found
    assert advice in seen[0].write


# a piece of case.toml, what stands there instead, where the fault is, what it found and says
IN_TOML = [
    ("vat_rate = 0.21", "vat_rate = 21", "vat_rate", "money.vat_rate", "21", "give 0.21 for 21 %"),
    ("vat_rate = 0.21", 'vat_rate = "0,21"', "vat_rate", "money.vat_rate", "'0,21'", "write 0.21"),
    ("vat_rate = 0.21", 'vat_rate = "0.21"', "vat_rate", "money.vat_rate", "'0.21'", "without quote marks"),
    ("vat_rate = 0.21", "vat_rate = true", "vat_rate", "money.vat_rate", "'True'", "write a number"),
    ("vat_rate = 0.21", "vat_rate = nan", "vat_rate", "money.vat_rate", "'nan'", "write a number"),
    ("vat_rate", "vat_rat", "vat_rat ", "money.vat_rat", "'vat_rat'", "did you mean 'vat_rate'?"),
    ("GBP = 1.17", "GBP = 0", "GBP", "money.exchange.GBP", "0", "more than 0"),
    ("GBP = 1.17", "GBP = 1.17\nEUR = 2", "EUR = 2", "money.exchange.EUR", "2", "home currency"),
    ("GBP = 1.17", "GBP = 1.17\nPounds = 2", "Pounds", "money.exchange.Pounds", "'Pounds'", "three-letter"),
    ('currency = "EUR"', 'currency = "Euro"', "currency", "money.currency", "'Euro'", "three-letter"),
    (
        "exchange_date = 2026-10-01",
        'exchange_date = "soon"',
        "exchange_date",
        "money.exchange_date",
        "'soon'",
        "2026",
    ),
    (
        "cost_own_hour = 18",
        "cost_own_hour = -1",
        "cost_own_hour",
        "owner.cost_own_hour",
        "-1",
        "not less than 0",
    ),
    ("cost_own_hour = 18", "hours_per_day = 0", "hours_per_day", "owner.hours_per_day", "0", "more than 0"),
    (
        "cost_own_hour = 18",
        "hours_correlation = 50",
        "hours_corr",
        "owner.hours_correlation",
        "50",
        "give 0.50",
    ),
    (
        '"after strip"',
        '"after stripp"',
        "order_parts",
        "owner.order_parts",
        "'after stripp'",
        "'after strip'?",
    ),
    ("[0, 10, 40]", "[0, 40]", "cost_lost_day", "owner.cost_lost_day", "'[0, 40]'", "[low, likely, high]"),
    ("[0, 10, 40]", "[9, 1, 40]", "cost_lost_day", "owner.cost_lost_day", "low 9, likely 1", "low <= likely"),
    (
        "[0, 10, 40]",
        "{low = 1, high = 3}",
        "cost_lost_day",
        "owner.cost_lost_day",
        "no likely",
        "likely alone",
    ),
    ("[0, 10, 40]", "{likly = 3}", "cost_lost_day", "owner.cost_lost_day", "'likly'", "'likely'?"),
    (
        "price_kit = 180",
        "price_kit = -180",
        "price_kit",
        "three_numbers.price_kit",
        "-180",
        "not less than 0",
    ),
    ("[owner]", "[ownr]", "[ownr]", "ownr", "'ownr'", "did you mean 'owner'?"),
    ('name = "anchor windlass"', "", "[unit]", "unit.name", "nothing", "name the unit"),
    ("safety = []", 'safety = ["floods"]', "safety", "unit.safety", "'floods'", "'flooding'?"),
    ("safety = []", "safety = 1", "safety", "unit.safety", "'1'", "steering, flooding"),
    ('kind = "windlass"\nsafety = []', 'kind = "windlas"', "kind", "unit.kind", "'windlas'", "'windlass'?"),
    ('name = "anchor windlass"', 'nam = "anchor windlass"', "nam =", "unit.nam", "'nam'", "did you mean 'name'?"),
    ("age_years = 12", "age_years = -12", "age_years", "unit.age_years", "-12", "not less than 0"),
    ("cost_hour = 60", "", "[labour.yard]", "labour.yard.cost_hour", "nothing", "what an hour costs"),
    ('vat = "ex"', 'vat = "out"', 'vat = "out"', "labour.yard.vat", "'out'", "write one of: 'in', 'ex'"),
    (
        "[labour.yard]",
        "[labour.owner]\ncost_hour = 1\n[labour.yard]",
        "[labour.owner]",
        "labour.owner",
        "",
        "[owner]",
    ),
    ('way = "second-hand"', 'way = "2nd-hand"', "way =", "waiver.way", "'2nd-hand'", "'second-hand'?"),
    ("reason = ", "# ", "[[waiver]]", "waiver.reason", "nothing", "say why"),
]


@pytest.mark.parametrize(
    ("old", "new", "piece", "column", "found", "advice"), IN_TOML, ids=[f"{c[3]}={c[1]!r}" for c in IN_TOML]
)
def test_one_wrong_value_in_case_toml(
    tmp_path: Path, old: str, new: str, piece: str, column: str, found: str, advice: str
) -> None:
    files = toml(old, new)
    seen = faults(write(tmp_path, files))
    assert spots(seen) == [(CASE, line(files[CASE], piece), column)], seen
    assert found in seen[0].found
    assert advice in seen[0].write
