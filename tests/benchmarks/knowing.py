"""The best that any estimator could do: it knows how the simulator in tests/invented draws benders and tubes.

It is told what no shop can know: the means and spreads of everything that is drawn, the form of the simulator's
own law, each bender's true scatter of settings and marks, and the tools as they are. From the readings of all tubes of a
bender it works out the most probable bender and tubes by Gauss–Newton; so nearly linear is all of this that these are
their posterior means as well, and laws from them have the least mean square error that the readings allow. What is drawn
from a uniform range counts as normal with the same mean and spread, a reading's rounding as an error of its step/√12.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from invented.offcuts import PROTRACTOR, RULE  # noqa: E402
from invented.section import FlowLaw, moment_nmm, second_moment_mm4  # noqa: E402
from invented.shops import ALLOYS  # noqa: E402

__all__ = ["Knowing"]

_ANGLE_VARIANCE, _LENGTH_VARIANCE = (tool.sd**2 + tool.step**2 / 12 for tool in (PROTRACTOR, RULE))
#: Of a bender: dial zero, dial gain, lever give (times a low-carbon steel tube's moment), die radius less the stated one, mark
#: offset, stretch; then of each tube: log strength, exponent, wall, stretch: as tests/invented/shops draws them.
_BENDER_MEAN = np.array([0.0, 1.0, 1.35, 0.0, 0.0, 0.0225])
_BENDER_SD = np.array([1.5, 0.012, 2.3 / 12**0.5, (0.3**2 + 0.5**2 / 12) ** 0.5, 3.0, 0.035 / 12**0.5])
_TUBE_SD = np.array([0.15, 0.03, 0.03, 0.004])
#: From specimen to specimen: log strength and wall [mm].
_SPECIMEN = ((0, 0.02), (2, 0.015))


class Knowing:
    """The posterior of one bender and its tubes, all of one size, from their offcuts.

    laws : (T, 5) a, b, R, λ, m of each tube
    covariance : (T, 5, 5) how well they are known
    """

    def __init__(self, bender, tubes, arrays) -> None:
        """bender, tubes : of the simulator, for what is known of them; arrays : of each tube, as `accuracy.measure` has them."""
        self._bender, self._count = bender, len(tubes)
        self._od, self._wall = tubes[0].od_mm, tubes[0].wall_mm
        self._e, self._k, self._n = (np.array([ALLOYS[t.alloy][i] for t in tubes], float) for i in range(3))
        self._e *= 1000.0
        self._group = np.repeat(np.arange(len(tubes)), [len(a["dial_deg"]) for a in arrays])
        dial, mark, length, angle, leg_a, leg_b = (
            np.concatenate([a[name] for a in arrays]) for name in ("dial_deg", "mark_mm", "length_mm", "angle_deg", "leg_a_mm", "leg_b_mm")
        )
        self._dial, self._read = dial, np.stack([angle, leg_a - mark, leg_b - (length - mark)], axis=1)
        steel = ALLOYS["low-carbon steel"]
        pull = moment_nmm(self._od, self._wall, bender.stated_radius_mm, e_mpa=1000 * steel[0], flow=FlowLaw("power", steel[1:]))
        self._pull_nm = float(pull) / 1000
        self._mean = np.concatenate([_BENDER_MEAN + [0, 0, 0, bender.stated_radius_mm, 0, 0], np.zeros(4 * len(tubes))])
        self._sd = np.concatenate([_BENDER_SD, np.repeat(_TUBE_SD, len(tubes))])
        self._solve()

    def _laws(self, x: np.ndarray) -> np.ndarray:
        """(S, T, 5) from (S, 6 + 4T)."""
        zero, gain, give, die, offset, stretch = (x[:, i, None] for i in range(6))
        strength, n, wall, own = np.moveaxis(x[:, 6:].reshape(len(x), 4, self._count), 1, 0)
        e, wall = np.broadcast_to(self._e, strength.shape), self._wall + wall
        flow = FlowLaw("power", (np.broadcast_to(self._k, strength.shape)[..., None, None], (self._n + n)[..., None, None]))
        moment = moment_nmm(self._od, wall, die + 0.0 * wall, e_mpa=e[..., None, None], flow=flow, factor=np.exp(strength), angles=32)
        ratio = 1 - moment * die / (e * second_moment_mm4(self._od, wall))
        slope, radius = ratio / gain, die / ratio
        a = -slope * (zero + give / self._pull_nm * moment / 1000)
        return np.stack([a, slope, radius, radius * (1 - stretch - own), offset + 0.0 * radius], axis=-1)

    def _shown(self, laws: np.ndarray, off_deg: float = 0.0) -> np.ndarray:
        """(S, N, 3) what each piece shows under these laws, its angle off by so much."""
        a, b, radius, developed, offset = np.moveaxis(laws[:, self._group], -1, 0)
        angle = a + b * self._dial + off_deg
        theta = np.radians(angle)
        tangent = radius * np.tan(theta / 2)
        return np.stack([angle, offset + tangent, tangent - developed * theta - offset], axis=-1)

    def _noise(self, x: np.ndarray) -> np.ndarray:
        """(N, 3, 3) how readings scatter about what the laws of the mean specimens show."""
        laws = self._laws(x[None])
        shown = self._shown(laws)[0]
        marking = self._bender.marking_sd_mm * np.array([0.0, 1.0, -1.0])
        noise = np.diag([_ANGLE_VARIANCE, _LENGTH_VARIANCE, 2 * _LENGTH_VARIANCE]) + np.outer(marking, marking) + np.zeros((len(shown), 1, 1))
        setting = (self._shown(laws, 0.01)[0] - shown) / 0.01 * (laws[0, self._group, 1] * self._bender.setting_sd_deg)[:, None]
        moved = [setting]
        for which, sd in _SPECIMEN:
            other = x.copy()
            other[6 + which * self._count : 6 + (which + 1) * self._count] += sd
            moved.append(self._shown(self._laws(other[None]))[0] - shown)
        return noise + sum(each[:, :, None] * each[:, None, :] for each in moved)

    def _solve(self, steps: int = 4) -> None:
        x, size, small = self._mean.copy(), len(self._mean), 0.02
        for _ in range(steps):
            laws = self._laws(np.concatenate([x[None], x + np.diag(small * self._sd)]))
            shown = self._shown(laws)
            slope = np.moveaxis(shown[1:] - shown[0], 0, -1) / small  # by standard deviations of what is drawn
            off = self._read - shown[0] + slope @ ((x - self._mean) / self._sd)
            root = np.linalg.cholesky(self._noise(x))
            slope, off = np.linalg.solve(root, slope).reshape(-1, size), np.linalg.solve(root, off[..., None]).ravel()
            covariance = np.linalg.inv(slope.T @ slope + np.eye(size))
            x = self._mean + self._sd * (covariance @ (slope.T @ off))
        laws = self._laws(np.concatenate([x[None], x + np.diag(small * self._sd)]))
        by = np.moveaxis(laws[1:] - laws[0], 0, -1) / small
        self.laws, self.covariance = laws[0], by @ covariance @ np.swapaxes(by, 1, 2)
