//! Cases in memory: what the page stands on where the browser itself is its host.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use jiff::Timestamp;

use jogaudit_case::{CaseFiles, MemoryCase, Stamp, recording_name};
use jogaudit_core::pipeline::Config;

use super::case_names::{CaseName, names};
use super::found::{Day, FileRead, Snapshot, stamps};
use super::needs::{Cases, needs};
use super::request::{Content, Method, Request};
use super::response::Response;
use super::routes::handle;
use super::settings::{Keeper, Settings};
use super::store::{CaseState, CaseStore, HostedCase};
use super::waiting::{MOST_FILES, Reservation, Room, WaitingFile, base};

/// Largest recording that is taken, bytes.
const MAX_FILE_BYTES: usize = 16 << 20;
/// Samples of recordings that stay read, of all cases: some 300 recordings of half an hour and more. Our choice.
const MOST_SAMPLES: usize = 1_200_000;
/// The day is looked up anew this often, s.
const DAY_STEP_S: i64 = 900;
/// What a new case begins with, so that there is something of it to keep.
const DIARY: &str = "date,pain_during,pain_pattern,pain_next_morning,effort,note\n";

/// Cases in memory, read step by step.
pub struct MemoryStore {
    settings: Settings,
    room: Arc<Room>,
    cases: BTreeMap<String, HeldCase>,
    /// Cases that were taken away since the last look, in order.
    removed: Vec<String>,
    day: Day,
}

/// A case and how far it is read.
#[derive(Default)]
struct HeldCase {
    files: Arc<MemoryCase>,
    read: BTreeMap<String, (Stamp, Arc<FileRead>)>,
    latest: Option<(Mark, Arc<Snapshot>)>,
    waiting: Vec<Arc<WaitingFile>>,
    /// Whether somebody asked for it.
    is_wanted: bool,
    is_stopped: bool,
}

/// By what it is told whether a case has changed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Mark {
    /// Quarter of an hour: the day of the review may change with it.
    now: i64,
    files: Vec<(String, Stamp)>,
    waiting: Vec<String>,
}

/// What is to be stored elsewhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Key of the case.
    pub case: String,
    /// The file that was written; `None` where the whole case was taken away.
    pub file: Option<(String, Arc<[u8]>)>,
}

/// A request as the browser makes it of a link or a form.
pub struct Sent {
    /// How.
    pub method: Method,
    /// `/case/x/diary?done=kept`.
    pub address: String,
    /// The fields of a form, in their order.
    pub fields: Vec<(String, String)>,
    /// Its files: name, or path in the folder that was chosen, and bytes.
    pub files: Vec<(String, Vec<u8>)>,
}

impl Default for MemoryStore {
    fn default() -> Self {
        let room = Arc::new(Room::new(MAX_FILE_BYTES, Keeper::Browser));
        let settings = Settings {
            is_caseload: true,
            not_followed: Vec::new(),
            made_up: false,
            is_patient: false,
            max_file_bytes: MAX_FILE_BYTES,
            keeper: Keeper::Browser,
        };
        let day = Day { now: Timestamp::UNIX_EPOCH, as_of: None };
        Self { settings, room, cases: BTreeMap::new(), removed: Vec::new(), day }
    }
}

impl MemoryStore {
    /// The same for reviews of a day: for tests and examples.
    #[must_use]
    pub fn as_of(mut self, date: jiff::civil::Date) -> Self {
        self.day.as_of = Some(date);
        self
    }

    /// Takes a case as it was stored, in place of the one of that key.
    pub fn put_case(&mut self, key: &str, files: Vec<(String, Vec<u8>)>) {
        let before = self.cases.remove(key).unwrap_or_default();
        let files = Arc::new(MemoryCase::new(Path::new(key), files));
        self.cases.insert(key.to_owned(), HeldCase { files, waiting: before.waiting, ..HeldCase::default() });
    }

    /// Forgets a case that was taken away elsewhere.
    pub fn forget_case(&mut self, key: &str) {
        self.cases.remove(key);
    }

    /// Says that a request is to come, and now: the cases that it needs are read by [`Self::step`]. Gives the seconds for which it is
    /// worth while to wait for them.
    pub fn prepare(&mut self, method: Method, address: &str, now: Timestamp) -> f64 {
        const SHORT_S: f64 = 0.4;
        const LONG_S: f64 = 60.0;
        self.day.now = now;
        let request = Request::new(method, address, Content::Nothing);
        let needs = needs(&request);
        let wanted: Vec<&mut HeldCase> = match (needs.cases, request.case()) {
            (Cases::All, _) => self.cases.values_mut().collect(),
            (Cases::One, Some(key)) => self.cases.get_mut(key).into_iter().collect(),
            _ => return 0.0,
        };
        wanted.into_iter().for_each(|held| held.is_wanted = true);
        if needs.cannot_wait { LONG_S } else { SHORT_S }
    }

    /// Answers a request.
    pub fn answer(&mut self, sent: Sent, now: Timestamp) -> Response {
        self.day.now = now;
        let asked = Request::new(sent.method, &sent.address, Content::Nothing);
        let content = if sent.method == Method::Get {
            Content::Nothing
        } else if asked.takes_files() {
            match self.taken(sent.files) {
                Ok(files) => Content::Files(files),
                Err(refusal) => return refusal.response(),
            }
        } else if sent.files.is_empty() {
            Content::Form(sent.fields)
        } else {
            Content::Whole(sent.files)
        };
        handle(Request { content, ..asked }, self)
    }

    fn taken(&self, files: Vec<(String, Vec<u8>)>) -> Result<Vec<WaitingFile>, super::Refusal> {
        // A form without a chosen file sends an empty one without a name.
        let files: Vec<_> =
            files.into_iter().filter(|(name, bytes)| !(name.is_empty() && bytes.is_empty())).collect();
        if files.len() > MOST_FILES {
            return Err(self.room.too_large("that many files are"));
        }
        let mut taken = Vec::with_capacity(files.len());
        for (name, bytes) in files {
            let mut reservation = Reservation::new(&self.room);
            if bytes.len() > self.room.max_file_bytes() {
                return Err(self.room.too_large(&format!("“{}” is", base(&name))));
            }
            if !reservation.add_bytes(bytes.len()) {
                return Err(Room::full());
            }
            taken.push(WaitingFile::new(base(&name), bytes, reservation));
        }
        Ok(taken)
    }

    /// What was written and taken away since this was asked last.
    pub fn take_changes(&mut self) -> Vec<Change> {
        let removed = std::mem::take(&mut self.removed).into_iter();
        let mut changes: Vec<Change> = removed.map(|case| Change { case, file: None }).collect();
        for (key, held) in &self.cases {
            let written = held.files.take_written().into_iter();
            let written = written.filter_map(|name| Some((held.files.content(&name)?, name)));
            changes
                .extend(written.map(|(bytes, name)| Change { case: key.clone(), file: Some((name, bytes)) }));
        }
        changes
    }

    /// Reads one recording of a case that somebody asked for, or reviews a case of which all are read; gives whether there is more to
    /// do.
    pub fn step(&mut self, now: Timestamp) -> bool {
        self.day.now = now;
        let day = self.day;
        let mut wanted = self.cases.values_mut().filter(|held| held.is_wanted && !held.is_stopped);
        let Some(held) = wanted.find(|held| !held.is_read(day)) else {
            drop(wanted);
            self.cases.values_mut().for_each(|held| held.is_wanted = false);
            return false;
        };
        held.step(day);
        self.bound();
        true
    }

    /// Lets go what was read of cases that nobody looks at, when there is too much of it.
    fn bound(&mut self) {
        let samples = |held: &HeldCase| held.read.values().map(|(_, read)| read.samples()).sum::<usize>();
        let mut all: usize = self.cases.values().map(samples).sum();
        for held in self.cases.values_mut().filter(|held| held.latest.is_some()) {
            if all > MOST_SAMPLES {
                all -= samples(held);
                held.read.clear();
            }
        }
    }
}

impl HeldCase {
    fn mark(&self, day: Day) -> Mark {
        Mark {
            now: day.now.as_second() / DAY_STEP_S,
            files: stamps(&*self.files),
            waiting: self.waiting.iter().map(|file| file.sha256.clone()).collect(),
        }
    }

    fn is_read(&self, day: Day) -> bool {
        self.latest.as_ref().is_some_and(|(mark, _)| *mark == self.mark(day))
    }

    /// Names of the recordings, in order.
    fn recordings(&self) -> Vec<String> {
        self.files.recordings(&mut Vec::new()).unwrap_or_default()
    }

    fn is_current(&self, name: &str) -> bool {
        self.read.get(name).is_some_and(|(stamp, _)| *stamp == self.files.stamp(&recording_name(name)))
    }

    fn step(&mut self, day: Day) {
        let names = self.recordings();
        if let Some(name) = names.iter().find(|name| !self.is_current(name)) {
            let stamp = self.files.stamp(&recording_name(name));
            let read = FileRead::of(&*self.files, name, &Config::default());
            self.read.insert(name.clone(), (stamp, Arc::new(read)));
            return;
        }
        self.read.retain(|name, _| names.contains(name));
        let mark = self.mark(day);
        let read = self.read.iter().map(|(name, (_, read))| (name.clone(), Arc::clone(read))).collect();
        self.latest = Some((mark, Arc::new(Snapshot::of(&*self.files, &read, &self.waiting, day))));
    }

    fn state(&mut self, day: Day) -> CaseState {
        let mark = self.mark(day);
        match &self.latest {
            Some((known, latest)) if *known == mark => CaseState::Ready(Arc::clone(latest)),
            _ if self.is_stopped => CaseState::Stopped,
            _ => {
                self.is_wanted = true;
                let names = self.recordings();
                let done = names.iter().filter(|name| self.is_current(name)).count();
                CaseState::Reading { done, total: names.len() }
            }
        }
    }
}

impl CaseStore for MemoryStore {
    fn settings(&self) -> &Settings {
        &self.settings
    }

    fn cases(&self) -> Vec<HostedCase> {
        let keys: Vec<String> = self.cases.keys().cloned().collect();
        let hosted = |(name, held): (CaseName, &HeldCase)| HostedCase {
            name,
            files: Arc::clone(&held.files) as Arc<dyn CaseFiles + Send>,
        };
        names(&keys).into_iter().zip(self.cases.values()).map(hosted).collect()
    }

    fn state(&mut self, key: &str) -> CaseState {
        let day = self.day;
        self.cases.get_mut(key).map_or(CaseState::Stopped, |held| held.state(day))
    }

    fn forget(&mut self, key: &str) {
        self.cases.get_mut(key).into_iter().for_each(|held| held.latest = None);
    }

    fn stop(&mut self, key: &str) {
        let day = self.day;
        self.cases.get_mut(key).into_iter().for_each(|held| held.is_stopped = !held.is_read(day));
    }

    fn read_on(&mut self, key: &str) {
        self.cases.get_mut(key).into_iter().for_each(|held| held.is_stopped = false);
    }

    fn waiting(&self, key: &str) -> Vec<Arc<WaitingFile>> {
        self.cases.get(key).map(|held| held.waiting.clone()).unwrap_or_default()
    }

    fn put(&mut self, key: &str, file: WaitingFile) {
        let Some(held) = self.cases.get_mut(key) else { return };
        if !held.waiting.iter().any(|waiting| waiting.sha256 == file.sha256) {
            held.waiting.push(Arc::new(file));
        }
    }

    fn let_go(&mut self, key: &str, sha256: &str) {
        let held = self.cases.get_mut(key).into_iter();
        held.for_each(|held| held.waiting.retain(|waiting| waiting.sha256 != sha256));
    }

    fn add(&mut self, name: &str, files: Vec<(String, Vec<u8>)>) -> Option<String> {
        let mut keys = (1..).map(|n| if n == 1 { name.to_owned() } else { format!("{name} {n}") });
        let key = keys.find(|key| !self.cases.contains_key(key))?;
        let case = MemoryCase::new(Path::new(&key), Vec::new());
        {
            let mut writer = case.writer().ok()?;
            if files.is_empty() {
                writer.write("diary.csv", DIARY.as_bytes()).ok()?;
            }
            files.iter().try_for_each(|(name, bytes)| writer.write(name, bytes)).ok()?;
        }
        self.cases.insert(key.clone(), HeldCase { files: Arc::new(case), ..HeldCase::default() });
        Some(key)
    }

    fn remove(&mut self, key: &str) {
        if self.cases.remove(key).is_some() {
            self.removed.push(key.to_owned());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: &str = "[[stage]]\nname = '1'\nsession = 'run 5:00'\n";

    fn now() -> Timestamp {
        "2026-05-10T08:00:00Z".parse().unwrap()
    }

    fn text(response: &Response) -> String {
        String::from_utf8(response.body.clone()).unwrap()
    }

    fn get(store: &mut MemoryStore, address: &str) -> Response {
        store.prepare(Method::Get, address, now());
        while store.step(now()) {}
        let sent =
            Sent { method: Method::Get, address: address.to_owned(), fields: Vec::new(), files: Vec::new() };
        store.answer(sent, now())
    }

    fn post(
        store: &mut MemoryStore,
        address: &str,
        fields: &[(&str, &str)],
        files: &[(&str, &[u8])],
    ) -> Response {
        let fields = fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        let files = files.iter().map(|(name, bytes)| ((*name).to_owned(), bytes.to_vec())).collect();
        store.answer(Sent { method: Method::Post, address: address.to_owned(), fields, files }, now())
    }

    #[test]
    fn a_case_is_begun_kept_saved_opened_and_taken_away() {
        let mut store = MemoryStore::default();
        assert!(text(&get(&mut store, "/")).contains("Begin a case"));
        let begun = post(&mut store, "/new", &[("name", "Åse")], &[]);
        assert_eq!(begun.location.as_deref(), Some("/case/%C3%85se/plan"));
        let file = |change: &Change| change.file.as_ref().map(|(name, _)| name.clone());
        let changes = store.take_changes();
        assert_eq!(changes.iter().map(file).collect::<Vec<_>>(), [Some("diary.csv".to_owned())]);
        let of = jogaudit_case::sha256(b"");
        let saved = post(
            &mut store,
            "/case/%C3%85se/plan/text",
            &[("text", PLAN), ("of", &of), ("action", "save")],
            &[],
        );
        assert_eq!(
            saved.location.as_deref(),
            Some("/case/%C3%85se/plan/text?done=plan-alone"),
            "{}",
            text(&saved)
        );
        assert_eq!(store.take_changes().iter().map(file).collect::<Vec<_>>(), [Some("plan.toml".to_owned())]);
        assert!(store.take_changes().is_empty());

        let zip = get(&mut store, "/case/%C3%85se/case.zip");
        assert_eq!((zip.status, zip.attachment.as_deref()), (200, Some("case.zip")));
        let opened = post(&mut store, "/open-zip", &[], &[("C:\\x\\Åse.zip", &zip.body)]);
        assert_eq!(opened.location.as_deref(), Some("/case/%C3%85se%202/"));
        let names: Vec<_> = store.take_changes().iter().filter_map(file).collect();
        assert_eq!(names, ["diary.csv", "plan.toml"]);

        let refused = post(&mut store, "/case/%C3%85se/remove", &[("sure", "x")], &[]);
        assert_eq!(refused.status, 422);
        post(&mut store, "/case/%C3%85se/remove", &[("sure", "Åse")], &[]);
        assert_eq!(store.take_changes(), [Change { case: "Åse".to_owned(), file: None }]);
        assert_eq!(get(&mut store, "/case/%C3%85se/").status, 404);
    }

    #[test]
    fn a_reading_goes_step_by_step_and_can_be_stopped() {
        let mut store = MemoryStore::default();
        let mut files = vec![("plan.toml".to_owned(), PLAN.as_bytes().to_vec())];
        files.extend((0..5).map(|n| (format!("recordings/{n}.gpx"), b"<gpx/>".to_vec())));
        store.put_case("a", files);
        assert!(!store.step(now()), "nobody asked");
        let sent = || Sent {
            method: Method::Get,
            address: "/case/a/".to_owned(),
            fields: Vec::new(),
            files: Vec::new(),
        };
        assert!(text(&store.answer(sent(), now())).contains("0 of 5"));
        assert!(store.step(now()) && store.step(now()));
        assert!(text(&store.answer(sent(), now())).contains("2 of 5"));
        post(&mut store, "/case/a/stop", &[], &[]);
        assert!(!store.step(now()));
        assert!(text(&store.answer(sent(), now())).contains("The reading of this case was stopped."));
        post(&mut store, "/case/a/read-on", &[], &[]);
        assert!(text(&get(&mut store, "/case/a/")).contains("Recordings left out"));
        // What is read stays read until it changes.
        store.prepare(Method::Get, "/case/a/", now());
        assert!(!store.step(now()));
    }

    #[test]
    fn nobody_is_sent_to_a_folder_that_is_not_there() {
        let mut store = MemoryStore::default();
        store.put_case("a", vec![("plan.toml".to_owned(), PLAN.as_bytes().to_vec())]);
        let large = vec![b' '; MAX_FILE_BYTES + 1];
        let note = "x".repeat(600);
        for refused in [
            post(&mut store, "/case/a/files", &[], &[("a.gpx", &large)]),
            post(&mut store, "/case/a/diary/2026-03-02", &[("note", &note)], &[]),
        ] {
            let said = text(&refused);
            assert!(refused.status >= 400 && said.contains("What to do: "), "{said}");
            assert!(!said.contains("by hand"), "{said}");
        }
        let fit = [b"\x0e\x10......\x2eFIT".as_slice(), &vec![0; MAX_FILE_BYTES / 4]].concat();
        let waits = post(&mut store, "/case/a/files", &[], &[("a.fit", &fit)]).location.unwrap();
        let said = text(&get(&mut store, &waits));
        assert!(said.contains("longer than what this page takes") && !said.contains("by hand"), "{said}");
    }

    #[test]
    fn a_folder_of_cases_is_opened() {
        let mut store = MemoryStore::default();
        let files: [(&str, &[u8]); 5] = [
            ("load/anna/plan.toml", PLAN.as_bytes()),
            ("load/anna/recordings/a.fit", b"x"),
            ("load/arne/plan.toml", PLAN.as_bytes()),
            ("load/notes.txt", b"x"),
            ("load/arne/recordings/plan.toml", b"x"),
        ];
        let opened = post(&mut store, "/open-zip", &[], &files);
        assert_eq!(opened.location.as_deref(), Some("/?done=opened"), "{}", text(&opened));
        let keys: Vec<String> = store.cases().into_iter().map(|case| case.name.key).collect();
        assert_eq!(keys, ["anna", "arne"]);
        assert!(store.cases()[0].files.has("recordings/a.fit"));
    }
}
