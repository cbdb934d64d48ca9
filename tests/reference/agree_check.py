"""Agreement by other hands: pingouin and scikit-learn, scipy and numpy.

Reads one JSON object a line from standard input and writes one a line:
{"reference": [...], "other": [...]} -> bias, limits, ICC(2,1), concordance and their intervals;
{"raters": [[...], ...]} -> ICC(2,1); {"gaits": [...], "found": [...]} -> kappa and accuracy;
{"errors": [[...], ...], "resamples": N, "seed": N} -> of bias, median and 95th percentile of the distance over all lists: the ends
of scipy's percentile interval by drawing lists, and the standard error.
"""

import json
import sys

import matplotlib

matplotlib.use("Agg")

import numpy as np
import pandas as pd
import pingouin
from scipy import stats
from sklearn.metrics import accuracy_score, cohen_kappa_score


def intraclass(raters):
    table = pd.DataFrame(np.array(raters).T).reset_index().melt(id_vars="index")
    options = pingouin.options.copy()
    pingouin.options["round"] = None
    pingouin.options["round.column.CI95"] = None
    rows = pingouin.intraclass_corr(data=table, targets="index", raters="variable", ratings="value").set_index("Type")
    pingouin.options.update(options)
    row = rows.loc["ICC(A,1)"]
    return [float(row["ICC"]), float(row["CI95"][0]), float(row["CI95"][1])]


def limits(reference, other):
    """What pingouin draws, read off its picture's lines and bands."""
    ax = pingouin.plot_blandaltman(other, reference, agreement=1.96, confidence=0.95, annotate=False)
    lines = sorted(line.get_ydata()[0] for line in ax.get_lines() if len(set(line.get_ydata())) == 1)
    bands = []
    for patch in ax.patches:
        y, height = patch.get_y(), patch.get_height()
        bands.append([float(y), float(y + height)])
    matplotlib.pyplot.close(ax.figure)
    return [float(value) for value in lines], sorted(bands)


def concordance(x, y):
    """Lin 1989 with the variance of 2000, written down anew on numpy's moments."""
    x, y = np.asarray(x), np.asarray(y)
    n = len(x)
    (sx2, sxy), (_, sy2) = np.cov(x, y, bias=True)
    shift = np.mean(x) - np.mean(y)
    rho = np.corrcoef(x, y)[0, 1]
    ccc = 2 * sxy / (sx2 + sy2 + shift**2)
    u = shift / (sx2 * sy2) ** 0.25
    se = np.sqrt(
        ((1 - rho**2) * ccc**2 * (1 - ccc**2) / rho**2 + 2 * ccc**3 * (1 - ccc) * u**2 / rho - ccc**4 * u**4 / (2 * rho**2))
        / (n - 2)
    ) / (1 - ccc**2)
    z = np.arctanh(ccc)
    reach = stats.norm.ppf(0.975) * se
    return [float(v) for v in (ccc, np.tanh(z - reach), np.tanh(z + reach))]


def drawn(errors, resamples, seed):
    """scipy draws the places of the lists; the figures are numpy's of what is in them."""
    lists = [np.array(one, dtype=float) for one in errors]
    answers = []
    for figure in (
        lambda all_: np.mean(all_),
        lambda all_: np.percentile(np.abs(all_), 50),
        lambda all_: np.percentile(np.abs(all_), 95),
    ):
        found = stats.bootstrap(
            (np.arange(len(lists)),),
            lambda places: figure(np.concatenate([lists[int(place)] for place in places])),
            vectorized=False,
            method="percentile",
            confidence_level=0.95,
            n_resamples=resamples,
            random_state=seed,
        )
        low, high = found.confidence_interval
        answers.append([float(low), float(high), float(found.standard_error)])
    return answers


for line in sys.stdin:
    case = json.loads(line)
    if "raters" in case:
        answer = intraclass(case["raters"])
    elif "errors" in case:
        answer = drawn(case["errors"], case["resamples"], case["seed"])
    elif "gaits" in case:
        answer = [cohen_kappa_score(case["gaits"], case["found"]), accuracy_score(case["gaits"], case["found"])]
    else:
        reference, other = case["reference"], case["other"]
        lines, bands = limits(np.array(reference), np.array(other))
        answer = {
            "lines": lines,
            "bands": bands,
            "icc": intraclass([reference, other]),
            "concordance": concordance(reference, other),
        }
    print(json.dumps(answer))
