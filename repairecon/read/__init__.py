"""The only room that opens files: case folders in, starter folders and reports out."""

from repairecon.read.case_folder import read_case
from repairecon.read.orders import write_orders
from repairecon.read.quotes_import import import_quotes, preview
from repairecon.read.share import copy_notebooks, share_dir
from repairecon.read.starter import new_case
from repairecon.read.writing import write_whole

__all__ = [
    "copy_notebooks",
    "import_quotes",
    "new_case",
    "preview",
    "read_case",
    "share_dir",
    "write_orders",
    "write_whole",
]
