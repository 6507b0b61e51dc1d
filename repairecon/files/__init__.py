"""The only room that opens files: case folders in, starter folders and reports out."""

from repairecon.files.case_folder import read_case
from repairecon.files.orders import write_orders
from repairecon.files.quotes_import import import_quotes, preview
from repairecon.files.share import copy_notebooks, share_dir
from repairecon.files.starter import new_case
from repairecon.files.writing import write_whole

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
