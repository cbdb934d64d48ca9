//! What the keys of a plan are called in the form, and sentences about them without TOML.

use jogaudit_core::prescription::edit::Place;

/// What a field takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Input {
    /// One short line.
    Line,
    /// A line that may be long: the field grows.
    Long,
    /// A number, with the keys for it.
    Number,
    Day,
    /// One of these words; the empty one where it is left open.
    Choice(&'static [(&'static str, &'static str)]),
}

/// A key as the form calls it.
pub(super) struct FieldWords {
    pub(super) label: &'static str,
    /// What to write, by an example.
    pub(super) help: &'static str,
    pub(super) input: Input,
}

/// Keys that a stage shows at once; its others fold away.
pub(super) const STAGE_FIRST: [&str; 5] = ["name", "session", "sessions_per_week", "sessions", "weeks"];
/// The same of a kind of session.
pub(super) const KIND_FIRST: [&str; 3] = ["name", "do", "a_week"];

/// What a key is called.
pub(super) fn words_of(place: Place, key: &str) -> FieldWords {
    const UNITS: &[(&str, &str)] = &[("", "kilometres (not said)"), ("km", "kilometres"), ("mi", "miles")];
    const BASIS: &[(&str, &str)] = &[
        ("", "not said: over the ground"),
        ("ground", "over the ground, as run"),
        ("level", "as on level ground"),
    ];
    let field = |label, help, input| FieldWords { label, help, input };
    match key {
        "title" => field("Title", "", Input::Long),
        "note" => field("Words to the runner", "on the card, one or two lines", Input::Long),
        "contact" => field("How to reach you", "such as: Ring the practice, 555 0101.", Input::Long),
        "start" => field("First day", "empty: sessions have no dates", Input::Day),
        "weekdays" => field("Weekdays", "such as tue, thu, sun; empty: any day", Input::Line),
        "units" => field("Paces and distances in", "", Input::Choice(UNITS)),
        "usual_run_cadence" => field("Usual running cadence", "168 spm, or 84 rpm of one leg", Input::Line),
        "max_heart_rate" => field("Greatest heart rate", "such as 182 bpm", Input::Line),
        "name" => field("Name", "", Input::Line),
        "session" | "do" => {
            field("Session", "such as walk 4:40, 6 x (run 0:50, walk 1:40), walk 4:40", Input::Long)
        }
        "sessions" => field("Sessions before moving on", "such as 3", Input::Number),
        "weeks" => field("or weeks before moving on", "instead of sessions", Input::Number),
        "a_week" => field("How often a week", "2, or 0 to 1; empty: once", Input::Line),
        "sessions_per_week" => {
            let help = match place {
                Place::Stage(_) | Place::Kind(..) => "3, or 2 to 3; empty: as for every stage",
                _ => "3, or 2 to 3",
            };
            field("Sessions a week", help, Input::Line)
        }
        "pace_ceiling" => field("Never faster than", "such as 6:45 /km or 10:50 /mi", Input::Line),
        "pace_basis" => field("That pace holds", "", Input::Choice(BASIS)),
        "heart_rate_ceiling" => field("Heart rate never above", "such as 150 bpm", Input::Line),
        "walk_cadence_floor" => field("Brisk walk from", "110 spm, or 55 rpm of one leg", Input::Line),
        "walk_cadence_within" => field(
            "or below the usual running cadence by",
            "such as 24 rpm; instead of the line above",
            Input::Line,
        ),
        "session_ceiling" => field("Whole session at most", "such as 45:00", Input::Line),
        "rest_days_between" => field("Days of rest between", "such as 1", Input::Number),
        "weekly_running_increase" => {
            field("Running may rise from week to week by", "such as 25 %", Input::Line)
        }
        "pain_limit" => field("Pain up to", "0 to 10; empty: any pain counts", Input::Number),
        "effort_ceiling" => field("Effort never above", "0 to 10", Input::Number),
        "break_repeat_days" => field("After so many days off, repeat the stage", "empty: 7", Input::Number),
        "break_step_back_days" => {
            field("After so many days off, go a stage back", "empty: 14", Input::Number)
        }
        "clinician_override" => field(
            "Why looser limits hold here",
            "a clinician’s reason; empty: the stricter rule holds",
            Input::Long,
        ),
        _ => field("", "", Input::Line),
    }
}

/// What a place is called within a sentence.
pub(super) fn place_words(place: Place) -> Option<&'static str> {
    match place {
        Place::Limits => Some("“Limits of every stage”"),
        Place::Runner => Some("“The runner”"),
        _ => None,
    }
}

/// A sentence about keys, for somebody who sees fields: "`sessions = 2`" becomes “Sessions before moving on”: 2.
pub(super) fn in_form_words(sentence: &str) -> String {
    let mut said = String::new();
    for (at, part) in sentence.split('`').enumerate() {
        if at % 2 == 0 {
            said.push_str(part);
            continue;
        }
        let (key, value) = part.split_once(" = ").map_or((part, None), |(key, value)| (key, Some(value)));
        let label = words_of(Place::Limits, key).label;
        match value {
            _ if label.is_empty() => said.extend(["“", part, "”"]),
            Some(value) => said.extend(["“", label, "”: ", value.trim_matches('"')]),
            None => said.extend(["“", label, "”"]),
        }
    }
    for (place, header) in [(Place::Limits, "[limits]"), (Place::Runner, "[runner]")] {
        said = said.replace(header, place_words(place).unwrap_or_default());
    }
    said.replace("[[stage.session]]", "the kind of session").replace("[[stage]]", "stage")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_has_its_words_and_labels_of_one_row_differ() {
        for place in [Place::Plan, Place::Runner, Place::Limits, Place::Stage(0), Place::Kind(0, 0)] {
            let mut labels: Vec<&str> = place.keys().map(|key| words_of(place, key).label).collect();
            assert!(labels.iter().all(|label| !label.is_empty()), "{labels:?}");
            let count = labels.len();
            labels.sort_unstable();
            labels.dedup();
            assert_eq!(labels.len(), count, "{labels:?}");
        }
    }

    #[test]
    fn sentences_name_fields_and_not_keys() {
        assert_eq!(
            in_form_words("write `rest_days_between = 1` under [limits]."),
            "write “Days of rest between”: 1 under “Limits of every stage”."
        );
        assert_eq!(
            in_form_words("write `sessions = 2`, or how many it is to be, in [[stage]] “3”."),
            "write “Sessions before moving on”: 2, or how many it is to be, in stage “3”."
        );
        assert_eq!(in_form_words("expected a duration such as `1:00`"), "expected a duration such as “1:00”");
        assert_eq!(in_form_words("odd `"), "odd “”");
    }
}
