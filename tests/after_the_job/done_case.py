"""A small case whose estimate and bridge can be worked out by hand."""

from __future__ import annotations

from pathlib import Path

CASE = """
[unit]
name = "bilge pump"
kind = "bilge pump"
safety = []
figures = "invented"
[defaults]
tasks = "none"
events = "none"
ways = "none"
looks = "none"
remedies = "none"
[three_numbers]
price_new = 400
price_kit = 1
wait_days = 4
[money]
currency = "EUR"
vat_rate = 0.20
[owner]
cost_own_hour = 10
cost_lost_day = 5
hours_per_day = 5
hours_correlation = 0
order_parts = "after strip"
near_tie_share = 0.05
[labour.yard]
cost_hour = 50
vat = "in"
"""
PARTS = """part,quantity,needed,price_likely,lead_days_likely
seal,2,always,30,4
shaft,1,damage,80,4
"""
TASKS = """task,stage,by,hours_likely,cost_likely
take it off,removal,owner,2,
open it,strip,owner,1,
skim the seat,measure,yard,1,10
put together,reassembly,owner,2,15
"""
EVENTS = """event,given,outcome,chance,weight,seen_at,parts,extra_hours_likely,outside_cost_likely,ways
shaft,,good,0.75,4,strip,,,,
shaft,,grooved,0.25,4,strip,shaft,2,20,
rework,shaft=good,none,0.9,10,first run,,,,
rework,shaft=good,again,0.1,10,first run,,3,,
rework,,none,0.8,10,first run,,,,
rework,,again,0.2,10,first run,,3,,
"""
WAYS = """way,kind,price_likely,lead_days_likely,p_never
rebuild here,rebuild,,,
new,new,400,3,0
"""
# what was expected of the rebuild, by hand:
# cash: seals 2 x 30, shaft 0.25 x 80, yard 50 + 10, consumables 15, outside 0.25 x 20
CASH = 60 + 20 + 60 + 15 + 5
# own hours: 2 + 1 + 2, shaft 0.25 x 2, rework 3 x (0.75 x 0.1 + 0.25 x 0.2)
HOURS = 5 + 0.5 + 3 * 0.125
# days: wait 4, inside which the yard's hour runs, and own hours at 5 a day
DAYS = 4 + HOURS / 5
ACTUAL = """kind,name,outcome,quantity,paid,hours,days,by,note
way,rebuild here,,,,,9,,
found,shaft,grooved,,,,,,
found,rework,none,,,,,,
part,seal,,3,105,,,,
part,shaft,,1,95,,6,,
task,take it off,,,,3,,,
task,skim the seat,,,75,,,,
task,put together,,,,1.5,,,
damage,shaft=grooved,,,20,2.5,,,
other,new hose,,,12,0.5,,,
carriage,all,,,8,,,,
"""


def write_case(folder: Path, actual: str = "") -> Path:
    """The case as a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    files = {"case.toml": CASE, "parts.csv": PARTS, "tasks.csv": TASKS, "events.csv": EVENTS, "ways.csv": WAYS}
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    if actual:
        (folder / "actual.csv").write_text(actual, encoding="utf-8")
    return folder
