"""A job as small tables in plain words: the order of making, clips, nuts and flares, totals."""

from __future__ import annotations

from bendcal.job import Job
from bendcal.layout import TextTable
from bendcal.measures import inch_text
from bendcal.supports import Supports

__all__ = ["bending_sentences", "clips_table", "fittings_table", "order_table", "practice_sentences", "tube_table"]


def _length(mm: float, inches: bool, decimals: int = 1) -> str:
    return inch_text(mm) if inches else f"{mm:.{decimals}f}"


def order_table(job: Job, *, inches: bool = False) -> TextTable:
    """The lines in the order of making, each with its cut length and the reason for its place.

    Parameters
    ----------
    job : what :func:`bendcal.job.plan_job` returned
    inches : lengths in inches and thirty-seconds instead of mm
    """
    tasks = job.tasks
    return TextTable({
        "": [str(k) for k in range(1, len(tasks) + 1)],
        "line": [task.line for task in tasks],
        f"cut {'in' if inches else 'mm'}": [_length(task.sheet.cut_length_mm, inches) for task in tasks],
        "why now": [task.reason for task in tasks],
    })  # fmt: skip


def bending_sentences(job: Job) -> list[str]:
    """For each line how its bends are made, those that are not made in their row from end A on first.

    Parameters
    ----------
    job : what :func:`bendcal.job.plan_job` returned
    """
    told = sorted((task for task in job.tasks if task.bending), key=lambda task: task.in_row)
    return [f"{task.line}{'' if task.in_row else ', NOT in the row of the tube'}: {task.bending}" for task in told]


def practice_sentences(job: Job) -> list[str]:
    """What is to be made first on scrap: how many pieces, how long, of which tube, for what.

    Parameters
    ----------
    job : what :func:`bendcal.job.plan_job` returned
    """
    return [f"{each.count} × {each.length_mm:g} mm {each.tube}: {each.what}" for each in job.practice]


def tube_table(job: Job, *, inches: bool = False) -> TextTable:
    """For each tube what is needed, what is on hand, and what has to be bought.

    Parameters
    ----------
    job : what :func:`bendcal.job.plan_job` returned
    inches : lengths in inches and thirty-seconds instead of mm
    """
    unit, totals = "in" if inches else "mm", job.totals
    return TextTable({
        "tube": [total.tube for total in totals],
        f"lines {unit}": [_length(total.lines_mm, inches) for total in totals],
        f"practice {unit}": [_length(total.practice_mm, inches, 0) for total in totals],
        f"on hand {unit}": [_length(total.on_hand_mm, inches, 0) for total in totals],
        f"missing {unit}": [_length(total.missing_mm, inches) if total.missing_mm else "" for total in totals],
        f"buy {unit}": [_length(total.to_buy_mm, inches, 0) if total.missing_mm else "" for total in totals],
    })  # fmt: skip


def fittings_table(job: Job) -> TextTable:
    """Nuts, olives and flares, and how many flares are for practice.

    Parameters
    ----------
    job : what :func:`bendcal.job.plan_job` returned
    """
    fit = job.fittings
    rows = [(f"nut {end}", count, 0) for end, count in fit.nuts.items()]
    rows += [(f"olive {end}", count, 0) for end, count in fit.olives.items()]
    forms = dict.fromkeys([*fit.flares, *fit.practice_flares])
    rows += [(f"{form} on {tube}", fit.flares.get((tube, form), 0), fit.practice_flares.get((tube, form), 0)) for tube, form in forms]
    return TextTable({
        "what": [what for what, _, _ in rows],
        "for lines": [str(count) if count else "" for _, count, _ in rows],
        "for practice": [str(count) if count else "" for _, _, count in rows],
    })  # fmt: skip


def clips_table(supports: Supports, *, inches: bool = False) -> TextTable:
    """Where the clips of one line go.

    Parameters
    ----------
    supports : what :func:`bendcal.supports.supports_for` returned
    inches : along the tube in inches and thirty-seconds instead of mm; places in space stay in mm
    """
    unit, clips = "in" if inches else "mm", supports.clips
    return TextTable({
        "clip": [str(clip.clip) for clip in clips],
        f"from cut end A {unit}": [_length(clip.mark_mm, inches) for clip in clips],
        f"from seat A {unit}": [_length(clip.from_seat_mm, inches) for clip in clips],
        "x, y, z mm": [", ".join(str(round(v)) for v in (clip.x_mm, clip.y_mm, clip.z_mm)) for clip in clips],
        "where": [f"leg {clip.leg}, {_length(clip.beside_mm, inches, 0)} {unit} from {clip.beside}" for clip in clips],
    })  # fmt: skip
