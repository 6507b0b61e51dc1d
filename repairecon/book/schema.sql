-- The tables of a spares book, as steps: a new book runs all of them, an older one those it lacks.
-- A step that a book was written by never changes: its very words are held against those in the file.

-- step 1
CREATE TABLE about (name TEXT PRIMARY KEY NOT NULL, value TEXT NOT NULL) STRICT;
CREATE TABLE lockers (locker INTEGER PRIMARY KEY) STRICT;
CREATE TABLE locker_versions (
    version INTEGER PRIMARY KEY,
    locker INTEGER NOT NULL REFERENCES lockers,
    name TEXT NOT NULL CHECK (name <> ''),
    place TEXT NOT NULL DEFAULT '',
    kind TEXT NOT NULL DEFAULT 'aboard' CHECK (kind IN ('aboard', 'ashore', 'lent')),
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
    hours_on TEXT NOT NULL DEFAULT '' CHECK (hours_on = '' OR hours_on IS date(hours_on, '+0 days')),
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
    measure TEXT NOT NULL DEFAULT 'piece' CHECK (measure IN ('piece', 'metre', 'litre', 'kilogram')),
    minimum INTEGER NOT NULL DEFAULT 0 CHECK (minimum >= 0),
    locker INTEGER REFERENCES lockers,
    shelf_group TEXT NOT NULL DEFAULT '' CHECK (shelf_group IN ('', 'A', 'B', 'C')),
    critical INTEGER NOT NULL DEFAULT 0 CHECK (critical IN (0, 1)),
    needs TEXT NOT NULL DEFAULT '',
    weight_kg REAL CHECK (weight_kg >= 0),
    carried INTEGER NOT NULL DEFAULT 1 CHECK (carried IN (0, 1)),
    note TEXT NOT NULL DEFAULT '',
    written_at TEXT NOT NULL
) STRICT;
CREATE TABLE movements (
    movement INTEGER PRIMARY KEY,
    on_date TEXT NOT NULL CHECK (on_date IS date(on_date, '+0 days')),
    kind TEXT NOT NULL CHECK (kind IN ('bought', 'used', 'fitted', 'moved', 'counted', 'scrapped', 'lent', 'returned', 'undone', 'corrected')),
    item INTEGER NOT NULL REFERENCES items,
    quantity INTEGER NOT NULL
        CHECK (typeof(quantity) = 'integer' AND quantity BETWEEN 0 AND 1000000000),
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
    CHECK (cost_unit IS NULL OR quantity * cost_unit <= 1000000000 * 1000000000),
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

CREATE TRIGGER about_unchanged BEFORE UPDATE ON about BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER about_kept BEFORE DELETE ON about BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER about_not_over BEFORE INSERT ON about
    WHEN EXISTS (SELECT 1 FROM about WHERE name = NEW.name) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

CREATE TRIGGER lockers_unchanged BEFORE UPDATE ON lockers BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER lockers_kept BEFORE DELETE ON lockers BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER lockers_not_over BEFORE INSERT ON lockers
    WHEN EXISTS (SELECT 1 FROM lockers WHERE locker = NEW.locker) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

CREATE TRIGGER locker_versions_unchanged BEFORE UPDATE ON locker_versions BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER locker_versions_kept BEFORE DELETE ON locker_versions BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER locker_versions_not_over BEFORE INSERT ON locker_versions
    WHEN EXISTS (SELECT 1 FROM locker_versions WHERE version = NEW.version) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

CREATE TRIGGER units_unchanged BEFORE UPDATE ON units BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER units_kept BEFORE DELETE ON units BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER units_not_over BEFORE INSERT ON units
    WHEN EXISTS (SELECT 1 FROM units WHERE unit = NEW.unit) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

CREATE TRIGGER unit_versions_unchanged BEFORE UPDATE ON unit_versions BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER unit_versions_kept BEFORE DELETE ON unit_versions BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER unit_versions_not_over BEFORE INSERT ON unit_versions
    WHEN EXISTS (SELECT 1 FROM unit_versions WHERE version = NEW.version) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

CREATE TRIGGER items_unchanged BEFORE UPDATE ON items BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER items_kept BEFORE DELETE ON items BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER items_not_over BEFORE INSERT ON items
    WHEN EXISTS (SELECT 1 FROM items WHERE item = NEW.item) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

CREATE TRIGGER item_versions_unchanged BEFORE UPDATE ON item_versions BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER item_versions_kept BEFORE DELETE ON item_versions BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER item_versions_not_over BEFORE INSERT ON item_versions
    WHEN EXISTS (SELECT 1 FROM item_versions WHERE version = NEW.version) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

CREATE TRIGGER movements_unchanged BEFORE UPDATE ON movements BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER movements_kept BEFORE DELETE ON movements BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER movements_not_over BEFORE INSERT ON movements
    WHEN EXISTS (SELECT 1 FROM movements WHERE movement = NEW.movement) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

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

CREATE VIEW current_lockers AS SELECT * FROM locker_versions v
    WHERE version = (SELECT max(version) FROM locker_versions w WHERE w.locker = v.locker);

CREATE VIEW current_units AS SELECT * FROM unit_versions v
    WHERE version = (SELECT max(version) FROM unit_versions w WHERE w.unit = v.unit);

CREATE VIEW current_items AS SELECT * FROM item_versions v
    WHERE version = (SELECT max(version) FROM item_versions w WHERE w.item = v.item);

-- step 2
ALTER TABLE item_versions ADD COLUMN volume_litres REAL CHECK (volume_litres >= 0);
ALTER TABLE item_versions ADD COLUMN resale_rate REAL CHECK (resale_rate BETWEEN 0 AND 1);
ALTER TABLE movements ADD COLUMN lot TEXT NOT NULL DEFAULT '';
ALTER TABLE movements ADD COLUMN cure_date TEXT NOT NULL DEFAULT '' CHECK (cure_date = '' OR cure_date IS date(cure_date, '+0 days'));

-- step 3
-- What the book says of itself may change too: the newest version holds, else what it began with.
CREATE TABLE about_versions (
    version INTEGER PRIMARY KEY,
    name TEXT NOT NULL CHECK (name <> ''),
    value TEXT NOT NULL,
    written_at TEXT NOT NULL
) STRICT;

CREATE TRIGGER about_versions_unchanged BEFORE UPDATE ON about_versions BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER about_versions_kept BEFORE DELETE ON about_versions BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER about_versions_not_over BEFORE INSERT ON about_versions
    WHEN EXISTS (SELECT 1 FROM about_versions WHERE version = NEW.version) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

CREATE TABLE seals (
    nth INTEGER PRIMARY KEY,
    of TEXT NOT NULL,
    number INTEGER NOT NULL,
    row TEXT NOT NULL,
    chain TEXT NOT NULL,
    UNIQUE (of, number)
) STRICT;

CREATE TRIGGER seals_unchanged BEFORE UPDATE ON seals BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER seals_kept BEFORE DELETE ON seals BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER seals_not_over BEFORE INSERT ON seals
    WHEN EXISTS (SELECT 1 FROM seals WHERE nth = NEW.nth) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

-- step 4
-- Orders as they were sent. What has come of a line are the movements that name it, less those that were taken back.
CREATE TABLE orders (
    number INTEGER PRIMARY KEY,
    on_date TEXT NOT NULL CHECK (on_date IS date(on_date, '+0 days')),
    supplier TEXT NOT NULL CHECK (supplier <> ''),
    job TEXT NOT NULL CHECK (job <> ''),
    for_unit TEXT NOT NULL DEFAULT '',
    currency TEXT NOT NULL DEFAULT '',
    rate INTEGER CHECK (rate > 0),
    expected_days INTEGER CHECK (expected_days >= 0),
    written_at TEXT NOT NULL
) STRICT;
CREATE TABLE order_lines (
    line INTEGER PRIMARY KEY,
    order_number INTEGER NOT NULL REFERENCES orders,
    part TEXT NOT NULL CHECK (part <> ''),
    whole_unit INTEGER NOT NULL DEFAULT 0 CHECK (whole_unit IN (0, 1)),
    item INTEGER REFERENCES items,
    designation TEXT NOT NULL DEFAULT '',
    material TEXT NOT NULL DEFAULT '',
    pieces INTEGER NOT NULL CHECK (pieces BETWEEN 1 AND 1000000000),
    packs INTEGER NOT NULL CHECK (packs > 0),
    quoted_pack INTEGER NOT NULL CHECK (quoted_pack >= 0),
    cost_unit INTEGER NOT NULL CHECK (cost_unit >= 0),
    carriage_unit INTEGER NOT NULL DEFAULT 0 CHECK (carriage_unit >= 0),
    duty_unit INTEGER NOT NULL DEFAULT 0 CHECK (duty_unit >= 0)
) STRICT;
ALTER TABLE movements ADD COLUMN order_line INTEGER REFERENCES order_lines;
CREATE INDEX lines_of_orders ON order_lines (order_number);
CREATE INDEX movements_of_order_lines ON movements (order_line) WHERE order_line IS NOT NULL;

CREATE TRIGGER orders_unchanged BEFORE UPDATE ON orders BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER orders_kept BEFORE DELETE ON orders BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER orders_not_over BEFORE INSERT ON orders
    WHEN EXISTS (SELECT 1 FROM orders WHERE number = NEW.number) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

CREATE TRIGGER order_lines_unchanged BEFORE UPDATE ON order_lines BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER order_lines_kept BEFORE DELETE ON order_lines BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;
CREATE TRIGGER order_lines_not_over BEFORE INSERT ON order_lines
    WHEN EXISTS (SELECT 1 FROM order_lines WHERE line = NEW.line) BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END;

CREATE TRIGGER movements_no_more_than_ordered BEFORE INSERT ON movements
    WHEN NEW.order_line IS NOT NULL AND NEW.locker_to IS NOT NULL AND NEW.quantity >
        (SELECT pieces FROM order_lines WHERE line = NEW.order_line)
        - (SELECT coalesce(sum(CASE WHEN locker_to IS NULL THEN -quantity ELSE quantity END), 0)
            FROM movements WHERE order_line = NEW.order_line)
    BEGIN SELECT RAISE(ABORT, 'not so many are on order'); END;
