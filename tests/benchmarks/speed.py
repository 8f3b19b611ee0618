"""How long the fit takes, beside what else could be done, in one run. Ratios count, not seconds.

    python tests/benchmarks/speed.py            # everything but the sampler
    python tests/benchmarks/speed.py --nuts     # also NUTS of the same model (wants numpyro)
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import accuracy  # noqa: E402

from bendcal.calibration import calibrate  # noqa: E402
from bendcal.fit import fit_laws  # noqa: E402
from bendcal.offcuts import Offcut  # noqa: E402
from bendcal.pieces import linearise, pieces_of  # noqa: E402
from bendcal.prior import WIDTHS, pool_of  # noqa: E402
from bendcal.shop import Shop  # noqa: E402


def timed(work, *, repeats: int = 7) -> float:
    """Median time of `work` [s], after one unmeasured run."""
    work()
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return statistics.median(times)


def shop_of(rng, tubes: int, per_tube: int) -> Shop:
    """One invented bender with `tubes` lots and `per_tube` offcuts of each."""
    bender, lots = accuracy.draw(rng, accuracy.SIZES[0])
    dials = np.linspace(20.0, 120.0, per_tube)
    offcuts, known, benders = [], {}, {}
    for block in range(-(-tubes // len(lots))):
        shop, _ = accuracy.measure(rng, bender, lots, dials)
        benders, tools = shop.benders, shop.tools
        for name, tube in shop.tubes.items():
            if len(known) < tubes:
                label = f"{name} lot {block}"
                known[label] = type(tube)(label, tube.alloy, tube.od_mm, tube.wall_mm)
                offcuts += [Offcut(**{**o.__dict__, "tube": label, "offcut": f"{block}-{o.offcut}"}) for o in shop.offcuts if o.tube == name]
    return Shop(benders=benders, tubes=known, offcuts=tuple(offcuts), tools=tools)


def joint_residuals(shop: Shop):
    """The same joint model as one residual vector: causes, own deviations and true angles all unknown."""
    pairs = shop.pairs()
    pieces, pool = pieces_of(shop, pairs), pool_of(shop, pairs)
    k = len(pairs)
    root = np.linalg.cholesky(pool.own[:, :5, :5])  # bow and drift are their bender's alone
    whiten = np.linalg.cholesky(pieces.precision)
    owner_sd, kind_sd = np.sqrt(pool.owner_variance), np.sqrt(pool.kind_variance)

    def residuals(u):
        beta, flow, delta, theta = np.split(u, np.cumsum([owner_sd.size, kind_sd.size, 5 * k]))
        causes = beta.reshape(owner_sd.shape) * owner_sd
        p = pool.centre + np.einsum("kpq,kq->kp", pool.by_owner, causes[pool.owner])
        p = p + pool.by_kind * (flow * kind_sd)[pool.kind][:, None]
        p[:, :5] += np.einsum("kpq,kq->kp", root, delta.reshape(k, 5))
        near = linearise(pieces, p[pieces.group], theta)
        off = np.einsum("nji,nj->ni", whiten, pieces.readings - near.h)
        return np.concatenate([off.ravel(), (theta - near.mu) / WIDTHS.scatter_deg, beta, flow, delta])

    start = np.concatenate([np.zeros(owner_sd.size + kind_sd.size + 5 * k), pieces.readings[:, 0]])
    return residuals, start


def main() -> None:
    """Print the ratios."""
    rng = np.random.default_rng(7)
    shop = shop_of(rng, 7, 6)
    residuals, start = joint_residuals(shop)
    least = timed(lambda: least_squares(residuals, start, x_scale="jac"))
    whole = timed(lambda: calibrate(shop))
    pairs = shop.pairs()
    before = Shop(benders=shop.benders, tubes=shop.tubes, tools=shop.tools, offcuts=shop.offcuts[:-1])
    warm = fit_laws(pieces_of(before, pairs), pool_of(before, pairs)).warm
    again = timed(lambda: calibrate(shop, warm=warm))
    print("7 tubes x 6 offcuts on one bender")
    print(f"  (a) one scipy least_squares of the same residuals  {1e3 * least:8.1f} ms   1")
    print(f"      calibrate                                      {1e3 * whole:8.1f} ms   {whole / least:.2f} x (a)")
    print(f"      calibrate after one more reading, warm         {1e3 * again:8.1f} ms   {again / least:.2f} x (a)")
    if "--nuts" in sys.argv:
        from reference import nuts

        nuts.WARMUP, nuts.DRAWS = 1000, 1000
        begun = time.perf_counter()
        nuts.run(shop)
        sampler = time.perf_counter() - begun
        print(f"  (b) NUTS of the same model, 4 x (1000 + 1000)      {1e3 * sampler:8.0f} ms   {sampler / whole:.0f} x calibrate")
    print("cost as tubes grow, 6 offcuts each")
    first = None
    for times in (1, 10, 100):
        many = shop_of(rng, 7 * times, 6)
        each = timed(lambda many=many: calibrate(many), repeats=3) / len(many.offcuts)
        first = first or each
        print(f"  {7 * times:4} tubes, {len(many.offcuts):5} offcuts   {1e6 * each:8.0f} us an offcut   {each / first:.2f} x")
    print("cost as offcuts grow, 7 tubes")
    first = None
    for times in (1, 10, 100):
        many = shop_of(rng, 7, 6 * times)
        each = timed(lambda many=many: calibrate(many), repeats=3) / len(many.offcuts)
        first = first or each
        print(f"  {6 * times:4} offcuts a tube, {len(many.offcuts):5} in all   {1e6 * each:8.0f} us an offcut   {each / first:.2f} x")

    def load(what: str) -> float:
        return timed(lambda: subprocess.run([sys.executable, "-c", f"import {what}"], check=True), repeats=9)

    base, ours = load("numpy, scipy.optimize, pandas"), load("bendcal")
    print(f"import: numpy, scipy.optimize and pandas {1e3 * base:.0f} ms; bendcal {1e3 * ours:.0f} ms   {ours / base:.2f} x")


if __name__ == "__main__":
    main()
