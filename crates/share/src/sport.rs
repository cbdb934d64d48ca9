//! Which words for a sport are passed on. A track's `type` is free text, which may name a place or a person.

use jogaudit_recording::read::{Recording, Sport};

/// Sports that files name in many ways, each by the word that stands for all of them.
const KINDS: [&str; 5] = ["cycling", "swimming", "rowing", "skiing", "strength"];
/// Other words that are sports and nothing else. Our choice.
const WORDS: [&str; 43] = [
    "aerobics",
    "badminton",
    "baseball",
    "basketball",
    "boxing",
    "canoeing",
    "cardio",
    "climbing",
    "cricket",
    "dance",
    "dancing",
    "elliptical",
    "fitness",
    "football",
    "golf",
    "gymnastics",
    "handball",
    "hockey",
    "kayaking",
    "meditation",
    "mobility",
    "mountaineering",
    "multisport",
    "netball",
    "paddling",
    "physiotherapy",
    "pilates",
    "rugby",
    "sailing",
    "skating",
    "snowboarding",
    "snowshoeing",
    "soccer",
    "softball",
    "squash",
    "stairs",
    "stretching",
    "surfing",
    "tennis",
    "training",
    "transition",
    "volleyball",
    "yoga",
];
/// What any other sport is called: off foot, and no more.
const UNNAMED: &str = "sport";

/// The word of a sport that may be passed on; `None` when the sport is not said.
pub(crate) fn word(sport: &Sport) -> Option<&'static str> {
    let word = match sport {
        Sport::Running => return Some("running"),
        Sport::Walking => return Some("walking"),
        Sport::Unspecified => return None,
        Sport::Other(word) => word,
    };
    let kind = KINDS.into_iter().find(|kind| Sport::is_same(word, kind));
    let lower = word.to_lowercase();
    let is_part = |known: &&str| lower.split(|c: char| !c.is_alphabetic()).any(|part| part == *known);
    Some(kind.or_else(|| WORDS.into_iter().find(is_part)).unwrap_or(UNNAMED))
}

/// Whether the sport of a recording, if it is said, is passed on by a word of its own. FIT has numbers for sports, which stay.
pub(crate) fn is_named(recording: &Recording) -> bool {
    recording.sport().fit_number().is_some() || word(recording.sport()) != Some(UNNAMED)
}
