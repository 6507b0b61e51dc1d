"""A case whose parts are quoted with weight bands, breaks, packs, a core, free carriage, limits and a border.

Scenario and figures are invented; sizes are standard ones.
"""

from __future__ import annotations

from pathlib import Path

CASE = """
[unit]
name = "deck smoke shifter"
kind = "deck smoke shifter"
safety = []
figures = "invented"
[defaults]
events = "none"
ways = "none"
looks = "none"
remedies = "none"
[three_numbers]
price_new = [360, 395, 450]
price_kit = 80
wait_days = 6
[money]
currency = "EUR"
vat_rate = 0.21
exchange_date = 2026-04-01
[money.exchange]
GBP = 1.16
[owner]
cost_own_hour = 15
cost_lost_day = 9
hours_per_day = 4
order_parts = "after strip"
[customs]
duty_free_up_to = 150
[labour."machine shop"]
cost_hour = 55
vat = "ex"
"""
PARTS = """part,quantity,needed,price_low,price_likely,price_high,lead_days_likely,standard_size,material
shaft seal,2,always,,,,,20x35x7,NBR
front bearing,1,always,,,,,6203-2RS,
cover o-ring,3,always,,,,,56x3.55,NBR
valve set,1,always,,,,,,
shaft,1,damage,55,70,110,5,,
rotor,1,damage,,,,,,
circlip,2,always,,,,,DIN 471 17,
"""
SUPPLIERS = """supplier,role,currency,vat,vat_rate,carriage_likely,free_above,minimum_order,discount_rate,\
card_fee_rate,insurance_rate,imported,duty_rate,cost_handling,lead_days_likely
stockist,stockist of bearings and seals,EUR,ex,,,60,15,,,,no,,,2
pump house,dealer for the maker,EUR,in,,9.5,150,,0.05,,,no,,,6
abroad,specialist abroad,GBP,ex,0.2,,,20,,0.015,0.01,yes,0.03,12,9
"""
CARRIAGE = """supplier,up_to_kg,quoted_likely
stockist,1,6
stockist,5,9
abroad,1,12
abroad,3,19
"""
QUOTES = """item,supplier,designation,material,quoted_low,quoted_likely,quoted_high,pack,minimum_packs,breaks,\
quoted_core_likely,part_class,weight_kg,quoted_on
shaft seal,stockist,20x35x7,NBR,,3.4,,1,,10 at 2.7,,generic part,0.02,2026-03-20
shaft seal,pump house,,,,19,,1,,,,maker's part,0.02,2026-03-21
shaft seal,abroad,20x35x7,NBR,,8,,1,,,,original-supplier part,0.02,2026-03-21
front bearing,stockist,6203-2RS,,,6.1,,1,,5 at 5.4,,generic part,0.07,2026-03-20
cover o-ring,stockist,56x3.55,NBR,,5.5,,10,,,,generic part,0.01,2026-03-20
cover o-ring,pump house,,,,4.5,,1,,,,maker's part,0.01,2026-03-21
valve set,pump house,,,52,58,66,1,,,,maker's part,0.3,2026-03-21
valve set,abroad,,,28,31,38,1,,,,maker's part,0.3,2026-03-21
rotor,pump house,,,120,135,170,1,,,40,maker's part,0.9,2026-03-21
rotor,abroad,,,70,78,95,1,,,,maker's part,0.9,2026-03-21
circlip,stockist,DIN 471 17,,,2.2,,10,,,,generic part,0.002,2026-03-20
"""
EVENTS = """event,given,outcome,chance,weight,seen_at,parts,extra_hours_likely,outside_cost_likely,ends_rebuild
shaft,,good,0.7,4,measure,,,,
shaft,,grooved,0.3,4,measure,shaft,1,15,
rotor,,good,0.8,5,strip,,,,
rotor,,scored,0.2,5,strip,rotor;shaft seal,1,,
body,,whole,0.9,5,strip,,,,
body,,cracked,0.1,5,strip,,,,yes
"""
WAYS = """way,kind,price_low,price_likely,price_high,lead_days_likely,p_never,instead,fitting_hours_likely,\
core_surcharge_likely,core_carriage_likely,p_refund,bought
rebuild here,rebuild,,,,,,,,,,,
send away,send away,150,190,260,10,0.03,new,,,,,
exchange,exchange,210,230,260,5,0.1,new,1,60,14,0.9,
new,new,360,395,450,5,0.02,,1.5,,,,
carry a new one,rebuild and spare,,,,,,,,,,,new
"""
FILES = {
    "case.toml": CASE, "parts.csv": PARTS, "suppliers.csv": SUPPLIERS, "carriage.csv": CARRIAGE,
    "quotes.csv": QUOTES, "events.csv": EVENTS, "ways.csv": WAYS,
}  # fmt: skip


def write_quoted(folder: Path) -> Path:
    """The case as a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in FILES.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder
