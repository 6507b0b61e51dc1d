"""The only room beside the spares book that opens files: case folders in, starter folders and reports out."""

from repairecon.read.case_folder import read_case
from repairecon.read.files import write_whole
from repairecon.read.lists_of_others import preview
from repairecon.read.orders import write_orders
from repairecon.read.starter import copy_notebooks, new_case, share_dir

__all__ = ["copy_notebooks", "new_case", "preview", "read_case", "share_dir", "write_orders", "write_whole"]
