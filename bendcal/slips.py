"""Everyday slips of the pencil and the eye, by which a good reading becomes a wrong one."""

from __future__ import annotations

__all__ = ["length_slip", "swapped_digits", "turn_slip"]

#: What a rule or a tape is misread by: a centimetre, ten, an inch, its own width (common practice).
_RULE_SLIPS_MM = (10.0, 100.0, 25.4, 50.0, 1000.0)


def swapped_digits(value: float) -> float | None:
    """The number with the last two digits before the point exchanged, or None where that changes nothing.

    >>> swapped_digits(75.5), swapped_digits(132.0), swapped_digits(44.0), swapped_digits(7.0)
    (57.5, 123.0, None, None)
    """
    whole, part = divmod(abs(value), 1.0)
    if whole < 10:
        return None
    tens, ones = int(whole) // 10 % 10, int(whole) % 10
    swapped = int(whole) // 100 * 100 + ones * 10 + tens + part
    return None if tens == ones else swapped if value > 0 else -swapped


def length_slip(written_mm: float, expected_mm: float, u_mm: float) -> str:
    """The slip that would make a written length of an expected one, as a question; blank if none would.

    Parameters
    ----------
    written_mm, expected_mm : number [mm], what was written and what it should be
    u_mm : number [mm], standard uncertainty of the two against each other

    >>> length_slip(134.0, 124.3, 0.8)
    'Was the rule read 10 mm too long?'
    """
    near = 2.0 * u_mm + 0.5
    swapped = swapped_digits(written_mm)
    if swapped is not None and abs(swapped - expected_mm) <= near < abs(swapped - written_mm) / 2:
        return f"Were two digits swapped ({written_mm:.6g} for {swapped:.6g})?"
    for slip in _RULE_SLIPS_MM:
        if slip > 4.0 * u_mm and abs(abs(written_mm - expected_mm) - slip) <= near:
            return f"Was the rule read {slip:g} mm too {'long' if written_mm > expected_mm else 'short'}?"
    return ""


def turn_slip(written_deg: float, expected_deg: float, u_deg: float, *, signed: bool) -> str:
    """The slip that would make a written angle or twist of an expected one, as a question; blank if none would.

    Parameters
    ----------
    written_deg, expected_deg : number [deg]
    u_deg : number [deg], standard uncertainty of the two against each other
    signed : whether it is a twist, which has a sign, or a bend's angle

    >>> turn_slip(-37.0, 35.2, 2.0, signed=True), turn_slip(120.0, 60.4, 0.7, signed=False)
    ('Is the twist the other way round (37°)?', 'Was the angle between the legs read (the bend is 180° less that)?')
    """
    near = 2.0 * u_deg + 0.5

    def fits(value: float) -> bool:
        return abs((value - expected_deg + 180.0) % 360.0 - 180.0) <= near < abs(value - written_deg) / 2

    if signed and fits(-written_deg):
        return f"Is the twist the other way round ({-written_deg:.4g}°)?"
    swapped = swapped_digits(written_deg)
    if swapped is not None and fits(swapped):
        return f"Were two digits swapped ({written_deg:.4g} for {swapped:.4g})?"
    if signed:
        other = written_deg - 180.0 if written_deg > 0 else written_deg + 180.0
        return f"Was it counted from the other side (it would be {other:.4g}°)?" if fits(other) else ""
    if fits(180.0 - written_deg):
        return "Was the angle between the legs read (the bend is 180° less that)?"
    for slip in (10.0, -10.0):
        if fits(written_deg + slip):
            return f"Was the protractor read 10° too {'low' if slip > 0 else 'high'}?"
    return ""
