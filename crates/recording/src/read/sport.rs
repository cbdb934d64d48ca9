//! What was recorded, and the words that files use for it.

/// What was recorded, as far as this tool cares.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Sport {
    /// Running, on any ground or a treadmill.
    Running,
    /// Walking or hiking.
    Walking,
    /// The file does not say (also TCX's `Other`).
    Unspecified,
    /// Anything else, in the file's own word: said, not scored.
    Other(String),
}

impl Sport {
    /// The sport in one word: `running`, `walking`, or the file's own; `None` when it is not said.
    pub fn word(&self) -> Option<&str> {
        match self {
            Self::Running => Some("running"),
            Self::Walking => Some("walking"),
            Self::Unspecified => None,
            Self::Other(word) => Some(word),
        }
    }

    /// Reads the word of a file or a person for a sport, whatever its case and separators.
    pub fn of_word(word: &str) -> Self {
        from_word(word)
    }

    /// Whether two words mean the same sport: `Biking` and `cycling`, `lap_swimming` and `swimming`.
    pub fn is_same(word: &str, other: &str) -> bool {
        kind(word) == kind(other)
    }

    /// The FIT profile's number that is read as this sport; `None` when there is none.
    pub fn fit_number(&self) -> Option<u8> {
        fit_number(self)
    }

    /// Whether a recording of this sport is scored.
    pub fn on_foot(&self) -> bool {
        !matches!(self, Self::Other(_))
    }
}

/// Longest word of a sport that is kept, in characters. Our choice.
const WORD_CHARS: usize = 40;

/// Reads a sport from a word of a GPX `type` or a TCX `Sport` attribute, whatever its case and separators.
///
/// A bare number is some exporter's private code and says nothing.
pub(super) fn from_word(word: &str) -> Sport {
    let lower = word.trim().to_lowercase();
    let tokens = || lower.split(|c: char| !c.is_alphabetic()).filter(|token| !token.is_empty());
    let says_nothing =
        ["other", "generic", "unspecified", "unknown", "uncategorized", "activity", "track", "workout"];
    if tokens().any(is_running) {
        Sport::Running
    } else if tokens().any(is_walking) {
        Sport::Walking
    } else if tokens().all(|token| says_nothing.contains(&token)) {
        Sport::Unspecified
    } else {
        Sport::Other(word.trim().chars().take(WORD_CHARS).collect())
    }
}

fn is_running(token: &str) -> bool {
    token.starts_with("run")
        || token.starts_with("jog")
        || token.ends_with("run")
        || token.ends_with("running")
        || token == "treadmill"
}

fn is_walking(token: &str) -> bool {
    ["walk", "hik", "trek"].iter().any(|start| token.starts_with(start)) || token.ends_with("walk")
}

/// What words for one sport have in common, and the word that stands for them all: the beginning of one of their parts, or, where
/// that is three letters, which begin other words too, the whole part. Our choice.
const KINDS: [(&str, &str); 14] = [
    ("cycl", "cycling"),
    ("bicycl", "cycling"),
    ("bike", "cycling"),
    ("biking", "cycling"),
    ("swim", "swimming"),
    ("row", "rowing"),
    ("rower", "rowing"),
    ("rowing", "rowing"),
    ("ski", "skiing"),
    ("skier", "skiing"),
    ("skiing", "skiing"),
    ("skis", "skiing"),
    ("strength", "strength"),
    ("gym", "strength"),
];
/// So many letters are a whole part.
const WHOLE_PART: usize = 3;

/// What kind of sport a word means: the same for all words of a sport that is known, else the word without its marks.
fn kind(word: &str) -> String {
    let lower = word.trim().to_lowercase();
    let mut tokens = lower.split(|c: char| !c.is_alphanumeric()).filter(|token| !token.is_empty());
    let is_of =
        |token: &str, start: &str| token == start || (start.len() > WHOLE_PART && token.starts_with(start));
    let known = |token: &str| KINDS.iter().find(|(start, _)| is_of(token, start)).map(|(_, kind)| *kind);
    match tokens.clone().find_map(known) {
        Some(kind) => kind.to_owned(),
        None => tokens.by_ref().collect::<Vec<_>>().join(" "),
    }
}

/// Names a FIT sport number (profile enum `sport`) with its sub-sport.
///
/// Numbers: generic 0, running 1, fitness equipment 4, walking 11, hiking 17; sub-sport treadmill 1. The words of the
/// other numbers are from the published profile's enum as remembered; an unknown number is named by itself.
pub(super) fn from_fit(sport: u8, sub_sport: Option<u8>) -> Sport {
    match (sport, sub_sport) {
        (1, _) => Sport::Running,
        (11 | 17, _) => Sport::Walking,
        (0, _) | (4, Some(1)) => Sport::Unspecified,
        (other, _) => Sport::Other(fit_word(other)),
    }
}

/// The number that [`from_fit`] reads as this sport.
pub(super) fn fit_number(sport: &Sport) -> Option<u8> {
    /// Its marker for "none".
    const NONE: u8 = u8::MAX;
    (0..NONE).find(|number| from_fit(*number, None) == *sport)
}

fn fit_word(sport: u8) -> String {
    let word = match sport {
        2 => "cycling",
        3 => "transition",
        4 => "fitness equipment",
        5 => "swimming",
        6 => "basketball",
        7 => "soccer",
        8 => "tennis",
        9 => "american football",
        10 => "training",
        12 => "cross country skiing",
        13 => "alpine skiing",
        14 => "snowboarding",
        15 => "rowing",
        16 => "mountaineering",
        18 => "multisport",
        19 => "paddling",
        _ => return format!("sport {sport}"),
    };
    word.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words() {
        for word in ["running", "Running", "trail_running", "TrailRun", "Run", "jogging", "street-running"] {
            assert_eq!(from_word(word), Sport::Running, "{word}");
        }
        for word in ["walking", "Hiking", "nordic walking", "hike", "Walk"] {
            assert_eq!(from_word(word), Sport::Walking, "{word}");
        }
        for word in ["", "Other", "9", "generic", "  "] {
            assert_eq!(from_word(word), Sport::Unspecified, "{word}");
        }
        for word in ["Biking", "cycling", "lap_swimming", "trunk"] {
            assert_eq!(from_word(word), Sport::Other(word.to_owned()), "{word}");
        }
    }

    #[test]
    fn words_of_one_sport() {
        let same = Sport::is_same;
        assert!(same("Biking", "cycling") && same("indoor_cycling", "Cycling") && same("bicycle", "cycling"));
        assert!(same("lap_swimming", "swim") && same("Alpine-Skiing", "skiing") && same("Yoga", "yoga "));
        assert!(same("ski", "skiing") && same("row", "indoor rowing") && same("gym", "strength training"));
        assert!(
            !same("rope skipping", "skiing") && !same("bikram", "cycling") && !same("gymnastics", "strength")
        );
        assert!(!same("rowing", "cycling") && !same("yoga", "pilates") && !same("sport 200", "sport 20"));
    }

    #[test]
    fn numbers() {
        assert_eq!(from_fit(1, Some(1)), Sport::Running);
        assert_eq!(from_fit(17, None), Sport::Walking);
        assert_eq!(from_fit(0, None), Sport::Unspecified);
        assert_eq!(from_fit(4, Some(1)), Sport::Unspecified);
        assert_eq!(from_fit(2, None), Sport::Other("cycling".to_owned()));
        assert_eq!(from_fit(200, None), Sport::Other("sport 200".to_owned()));
        assert!((0..u8::MAX).all(|number| {
            let sport = from_fit(number, None);
            fit_number(&sport).is_some_and(|number| from_fit(number, None) == sport)
        }));
        assert_eq!(fit_number(&Sport::Other("yoga".to_owned())), None);
    }
}
