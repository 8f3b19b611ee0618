"""How well a pattern closes: by how much the measurements miss an end or a check, in plain words."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from bendcal.adjust import BAARDA_ALPHA, Adjustment, Removal, vpv_critical
from bendcal.measures import angle_text, mm_text
from bendcal.pattern.network import Network
from bendcal.pattern.observations import Angle, Direction, Distance, Leg, Observation, Point, Twist, place_words

__all__ = ["closing_sentences", "end_miss", "end_sentences", "together_sentence", "way_words"]

Array = NDArray[np.float64]

#: More checks than this are not read one by one.
_TOLD = 4

_KINDS = ((Leg, "legs"), (Angle, "angles"), (Twist, "twists"))
_WAYS = (("towards +x", "towards -x"), ("towards +y", "towards -y"), ("upwards", "downwards"))


def closing_sentences(network: Network, adjusted: Adjustment) -> list[str]:
    """What each end, direction and straight distance would be without itself, and how all measurements agree.

    Parameters
    ----------
    network, adjusted : the rows of a pattern, and their adjustment
    """
    said = end_sentences(network, adjusted)
    distances = []
    for seen, rows in zip(network.seen, network.rows, strict=True):
        if not isinstance(seen, (Direction, Distance)) or isinstance(seen, Leg) or not adjusted.checked[list(rows)].any():
            continue
        removal = adjusted.removal(rows)
        if isinstance(seen, Direction):
            lean, u = _along(removal)
            said.append(f"The nut at end {seen.end} stands {angle_text(lean)} askew ({_both(u, angle_text)}), {_verdict(removal)}.")
        else:
            distances.append((removal.vpv_drop, _distance(seen, removal)))
    said += _worst_of(distances)
    said.append(together_sentence(adjusted))
    return said


def end_sentences(network: Network, adjusted: Adjustment) -> list[str]:
    """By how much the rest misses end B, or end A where nothing is known of B; none if that cannot be told.

    Parameters
    ----------
    network, adjusted : the rows of a pattern, and their adjustment
    """
    seen = _end_rows(network, adjusted)
    return [_end(network, adjusted, *seen)] if seen else []


def end_miss(network: Network, adjusted: Adjustment) -> tuple[str, Array] | None:
    """By how much the rest misses end B, or end A where nothing is known of B, as a vector; None if that cannot be told.

    Parameters
    ----------
    network, adjusted : the rows of a pattern, and their adjustment

    Returns
    -------
    The end, and (3,) [mm] from where its point was measured to where the rest would put it; 0 along what was not measured
    """
    seen = _end_rows(network, adjusted)
    return (seen[0], _miss(network, *seen[1:])) if seen else None


def _end_rows(network: Network, adjusted: Adjustment) -> tuple[str, list[int], Removal] | None:
    for end in ("B", "A"):  # seen from the other end the same miss would be told twice
        rows = _rows(network, lambda seen, end=end: isinstance(seen, Point) and seen.place == end)
        removal = adjusted.removal(rows) if rows else None
        if removal is not None and removal.rank > 0:
            return end, rows, removal
    return None


def _miss(network: Network, rows: list[int], removal: Removal) -> Array:
    axes = network.axes_of(rows)
    miss = np.zeros(3)
    for axis, error in zip(axes, removal.error, strict=True):
        miss[axis] -= error / np.count_nonzero(axes == axis)
    return miss


def way_words(miss: Array) -> str:
    """Which way a vector points, in words; z is upwards.

    >>> way_words(np.array([0.5, 0.0, -7.0])), way_words(np.array([3.0, 3.0, 0.0]))
    ('mostly downwards', 'towards +x and towards +y')
    """
    share = np.abs(miss) / max(float(np.linalg.norm(miss)), 1e-300)
    words = [pair[int(part < 0)] for pair, part in zip(_WAYS, miss, strict=True)]
    order = np.argsort(-share, kind="stable")
    if share[order[0]] > 0.85:
        return f"mostly {words[order[0]]}"
    return " and ".join(words[i] for i in order if share[i] > 0.4)


def _end(network: Network, adjusted: Adjustment, end: str, rows: list[int], removal: Removal) -> str:
    """How the rest misses the point of an end."""
    miss = _miss(network, rows, removal)
    size, u = _along(removal)
    nodes = network.nodes_of(adjusted.x)
    chord = (nodes[-1] - nodes[0]) * (1.0 if end == "B" else -1.0)
    straight = float(miss @ chord) / max(float(np.linalg.norm(chord)) * float(np.linalg.norm(miss)), 1e-300)
    if removal.rank == 1 and abs(straight) > 0.95:
        far = "far from" if straight > 0 else "near"
        way = f"too {far} {place_words('A' if end == 'B' else 'B')}"
    else:
        way = way_words(miss)
    return f"{_subject(network, end)} miss end {end} by {mm_text(size)} ({_both(u, mm_text)}), {way}, {_verdict(removal)}."


def _distance(seen: Distance, removal: Removal) -> str:
    """How a straight distance differs from what the rest says."""
    error, u = float(removal.error[0]), float(np.sqrt(removal.covariance[0, 0]))
    says = f"{seen.words[0].upper()}{seen.words[1:]} was measured {mm_text(seen.mm)}; by the rest it is {mm_text(seen.mm - error)}"
    return f"{says}: they differ by {mm_text(abs(error))} ({_both(u, mm_text)}), {_verdict(removal)}."


def _worst_of(distances: list[tuple[float, str]]) -> list[str]:
    """Those distances that stand out; where there are many, only the worst of the others."""
    if len(distances) <= _TOLD:
        return [sentence for _, sentence in distances]
    out = [sentence for drop, sentence in distances if drop > vpv_critical(1, alpha=BAARDA_ALPHA)]
    within = [one for one in distances if one[0] <= vpv_critical(1, alpha=BAARDA_ALPHA)]
    if within:
        out.append(f"Of {len(within)} {'other ' if out else ''}straight distances the worst: {max(within)[1]}")
    return out


def _subject(network: Network, end: str) -> str:
    """The measurements that lead to an end, by their kinds; what holds the other end is only where they begin."""
    others = [
        seen for seen in network.seen
        if not (isinstance(seen, Point) and seen.place in ("A", "B")) and not (isinstance(seen, Direction) and seen.end != end)
    ]  # fmt: skip
    kinds = [name for kind, name in _KINDS if any(type(seen) is kind for seen in others)]
    if kinds and all(type(seen) in (Leg, Angle, Twist) for seen in others):
        return f"The {', '.join(kinds[:-1])}{' and ' if len(kinds) > 1 else ''}{kinds[-1]}"
    return "The other measurements"


def _along(removal: Removal) -> tuple[float, float]:
    """The size of an error of several numbers, and its standard uncertainty along itself."""
    size = float(np.linalg.norm(removal.error))
    way = removal.error / size if size > 0 else np.eye(len(removal.error))[0]
    return size, float(np.sqrt(max(way @ removal.covariance @ way, 0.0)))


def _both(u: float, say) -> str:
    return f"95 %: ± {say(1.96 * u)}"


def _verdict(removal: Removal) -> str:
    if removal.vpv_drop <= vpv_critical(removal.rank):
        return "which the tools' uncertainties explain"
    if removal.vpv_drop <= vpv_critical(removal.rank, alpha=BAARDA_ALPHA):
        return "which is rather more than the tools' uncertainties explain"
    return "which is more than the tools' uncertainties explain"


def together_sentence(adjusted: Adjustment) -> str:
    """How many readings there are, how many check the others, and how they do."""
    rows, checks = len(adjusted.sd), adjusted.dof
    if checks == 0:
        return f"{rows} readings, and just as many are needed: none checks another."
    are, check = "is" if rows - checks == 1 else "are", "checks" if checks == 1 else "check"
    text = f"{rows} readings, of which {rows - checks} {are} needed and {checks} {check} the others: "
    text += f"they are off by {adjusted.s0:.1f} times what their uncertainties lead to expect"
    if adjusted.vpv > vpv_critical(checks, alpha=BAARDA_ALPHA):
        return f"{text}. That is more than chance does once in 1000 times."
    return f"{text}, {'as it should be' if adjusted.vpv <= vpv_critical(checks) else 'rather much'}."


def _rows(network: Network, wanted) -> list[int]:
    pairs: Iterable[tuple[Observation, tuple[int, ...]]] = zip(network.seen, network.rows, strict=True)
    return [row for seen, rows in pairs if wanted(seen) for row in rows]
