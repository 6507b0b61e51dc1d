"""The faces of spares-aboard: first screen, all of it as text, the blocks of notebook and page, the page."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pandas as pd

from repairecon.show.layout import Block, as_text, capital, fitted, shortened, terminal_width
from repairecon.show.sheet import Panel, Sheet, text_of
from repairecon.show.words import chance_words, number, price, quantity, whole
from repairecon.spares_aboard import words
from repairecon.spares_aboard.holdings import INSPECT, OVER, RUNS_OUT
from repairecon.spares_aboard.job import SparesAnswer

if TYPE_CHECKING:
    from repairecon.show.plots import Picture

MOST_LINES = 24
"""Lines of the first screen."""
OF_SHELF = {OVER: "Throw away:", INSPECT: "Inspect before you trust them:", RUNS_OUT: "Runs out on the way:"}


def title(answer: SparesAnswer) -> str:
    """Whose spares."""
    return capital(answer.boat) if "spares" in answer.boat.casefold() else f"Spares aboard: {answer.boat}"


def first_screen(answer: SparesAnswer) -> str:
    """What to buy and to throw away, what is too few, then the worth: at most MOST_LINES lines."""
    width, figures = terminal_width(), f"figures: {answer.figures}" if answer.figures else ""
    head = shortened(title(answer), width - len(figures) - 2)
    blank = Block([(0, [""])])
    shelf = [Block.of(lead, _joined(words.lots(answer, state)), width, 6, 3) for state, lead in OF_SHELF.items()]
    # critical things by name, the others counted
    critical = [line.item.name for line in answer.below_minimum if line.item.critical]
    named = [f"critical: {'; '.join(critical)}."] if critical else []
    others = len(answer.below_minimum) - len(critical)
    counted = [f"{whole(others)} {'more, ' if critical else ''}not critical (--full)."] if others else []
    blocks = [
        Block([(0, [f"{head}{figures.rjust(width - len(head))}".rstrip()])]),
        Block.of("", [words.budget(answer), *words.guessed(answer)], width, 0, 0),
        blank, _buys(answer, width), blank, *shelf,
        Block.of("Below the minimum:", [*named, *counted], width, 5, 2),
        Block.of("Worth:", [words.value(answer)], width, 4, 2),
        Block.of("", [words.period(answer)], width, 3, 1),
        Block([(0, ["More: --full"])]),
    ]  # fmt: skip
    return "\n".join(fitted(blocks, MOST_LINES)) + "\n"


def _buys(answer: SparesAnswer, width: int) -> Block:
    """What to buy, a line each; where the screen is low, the least worth go first."""
    table = words.buy_table(answer).drop(columns="short then", errors="ignore")
    if table.empty:
        return Block([(0, [])])
    room = width - sum(2 + max(map(len, [name, *table[name]])) for name in table.columns[1:])
    table["buy"] = [shortened(name, room) for name in table["buy"]]
    head, _, *rows = as_text(table).split("\n")
    forms: list[tuple[int, list[str]]] = [(8, [head, *rows])]
    for many in range(len(rows) - 2, 3, -1):
        forms.append((7, [head, *rows[:many], f"({whole(len(rows) - many)} more: --full)"]))
    return Block(forms)


def _joined(names: list[str]) -> list[str]:
    return [f"{'; '.join(names)}."] if names else []


def verdict(answer: SparesAnswer) -> Panel:
    """What to buy, what to throw away or inspect, for which passage."""
    shelf = [f"{lead} {said}" for state, lead in OF_SHELF.items() for said in _joined(words.lots(answer, state))]
    said = [words.budget(answer), *words.guessed(answer), *shelf, words.period(answer)]
    return Panel(title(answer), said, listed=False)


def full(answer: SparesAnswer) -> str:
    """All of the answer as text for a terminal."""
    return text_of([verdict(answer), *main(answer, pictures=False), *rest(answer)])


def main(answer: SparesAnswer, *, pictures: bool = True) -> Iterator[Panel | Sheet | Picture]:
    """What an owner reads before buying; without pictures for a terminal."""
    yield Sheet(words.buy_table(answer), "What to buy")
    if pictures:
        from repairecon.spares_aboard import charts

        yield charts.risk_picture(answer)
    yield Panel("Throw away, inspect, replace", words.expiring(answer))
    if pictures and not answer.shelf.empty:
        yield charts.expiry_picture(answer)
    yield Sheet(words.below_table(answer), "Below the minimum")
    yield Panel("Worth", [words.value(answer)], listed=False)
    if pictures and not answer.by_locker.empty:
        yield charts.places_picture(answer)
    panels = {
        "Worth having, and not bought": words.missing(answer),
        "More than this passage pays for": words.surplus(answer),
        "Turn by hand": words.turning(answer),
        "Whole units by their own case": words.cases(answer),
        "Beside this": words.CAUTIONS,
    }
    yield from (Panel(name, lines) for name, lines in panels.items() if lines)


def rest(answer: SparesAnswer) -> Iterator[Panel | Sheet]:
    """What it rests on: why each is bought, every item of the list, what lies where, what was assumed."""
    rows, places, c = answer.carry, answer.by_locker, answer.currency
    lying = answer.holdings.sort_values(["locker", "item"], kind="stable")
    yield Sheet(words.buy_table(answer, because=True), f"Why each is bought. {words.WHAT_WORTH_IS}")
    yield Sheet(pd.DataFrame({
        "item": rows["item"],
        "have": [quantity(r.have * r.at_a_time, r.measure) for r in rows.itertuples()],
        "buy": [quantity(r.buy * r.at_a_time, r.measure) if r.buy else "" for r in rows.itertuples()],
        "short now": [chance_words(p) for p in rows["p_short_now"]],
        "short then": [chance_words(p) for p in rows["p_short"]],
        "worth": [price(w, c) for w in rows["worth"]],
        "price": ["not known" if p != p else price(p, c) for p in rows["price"]],
    }), "What to carry")  # fmt: skip
    yield Sheet(pd.DataFrame({
        "locker": places.index, "at cost": [price(v, c) for v in places["fifo"]],
        "average": [price(v, c) for v in places["average"]],
        "out of date": [price(v, c) if v > 0 else "none" for v in places["written_down"]],
    }), "Where the value lies")  # fmt: skip
    yield Sheet(pd.DataFrame({
        "item": lying["item"], "system": lying["system"], "locker": lying["locker"],
        "there": [quantity(q, m) for q, m in zip(lying["quantity"], lying["measure"], strict=True)],
        "at cost": [price(v, c) for v in lying["fifo"]], "average": [price(v, c) for v in lying["average"]],
        "last bought": lying["last_bought"],
    }), "What lies where")  # fmt: skip
    said = [f"{a.name.replace('_', ' ')}: {a.value} {a.unit} ({a.source})" for a in answer.assumed]
    if said:
        yield Panel(f"Assumed, as nobody said ({number(len(said))})", said)


def page(answer: SparesAnswer) -> str:
    """The whole answer as one offline page."""
    from repairecon.show.report import about, render

    panel, where = verdict(answer), about(f"Book {answer.boat}", answer.today, answer.figures)
    return render(panel.title, where, panel.lines, main(answer), rest(answer))
