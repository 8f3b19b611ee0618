"""Run by each notebook's kernel as it starts: errors of the kit are told in plain words, whichever cell is run first."""

try:
    from bendcal.plainly import plain_errors

    plain_errors()
except Exception:  # whatever is amiss shows where a page needs it, in its own words
    pass
