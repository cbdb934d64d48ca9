"""Fits the scorer of frames (crates/core/src/gait/scorer.rs): writes what it learns as crates/core/src/gait/learnt.rs.

    python3 -m venv jax && jax/bin/pip install jax optax scipy
    cargo bench -p jogaudit-outside --bench accuracy -- --frames --seeds 40000 --first 300000 > frames.bin
    cargo bench -p jogaudit-outside --bench accuracy -- --frames --seeds 1500 --first 290000 > held.bin
    jax/bin/python benches/frames.py frames.bin held.bin crates/core/src/gait/learnt.rs
    cargo fmt -p jogaudit-core

and then, with it, how certain bouts are: benches/bouts.py. Half an hour on two cores. The figures of a frame and the steps of the
network are those of `figures.rs` and `scorer.rs`, written a second time for JAX (https://docs.jax.dev); a test of `scorer.rs` holds
the two against each other. Loss: cross entropy of run, walk and stand at each frame whose gait is known. Adam with decoupled weight
decay (Loshchilov & Hutter 2019), a cosine of the learning rate; the rest is our choice.

Recordings are made more various than the simulator makes them, each time one is shown: speeds that wander by up to 12 % over 16 to 400 s,
runs of 0.8 to 1.5 and walks of 0.7 to 1.2 times the speed, steep ground that is known or not, cadences that lie off by a normal error of
3 steps/min (published optima of the switch: 134, 139 and 141, Hum Mov Sci 2023;90:103117) or are counted a sixth too low, no
speed beside a cadence, people who walk up what is steep. In three of ten the runner's usual speeds are known, now and then another runner's. Half have no heart rate; the others'
is weaker or stronger, wanders, comes later, is lost or wrong for a while, or tells nothing.
"""

import sys
import time
from concurrent.futures import ThreadPoolExecutor

import jax
import jax.numpy as jnp
import numpy as np
import optax
from scipy.signal import lfilter

CHANNELS, TAPS, APART, SEES_WHOLE = 32, 5, (1, 2, 4, 8, 16, 32, 32, 1), (2, 5)
OF_FRAME, OF_WHOLE = 13, 17
BATCH, LONGEST = 24, 640
# Epochs, and where the learning rate begins to fall: a cosine with a warm restart (Loshchilov & Hutter 2017).
CYCLES = ((3, 5e-3), (2, 2e-3), (2, 1e-3))
# Columns of a frame, and places in what stands before the frames of a segment.
SPEED, SLOPE, GAIT, CADENCE, HEART = 0, 1, 2, 3, 4
SEED, KIND, BY_POSITIONS, SLOPES_UNSEEN, FRAME_S, WALK_MPS, JOG_MPS = 0, 1, 2, 3, 4, 6, 7
# With `--plain` at the end recordings are shown as they are: what can be learnt of one condition, if nothing else were wanted.
PLAIN = "--plain" in sys.argv
random = np.random.default_rng(0)


def read(path):
    """Sessions, each a list of segments: what stands before, and the frames."""
    values = np.fromfile(path, dtype="<f4")
    sessions, at, last = [], 0, None
    while at < len(values):
        assert values[at] == -12345.0
        before = values[at + 1 : at + 10]
        n = int(before[8])
        frames = values[at + 10 : at + 10 + 5 * n].reshape(n, 5)
        at += 10 + 5 * n
        session = tuple(before[[SEED, KIND, WALK_MPS, JOG_MPS]])
        if session != last:
            sessions.append([])
            last = session
        sessions[-1].append((before, frames))
    return sessions


def whole(segments):
    """Quantiles of speeds and cadences of what moves, the share of frames with cadence, and quantiles of heart rates."""
    frames = np.concatenate([frames for _, frames in segments])
    speed, cadence = frames[:, SPEED], frames[:, CADENCE]
    moving = speed[np.isfinite(speed) & (speed > 0.7)]
    stepping = cadence[np.isfinite(cadence) & (cadence > 60)]
    speeds = np.quantile(moving, [0.1, 0.25, 0.5, 0.75, 0.9]) if len(moving) >= 5 else None
    cadences = np.quantile(stepping, [0.1, 0.5, 0.9]) if len(stepping) >= 5 else None
    is_read = np.isfinite(speed) | np.isfinite(cadence)
    beats = frames[:, HEART][np.isfinite(frames[:, HEART])]
    hearts = np.quantile(beats, [0.1, 0.5, 0.9]) if len(beats) >= max(5, 0.5 * is_read.sum()) else None
    return speeds, cadences, np.isfinite(cadence).sum() / max(is_read.sum(), 1), hearts


def figures(before, frames, of_whole, usual=None, factor=1.0, counted=1.0, off_spm=0.0, without_speed=False):
    """What the scorer sees, as in figures.rs."""
    speeds, cadences, share, hearts = of_whole
    speed = frames[:, SPEED] * factor
    cadence = frames[:, CADENCE] * counted + off_spm * (frames[:, CADENCE] > 60)
    if without_speed:
        speed, speeds = np.full_like(speed, np.nan), None
    speeds = np.full(5, 1.95) if speeds is None else speeds * factor
    cadences = np.full(3, 137.5) if cadences is None else cadences * counted + off_spm
    has_speed, has_cadence = np.isfinite(speed), np.isfinite(cadence)
    steps = has_cadence & (cadence > 15)
    speed, cadence = np.where(has_speed, speed, 0), np.where(steps, cadence, 0)

    has_heart = np.isfinite(frames[:, HEART]) & (hearts is not None)
    hearts = np.zeros(3) if hearts is None else hearts
    heart = np.where(has_heart, np.clip((frames[:, HEART] - hearts[1]) / 15, -5, 5), 0)

    def beside(at_mps):
        return np.where(has_speed, np.clip((speed - at_mps) / 0.4, -5, 5), 0)

    def stepping(at_spm):
        return np.where(steps, np.clip((cadence - at_spm) / 12, -5, 5), 0)

    columns = [
        beside(1.95),
        has_speed,
        np.clip(frames[:, SLOPE] * 10, -2, 2),
        beside(speeds[2]),
        stepping(137.5),
        has_cadence,
        has_cadence & ~steps,
        stepping(cadences[2]),
        stepping(cadences[0]),
        beside(usual[0]) if usual else np.zeros(len(speed)),
        beside(usual[1]) if usual else np.zeros(len(speed)),
        has_heart,
        heart,
    ]
    same = [
        *np.clip((speeds - 1.95) / 0.4, -5, 5),
        *np.clip((cadences - 137.5) / 12, -5, 5),
        before[BY_POSITIONS],
        before[SLOPES_UNSEEN],
        min(before[FRAME_S], 6) / 2 - 1,
        share,
        1.0 if usual else 0.0,
        (usual[1] - usual[0]) / 0.4 if usual else 0.0,
        of_whole[3] is not None,
        *np.clip((hearts[[0, 2]] - hearts[1]) / 15, -5, 5),
    ]
    out = np.zeros((len(speed), OF_FRAME + OF_WHOLE), "f4")
    for k, column in enumerate(columns):
        out[:, k] = column
    out[:, OF_FRAME:] = np.array(same, "f4")
    return out


def wander(n, lasts, sd):
    """A first-order autoregressive error that lasts so many frames."""
    rho = np.exp(-1 / max(lasts, 1))
    draws = random.standard_normal(n + int(4 * lasts)) * np.sqrt(1 - rho * rho)
    return (sd * lfilter([1], [1, -rho], draws))[-n:]


def smooth(values, width=5):
    return np.convolve(np.pad(values, width // 2, mode="edge"), np.ones(width) / width, "valid")


def log_uniform(low, high):
    return np.exp(random.uniform(np.log(low), np.log(high)))


def varied(segments):
    """A session made more various, and whether the runner's speeds are others now."""
    wanders, is_other, is_steep = random.random() < 0.25, random.random() < 0.25, random.random() < 0.18
    wander_sd, wander_lasts = random.uniform(0.02, 0.12), log_uniform(8, 200)
    run, walk = random.uniform(0.8, 1.5), random.uniform(0.7, 1.2)
    is_hidden = random.random() < 0.3
    steep_sd, steep_lasts = random.uniform(0.02, 0.06 if is_hidden else 0.14), log_uniform(10, 80)
    up, down = random.uniform(0.5, 4.5), random.uniform(-2.5, 1.5)
    # Now and then people walk up what is steep, and run where it is level or goes down.
    is_walked = is_steep and not is_hidden and random.random() < 0.4
    walk_rises, run_falls = random.uniform(0.03, 0.18), random.uniform(-0.03, 0.1)
    out = []
    for before, frames in segments:
        before, frames, n = before.copy(), frames.copy(), len(frames)
        if wanders:
            frames[:, SPEED] *= np.exp(wander(n, wander_lasts, wander_sd))
        if is_other:
            gait = frames[:, GAIT]
            frames[:, SPEED] *= smooth(np.where(gait == 0, run, np.where(gait == 1, walk, 1.0)))
        if is_steep:
            slope = wander(n, steep_lasts, steep_sd)
            if is_walked:
                slope += np.where(frames[:, GAIT] == 1, walk_rises, np.where(frames[:, GAIT] == 0, -run_falls, 0.0))
            slope = np.clip(smooth(slope, 9), -0.25, 0.25)
            frames[:, SPEED] *= np.maximum(1 - up * np.maximum(slope, 0) + down * np.maximum(-slope, 0), 0.3)
            if is_hidden or before[SLOPES_UNSEEN] > 0:
                before[SLOPES_UNSEEN] = 1
            else:
                seen = frames[:, SLOPE] + slope + 0.01 * random.standard_normal(n)
                frames[:, SLOPE] = np.clip(seen, -0.2, 0.2)
        out.append((before, frames))
    return out, is_other


def beating(segments):
    """A session with another heart: none, or one whose recorder errs."""
    if random.random() < 0.5:
        change = None
    else:
        stronger, wander_sd, wander_lasts = log_uniform(0.5, 1.3), random.uniform(0, 6), log_uniform(8, 60)
        later = random.integers(0, 8) if random.random() < 0.3 else 0
        trend_sd, trend_lasts = random.uniform(0, 10), log_uniform(150, 800)
        tells_nothing = random.random() < 0.08
        is_lost, is_wrong = random.random() < 0.15, random.random() < 0.15

        def change(beats):
            n = len(beats)
            known = beats[np.isfinite(beats)]
            middle = np.median(known) if len(known) else 0.0
            beats = np.concatenate([np.full(min(later, n), beats[0]), beats[: n - min(later, n)]])
            beats = middle + (0 if tells_nothing else stronger) * (beats - middle) + wander(n, wander_lasts, wander_sd)
            beats = beats + wander(n, trend_lasts, trend_sd)
            if tells_nothing:
                beats = beats + wander(n, log_uniform(10, 100), 12)
            for happens, what in ((is_lost, np.nan), (is_wrong, middle + random.uniform(-40, 50))):
                start, length = random.integers(n), int(log_uniform(5, 200))
                if happens:
                    beats[start : start + length] = what
            return beats

    out = []
    for before, frames in segments:
        frames = frames.copy()
        frames[:, HEART] = np.nan if change is None else change(frames[:, HEART])
        out.append((before, frames))
    return out


def shown(sessions, at):
    """Figures and gaits of a part of a segment, as it is shown this time."""
    session, segment = at
    segments, is_other = (sessions[session], False) if PLAIN else varied(sessions[session])
    segments = segments if PLAIN else beating(segments)
    of_whole = whole(segments)
    before, frames = segments[segment]
    if len(frames) > LONGEST:
        start = random.integers(0, len(frames) - LONGEST + 1)
        frames = frames[start : start + LONGEST]
    if PLAIN:
        return figures(before, frames, of_whole), frames[:, GAIT]
    usual = None
    if random.random() < 0.3 and not is_other:
        who = before if random.random() < 0.92 else sessions[random.integers(len(sessions))][0][0]
        usual = (
            who[WALK_MPS] + 0.1 * random.standard_normal(),
            who[JOG_MPS] + 0.12 * random.standard_normal(),
        )
    factor = 1.0 if usual else 1 + 0.03 * random.standard_normal()
    without_speed = of_whole[1] is not None and random.random() < 0.1
    counted = 0.84 if random.random() < (0.15 if without_speed else 0.03) else 1.0
    off_spm = 3.0 * random.standard_normal()
    seen = figures(before, frames, of_whole, usual, factor, counted, off_spm, without_speed)
    return seen, frames[:, GAIT]


def batch(sessions, places):
    seen = np.zeros((BATCH, LONGEST, OF_FRAME + OF_WHOLE), "f4")
    gait = np.full((BATCH, LONGEST), -1, "i4")
    there = np.zeros((BATCH, LONGEST), "f4")
    for k, at in enumerate(places):
        figures_, gaits = shown(sessions, at)
        seen[k, : len(gaits)], gait[k, : len(gaits)], there[k, : len(gaits)] = figures_, gaits, 1
    return seen, gait, there


def first_weights(key):
    keys = iter(jax.random.split(key, 64))

    def draw(shape, scale):
        return jax.random.normal(next(keys), shape) * np.sqrt(scale)

    n = OF_FRAME + OF_WHOLE
    weights = {"in": (draw((3, n, CHANNELS), 1 / (3 * n)), jnp.zeros(CHANNELS))}
    for k in range(len(APART)):
        taps, mix = draw((TAPS, CHANNELS), 1 / TAPS), draw((CHANNELS, CHANNELS), 0.5 / CHANNELS)
        weights[f"block {k}"] = (taps, jnp.zeros(CHANNELS), mix, jnp.zeros(CHANNELS))
        if k in SEES_WHOLE:
            weights[f"whole {k}"] = draw((CHANNELS, CHANNELS), 0.1 / CHANNELS)
    weights["out"] = (draw((CHANNELS, 3), 0.1 / CHANNELS), jnp.zeros(3))
    return weights


def taps_of(values, weights, apart):
    n, reach = values.shape[1], len(weights) // 2 * apart
    wide = jnp.pad(values, ((0, 0), (reach, reach), (0, 0)))
    return [wide[:, k * apart : k * apart + n] for k in range(len(weights))]


def scores(weights, seen, there):
    """As in scorer.rs, of many segments at once; `there` is 0 beyond their ends."""
    there = there[:, :, None]
    taps, bias = weights["in"]
    values = sum(tap @ w for tap, w in zip(taps_of(seen, taps, 1), taps))
    values = jax.nn.relu(values + bias) * there
    for k, apart in enumerate(APART):
        taps, tap_bias, mix, bias = weights[f"block {k}"]
        if k in SEES_WHOLE:
            mean = jnp.sum(values, 1) / jnp.sum(there, 1)
            bias = bias + (mean @ weights[f"whole {k}"])[:, None, :]
        tapped = sum(tap * w for tap, w in zip(taps_of(values, taps, apart), taps)) + tap_bias
        values = (values + jax.nn.relu(tapped @ mix + bias)) * there
    out, bias = weights["out"]
    return values @ out + bias


def loss(weights, seen, gait, there):
    logs = jax.nn.log_softmax(scores(weights, seen, there))
    told = (gait >= 0) * there
    own = jnp.take_along_axis(logs, jnp.maximum(gait, 0)[:, :, None], 2)[:, :, 0]
    return -jnp.sum(own * told) / jnp.sum(told)


EXAMPLE_FRAMES = (0, 19, 22, 40, 77, 99)


def example(weights):
    """Probabilities at some frames of 200 s made up by rule, as the test of scorer.rs makes them up too."""
    frame = np.arange(100)
    runs = frame // 20 % 2
    speed = np.where(frame % 11 == 5, np.nan, 1.5 + 0.9 * runs + 0.01 * (frame % 7))
    cadence = np.where(frame % 13 == 4, 0, 112 + 48 * runs + frame % 5)
    cadence = np.where(frame < 30, np.nan, cadence)
    heart = np.where(frame % 17 == 3, np.nan, 118 + 20 * runs + frame % 9)
    frames = np.stack([speed, 0.005 * (frame % 9 - 4), frame * 0, cadence, heart], 1)
    before = np.zeros(9)
    before[FRAME_S] = 2
    seen = figures(before, frames, whole([(before, frames)]), (1.5, 2.4))
    return np.asarray(jax.nn.softmax(scores(weights, seen[None], np.ones((1, 100), "f4"))[0]))[list(EXAMPLE_FRAMES)]


def rust(weights):
    """The weights as a Rust source."""

    def row(values):
        numbers = "[" + ", ".join(f"{float(value):.4f}" for value in values) + "]"
        return f"Values({numbers})" if len(values) == CHANNELS else numbers

    def table(rows):
        return "[" + ",\n".join(row(values) for values in rows) + "]"

    def tables(all_of_them):
        return "[" + ",\n".join(table(rows) for rows in all_of_them) + "]"

    taps, bias = weights["in"]
    yield """//! What the scorer has learnt from made-up recordings. Written by `benches/frames.py`; not to be changed by hand.

#![allow(clippy::unreadable_literal, clippy::approx_constant)] // what a machine wrote

use super::figures::{OF_FRAME, OF_WHOLE};
use super::network::{Block, CHANNELS, INPUT_TAPS, Values};

"""
    yield f"pub(super) static INPUT: [[Values; OF_FRAME]; INPUT_TAPS] = {tables(taps[:, :OF_FRAME])};\n\n"
    yield f"pub(super) static WHOLE: [[Values; OF_WHOLE]; INPUT_TAPS] = {tables(taps[:, OF_FRAME:])};\n\n"
    yield f"pub(super) static INPUT_BIAS: Values = {row(bias)};\n\n"
    yield f"pub(super) static BLOCKS: [Block; {len(APART)}] = [\n"
    for k, apart in enumerate(APART):
        taps, tap_bias, mix, bias = weights[f"block {k}"]
        of_whole = f"Some({table(weights[f'whole {k}'])})" if k in SEES_WHOLE else "None"
        yield f"Block {{ apart: {apart}, taps: {table(taps)}, tap_bias: {row(tap_bias)}, mix: {table(mix)}, "
        yield f"mix_bias: {row(bias)}, whole: {of_whole} }},\n"
    out, bias = weights["out"]
    yield "];\n\n"
    yield f"pub(super) static OUTPUT: [[f32; 3]; CHANNELS] = {table(out)};\n\n"
    yield f"pub(super) static OUTPUT_BIAS: [f32; 3] = {row(bias)};\n\n"
    yield "/// Probabilities at some frames of an example, by JAX.\n#[cfg(test)]\n"
    said = ",\n".join(f"({at}, {row(p)})" for at, p in zip(EXAMPLE_FRAMES, example(weights)))
    yield f"pub(super) static EXAMPLE: [(usize, [f64; 3]); {len(EXAMPLE_FRAMES)}] = [{said}];\n"


def check(weights, sessions):
    """Shares of frames right on sessions that were not shown, as they are."""
    one = jax.jit(scores)
    right = {}
    for segments in sessions:
        of_whole = whole(segments)
        for before, frames in segments:
            n = len(frames)
            padded = -(-n // 256) * 256
            seen = np.zeros((1, padded, OF_FRAME + OF_WHOLE), "f4")
            seen[0, :n] = figures(before, frames, of_whole)
            there = np.zeros((1, padded), "f4")
            there[0, :n] = 1
            said = np.asarray(one(weights, seen, there))[0, :n].argmax(1)
            told = frames[:, GAIT] >= 0
            name = "with cadence" if of_whole[1] is not None else "without"
            same, all_ = right.get(name, (0, 0))
            right[name] = (same + (said[told] == frames[told, GAIT]).sum(), all_ + told.sum())
    for name, (same, all_) in right.items():
        print(f"{name}: {100 * same / all_:.2f} % of {all_} frames right")


def fitted(weights, sessions, places, epochs, rounds, rate):
    """The weights after one fall of the learning rate."""
    schedule = optax.warmup_cosine_decay_schedule(1e-4, rate, 300, epochs * rounds, 1e-5)
    adam = optax.chain(optax.clip_by_global_norm(1.0), optax.adamw(schedule, weight_decay=1e-4))
    state = adam.init(weights)

    @jax.jit
    def step(weights, state, seen, gait, there):
        value, slopes = jax.value_and_grad(loss)(weights, seen, gait, there)
        changes, state = adam.update(slopes, state, weights)
        return optax.apply_updates(weights, changes), state, value

    start, mean = time.time(), 0.0
    with ThreadPoolExecutor(1) as ahead:
        for epoch in range(epochs):
            order = random.permutation(len(places))

            def made(k):
                return ahead.submit(batch, sessions, [places[i] for i in order[k * BATCH : (k + 1) * BATCH]])

            next_ = made(0)
            for k in range(rounds):
                weights, state, value = step(weights, state, *next_.result())
                next_ = made(min(k + 1, rounds - 1))
                mean = 0.98 * mean + 0.02 * float(value)
                if k % 200 == 0:
                    print(f"epoch {epoch}, {k} of {rounds}: loss {mean:.4f}, {time.time() - start:.0f} s", flush=True)
    return weights


def main():
    path, held, out = sys.argv[1:4]
    sessions = read(path)
    places = [(k, j) for k, s in enumerate(sessions) for j, (_, frames) in enumerate(s) if len(frames) >= 8]
    rounds = len(places) // BATCH
    weights = first_weights(jax.random.PRNGKey(1))
    print(f"{len(sessions)} sessions, {len(places)} segments, {sum(p.size for p in jax.tree.leaves(weights))} weights")
    for epochs, rate in CYCLES:
        weights = fitted(weights, sessions, places, epochs, rounds, rate)
    weights = jax.tree.map(lambda values: np.round(np.asarray(values), 4), weights)
    with open(out, "w", encoding="utf-8") as source:
        source.writelines(rust(weights))
    check(weights, read(held))


if __name__ == "__main__":
    main()
