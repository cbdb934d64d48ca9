"""Fits how certain a bout is (crates/core/src/gait/certainty.rs): the weights, for crates/core/src/gait/config.rs.

    cargo bench -p jogaudit-outside --bench accuracy -- --bouts --seeds 200 --first 440000 > bouts.csv
    target/reference/bin/python benches/bouts.py bouts.csv

on seeds that the scorer was not fitted on. Logistic regression (scikit-learn), each kind of recordings with the same weight. Prints
the weights and, by fivefold cross-validation over seeds, how often what is said with which certainty is right.
"""

import sys

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold

# Weights of kinds of recordings, each kind all together: this tool reads run-walk sessions.
KINDS = {
    "ideal": 0.13,
    "run-walk": 0.3,
    "short runs": 0.17,
    "with rests": 0.13,
    "walks alone": 0.1,
    "runs alone": 0.07,
    "damaged": 0.1,
}
BANDS = ((0.5, 0.9), (0.9, 0.95), (0.95, 0.99), (0.99, 1.01))


def read(path):
    groups, seeds, rows = [], [], []
    with open(path, encoding="utf-8") as lines:
        for line in lines:
            group, seed, _seconds, _cadence, *rest = line.rstrip("\n").split(";")
            groups.append(group)
            seeds.append(int(seed))
            rows.append([float(x) for x in rest])
    rows = np.array(rows)
    return np.array(groups), np.array(seeds), rows[:, 0] == 1, rows[:, 1:]


def main():
    groups, seeds, is_right, figures = read(sys.argv[1])
    weights = np.ones(len(groups))
    for kind, total in KINDS.items():
        names = np.unique(groups[np.char.startswith(groups, kind)])
        for name in names:
            of = groups == name
            weights[of] *= total * len(groups) / len(names) / of.sum()

    def fitted(rows):
        model = LogisticRegression(C=10.0, fit_intercept=False, max_iter=2000)
        return model.fit(figures[rows], is_right[rows], sample_weight=weights[rows])

    said = np.zeros(len(is_right))
    for train, test in GroupKFold(5).split(figures, groups=seeds):
        said[test] = fitted(train).predict_proba(figures[test])[:, 1]
    for name in np.unique(groups):
        of = groups == name
        shares = [
            f"{low} to {high}: {is_right[sure].mean():.3f} of {sure.sum()}"
            for low, high in BANDS
            if (sure := of & (said >= low) & (said < high)).any()
        ]
        print(f"# {name}: " + "; ".join(shares))
    print("weights = [" + ", ".join(f"{w:.3f}" for w in fitted(np.arange(len(is_right))).coef_[0]) + "]")


main()
