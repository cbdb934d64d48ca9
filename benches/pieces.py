"""Fits the judges of pieces (crates/core/src/gait/pieces.rs): their weights, for crates/core/src/gait/config.rs.

    cargo bench -p jogaudit-outside --bench accuracy -- --pieces --seeds 300 --first 20000 > pieces.csv
    target/reference/bin/python benches/pieces.py pieces.csv --cadence
    target/reference/bin/python benches/pieces.py pieces.csv

and then, with these, how certain a bout without cadence is (crates/core/src/gait/certainty.rs), from other seeds:

    cargo bench -p jogaudit-outside --bench accuracy -- --bouts --seeds 300 --first 40000 > bouts.csv
    target/reference/bin/python benches/pieces.py bouts.csv --bouts

Logistic regression (scikit-learn), each group of recordings with the same weight, each piece by its length up to 60 s. Prints the
weights and, by fivefold cross-validation over seeds, how often it is right and how well it is calibrated.

The simulator's walks and runs part at one cadence; people's do not (published optima: 134, 139 and 141 steps/min, Hum Mov Sci
2023;90:103117). So the judge with cadence is fitted, and cross-validated, as if each recording's cadences lay off by a normal
error of that size.
"""

import sys

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold

# Weights of kinds of recordings, each kind all together: this tool reads run-walk sessions.
KINDS = {"ideal": 0.35, "run-walk": 0.45, "walks alone": 0.12, "runs alone": 0.08}


# Standard deviation of the cadence between walk and run from one person to another, steps/min.
TRANSITION_SD_SPM = 3.5
# As in crates/core/src/gait/config.rs.
CADENCE_SCALE_SPM, SPEED_SCALE_MPS, WALK_MPS_PER_SPM, MOST_CONTRAST = 8.0, 0.4, 0.027, 3.0
# Places of figures of a piece with cadence that stand on where cadence lies (crates/core/src/gait/by_cadence.rs).
ABOVE, BY_WALKING_LINE, LENGTH, LENGTH_ABOVE = 1, 10, 12, 13


def read(path, with_cadence):
    groups, seeds, seconds, shares, figures = [], [], [], [], []
    with open(path, encoding="utf-8") as lines:
        for line in lines:
            group, seed, length, *rest = line.rstrip("\n").split(";")
            recorded = ", cadence, " in group or group.startswith("ideal, cadence")
            if recorded != with_cadence:
                continue  # Only what cadence lost for a while, which is not what is judged here.
            if not group.startswith(tuple(KINDS)):
                continue
            if "--bouts" not in sys.argv and rest.pop(0) != str(int(with_cadence)):
                continue
            share, *rest = rest
            groups.append(group)
            seeds.append(int(seed))
            seconds.append(float(length))
            shares.append(float(share))
            figures.append([float(x) for x in rest])
    return np.array(groups), np.array(seeds), np.array(seconds), np.array(shares), np.array(figures)


def moved(figures, groups, seeds):
    """As if each recording's cadences lay elsewhere."""
    random = np.random.default_rng(1)
    recordings, of = np.unique(np.char.add(groups, seeds.astype(str)), return_inverse=True)
    off_spm = (TRANSITION_SD_SPM * random.standard_normal(len(recordings)))[of]

    def bounded(values):
        return np.clip(values, -MOST_CONTRAST, MOST_CONTRAST)

    figures = figures.copy()
    figures[:, ABOVE] = bounded(figures[:, ABOVE] + off_spm / CADENCE_SCALE_SPM)
    figures[:, BY_WALKING_LINE] = bounded(
        figures[:, BY_WALKING_LINE] - WALK_MPS_PER_SPM * off_spm / SPEED_SCALE_MPS
    )
    figures[:, LENGTH_ABOVE] = figures[:, LENGTH] * figures[:, ABOVE]
    return figures


def main():
    with_cadence = "--cadence" in sys.argv
    groups, seeds, seconds, shares, figures = read(sys.argv[1], with_cadence)
    if with_cadence:
        figures = moved(figures, groups, seeds)
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
