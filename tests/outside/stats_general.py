"""The engine's statistics against the general statistics libraries.

Means, standard deviations and percentiles against numpy; Student's t against scipy; Wilson's interval
and kappa against statsmodels; weighted kappa against scikit-learn too.

The questions go to the engine's example `figures` as JSON lines: in the folder named by EXAMPLES, or
else the program given as the first argument.
"""

import itertools
import json
import math
import os
import subprocess
import sys

import numpy as np
import scipy.stats
import sklearn.metrics
import statsmodels.stats.inter_rater
import statsmodels.stats.proportion

# Relative to the larger of 1 and the number itself. Double precision leaves some 1e-15 for sums of a
# few thousand terms; the quantile of t and standard errors pass through several functions.
SUMS = 1e-12
FUNCTIONS = 1e-9


def cases():
    """Each case: its name, the question, what the library says, and how near the answer must be."""
    random = np.random.default_rng(20240301)
    nights = {
        "integers": np.round(random.normal(94, 3, 2000)).clip(50, 100),
        "tenths": np.round(random.normal(6.2, 0.7, 1999), 1),
        "skewed": random.gamma(2.0, 1.5, 501),
        "far from zero": 1e9 + random.normal(0, 1, 1000),
        "two": np.array([90.0, 97.0]),
        "one": np.array([93.5]),
        "equal": np.full(77, 90.0),
    }
    for name, data in nights.items():
        yield f"mean, {name}", {"op": "mean", "data": data.tolist()}, float(np.mean(data)), SUMS
        exact = math.fsum(data.tolist())
        yield f"sum, {name}", {"op": "sum", "data": data.tolist()}, exact, SUMS
        sd = float(np.std(data, ddof=1)) if len(data) > 1 else None
        # Rounding of a difference from a mean near 1e9 is 1e-7 in the library.
        near = 1e-7 if name == "far from zero" else SUMS
        yield f"sd, {name}", {"op": "sd", "data": data.tolist()}, sd, near
        for percent in (0, 1, 5, 10, 25, 33.3, 50, 90, 95, 99.9, 100):
            expected = float(np.percentile(data, percent, method="linear"))
            question = {"op": "percentile", "data": data.tolist(), "percent": percent}
            yield f"percentile {percent}, {name}", question, expected, SUMS

    for share, freedom in itertools.product(
        (1e-6, 0.005, 0.025, 0.3, 0.5, 0.9, 0.975, 0.9995), (0.5, 1, 2, 5, 16, 30, 120, 10_000)
    ):
        question = {"op": "t_quantile", "share": share, "freedom": freedom}
        yield f"t {share}, {freedom}", question, float(scipy.stats.t.ppf(share, freedom)), FUNCTIONS

    z = float(scipy.stats.norm.ppf(0.975))
    for successes, count in (
        (81, 263), (15, 148), (0, 20), (1, 29), (23, 60), (9, 26), (20, 20), (1, 1), (5000, 12345),
    ):
        low, high = statsmodels.stats.proportion.proportion_confint(
            successes, count, alpha=0.05, method="wilson"
        )
        question = {"op": "wilson", "successes": successes, "count": count, "z": z}
        yield f"wilson {successes}/{count}", question, [float(low), float(high)], FUNCTIONS

    for count in (2, 17, 200):
        data = random.normal(-2, 38, count)
        mean, sd = float(np.mean(data)), float(np.std(data, ddof=1))
        se = float(scipy.stats.sem(data))
        low, high = scipy.stats.t.interval(0.95, count - 1, loc=mean, scale=se)
        expected = [mean, sd, mean - 1.96 * sd, mean + 1.96 * sd, se, float(low), float(high)]
        question = {"op": "bland_altman", "data": data.tolist(), "sds": 1.96}
        yield f"agreement of {count}", question, expected, FUNCTIONS
        question = {"op": "repeatability", "data": data.tolist()}
        yield f"repeatability of {count}", question, float(np.sqrt(np.mean(data**2))), SUMS

    tables = [[[25, 3, 5], [6, 32, 8], [1, 0, 20]], [[20, 5], [10, 15]], [[85, 5], [5, 5]]]
    tables += [random.integers(0, 30, (k, k)).tolist() for k in (2, 3, 4, 5, 7)]
    for number, table in enumerate(tables):
        for weights, name in (("none", None), ("linear", "linear"), ("quadratic", "quadratic")):
            expected = kappa(table, name)
            question = {"op": "kappa", "table": table, "weights": weights}
            yield f"kappa {weights}, table {number}", question, expected, FUNCTIONS
    yield "kappa of one class", {"op": "kappa", "table": [[9, 0], [0, 0]], "weights": "none"}, None, 0

    readers = random.integers(0, 3, (4, 50)).tolist()
    pairs = [
        sklearn.metrics.cohen_kappa_score(a, b) for a, b in itertools.combinations(readers, 2)
    ]
    question = {"op": "light_kappa", "readers": readers, "classes": 3}
    yield "light's kappa of four readers", question, float(np.mean(pairs)), FUNCTIONS


def kappa(table, weights):
    """kappa, its standard error, that under kappa 0, and z; kappa itself by both libraries."""
    found = statsmodels.stats.inter_rater.cohens_kappa(
        np.array(table), wt=weights, weights=None if weights is None else np.arange(len(table))
    )
    ones = [(i, j) for i, row in enumerate(table) for j, n in enumerate(row) for _ in range(n)]
    other = sklearn.metrics.cohen_kappa_score(*zip(*ones), weights=weights)
    if abs(float(found.kappa) - float(other)) > FUNCTIONS:
        raise AssertionError(f"the two libraries disagree: {found.kappa} and {other}")
    kappa_value, se, se0 = float(found.kappa), math.sqrt(found.var_kappa), math.sqrt(found.var_kappa0)
    return [kappa_value, se, se0, kappa_value / se0]


def agree(answer, expected, near):
    if expected is None or answer is None:
        return answer is expected
    pairs = zip(np.atleast_1d(answer), np.atleast_1d(expected), strict=True)
    return all(abs(a - b) <= near * max(1.0, abs(b)) for a, b in pairs)


def main():
    folder = os.environ.get("EXAMPLES")
    program = os.path.join(folder, "figures") if folder else sys.argv[1]
    asked = list(cases())
    lines = "".join(json.dumps(question) + "\n" for _, question, _, _ in asked)
    run = subprocess.run([program], input=lines, capture_output=True, text=True, check=True)
    answers = [json.loads(line) for line in run.stdout.splitlines()]
    if len(answers) != len(asked):
        sys.exit(f"{len(asked)} questions asked, {len(answers)} answers given")
    failed = 0
    for (name, _, expected, near), answer in zip(asked, answers):
        good = agree(answer, expected, near)
        failed += not good
        print(f"{'ok' if good else 'FAILED'}: {name}" + ("" if good else f": {answer}, expected {expected}"))
    print(f"{len(asked) - failed} passed, {failed} failed")
    print(f"{len(asked)} checked")
    sys.exit(1 if failed or not asked else 0)


main()
