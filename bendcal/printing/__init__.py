"""What goes to the vice on paper: the mark sheet, the true-scale pages, the bends in the bender, the worksheet to fill in."""

from bendcal.printing.bending_pages import bending_pdf
from bendcal.printing.mark_sheet import mark_sheet_pdf
from bendcal.printing.pages import PAPERS_MM
from bendcal.printing.reference_page import reference_page_pdf, table_pages_pdf
from bendcal.printing.true_scale import true_scale_pdf
from bendcal.printing.worksheet import worksheet_pdf

__all__ = ["PAPERS_MM", "bending_pdf", "mark_sheet_pdf", "reference_page_pdf", "table_pages_pdf", "true_scale_pdf", "worksheet_pdf"]
