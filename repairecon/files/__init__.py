"""The only room that opens files: case folders in, starter folders and reports out."""

from repairecon.files.case_folder import read_case
from repairecon.files.share import copy_notebooks, share_dir
from repairecon.files.starter import new_case
from repairecon.files.writing import write_whole

__all__ = ["copy_notebooks", "new_case", "read_case", "share_dir", "write_whole"]
