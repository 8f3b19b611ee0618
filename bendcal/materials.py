"""The alloys that tubes are made of, each number beside its source.

Each number's source ends in its status: *read* (seen in the source or a stored copy),
*secondary* (read in a page that quotes the source), *memory*, *derived*, *common practice*.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches
from math import e, log
from types import MappingProxyType

import pandas as pd

from bendcal.alloy import NUMBERS, Alloy

__all__ = ["ALLOYS", "Alloy", "alloy_for", "alloy_table"]

PROOF_STRAIN = 0.002  # the strain at which a 0.2 % proof stress is read
USUAL_N = 0.25  # between the table's 0.21 and 0.44, nearer the low end: see alloy_for
GIVEN_SPREAD = 0.25
GUESSED_SPREAD = 0.5


def _from_strength(ultimate_mpa: float, elongation: float) -> tuple[float, float]:
    """K [MPa] and n from tensile strength [MPa] and elongation [1], after Considère.

    A power-law metal necks at a true strain of n. The elongation at break includes the
    neck, so n comes out as an upper bound. That matters little: with n = 0.25 in place of
    0.35, and the same strength, the stress at a strain of 0.12 is 9 % higher.
    """
    n = log(1 + elongation)
    return ultimate_mpa * (e / n) ** n, n


_CUNI_K, _CUNI_N = _from_strength(303.0, 0.42)
_AL_K, _AL_N = _from_strength(110.0, 0.30)

_TABLE = (
    Alloy(
        "copper-nickel 90/10", 124.0, 110.0, round(_CUNI_K), round(_CUNI_N, 2), 0.35,
        {
            "e_gpa": "C70600, 18.0e6 psi, supplier data: read",
            "yield_mpa": "C70600 annealed strip, 16 ksi, supplier data: read; annealed tube "
            "100 to 160 MPa, Copper Development Association: read",
            "k_mpa": "from UTS 303 MPa (44 ksi, annealed strip, supplier data: read) and n: derived",
            "n": "ln 1.42 from 42 % elongation (supplier data: read), an upper bound: derived",
            "flow_spread": "no published K and n were found, and the anneal of a tube varies: "
            "wider than where a curve was measured",
        },
    ),
    Alloy(
        "low-carbon steel", 209.0, 170.0, 600.0, 0.21, 0.30,
        {
            "e_gpa": "Groover: read",
            "yield_mpa": "at least, brazed double-wall brake tube, SAE J527: secondary",
            "k_mpa": "Callister, annealed: secondary; Groover table 3.4 has 500: read",
            "n": "Callister, annealed: secondary; Groover table 3.4 has 0.25: read",
            "flow_spread": "the first textbook is 31 % above the second at a strain of 0.12, and makers' "
            "tubes differ in anneal",
        },
    ),
    Alloy(
        "stainless 304", 193.0, 205.0, 1400.0, 0.44, 0.25,
        {
            "e_gpa": "28e6 psi, two suppliers' data sheets: read",
            "yield_mpa": "at least, annealed tube to ASTM A269, a supplier's page: secondary",
            "k_mpa": "Callister, annealed: secondary; Groover has 1200: read",
            "n": "Callister, annealed: secondary; Groover has 0.40: read",
            "flow_spread": "the textbooks agree to 7 % at a strain of 0.12, but products of one "
            "heat differed twofold in yield (ASME J. Eng. Mater. Technol. 97(4), 343, abstract: read)",
        },
    ),
    Alloy(
        "copper", 117.0, 62.0, 530.0, 0.44, 0.30,
        {
            "e_gpa": "Smithells, 8th ed., table 22.7: read",
            "yield_mpa": "at least, annealed tube, temper O60, ASTM B75: read",
            "k_mpa": "Callister, annealed: secondary",
            "n": "Callister, annealed: secondary",
            "flow_spread": "Groover has half the strength (300 MPa, 0.50: read; its UTS of 129 MPa "
            "is too low for copper), and soft copper hardens by handling",
        },
        brake_caution="Plain copper work-hardens and cracks under vibration (FAA AC 65-9A), and is "
        "widely refused for brake lines (common practice). Use tube that is approved for brakes, and "
        "ask what the law demands where the vehicle is used.",
    ),
    Alloy(
        "aluminium 3003", 69.0, 41.0, round(_AL_K), round(_AL_N, 2), 0.35,
        {
            "e_gpa": "two data sheets, 69 and 70 GPa: read",
            "yield_mpa": "annealed (O), data sheet: read",
            "k_mpa": "from UTS 110 MPa (annealed, data sheet: read) and n: derived",
            "n": "ln 1.30 from 30 % elongation (data sheet: read), an upper bound: derived",
            "flow_spread": "derived K and n, as for copper-nickel",
        },
        brake_caution="Soft aluminium tube is for fuel and vent lines, not for brakes (common practice).",
    ),
)

ALLOYS: Mapping[str, Alloy] = MappingProxyType({alloy.alloy: alloy for alloy in _TABLE})


def alloy_for(
    name: str,
    *,
    e_gpa: float | None = None,
    yield_mpa: float | None = None,
    k_mpa: float | None = None,
    n: float | None = None,
) -> Alloy:
    """The alloy of a tube: from the table, from numbers of its own, or both.

    Parameters
    ----------
    name : a key of :data:`ALLOYS` in any case and spacing, or any other name
    e_gpa : modulus [GPa]; what is given here wins over the table
    yield_mpa : yield or 0.2 % proof stress [MPa]; likewise
    k_mpa, n : strength coefficient [MPa] and hardening exponent [1]; likewise

    A name outside the table needs e_gpa, and either k_mpa and n or yield_mpa. From a yield
    stress alone the power law is drawn through it at 0.2 % strain with n = 0.25, as for an
    annealed tube: 2.8 Y at a strain of 0.12, where the table's alloys have 2.3 to 3.4 times
    their yield. Perfect plasticity at the yield would have 1 (too little by as much), and a
    drawn, hard tube does: hence a flow_spread of 0.5.

    Raises
    ------
    ValueError : where the name is unknown and numbers are missing, or a number is unusable

    Examples
    --------
    >>> alloy_for("Copper-Nickel  90 / 10").e_gpa
    124.0
    >>> alloy_for("brass", e_gpa=110, yield_mpa=120).k_mpa
    567.0
    """
    given = {"e_gpa": e_gpa, "yield_mpa": yield_mpa, "k_mpa": k_mpa, "n": n}
    given = {column: float(value) for column, value in given.items() if value is not None}
    known = {_squeezed(key): alloy for key, alloy in ALLOYS.items()}.get(_squeezed(name))
    if known is not None:
        if not given:
            return known
        spread = GIVEN_SPREAD if {"k_mpa", "n"} <= given.keys() else known.flow_spread
        sources = known.sources | {column: "given for this tube" for column in given}
        return replace(known, **given, flow_spread=spread, sources=sources)
    return _of_its_own(name.strip(), given)


def _of_its_own(name: str, given: dict[str, float]) -> Alloy:
    """An alloy outside the table, from as many numbers as there are."""
    if "e_gpa" not in given or not ({"k_mpa", "n"} <= given.keys() or "yield_mpa" in given):
        lacks = [column for column in NUMBERS if column not in given]
        near = get_close_matches(_squeezed(name), [_squeezed(key) for key in ALLOYS], n=1, cutoff=0.5)
        meant = [key for key in ALLOYS if _squeezed(key) in near]
        raise ValueError(
            f"Alloy {name!r} is not in the table, and {', '.join(lacks)} are blank. "
            + (f"Did you mean {meant[0]!r}? " if meant else "")
            + f"The table has: {', '.join(ALLOYS)}. Take one of these names, or fill in e_gpa, "
            "and beside it k_mpa and n (or at least yield_mpa)."
        )
    numbers = {"n": USUAL_N} | given
    sources = {column: "given for this tube" for column in given}
    # A number of no use is refused by its own name, not by that of what follows from it.
    Alloy(name, **({"yield_mpa": 1.0, "k_mpa": 1.0} | numbers), flow_spread=GUESSED_SPREAD)
    at_proof = PROOF_STRAIN ** numbers["n"]
    if "k_mpa" not in given:
        numbers["k_mpa"] = float(round(numbers["yield_mpa"] / at_proof))
        sources["k_mpa"] = "power law through the yield stress at 0.2 % strain: derived"
    if "yield_mpa" not in given:
        numbers["yield_mpa"] = numbers["k_mpa"] * at_proof
        sources["yield_mpa"] = "power law at 0.2 % strain: derived"
    if "n" not in given:
        sources["n"] = "usual for annealed tube, within the table's range: common practice"
    measured = {"k_mpa", "n"} <= given.keys()
    sources["flow_spread"] = (
        "a curve of this alloy, but not of this very tube" if measured
        else "the curve is a guess from few numbers, and the temper is unknown"
    )
    return Alloy(
        name, **numbers, flow_spread=GIVEN_SPREAD if measured else GUESSED_SPREAD, sources=sources,
        brake_caution=f"Nothing is known here of {name!r} in brake lines. Make sure that this very "
        "tube is approved for brakes.",
    )


def _squeezed(name: str) -> str:
    return re.sub(r"[\s_-]+", "", name).lower()


def alloy_table() -> pd.DataFrame:
    """Every number of the table beside its source, for reading and printing.

    Returns
    -------
    DataFrame with columns alloy, number, value, source

    Examples
    --------
    >>> print(alloy_table().query("alloy == 'copper'")[["number", "value"]].to_string(index=False))
         number  value
          e_gpa 117.00
      yield_mpa  62.00
          k_mpa 530.00
              n   0.44
    flow_spread   0.30
    """
    rows = [
        (alloy.alloy, number, getattr(alloy, number), alloy.sources[number])
        for alloy in ALLOYS.values()
        for number in (*NUMBERS, "flow_spread")
    ]
    return pd.DataFrame(rows, columns=["alloy", "number", "value", "source"])
