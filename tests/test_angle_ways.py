"""Two ways to an angle: what is drawn and said is of the numbers that were given."""

import matplotlib
import numpy as np
import pytest

from bendcal.figures.angle_ways import angle_ways


def words_of(picture) -> list[str]:
    """All that is written on it."""
    return [text.get_text() for text in picture.findobj(matplotlib.text.Text) if text.get_text()]


def test_both_scales_of_a_protractor_are_told() -> None:
    """Counted from straight on and from leg A, they add up to 180."""
    picture = angle_ways(62.5)
    assert "Leg B lies at 62.5°" in picture.alt and "shows 117.5°: 180° − 117.5° = 62.5°" in picture.alt
    assert "62.5°" in words_of(picture)


def test_the_chord_is_the_one_that_was_measured_or_the_one_to_expect() -> None:
    """Given, it is said as given; left out, it is 2·L·cos(θ/2) to a tenth."""
    assert "130.1 mm is an angle of 87.4°" in angle_ways(87.4, reach_mm=90, chord_mm=130.1).alt
    assert f"{2 * 80 * np.cos(np.radians(30)):.1f} mm is an angle of 60°" in angle_ways(60, reach_mm=80).alt
    assert {"138.6 mm", "80 mm"} <= set(words_of(angle_ways(60, reach_mm=80)))


def test_the_chords_line_is_drawn_between_the_scribes() -> None:
    """Its ends lie equally far from the apex, at the angle of the bend."""
    ax = angle_ways(40).axes[0]
    chord = max((np.asarray(one.get_xydata()) for one in ax.lines if one.get_linewidth() == 2.0 and len(one.get_xydata()) == 2), key=lambda xy: np.ptp(xy))
    apex = np.array([163.0, 34.0])
    legs = chord - apex
    assert np.hypot(*legs[0]) == pytest.approx(np.hypot(*legs[1]))
    between = np.degrees(np.arccos(legs[0] @ legs[1] / np.hypot(*legs[0]) / np.hypot(*legs[1])))
    assert 180 - between == pytest.approx(40)


@pytest.mark.parametrize("angle", [2.0, 20.0, 90.0, 135.0, 170.0])
def test_no_word_is_cut_off(angle: float) -> None:
    """From nearly straight to nearly back on itself, all of it lies on the paper."""
    picture = angle_ways(angle, reach_mm=25.0, od_mm=8.0)
    picture.png()
    width, height = picture.get_size_inches() * picture.dpi
    for text in picture.findobj(matplotlib.text.Text):
        if text.get_text():
            box = text.get_window_extent()
            assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= width and box.y1 <= height, text.get_text()


def test_what_is_no_bend_is_refused() -> None:
    """So is a length that is none."""
    with pytest.raises(ValueError, match=r"angle_deg is 180; a bend is more than 0° and less than 180°"):
        angle_ways(180)
    with pytest.raises(ValueError, match=r"reach_mm is 100.0 and chord_mm -1; each is more than 0 mm"):
        angle_ways(90, chord_mm=-1)
