"""Invented benders: a simulator that stands apart from the kit and tells the truth about itself.

Nothing here imports the kit: sections are integrated, tubes are released and lines are bent in
space by other routes, so that what the kit learns and marks out can be held against it. Every
bender, tube and reading that comes out of it is invented.
"""

from .bender import Bends, InventedBender, InventedTube, TrueLaw, bend, springback, true_law
from .line import BentLine, bend_line, dihedral_deg, fit_onto, form, ideal_marks, nodes_of
from .offcuts import InventedTool, bend_offcuts, rows
from .section import FlowLaw, moment_nmm, second_moment_mm4
from .shops import InventedShop, draw_offcuts, draw_shop, shop_tables
from .tables import csv_text, write_tables

__all__ = [
    "Bends",
    "BentLine",
    "FlowLaw",
    "InventedBender",
    "InventedShop",
    "InventedTool",
    "InventedTube",
    "TrueLaw",
    "bend",
    "bend_line",
    "bend_offcuts",
    "csv_text",
    "dihedral_deg",
    "draw_offcuts",
    "draw_shop",
    "fit_onto",
    "form",
    "ideal_marks",
    "moment_nmm",
    "nodes_of",
    "rows",
    "second_moment_mm4",
    "shop_tables",
    "springback",
    "true_law",
    "write_tables",
]
