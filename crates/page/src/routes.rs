//! Addresses and what answers them. Answers are made here and worded in the views.

use std::sync::Arc;

use maud::{Markup, html};

use jogaudit_case::{self as case, Failure, MAX_RECORDING_BYTES, edit, recording_name};
use jogaudit_core::pipeline::Config;
use jogaudit_report::html::{REPORT, THEME};
use jogaudit_report::{CheckReport, isolated};

use super::desk::{Desk, OpenCase, PageResult};
use super::found::{Found, Snapshot};
use super::layout::{self, PageFrame, coded, root};
use super::refusal::Refusal;
use super::request::{Content, Method, Request};
use super::response::{HTML, Response};
use super::store::{CaseState, CaseStore};
use super::view_case::{self, Proposal};
use super::waiting::WaitingFile;
use super::{browser_cases, forms, plan_routes, report, view_caseload, visit};

/// Answers a request.
pub fn handle(request: Request, store: &mut dyn CaseStore) -> Response {
    answer(request, store).unwrap_or_else(|refusal| refusal.response())
}

fn answer(request: Request, store: &mut dyn CaseStore) -> PageResult {
    match (request.method, request.path().as_slice()) {
        (Method::Get, [""]) => start(&request, store),
        (Method::Get, ["page.css"]) => Ok(css([THEME, layout::STYLE, layout::PLAN_STYLE].concat())),
        (Method::Get, ["report.css"]) => Ok(css([THEME, REPORT, layout::BAR_STYLE].concat())),
        (Method::Get, ["page.js"]) => {
            Ok(Response::of("text/javascript; charset=utf-8", layout::SCRIPT.to_owned()))
        }
        (_, ["case", ..]) => Desk::at(request, store)?.answer(),
        (Method::Post, ["new"]) => browser_cases::begin(&request, store),
        (Method::Post, ["open-zip"]) => browser_cases::open_zip(request, store),
        _ => Err(no_page()),
    }
}

fn css(text: String) -> Response {
    Response::of("text/css; charset=utf-8", text)
}

fn no_page() -> Refusal {
    Refusal::not_found("there is no such page")
}

fn start(request: &Request, store: &mut dyn CaseStore) -> PageResult {
    let settings = store.settings().clone();
    let cases = store.cases();
    if !settings.is_caseload {
        let only = cases.first().ok_or_else(|| Refusal::not_found("there is no case"))?;
        return Ok(Response::to(&format!("{}/", root(&only.name))));
    }
    let states: Vec<CaseState> = cases.iter().map(|case| store.state(&case.name.key)).collect();
    let (body, again) = browser_cases::start(&settings, &cases, &states)
        .unwrap_or_else(|| view_caseload::table(&settings, &cases, &states));
    let done = request.asked("done");
    let frame = PageFrame { settings: &settings, case: None, title: settings.all_title(), done, again };
    Ok(Response::html(200, frame.page(&body)))
}

impl Desk<'_> {
    fn answer(mut self) -> PageResult {
        let parts = self.request.parts.clone();
        let rest: Vec<&str> = parts.iter().skip(2).map(String::as_str).collect();
        match (self.request.method, rest.as_slice()) {
            (Method::Get, [""]) => self.now(),
            (Method::Post, ["files"]) => self.take_files(),
            (Method::Get, ["waiting", sha256]) => self.waiting(sha256),
            (Method::Post, ["waiting", sha256, "keep"]) => self.keep_one(sha256),
            (Method::Post, ["waiting", sha256, "put-away"]) => Ok(self.put_away(sha256)),
            (Method::Post, ["keep-all"]) => self.keep_all(),
            (Method::Post, ["put-away-all"]) => Ok(self.put_all_away()),
            (Method::Get, ["session"]) => self.session(),
            (Method::Get, ["report.html"]) => self.report_file(),
            (Method::Post, ["stop"]) => Ok(self.stop()),
            (Method::Post, ["read-on"]) => Ok(self.read_on()),
            (Method::Post, ["stage"]) => self.note_stage(),
            (Method::Post, ["seen"]) => visit::note(&mut self),
            (Method::Get, ["diary"]) => forms::days(&mut self),
            (Method::Get, ["diary-of"]) => forms::diary_of(&self),
            (Method::Get, ["diary", date]) => forms::day(&mut self, date),
            (Method::Post, ["diary", date]) => forms::write_day(&mut self, date),
            (Method::Get, ["review"]) => Ok(self.review()),
            (Method::Get, ["review.html"]) => self.review_file(),
            (Method::Get, ["case.zip"]) => self.zip(),
            (Method::Get, ["shared.zip"]) => self.shared_zip(),
            (Method::Post, ["remove"]) => browser_cases::remove(&mut self),
            (method, ["plan", rest @ ..]) => plan_routes::answer(&mut self, method, rest),
            _ => Err(no_page()),
        }
    }

    /// Stops the reading of the case.
    fn stop(&mut self) -> Response {
        let key = self.key();
        self.store.stop(&key);
        Response::to(&format!("{}/", root(&self.case.name)))
    }

    /// Reads the case, whose reading was stopped.
    fn read_on(&mut self) -> Response {
        let key = self.key();
        self.store.read_on(&key);
        Response::to(&format!("{}/", root(&self.case.name)))
    }

    fn now(&mut self) -> PageResult {
        self.with_case("Now", |desk, found| {
            let waiting = desk.store.waiting(&desk.case.name.key);
            let waiting = view_case::waiting_list(&desk.case.name, &waiting, Some(found));
            Ok(view_case::now(&desk.case.name, found, &waiting, &desk.settings))
        })
    }

    fn take_files(&mut self) -> PageResult {
        let content = std::mem::replace(&mut self.request.content, Content::Nothing);
        let Content::Files(taken) = content else {
            return Err(Refusal::not_our_form());
        };
        let only = if let [file] = taken.as_slice() { Some(file.sha256.clone()) } else { None };
        let any = !taken.is_empty();
        let key = self.key();
        taken.into_iter().for_each(|file| self.store.put(&key, file));
        let root = root(&self.case.name);
        Ok(match only {
            Some(sha256) => Response::to(&format!("{root}/waiting/{sha256}")),
            None if any => Response::to(&format!("{root}/")),
            None => self.back("", "nothing"),
        })
    }

    fn waiting_file(&self, sha256: &str) -> Result<Arc<WaitingFile>, Refusal> {
        let waiting = self.store.waiting(&self.case.name.key);
        waiting.into_iter().find(|file| file.sha256 == sha256).ok_or_else(|| {
            Refusal::new(
                404,
                "this file does not wait here any more",
                "it was saved or discarded, or the page was started anew: choose it again",
            )
        })
    }

    fn waiting(&mut self, sha256: &str) -> PageResult {
        const TITLE: &str = "A recording that waits";
        let file = self.waiting_file(sha256)?;
        let OpenCase { snapshot, found } = match self.open(TITLE) {
            Ok(opened) => opened,
            Err(instead) => return Ok(instead),
        };
        let is_it = |name: &str| name.split('#').next() == Some(file.file_name.as_str());
        let view = found.with_waiting.as_ref().unwrap_or(&found.review);
        let mut proposal = Proposal::of(view, &is_it, self.request.asked("stage"));
        if let Some(name) = snapshot.hashes.get(sha256) {
            proposal.why = format!("The case has this recording already, as {name}. {}", proposal.why);
        }
        let config = Config::default();
        let can_keep = file.read(&config).is_ok();
        let bar = view_case::waiting_bar(&self.case.name, &file, &found.plan, &proposal, can_keep);
        let made = match (file.read(&config), &proposal.stage) {
            (Err(why), _) => Err(Refusal::new(
                422,
                &format!("“{}” can’t be read: {why}", file.shown),
                "export the session again as FIT, GPX or TCX and choose that file",
            )),
            (Ok(_), Some(stage)) if stage != "-" => {
                let activity = self.activity();
                check(&found, &file.bytes, (&file.shown, activity), stage)
                    .map_err(|failure| self.refusal(failure))
                    .map(|report| Some(report::check_body(&report)))
            }
            _ => Ok(view
                .sessions
                .iter()
                .find(|s| s.recordings.iter().any(|name| is_it(name)))
                .and_then(report::outing_body)),
        };
        Ok(under_bar(&self.frame_after(TITLE), &bar, made))
    }

    /// The activity that was asked for.
    fn activity(&self) -> Option<usize> {
        self.request.asked("activity").and_then(|number| number.parse().ok())
    }

    fn keep_one(&mut self, sha256: &str) -> PageResult {
        let file = self.waiting_file(sha256)?;
        let stage = self.request.field("stage").filter(|stage| !stage.is_empty()).map(str::to_owned);
        let kept = self.keep_file(&file, stage.as_deref())?;
        let done = if kept.was_there { "duplicate" } else { "kept" };
        Ok(self.back(&format!("session?recording={}", coded(&kept.name)), done))
    }

    /// Writes a file to the case. It is told only when it is kept.
    fn keep_file(&mut self, file: &WaitingFile, stage: Option<&str>) -> Result<edit::Kept, Refusal> {
        let new = edit::NewRecording {
            shown: &file.shown,
            file_name: &file.file_name,
            bytes: &file.bytes,
            activities: file.read(&Config::default()),
        };
        let kept =
            edit::recording(&*self.case.files, &new, stage).map_err(|failure| self.refusal(failure))?;
        let key = self.key();
        self.store.let_go(&key, &file.sha256);
        self.store.forget(&key);
        Ok(kept)
    }

    fn keep_all(&mut self) -> PageResult {
        for file in self.store.waiting(&self.case.name.key) {
            if file.read(&Config::default()).is_ok() {
                self.keep_file(&file, None)?;
            }
        }
        Ok(self.back("", "all"))
    }

    fn put_away(&mut self, sha256: &str) -> Response {
        let key = self.key();
        self.store.let_go(&key, sha256);
        self.back("", "away")
    }

    fn put_all_away(&mut self) -> Response {
        let key = self.key();
        self.store.waiting(&key).iter().for_each(|file| self.store.let_go(&key, &file.sha256));
        self.back("", "away")
    }

    fn session(&mut self) -> PageResult {
        const TITLE: &str = "A recording of the case";
        let OpenCase { snapshot, found } = match self.open(TITLE) {
            Ok(opened) => opened,
            Err(instead) => return Ok(instead),
        };
        let recording = self.request.asked("recording").unwrap_or_default();
        let file = file_of(&snapshot, recording)?;
        let is_it = |name: &str| name == recording || name.split('#').next() == Some(recording);
        let proposal = Proposal::of(&found.review, &is_it, self.request.asked("stage"));
        let session = found
            .review
            .sessions
            .iter()
            .enumerate()
            .find(|(_, s)| s.recordings.iter().any(|name| is_it(name)));
        let bar = view_case::kept_bar(&self.case.name, recording, &found.plan, &proposal, session);
        let made = match &proposal.stage {
            Some(stage) if stage != "-" => {
                let activity = self.activity().or_else(|| activity_of(recording));
                self.check_recording(&found, file, (recording, activity), stage)
                    .map(|report| Some(report::check_body(&report)))
            }
            _ => Ok(session.and_then(|(_, session)| report::outing_body(session))),
        };
        Ok(under_bar(&self.frame_after(TITLE), &bar, made))
    }

    /// Makes the report on a recording of the case.
    fn check_recording(
        &self,
        found: &Found,
        file: &str,
        named: (&str, Option<usize>),
        stage: &str,
    ) -> Result<CheckReport, Refusal> {
        case::bytes(&*self.case.files, &recording_name(file), MAX_RECORDING_BYTES)
            .and_then(|bytes| check(found, &bytes, named, stage))
            .map_err(|failure| self.refusal(failure))
    }

    /// A report as a file to send or print.
    fn report_file(&mut self) -> PageResult {
        let OpenCase { snapshot, found } = self.ready()?;
        let recording = self.request.asked("recording").unwrap_or_default();
        let file = file_of(&snapshot, recording)?;
        let stage = self.request.asked("stage").unwrap_or_default();
        let report = self.check_recording(&found, file, (recording, activity_of(recording)), stage)?;
        Ok(attached("check.html", report::check_document(&report)))
    }

    fn note_stage(&mut self) -> PageResult {
        let OpenCase { snapshot, found } = self.ready()?;
        let (recording, stage) = (self.request.field("recording"), self.request.field("stage"));
        let (recording, stage) =
            (recording.ok_or_else(Refusal::not_our_form)?.to_owned(), stage.unwrap_or_default());
        file_of(&snapshot, &recording)?;
        if stage != "-" && found.plan.stage(stage).is_none() {
            return Err(Refusal::not_found("the plan has no such stage"));
        }
        edit::stage(&*self.case.files, &recording, stage).map_err(|failure| self.refusal(failure))?;
        self.forget();
        Ok(self.back(&format!("session?recording={}", coded(&recording)), "stage"))
    }

    fn review(&mut self) -> Response {
        let snapshot = match self.read("Review") {
            Ok(snapshot) => snapshot,
            Err(underway) => return underway,
        };
        let root = root(&self.case.name);
        let bar = html! { p { a href={ (root) "/review.html" } { "Save this report as a file" } } };
        let address = |recording: &str| Some(format!("{root}/session?recording={}", coded(recording)));
        let made = snapshot.found.as_ref().map(|found| Some(report::review_body(&found.review, &address)));
        under_bar(&self.frame("Review"), &bar, made.map_err(Clone::clone))
    }

    fn review_file(&mut self) -> PageResult {
        Ok(attached("review.html", report::review_document(&self.ready()?.found.review)))
    }

    /// The case as a zip, as it stands.
    fn zip(&self) -> PageResult {
        let zip = case::to_zip(&*self.case.files).map_err(|failure| self.refusal(failure))?;
        Ok(Response::attached("case.zip", "application/zip", zip))
    }

    /// The case as a zip to send, its recordings without places.
    fn shared_zip(&self) -> PageResult {
        let (files, config) = (&*self.case.files, Config::default());
        let share_all =
            |names: &[String]| names.iter().map(|name| case::share_recording(files, name, &config)).collect();
        let shared = case::share(files, &share_all).map_err(|failure| self.refusal(failure))?;
        Ok(Response::attached("shared.zip", "application/zip", shared.zip))
    }
}

/// The report on a recording: by the plan of the case, and by what its other recordings tell.
fn check(
    found: &Found,
    bytes: &[u8],
    (name, activity): (&str, Option<usize>),
    stage: &str,
) -> Result<CheckReport, Failure> {
    let stage = case::stage(&found.plan, Some(stage))?;
    report::check(bytes, name, activity, &found.plan, stage, &found.runner)
}

/// A report under a bar, or the bar alone with the reason why there is no report.
fn under_bar(frame: &PageFrame<'_>, bar: &Markup, made: Result<Option<Markup>, Refusal>) -> Response {
    match made {
        Ok(Some(report)) => Response::html(200, frame.report(bar, &report)),
        Ok(None) => Response::html(200, frame.page(&html! { h1 { (isolated(frame.title)) } (bar) })),
        Err(refusal) => {
            let body = html! { h1 { (isolated(frame.title)) } (refusal.markup()) (bar) };
            Response::html(refusal.status, frame.page(&body))
        }
    }
}

/// The file of a recording, by its name in the case: names are compared, never made into paths.
fn file_of<'s>(snapshot: &'s Snapshot, recording: &str) -> Result<&'s str, Refusal> {
    let file = recording.split('#').next().unwrap_or_default();
    let found = snapshot.recordings.iter().find(|name| *name == recording || *name == file);
    found.map(String::as_str).ok_or_else(|| Refusal::not_found("there is no such recording"))
}

/// The activity that a recording's name stands for.
fn activity_of(recording: &str) -> Option<usize> {
    recording.split_once('#').and_then(|(_, number)| number.parse().ok())
}

fn attached(name: &str, document: String) -> Response {
    Response::attached(name, HTML, document.into_bytes())
}
