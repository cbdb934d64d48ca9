"""What a researcher could put together from general-purpose libraries, for the accuracy table.

rivals.py FOLDER

Reads one JSON object a line: {"time_s": [...], "speed_mps": [...], "cadence_spm": [...], "elapsed_s": ..., "penalties":
[...]} (null where missing) and writes one a line: {rival name: [[gait, start_s, end_s, certainty or null], ...]}. Answers
are kept in FOLDER by the digest of this script and the line, so that a second table costs ours alone.

hmmlearn: a Gaussian hidden Markov model of 2 and of 3 states, fitted to each recording (full covariances, best of 3
seeded starts). ruptures: PELT with an l2 cost on scaled signals, then a threshold on each segment's mean. States and
segments are labelled by the published thresholds: cadence 140 steps/min where there is cadence, else speed 2.0 m/s;
below 0.5 m/s standing. Two moving states of a hidden Markov model are labelled by their order instead, which is kinder
to it: the slower one is the walk. Its certainty of a bout is the mean posterior of the bout's gait. With more than one
penalty only ruptures answers, once for each: that is for tuning.
"""

import hashlib
import json
import logging
import os
import sys
import warnings

import numpy as np
import ruptures
from hmmlearn.hmm import GaussianHMM

warnings.filterwarnings("ignore")
logging.getLogger("hmmlearn").setLevel(logging.CRITICAL)

FOLDER = sys.argv[1]


def column(values):
    """The values with holes filled by straight lines, or None where there is too little."""
    array = np.array([np.nan if v is None else v for v in values], dtype=float)
    known = ~np.isnan(array)
    if known.sum() < 0.3 * len(array) or known.sum() < 10:
        return None
    index = np.arange(len(array))
    return np.interp(index, index[known], array[known])


def label(speed, cadence):
    if speed is not None and speed < 0.5 and (cadence is None or cadence < 60):
        return "stand"
    if cadence is not None:
        return "run" if cadence >= 140 else "walk"
    return "run" if speed >= 2.0 else "walk"


def spans(time_s, elapsed_s, labels, certainty):
    """Runs of equal labels; each change lies halfway between the two samples around it."""
    out = []
    start, first = 0.0, 0
    for i in range(1, len(labels) + 1):
        if i == len(labels) or labels[i] != labels[i - 1]:
            end = elapsed_s if i == len(labels) else 0.5 * (time_s[i - 1] + time_s[i])
            sure = None if certainty is None else float(np.mean(certainty[first:i]))
            out.append([labels[i - 1], start, end, sure])
            start, first = end, i
    return out


def hidden_markov(signal, has_speed, has_cadence, states):
    best = None
    scaled = (signal - signal.mean(0)) / np.maximum(signal.std(0), 1e-6)
    for seed in range(3):
        model = GaussianHMM(n_components=states, covariance_type="full", n_iter=50, random_state=seed, min_covar=1e-3)
        try:
            model.fit(scaled)
            score = model.score(scaled)
            if best is None or score > best[0]:
                best = (score, model.predict(scaled), model.predict_proba(scaled))
        except Exception:
            continue
    if best is None:
        return None
    _, path, posterior = best
    means = {}
    for state in np.unique(path):
        centre = signal[path == state].mean(0)
        speed = centre[0] if has_speed else None
        cadence = centre[-1] if has_cadence else None
        means[state] = (speed, cadence)
    key = (lambda s: means[s][1]) if has_cadence else (lambda s: means[s][0])
    order = sorted(means, key=key)
    names = {}
    moving = []
    for state in order:
        if label(*means[state]) == "stand":
            names[state] = "stand"
        else:
            moving.append(state)
    if len(moving) == 2:
        names[moving[0]], names[moving[1]] = "walk", "run"
    else:
        for state in moving:
            names[state] = label(*means[state])
    labels = [names[s] for s in path]
    of_gait = {gait: [s for s in names if names[s] == gait] for gait in names.values()}
    certainty = [posterior[t, of_gait[gait]].sum() for t, gait in enumerate(labels)]
    return labels, certainty


def change_points(signal, has_speed, has_cadence, penalties):
    scale = ([0.3] if has_speed else []) + ([8.0] if has_cadence else [])
    search = ruptures.KernelCPD(kernel="linear", min_size=5).fit(signal / np.array(scale))
    for penalty in penalties:
        labels = []
        start = 0
        for end in search.predict(pen=penalty):
            centre = signal[start:end].mean(0)
            name = label(centre[0] if has_speed else None, centre[-1] if has_cadence else None)
            labels.extend([name] * (end - start))
            start = end
        yield "ruptures PELT" + (f", penalty {penalty:g}" if len(penalties) > 1 else ""), (labels, None)


def answer(record):
    speed, cadence = column(record["speed_mps"]), column(record["cadence_spm"])
    columns = [c for c in (speed, cadence) if c is not None]
    if not columns:
        return {}
    signal = np.column_stack(columns)
    has = (speed is not None, cadence is not None)
    found = dict(change_points(signal, *has, record["penalties"]))
    if len(record["penalties"]) == 1:
        for states in (2, 3):
            found[f"hmmlearn, {states} states"] = hidden_markov(signal, *has, states)
    return {
        name: spans(record["time_s"], record["elapsed_s"], *made) for name, made in found.items() if made is not None
    }


def main():
    os.makedirs(FOLDER, exist_ok=True)
    with open(__file__, "rb") as file:
        script = file.read()
    for line in sys.stdin:
        digest = hashlib.sha256(script + line.encode()).hexdigest()
        path = os.path.join(FOLDER, digest[:32] + ".json")
        if os.path.exists(path):
            with open(path, encoding="utf-8") as file:
                text = file.read()
        else:
            text = json.dumps(answer(json.loads(line)))
            with open(path + ".part", "w", encoding="utf-8") as file:
                file.write(text)
            os.replace(path + ".part", path)
        print(text, flush=True)


main()
