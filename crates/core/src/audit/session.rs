//! The audit of one session, step by step.

use super::align::{self, Alignment, Kind, Piece, Target, TargetPlace};
use super::ceilings;
use super::findings::{self, LengthAudit, Lengths};
use super::gradient::{self, Slopes};
use super::layouts;
use super::measure::{self, Done, Span};
use super::pace::{self, Basis, PaceAudit};
use super::verdict::{self, Doubts};
use super::{Amount, Audit, AuditConfig, Dose, Finding, Outcome, Rep};
use crate::clean::{Series, SpeedSource};
use crate::gait::{Gait, Segmentation};
use crate::prescription::{Extent, Limits, Move, PaceBasis, Runner, Step, Tolerance};
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};
use jogaudit_recording::units::MetresPerSecond;

/// Speeds with which a distance is turned into time when the recording has none: jogging as in return to running
/// (8–10 km/h, Rambaud et al. 2018, secondary) and brisk walking (3.2 mph, Compendium of Physical Activities 2011).
/// They only steer the matching.
const ASSUMED_MPS: (f64, f64) = (2.4, 1.4);
/// A recording that moves from its first seconds began while moving.
const AT_ONCE_S: f64 = 5.0;

/// One session and what it is held against.
pub(super) struct Session<'a> {
    pub(super) segmentation: &'a Segmentation,
    pub(super) series: &'a Series,
    pub(super) steps: &'a [Step],
    pub(super) limits: &'a Limits,
    pub(super) runner: &'a Runner,
    pub(super) tolerance: &'a Tolerance,
    pub(super) config: &'a AuditConfig,
}

/// Mean running and walking speed, m/s; assumed where not known.
pub(super) fn speeds(pieces: &[Piece], series: &Series) -> (f64, f64) {
    let of = |kind: Kind, assumed: f64| {
        let spans: Vec<Span> = pieces.iter().filter(|p| p.kind == kind).map(Span::of).collect();
        let length_s = measure::total_s(&spans);
        let speed = measure::distance_m(series, &spans).map(|d| d / length_s);
        speed.filter(|v| v.is_finite() && *v > 0.3).unwrap_or(assumed)
    };
    (of(Kind::Run, ASSUMED_MPS.0), of(Kind::Walk, ASSUMED_MPS.1))
}

/// The ways in which a session may be laid out, given the speeds of the recording.
pub(super) fn layouts_for(
    segmentation: &Segmentation,
    series: &Series,
    session: &crate::prescription::Session,
) -> Vec<Vec<Step>> {
    let (run, walk) = speeds(&measure::pieces(segmentation, series), series);
    layouts::layouts(session, MetresPerSecond::new(run), MetresPerSecond::new(walk))
}

/// The layout that costs least to match; of equals the first.
pub(super) fn best_layout<'l>(
    segmentation: &Segmentation,
    series: &Series,
    layouts: &'l [Vec<Step>],
    config: &AuditConfig,
) -> &'l [Step] {
    if let [only] = layouts {
        return only;
    }
    let pieces = measure::pieces(segmentation, series);
    let speeds = speeds(&pieces, series);
    let cost = |steps: &[Step]| {
        let targets = align::targets(&timed(steps, speeds));
        align::align(&pieces, &targets, &config.costs).map_or(f64::INFINITY, |a| a.cost)
    };
    let costs = layouts.iter().map(|steps| (cost(steps), steps.as_slice()));
    costs.min_by(|a, b| a.0.total_cmp(&b.0)).map_or(&[], |(_, steps)| steps)
}

/// See [`super::alignment_cost_s`].
pub(super) fn alignment_cost_s(
    segmentation: &Segmentation,
    series: &Series,
    prescribed: &crate::prescription::Session,
    config: &AuditConfig,
) -> f64 {
    let pieces = measure::pieces(segmentation, series);
    let speeds = speeds(&pieces, series);
    let cost = |steps: &Vec<Step>| {
        align::align(&pieces, &align::targets(&timed(steps, speeds)), &config.costs)
            .map_or(f64::INFINITY, |a| a.cost)
    };
    layouts_for(segmentation, series, prescribed).iter().map(cost).fold(f64::INFINITY, f64::min)
}

/// Gait and length in seconds of each step.
pub(super) fn timed(steps: &[Step], (run_mps, walk_mps): (f64, f64)) -> Vec<(Move, f64)> {
    steps
        .iter()
        .map(|step| {
            let speed = if step.motion == Move::Run { run_mps } else { walk_mps };
            let length_s = match step.extent {
                Extent::Time(s) => s.get(),
                Extent::Distance(m) => m.get() / speed,
            };
            (step.motion, length_s)
        })
        .collect()
}

/// How the beginning of the recording stands to the beginning of the session.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Beginning {
    /// Prescribed steps before the first one on the recording are missing.
    late: bool,
    /// The step that begins before the recording.
    truncated: Option<usize>,
}

impl Session<'_> {
    pub(super) fn audit(&self) -> Noted<Audit> {
        let mut notices = Vec::new();
        let pieces = measure::pieces(self.segmentation, self.series);
        let timed = timed(self.steps, speeds(&pieces, self.series));
        let lengths_s: Vec<f64> = timed.iter().map(|t| t.1).collect();
        if pieces.iter().all(|p| p.bout.gait == Gait::Unknown) {
            return self.nothing_known(&lengths_s);
        }
        let targets = align::targets(&timed);
        let Some(alignment) = align::align(&pieces, &targets, &self.config.costs) else {
            return self.too_much(&pieces, &targets, &lengths_s);
        };
        let done = measure::lay_out(&pieces, &targets, &alignment, &lengths_s);
        let range_s = moving_range(&pieces);
        let slopes = gradient::slopes(self.series, self.config.slope_window_m, self.config.slope_error);
        self.note_altitude(&slopes, &mut notices);

        let beginning = self.beginning(&pieces, &targets, &alignment, &done);
        let lengths = Lengths {
            series: self.series,
            pieces: &pieces,
            targets: &targets,
            alignment: &alignment,
            steps: self.steps,
            done: &done,
            tolerance: self.tolerance,
            config: self.config,
            truncated: beginning.truncated,
        };
        let mut found = lengths.check();
        if let (Some(limit), Some(range_s)) = (self.limits.session_ceiling, range_s) {
            let hole_s = measure::total_s(&spans_within(&pieces, range_s, &[Kind::Hole]));
            findings::session_length(range_s, hole_s, limit.get(), &mut found, self.config);
        }
        let about_holes = found.note_hidden();
        let hidden = about_holes.is_some();
        let LengthAudit { mut findings, notices: about_lengths, .. } = found;
        notices.extend(about_lengths.into_iter().chain(about_holes));
        let (pace, pace_unchecked) = self.pace(&slopes, &done, &mut notices);
        findings.extend(pace.findings);
        let (too_high, heart_unchecked) = self.heart_rate(range_s, &done, &mut notices);
        findings.extend(too_high);
        findings.extend(self.walk_cadence(&done, &mut notices));
        findings.sort_by(|a, b| {
            let at = |f: &Finding| f.start_s.unwrap_or(f64::INFINITY);
            at(a).total_cmp(&at(b)).then(a.code.cmp(&b.code)).then(a.rep.cmp(&b.rep))
        });

        let can_tell = self.can_tell(&pieces, range_s, &mut notices);
        let hidden_start = note_ends(beginning, &targets, &alignment, &findings, &mut notices);
        let no_distance = self.note_distance(&done, &mut notices);
        let doubts = Doubts {
            open: !can_tell || hidden || hidden_start || no_distance,
            unchecked: pace_unchecked || heart_unchecked,
            less_walked: self.less_walked(&done, &mut notices),
        };
        let outcome = if range_s.is_none() {
            Outcome::Undecided
        } else {
            verdict::outcome(&findings, doubts, &mut notices)
        };
        let reps = self.reps(&done, &slopes, &pace.over_ceiling_s);
        let dose = self.dose(&pieces, &lengths_s, range_s);
        Noted {
            value: Audit {
                outcome,
                reps,
                dose,
                findings,
                is_level: slopes.is_good() && self.limits.pace_basis == PaceBasis::Level,
            },
            notices,
        }
    }

    /// Leaves everything undecided, done and not done, where no bout is known.
    fn nothing_known(&self, lengths_s: &[f64]) -> Noted<Audit> {
        let mut dose = self.dose(&[], lengths_s, None);
        for amount in [&mut dose.run_s, &mut dose.walk_s, &mut dose.session_s] {
            amount.achieved = None;
        }
        dose = Dose { run_steps: None, run_distance_m: None, ..dose };
        let notices = vec![no_gait_data()];
        let value = Audit {
            outcome: Outcome::Undecided,
            reps: Vec::new(),
            dose,
            findings: Vec::new(),
            is_level: false,
        };
        Noted { value, notices }
    }

    /// Leaves everything undecided where bouts and steps are too many to match.
    fn too_much(&self, pieces: &[Piece], targets: &[Target], lengths_s: &[f64]) -> Noted<Audit> {
        let done = measure::lay_out(pieces, targets, &Alignment::default(), lengths_s);
        let reps = self.reps(&done, &Slopes::Absent, &vec![None; done.len()]);
        let dose = self.dose(pieces, lengths_s, moving_range(pieces));
        let text = format!(
            "{} bouts and {} prescribed steps are too many to match; the session is not judged.",
            pieces.len(),
            lengths_s.len()
        );
        Noted {
            value: Audit { outcome: Outcome::Undecided, reps, dose, findings: Vec::new(), is_level: false },
            notices: vec![Notice::new(NoticeCode::TooMuchToMatch, text)],
        }
    }

    fn beginning(
        &self,
        pieces: &[Piece],
        targets: &[Target],
        alignment: &Alignment,
        done: &[Done],
    ) -> Beginning {
        let Some(first) = alignment.groups.first() else {
            return Beginning::default();
        };
        let moving = pieces.iter().find(|p| matches!(p.kind, Kind::Run | Kind::Walk));
        let at_once = moving.is_some_and(|p| p.bout.start_s <= AT_ONCE_S) && first.pieces.start == 0;
        let late = at_once && first.targets.start > 0;
        let target = &targets[first.targets.start];
        let step = target.steps.start;
        let cut = done[step].length_s - measure::total_s(&done[step].own) > self.tolerance.run.get();
        let truncated = (late && target.gait == Gait::Run && cut).then_some(step);
        Beginning { late, truncated }
    }

    fn note_distance(&self, done: &[Done], notices: &mut Vec<Notice>) -> bool {
        let by_distance = self.steps.iter().zip(done).any(|(step, done)| {
            matches!(step.extent, Extent::Distance(_))
                && !done.own.is_empty()
                && measure::distance_m(self.series, &done.own).is_none()
        });
        if by_distance {
            notices.push(Notice::new(
                NoticeCode::NoDistance,
                "A step is prescribed by distance but the recording has none; its length can't be judged.",
            ));
        }
        by_distance
    }

    fn note_altitude(&self, slopes: &Slopes, notices: &mut Vec<Notice>) {
        const INSTEAD: &str = "The ceiling for it is held against pace on the ground instead, which decides nothing \
                               for sure.";
        let is_judged = self.limits.pace_basis == PaceBasis::Level && self.has_pace_ceiling();
        match slopes {
            Slopes::Known { error, good: false, .. } => {
                let then = if is_judged { INSTEAD } else { "Take the level paces with care." };
                let percent = 100.0 * error;
                notices.push(Notice::new(
                    NoticeCode::AltitudeTooCoarse,
                    format!(
                        "The altitude is too coarse for level-ground pace: its slope is uncertain by {percent:.1} %. \
                         {then}"
                    ),
                ));
            }
            Slopes::Absent if is_judged => notices.push(Notice::new(
                NoticeCode::AltitudeAbsent,
                format!("There is no usable altitude, so no level-ground pace. {INSTEAD}"),
            )),
            Slopes::Known { good: true, .. } | Slopes::Absent => {}
        }
    }

    pub(super) fn ceiling_mps(&self, step: &Step) -> Option<f64> {
        (step.motion == Move::Run)
            .then(|| step.ceiling.or(self.limits.pace_ceiling).map(MetresPerSecond::get))
            .flatten()
            .filter(|c| *c > 0.0)
    }

    fn has_pace_ceiling(&self) -> bool {
        self.steps.iter().any(|s| self.ceiling_mps(s).is_some())
    }

    /// What the pace ceiling gives, and whether it could not be checked as prescribed.
    fn pace(&self, slopes: &Slopes, done: &[Done], notices: &mut Vec<Notice>) -> (PaceAudit, bool) {
        if !self.has_pace_ceiling() {
            return (PaceAudit { over_ceiling_s: vec![None; done.len()], ..PaceAudit::default() }, false);
        }
        let wants_level = self.limits.pace_basis == PaceBasis::Level;
        let level = wants_level && slopes.is_good();
        let basis = Basis { series: self.series, slopes, level, stand_in: wants_level && !level };
        let ceilings: Vec<Option<f64>> = self.steps.iter().map(|s| self.ceiling_mps(s)).collect();
        let found = pace::check(&basis, done, &ceilings, self.tolerance.pace, self.config);
        let unchecked = 2 * found.unjudged.len() > found.runs;
        if let Some(runs) = named(&found.unjudged, found.runs) {
            let then = if unchecked {
                "so it can't be told whether the pace ceiling was kept"
            } else {
                "so the pace ceiling could not be checked there"
            };
            notices.push(Notice::new(
                NoticeCode::PaceNotJudged,
                format!("The pace of {runs} is not known, {then}."),
            ));
        }
        (found, unchecked || basis.stand_in)
    }

    /// What the heart-rate ceiling gives, and whether it could not be checked for most of the session.
    fn heart_rate(
        &self,
        range_s: Option<(f64, f64)>,
        done: &[Done],
        notices: &mut Vec<Notice>,
    ) -> (Vec<Finding>, bool) {
        let (Some(ceiling), Some(range_s)) = (self.limits.heart_rate_ceiling, range_s) else {
            return (Vec::new(), false);
        };
        let found = ceilings::heart_rate(self.series, range_s, ceiling.get(), done, self.config);
        let unchecked = found.covered < 0.5 || 2 * found.unjudged.len() > found.runs;
        let missing = named(&found.unjudged, found.runs);
        let text = match (found.covered > 0.0, unchecked, missing) {
            (false, ..) => {
                Some("There is no heart rate, so it can't be told whether its ceiling was kept.".to_owned())
            }
            (true, true, _) => Some(format!(
                "Heart rate is known for {:.0} % of the session only, so it can't be told whether its ceiling was kept.",
                100.0 * found.covered
            )),
            (true, false, Some(runs)) => Some(format!(
                "The heart rate of {runs} is not known, so its ceiling could not be checked there."
            )),
            (true, false, None) => None,
        };
        notices.extend(text.map(|text| Notice::new(NoticeCode::HeartRateNotJudged, text)));
        if found.follows_cadence {
            notices.push(Notice::new(
                NoticeCode::HeartRateFollowsCadence,
                "Heart rate above its ceiling jumps with the cadence and equals it; the sensor may have counted steps.",
            ));
        }
        (found.findings, unchecked)
    }

    fn walk_cadence(&self, done: &[Done], notices: &mut Vec<Notice>) -> Vec<Finding> {
        let Some(floor) = ceilings::walk_floor_spm(self.limits, self.runner, self.config) else {
            return Vec::new();
        };
        let (findings, unjudged) = ceilings::walk_cadence(self.series, done, floor, self.config);
        if unjudged > 0 {
            notices.push(Notice::new(
                NoticeCode::CadenceNotJudged,
                format!(
                    "The cadence of {unjudged} walk(s) is not known, so its floor could not be checked there."
                ),
            ));
        }
        findings
    }

    /// Whether the bouts are known well enough for a verdict.
    fn can_tell(&self, pieces: &[Piece], range_s: Option<(f64, f64)>, notices: &mut Vec<Notice>) -> bool {
        let Some((start_s, end_s)) = range_s else {
            notices.push(no_gait_data());
            return false;
        };
        let spans = |kinds: &[Kind]| spans_within(pieces, (start_s, end_s), kinds);
        let inside = |p: &&Piece| p.bout.start_s >= start_s && p.bout.end_s <= end_s;
        let paused_s: f64 =
            pieces.iter().filter(inside).filter(|p| p.is_pause()).map(|p| p.bout.duration_s()).sum();
        if paused_s > 0.0 {
            notices.push(Notice::new(
                NoticeCode::PauseCountsAsRest,
                format!("The recorder's timer was stopped for {paused_s:.0} s; that is counted as standing."),
            ));
        }
        let unknown = measure::total_s(&spans(&[Kind::Hole])) / (end_s - start_s).max(1.0);
        let certainty = measure::certainty(&spans(&[Kind::Run, Kind::Walk]));
        let too_much_unknown = unknown > self.config.unknown_share;
        let unsure = certainty < self.config.mean_certainty;
        if too_much_unknown {
            notices.push(Notice::new(
                NoticeCode::TooMuchUnknown,
                format!(
                    "{:.0} % of the session has no usable data; too much for a verdict.",
                    100.0 * unknown
                ),
            ));
        }
        if unsure {
            notices.push(Notice::new(
                NoticeCode::GaitUncertain,
                format!(
                    "Running and walking are told apart with a mean certainty of {:.0} % only; too little for a verdict.",
                    100.0 * certainty
                ),
            ));
        }
        !too_much_unknown && !unsure
    }

    /// A stage of walking alone, on which less was walked.
    fn less_walked(&self, done: &[Done], notices: &mut Vec<Notice>) -> bool {
        if done.is_empty() || done.iter().any(|d| d.gait == Gait::Run) {
            return false;
        }
        let wanted: f64 = done.iter().map(|d| d.length_s).sum();
        let walked: f64 = done.iter().map(|d| measure::total_s(&d.own) + d.rest_s + d.hole_s).sum();
        let short = wanted - walked > self.tolerance.walk.get().max(0.1 * wanted);
        if short {
            notices.push(Notice::new(
                NoticeCode::WalkingShort,
                format!("{walked:.0} s were walked of {wanted:.0} s that are prescribed."),
            ));
        }
        short
    }

    fn reps(&self, done: &[Done], slopes: &Slopes, over_ceiling_s: &[Option<f64>]) -> Vec<Rep> {
        let step_reps = self.steps.iter().zip(done).zip(over_ceiling_s);
        step_reps.map(|((step, done), over)| self.rep(step, done, slopes, *over)).collect()
    }

    fn rep(&self, step: &Step, done: &Done, slopes: &Slopes, over_ceiling_s: Option<f64>) -> Rep {
        let series = self.series;
        let (prescribed_s, prescribed_m) = match step.extent {
            Extent::Time(s) => (Some(s.get()), None),
            Extent::Distance(m) => (None, Some(m.get())),
        };
        let has_any = !done.own.is_empty();
        let pace = |speed: Option<f64>| speed.filter(|v| *v > 0.0).map(|v| 1000.0 / v);
        let level = |k: usize| {
            let speed = series.speed_mps().get(k).copied().flatten()?;
            Some(speed * gradient::cost_ratio(done.gait, slopes.at(k)?))
        };
        let level_mps = measure::mean_by(series.time_s(), &done.own, level)
            .filter(|m| m.covered_s >= 0.5 * measure::total_s(&done.own));
        Rep {
            rep: done.rep,
            gait: done.gait,
            prescribed_s,
            prescribed_m,
            achieved_s: measure::total_s(&done.own),
            achieved_m: measure::distance_m(series, &done.own).filter(|_| has_any),
            error_s: measure::error_s(&done.own),
            start_s: done.range_s.map(|r| r.0),
            end_s: done.range_s.map(|r| r.1),
            stand_s: done.rest_s,
            mean_pace_s_per_km: pace(self.ground_speed(&done.own)),
            level_pace_s_per_km: pace(level_mps.map(|m| m.value)),
            over_ceiling_s,
            mean_cadence_spm: measure::mean_cadence(series, &done.own),
            max_heart_rate_bpm: measure::greatest(series, &done.own, series.heart_rate_bpm()),
        }
    }

    /// Mean speed over ground: from the speed column, else from distance.
    fn ground_speed(&self, spans: &[Span]) -> Option<f64> {
        let by_speed = || measure::mean(self.series, spans, self.series.speed_mps()).map(|m| m.value);
        let by_distance = || {
            let length_s = measure::total_s(spans);
            measure::distance_m(self.series, spans).filter(|_| length_s > 0.0).map(|d| d / length_s)
        };
        if self.series.speed_source() == SpeedSource::Absent {
            by_distance()
        } else {
            by_speed().or_else(by_distance)
        }
    }

    fn dose(&self, pieces: &[Piece], lengths_s: &[f64], range_s: Option<(f64, f64)>) -> Dose {
        let prescribed = |gait: Option<Move>| -> Option<f64> {
            let steps =
                || self.steps.iter().zip(lengths_s).filter(|(s, _)| gait.is_none_or(|g| s.motion == g));
            let open = steps().any(|(s, _)| matches!(s.extent, Extent::Distance(_)));
            (!open).then(|| steps().map(|(_, s)| s).sum())
        };
        let spans =
            |kind: Kind| -> Vec<Span> { pieces.iter().filter(|p| p.kind == kind).map(Span::of).collect() };
        let (run, walk) = (spans(Kind::Run), spans(Kind::Walk));
        let run_s = measure::total_s(&run);
        let session_s = range_s.map_or(0.0, |(from, to)| to - from);
        let cadence = measure::mean_cadence(self.series, &run);
        Dose {
            run_s: Amount { prescribed: prescribed(Some(Move::Run)), achieved: Some(run_s) },
            walk_s: Amount {
                prescribed: prescribed(Some(Move::Walk)),
                achieved: Some(measure::total_s(&walk)),
            },
            session_s: Amount { prescribed: prescribed(None), achieved: Some(session_s) },
            run_steps: if run.is_empty() { Some(0.0) } else { cadence.map(|c| c * run_s / 60.0) },
            run_distance_m: if run.is_empty() { Some(0.0) } else { measure::distance_m(self.series, &run) },
        }
    }
}

/// Says where the recording misses the beginning or the end. Gives whether that hides running.
fn note_ends(
    beginning: Beginning,
    targets: &[Target],
    alignment: &Alignment,
    findings: &[Finding],
    notices: &mut Vec<Notice>,
) -> bool {
    let missing_last = |target: &Target| {
        target.place == TargetPlace::Trail
            && alignment.groups.last().is_some_and(|g| g.targets.end < targets.len())
    };
    let reps_missing = findings.iter().any(|f| f.code == super::Code::RepMissing);
    if targets.last().is_some_and(missing_last) && !reps_missing {
        notices.push(Notice::new(
            NoticeCode::EarlyStop,
            "The last prescribed walk is not on the recording: the recorder was stopped early or it was left out.",
        ));
    }
    if !beginning.late {
        return false;
    }
    let hides = beginning.truncated.is_some() || reps_missing;
    let mut text = String::from(
        "The recording begins after the beginning of the session: the recorder was started late or the first \
         steps were left out.",
    );
    if hides {
        text.push_str(" Prescribed running is not on it, so it can't be told whether that was kept.");
    }
    notices.push(Notice::new(NoticeCode::LateStart, text));
    hides
}

/// From the first to the last second of running or walking.
fn moving_range(pieces: &[Piece]) -> Option<(f64, f64)> {
    let moving = |p: &&Piece| matches!(p.kind, Kind::Run | Kind::Walk);
    let first = pieces.iter().find(moving)?;
    let last = pieces.iter().rev().find(moving)?;
    Some((first.bout.start_s, last.bout.end_s))
}

/// What lies within a range, of some kinds.
fn spans_within(pieces: &[Piece], (start_s, end_s): (f64, f64), kinds: &[Kind]) -> Vec<Span> {
    let inside = |p: &&Piece| p.bout.start_s >= start_s && p.bout.end_s <= end_s;
    pieces.iter().filter(inside).filter(|p| kinds.contains(&p.kind)).map(Span::of).collect()
}

fn no_gait_data() -> Notice {
    Notice::new(NoticeCode::NoGaitData, "Nothing on the recording could be told to be running or walking.")
}

/// Some runs of a session in words: `run 3`, `runs 1 and 4`, `7 of 20 runs`; `None` for none.
fn named(runs: &[u32], of: usize) -> Option<String> {
    match runs {
        [] => None,
        all if all.len() == of => Some(if of == 1 { "the run".to_owned() } else { "the runs".to_owned() }),
        [one] => Some(format!("run {one}")),
        [first, second] => Some(format!("runs {first} and {second}")),
        [first, second, third] => Some(format!("runs {first}, {second} and {third}")),
        more => Some(format!("{} of {of} runs", more.len())),
    }
}
