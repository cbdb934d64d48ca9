"""Fits the judge of pieces without cadence (crates/core/src/gait/pieces.rs): its weights, for crates/core/src/gait/config.rs.

    cargo bench -p jogaudit-outside --bench accuracy -- --pieces --seeds 300 --first 20000 > pieces.csv
    target/reference/bin/python benches/pieces.py pieces.csv

and then, with these, how certain a bout is (crates/core/src/gait/certainty.rs), from other seeds:

    cargo bench -p jogaudit-outside --bench accuracy -- --bouts --seeds 300 --first 40000 > bouts.csv
    target/reference/bin/python benches/pieces.py bouts.csv --bouts

Logistic regression (scikit-learn), each group of recordings with the same weight, each piece by its length up to 60 s. Prints the
weights and, by fivefold cross-validation over seeds, how often it is right and how well it is calibrated.
"""

import sys

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold

# Weights of kinds of recordings, each kind all together: this tool reads run-walk sessions.
KINDS = {"ideal": 0.35, "run-walk": 0.45, "walks alone": 0.12, "runs alone": 0.08}


def read(path):
    groups, seeds, seconds, shares, figures = [], [], [], [], []
    with open(path, encoding="utf-8") as lines:
        for line in lines:
            group, seed, length, share, *rest = line.rstrip("\n").split(";")
            if ", cadence, " in group or group.startswith("ideal, cadence"):
                continue  # Only what cadence lost for a while, which is not what is judged here.
            groups.append(group)
            seeds.append(int(seed))
            seconds.append(float(length))
            shares.append(float(share))
            figures.append([float(x) for x in rest])
    return np.array(groups), np.array(seeds), np.array(seconds), np.array(shares), np.array(figures)


def main():
    groups, seeds, seconds, shares, figures = read(sys.argv[1])
    weights = np.minimum(seconds, 60.0) / 60.0
    for kind, total in KINDS.items():
        names = np.unique(groups[np.char.startswith(groups, kind)])
        for name in names:
            of = groups == name
            weights[of] *= total * len(groups) / len(names) / weights[of].sum()
    is_run = shares >= 0.5

    def fitted(rows):
        model = LogisticRegression(C=10.0, fit_intercept=False, max_iter=2000)
        return model.fit(figures[rows], is_run[rows], sample_weight=weights[rows])

    said = np.zeros(len(is_run))
    for train, test in GroupKFold(5).split(figures, groups=seeds):
        said[test] = fitted(train).predict_proba(figures[test])[:, 1]
    for name in np.unique(groups):
        of = groups == name
        right = np.average((said[of] >= 0.5) == is_run[of], weights=weights[of])
        sure = of & (np.maximum(said, 1 - said) >= 0.95)
        sure_right = ((said[sure] >= 0.5) == is_run[sure]).mean() if sure.any() else float("nan")
        print(f"# {name}: right {right:.3f} of {of.sum()}; said >= 0.95: {sure.sum()}, right {sure_right:.3f}")
    if "--bouts" in sys.argv:  # A bout is right or not; "run" above reads "right".
        for low, high in ((0.5, 0.9), (0.9, 0.95), (0.95, 0.99), (0.99, 1.01)):
            for kind in KINDS:
                of = np.char.startswith(groups, kind) & (said >= low) & (said < high)
                if of.any():
                    print(f"# {kind}, said {low} to {high}: {of.sum()}, right {is_run[of].mean():.3f}")
    print("weights = [")
    print("    " + ", ".join(f"{w:.3f}" for w in fitted(np.arange(len(is_run))).coef_[0]) + ",\n];")


main()
