//! Faults to order: what the runner does instead of what was prescribed.
//!
//! They change the intended legs before anything is simulated, so that the rest of the simulator knows nothing of
//! them.

use std::fmt;
use std::str::FromStr;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use serde::Serialize;

use super::person::Person;
use super::random::{Stream, rng, uniform};
use super::{InRange, Kept, SimulateError};
use jogaudit_core::gait::Gait;
use jogaudit_core::prescription::{Extent, Move, Step};
use jogaudit_core::range::Range;
use jogaudit_recording::units::{Metres, Seconds};

/// What goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultKind {
    /// A run lasts longer; value in seconds.
    RunLonger,
    /// A whole run is faster than its ceiling, or than usual where there is none; value in percent.
    RunFaster,
    /// A run lasts less; value in seconds.
    RunShorter,
    /// A run is walked instead.
    RepMissing,
    /// Run and walk are done again after the last run; value: how often.
    RepExtra,
    /// Running inside the longest walk of a session; value in seconds.
    RunUnplanned,
    /// A walk break is shorter; value in seconds.
    WalkCut,
    /// A walk break is left out: two runs become one.
    WalkMissing,
    /// A walk's cadence is below the floor, or below usual where there is none; value in steps a minute.
    WalkSlower,
    /// Standing in the middle of a run, which is then completed; value in seconds.
    Stop,
    /// A walk before the session that nobody prescribed; value in seconds.
    WarmUp,
    /// The watch is started late; value in seconds.
    LateStart,
    /// The heart rate goes above the ceiling, or above what is usual where there is none; value in beats a minute.
    HeartRateHigh,
    /// The last walk goes on until the session is longer than its ceiling, or than prescribed where there is none;
    /// value in seconds.
    SessionLonger,
}

impl FaultKind {
    /// Every kind, in the order of the documentation.
    pub const ALL: [Self; 14] = [
        Self::RunLonger,
        Self::RunFaster,
        Self::RunShorter,
        Self::RepMissing,
        Self::RepExtra,
        Self::RunUnplanned,
        Self::WalkCut,
        Self::WalkMissing,
        Self::WalkSlower,
        Self::Stop,
        Self::WarmUp,
        Self::LateStart,
        Self::HeartRateHigh,
        Self::SessionLonger,
    ];

    /// Name on the command line and in the truth file, the value's unit, and the value when none is given.
    const fn row(self) -> (&'static str, &'static str, f64) {
        match self {
            Self::RunLonger => ("run-longer", "s", 25.0),
            Self::RunFaster => ("run-faster", "%", 10.0),
            Self::RunShorter => ("run-shorter", "s", 25.0),
            Self::RepMissing => ("rep-missing", "", 1.0),
            Self::RepExtra => ("rep-extra", "reps", 1.0),
            Self::RunUnplanned => ("run-unplanned", "s", 60.0),
            Self::WalkCut => ("walk-cut", "s", 40.0),
            Self::WalkMissing => ("walk-missing", "", 1.0),
            Self::WalkSlower => ("walk-slower", "spm", 12.0),
            Self::Stop => ("stop", "s", 25.0),
            Self::WarmUp => ("warm-up", "s", 240.0),
            Self::LateStart => ("late-start", "s", 90.0),
            Self::HeartRateHigh => ("heart-rate-high", "bpm", 12.0),
            Self::SessionLonger => ("session-longer", "s", 300.0),
        }
    }

    /// Name on the command line and in the truth file.
    pub const fn name(self) -> &'static str {
        self.row().0
    }

    /// Unit of the value: `s`, `%`, `spm`, `bpm`, `reps`, or empty where the value is not used.
    pub const fn unit(self) -> &'static str {
        self.row().1
    }

    /// Greatest value that is read from a command line, our choice: a day, a doubled speed, a range of cadence or heart rate,
    /// repetitions.
    fn most(self) -> f64 {
        match self.unit() {
            "%" => 100.0,
            "spm" | "bpm" => 200.0,
            "reps" => 1000.0,
            _ => 86_400.0,
        }
    }

    /// Value when none is given.
    pub const fn usual_value(self) -> f64 {
        self.row().2
    }
}

/// A fault to order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// What goes wrong.
    pub kind: FaultKind,
    /// By how much, in [`FaultKind::unit`].
    pub value: f64,
    /// Which rep, counted from 1 among the prescribed steps of its gait; drawn when not given.
    pub rep: Option<u32>,
}

impl Fault {
    /// A fault of a given size at a rep that is drawn.
    pub const fn new(kind: FaultKind, value: f64) -> Self {
        Self { kind, value, rep: None }
    }

    /// The same at a given rep.
    #[must_use]
    pub const fn at_rep(mut self, rep: u32) -> Self {
        self.rep = Some(rep);
        self
    }
}

impl FromStr for Fault {
    type Err = String;

    /// Reads `KIND`, `KIND:VALUE` or `KIND:VALUE:REP`; an empty value takes the usual one.
    fn from_str(text: &str) -> Result<Self, String> {
        let mut parts = text.split(':');
        let name = parts.next().unwrap_or_default();
        let kind = FaultKind::ALL.into_iter().find(|k| k.name() == name).ok_or_else(|| {
            let names: Vec<&str> = FaultKind::ALL.iter().map(|k| k.name()).collect();
            format!("no fault is called `{name}`; there are {}", names.join(", "))
        })?;
        let value = match parts.next() {
            None | Some("") => kind.usual_value(),
            Some(text) => match text.parse::<f64>() {
                Ok(value) if value > 0.0 && value <= kind.most() => value,
                _ => {
                    let most = kind.most();
                    return Err(format!(
                        "`{text}` is no size of this fault; a number above 0 and up to {most} is expected"
                    ));
                }
            },
        };
        let rep = match parts.next() {
            None => None,
            Some(text) => match text.parse::<u32>() {
                Ok(rep) if rep > 0 => Some(rep),
                _ => return Err(format!("`{text}` is no rep; a whole number from 1 is expected")),
            },
        };
        if parts.next().is_some() {
            return Err(format!("`{text}` has too many parts; KIND:VALUE:REP is expected"));
        }
        Ok(Self { kind, value, rep })
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.kind.name(), self.value)?;
        self.rep.map_or(Ok(()), |rep| write!(f, ":{rep}"))
    }
}

/// How fast a leg is meant to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Intent {
    /// As usual, below the ceiling.
    Usual,
    /// This many percent above the ceiling (or above usual).
    AboveCeiling(f64),
    /// Walking this many steps a minute below the floor (or below usual).
    BelowFloor(f64),
}

/// One thing that the runner means to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Leg {
    pub(super) gait: Gait,
    /// Which of the prescribed steps of its gait, from 1; 0 when it was not prescribed.
    pub(super) rep: u32,
    pub(super) extent: Extent,
    pub(super) ceiling_mps: Option<f64>,
    pub(super) intent: Intent,
    /// Heart rate above the ceiling, beats a minute.
    pub(super) heart_rate_over_bpm: Option<f64>,
    /// Whether it ends on a beep, to which the runner reacts; else it ends on the second.
    pub(super) ends_on_beep: bool,
}

impl Leg {
    fn new(gait: Gait, seconds: f64) -> Self {
        Self {
            gait,
            rep: 0,
            extent: Extent::Time(Seconds::new(seconds)),
            ceiling_mps: None,
            intent: Intent::Usual,
            heart_rate_over_bpm: None,
            ends_on_beep: true,
        }
    }
}

/// What is simulated: the legs, and how much of the beginning the watch misses.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Scenario {
    pub(super) legs: Vec<Leg>,
    pub(super) unrecorded_s: f64,
    /// The faults with the reps that were drawn.
    pub(super) faults: Vec<Fault>,
}

/// Turns the prescribed steps into legs.
pub(super) fn as_prescribed(steps: &[Step], kept: &Kept, where_in: InRange, seed: u64) -> Vec<Leg> {
    let (mut runs, mut walks, mut rests) = (0, 0, 0);
    let mut draws = rng(seed, Stream::Ranges);
    steps
        .iter()
        .map(|step| {
            let (gait, count) = match step.motion {
                Move::Run => (Gait::Run, &mut runs),
                Move::Walk => (Gait::Walk, &mut walks),
                // Whoever only rests stands.
                Move::Rest => (Gait::Stand, &mut rests),
            };
            *count += 1;
            let ceiling =
                step.ceiling.map(jogaudit_recording::units::MetresPerSecond::get).or(kept.pace_ceiling_mps);
            let ceiling_mps = ceiling.filter(|_| gait == Gait::Run);
            Leg {
                rep: *count,
                extent: within(step.extent, where_in, &mut draws),
                ceiling_mps,
                ..Leg::new(gait, 0.0)
            }
        })
        .collect()
}

/// How long or far a step is that may be more or less.
fn within(range: Range<Extent>, where_in: InRange, draws: &mut ChaCha8Rng) -> Extent {
    /// A range without an upper end is done up to this share above its least. Our choice.
    const ABOVE: f64 = 0.3;
    if range.is_exact() {
        return range.least;
    }
    let ends = range.amounts();
    let most = if ends.most.is_finite() { ends.most } else { ends.least * (1.0 + ABOVE) };
    // What may be left out is done for a moment.
    let least = if ends.least > 0.0 { ends.least } else { most * 0.1 };
    let share = match where_in {
        InRange::Least => 0.0,
        InRange::Most => 1.0,
        InRange::Inside => uniform(draws, 0.1, 0.9),
    };
    let amount = least + share * (most - least);
    // Nobody means a fraction of a second.
    range.least.with_amount(if range.is_time() { amount.round() } else { amount })
}

/// Applies the faults in their order.
///
/// # Errors
/// When the session has no such rep, or a fault takes more than there is.
pub(super) fn apply(
    legs: Vec<Leg>,
    faults: &[Fault],
    person: &Person,
    kept: &Kept,
    seed: u64,
) -> Result<Scenario, SimulateError> {
    let mut scenario = Scenario { legs, unrecorded_s: 0.0, faults: Vec::new() };
    let mut draws = rng(seed, Stream::Faults);
    for fault in faults {
        let applied =
            Injection { scenario: &mut scenario, person, kept, fault: *fault, draws: &mut draws }.apply()?;
        scenario.faults.push(applied);
    }
    Ok(scenario)
}

struct Injection<'a> {
    scenario: &'a mut Scenario,
    person: &'a Person,
    kept: &'a Kept,
    fault: Fault,
    draws: &'a mut ChaCha8Rng,
}

impl Injection<'_> {
    fn apply(mut self) -> Result<Fault, SimulateError> {
        let value = self.fault.value;
        match self.fault.kind {
            FaultKind::RunLonger => {
                let at = self.pick(is_run)?;
                self.stretch(at, value)?;
            }
            FaultKind::RunShorter => {
                let at = self.pick(is_run)?;
                self.stretch(at, -value)?;
            }
            FaultKind::RunFaster => {
                let at = self.pick(is_run)?;
                self.scenario.legs[at].intent = Intent::AboveCeiling(value);
            }
            FaultKind::HeartRateHigh => {
                let at = self.pick(is_run)?;
                self.scenario.legs[at].heart_rate_over_bpm = Some(value);
            }
            FaultKind::RepMissing => {
                let at = self.pick(is_run)?;
                let leg = &mut self.scenario.legs[at];
                *leg = Leg { extent: leg.extent, ..Leg::new(Gait::Walk, 0.0) };
            }
            FaultKind::RepExtra => self.repeat_last(value.round().max(1.0) as usize)?,
            FaultKind::RunUnplanned => self.run_in_longest_walk(value)?,
            FaultKind::WalkCut => {
                let at = self.pick(is_break)?;
                self.stretch(at, -value)?;
            }
            FaultKind::WalkMissing => {
                let at = self.pick(is_break)?;
                self.scenario.legs.remove(at);
            }
            FaultKind::WalkSlower => {
                let at = self.pick(is_walk)?;
                self.scenario.legs[at].intent = Intent::BelowFloor(value);
            }
            FaultKind::Stop => {
                let at = self.pick(is_run)?;
                self.stop_inside(at, value);
            }
            FaultKind::WarmUp => self.scenario.legs.insert(0, Leg::new(Gait::Walk, value)),
            FaultKind::LateStart => self.scenario.unrecorded_s += value.round(),
            FaultKind::SessionLonger => self.prolong(value),
        }
        Ok(self.fault)
    }

    /// Index of the leg that the fault is about; writes the rep that was drawn into the fault.
    fn pick(&mut self, fits: fn(&[Leg], usize) -> bool) -> Result<usize, SimulateError> {
        let legs = &self.scenario.legs;
        let candidates: Vec<usize> = (0..legs.len()).filter(|&i| legs[i].rep > 0 && fits(legs, i)).collect();
        let found = match self.fault.rep {
            Some(rep) => candidates.into_iter().find(|&i| legs[i].rep == rep),
            None if candidates.is_empty() => None,
            None => Some(candidates[self.draws.random_range(0..candidates.len())]),
        };
        let at = found.ok_or(SimulateError::NoSuchRep { fault: self.fault })?;
        self.fault.rep = Some(legs[at].rep);
        Ok(at)
    }

    /// Makes a leg longer or shorter by a time; a distance by as much as is covered in it.
    fn stretch(&mut self, at: usize, seconds: f64) -> Result<(), SimulateError> {
        /// What is left of a leg at least, s. Our choice.
        const LEAST_S: f64 = 5.0;
        let speed = self.person.usual_speed_mps(self.scenario.legs[at].gait);
        let leg = &mut self.scenario.legs[at];
        let (extent, left_s) = match leg.extent {
            Extent::Time(t) => (Extent::Time(Seconds::new(t.get() + seconds)), t.get() + seconds),
            Extent::Distance(d) => {
                let metres = d.get() + seconds * speed;
                (Extent::Distance(Metres::new(metres)), metres / speed)
            }
        };
        if left_s < LEAST_S {
            return Err(SimulateError::NothingLeft { fault: self.fault });
        }
        leg.extent = extent;
        Ok(())
    }

    fn repeat_last(&mut self, times: usize) -> Result<(), SimulateError> {
        let legs = &mut self.scenario.legs;
        let last = legs
            .iter()
            .rposition(|l| l.gait == Gait::Run)
            .ok_or(SimulateError::NoSuchRep { fault: self.fault })?;
        let unprescribed = |leg: Leg| Leg { rep: 0, ..leg };
        let rest = (0..last).rev().find(|&i| is_break(legs, i)).map(|i| unprescribed(legs[i]));
        let pair = [rest.unwrap_or_else(|| Leg::new(Gait::Walk, 60.0)), unprescribed(legs[last])];
        let again = std::iter::repeat_n(pair, times).flatten();
        let after = last + 1;
        legs.splice(after..after, again);
        Ok(())
    }

    fn run_in_longest_walk(&mut self, seconds: f64) -> Result<(), SimulateError> {
        let legs = &mut self.scenario.legs;
        let longest = (0..legs.len())
            .filter(|&i| legs[i].gait == Gait::Walk)
            .max_by(|&a, &b| rough_seconds(&legs[a]).total_cmp(&rough_seconds(&legs[b])).then(b.cmp(&a)))
            .ok_or(SimulateError::NoSuchRep { fault: self.fault })?;
        let walk = Leg { extent: half(legs[longest].extent), ..legs[longest] };
        let run = Leg { ceiling_mps: self.kept.pace_ceiling_mps, ..Leg::new(Gait::Run, seconds) };
        legs.splice(longest..=longest, [walk, run, Leg { rep: 0, ..walk }]);
        Ok(())
    }

    /// The run's moving time stays as it was: the runner waits, then completes it.
    fn stop_inside(&mut self, at: usize, seconds: f64) {
        let run = self.scenario.legs[at];
        let first = Leg { extent: half(run.extent), ends_on_beep: false, ..run };
        let rest = Leg { extent: half(run.extent), ..run };
        let stand = Leg { ends_on_beep: false, ..Leg::new(Gait::Stand, seconds) };
        self.scenario.legs.splice(at..=at, [first, stand, rest]);
    }

    fn prolong(&mut self, seconds: f64) {
        let planned: f64 = self.scenario.legs.iter().map(|leg| leg_seconds(leg, self.person)).sum();
        let more = seconds + self.kept.session_ceiling_s.map_or(0.0, |most| (most - planned).max(0.0));
        match self.scenario.legs.last_mut() {
            Some(Leg { gait: Gait::Walk, extent: Extent::Time(t), .. }) => *t = *t + Seconds::new(more),
            _ => self.scenario.legs.push(Leg::new(Gait::Walk, more)),
        }
    }
}

/// Time that a leg takes at usual speed, s.
pub(super) fn leg_seconds(leg: &Leg, person: &Person) -> f64 {
    match leg.extent {
        Extent::Time(t) => t.get(),
        Extent::Distance(d) => d.get() / person.usual_speed_mps(leg.gait),
    }
}

fn is_run(legs: &[Leg], i: usize) -> bool {
    legs[i].gait == Gait::Run
}

fn is_walk(legs: &[Leg], i: usize) -> bool {
    legs[i].gait == Gait::Walk
}

/// A walk between two runs.
fn is_break(legs: &[Leg], i: usize) -> bool {
    let run_at = |j: Option<usize>| j.and_then(|j| legs.get(j)).is_some_and(|l| l.gait == Gait::Run);
    is_walk(legs, i) && run_at(i.checked_sub(1)) && run_at(i.checked_add(1))
}

/// Rough length of a walk, s, whoever does it: only to find the longest.
fn rough_seconds(leg: &Leg) -> f64 {
    // Our choice, between brisk and very brisk walking.
    const WALK_MPS: f64 = 1.5;
    match leg.extent {
        Extent::Time(t) => t.get(),
        Extent::Distance(d) => d.get() / WALK_MPS,
    }
}

fn half(extent: Extent) -> Extent {
    match extent {
        Extent::Time(t) => Extent::Time(t * 0.5),
        Extent::Distance(d) => Extent::Distance(d * 0.5),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Profile;
    use crate::testing::run_walk;

    fn scenario(faults: &[Fault]) -> Result<Scenario, SimulateError> {
        let kept = Kept { session_ceiling_s: Some(2000.0), ..Kept::default() };
        let person = Person::draw(1, Profile::Steady, &kept, None);
        apply(
            as_prescribed(&run_walk(6, 60.0, 120.0), &kept, InRange::default(), 1),
            faults,
            &person,
            &kept,
            1,
        )
    }

    fn seconds(legs: &[Leg]) -> Vec<(Gait, f64)> {
        let time = |e| if let Extent::Time(t) = e { t.get() } else { f64::NAN };
        legs.iter().map(|l| (l.gait, time(l.extent))).collect()
    }

    // The session: walk 300, 6 x (run 60, walk 120), walk 300: legs 0 to 13, run r at 2r − 1.
    #[test]
    fn each_fault_changes_the_legs_it_names() {
        use Gait::{Run, Stand, Walk};
        let legs = |kind, value, rep| seconds(&scenario(&[Fault { kind, value, rep }]).unwrap().legs);
        assert_eq!(legs(FaultKind::RunLonger, 20.0, Some(3))[5], (Run, 80.0));
        assert_eq!(legs(FaultKind::RunShorter, 20.0, Some(1))[1], (Run, 40.0));
        assert_eq!(legs(FaultKind::WalkCut, 50.0, Some(2))[2], (Walk, 70.0));
        assert_eq!(legs(FaultKind::WalkMissing, 1.0, Some(3))[3..5], [(Run, 60.0), (Run, 60.0)]);
        assert_eq!(legs(FaultKind::RepMissing, 1.0, Some(2))[3], (Walk, 60.0));
        assert_eq!(legs(FaultKind::RepExtra, 2.0, None).len(), 18);
        assert_eq!(legs(FaultKind::RepExtra, 1.0, None)[12..14], [(Walk, 120.0), (Run, 60.0)]);
        assert_eq!(legs(FaultKind::Stop, 20.0, Some(6))[11..14], [(Run, 30.0), (Stand, 20.0), (Run, 30.0)]);
        assert_eq!(legs(FaultKind::WarmUp, 200.0, None)[0], (Walk, 200.0));
        assert_eq!(
            legs(FaultKind::RunUnplanned, 45.0, None)[0..3],
            [(Walk, 150.0), (Run, 45.0), (Walk, 150.0)]
        );
        // Prescribed 1680 s, ceiling 2000 s: 320 s to reach it, then 100 s more.
        assert_eq!(legs(FaultKind::SessionLonger, 100.0, None)[13], (Walk, 720.0));
        assert_eq!(scenario(&[Fault::new(FaultKind::LateStart, 42.0)]).unwrap().unrecorded_s, 42.0);
    }

    #[test]
    fn a_drawn_rep_is_told() {
        let told = scenario(&[Fault::new(FaultKind::RunLonger, 20.0)]).unwrap().faults[0].rep.unwrap();
        assert!((1..=6).contains(&told));
    }

    #[test]
    fn what_cannot_be_done_is_an_error() {
        let too_far = Fault::new(FaultKind::RunLonger, 20.0).at_rep(7);
        assert_eq!(scenario(&[too_far]), Err(SimulateError::NoSuchRep { fault: too_far }));
        let too_much = Fault::new(FaultKind::WalkCut, 118.0).at_rep(2);
        assert_eq!(scenario(&[too_much]), Err(SimulateError::NothingLeft { fault: too_much }));
        // The first walk is a warm-up, no break between two runs.
        let no_break = Fault::new(FaultKind::WalkCut, 30.0).at_rep(1);
        assert_eq!(scenario(&[no_break]), Err(SimulateError::NoSuchRep { fault: no_break }));
    }

    #[test]
    fn faults_are_read_from_text_and_written_back() {
        let fault: Fault = "run-longer:20:3".parse().unwrap();
        assert_eq!(fault, Fault::new(FaultKind::RunLonger, 20.0).at_rep(3));
        assert_eq!(fault.to_string(), "run-longer:20:3");
        assert_eq!("walk-missing".parse::<Fault>().unwrap(), Fault::new(FaultKind::WalkMissing, 1.0));
        assert_eq!("stop::2".parse::<Fault>().unwrap(), Fault::new(FaultKind::Stop, 25.0).at_rep(2));
        for bad in ["", "jump", "stop:x", "stop:-3", "stop:nan", "stop:3:0", "stop:3:1:9"] {
            assert!(bad.parse::<Fault>().is_err(), "{bad}");
        }
        for kind in FaultKind::ALL {
            assert_eq!(kind.name().parse::<Fault>().unwrap(), Fault::new(kind, kind.usual_value()));
        }
    }
}
