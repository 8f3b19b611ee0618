"""The mark sheet on paper: what goes to the vice with the tube."""

from bendcal.printing.mark_sheet import mark_sheet_pdf
from bendcal.printing.pages import PAPERS_MM

__all__ = ["PAPERS_MM", "mark_sheet_pdf"]
