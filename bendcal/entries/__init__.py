"""What is written into a shop folder: readings appended, rows added, corrected or taken out, lines entered; each change noted first, no other byte altered."""

from bendcal.entries.adding import FACT_COLUMNS, add_row, called, columns_for, file_of, kind_of, rows_of, would_be
from bendcal.entries.appending import append_offcut, next_name
from bendcal.entries.correcting import correct_row, row_texts, take_out_row
from bendcal.entries.history import history_file
from bendcal.entries.line_changing import begin_line, change_facts, faults_of_shape, put_line_aside, put_shape
from bendcal.entries.line_index import BEING_ENTERED, lines_table
from bendcal.entries.line_renaming import rename_line
from bendcal.entries.line_rows import ROW_KINDS, LineRows, rows_of_line
from bendcal.entries.line_saving import save_line
from bendcal.entries.mirroring import save_mirrored
from bendcal.entries.pattern_saving import add_measurements
from bendcal.entries.setting_aside import correct_offcut, set_aside

__all__ = [
    "BEING_ENTERED", "FACT_COLUMNS", "ROW_KINDS", "LineRows", "add_measurements", "add_row", "append_offcut", "begin_line", "called", "change_facts",
    "columns_for", "correct_offcut", "correct_row", "faults_of_shape", "file_of", "history_file", "kind_of", "lines_table", "next_name",
    "put_line_aside", "put_shape", "rename_line", "row_texts", "rows_of", "rows_of_line", "save_line", "save_mirrored", "set_aside", "take_out_row",
    "would_be",
]  # fmt: skip
