//! A plan and hand-made recordings of its first stage.
#![allow(dead_code)] // each crate's tests use their part

use std::fmt::Write as _;

/// Two stages of a made-up return.
pub(crate) const PLAN: &str = r#"title = "Back on the path"
timezone = "Europe/Oslo"

[[stage]]
name = "first"
session = "walk 5:00, 2 x (run 1:00, walk 2:00), walk 5:00"

[[stage]]
name = "walks only"
session = "walk 16:00"
"#;

/// A stretch of a hand-made recording: seconds, m/s, steps a minute.
pub(crate) type Stretch = (u32, f64, f64);

/// Walking 5:00, twice 1:00 of running and 2:00 of walking, walking 5:00: stage `first` as prescribed.
pub(crate) const AS_PRESCRIBED: &[Stretch] =
    &[(300, 1.5, 112.0), (60, 2.6, 164.0), (120, 1.5, 112.0), (60, 2.6, 164.0), (420, 1.5, 112.0)];

/// The same, the second run 40 s longer and the walk after it as prescribed.
pub(crate) const SECOND_RUN_LONG: &[Stretch] =
    &[(300, 1.5, 112.0), (60, 2.6, 164.0), (120, 1.5, 112.0), (100, 2.6, 164.0), (420, 1.5, 112.0)];

/// A TCX activity, one point a second, straight to the north, with speed and cadence (one leg, as TCX has it).
pub(crate) fn tcx_activity(sport: &str, stretches: &[Stretch]) -> String {
    const METRES_PER_DEGREE: f64 = 111_400.0; // near 60° N; the exact figure plays no part
    let start: jiff::Timestamp = "2026-03-02T07:10:00Z".parse().unwrap();
    let mut points = String::new();
    let (mut second, mut distance_m) = (0_i64, 0.0);
    for &(seconds, speed_mps, cadence_spm) in stretches {
        for _ in 0..seconds {
            let time = start + jiff::SignedDuration::from_secs(second);
            let latitude = 60.0 + distance_m / METRES_PER_DEGREE;
            let _ = writeln!(
                points,
                "<Trackpoint><Time>{time}</Time><Position><LatitudeDegrees>{latitude:.7}</LatitudeDegrees>\
                 <LongitudeDegrees>10.7</LongitudeDegrees></Position><DistanceMeters>{distance_m:.2}</DistanceMeters>\
                 <Extensions><TPX xmlns=\"http://www.garmin.com/xmlschemas/ActivityExtension/v2\">\
                 <Speed>{speed_mps}</Speed><RunCadence>{}</RunCadence></TPX></Extensions></Trackpoint>",
                (cadence_spm / 2.0).round()
            );
            second += 1;
            distance_m += speed_mps;
        }
    }
    format!(
        "<Activity Sport=\"{sport}\"><Id>{start}</Id><Lap StartTime=\"{start}\">\
         <TotalTimeSeconds>{second}</TotalTimeSeconds><DistanceMeters>{distance_m:.2}</DistanceMeters>\
         <Intensity>Active</Intensity><TriggerMethod>Manual</TriggerMethod><Track>\n{points}</Track></Lap></Activity>"
    )
}

/// A TCX file of these activities.
pub(crate) fn tcx(activities: &[String]) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<TrainingCenterDatabase \
         xmlns=\"http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2\"><Activities>{}</Activities>\
         </TrainingCenterDatabase>\n",
        activities.concat()
    )
}

/// A TCX file of one run-walk session.
pub(crate) fn session(stretches: &[Stretch]) -> String {
    tcx(&[tcx_activity("Running", stretches)])
}
