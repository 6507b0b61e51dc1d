"""The answer in a terminal: one screen first, all of it or one part on request."""

from __future__ import annotations

from collections.abc import Sequence

from repairecon.rebuild_or_buy import headline, parts, sentences
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.lives import median_life
from repairecon.rebuild_or_buy.stages import LEAVE
from repairecon.show.layout import Block, as_text, capital, fitted, shortened, terminal_width, wrapped
from repairecon.show.sheet import text_of
from repairecon.show.words import measured, tenths, whole

MOST_LINES, FEWEST_WAYS = 24, 4
LEAST_SAID = 0.5
"""A look that saves less than this [home currency] would be said to save nothing."""
OWN_FILES = {
    "case.toml", "parts.csv", "tasks.csv", "events.csv", "ways.csv", "suppliers.csv", "quotes.csv", "looks.csv",
    "lives.csv", "carriage.csv", "remedies.csv", "learned.toml",
}  # fmt: skip
"""What the owner wrote; a number from elsewhere is a default."""


def first_screen(answer: Answer, width: int = 0) -> str:
    """The advice, the ways, what to look at, when to stop, what would change it: at most MOST_LINES lines."""
    width = width or terminal_width()
    # only one look is the first: where the advice names it, the others are further ones
    look = "Worth a look too:" if any(w.look == answer.advice.what for w in answer.looks_at_hand) else "Look first:"
    paying = [w for w in answer.looks_at_hand if w.net >= LEAST_SAID and w.look != answer.advice.what]
    looks = [sentences.look(answer, w) for w in paying]
    ask, cautions = [capital(q) for q in answer.model.buying.questions[:2]], answer.cautions
    slips = [r.what for r in answer.look_again if r.could_turn]
    do, *why = headline.advice(answer)
    locker = sentences.from_the_locker(answer)
    # what it comes to is never cut
    forms = [(9 if why[many - 1].startswith(headline.SPARE) else 4, _lines(" ".join(why[:many]), width))
             for many in range(len(why), 0, -1)]  # fmt: skip
    blank = Block([(0, [""])])
    blocks = [
        Block([(8, _head(answer, width, 2)), (0, _head(answer, width, 1))]),
        Block.of("", sentences.so_far(answer), width, 6, 3),
        Block([(0, _lines(do, width))]), Block(forms or [(0, [])]),
        blank,
        _ways(answer, width), Block([(5, [shortened(parts.ways(answer).title, width)]), (0, [])]),
        blank,
        Block.of("From the locker:", [f"{locker}."] if locker else [], width, 5, 1),
        Block.of(look, looks, width, 7, 4),
        Block.of("When to stop:", _stops(answer), width, 6, 2),
        Block.of("It turns:", _turns(answer), width, 6, 3),
        Block.of("Guesses:", _guesses(answer), width, 6, 4),
        Block.of("Ask before you order:", ask, width, 5, 2),
        Block.of("Look again:", _counted(slips, len(answer.look_again) - len(slips), "--full") if slips else [],
                 width, 5, 2),
        Block.of("Before you start:", _counted(cautions, len(cautions) - 2, "--part cautions"), width, 5, 1),
        Block([(0, _lines(f"More: --full --part {'|'.join(parts.PARTS)}", width))]),
    ]  # fmt: skip
    return "\n".join(fitted(blocks, MOST_LINES)) + "\n"


def _lines(text: str, width: int) -> list[str]:
    return wrapped(text, width=width).split("\n")


def _head(answer: Answer, width: int, lines: int) -> list[str]:
    """The unit and whose figures these are, in so many lines at most."""
    figures = f"figures: {answer.case.unit.figures}" if answer.case.unit.figures else ""
    room = width - len(figures) - 2
    title = _lines(parts.title(answer), room)
    if len(title) > lines:
        title = [*title[: lines - 1], shortened(parts.title(answer), room)]
    return [f"{title[0]}{figures.rjust(width - len(title[0]))}".rstrip(), *title[1:]]


def _ways(answer: Answer, width: int) -> Block:
    """The table of ways, a line each; where the page is low, the dearest go first."""
    table = parts.ways(answer).table
    room = width - sum(2 + max(map(len, [name, *table[name]])) for name in table.columns[1:])
    table["way"] = [shortened(name, room) for name in table["way"]]
    head, _, *rows = as_text(table).split("\n")
    forms: list[tuple[int, list[str]]] = [(8, [head, *rows])]
    for many in range(len(rows) - 2, FEWEST_WAYS - 1, -1):
        forms.append((7, [head, *rows[:many], f"({whole(len(rows) - many)} dearer ways: --full)"]))
    return Block(forms)


def _stops(answer: Answer) -> list[str]:
    """The rules of when to stop that the advice does not say, and the most worth spending."""
    if not headline.strips(answer):
        return []
    here = [s for s in answer.advice.stops if s.action != LEAVE]
    return [s for s in (*sentences.stop_rule(answer, here), sentences.repair_limit(answer)) if s]


def _turns(answer: Answer) -> list[str]:
    """What would change the advice, nearest first; over the years the life at which it turns."""
    a, lines = answer.advice, []
    if a.basis == "years" and a.life_turns is not None:
        ledger = answer.horizon.ledger
        expected = median_life(ledger.clocks(answer.model.ways.index(a.way)), ledger.years)
        side = "under" if a.life_turns < expected else "over"
        lines.append(f"{a.way} lasting {side} {tenths(a.life_turns)} years, {tenths(expected)} expected")
    if a.way == answer.verdict.best:
        inside = [f for f in answer.flips if f.within_range]
        lines += [sentences.flip(f) for f in inside[:2]]
        if not inside and answer.flips:
            lines.append(f"no number within its range; the nearest is {sentences.flip(answer.flips[0])}")
    return [f"{capital(line) if k else line}." for k, line in enumerate(lines)]


def _counted(lines: Sequence[str], rest: int, where: str) -> list[str]:
    """The first two lines, and how many more stand elsewhere."""
    return [*lines[:2], *([f"({whole(rest)} more: {where})"] if rest > 0 else [])]


def _guesses(answer: Answer) -> list[str]:
    """Assumed numbers that can turn the advice between their good and bad case; the others counted."""
    many = len(answer.assumed)
    if not many:
        return []
    assumed = {n.name for n in answer.numbers if n.range is not None and n.source.partition(":")[0] not in OWN_FILES}
    swings = answer.swings if assumed else ()  # dear, and none of them would be said
    turning = [s for s in swings if min(s.lead_low, s.lead_high) < 0 and s.number in assumed]
    said = "; ".join(f"{sentences.plain_number(s.number)} ({measured(s.value_low, s.unit)} to "
                     f"{measured(s.value_high, s.unit)})" for s in turning)  # fmt: skip
    if not said:
        return [f"{whole(many)} assumed figures (--part assumed); no guessed price, hour or day turns it."]
    return [f"{said} can turn it.", f"{whole(many)} figures are assumed (--part assumed)."]


def full(answer: Answer, part: str = "") -> str:
    """All of the answer, or one part: only that is worked out."""
    every = [*parts.advice(answer), *(b for show in parts.PARTS.values() for b in show(answer))] if not part else []
    return text_of(every or parts.PARTS[part](answer))
