"""The nouns of the trade as frozen records, and the errors. Standard library only in this room."""

from __future__ import annotations

# several names a line
# isort: off
from repairecon.records.base import (
    ASSUMED, NOTHING, SHAPES, Assumed, Moved, Range, Shape, Source,
)
from repairecon.records.boat import Boat, BoatUnit, FromStock, OnHand
from repairecon.records.case import (
    NO_WAY, OLD_UNIT_ENDS, ORDER_TIMES, SAFETY_CLASSES, STAGES, WAY_GROUPS, WAY_KINDS, Branch, Case, Labour, Look,
    Needed, OwnLife, Part, Remedy, Task, Terms, Unit, Waiver, Way, WayKind, Years,
)
from repairecon.records.done import (
    DONE_KINDS, LOG_KINDS, QUANTITIES, Actual, ChanceCount, Decision, Done, Figures, HoursBias, JobLog, Learned,
    LearnedLife, Logged, StoresMoved, SupplierKept,
)
from repairecon.records.errors import (
    BookBusyError, BookError, BookFileError, CaseError, Fault, FindingError, ListError, PassageError,
    RepaireconError, SheetError, StockError,
)
from repairecon.records.passage import (
    Passage, SpareWish,
)
from repairecon.records.spares import (
    LOCKER_KINDS, MEASURES, MOVEMENT_KINDS, SHELF_GROUPS, Counted, FitLine, Found, Happened, Item,
    JobInBook, Locker, Lot, Movement, Ordered, OrderedLine, ReceiveLine, ReorderLine, StockLine, UnitAboard,
)
from repairecon.records.standards import (
    STATUSES, VERDICTS, AlikeVerdict, Designation, Equivalence, worst_status,
)
from repairecon.records.supply import (
    QUOTE_CLASSES, Customs, OrderLine, OrderTotal, OrderWishes, PriceBreak, Quote, Supplier, WeightBand,
)

__all__ = [
    "ASSUMED", "DONE_KINDS", "LOCKER_KINDS", "LOG_KINDS", "MEASURES", "MOVEMENT_KINDS", "NOTHING", "NO_WAY",
    "OLD_UNIT_ENDS", "ORDER_TIMES", "QUANTITIES", "QUOTE_CLASSES", "SAFETY_CLASSES", "SHAPES", "SHELF_GROUPS", "STAGES",
    "STATUSES", "VERDICTS", "WAY_GROUPS", "WAY_KINDS", "Actual", "AlikeVerdict", "Assumed", "Boat", "BoatUnit",
    "BookBusyError", "BookError", "BookFileError", "Branch", "Case", "CaseError", "ChanceCount", "Counted", "Customs",
    "Decision", "Designation", "Done", "Equivalence", "Fault", "Figures", "FindingError", "FitLine", "Found",
    "FromStock", "Happened", "HoursBias", "Item", "JobInBook", "JobLog", "Labour", "Learned", "LearnedLife",
    "ListError", "Locker", "Logged", "Look", "Lot", "Moved", "Movement", "Needed", "OnHand", "OrderLine", "OrderTotal",
    "OrderWishes", "Ordered", "OrderedLine", "OwnLife", "Part", "Passage", "PassageError", "PriceBreak", "Quote",
    "Range", "ReceiveLine", "Remedy", "ReorderLine", "RepaireconError", "Shape", "SheetError", "Source", "SpareWish",
    "StockError", "StockLine", "StoresMoved", "Supplier", "SupplierKept", "Task", "Terms", "Unit", "UnitAboard",
    "Waiver", "Way", "WayKind", "WeightBand", "Years", "worst_status",
]  # fmt: skip
