//! Training besides running that the prescriber has agreed to: shown, never judged.

use jiff::Timestamp;
use jiff::civil::Date;

use crate::prescription::Plan;

use super::calendar::Zone;
use super::left_out::{LeftOut, LeftOutCode};

/// Agreed training besides running.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OtherSession {
    /// Name of its recording.
    pub recording: String,
    /// The sport as the plan has it.
    pub sport: String,
    /// When it began.
    pub start: Timestamp,
    /// The day it began on, in the case's time zone.
    pub date: Date,
    /// From its first to its last sample, in whole seconds.
    pub duration_s: u32,
}

/// Takes the recordings of agreed sports out of those that are left out. Of two at the same time the later one stays there,
/// and so do those after the day of the review. In order of time.
pub fn agreed(plan: &Plan, left_out: Vec<LeftOut>, as_of: Date) -> (Vec<OtherSession>, Vec<LeftOut>) {
    let zone = Zone::of(plan);
    let (mut other, mut rest): (Vec<(OtherSession, LeftOut)>, Vec<LeftOut>) = (Vec::new(), Vec::new());
    for file in left_out {
        let found = file.other.as_ref().and_then(|activity| {
            let sport = plan.agreed_sport(&activity.sport)?;
            Some(OtherSession {
                recording: file.name.clone(),
                sport: sport.to_owned(),
                start: activity.start,
                date: zone.date(activity.start, activity.utc_offset_s),
                duration_s: activity.elapsed_s,
            })
        });
        match found {
            None => rest.push(file),
            Some(session) if session.date > as_of => {
                let text = format!("Its day, {}, lies after {as_of}, the day of this review.", session.date);
                rest.push(LeftOut { code: LeftOutCode::AfterAsOf, text, ..file });
            }
            Some(session) => other.push((session, file)),
        }
    }
    other.sort_by(|(a, _), (b, _)| a.start.cmp(&b.start).then_with(|| a.recording.cmp(&b.recording)));
    let mut kept: Vec<OtherSession> = Vec::with_capacity(other.len());
    for (session, file) in other {
        let end_of = |s: &OtherSession| s.start.as_second().saturating_add(i64::from(s.duration_s));
        match kept
            .last()
            .filter(|last| session.start.as_second() < end_of(last) || session.start == last.start)
        {
            Some(earlier) => {
                let text = format!("Recorded at the same time as {}, which is used.", earlier.recording);
                rest.push(LeftOut { code: LeftOutCode::Duplicate, text, ..file });
            }
            None => kept.push(session),
        }
    }
    (kept, rest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::left_out::OtherRecording;

    const PLAN: &str = "timezone = 'Europe/Oslo'\n[[stage]]\nname = '1'\nsession = 'run 20:00'\n\
        [[other]]\nsport = 'cycling'\n[[other]]\nsport = 'Swimming'\n";

    fn file(name: &str, sport: &str, start: &str, elapsed_s: u32) -> LeftOut {
        let start = start.parse().unwrap();
        LeftOut {
            other: Some(OtherRecording { sport: sport.to_owned(), start, utc_offset_s: None, elapsed_s }),
            ..LeftOut::new(name.to_owned(), LeftOutCode::NotOnFoot, format!("Its sport is “{sport}”."))
        }
    }

    #[test]
    fn agreed_sports_are_taken_out_once_and_others_stay() {
        let plan = Plan::parse(PLAN).unwrap().value;
        let files = vec![
            // 23:30 UTC on the 2nd is 00:30 of the 3rd in Oslo.
            file("a", "Biking", "2026-03-02T23:30:00Z", 1800),
            file("copy", "cycling", "2026-03-02T23:30:00Z", 1790),
            file("b", "lap_swimming", "2026-03-01T09:00:00Z", 1200),
            file("c", "rowing", "2026-03-01T12:00:00Z", 1200),
            file("later", "cycling", "2026-03-09T12:00:00Z", 1200),
            LeftOut::new("broken".to_owned(), LeftOutCode::Unreadable, String::new()),
        ];
        let (other, rest) = agreed(&plan, files, "2026-03-05".parse().unwrap());
        let told: Vec<_> = other
            .iter()
            .map(|o| format!("{} {} {} {}", o.recording, o.sport, o.date, o.duration_s))
            .collect();
        assert_eq!(told, ["b Swimming 2026-03-01 1200", "a cycling 2026-03-03 1800"]);
        let mut left: Vec<_> = rest.iter().map(|file| (file.name.as_str(), file.code)).collect();
        left.sort_unstable();
        assert_eq!(
            left,
            [
                ("broken", LeftOutCode::Unreadable),
                ("c", LeftOutCode::NotOnFoot),
                ("copy", LeftOutCode::Duplicate),
                ("later", LeftOutCode::AfterAsOf)
            ]
        );
    }
}
