"""The same model in a general-purpose sampler: a long NUTS run to hold the fit against.

It writes the model down anew (hidden angles, mark errors, mixtures of noise, the causes
and the scales, all sampled; nothing linearised, nothing integrated out) and takes from
the kit only the arrays of readings and the prior. Not part of the test run: it wants
numpyro and several minutes. What it gave is kept in nuts.json, with versions and seed.

    python tests/reference/nuts.py [SHOP ...]     # all shops, or those named; rewrites nuts.json
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bendcal.arc import crossing_sign  # noqa: E402
from bendcal.prior import WIDTHS, pool_of  # noqa: E402
from reference.shops import SHOPS  # noqa: E402

SEED, CHAINS, WARMUP, DRAWS = 20261125, 4, 1500, 18000
HERE = Path(__file__).resolve().parent


def arrays(shop) -> dict:
    """Every number the model needs, straight from the offcuts."""
    pairs = shop.pairs()
    offcuts = [o for pair in pairs for o in shop.offcuts_for(*pair)]
    nan = float("nan")

    # Which of its bender's bends each is, counted back from the next one to come.
    order = {id(o): i for name in shop.benders for i, o in enumerate(p for p in shop.offcuts if p.counts and p.bender == name)}
    count = {name: sum(o.bender == name for o in offcuts) for name in shop.benders}
    # A bow of height 1 in the middle over a chord from 15° to 120°, less its best straight line through the bender's pieces
    # and, with the weight of one piece, through 22 settings from end to end.
    bow = np.zeros(len(offcuts))
    for name in shop.benders:
        mine = np.array([o.bender == name for o in offcuts])
        x = (np.array([o.dial_deg for o in offcuts])[mine] - 67.5) / 52.5
        every = np.concatenate([x, np.linspace(-1, 1, 22)])
        weights = np.concatenate([np.ones(len(x)), np.full(22, 22**-0.5)])  # of np.polyfit: for the residual, not its square
        bow[mine] = 1 - x**2 - np.polyval(np.polyfit(every, 1 - every**2, 1, w=weights), x)

    def column(name):
        return np.array([nan if getattr(o, name) is None else getattr(o, name) for o in offcuts], float)

    return {
        "pairs": pairs, "pool": pool_of(shop, pairs), "group": np.array([pairs.index((o.bender, o.tube)) for o in offcuts]),
        "dial": column("dial_deg"), "angle": column("angle_deg"), "length": column("length_mm"), "mark": column("mark_mm"),
        "leg_a": column("leg_a_mm"), "leg_b": column("leg_b_mm"),
        "angle_u": np.array([shop.angle_tool(o).u for o in offcuts]),
        "length_u": np.array([shop.length_tool(o).u for o in offcuts]),
        "bow": bow, "made": np.array([order[id(o)] - count[o.bender] for o in offcuts], float),
        "crossing": np.array([crossing_sign(o.legs_to) * shop.tubes[o.tube].od_mm / 2 for o in offcuts]),
    }  # fmt: skip


def run(shop) -> dict:
    """Sample one shop; returns means, sds and the Monte Carlo error of each law's parameters."""
    import jax
    import jax.numpy as jnp
    import numpyro
    import numpyro.distributions as dist
    from jax.scipy.special import logsumexp
    from numpyro.diagnostics import effective_sample_size, gelman_rubin
    from numpyro.infer import MCMC, NUTS

    numpyro.enable_x64()
    w, data = WIDTHS, arrays(shop)
    pool, group = data["pool"], data["group"]
    own_root = np.zeros_like(pool.own)
    own_root[:, :5, :5] = np.linalg.cholesky(pool.own[:, :5, :5])  # bow and drift are their bender's alone
    # How far a middle line 1 mm beside its leg moves the apex along this leg and along the other.
    skew = np.where(np.abs(data["dial"] - 90) > np.abs(data["angle"] - 90), data["dial"], data["angle"])
    sin, cos = np.sin(np.radians(skew)), np.cos(np.radians(skew))
    kinds = [(), (0,), (1,), (2,), (1, 2), (3,)]  # which readings are blunders; 3 is the dial
    chances = np.array([1 - 5 * w.blunder_chance] + [w.blunder_chance] * 5)

    def model():
        n = len(group)
        beta = numpyro.sample("beta", dist.Normal(0, 1).expand(pool.owner_variance.shape).to_event(2))
        flow = numpyro.sample("flow", dist.Normal(0, 1).expand(pool.kind_variance.shape).to_event(1))
        delta = numpyro.sample("delta", dist.Normal(0, 1).expand(pool.centre.shape).to_event(2))
        log_scales = numpyro.sample("log_scales", dist.Normal(0, 1).expand((3,)).to_event(1))
        scatter = w.scatter_deg * jnp.exp(w.scatter_log_sd * log_scales[0])
        reading = jnp.exp(w.reading_log_sd * log_scales[1])
        own = jnp.exp(w.own_log_sd * log_scales[2])
        causes = beta * np.sqrt(pool.owner_variance)
        p = pool.centre + jnp.einsum("kpq,kq->kp", pool.by_owner, causes[pool.owner])
        p = p + pool.by_kind * (flow * np.sqrt(pool.kind_variance))[pool.kind][:, None]
        p = numpyro.deterministic("p", p + own * jnp.einsum("kpq,kq->kp", own_root, delta))
        a, b, radius, developed, offset, bow, drift = p[group].T
        # True angles and mark errors are sampled as such; where the angles lie is part of each kind of noise.
        theta = numpyro.sample("theta", dist.ImproperUniform(dist.constraints.real, (), (n,)))
        marking = reading * np.sqrt(data["length_u"] ** 2 + w.marking_sd_mm**2)
        slip = marking * numpyro.sample("slip", dist.Normal(0, 1).expand((n,)).to_event(1))
        beside = reading * w.crossing_sd_mm * numpyro.sample("beside", dist.Normal(0, 1).expand((2, n)).to_event(2)) / sin
        apex_a, apex_b = beside[0] - cos * beside[1], beside[1] - cos * beside[0]
        tan = jnp.tan(jnp.radians(theta) / 2)
        reach = (radius + data["crossing"]) * tan
        off = [
            data["angle"] - theta,
            data["leg_a"] - data["mark"] - offset - reach - slip - apex_a,
            data["leg_b"] - data["length"] + data["mark"] + offset + developed * jnp.radians(theta) - reach + slip - apex_b,
        ]
        sd = [reading * data["angle_u"], reading * data["length_u"], reading * data["length_u"] * np.sqrt(2)]
        stray = [w.blunder_angle_deg, w.blunder_leg_mm, w.blunder_leg_mm]

        def log_density(i, wild):
            read = np.isfinite([data["angle"], data["leg_a"], data["leg_b"]][i])
            spread = jnp.sqrt(sd[i] ** 2 + (stray[i] ** 2 if wild else 0.0))
            value = jnp.where(read, off[i], 0.0) / spread
            return jnp.where(read, -0.5 * value**2 - jnp.log(spread) - 0.5 * np.log(2 * np.pi), 0.0)

        def log_hidden(wild):
            spread = jnp.sqrt(scatter**2 + (w.blunder_dial_deg**2 if wild else 0.0))
            return -0.5 * ((theta - a - b * data["dial"] - bow * data["bow"] - drift * data["made"]) / spread) ** 2 - jnp.log(spread)

        each = [
            np.log(c) + log_hidden(3 in kind) + sum(log_density(i, i in kind) for i in range(3))
            for c, kind in zip(chances, kinds, strict=True)
        ]
        numpyro.factor("readings", logsumexp(jnp.stack(each), axis=0).sum())

    # A wrong angle and a wrong dial are two separate explanations, between which NUTS does not cross. It is
    # begun where the dials are right; started at the angles it stays with a wrong dial for the one piece
    # whose angle was spoilt, which by the fit's own account has a probability below 1 %.
    begin = numpyro.infer.init_to_value(values={"theta": 0.97 * np.asarray(data["dial"])})
    sampler = MCMC(
        NUTS(model, target_accept_prob=0.9, init_strategy=begin), num_warmup=WARMUP, num_samples=DRAWS, num_chains=CHAINS,
        chain_method="sequential", progress_bar=False,
    )  # fmt: skip
    sampler.run(jax.random.PRNGKey(SEED))
    draws = np.asarray(sampler.get_samples(group_by_chain=True)["p"])
    ess, rhat = effective_sample_size(draws), gelman_rubin(draws)
    flat = draws.reshape(-1, *draws.shape[2:])
    log_scales = np.asarray(sampler.get_samples()["log_scales"])
    return {
        "pairs": [list(pair) for pair in data["pairs"]], "mean": flat.mean(0).tolist(), "sd": flat.std(0).tolist(),
        "log_scales_mean": log_scales.mean(0).tolist(), "log_scales_sd": log_scales.std(0).tolist(),
        "ess_min": float(ess.min()), "rhat_max": float(rhat.max()),
        "divergences": int(np.asarray(sampler.get_extra_fields().get("diverging", np.zeros(1))).sum()),
    }  # fmt: skip


def main() -> None:
    """Sample every shop and keep what came out."""
    import jax
    import numpyro

    kept = {
        "versions": {"numpyro": numpyro.__version__, "jax": jax.__version__, "python": sys.version.split()[0]},
        "seed": SEED, "chains": CHAINS, "warmup": WARMUP, "draws": DRAWS, "shops": {},
    }  # fmt: skip
    wanted = sys.argv[1:] or list(SHOPS)
    if wanted != list(SHOPS):
        kept["shops"] = json.loads((HERE / "nuts.json").read_text(encoding="utf-8"))["shops"]
    for name in wanted:
        make = SHOPS[name]
        kept["shops"][name] = run(make())
        print(name, {k: v for k, v in kept["shops"][name].items() if k.startswith(("ess", "rhat", "div"))}, flush=True)
    (HERE / "nuts.json").write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
