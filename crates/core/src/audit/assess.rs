//! From what was done, matched with what was prescribed, to the audit.

use super::align::{Alignment, Piece, PieceKind, Target, TargetPlace};
use super::ceilings;
use super::certainty::OPEN;
use super::findings::{self, LengthAudit, Lengths};
use super::gradient::Slopes;
use super::matched::Matched;
use super::measure::{self, BoutPart};
use super::pace::{self, Basis, PaceAudit};
use super::verdict::{self, Doubts};
use super::workout;
use super::{Audit, Dose, Finding, Outcome};
use crate::gait::{Bout, Gait, HIDDEN_S};
use crate::prescription::Move;
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};
use jogaudit_recording::units::clock;

/// A recording that moves from its first seconds began while moving. Our choice.
const AT_ONCE_S: f64 = 5.0;
/// Share of the session with a heart rate below which nothing says that its ceiling was kept. Our choice.
const LEAST_COVERED: f64 = 0.5;
/// Below this certainty a bout may hide another gait. Chosen on the simulator (docs/method-audit.md).
const LEAST_CERTAIN: f64 = 1.0 - OPEN;
/// On a stage of walking alone, share of the walking that may be missing. Our choice.
const WALKED_SHARE: f64 = 0.1;

/// How the beginning of the recording stands to the beginning of the session.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Beginning {
    /// Prescribed steps before the first one on the recording are missing.
    late: bool,
    /// The step that begins before the recording.
    truncated: Option<usize>,
}

impl Matched<'_> {
    /// Judges what was done. What cannot be told is `undecided`, and the notices say why.
    pub fn audit(&self) -> Noted<Audit> {
        if self.series.is_order_doubtful() {
            // Said when the samples were put in order.
            return Noted::plain(self.nothing_known());
        }
        if self.pieces.iter().all(|p| p.bout.gait == Gait::Unknown) {
            return Noted { value: self.nothing_known(), notices: vec![no_gait_data()] };
        }
        let Some(alignment) = &self.layout.alignment else {
            return self.too_much();
        };
        let mut notices = Vec::new();
        let range_s = moving_range(&self.pieces);
        self.note_altitude(&mut notices);
        let beginning = self.beginning(alignment);
        let (mut findings, leaves_open) = self.lengths(alignment, beginning, range_s, &mut notices);
        let (pace, pace_unchecked) = self.pace(&mut notices);
        let (too_high, heart_unchecked) = self.heart_rate(range_s, &mut notices);
        findings.extend(pace.findings);
        findings.extend(too_high);
        findings.extend(self.walk_cadence(&mut notices));
        findings.sort_by(|a, b| {
            let at = |f: &Finding| f.start_s.unwrap_or(f64::INFINITY);
            at(a).total_cmp(&at(b)).then(a.code.cmp(&b.code)).then(a.rep.cmp(&b.rep))
        });
        let can_tell = self.can_tell(range_s, &mut notices);
        let hidden_start = note_ends(beginning, &self.layout.targets, alignment, &findings, &mut notices);
        let no_distance = self.note_distance(&mut notices);
        notices.extend(self.series.workout().and_then(|had| workout::differs(had, self.prescription)));
        let hidden = [PieceKind::Walk, PieceKind::Run].map(|kind| self.may_hide_another(kind, &mut notices));
        let doubts = Doubts {
            open: !can_tell || leaves_open || hidden_start || no_distance,
            unshown: hidden.contains(&true) || pace_unchecked || heart_unchecked,
            less_walked: self.less_walked(&mut notices),
        };
        let outcome = match range_s {
            None => Outcome::Undecided,
            Some(_) => verdict::outcome(&findings, doubts, &mut notices),
        };
        let (reps, dose) = (self.reps(&pace.over_ceiling_s), self.dose(range_s));
        Noted { value: Audit { outcome, reps, dose, findings, is_level: self.is_level() }, notices }
    }

    /// Leaves everything undecided, done and not done, where no bout is known, or none can be right.
    fn nothing_known(&self) -> Audit {
        let mut dose = self.dose(None);
        for amount in [&mut dose.run_s, &mut dose.walk_s, &mut dose.session_s] {
            amount.achieved = None;
        }
        dose = Dose { run_steps: None, run_distance_m: None, ..dose };
        Audit { outcome: Outcome::Undecided, reps: Vec::new(), dose, findings: Vec::new(), is_level: false }
    }

    /// Leaves everything undecided where bouts and steps are too many to match.
    fn too_much(&self) -> Noted<Audit> {
        let text = format!(
            "{} bouts and {} prescribed steps are too many to match; the session is not judged.",
            self.pieces.len(),
            self.layout.steps.len()
        );
        let value = Audit {
            outcome: Outcome::Undecided,
            reps: self.reps(&vec![None; self.done.len()]),
            dose: self.dose(moving_range(&self.pieces)),
            findings: Vec::new(),
            is_level: false,
        };
        Noted { value, notices: vec![Notice::new(NoticeCode::TooMuchToMatch, text)] }
    }

    /// What the lengths give, and whether missing data or errors may hide that one is too long.
    fn lengths(
        &self,
        alignment: &Alignment,
        beginning: Beginning,
        range_s: Option<(f64, f64)>,
        notices: &mut Vec<Notice>,
    ) -> (Vec<Finding>, bool) {
        let mut found = Lengths::new(self, alignment, beginning.truncated).check();
        if let (Some(limit), Some(range_s)) = (self.prescription.limits.session_ceiling, range_s) {
            let hole_s = measure::total_s(&parts_within(&self.pieces, range_s, &[PieceKind::Hole]));
            findings::session_length(range_s, hole_s, limit.get(), &mut found, self.config);
        }
        let about_holes = found.note_hidden();
        let leaves_open = about_holes.is_some() || found.is_open;
        let LengthAudit { findings, notices: about_lengths, .. } = found;
        notices.extend(about_lengths.into_iter().chain(about_holes));
        (findings, leaves_open)
    }

    fn beginning(&self, alignment: &Alignment) -> Beginning {
        let Some(first) = alignment.groups.first() else {
            return Beginning::default();
        };
        let moving = self.pieces.iter().find(|p| p.is_moving());
        let at_once = moving.is_some_and(|p| p.bout.start_s <= AT_ONCE_S) && first.pieces.start == 0;
        let late = at_once && first.targets.start > 0;
        let target = &self.layout.targets[first.targets.start];
        let step = target.steps.start;
        let done = &self.done[step];
        let cut = done.length_s.least - measure::total_s(&done.own) > self.prescription.tolerance.run.get();
        let truncated = (late && target.gait == Gait::Run && cut).then_some(step);
        Beginning { late, truncated }
    }

    fn note_distance(&self, notices: &mut Vec<Notice>) -> bool {
        let by_distance = self.steps_done().any(|(step, done)| {
            !step.extent.is_time()
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

    fn note_altitude(&self, notices: &mut Vec<Notice>) {
        const INSTEAD: &str = "The ceiling for it is held against pace on the ground instead, which decides nothing \
                               for sure.";
        let is_judged = self.wants_level() && self.has_pace_ceiling();
        match &self.slopes {
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

    /// What the pace ceiling gives, and whether it could not be checked as prescribed.
    fn pace(&self, notices: &mut Vec<Notice>) -> (PaceAudit, bool) {
        if !self.has_pace_ceiling() {
            return (
                PaceAudit { over_ceiling_s: vec![None; self.done.len()], ..PaceAudit::default() },
                false,
            );
        }
        let level = self.is_level();
        let stand_in = self.wants_level() && !level;
        let basis = Basis { series: self.series, slopes: &self.slopes, level, stand_in };
        let ceilings: Vec<Option<f64>> = self.layout.steps.iter().map(|s| self.ceiling_mps(s)).collect();
        let found = pace::check(&basis, &self.done, &ceilings, self.prescription.tolerance.pace, self.config);
        let unchecked = 2 * found.unjudged.len() > found.runs;
        if let Some(runs) = named(&found.unjudged, found.runs) {
            let then = if unchecked {
                "so it can't be told whether the run stayed below the pace ceiling"
            } else {
                "so the pace ceiling could not be checked there"
            };
            notices.push(Notice::new(
                NoticeCode::PaceNotJudged,
                format!("The pace of {runs} is not known, {then}."),
            ));
        }
        let may_be_over = named(&found.at_ceiling, found.runs);
        if let Some(runs) = &may_be_over {
            notices.push(Notice::new(
                NoticeCode::PaceAtCeiling,
                format!(
                    "The recorded pace of {runs} is close to the ceiling. Recorders mostly show too slow a pace, by {:.0} % on \
                     average, so it can't be told whether the ceiling was kept.",
                    100.0 * self.config.reads_low
                ),
            ));
        }
        (found, unchecked || basis.stand_in || may_be_over.is_some())
    }

    /// What the heart-rate ceiling gives, and whether it could not be checked for most of the session.
    fn heart_rate(&self, range_s: Option<(f64, f64)>, notices: &mut Vec<Notice>) -> (Vec<Finding>, bool) {
        let (Some(ceiling), Some(range_s)) = (self.prescription.limits.heart_rate_ceiling, range_s) else {
            return (Vec::new(), false);
        };
        let found = ceilings::heart_rate(self.series, range_s, ceiling.get(), &self.done, self.config);
        let unchecked = found.covered < LEAST_COVERED || 2 * found.unjudged.len() > found.runs;
        let missing = named(&found.unjudged, found.runs);
        let text = match (found.covered > 0.0, unchecked, missing) {
            (false, ..) => Some(
                "There is no heart rate, so it can't be told whether it stayed below its ceiling.".to_owned(),
            ),
            (true, true, _) => Some(format!(
                "Heart rate is known for {:.0} % of the session only, so it can't be told whether it stayed below its ceiling.",
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

    fn walk_cadence(&self, notices: &mut Vec<Notice>) -> Vec<Finding> {
        let Some(floor) = ceilings::walk_floor_spm(&self.prescription, self.config) else {
            return Vec::new();
        };
        // A rest is no brisk walk.
        let walks = self.steps_done().filter(|(step, _)| step.motion == Move::Walk).map(|(_, done)| done);
        let (findings, unjudged) = ceilings::walk_cadence(self.series, walks, floor, self.config);
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
    fn can_tell(&self, range_s: Option<(f64, f64)>, notices: &mut Vec<Notice>) -> bool {
        let Some((start_s, end_s)) = range_s else {
            notices.push(no_gait_data());
            return false;
        };
        let pieces = &self.pieces;
        let within = |kinds: &[PieceKind]| parts_within(pieces, (start_s, end_s), kinds);
        let inside = |p: &&Piece| p.bout.start_s >= start_s && p.bout.end_s <= end_s;
        let paused_s: f64 =
            pieces.iter().filter(inside).filter(|p| p.is_pause()).map(|p| p.bout.duration_s()).sum();
        if paused_s > 0.0 {
            notices.push(Notice::new(
                NoticeCode::PauseCountsAsRest,
                format!("The recorder's timer was stopped for {paused_s:.0} s; that is counted as standing."),
            ));
        }
        let unknown = measure::total_s(&within(&[PieceKind::Hole])) / (end_s - start_s).max(1.0);
        let moving_s = measure::total_s(&within(&[PieceKind::Run, PieceKind::Walk]));
        let certainty = self.mean_certainty();
        let too_much_unknown = unknown > self.config.unknown_share;
        let unsure = certainty < self.config.mean_certainty;
        // How certain a bout is says whether it hides so much of another gait: of less it says nothing.
        let too_short = moving_s < HIDDEN_S;
        if too_short {
            notices.push(Notice::new(
                NoticeCode::TooMuchUnknown,
                format!("Only {moving_s:.0} s of running and walking are on the recording; too little for a verdict."),
            ));
        }
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
        !too_short && !too_much_unknown && !unsure
    }

    /// Mean certainty of all running and walking.
    pub(super) fn mean_certainty(&self) -> f64 {
        let moving: Vec<BoutPart> = self.pieces.iter().filter(|p| p.is_moving()).map(BoutPart::of).collect();
        measure::certainty(&moving)
    }

    /// Whether a walk is so uncertain that it may hide a run, or a run that it may hide a walk.
    fn may_hide_another(&self, kind: PieceKind, notices: &mut Vec<Notice>) -> bool {
        let (code, what, other, untold) = if kind == PieceKind::Walk {
            (NoticeCode::WalkMayHideRun, "walk", "running", "no more was run than prescribed")
        } else {
            (NoticeCode::RunMayHideWalk, "run", "walking", "it was run as prescribed")
        };
        let in_doubt = |p: &&Piece| {
            p.kind == kind && p.bout.duration_s() >= HIDDEN_S && p.bout.certainty < LEAST_CERTAIN
        };
        let bouts: Vec<Bout> = self.pieces.iter().filter(in_doubt).map(|p| p.bout).collect();
        let Some(worst) = bouts.iter().min_by(|a, b| a.certainty.total_cmp(&b.certainty)) else {
            return false;
        };
        let (from, to) = (clock(worst.start_s), clock(worst.end_s));
        let probable = 100.0 * (1.0 - worst.certainty);
        let more = match bouts.len() - 1 {
            0 => String::new(),
            1 => " So may 1 other.".to_owned(),
            count => format!(" So may {count} others."),
        };
        notices.push(Notice::new(
            code,
            format!(
                "The {what} from {from} to {to} may hide {HIDDEN_S:.0} s of {other} or more ({probable:.0} % probable), so it can't \
                 be told that {untold}.{more}"
            ),
        ));
        true
    }

    /// A stage of walking alone, on which less was walked.
    fn less_walked(&self, notices: &mut Vec<Notice>) -> bool {
        let done = &self.done;
        if done.is_empty() || done.iter().any(|d| d.gait == Gait::Run) {
            return false;
        }
        let wanted: f64 = done.iter().map(|d| d.length_s.least).sum();
        let walked: f64 = done.iter().map(|d| measure::total_s(&d.own) + d.rest_s + d.hole_s).sum();
        let short = wanted - walked > self.prescription.tolerance.walk.get().max(WALKED_SHARE * wanted);
        if short {
            notices.push(Notice::new(
                NoticeCode::WalkingShort,
                format!("{walked:.0} s were walked of {wanted:.0} s that are prescribed."),
            ));
        }
        short
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
        text.push_str(" Prescribed running is not on it, so it can't be told whether that was done.");
    }
    notices.push(Notice::new(NoticeCode::LateStart, text));
    hides
}

/// From the first to the last second of running or walking.
fn moving_range(pieces: &[Piece]) -> Option<(f64, f64)> {
    let first = pieces.iter().find(|p| p.is_moving())?;
    let last = pieces.iter().rev().find(|p| p.is_moving())?;
    Some((first.bout.start_s, last.bout.end_s))
}

/// What lies within a range, of some kinds.
fn parts_within(pieces: &[Piece], (start_s, end_s): (f64, f64), kinds: &[PieceKind]) -> Vec<BoutPart> {
    let inside = |p: &&Piece| p.bout.start_s >= start_s && p.bout.end_s <= end_s;
    pieces.iter().filter(inside).filter(|p| kinds.contains(&p.kind)).map(BoutPart::of).collect()
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
