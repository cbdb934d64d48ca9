//! Sums up for people what the ledger and the gaps hold one by one.

use jogaudit_recording::notice::{Notice, NoticeCode};
use jogaudit_recording::units::clock;

use super::{ChangeKind, GapKind, Series, SpeedSource};

/// All notices of a series, in the order in which cleaning goes.
pub(super) fn of(series: &Series) -> Vec<Notice> {
    let mut notices = Vec::new();
    notices.extend(of_changes(series, &ORDER));
    notices.extend(series.is_order_doubtful().then(|| {
        Notice::new(
            NoticeCode::OrderDoubtful,
            "Time falls back again and again in the file: sorted, the samples leap to and fro, so what was done when can't \
             be told.",
        )
    }));
    notices.extend(of_gaps(series));
    notices.extend(of_changes(series, &VALUES));
    notices.extend(of_sources(series));
    notices
}

/// A kind of change, its notice, and what is said behind the number of samples.
type OfChange = (ChangeKind, NoticeCode, &'static str);

/// Changes of the samples' order.
const ORDER: [OfChange; 2] = [
    (ChangeKind::Reordered, NoticeCode::OutOfOrder, "out of order in time: sorted."),
    (ChangeKind::Merged, NoticeCode::DuplicateTimes, "with the time of an earlier one: merged into it."),
];

/// Changes of their values.
const VALUES: [OfChange; 6] = [
    (ChangeKind::Spike, NoticeCode::PositionSpikes, "with a position that jumped: the position is left out."),
    (
        ChangeKind::SpeedRefused,
        NoticeCode::SpeedRefused,
        "with a speed that is not possible on foot: the speed is left out.",
    ),
    (
        ChangeKind::CadenceRefused,
        NoticeCode::CadenceRefused,
        "with a cadence that dropped out, was held or is not possible: the cadence is left out.",
    ),
    (
        ChangeKind::CadenceDoubled,
        NoticeCode::CadenceHalfCorrected,
        "with half the cadence that the speed allows: it is doubled.",
    ),
    (
        ChangeKind::CadenceHalved,
        NoticeCode::CadenceDoubleCorrected,
        "with double the cadence that the speed allows: it is halved.",
    ),
    (
        ChangeKind::HeartRateRefused,
        NoticeCode::HeartRateRefused,
        "with a heart rate out of range: it is left out.",
    ),
];

fn of_changes<'a>(series: &'a Series, changes: &'a [OfChange]) -> impl Iterator<Item = Notice> + 'a {
    changes.iter().filter_map(|&(kind, code, what)| {
        let samples = match series.ledger().iter().filter(|change| change.kind == kind).count() {
            0 => return None,
            1 => "1 sample".to_owned(),
            n => format!("{n} samples"),
        };
        Some(Notice::new(code, format!("{samples} {what}")))
    })
}

fn of_gaps(series: &Series) -> impl Iterator<Item = Notice> {
    let kinds = [
        (GapKind::Pause, NoticeCode::RecorderPaused, "The recorder's timer was stopped"),
        (GapKind::Hole, NoticeCode::Holes, "Nothing was recorded"),
    ];
    kinds.into_iter().filter_map(|(kind, code, what)| {
        let gaps_s: Vec<f64> =
            series.gaps().iter().filter(|g| g.kind == kind).map(|g| g.end_s - g.start_s).collect();
        let total = clock(gaps_s.iter().sum());
        let long = match gaps_s.len() {
            0 => return None,
            1 => format!("for {total}"),
            times => format!("{times} times, for {total} in all"),
        };
        Some(Notice::new(code, format!("{what} {long}: what was done then is unknown.")))
    })
}

/// Where the speed comes from, and whether there is any cadence.
fn of_sources(series: &Series) -> impl Iterator<Item = Notice> {
    let speed = match series.speed_source() {
        SpeedSource::Recorder => None,
        SpeedSource::Distance => Some((
            NoticeCode::SpeedFromDistance,
            "The recorder gives no speed: it is taken from the distance.",
        )),
        SpeedSource::Positions => Some((
            NoticeCode::SpeedFromPositions,
            "The recorder gives no speed: it is taken from the positions, which is less sure.",
        )),
        SpeedSource::Absent => {
            Some((NoticeCode::NoSpeed, "The recording has neither speed nor distance nor positions."))
        }
    };
    let is_absent = |column: &[Option<f64>]| column.iter().all(Option::is_none);
    let cadence = is_absent(series.cadence_spm()).then_some((
        NoticeCode::NoCadence,
        if is_absent(series.heart_rate_bpm()) {
            "The recording has no usable cadence: running and walking are told apart by speed alone, which is less sure."
        } else {
            "The recording has no usable cadence: running and walking are told apart by speed and heart rate, which is less sure."
        },
    ));
    speed.into_iter().chain(cadence).map(|(code, text)| Notice::new(code, text))
}
