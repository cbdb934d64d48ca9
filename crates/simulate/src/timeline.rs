//! When the runner does what: legs and pauses of the recorder on the wall clock, with the moments of change.

use rand::RngExt;

use super::faults::{Intent, Leg, leg_seconds};
use super::person::Person;
use super::random::{Stream, normal, rng, uniform};
use super::ways::{LegDraws, Ways};
use super::{Settings, SimulateError, Window};
use jogaudit_core::gait::Gait;
use jogaudit_core::prescription::Extent;

/// Latest middle of a change of gait after the beep, s. Our choice: a beep is counted down, so that some begin before
/// it, and a change takes 1 to 4 s. It makes reps up to this much longer or shorter than prescribed.
const LATEST_REACTION_S: f64 = 1.8;
/// Length of a change between two speeds, s. The gait itself changes in a single step (Segers et al. 2007, J Exp Biol
/// 210:578); how long the speed takes is our choice.
const RAMP_S: (f64, f64) = (1.0, 4.0);
/// The same to and from standing, s. Our choice.
const STAND_RAMP_S: (f64, f64) = (1.0, 3.0);
/// The same at a pause of the recorder, s. Our choice.
const PAUSE_RAMP_S: f64 = 2.0;
/// How far a run as a whole is from the usual speed, standard deviation as a share. Our choice.
const RUN_LEVEL_SD: f64 = 0.015;
/// The same for a walk. Our choice.
const WALK_LEVEL_SD: f64 = 0.02;
/// Change of speed from the beginning of a leg to its end, standard deviation as a share. Our choice.
const DRIFT_SD: f64 = 0.015;
/// Distance of a leg's cadence from the usual one, standard deviation in steps/min. Our choice.
const LEG_CADENCE_SD_SPM: f64 = 1.0;
/// A run that keeps its ceiling averages at most this share of it. Our choice.
const CEILING_SHARE: f64 = 0.97;

/// A whole leg, what a pause of the recorder cuts off it, or that pause ([`Gait::Unknown`]).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct LegPart {
    pub(super) gait: Gait,
    /// Index of the leg that it belongs to; in a pause the interrupted one.
    pub(super) leg: usize,
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    /// How long the change of speed at `start_s` takes. At 0 s all of it comes after.
    pub(super) ramp_s: f64,
    /// How much later than `start_s` its middle is, as a share of `ramp_s`.
    pub(super) ramp_later: f64,
}

/// How fast a leg is done.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pacing {
    /// Speed on level ground, m/s.
    pub(super) level_mps: f64,
    /// Change of speed over the leg, as a share.
    pub(super) drift: f64,
    /// Most that the speed averages on any slope, m/s.
    pub(super) cap_mps: f64,
    /// Whether the speed is held uphill and downhill.
    pub(super) whatever_the_slope: bool,
    /// Steps a minute above or below usual.
    pub(super) cadence_offset_spm: f64,
    /// Whether speed or cadence was ordered by a fault: then they do not wander.
    pub(super) ordered: bool,
    /// Lasts from here, s, with its pauses.
    start_s: f64,
    end_s: f64,
}

impl Pacing {
    /// Speed on level ground at a time, m/s.
    pub(super) fn level_at_mps(&self, time_s: f64) -> f64 {
        let done = ((time_s - self.start_s) / (self.end_s - self.start_s).max(1.0)).clamp(0.0, 1.0);
        self.level_mps * (1.0 + self.drift * (done - 0.5))
    }
}

/// The whole session on the wall clock from the first movement.
#[derive(Clone, Debug)]
pub(super) struct Timeline {
    /// Tile from 0.
    pub(super) parts: Vec<LegPart>,
    /// One a leg.
    pub(super) pacings: Vec<Pacing>,
    /// Beep at the start of each leg and at the end of the last, s on the wall clock.
    pub(super) beeps: Vec<f64>,
    /// Pauses of the recorder from, to, s; whole seconds.
    pub(super) pauses: Vec<(f64, f64)>,
}

/// What chance gives a leg, drawn once so that a changed length leaves it alone.
struct Draws {
    reaction: f64,
    ramp: f64,
    level: f64,
    drift: f64,
    cadence: f64,
    margin: f64,
}

impl Timeline {
    /// Seconds from the first movement to the last.
    pub(super) fn end_s(&self) -> f64 {
        self.parts.last().map_or(0.0, |s| s.end_s)
    }

    /// Lays out the legs, each lasting as long as `durations_s` says.
    pub(super) fn new(
        legs: &[Leg],
        durations_s: &[f64],
        person: &Person,
        settings: &Settings,
        unrecorded_s: f64,
    ) -> Result<Self, SimulateError> {
        let draws = draw(legs.len(), settings.seed);
        let ways = Ways::draw(settings);
        let own = ways.as_ref().map(|w| w.legs(legs.len()));
        let mut beeps = vec![0.0];
        let mut parts: Vec<LegPart> = Vec::with_capacity(legs.len());
        for (k, leg) in legs.iter().enumerate() {
            let beep = beeps[k] + durations_s[k];
            beeps.push(beep);
            // A short leg leaves less room.
            let latest = LATEST_REACTION_S.min(0.3 * durations_s[k]);
            let reaction = if leg.ends_on_beep { draws[k].reaction * latest } else { 0.0 };
            let start_s = parts.last().map_or(0.0, |s| s.end_s);
            let at_rest = leg.gait == Gait::Stand || k == 0 || legs[k - 1].gait == Gait::Stand;
            let (least, most) = if at_rest { STAND_RAMP_S } else { RAMP_S };
            let (ramp_s, ramp_later) = match &own {
                Some(own) if !at_rest => Ways::ramp(leg.gait, &own[k]),
                _ => (least + draws[k].ramp * (most - least), 0.0),
            };
            parts.push(LegPart {
                gait: leg.gait,
                leg: k,
                start_s,
                end_s: milliseconds(beep + reaction),
                ramp_s,
                ramp_later,
            });
        }
        let mut timeline = Self { parts, pacings: Vec::new(), beeps, pauses: Vec::new() };
        let mut paused_s = 0.0;
        for (at, length, drawn) in
            place(&settings.pauses, &timeline, settings.seed, Stream::Pauses, unrecorded_s)?
        {
            // A drawn moment lies on a clock without pauses; a given one is meant on the wall clock.
            let after = timeline.pauses.last().map_or(0.0, |p| p.1 + 5.0);
            let at = if drawn { (at + paused_s).max(after) } else { at };
            timeline.pause(at, length)?;
            paused_s += length;
        }
        // A change that is later than the gait needs more room.
        timeline.fit_ramps(if ways.is_some() { 0.55 } else { 0.9 });
        let pacing = |(k, leg)| {
            let own = ways.as_ref().zip(own.as_ref().map(|own: &Vec<LegDraws>| &own[k]));
            pacing(leg, &draws[k], own, person, settings)
        };
        timeline.pacings = legs.iter().enumerate().map(pacing).collect();
        for part in &timeline.parts {
            let pacing = &mut timeline.pacings[part.leg];
            pacing.start_s = pacing.start_s.min(part.start_s);
            pacing.end_s = pacing.end_s.max(part.end_s);
        }
        Ok(timeline)
    }

    /// Stops everything at a time for a length; what comes later moves.
    fn pause(&mut self, at_s: f64, length_s: f64) -> Result<(), SimulateError> {
        let inside = |s: &LegPart| s.gait != Gait::Unknown && s.start_s < at_s && at_s < s.end_s;
        let i = self
            .parts
            .iter()
            .position(inside)
            .ok_or(SimulateError::WindowOutside { window: Window { at_s: Some(at_s), length_s } })?;
        let whole = self.parts[i];
        let until_s = at_s + length_s;
        let rest = LegPart { ramp_s: PAUSE_RAMP_S, ramp_later: 0.0, ..whole };
        let before = LegPart { end_s: at_s, ..whole };
        let still = LegPart { gait: Gait::Unknown, start_s: at_s, end_s: until_s, ..rest };
        let after = LegPart { start_s: until_s, end_s: whole.end_s + length_s, ..rest };
        self.parts.splice(i..=i, [before, still, after]);
        for part in &mut self.parts[i + 3..] {
            part.start_s += length_s;
            part.end_s += length_s;
        }
        for beep in self.beeps.iter_mut().filter(|b| **b > at_s) {
            *beep += length_s;
        }
        self.pauses.push((at_s, until_s));
        Ok(())
    }

    /// Shortens changes to a share of the parts around them, so that two never meet inside a short part.
    fn fit_ramps(&mut self, share: f64) {
        for i in 0..self.parts.len() {
            let length = |s: &LegPart| s.end_s - s.start_s;
            let before = i.checked_sub(1).map_or(f64::INFINITY, |j| length(&self.parts[j]));
            let most = share * before.min(length(&self.parts[i]));
            let part = &mut self.parts[i];
            part.ramp_s = part.ramp_s.min(most);
        }
    }
}

fn draw(legs: usize, seed: u64) -> Vec<Draws> {
    let (mut beeps, mut ways) = (rng(seed, Stream::Beeps), rng(seed, Stream::Legs));
    (0..legs)
        .map(|_| Draws {
            reaction: beeps.random(),
            ramp: beeps.random(),
            level: normal(&mut ways).clamp(-2.5, 2.5),
            drift: normal(&mut ways).clamp(-2.5, 2.5),
            cadence: normal(&mut ways).clamp(-2.5, 2.5),
            margin: uniform(&mut ways, 0.04, 0.10),
        })
        .collect()
}

fn pacing(
    leg: &Leg,
    draws: &Draws,
    own: Option<(&Ways, &LegDraws)>,
    person: &Person,
    settings: &Settings,
) -> Pacing {
    let usual = person.usual_speed_mps(leg.gait);
    let sd = if leg.gait == Gait::Run { RUN_LEVEL_SD } else { WALK_LEVEL_SD };
    let around = |meant_mps: f64| match own {
        Some((ways, own)) => ways.level_mps(leg.gait, meant_mps, person, own),
        None => meant_mps * (1.0 + sd * draws.level),
    };
    let mut pacing = Pacing {
        level_mps: around(usual),
        drift: DRIFT_SD * draws.drift,
        cap_mps: f64::INFINITY,
        whatever_the_slope: false,
        cadence_offset_spm: LEG_CADENCE_SD_SPM * draws.cadence,
        ordered: leg.intent != Intent::Usual,
        start_s: f64::INFINITY,
        end_s: 0.0,
    };
    match leg.intent {
        Intent::Usual => {
            if let Some(ceiling) = leg.ceiling_mps {
                let careful = usual.min(ceiling * (1.0 - draws.margin));
                pacing.cap_mps = ceiling * CEILING_SHARE;
                pacing.level_mps = around(careful).min(pacing.cap_mps);
            }
            if let Some((_, own)) = own {
                pacing.cadence_offset_spm = Ways::cadence_offset_spm(leg.gait, pacing.level_mps, person, own);
            }
        }
        Intent::AboveCeiling(percent) => {
            pacing.level_mps = leg.ceiling_mps.unwrap_or(usual) * (1.0 + percent / 100.0);
            pacing.drift = 0.0;
            pacing.whatever_the_slope = true;
        }
        Intent::BelowFloor(spm) => {
            let floor = settings.kept.walk_cadence_floor_spm.unwrap_or(person.walk_cadence_spm);
            pacing.level_mps = person.walk_speed_at_mps((floor - spm).max(60.0));
            pacing.drift = 0.0;
            pacing.cadence_offset_spm = 0.0;
        }
    }
    pacing
}

/// Usual length of every leg, s.
pub(super) fn usual_durations_s(legs: &[Leg], person: &Person) -> Vec<f64> {
    legs.iter().map(|leg| leg_seconds(leg, person)).collect()
}

/// Whether any leg is measured in metres.
pub(super) fn has_distances(legs: &[Leg]) -> bool {
    legs.iter().any(|l| matches!(l.extent, Extent::Distance(_)))
}

/// Fixes when windows begin, in order of time: from (a whole second), length, and whether it was drawn. A drawn one
/// lies at least 10 s inside a leg.
pub(super) fn place(
    windows: &[Window],
    timeline: &Timeline,
    seed: u64,
    stream: Stream,
    unrecorded_s: f64,
) -> Result<Vec<(f64, f64, bool)>, SimulateError> {
    const MARGIN_S: f64 = 10.0;
    let mut draws = rng(seed, stream);
    let mut placed = Vec::with_capacity(windows.len());
    for window in windows {
        let length = window.length_s.round();
        let at = match window.at_s {
            Some(at) => unrecorded_s + at.round(),
            None => draw_inside(timeline, unrecorded_s, MARGIN_S, &mut draws)
                .ok_or(SimulateError::WindowOutside { window: *window })?,
        };
        if !(length >= 1.0 && at > unrecorded_s && at < timeline.end_s() - 1.0) {
            return Err(SimulateError::WindowOutside { window: *window });
        }
        placed.push((at, length, window.at_s.is_none()));
    }
    placed.sort_by(|a, b| a.0.total_cmp(&b.0));
    Ok(placed)
}

fn draw_inside(
    timeline: &Timeline,
    from_s: f64,
    margin_s: f64,
    draws: &mut rand_chacha::ChaCha8Rng,
) -> Option<f64> {
    let room = |s: &LegPart| (s.end_s - margin_s) - (s.start_s.max(from_s) + margin_s);
    let moving = |s: &&LegPart| matches!(s.gait, Gait::Run | Gait::Walk) && room(s) > 2.0;
    let total: f64 = timeline.parts.iter().filter(moving).map(room).sum();
    let mut left = draws.random::<f64>() * total;
    for part in timeline.parts.iter().filter(moving) {
        if left <= room(part) {
            return Some((part.start_s.max(from_s) + margin_s + left).floor());
        }
        left -= room(part);
    }
    None
}

/// Rounds to the millisecond, the precision of the truth.
pub(super) fn milliseconds(time_s: f64) -> f64 {
    (time_s * 1000.0).round() / 1000.0
}
