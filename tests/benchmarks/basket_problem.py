"""How long a proven cheapest basket takes, as ratios in one run: python tests/benchmarks/basket_problem.py

Orders of parts by suppliers with every rule (weight bands, free carriage, minimum orders, breaks, packs, discounts,
fees, customs limits, goods carried by hand), figures made up by a fixed recipe. Beside each, reading a case folder with
as many parts, suppliers and quotes. ``--all`` adds 200 x 30, which may take its whole minute; its gap is told.
Times are for comparing on one machine in one run, never a test.
"""

from __future__ import annotations

import argparse
import csv
import random
import sys
import tempfile
import time
from pathlib import Path

TESTS = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(TESTS.parent)]

import repairecon  # noqa: E402
from repairecon.buying.basket import (  # noqa: E402
    Offer,
    Order,
    cheapest_basket,
)
from repairecon.buying.other_baskets import (  # noqa: E402
    entering_prices,
    frontier,
    second_best,
)
from repairecon.buying.parcel import Border, Line, ParcelTerms  # noqa: E402

BANDS = ((2.0, 8.0), (5.0, 12.5), (20.0, 24.0), (60.0, 60.0))
SIZES = ((10, 4), (20, 6), (30, 8), (60, 12), (100, 20))
CASE = """
[unit]
name = "raw water pump"
figures = "invented"
[money]
currency = "EUR"
vat_rate = 0.21
[money.exchange]
GBP = 1.17
[three_numbers]
price_new = 5000
price_kit = 300
wait_days = 10
"""


def supplier(k: int) -> ParcelTerms:
    """The k-th supplier's terms; every third is abroad."""
    abroad = k % 3 == 2
    return ParcelTerms(
        exchange=1.17 if abroad else 1.0,
        vat_included=k % 4 < 2,
        vat_rate=0.2 if abroad else 0.21,
        imported=abroad,
        carriage=6.0 + 2.5 * (k % 5),
        bands=BANDS if k % 2 else (),
        free_above=(None, 150.0, 300.0)[k % 3] if k % 2 else None,
        minimum_order=40.0 if k % 4 == 2 else 0.0,
        discount_rate=0.05 if k % 5 == 0 else 0.0,
        card_fee_rate=0.015 if k % 4 == 1 else 0.0,
        insurance_rate=0.01 if abroad else 0.0,
        cost_handling=12.0 if abroad else 0.0,
        by_hand=k % 12 == 8,
    )


def order(parts: int, suppliers: int, seed: int = 1) -> Order:
    """An order with about three offers in five made."""
    made, offers = random.Random(seed), []
    for i in range(parts):
        bare = made.lognormvariate(3.0, 1.0)
        makers = [k for k in range(suppliers) if made.random() < 0.6] or [0]
        for k in makers:
            pack = made.choice([1, 1, 1, 1, 2, 5])
            price = bare * made.uniform(0.7, 1.4) * pack * (1.0 if pack == 1 else 0.8)
            cents = [int(100 * price * share) / 100 + 0.01 for share in (1.0, 0.93, 0.85)]
            breaks = ((2, cents[1]), (5, cents[2])) if made.random() < 0.25 else ()
            line = Line(
                ((1, cents[0]), *breaks),
                pack=pack,
                minimum_packs=2 if made.random() < 0.06 else 1,
                weight_kg=0.05 + 0.02 * bare,
                duty_rate=made.choice([0.0, 0.027, 0.037, 0.045]),
            )
            offers.append(Offer(f"part {i}", f"supplier {k}", line, made.choice([1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0])))
    wanted = {f"part {i}": made.choice([1, 1, 1, 2, 2, 4]) for i in range(parts)}
    border = Border(0.21, 150.0, 0.0, 0.025, 700.0, 430.0)
    return Order(wanted, tuple(offers), {f"supplier {k}": supplier(k) for k in range(suppliers)}, border)


def write_case(folder: Path, asked: Order) -> None:
    """A case folder with the same parts, quotes and terms."""
    names = ("duty_free_up_to", "vat_free_up_to", "flat_duty_rate", "flat_duty_up_to", "hand_allowance")
    customs = "".join(f"{name} = {getattr(asked.border, name)}\n" for name in names)
    (folder / "case.toml").write_text(f"{CASE}[customs]\n{customs}", "utf-8")
    tables = {
        "parts.csv": [("part", "quantity"), *asked.wanted.items()],
        "suppliers.csv": [
            ("supplier", "currency", "vat", "vat_rate", "carriage_likely", "free_above", "minimum_order",
             "discount_rate", "card_fee_rate", "insurance_rate", "delivery", "imported", "cost_handling"),
            *(
                (n, "GBP" if t.imported else "EUR", "in" if t.vat_included else "ex", t.vat_rate, t.carriage,
                 t.free_above or "", t.minimum_order, t.discount_rate, t.card_fee_rate, t.insurance_rate,
                 "by hand" if t.by_hand else "post", "yes" if t.imported else "no", t.cost_handling)
                for n, t in asked.suppliers.items()
            ),
        ],
        "carriage.csv": [
            ("supplier", "up_to_kg", "quoted_likely"),
            *((n, *band) for n, t in asked.suppliers.items() for band in t.bands),
        ],
        "quotes.csv": [
            ("item", "supplier", "quoted_likely", "pack", "minimum_packs", "breaks", "weight_kg", "duty_rate",
             "lead_days_likely"),
            *(
                (o.part, o.supplier, o.line.prices[0][1], o.line.pack, o.line.minimum_packs,
                 "; ".join(f"{packs} at {price}" for packs, price in o.line.prices[1:]), o.line.weight_kg,
                 o.line.duty_rate, o.days)
                for o in asked.offers
            ),
        ],
    }  # fmt: skip
    for name, rows in tables.items():
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)


def reading(asked: Order) -> float:
    """Best time of three to read such a folder [s]."""
    with tempfile.TemporaryDirectory() as name:
        write_case(Path(name), asked)
        times = []
        for _ in range(3):
            start = time.perf_counter()
            case = repairecon.read_case(name)
            times.append(time.perf_counter() - start)
        assert len(case.quotes) == len(asked.offers)
    return min(times)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--all", action="store_true", help="with 200 parts by 30 suppliers")
    sizes = SIZES + (((200, 30),) if parser.parse_args().all else ())
    cheapest_basket(order(2, 2))
    print(f"{'parts x suppliers':>18}{'offers':>8}{'basket s':>10}{'reading s':>11}{'ratio':>8}{'gap':>9}  status")
    for parts, suppliers in sizes:
        asked = order(parts, suppliers)
        start = time.perf_counter()
        basket = cheapest_basket(asked)
        seconds, read = time.perf_counter() - start, reading(asked)
        ratio = seconds / read
        print(f"{f'{parts} x {suppliers}':>18}{len(asked.offers):>8}{seconds:>10.2f}{read:>11.3f}{ratio:>8.1f}"
              f"{basket.gap:>9.3f}  {basket.status}")  # fmt: skip
        if (parts, suppliers) == (30, 8):
            around(basket.order, read)
    for seed in range(1, 5):
        whole_answer(100, 20, seed)


def whole_answer(parts: int, suppliers: int, seed: int) -> None:
    """All that compare-quotes says of such a folder against its proven basket alone, as processor time."""
    with tempfile.TemporaryDirectory() as name:
        write_case(Path(name), order(parts, suppliers, seed))
        case = repairecon.read_case(name, order=True)
    start = time.process_time()
    answer = repairecon.compare_quotes(case)
    alone = time.process_time() - start
    for part in ("basket", "frontier", "alternatives", "lines", "equivalents", "ask"):
        getattr(answer, part)
    whole = time.process_time() - start
    print(f"{parts} x {suppliers}, the whole answer: {whole:.1f} s, {whole / alone:.2f} x the basket ({alone:.1f} s)")


def around(asked: Order, read: float) -> None:
    """The answers around the cheapest basket of one order."""
    basket = cheapest_basket(asked)
    left = [i for i in range(len(asked.offers)) if i not in basket.packs][:10]
    for what, work in (
        ("next best", lambda: second_best(basket)),
        ("money against days", lambda: frontier(asked)),
        ("ten entering prices", lambda: entering_prices(basket, left)),
    ):
        start = time.perf_counter()
        work()
        seconds = time.perf_counter() - start
        print(f"{'':>18}{what:>24}: {seconds:.2f} s, {seconds / read:.1f} x reading")


if __name__ == "__main__":
    main()
