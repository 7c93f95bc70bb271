"""Holds `undim fit` against scipy's orthogonal distance regression on random problems: straight and bent lines."""

import json
import random
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from scipy.odr import ODR, Model, RealData

# How near two programs must come.
NEAR = 1e-6

FORMS = {
    "offset": (lambda p, x: p[0] + x, lambda truth: [truth[0]]),
    "gain": (lambda p, x: p[0] * x, lambda truth: [truth[1]]),
    "line": (lambda p, x: p[0] + p[1] * x, lambda truth: list(truth[:2])),
    "hinge": (lambda p, x: p[0] + p[1] * x + p[2] * np.maximum(0.0, x - p[3]), list),
}


def problem(seed: int) -> tuple[list[tuple[float, ...]], list[float]]:
    """Pairs with unequal errors in both variables, and the truth behind them. (Correlated errors scipy does not take.)"""
    chance = random.Random(seed)
    truth = [chance.uniform(-10, 20), chance.uniform(0.8, 1.2), chance.uniform(0.3, 0.6), chance.uniform(250, 450)]
    pairs = []
    for _ in range(chance.randint(14, 40)):
        x = chance.uniform(20, 900)
        u_x, u_y = 0.3 + 0.01 * x * chance.uniform(0.5, 1.5), 0.3 + 0.008 * x * chance.uniform(0.5, 1.5)
        pairs.append((chance.gauss(x, u_x), chance.gauss(float(FORMS["hinge"][0](truth, x)), u_y), u_x, u_y))
    return pairs, truth


def by_undim(program: str, pairs: list[tuple[float, ...]]) -> dict[str, dict]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "pairs.csv"
        rows = "".join(",".join(repr(float(cell)) for cell in pair) + "\n" for pair in pairs)
        path.write_text("device,reference,u_device,u_reference,correlation\n" + rows, encoding="utf-8")
        run = subprocess.run([program, "fit", "--json", "--all-pairs", "--pairs", path], capture_output=True, check=False)
    return {model["model"]: model for model in json.loads(run.stdout)["models"]}


def by_scipy(pairs: list[tuple[float, ...]], form: str, start: list[float]) -> tuple[np.ndarray, float]:
    x, y, u_x, u_y = np.array(pairs).T
    data = RealData(x, y, sx=u_x, sy=u_y)
    odr = ODR(data, Model(FORMS[form][0]), beta0=start, sstol=1e-15, partol=1e-15, maxit=5000)
    odr.set_job(fit_type=0, deriv=1)
    out = odr.run()
    return out.beta, out.sum_square


def apart(ours: list[float], theirs: np.ndarray) -> float:
    """The largest relative difference."""
    return float(np.max(np.abs((np.array(ours) - theirs) / theirs)))


def main() -> int:
    program, failed, compared = sys.argv[1], 0, 0
    for seed in range(40):
        pairs, truth = problem(seed)
        models = by_undim(program, pairs)
        for form, (_, start) in FORMS.items():
            if form not in models:
                continue
            model = models[form]
            is_bent = form == "hinge"
            ours = list(model["coefficients"]) + ([model["knot"]] if is_bent else [])
            # A bend has several valleys: scipy starts from ours and must find nothing lower.
            theirs, squares = by_scipy(pairs, form, ours if is_bent else start(truth))
            compared += 1
            is_same = is_bent or apart(ours, theirs) <= NEAR
            if not is_same or model["chi2"] > squares * (1 + NEAR):
                failed += 1
                print(f"FAILED  problem {seed}, {form}: {ours}, {list(theirs)}; chi2 {model['chi2']:.9g}, {squares:.9g}")
    print(f"outside fits: {compared - failed} agree with scipy.odr, {failed} do not")
    return 0 if compared >= 100 and not failed else 1


if __name__ == "__main__":
    sys.exit(main())
