"""The pictures that show how the fit thinks."""

import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from bendcal.calibration import calibrate
from bendcal.figures import teaching
from bendcal.files.folder import read_shop
from bendcal.prior import pool_of

SAMPLE = Path(__file__).resolve().parent.parent / "sample_measurements"


@pytest.fixture(scope="module")
def shop():
    return read_shop(SAMPLE)


@pytest.fixture(scope="module")
def cal(shop):
    return calibrate(shop)


def _texts(picture):
    return [text.get_text() for ax in picture.axes for text in ax.texts]


def test_every_bender_tube_and_law_stands_in_the_diagram(cal):
    """One box a bender, one a tube, one a law, and two lines to each law."""
    picture = teaching.shared_causes(cal)
    texts = _texts(picture)
    for bender, tube in cal.laws:
        assert texts.count(bender) == 1
        assert texts.count(tube) == 1
    assert texts.count("a, b, R, λ, m") == len(cal.laws)
    assert len(picture.axes[0].lines) == 2 * len(cal.laws)


def test_no_text_of_the_diagram_leaves_the_paper(cal):
    """All writing lies on the page."""
    picture = teaching.shared_causes(cal)
    canvas = FigureCanvasAgg(picture)
    canvas.draw()
    renderer = canvas.get_renderer()
    page = picture.bbox
    for text in picture.axes[0].texts:
        box = text.get_window_extent(renderer)
        assert box.x0 >= page.x0 and box.x1 <= page.x1 and box.y0 >= page.y0 and box.y1 <= page.y1, text.get_text()


def test_before_and_after_tell_the_prior_and_the_law(shop, cal):
    """The five panels' numbers are those of the law, and the words those of the prior."""
    law = cal.law("small", "steel-3/16")
    picture = teaching.before_and_after(shop, law)
    shown = [float(re.match(r"[−\d.]+", ax.get_xlabel())[0].replace("−", "-")) for ax in picture.axes]
    assert shown == pytest.approx(law.parameters.to_numpy(), abs=0.006)
    prior_sd = np.sqrt(np.diag(pool_of(shop, [("small", "steel-3/16")]).marginal_covariance()[0]))[:5]
    told = [float(found) for found in re.findall(r"before \S+ ± ([\d.]+)", picture.alt)]
    assert told == pytest.approx(prior_sd, rel=0.05)


def test_bars_are_the_leverage_in_the_order_of_the_dial(cal):
    """One bar a piece that counts, as high as its leverage."""
    picture = teaching.taught(cal, "small", "steel-3/16")
    mine = cal.residuals.query("bender == 'small' and tube == 'steel-3/16'").sort_values("dial_deg", kind="stable")
    assert [bar.get_height() for bar in picture.axes[0].patches] == pytest.approx(100 * mine["leverage"].to_numpy())
