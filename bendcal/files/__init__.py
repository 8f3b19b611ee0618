"""The files of a shop folder, read: tables as spreadsheets leave them, each cell checked, every fault told with its place; and the log of offcuts."""

from bendcal.files.bodies import read_bodies, read_obstacles
from bendcal.files.cells import Column, cell_value, header_key, name_key, tidy
from bendcal.files.columns import BENDER_BODIES, BENDERS, ENDS, FLARES, LEGS, LINES, NODES, OBSTACLES, OFFCUTS, STOCK, TOOLS, TUBES
from bendcal.files.csvtext import CsvText
from bendcal.files.facts import Facts, read_facts
from bendcal.files.finding import find_file, listed
from bendcal.files.flares import read_flares
from bendcal.files.folder import read_shop, shop_folder
from bendcal.files.lines import name_fault
from bendcal.files.log import LOG, SIDE, KeptAside, cell_text, fold_in, locked, log_path, read_log, row_text, save_log, with_row
from bendcal.files.patterns import PATTERN, TURNS, WHATS, pattern_file, read_pattern
from bendcal.files.readings import offcut_of
from bendcal.files.sample import is_sample
from bendcal.files.stock import read_stock
from bendcal.files.tables import Record, Table, table_of

__all__ = [
    "BENDERS", "BENDER_BODIES", "ENDS", "FLARES", "LEGS", "LINES", "LOG", "NODES", "OBSTACLES", "OFFCUTS", "PATTERN", "SIDE", "STOCK", "TOOLS", "TUBES", "TURNS", "WHATS",
    "Column", "CsvText", "Facts", "KeptAside", "Record", "Table", "cell_text", "cell_value", "find_file", "fold_in", "header_key",
    "is_sample", "listed", "locked", "log_path", "name_fault", "name_key", "offcut_of", "pattern_file", "read_bodies", "read_facts", "read_flares", "read_log", "read_obstacles",
    "read_pattern", "read_shop", "read_stock", "row_text", "save_log", "shop_folder", "table_of", "tidy", "with_row",
]  # fmt: skip
