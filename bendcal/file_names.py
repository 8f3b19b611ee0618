"""Names that become the names of files: those that some system would not take, and why."""

from __future__ import annotations

import re

__all__ = ["unfit_name"]

_SIGNS = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')
#: Windows keeps these for its devices, in any case and before any full stop: aux.csv is a device too.
#: Source: the system's own rules for naming files, as several pages quote them word for word (secondary).
_DEVICES = re.compile(r"(?:con|prn|aux|nul|(?:com|lpt)[0-9¹²³])", re.IGNORECASE)
#: Disks take 255 bytes of name; what is left serves endings and temporary names.
_MOST_BYTES = 150


def unfit_name(name: str) -> str:
    """Why a file cannot carry this name on every system, as a rule in one sentence; blank where it can.

    Parameters
    ----------
    name : without the file's ending

    Examples
    --------
    >>> unfit_name("rear left"), unfit_name("v1.2")
    ('', '')
    >>> unfit_name("aux")
    'Windows keeps the name aux for a device, so no file can carry it.'
    """
    if not name.strip():
        return "A name has at least one letter or figure."
    if name != name.strip() or name[0] == "." or name[-1] == ".":
        return "A file carries the name, so it neither begins nor ends with a blank or a full stop."
    if _SIGNS.search(name):
        return "A file carries the name, so it holds none of < > : \" / \\ | ? * and no sign that does not show."
    device = name.partition(".")[0].strip()
    if _DEVICES.fullmatch(device):
        return f"Windows keeps the name {device} for a device, so no file can carry it."
    if len(name.encode("utf-8", "surrogatepass")) > _MOST_BYTES:
        return f"A file carries the name, and {len(name)} letters are too many for it."
    return ""
