"""The answer of spares-aboard for other programs: plain data, and the list for an insurer as a table."""

from __future__ import annotations

import datetime
from dataclasses import asdict
from math import isfinite
from pathlib import Path
from typing import Any

import pandas as pd

from repairecon.book.own_output import has_headings, write_own
from repairecon.read.files import Value, csv_text, workbook_bytes
from repairecon.records import ReorderLine, RepaireconError
from repairecon.spares_aboard.answer import SparesAnswer
from repairecon.spares_aboard.words import why

CARRY = (
    "item", "system", "critical", "have", "buy", "carry", "at_a_time", "pieces_a_job", "units", "measure",
    "for_assurance", "p_short_now", "p_short", "worth", "worth_bought", "worth_bought_low", "worth_bought_high",
    "price", "mean_wanted", "cost_without", "wanted_from", "cost_from",
)  # fmt: skip


def as_json(answer: SparesAnswer) -> dict[str, Any]:
    """The answer as dictionaries, lists, numbers and text; money in home currency, chances 0..1."""
    carry = answer.carry
    return {
        "boat": answer.boat,
        "currency": answer.currency,
        "figures": answer.figures,
        "today": answer.today.isoformat(),
        "until": answer.until.isoformat(),
        "passage_days": answer.passage_days,
        "period_days": answer.period_days,
        "running_hours": answer.running_hours,
        "value": {
            **{k: _plain(v) for k, v in asdict(answer.worth).items()},
            "by_locker": rows(answer.by_locker.reset_index()),
            "by_system": rows(answer.by_system.reset_index()),
            "by_date": rows(answer.by_date.reset_index()),
        },
        "holdings": rows(answer.holdings.drop(columns=["number", "resale_rate"])),
        "receipts": rows(answer.receipts.drop(columns=["number"])),
        "below_minimum": [_below(line) for line in answer.below_minimum],
        "expiring": rows(answer.expiring.drop(columns=["number"])),
        "turning": rows(answer.turning),
        "carry": [
            {**row, "why": why(of, answer.currency)}
            for row, of in zip(rows(carry[list(CARRY)]), carry.itertuples(index=False), strict=True)
        ],
        "budget": answer.budget,
        "spend": answer.spend,
        "most_lost": answer.most_lost,
        "risk": asdict(answer.risk),
        "budget_curve": rows(answer.budget_curve),
        "missing": rows(answer.missing),
        "surplus": rows(answer.surplus),
        "insurance": rows(answer.insurance),
        "cases": [asdict(c) for c in answer.cases],
        "assumed": [asdict(a) for a in answer.assumed],
    }


def rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows of a frame as JSON can hold them; None for what is not known."""
    return [{str(k): _plain(v) for k, v in row.items()} for row in frame.to_dict(orient="records")]


def _plain(x: Any) -> Any:
    if isinstance(x, datetime.date):
        return x.isoformat()
    if hasattr(x, "item"):
        x = x.item()
    return None if isinstance(x, float) and not isfinite(x) else x


def _below(line: ReorderLine) -> dict[str, Any]:
    last = line.last
    return {
        "item": line.item.name,
        "critical": line.item.critical,
        "have": float(line.aboard),
        "minimum": float(line.item.minimum),
        "short": float(line.short),
        "ashore": float(line.ashore),
        "lent": float(line.lent),
        "supplier_last": last.person if last else "",
        "price_last": float(last.cost_unit) if last and last.cost_unit is not None else None,
        "bought_last": last.on_date if last else "",
    }


def write_insurance(answer: SparesAnswer, path: Path, book: Path) -> None:
    """Write what is there, how many, where, bought when and from whom, what it cost and what it would cost now.

    Raises
    ------
    RepaireconError
        If the name ends neither in .csv nor in .xlsx, if something else lies there, or it cannot be written.
    """
    frame = answer.insurance
    rows: list[list[Value]] = [[*map(str, frame.columns), "currency"]]
    rows += [[*(_cell(v) for v in row), answer.currency] for row in frame.itertuples(index=False)]
    total: list[Value] = [f"all, {answer.today.isoformat()}", *[None] * (len(frame.columns) - 1), answer.currency]
    for name in ("cost", "replacement"):
        total[list(frame.columns).index(name)] = float(frame[name].sum())
    rows.append(total)
    form = path.suffix.casefold()
    if form not in (".csv", ".xlsx"):
        raise RepaireconError(f"{path.name}: write a name that ends in .csv or .xlsx")
    data = csv_text(rows, defuse=True).encode("utf-8-sig") if form == ".csv" else workbook_bytes({"spares": rows})
    write_own(path, data, book, has_headings([str(h) for h in rows[0]], "spares"), "list for an insurer")


def _cell(value: object) -> Value:
    if isinstance(value, float):
        return None if value != value else int(value) if value == int(value) else value
    return str(value)
