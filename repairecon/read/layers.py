"""What is taken for granted of a unit, laid beneath the rows of its case; what does not fit beside them is left out."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace

from repairecon.kinds import kinds, match_symptom
from repairecon.read.default_rows import Beneath, default_rows
from repairecon.read.overlay import Overlay
from repairecon.read.problems import key
from repairecon.read.reading import Reading, named_rows
from repairecon.read.tables import NOTHING, Row
from repairecon.read.ways import fits
from repairecon.records import Range, Unit

_REST = ("tasks.csv", "events.csv", "looks.csv", "remedies.csv")


class Layers:
    """The owner's rows over the default ones, file by file, as prices become known.

    Old decisions, and folders of quotes alone, rest on what holds for any unit.
    """

    def __init__(self, reading: Reading, unit: Unit, without: Collection[str], found: str = "") -> None:
        self.reading, self.without, self.overlay = reading, without, Overlay()
        plain = reading.as_decided or reading.ordering or unit.kind not in kinds()
        self.kind = "" if plain else unit.kind
        heard = "; ".join(filter(None, (unit.symptom, found)))
        self.symptom = match_symptom(self.kind, heard) if self.kind and heard else None
        self.own = unit.own_rebuild != "licensed practice only" or unit.waived
        self._beneath = Beneath()

    @property
    def found(self) -> str:
        """What the owner's own sentence says is found already."""
        return self._beneath.found

    @property
    def parts(self) -> list[Row]:
        """Default parts, where the kind has a price for the kit."""
        return self._mine("parts.csv")

    def ways(self, bare: Mapping[str, float]) -> list[tuple[Row, str]]:
        """The ways with their names, which the reading keeps; ``bare`` are quoted prices by item."""
        reading, table = self.reading, self.reading.tables["ways.csv"]
        price_new = self._price_new(bare)
        kit = NOTHING if reading.tables["parts.csv"].given else reading.three.price_kit
        self._beneath = default_rows(self.kind, self.symptom, price_new, kit, self.own)
        rows = self._laid("ways.csv")
        if table.given:
            kitted = kit is not None or bool(self.parts)
            rows = self.overlay.without("ways.csv", rows, lambda row: fits(reading, row, rows, kitted))
            rows = self.overlay.without("ways.csv", rows, lambda row: fits(reading, row, rows, kitted))
        reading.merged["ways.csv"] = rows
        named, reading.ways = named_rows(rows, "way", table.whole)
        return named

    def rest(self, price_new: float, price_kit: float) -> None:
        """Lay the other files, once what shares are counted of is known."""
        if not self.kind:
            new, kit = (Range(price, price, price) for price in (price_new, price_kit))
            self._beneath = default_rows(price_new=new, price_kit=kit)
        for file in _REST:
            self.reading.merged[file] = self._laid(file)
        tree = self.reading.merged["events.csv"]
        there = {key(row.text("event")) for row in tree}
        outcomes = {(key(row.text("event")), key(row.text("outcome"))) for row in tree}
        self._keep("looks.csv", lambda row: key(row.text("event")) in there)
        self._keep("remedies.csv", lambda row: (key(row.text("event")), key(row.text("outcome"))) in outcomes)

    def _keep(self, file: str, keep: Callable[[Row], bool]) -> None:
        merged = self.reading.merged
        merged[file] = self.overlay.without(file, merged[file], keep)

    def _laid(self, file: str) -> list[Row]:
        return self.overlay.rows(file, self.reading.tables[file].rows, self._mine(file))

    def _mine(self, file: str) -> list[Row]:
        """The default rows of a file, unless they are not wanted."""
        rows = [replace(row, problems=self.reading.problems) for row in self._beneath.files.get(file, [])]
        if file in self.without:
            self.overlay.drop(file, rows)
            return []
        tables = self.reading.tables
        old = self.reading.as_decided and (tables[file].given or (file == "looks.csv" and tables["events.csv"].given))
        return [] if old else rows

    def _price_new(self, bare: Mapping[str, float]) -> Range | None:
        """What a new unit costs, by the three numbers, ways.csv, or its quotes."""
        if self.reading.three.price_new is not None:
            return self.reading.three.price_new
        for row in self.reading.tables["ways.csv"].rows:
            if key(row.text("kind")) == "new":
                quoted = bare.get(key(row.text("way")))
                span = row.range("price") or (None if quoted is None else Range(quoted, quoted, quoted))
                return None if span is None else self.reading.money.with_vat(span, row.choice("vat"))
        return None
