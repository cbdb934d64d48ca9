"""What runners do on slopes and what their hearts do, measured alike on recordings real and made up (the tables of docs/simulator.md).

    python3 -m venv ways && ways/bin/pip install numpy scipy jax optax
    cargo bench -p jogaudit-outside --bench real -- --columns FOLDER > real.csv
    cargo bench -p jogaudit-outside --bench accuracy -- --frames --only "run-walk, speed and heart rate, hills" --seeds 60 --first 5000 > made_up.bin
    ways/bin/python benches/ways.py real.csv
    ways/bin/python benches/ways.py made_up.bin

Slopes: the log of the speed in runs and in walks as a line of the slope, one uphill and one downhill, in recordings with so much of a gait and
slopes that differ by 0.02 and more (standard deviation). Then, of all recordings together, at which speed half are running, by slope.
(JAX and Optax are for `frames.py`, which reads what was made up.)

Hearts: the rate is taken to go to a level for runs, for walks and for standing, each but the last with a slope of the speed, and a drift, as
an exponential does after a delay; time constant and delay are those that leave the least; what is left after the first minute is called
wander. Beside that, the last 10 s of each run or walk of a minute or more are set against those of the next one. In recordings with
a heart rate and so much of each gait.

Printed: medians and tenths over recordings; with `--each` a line a recording.
"""

import csv
import itertools
import sys

import numpy as np
from scipy.signal import lfilter

FRAME_S, LEAST_S, LEAST_SLOPES = 2.0, 150, 0.02
TIME_CONSTANTS_S = (8, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150)
SLOPES, SPEEDS_MPS, LEAST_FRAMES = (-0.3, -0.1, -0.04, 0.04, 0.1, 0.15, 0.3), (1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.4), 30
DELAYS_S = (0, 4, 8, 12, 16, 20)
RUN, WALK, STAND = 0, 1, 2
OF_SLOPES = ("lost uphill", "gained downhill")
OF_HEARTS = (
    "wander, beats/min", "its correlation time, s", "time constant, s", "delay, s", "drift, beats/min in 30 min",
    "end of a run above end of a walk, beats/min", "the same for 1 m/s between them",
)  # fmt: skip


def number(text):
    return float(text) if text else np.nan


def of_table(path):
    """Recordings of `real --columns`: gait, speed, slope and heart rate."""
    gaits = {"run": RUN, "walk": WALK}
    with open(path, encoding="utf-8") as lines:
        for name, rows in itertools.groupby(csv.reader(lines), key=lambda row: row[0]):
            rows = list(rows)
            gait = np.array([gaits.get(row[2], -1) for row in rows])
            yield name, gait, *(np.array([number(row[k]) for row in rows]) for k in (3, 4, 6))


def of_frames(path):
    """Recordings of `accuracy --frames`; those of recorders with longer frames are left out."""
    import frames

    for k, segments in enumerate(frames.read(path)):
        if all(before[frames.FRAME_S] == FRAME_S for before, _ in segments):
            rows = np.concatenate([rows for _, rows in segments])
            yield f"made up {k}", *(rows[:, column] for column in (frames.GAIT, frames.SPEED, frames.SLOPE, frames.HEART))


def of_slope(told, speed, slope):
    """What a gait loses uphill and gains downhill, in the log for a unit of slope."""
    told = told & (speed > 0.5)
    if told.sum() * FRAME_S < LEAST_S or slope[told].std() < LEAST_SLOPES:
        return np.nan, np.nan
    columns = np.stack([np.ones(told.sum()), -np.maximum(slope[told], 0), np.maximum(-slope[told], 0)], 1)
    return np.linalg.lstsq(columns, np.log(speed[told]), rcond=None)[0][1:]


def half_run(recordings):
    """Where half are running, between steps of 0.2 m/s, by slope."""
    gait, speed, slope = (np.concatenate(column) for column in list(zip(*recordings))[1:4])
    told = (gait == RUN) | (gait == WALK)
    for least, most in itertools.pairwise(SLOPES):
        shares = []
        for mps in SPEEDS_MPS:
            there = told & (slope >= least) & (slope < most) & (speed >= mps) & (speed < mps + 0.2)
            shares.append(np.mean(gait[there] == RUN) if there.sum() >= LEAST_FRAMES else np.nan)
        from_mps = next((mps for mps, share in zip(SPEEDS_MPS, shares) if share >= 0.5), np.nan)
        print(f"slopes {least:+.2f} to {most:+.2f}: half and more are running from {from_mps:.1f} to {from_mps + 0.2:.1f} m/s on")


def filled(values):
    """Without gaps: what is not known lies on the line between its neighbours."""
    known = np.isfinite(values)
    return np.interp(np.arange(len(values)), np.flatnonzero(known), values[known])


def fitted(gait, speed, beats):
    """The heart of the first order that leaves the least."""
    speed, beats = filled(speed), filled(beats)
    stands = (gait == STAND) | (speed < 0.5)
    runs = (gait == RUN) & ~stands
    at_s = np.arange(len(beats)) * FRAME_S
    best = None
    for constant_s, delay_s in itertools.product(TIME_CONSTANTS_S, DELAYS_S):
        stays, later = np.exp(-FRAME_S / constant_s), int(delay_s / FRAME_S)

        def heart(does):
            does = np.concatenate([np.full(later, does[0]), does[: len(does) - later]]).astype(float)
            return lfilter([1 - stays], [1, -stays], does, zi=[stays * does[0]])[0]

        columns = [np.ones(len(beats)), heart(runs), heart(stands), at_s / 1800, heart(speed * runs), heart(speed * ~runs)]
        columns, counts = np.stack(columns, 1), at_s > 60
        weights = np.linalg.lstsq(columns[counts], beats[counts], rcond=None)[0]
        left = (beats - columns @ weights)[counts]
        if best is None or left.std() < best[0]:
            best = left.std(), constant_s, delay_s, weights, left
    sd, constant_s, delay_s, weights, left = best
    left = left - left.mean()
    alike = np.correlate(left, left, "full")[len(left) - 1 :]
    return sd, FRAME_S * np.argmax(alike < alike[0] / np.e), constant_s, delay_s, weights[3]


def ends(gait, speed, beats):
    """How far the end of a run lies above that of the walk beside it, and for each m/s between the two; medians."""
    minute, last = int(60 / FRAME_S), int(10 / FRAME_S)
    beats, cuts = filled(beats), np.flatnonzero(np.diff(gait)) + 1
    bouts = list(zip([0, *cuts], [*cuts, len(gait)]))
    above = []
    for (start, end), (next_start, next_end) in zip(bouts, bouts[1:]):
        both = {gait[start], gait[next_start]} == {RUN, WALK}
        if both and start >= minute and min(end - start, next_end - next_start) >= minute:
            sign = 1 if gait[start] == RUN else -1
            more_bpm = beats[end - last : end].mean() - beats[next_end - last : next_end].mean()
            more_mps = np.nanmean(speed[start:end]) - np.nanmean(speed[next_start:next_end])
            above.append((sign * more_bpm, more_bpm / more_mps))
    return np.median(above, 0) if above else (np.nan, np.nan)


def of_heart(gait, speed, beats):
    told_s = min((gait == RUN).sum(), (gait == WALK).sum()) * FRAME_S
    if told_s < LEAST_S or np.isfinite(beats).mean() < 0.5:
        return [np.nan] * len(OF_HEARTS)
    return [*fitted(gait, speed, beats), *ends(gait, speed, beats)]


def show(what, names, found):
    for name, values in zip(names, np.array(found).T):
        known = values[np.isfinite(values)]
        if not len(known):
            print(f"{what}, {name}: in no recording")
            continue
        low, middle, high = np.quantile(known, [0.1, 0.5, 0.9])
        print(f"{what}, {name}: {middle:.1f} [{low:.1f} to {high:.1f}] of {len(known)} recordings")


def main():
    path = sys.argv[1]
    runs, walks, hearts = [], [], []
    recordings = list(of_table(path) if path.endswith(".csv") else of_frames(path))
    for name, gait, speed, slope, beats in recordings:
        runs.append(of_slope(gait == RUN, speed, slope))
        walks.append(of_slope(gait == WALK, speed, slope))
        hearts.append(of_heart(gait, speed, beats))
        if "--each" in sys.argv:
            print(name, *(f"{value:.1f}" for value in (*runs[-1], *walks[-1], *hearts[-1])))
    show("runs", OF_SLOPES, runs)
    show("walks", OF_SLOPES, walks)
    half_run(recordings)
    show("hearts", OF_HEARTS, hearts)


if __name__ == "__main__":
    main()
