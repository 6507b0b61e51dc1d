"""Case folders for the tests: a good one as text, and ways to spoil it. All figures are invented."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path

import pytest

from repairecon.read import read_case
from repairecon.records import CaseError, Fault

PARTS, TASKS, EVENTS, WAYS = "parts.csv", "tasks.csv", "events.csv", "ways.csv"
SUPPLIERS, QUOTES, LOOKS, CASE = "suppliers.csv", "quotes.csv", "looks.csv", "case.toml"
CARRIAGE = "carriage.csv"

GOOD: Mapping[str, str] = {
    "case.toml": """\
[unit]
name = "anchor windlass"
kind = "windlass"
safety = []
age_years = 12
expected_life_years = 20
figures = "invented"

[three_numbers]
price_new = [2000, 2200, 2600]
price_kit = 180
wait_days = [4, 8, 30]

[money]
currency = "EUR"
vat_rate = 0.21
exchange_date = 2026-10-01
[money.exchange]
GBP = 1.17

[owner]
cost_own_hour = 18
cost_lost_day = [0, 10, 40]
order_parts = "after strip"

[defaults]
tasks = "none"
events = "none"
looks = "none"
ways = "none"
remedies = "none"

[years]
horizon_years = 10
discount_rate = 0.05
cost_away = [0, 200, 900]
turned_every_years = 2

[customs]
as_of = 2026-07-01
duty_free_up_to = 150
flat_duty_rate = 0.025
flat_duty_up_to = 700
hand_allowance = 300

[order]
today = 2026-10-05
deadline_days = 21
most_parcels = 3
without = ["Specialist  abroad"]
old_after_days = 60

[labour.yard]
cost_hour = 60
vat = "ex"

[[waiver]]
way = "second-hand"
reason = "tested under load before it is paid"
""",
    "parts.csv": """\
part,description,quantity,needed,price_low,price_likely,price_high,vat,lead_days_likely,standard_size,material,fluid,makers_only
top seal,lip seal,1,always,,,,,,40x62x10,NBR,gear oil,no
circlip,for the shaft,2,always,1,1.5,3,in,2,,,,
bearing,open,2,damage,,12,,ex,3,6008,,gear oil,
shaft,main shaft,1,damage,150,210,330,in,12,,,,yes
""",
    "tasks.csv": """\
task,stage,by,hours_low,hours_likely,hours_high,cost_likely,vat,days_likely,ways
take off,removal,owner,1,2,6,,,,
hire of a puller,strip,owner,,,,30,in,,
skim the cover,measure,yard,0.5,1,2,,,3,rebuilds
crate it,removal,owner,,1,,40,ex,2,send away
""",
    "events.csv": """\
event,given,outcome,chance,weight,seen_at,parts,extra_hours_likely,by,outside_cost_likely,extra_days_likely,ends_rebuild,core_refused,ways
neglect,,light,0.6,5,,,,,,,,,all
neglect,,heavy,0.4,5,,,,,,,,,all
shaft,neglect=light,sound,0.9,6,strip,,,,,,,,
shaft,neglect=light,grooved,0.1,6,strip,shaft,1,owner,,,no,no,
shaft,neglect=heavy,sound,0.5,6,strip,,,,,,,,
shaft,neglect=heavy,grooved,0.5,6,strip,1 shaft; 2 bearing,1,yard,25,,no,no,
casing,neglect=heavy,whole,0.8,6,strip,,,,,,,,
casing,neglect=heavy,cracked,0.2,6,strip,,,,,,yes,yes,
casing,neglect=light,whole,1,6,strip,,,,,,,,
""",
    "ways.csv": """\
way,kind,price_low,price_likely,price_high,vat,lead_days_likely,p_never,instead,core_surcharge_likely,core_carriage_likely,p_refund,bought,life_years_low,life_years_likely,life_years_high,life_hours_likely,life_shape,wear_kept,p_early,warranty_months,old_unit,old_unit_price_likely
rebuild here,rebuild,,,,,,,,,,,,6,10,16,,1.8,0.2,,,,
send away,send away,700,900,1300,ex,20,0.03,"new, maker",,,,,,,,,,,,6,,
exchange,exchange,,800,,in,9,0.05,"new, maker",300,50,0.9,,,,,900,,,0.03,12,core,
"new, maker",new,,,,,,0,,,,,,,20,,1500,2.5,,,24,sold,80
second-hand,second-hand,300,450,700,in,10,0.3,"new, maker",,,,,,,,,,,,0,scrap,
buy and rebuild,buy and rebuild,,,,,,,,,,,"new, maker",,,,,,,,,spare,
""",
    "suppliers.csv": """\
supplier,role,currency,vat,vat_rate,carriage_likely,free_above,minimum_order,discount_rate,card_fee_rate,insurance_rate,delivery,imported,duty_rate,cost_handling,lead_days_likely
bearing stockist,trade counter,EUR,ex,,8,120,15,0.05,,,post,no,,,2
specialist abroad,rebuilder,GBP,ex,0.2,20,,,,0.02,0.01,by hand,yes,0.03,15,9
""",
    "quotes.csv": """\
item,supplier,designation,material,quoted_low,quoted_likely,quoted_high,pack,minimum_packs,breaks,quoted_core_likely,part_class,weight_kg,duty_rate,lead_days_likely,p_never,quoted_on,valid_until
top seal,bearing stockist,40x62x10,NBR,,6.90,,1,2,5 at 6.10; 10 at 5.40,,generic part,0.04,,,,2026-09-15,2026-12-31
top seal,specialist abroad,,,,21,,1,,,,maker's part,0.05,0.012,,,2026-09-16,
"new, maker",specialist abroad,,,1500,1580,1700,1,,,90,maker's part,24,,,0.02,2026-09-16,
""",
    "carriage.csv": """\
supplier,up_to_kg,quoted_low,quoted_likely,quoted_high
Bearing Stockist,2,,8,
bearing stockist,20,13,14,18
""",
    "looks.csv": """\
look,event,price_of,cost_low,cost_likely,cost_high,vat,hours_likely,days_likely,p_right
turn it by hand,shaft,,,,,,0.2,,0.8
drain the oil,neglect,,5,8,20,ex,0.5,1,
ask the stockist,,shaft,,,,,0.1,,
ask for a firm price,,second-hand,,,,,0.2,2,1
""",
}

THREE = """\
[unit]
name = "smoke shifter"
[three_numbers]
price_new = 640
price_kit = 95
wait_days = 6
"""


def write(folder: Path, files: Mapping[str, str | bytes]) -> Path:
    """The folder, made with these files in it."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return folder


def cell(file: str, row: int, column: str, value: str, files: Mapping[str, str] = GOOD) -> dict[str, str]:
    """The files with one cell changed; an unknown column is added at the end."""
    records = list(csv.reader(io.StringIO(files[file])))
    if column not in records[0]:
        records = [[*records[0], column]] + [[*r, ""] for r in records[1:]]
    records[row - 1][records[0].index(column)] = value
    return {**files, file: as_csv(records)}


def cells(*changes: tuple[str, int, str, str]) -> dict[str, str]:
    """The good files with several cells changed."""
    files = dict(GOOD)
    for file, row, column, value in changes:
        files = cell(file, row, column, value, files)
    return files


def as_csv(records: list[list[str]]) -> str:
    """Records as a file."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(records)
    return out.getvalue()


def toml(old: str, new: str, files: Mapping[str, str] = GOOD) -> dict[str, str]:
    """The files with a piece of case.toml exchanged."""
    assert old in files["case.toml"]
    return {**files, "case.toml": files["case.toml"].replace(old, new, 1)}


def line(text: str, piece: str) -> int:
    """The line, from 1, on which a piece stands."""
    return next(k for k, words in enumerate(text.split("\n"), 1) if piece in words)


def faults(folder: Path) -> tuple[Fault, ...]:
    """All faults of a folder that has some."""
    with pytest.raises(CaseError) as raised:
        read_case(folder)
    return raised.value.faults


def spots(found: tuple[Fault, ...]) -> list[tuple[str, int | None, str]]:
    """Where the faults are."""
    return [(f.file, f.row, f.column) for f in found]
