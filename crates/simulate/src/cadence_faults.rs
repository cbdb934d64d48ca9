//! Faults of a wrist's cadence: it locks on to half or double the rhythm, drops out, or holds on after a stop.

use rand::RngExt;

use super::motion::Motion;
use super::motion::gait_at;
use super::random::{Stream, rng};
use super::{CadenceDamage, CadenceFault, CadenceFaultKind, CadenceLeft, Settings, SimulateError, Window};
use jogaudit_core::gait::Gait;

/// Changes the recorded cadence (one value a second from the first movement on).
///
/// # Errors
/// When a given window does not lie in the recording, or a held value is asked for and the session has no stop.
pub(super) fn apply(
    cadence_spm: &mut [Option<f64>],
    motion: &Motion,
    first: usize,
    settings: &Settings,
) -> Result<(), SimulateError> {
    let mut draws = rng(settings.seed, Stream::CadenceFaults);
    for fault in &settings.cadence_faults {
        let length = fault.window.length_s.round().max(1.0) as usize;
        let outside = || SimulateError::WindowOutside { window: fault.window };
        if fault.kind == CadenceFaultKind::HeldAfterStop {
            if !motion.timeline.parts.iter().any(|s| s.gait == Gait::Stand) {
                return Err(SimulateError::NoStop);
            }
            hold_after_stops(cadence_spm, motion, length);
            continue;
        }
        let room =
            cadence_spm.len().checked_sub(first + length + 1).filter(|r| *r > 0).ok_or_else(outside)?;
        let from = match fault.window.at_s {
            Some(at) if at >= 0.0 && (at as usize) <= room => first + at.round() as usize,
            Some(_) => return Err(outside()),
            None => drawn(motion, first, room, length, &mut draws),
        };
        let held = cadence_spm[from];
        let until = (from + length).min(cadence_spm.len());
        for value in &mut cadence_spm[from..until] {
            *value = match fault.kind {
                CadenceFaultKind::Half => value.map(|spm| spm * 0.5),
                CadenceFaultKind::Double => value.map(|spm| spm * 2.0),
                CadenceFaultKind::DropOut => Some(0.0),
                CadenceFaultKind::Held | CadenceFaultKind::HeldAfterStop => held,
            };
        }
    }
    if let Some(damage) = settings.cadence_damage {
        damage_gait(cadence_spm, motion, first, damage);
    }
    Ok(())
}

/// Damages the cadence of every second of one gait.
fn damage_gait(cadence_spm: &mut [Option<f64>], motion: &Motion, first: usize, damage: CadenceDamage) {
    let of_gait = |s: &usize| gait_at(motion, *s) == damage.gait;
    let all = (first..cadence_spm.len()).filter(of_gait).count();
    let mut before = None;
    let mut seen = 0;
    for second in first..cadence_spm.len() {
        if !of_gait(&second) {
            before = cadence_spm[second].or(before);
            continue;
        }
        seen += 1;
        let value = cadence_spm[second];
        cadence_spm[second] = match damage.left {
            CadenceLeft::Readings(n) => value.filter(|_| seen * n / all > (seen - 1) * n / all),
            CadenceLeft::OneIn(n) => value.filter(|_| seen % n.max(1) == 0),
            CadenceLeft::Zeros => Some(0.0),
            // Where nothing comes before, nothing is stuck.
            CadenceLeft::Stuck => before.or(value),
            CadenceLeft::Half => value.map(|spm| 0.5 * spm),
            CadenceLeft::Double => value.map(|spm| 2.0 * spm),
        };
    }
}

/// A moment from which the runner moves for the whole window, as far as a hundred draws find one.
fn drawn(
    motion: &Motion,
    first: usize,
    room: usize,
    length: usize,
    draws: &mut rand_chacha::ChaCha8Rng,
) -> usize {
    let moving = |s: usize| matches!(gait_at(motion, s), Gait::Run | Gait::Walk);
    let mut from = first;
    for _ in 0..100 {
        from = first + draws.random_range(0..=room);
        if (from..from + length).all(moving) {
            break;
        }
    }
    from
}

/// The last value before a stop stays for a while.
fn hold_after_stops(cadence_spm: &mut [Option<f64>], motion: &Motion, length: usize) {
    for stop in motion.timeline.parts.iter().filter(|s| s.gait == Gait::Stand) {
        let from = stop.start_s.ceil() as usize;
        let Some(held) = from.checked_sub(1).and_then(|s| cadence_spm.get(s)).copied() else { continue };
        let until = (from + length).min(stop.end_s as usize).min(cadence_spm.len());
        cadence_spm.get_mut(from..until).unwrap_or_default().fill(held);
    }
}

impl CadenceFault {
    /// A fault of a length at a moment that is drawn.
    pub const fn new(kind: CadenceFaultKind, length_s: f64) -> Self {
        Self { kind, window: Window { at_s: None, length_s } }
    }
}
