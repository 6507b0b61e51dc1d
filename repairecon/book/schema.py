"""The tables of a spares book, as steps: a new book runs all of them, an older one those it lacks.

Quantities are integer thousandths and clock hours too, money is integer millionths of home money, rates integer
thousand-millionths: sums are exact for ever. Millionths, as a pack that cost 10.00 holds 7 pieces at 1.428571:
multiplied back, that is right to half a cent for packs of up to 10,000 pieces.
"""

from __future__ import annotations

from repairecon.records import LOCKER_KINDS, MEASURES, MOVEMENT_KINDS, SHELF_GROUPS

APPLICATION_ID = int.from_bytes(b"sprB", "big")
"""In the head of the file: bytes 68 to 71, SQLite's place for the kind of document."""

LENT, LENT_NUMBER = "lent out", 1
"""The locker that stands for what is lent out: its name and number."""
LARGEST_QUANTITY = 1_000_000
LARGEST_VALUE = 1_000_000_000
"""Pieces, and home money, of one movement."""


SIDES = ("bought", "used", "fitted", "scrapped", "moved", "lent", "returned")
NEEDS_FROM = ("used", "fitted", "scrapped", "moved", "lent", "returned")
NEEDS_TO = ("bought", "moved", "lent", "returned")
"""Kinds of movement that must name the locker they leave and the one they come to; the other side then stays blank."""


def _among(column: str, words: tuple[str, ...]) -> str:
    return f"CHECK ({column} IN ({', '.join(repr(w) for w in words)}))"


def _date(column: str, blank: bool = False) -> str:
    """A day of the calendar: moved by no days, as some versions of SQLite give the 30th of February back."""
    otherwise = f"{column} = '' OR " if blank else ""
    return f"CHECK ({otherwise}{column} IS date({column}, '+0 days'))"


_TABLES = f"""
CREATE TABLE about (name TEXT PRIMARY KEY NOT NULL, value TEXT NOT NULL) STRICT;
CREATE TABLE lockers (locker INTEGER PRIMARY KEY) STRICT;
CREATE TABLE locker_versions (
    version INTEGER PRIMARY KEY,
    locker INTEGER NOT NULL REFERENCES lockers,
    name TEXT NOT NULL CHECK (name <> ''),
    place TEXT NOT NULL DEFAULT '',
    kind TEXT NOT NULL DEFAULT 'aboard' {_among("kind", LOCKER_KINDS)},
    note TEXT NOT NULL DEFAULT '',
    written_at TEXT NOT NULL
) STRICT;
CREATE TABLE units (unit INTEGER PRIMARY KEY) STRICT;
CREATE TABLE unit_versions (
    version INTEGER PRIMARY KEY,
    unit INTEGER NOT NULL REFERENCES units,
    name TEXT NOT NULL CHECK (name <> ''),
    kind TEXT NOT NULL DEFAULT '',
    hours INTEGER CHECK (hours >= 0),
    hours_on TEXT NOT NULL DEFAULT '' {_date("hours_on", blank=True)},
    note TEXT NOT NULL DEFAULT '',
    written_at TEXT NOT NULL
) STRICT;
CREATE TABLE items (item INTEGER PRIMARY KEY) STRICT;
CREATE TABLE item_versions (
    version INTEGER PRIMARY KEY,
    item INTEGER NOT NULL REFERENCES items,
    name TEXT NOT NULL CHECK (name <> ''),
    system TEXT NOT NULL DEFAULT '',
    units TEXT NOT NULL DEFAULT '',
    makers_number TEXT NOT NULL DEFAULT '',
    cross_reference TEXT NOT NULL DEFAULT '',
    designation TEXT NOT NULL DEFAULT '',
    material TEXT NOT NULL DEFAULT '',
    measure TEXT NOT NULL DEFAULT 'piece' {_among("measure", MEASURES)},
    minimum INTEGER NOT NULL DEFAULT 0 CHECK (minimum >= 0),
    locker INTEGER REFERENCES lockers,
    shelf_group TEXT NOT NULL DEFAULT '' {_among("shelf_group", SHELF_GROUPS)},
    critical INTEGER NOT NULL DEFAULT 0 CHECK (critical IN (0, 1)),
    needs TEXT NOT NULL DEFAULT '',
    weight_kg REAL CHECK (weight_kg >= 0),
    carried INTEGER NOT NULL DEFAULT 1 CHECK (carried IN (0, 1)),
    note TEXT NOT NULL DEFAULT '',
    written_at TEXT NOT NULL
) STRICT;
CREATE TABLE movements (
    movement INTEGER PRIMARY KEY,
    on_date TEXT NOT NULL {_date("on_date")},
    kind TEXT NOT NULL {_among("kind", MOVEMENT_KINDS)},
    item INTEGER NOT NULL REFERENCES items,
    quantity INTEGER NOT NULL
        CHECK (typeof(quantity) = 'integer' AND quantity BETWEEN 0 AND {LARGEST_QUANTITY * 1000}),
    locker_from INTEGER REFERENCES lockers,
    locker_to INTEGER REFERENCES lockers,
    cost_unit INTEGER CHECK (cost_unit IS NULL OR (typeof(cost_unit) = 'integer' AND cost_unit >= 0)),
    currency TEXT NOT NULL DEFAULT '',
    rate INTEGER CHECK (rate > 0),
    quoted_unit INTEGER CHECK (quoted_unit >= 0),
    person TEXT NOT NULL DEFAULT '',
    unit INTEGER REFERENCES units,
    hours INTEGER CHECK (hours >= 0),
    reference TEXT NOT NULL DEFAULT '',
    note TEXT NOT NULL DEFAULT '',
    undoes INTEGER REFERENCES movements,
    corrects INTEGER REFERENCES movements,
    written_at TEXT NOT NULL,
    CHECK (quantity > 0 OR kind IN ('counted', 'undone', 'corrected')),
    CHECK (cost_unit IS NULL OR quantity * cost_unit <= {LARGEST_VALUE} * 1000000000),
    CHECK ((undoes IS NOT NULL) = (kind IN ('undone', 'corrected'))),
    CHECK (kind <> 'bought' OR (locker_from IS NULL AND locker_to IS NOT NULL)),
    CHECK (kind NOT IN ('used', 'fitted', 'scrapped') OR (locker_from IS NOT NULL AND locker_to IS NULL)),
    CHECK (kind NOT IN ('moved', 'lent', 'returned') OR locker_from <> locker_to),
    CHECK (kind <> 'counted' OR (locker_from IS NULL) <> (locker_to IS NULL)),
    CHECK (kind <> 'fitted' OR unit IS NOT NULL)
) STRICT;
CREATE INDEX locker_names ON locker_versions (name);
CREATE INDEX unit_names ON unit_versions (name);
CREATE INDEX item_names ON item_versions (name);
CREATE INDEX locker_newest ON locker_versions (locker, version);
CREATE INDEX unit_newest ON unit_versions (unit, version);
CREATE INDEX item_newest ON item_versions (item, version);
CREATE INDEX movements_of_items ON movements (item, movement);
CREATE INDEX movements_in ON movements (item, locker_to, quantity) WHERE locker_to IS NOT NULL;
CREATE INDEX movements_out ON movements (item, locker_from, quantity) WHERE locker_from IS NOT NULL;
CREATE INDEX movements_bought ON movements (item, movement) WHERE kind = 'bought';
CREATE INDEX movements_of_units ON movements (unit, movement) WHERE unit IS NOT NULL;
CREATE UNIQUE INDEX movements_undone ON movements (undoes) WHERE undoes IS NOT NULL;
"""

KEYS = {
    "about": "name", "lockers": "locker", "locker_versions": "version", "units": "unit", "unit_versions": "version",
    "items": "item", "item_versions": "version", "movements": "movement",
}  # fmt: skip
TABLES = (*KEYS, "about_versions")
"""Tables whose rows are sealed, each after those that it refers to."""


def _only_added_to(table: str, key: str) -> str:
    """Nothing is changed, taken out or written over: INSERT OR REPLACE takes out without the trigger on DELETE."""
    refuse = "SELECT RAISE(ABORT, 'the book is only added to');"
    return f"""
CREATE TRIGGER {table}_unchanged BEFORE UPDATE ON {table} BEGIN {refuse} END;
CREATE TRIGGER {table}_kept BEFORE DELETE ON {table} BEGIN {refuse} END;
CREATE TRIGGER {table}_not_over BEFORE INSERT ON {table}
    WHEN EXISTS (SELECT 1 FROM {table} WHERE {key} = NEW.{key}) BEGIN {refuse} END;
"""


_RULES = """
CREATE TRIGGER movements_not_below_zero BEFORE INSERT ON movements
    WHEN NEW.locker_from IS NOT NULL AND NEW.quantity >
        (SELECT coalesce(sum(quantity), 0) FROM movements WHERE item = NEW.item AND locker_to = NEW.locker_from)
        - (SELECT coalesce(sum(quantity), 0) FROM movements WHERE item = NEW.item AND locker_from = NEW.locker_from)
    BEGIN SELECT RAISE(ABORT, 'not so many there'); END;
CREATE TRIGGER movements_undone_once BEFORE INSERT ON movements
    WHEN NEW.undoes IS NOT NULL AND EXISTS (SELECT 1 FROM movements WHERE undoes = NEW.undoes)
    BEGIN SELECT RAISE(ABORT, 'undone already'); END;
CREATE TRIGGER movements_mirrored BEFORE INSERT ON movements
    WHEN NEW.undoes IS NOT NULL AND NOT EXISTS (
        SELECT 1 FROM movements m WHERE m.movement = NEW.undoes AND m.item = NEW.item AND m.quantity = NEW.quantity
        AND m.locker_from IS NEW.locker_to AND m.locker_to IS NEW.locker_from)
    BEGIN SELECT RAISE(ABORT, 'a counter-movement mirrors what it undoes'); END;
CREATE VIEW stock AS SELECT item, locker, sum(quantity) AS quantity FROM (
    SELECT item, locker_to AS locker, sum(quantity) AS quantity FROM movements
        WHERE locker_to IS NOT NULL GROUP BY item, locker_to
    UNION ALL SELECT item, locker_from, -sum(quantity) FROM movements
        WHERE locker_from IS NOT NULL GROUP BY item, locker_from)
    GROUP BY item, locker HAVING sum(quantity) <> 0;
"""


def _newest(name: str) -> str:
    versions = f"{name}_versions"
    return f"""
CREATE VIEW current_{name}s AS SELECT * FROM {versions} v
    WHERE version = (SELECT max(version) FROM {versions} w WHERE w.{name} = v.{name});
"""


_AGE_AND_ROOM = f"""
ALTER TABLE item_versions ADD COLUMN volume_litres REAL CHECK (volume_litres >= 0);
ALTER TABLE item_versions ADD COLUMN resale_rate REAL CHECK (resale_rate BETWEEN 0 AND 1);
ALTER TABLE movements ADD COLUMN lot TEXT NOT NULL DEFAULT '';
ALTER TABLE movements ADD COLUMN cure_date TEXT NOT NULL DEFAULT '' {_date("cure_date", blank=True)};
"""

_SEALS = f"""
CREATE TABLE about_versions (
    version INTEGER PRIMARY KEY,
    name TEXT NOT NULL CHECK (name <> ''),
    value TEXT NOT NULL,
    written_at TEXT NOT NULL
) STRICT;
{_only_added_to("about_versions", "version")}
CREATE TABLE seals (
    nth INTEGER PRIMARY KEY,
    of TEXT NOT NULL,
    number INTEGER NOT NULL,
    row TEXT NOT NULL,
    chain TEXT NOT NULL,
    UNIQUE (of, number)
) STRICT;
""" + _only_added_to("seals", "nth")
"""What the book says of itself may change too: the newest version holds, else what it began with. A seal a row of any
table: a hash of the row, and one of that and of the seal before; see ``proof``."""

STEPS = (
    _TABLES
    + "".join(_only_added_to(t, k) for t, k in KEYS.items())
    + _RULES
    + "".join(_newest(n) for n in ("locker", "unit", "item")),
    _AGE_AND_ROOM,
    _SEALS,
)
VERSION = len(STEPS)
SEALED_FROM = 3
"""Version of the book from which every row has a seal."""


def script(step: int, strict: bool) -> str:
    """The SQL of a step (from 1); tables that check types where SQLite can (from its version 3.37 on)."""
    text = STEPS[step - 1]
    return text if strict else text.replace(") STRICT;", ");")
