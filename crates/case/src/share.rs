//! A case to send: plan, diary, stages and visits as they are, recordings without places.

use std::collections::{BTreeMap, BTreeSet};

use jogaudit_core::pipeline::Config;
use jogaudit_core::review::stages_renamed;
use jogaudit_share::{Shared, without_places};

use super::archive::{to_zip, zip_of};
use super::case::chain;
use super::failure::Failure;
use super::input::MAX_RECORDING_BYTES;
use super::store::{self, CaseFiles, TABLES, recording_name};

/// What a case to send does not hide, for whoever sends it.
pub const NOT_HIDDEN: &str = "Not hidden in the copy to send: days and times of day, lengths, speeds, heights, heart rate, the plan, the \
    diary with its notes, names of files. Heights can tell a place to somebody who looks for it. Send it only to people who may \
    know all this.";

/// A case as it is sent, and what was done to it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SharedCase {
    /// The case as a zip.
    pub zip: Vec<u8>,
    /// Recordings in it.
    pub recordings: usize,
    /// Activities from which places were taken out.
    pub without_places: usize,
    /// Recordings that are not in it, each with the reason.
    pub left_out: Vec<(String, String)>,
    /// Recordings that have another name in it, with that name.
    pub renamed: Vec<(String, String)>,
}

/// A recording without places, or why there is none.
pub type SharedRecording = Result<Shared, String>;

/// Takes places out of recordings, by their names below `recordings/`, in their order.
pub type ShareAll<'s> = dyn Fn(&[String]) -> Vec<SharedRecording> + 's;

/// Takes places out of one recording of a case.
pub fn share_recording(files: &dyn CaseFiles, recording: &str, config: &Config) -> SharedRecording {
    let bytes = files.read(&recording_name(recording), MAX_RECORDING_BYTES);
    without_places(&bytes.map_err(|error| error.to_string())?, config).map_err(|error| chain(&error))
}

/// Makes a case that can be sent, with the recordings as they are.
pub fn share_with_places(files: &dyn CaseFiles) -> Result<SharedCase, Failure> {
    let recordings = files.recordings(&mut Vec::new())?.len();
    Ok(SharedCase { zip: to_zip(files)?, recordings, ..SharedCase::default() })
}

/// Makes a case that can be sent. A recording that can't be read is not in it, since it cannot be told what it holds.
pub fn share(files: &dyn CaseFiles, share_all: &ShareAll<'_>) -> Result<SharedCase, Failure> {
    let names = files.recordings(&mut Vec::new())?;
    let mut shared = SharedCase::default();
    let mut taken: BTreeSet<String> = BTreeSet::new();
    let (mut new_names, mut contents) = (BTreeMap::new(), Vec::new());
    for (name, recording) in names.iter().zip(share_all(&names)) {
        match recording {
            Err(why) => shared.left_out.push((name.clone(), why)),
            Ok(one) => {
                let new = new_name(name, one.ending, &|name| {
                    taken.contains(name) || names.iter().any(|n| n == name)
                });
                taken.insert(new.clone());
                shared.recordings += 1;
                shared.without_places += one.with_places;
                if new != *name {
                    shared.renamed.push((name.clone(), new.clone()));
                    new_names.insert(name.clone(), new.clone());
                }
                contents.push((one.bytes, recording_name(&new)));
            }
        }
    }
    let mut all = Vec::new();
    for table in TABLES.iter().filter(|name| files.has(name)) {
        let bytes = store::bytes(files, table, MAX_RECORDING_BYTES)?;
        let bytes = if *table == "stages.csv" { with_new_names(bytes, &new_names) } else { bytes };
        all.push((bytes, (*table).to_owned()));
    }
    all.append(&mut contents);
    shared.zip = zip_of(all.into_iter().map(Ok))?;
    Ok(shared)
}

/// The stages with the recordings under their new names; a file that is no text stays as it is.
fn with_new_names(bytes: Vec<u8>, new_names: &BTreeMap<String, String>) -> Vec<u8> {
    if new_names.is_empty() {
        return bytes;
    }
    let rename = |name: &str| {
        let (file, activity) =
            name.split_once('#').map_or((name, None), |(file, number)| (file, Some(number)));
        let new = new_names.get(file)?;
        Some(activity.map_or_else(|| new.clone(), |number| format!("{new}#{number}")))
    };
    match String::from_utf8(bytes) {
        Ok(text) => stages_renamed(&text, &rename).into_bytes(),
        Err(error) => error.into_bytes(),
    }
}

/// The name of a recording whose format changed: its ending tells the new one. No other has it.
fn new_name(name: &str, ending: Option<&str>, is_taken: &dyn Fn(&str) -> bool) -> String {
    let Some(ending) = ending else { return name.to_owned() };
    let lower = name.to_ascii_lowercase();
    let known =
        [".gpx.gz", ".gpx", ".gz"].into_iter().find(|known| lower.ends_with(known)).unwrap_or_default();
    let stem = name.get(..name.len() - known.len()).unwrap_or(name);
    let mut names =
        (1..).map(|n| if n == 1 { format!("{stem}{ending}") } else { format!("{stem}-{n}{ending}") });
    names.find(|new| new == name || !is_taken(new)).unwrap_or_else(|| name.to_owned())
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::super::archive::from_zip;
    use super::super::memory::MemoryCase;
    use super::*;

    fn gpx(second: u32) -> Vec<u8> {
        let point = |s: u32| {
            format!("<trkpt lat='0.50{s:02}' lon='0.5'><time>2026-03-02T07:10:{s:02}Z</time></trkpt>")
        };
        let points: String = (second..second + 30).map(point).collect();
        format!("<gpx version='1.1'><trk><name>From home</name><type>running</type><trkseg>{points}</trkseg></trk></gpx>").into_bytes()
    }

    #[test]
    fn a_case_to_send_keeps_its_plan_and_stages_and_loses_its_places() {
        let case = MemoryCase::new(
            Path::new("case"),
            vec![
                ("plan.toml".to_owned(), b"[[stage]]\nname = '1'\nsession = 'run 5:00'\n".to_vec()),
                ("stages.csv".to_owned(), b"recording,stage\nb/a.gpx,1\na.gpx#2,-\n2026-03-02,1\n".to_vec()),
                ("recordings/a.gpx".to_owned(), gpx(0)),
                ("recordings/a.tcx".to_owned(), b"no recording".to_vec()),
                ("recordings/b/a.gpx".to_owned(), gpx(20)),
            ],
        );
        let config = Config::default();
        let shared =
            share(&case, &|names| names.iter().map(|name| share_recording(&case, name, &config)).collect())
                .unwrap();
        assert_eq!((shared.recordings, shared.without_places), (2, 2));
        assert_eq!(shared.left_out.iter().map(|(name, _)| name.as_str()).collect::<Vec<_>>(), ["a.tcx"]);
        let sent = from_zip(&shared.zip, Path::new("sent.zip")).unwrap();
        assert_eq!(sent.recordings(&mut Vec::new()).unwrap(), ["a-2.tcx", "b/a.tcx"]);
        assert_eq!(
            sent.read("stages.csv", 99).unwrap(),
            b"recording,stage\nb/a.tcx,1\na-2.tcx#2,-\n2026-03-02,1\n"
        );
        let text = String::from_utf8(sent.read("recordings/a-2.tcx", 1 << 20).unwrap()).unwrap();
        assert!(!text.contains("0.50") && !text.contains("home"), "{text}");
        // With places it is as it was.
        let whole = from_zip(&share_with_places(&case).unwrap().zip, Path::new("sent.zip")).unwrap();
        assert_eq!(whole.read("recordings/a.gpx", 1 << 20).unwrap(), gpx(0));
    }
}
