//! Cadence faults of recorders: drop-outs to zero while moving, held values, and locks onto half or double.

use std::ops::Range;

use jogaudit_recording::units::StepsPerMinute;

use super::config::cadence::{
    DOUBLE_ABOVE_SPM, DOUBLE_STEP_M, DROPPED_SPM, EQUAL_SPM, HALF_BELOW_SPM, HALF_STEP_M,
    HELD_AT_ANY_SPEED_S, HELD_CHANGE_MPS, HELD_ENDS_S, HELD_S, HELD_WHILE_STILL_SAMPLES,
    HELD_WHILE_STILL_SPM, LOCK_S, MOST_DOUBLED_SPM, MOST_HELD, MOVING_MPS, SPEED_WITHIN_S,
    STILL_DOUBLE_ABOVE_SPM, STILL_DOUBLE_STEP_M, STILL_HALF_BELOW_SPM, STILL_HALF_RATIO_M, STILL_MPS,
};
use super::order::Row;
use super::{Change, ChangeKind, CleanConfig};

/// Cadence by row, both feet; faults are mended where the speed tells how, else left out.
pub(super) fn mend(
    rows: &[Row],
    time_s: &[f64],
    speed_mps: &[Option<f64>],
    config: &CleanConfig,
    ledger: &mut Vec<Change>,
) -> Vec<Option<f64>> {
    let cadence_spm = rows.iter().map(|r| r.sample.cadence.map(StepsPerMinute::get)).collect();
    let mut mending =
        Mending { rows, time_s, speed_mps, most_spm: config.max_cadence_spm, cadence_spm, ledger };
    mending.leave_out_drop_outs();
    mending.change_locks(
        2.0,
        ChangeKind::CadenceDoubled,
        |steps| steps.spm < HALF_BELOW_SPM && steps.are_longer(HALF_STEP_M),
        |steps| steps.spm < STILL_HALF_BELOW_SPM && steps.are_longer(STILL_HALF_RATIO_M * steps.spm),
    );
    mending.change_locks(
        0.5,
        ChangeKind::CadenceHalved,
        |steps| match steps.spm {
            spm if spm > config.max_cadence_spm => steps.length_m().is_some(),
            spm => spm > DOUBLE_ABOVE_SPM && steps.are_shorter(DOUBLE_STEP_M),
        },
        |steps| steps.spm > STILL_DOUBLE_ABOVE_SPM && steps.are_shorter(STILL_DOUBLE_STEP_M),
    );
    mending.leave_out_held();
    mending.leave_out_held_while_still();
    mending.leave_out_of_range();
    mending.cadence_spm
}

/// A cadence under way of being mended.
struct Mending<'a> {
    rows: &'a [Row],
    time_s: &'a [f64],
    speed_mps: &'a [Option<f64>],
    /// Greatest cadence that is possible.
    most_spm: f64,
    cadence_spm: Vec<Option<f64>>,
    ledger: &'a mut Vec<Change>,
}

/// The steps of a row. Their length is looked up only where their number asks for it.
struct Steps<'a> {
    spm: f64,
    at: usize,
    mending: &'a Mending<'a>,
}

impl Steps<'_> {
    fn length_m(&self) -> Option<f64> {
        Some(60.0 * self.mending.speed_mps(self.at)? / self.spm)
    }

    fn are_longer(&self, bound_m: f64) -> bool {
        self.length_m().is_some_and(|length_m| length_m > bound_m)
    }

    fn are_shorter(&self, bound_m: f64) -> bool {
        self.length_m().is_some_and(|length_m| length_m < bound_m)
    }
}

impl Mending<'_> {
    /// Speed around a row.
    fn speed_mps(&self, at: usize) -> Option<f64> {
        local_mean(self.speed_mps, self.time_s, at, SPEED_WITHIN_S)
    }

    fn length_s(&self, rows: &Range<usize>) -> f64 {
        self.time_s[rows.end - 1] - self.time_s[rows.start]
    }

    fn change(&mut self, at: usize, spm: Option<f64>, kind: ChangeKind) {
        self.cadence_spm[at] = spm;
        self.ledger.push(Change { sample: self.rows[at].index, kind });
    }

    fn leave_out(&mut self, rows: Range<usize>) {
        for at in rows {
            self.change(at, None, ChangeKind::CadenceRefused);
        }
    }

    /// Cadences of nearly nothing while moving, and those that are not possible even as double of what was meant.
    fn leave_out_drop_outs(&mut self) {
        for at in 0..self.cadence_spm.len() {
            let Some(spm) = self.cadence_spm[at] else { continue };
            let dropped = spm < DROPPED_SPM && self.speed_mps(at).is_some_and(|v| v > MOVING_MPS);
            let may_be_double = spm > self.most_spm && spm <= MOST_DOUBLED_SPM;
            if dropped || !(0.0..=self.most_spm).contains(&spm) && !may_be_double {
                self.change(at, None, ChangeKind::CadenceRefused);
            }
        }
    }

    /// A row with steps; that of a drop-out has none.
    fn steps(&self, at: usize) -> Option<Steps<'_>> {
        let spm = self.cadence_spm[at].filter(|spm| *spm >= DROPPED_SPM)?;
        Some(Steps { spm, at, mending: self })
    }

    /// Multiplies by `factor` where the cadence was locked onto half or double of the true one: where steps `surely` look so for long
    /// enough, and as far either way as they `maybe` do.
    fn change_locks(
        &mut self,
        factor: f64,
        kind: ChangeKind,
        surely: impl Fn(&Steps) -> bool,
        maybe: impl Fn(&Steps) -> bool,
    ) {
        let n = self.cadence_spm.len();
        let sure: Vec<bool> = (0..n).map(|at| self.steps(at).is_some_and(|steps| surely(&steps))).collect();
        let lasts = |rows: Range<usize>| {
            runs_of_rows(rows, |at| sure[at]).iter().any(|sure| self.length_s(sure) >= LOCK_S)
        };
        if !lasts(0..n) {
            return;
        }
        let may_be = |at: usize| sure[at] || self.steps(at).is_some_and(|steps| maybe(&steps));
        let mut locks = runs_of_rows(0..n, may_be);
        locks.retain(|rows| lasts(rows.clone()));
        for at in locks.into_iter().flatten() {
            self.change(at, self.cadence_spm[at].map(|spm| spm * factor), kind);
        }
    }

    /// One and the same value while the speed goes from one gait's to another's, or for longer than this recorder says one.
    fn leave_out_held(&mut self) {
        let equal = equal_runs(&self.cadence_spm);
        let is_long = |rows: &Range<usize>| self.length_s(rows) >= HELD_AT_ANY_SPEED_S;
        let all: usize = equal.iter().map(Range::len).sum();
        let long: usize = equal.iter().filter(|rows| is_long(rows)).map(Range::len).sum();
        let repeats_itself = long as f64 > MOST_HELD * all as f64;
        for rows in equal {
            let length_s = self.length_s(&rows);
            if length_s < HELD_S {
                continue;
            }
            let (from_s, to_s) = (self.time_s[rows.start], self.time_s[rows.end - 1]);
            let inner = |at: &usize| {
                self.time_s[*at] - from_s >= HELD_ENDS_S && to_s - self.time_s[*at] >= HELD_ENDS_S
            };
            let speeds = rows.clone().filter(inner).filter_map(|at| self.speed_mps(at));
            let (least, most) =
                speeds.fold((f64::INFINITY, 0.0_f64), |(least, most), v| (least.min(v), most.max(v)));
            // Without a speed there is nothing else to tell by.
            let is_held = length_s >= HELD_AT_ANY_SPEED_S && most > 0.0 && !repeats_itself;
            if is_held || most - least > HELD_CHANGE_MPS {
                self.leave_out(rows);
            }
        }
    }

    /// A steady cadence while standing.
    fn leave_out_held_while_still(&mut self) {
        let held = |at: usize| {
            self.cadence_spm[at].is_some_and(|spm| spm > HELD_WHILE_STILL_SPM)
                && self.speed_mps(at).is_some_and(|v| v < STILL_MPS)
        };
        for rows in runs_of_rows(0..self.cadence_spm.len(), held) {
            let first = self.cadence_spm[rows.start];
            let equal =
                |at: usize| self.cadence_spm[at].zip(first).is_some_and(|(a, b)| (a - b).abs() < EQUAL_SPM);
            if rows.len() >= HELD_WHILE_STILL_SAMPLES && rows.clone().all(equal) {
                self.leave_out(rows);
            }
        }
    }

    /// What is still not possible.
    fn leave_out_of_range(&mut self) {
        for at in 0..self.cadence_spm.len() {
            if self.cadence_spm[at].is_some_and(|spm| spm > self.most_spm) {
                self.change(at, None, ChangeKind::CadenceRefused);
            }
        }
    }
}

/// Runs of rows with one and the same cadence above 0; rows without one do not end them.
fn equal_runs(cadence: &[Option<f64>]) -> Vec<Range<usize>> {
    let mut out: Vec<Range<usize>> = Vec::new();
    let mut value = f64::NAN;
    for (at, spm) in cadence.iter().enumerate() {
        match (spm, out.last_mut()) {
            (Some(spm), Some(last)) if *spm == value => last.end = at + 1,
            (Some(spm), _) => {
                value = *spm;
                out.push(at..at + 1);
            }
            (None, _) => {}
        }
    }
    out.retain(|s| cadence[s.start].is_some_and(|spm| spm > 0.0));
    out
}

/// Longest runs of some rows for which `test` holds.
fn runs_of_rows(rows: Range<usize>, test: impl Fn(usize) -> bool) -> Vec<Range<usize>> {
    let mut out = Vec::new();
    let mut from = None;
    for at in rows.start..=rows.end {
        match (at < rows.end && test(at), from) {
            (true, None) => from = Some(at),
            (false, Some(start)) => {
                out.push(start..at);
                from = None;
            }
            _ => {}
        }
    }
    out
}

/// Mean of the known values within `half_s` of row `at`.
fn local_mean(column: &[Option<f64>], time_s: &[f64], at: usize, half_s: f64) -> Option<f64> {
    let (mut sum, mut n) = (0.0, 0.0);
    let before = (0..=at).rev().take_while(|&j| time_s[at] - time_s[j] <= half_s);
    let after = (at + 1..column.len()).take_while(|&j| time_s[j] - time_s[at] <= half_s);
    for j in before.chain(after) {
        if let Some(value) = column[j] {
            sum += value;
            n += 1.0;
        }
    }
    (n > 0.0).then(|| sum / n)
}
