"""What goes to the vice on paper: the mark sheet, the true-scale pages, the worksheet to fill in."""

from bendcal.printing.mark_sheet import mark_sheet_pdf
from bendcal.printing.pages import PAPERS_MM
from bendcal.printing.true_scale import true_scale_pdf
from bendcal.printing.worksheet import worksheet_pdf

__all__ = ["PAPERS_MM", "mark_sheet_pdf", "true_scale_pdf", "worksheet_pdf"]
