"""lives.csv to records: lives that the owner knows, of units that failed and of units that did not."""

from __future__ import annotations

from repairecon.read import values
from repairecon.read.names import key
from repairecon.read.problems import shown
from repairecon.read.reading import Reading
from repairecon.read.rows import Row
from repairecon.records import OwnLife, Way


def own_lives(reading: Reading, made: tuple[Way, ...]) -> tuple[OwnLife, ...]:
    """Lives as written; none without the file."""
    by_key = {key(w.way): w for w in made}
    return tuple(_own_life(reading, row, by_key) for row in reading.tables["lives.csv"].rows)


def _own_life(reading: Reading, row: Row, made: dict[str, Way]) -> OwnLife:
    reading.keep_note(row)
    way = _way(reading, row, made)
    years, hours = row.number("years", values.LIFE_YEARS), row.number("hours", values.LIFE_HOURS)
    if not row.has("years") and not row.has("hours"):
        row.fault("years", "neither years nor hours", "write the years that it stood, the hours that it ran, or both")
    row.required("failed", "write yes if it failed at that age, no if it still worked")
    return OwnLife(way=way, years=years, hours=hours, failed=row.yes("failed"), source=row.source)


def _way(reading: Reading, row: Row, made: dict[str, Way]) -> str:
    """The way whose unit lived, spelt as in its own file; a pair has no unit of its own."""
    word = row.required("way", "name the way whose unit it is")
    found = reading.ways.find(word)
    if word and not found and reading.ways.whole:
        row.fault("way", f"an unknown way {shown(word)}", reading.ways.advice(row.problems, word))
    way = made.get(key(word))
    if way and way.traits.buys and way.traits.rebuilds:
        row.fault("way", f"{shown(word)}, which has two units", "name the way whose unit it is")
    return found or word
