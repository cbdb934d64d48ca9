#![no_main]

use std::path::Path;

use jogaudit_case::{CaseFiles, from_zip, to_zip};
use libfuzzer_sys::fuzz_target;

// What is opened stays inside the case, and comes back from a zip of its own as it was.
fuzz_target!(|input: &[u8]| {
    let Ok(case) = from_zip(input, Path::new("a.zip")) else { return };
    let recordings = case.recordings(&mut Vec::new()).expect("listed");
    for name in case.top().expect("listed").iter().chain(&recordings) {
        let is_part = |part: &str| !matches!(part, "" | "." | "..") && !part.contains(['\\', ':', '\0']);
        assert!(name.split('/').all(is_part), "{name:?}");
    }
    let again = from_zip(&to_zip(&case).expect("written"), Path::new("b.zip")).expect("opened again");
    assert_eq!(again.recordings(&mut Vec::new()).expect("listed"), recordings);
    for name in &recordings {
        let name = format!("recordings/{name}");
        assert_eq!(again.content(&name), case.content(&name), "{name}");
    }
});
