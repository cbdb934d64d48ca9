//! Addresses and what answers them. Answers are made here and worded in the views.
#![allow(clippy::unused_async)] // the router takes async functions

use std::sync::Arc;
use std::time::Duration;

use axum::extract::{DefaultBodyLimit, Form, Path, Query, Request, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE, SET_COOKIE};
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Router, middleware};
use maud::{Markup, html};
use serde::Deserialize;

use jogaudit_core::gait::RunnerEvidence;
use jogaudit_core::prescription::Plan;
use jogaudit_files::{self as files, Failure, MAX_RECORDING_BYTES};
use jogaudit_report::html::{REPORT, THEME};
use jogaudit_report::{CheckReport, isolated};

use super::cached_case::{CachedCase, CaseState, Found, READ_WAIT, Snapshot};
use super::layout::{self, PageFrame, coded, root};
use super::refusal::Refusal;
use super::uploads::WaitingFile;
use super::view_case::{self, Proposal};
use super::{App, case_writer, forms, guard, plan_routes, report, view_caseload, visit};

pub(super) type PageResult = Result<Response, Refusal>;
pub(super) type AppState = State<Arc<App>>;

/// Bytes of a form without files: a plan has at most 1 MiB, and letters may take three in a form.
const FORM_BYTES: usize = 4 << 20;

pub(super) fn router(app: Arc<App>) -> Router {
    let style = || async { css([THEME, layout::STYLE, layout::PLAN_STYLE].concat()) };
    let report_style = || async { css([THEME, REPORT, layout::BAR_STYLE].concat()) };
    let script = || async { ([(CONTENT_TYPE, "text/javascript; charset=utf-8")], layout::SCRIPT) };
    let files = post(take_files).layer(DefaultBodyLimit::disable());
    Router::new()
        .route("/", get(start))
        .route("/open", get(open))
        .route("/page.css", get(style))
        .route("/report.css", get(report_style))
        .route("/page.js", get(script))
        .route("/case/{case}/", get(now))
        .route("/case/{case}/files", files)
        .route("/case/{case}/waiting/{sha256}", get(waiting))
        .route("/case/{case}/waiting/{sha256}/keep", post(keep_one))
        .route("/case/{case}/waiting/{sha256}/put-away", post(put_away))
        .route("/case/{case}/keep-all", post(keep_all))
        .route("/case/{case}/put-away-all", post(put_all_away))
        .route("/case/{case}/session", get(session))
        .route("/case/{case}/report.html", get(report_file))
        .route("/case/{case}/stop", post(stop))
        .route("/case/{case}/read-on", post(read_on))
        .route("/case/{case}/stage", post(note_stage))
        .route("/case/{case}/seen", post(visit::note))
        .route("/case/{case}/diary", get(forms::days))
        .route("/case/{case}/diary-of", get(forms::diary_of))
        .route("/case/{case}/diary/{date}", get(forms::day).post(forms::write_day))
        .route("/case/{case}/review", get(review))
        .route("/case/{case}/review.html", get(review_file))
        .merge(plan_routes::router(app.is_patient))
        .fallback(async || Refusal::not_found("there is no such page"))
        .layer(DefaultBodyLimit::max(FORM_BYTES))
        .layer(middleware::from_fn_with_state(Arc::clone(&app), guard::guard))
        .with_state(app)
}

fn css(text: String) -> impl IntoResponse {
    ([(CONTENT_TYPE, "text/css; charset=utf-8")], text)
}

/// Goes on to another address after something was done.
pub(super) fn to(address: &str) -> Response {
    Redirect::to(address).into_response()
}

/// Goes back to a page of a case, which then says what was done.
pub(super) fn back(cached: &CachedCase, page: &str, done: &str) -> Response {
    let mark = if page.contains('?') { '&' } else { '?' };
    to(&format!("{}/{page}{mark}done={done}", root(cached)))
}

/// Runs what reads or writes files on a thread of its own.
pub(super) async fn run_blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Failure> + Send + 'static,
) -> Result<T, Refusal> {
    let done = tokio::task::spawn_blocking(work).await.map_err(|_| Refusal::bug())?;
    done.map_err(Refusal::from)
}

/// The same in the folder of a case: a failure names files by their names in it.
pub(super) async fn in_case<T: Send + 'static>(
    cached: &CachedCase,
    work: impl FnOnce(&std::path::Path) -> Result<T, Failure> + Send + 'static,
) -> Result<T, Refusal> {
    let folder = cached.folder.clone();
    run_blocking(move || work(&folder).map_err(|failure| failure.within(&folder))).await
}

pub(super) fn case_of<'a>(app: &'a App, name: &str) -> Result<&'a Arc<CachedCase>, Refusal> {
    app.case(name).ok_or_else(|| Refusal::not_found("there is no such case"))
}

#[derive(Deserialize)]
struct Opened {
    #[serde(default)]
    token: String,
}

async fn open(State(app): AppState, Query(opened): Query<Opened>) -> PageResult {
    if !app.access.knows(&opened.token) {
        return Err(Refusal::new(
            StatusCode::UNAUTHORIZED,
            "this link is of another start",
            "open the link that `jogaudit page` printed last",
        ));
    }
    Ok(([(SET_COOKIE, app.access.cookie(&opened.token))], Redirect::to("/")).into_response())
}

/// What may stand behind the address of a page.
#[derive(Default, Deserialize)]
pub(super) struct PageQuery {
    pub(super) done: Option<String>,
    pub(super) recording: Option<String>,
    pub(super) stage: Option<String>,
    pub(super) activity: Option<usize>,
    pub(super) date: Option<String>,
}

async fn start(State(app): AppState) -> PageResult {
    if !app.is_caseload {
        let cached = app.cases.first().ok_or_else(|| Refusal::not_found("there is no case"))?;
        return Ok(to(&format!("{}/", root(cached))));
    }
    let mut states = Vec::with_capacity(app.cases.len());
    let mut wait = READ_WAIT;
    for cached in &app.cases {
        let before = std::time::Instant::now();
        states.push(cached.read_within(wait).await);
        wait = wait.saturating_sub(before.elapsed());
    }
    let (table, again) = view_caseload::table(&app, &states);
    let frame = PageFrame { app: &app, cached: None, title: "Patients", done: None, again };
    Ok(frame.page(&table).into_response())
}

/// The case as it now is, or the page that shows how far its reading has come.
async fn read<'a>(
    app: &'a App,
    cached: &'a Arc<CachedCase>,
    title: &'a str,
) -> Result<Arc<Snapshot>, Response> {
    match cached.read_within(READ_WAIT).await {
        CaseState::Ready(snapshot) => Ok(snapshot),
        CaseState::Reading(progress) => {
            Err(layout::underway(&PageFrame::of(app, cached, title), &progress).into_response())
        }
        CaseState::Stopped => Err(layout::stopped(&PageFrame::of(app, cached, title)).into_response()),
    }
}

/// Stops the reading of a case.
async fn stop(State(app): AppState, Path(case): Path<String>) -> PageResult {
    let cached = case_of(&app, &case)?;
    cached.stop();
    Ok(to(&format!("{}/", root(cached))))
}

/// Reads a case whose reading was stopped.
async fn read_on(State(app): AppState, Path(case): Path<String>) -> PageResult {
    let cached = case_of(&app, &case)?;
    cached.read_on();
    Ok(to(&format!("{}/", root(cached))))
}

/// A case that could be read, and the frame of the page on it.
struct OpenCase<'a> {
    frame: PageFrame<'a>,
    snapshot: Arc<Snapshot>,
    found: Arc<Found>,
}

/// Opens a case for a page. `Err` is the answer to give instead: how far the reading has come, or why the case cannot be read.
async fn open_case<'a>(
    app: &'a App,
    cached: &'a Arc<CachedCase>,
    title: &'a str,
    done: Option<&'a str>,
) -> Result<OpenCase<'a>, Response> {
    let snapshot = read(app, cached, title).await?;
    let frame = PageFrame { done, ..PageFrame::of(app, cached, title) };
    match &snapshot.found {
        Ok(found) => Ok(OpenCase { frame, found: Arc::clone(found), snapshot }),
        Err(refusal) => Err(frame.page(&cannot(app, cached, refusal)).into_response()),
    }
}

/// Makes a page of what was found in a case; a case that cannot be read says why.
pub(super) async fn with_case(
    app: &App,
    case: &str,
    title: &str,
    done: Option<&str>,
    body: impl FnOnce(&CachedCase, &Found) -> Result<Markup, Refusal>,
) -> PageResult {
    let cached = case_of(app, case)?;
    match open_case(app, cached, title, done).await {
        Ok(opened) => Ok(opened.frame.page(&body(cached, &opened.found)?).into_response()),
        Err(instead) => Ok(instead),
    }
}

fn cannot(app: &App, cached: &CachedCase, refusal: &Refusal) -> Markup {
    html! {
        h1 { (isolated(&cached.name.label)) }
        (refusal.markup())
        @if !app.is_patient { p { a href={ (root(cached)) "/plan" } { "Write or fix the plan" } } }
    }
}

async fn now(State(app): AppState, Path(case): Path<String>, Query(asked): Query<PageQuery>) -> PageResult {
    with_case(&app, &case, "Now", asked.done.as_deref(), |cached, found| {
        let waiting = view_case::waiting_list(cached, &cached.waiting(), Some(found));
        Ok(view_case::now(cached, found, &waiting, app.uploads.max_file_bytes()))
    })
    .await
}

async fn take_files(State(app): AppState, Path(case): Path<String>, request: Request) -> PageResult {
    let cached = case_of(&app, &case)?;
    let taken = app.uploads.take(request).await?;
    let only = if let [file] = taken.as_slice() { Some(file.sha256.clone()) } else { None };
    let any = !taken.is_empty();
    taken.into_iter().for_each(|file| cached.put(file));
    Ok(match only {
        Some(sha256) => to(&format!("{}/waiting/{sha256}", root(cached))),
        None if any => to(&format!("{}/", root(cached))),
        None => back(cached, "", "nothing"),
    })
}

fn waiting_file(cached: &CachedCase, sha256: &str) -> Result<Arc<WaitingFile>, Refusal> {
    cached.waiting().into_iter().find(|file| file.sha256 == sha256).ok_or_else(|| {
        Refusal::new(
            StatusCode::NOT_FOUND,
            "this file does not wait here any more",
            "it was saved or discarded, or the page was started anew: choose it again",
        )
    })
}

/// What a report is made of.
struct ReportRequest {
    bytes: Source,
    name: String,
    activity: Option<usize>,
    plan: Plan,
    runner: Arc<[RunnerEvidence]>,
    stage: String,
}

enum Source {
    Waiting(Arc<WaitingFile>),
    File { case: std::path::PathBuf, path: std::path::PathBuf },
}

/// Makes a report, one at a time.
async fn check(app: &App, wanted: ReportRequest) -> Result<CheckReport, Refusal> {
    let _permit = app.one_at_a_time.acquire().await.map_err(|_| Refusal::bug())?;
    run_blocking(move || {
        let stage = files::stage(&wanted.plan, Some(&wanted.stage))?;
        match &wanted.bytes {
            Source::Waiting(file) => {
                report::check(&file.bytes, &wanted.name, wanted.activity, &wanted.plan, stage, &wanted.runner)
            }
            Source::File { case, path } => {
                let bytes = files::case_bytes(case, path, MAX_RECORDING_BYTES);
                let bytes = bytes.map_err(|failure| failure.within(case))?;
                report::check(&bytes, &wanted.name, wanted.activity, &wanted.plan, stage, &wanted.runner)
            }
        }
    })
    .await
}

/// A report under a bar, or the bar alone with the reason why there is no report.
fn under_bar(frame: &PageFrame<'_>, bar: &Markup, made: Result<Option<Markup>, Refusal>) -> Response {
    match made {
        Ok(Some(report)) => frame.report(bar, &report).into_response(),
        Ok(None) => frame.page(&html! { h1 { (isolated(frame.title)) } (bar) }).into_response(),
        Err(refusal) => {
            let body = html! { h1 { (isolated(frame.title)) } (refusal.markup()) (bar) };
            (refusal.status, frame.page(&body)).into_response()
        }
    }
}

async fn waiting(
    State(app): AppState,
    Path((case, sha256)): Path<(String, String)>,
    Query(asked): Query<PageQuery>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let file = waiting_file(cached, &sha256)?;
    let OpenCase { frame, snapshot, found } =
        match open_case(&app, cached, "A recording that waits", asked.done.as_deref()).await {
            Ok(opened) => opened,
            Err(instead) => return Ok(instead),
        };
    let is_it = |name: &str| name.split('#').next() == Some(file.file_name.as_str());
    let view = found.with_waiting.as_ref().unwrap_or(&found.review);
    let mut proposal = Proposal::of(view, &is_it, asked.stage.as_deref());
    if let Some(name) = snapshot.hashes.get(&sha256) {
        proposal.why = format!("The case has this recording already, as {name}. {}", proposal.why);
    }
    let config = jogaudit_core::pipeline::Config::default();
    let can_keep = file.read(&config).is_ok();
    let bar = view_case::waiting_bar(cached, &file, &found.plan, &proposal, can_keep);
    let made = match (file.read(&config), &proposal.stage) {
        (Err(why), _) => Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            &format!("“{}” can’t be read: {why}", file.shown),
            "export the session again as FIT, GPX or TCX and choose that file",
        )),
        (Ok(_), Some(stage)) if stage != "-" => {
            let bytes = Source::Waiting(Arc::clone(&file));
            check_within(&app, &found, bytes, (file.shown.clone(), asked.activity), stage).await.map(Some)
        }
        _ => Ok(view
            .sessions
            .iter()
            .find(|s| s.recordings.iter().any(|name| is_it(name)))
            .and_then(report::outing_body)),
    };
    Ok(under_bar(&frame, &bar, made))
}

/// The report on a recording, to stand within a page on its case: by the plan of the case, and by what its other recordings tell.
async fn check_within(
    app: &App,
    found: &Found,
    bytes: Source,
    (name, activity): (String, Option<usize>),
    stage: &str,
) -> Result<Markup, Refusal> {
    let wanted = ReportRequest {
        bytes,
        name,
        activity,
        plan: found.plan.clone(),
        runner: Arc::clone(&found.runner),
        stage: stage.to_owned(),
    };
    Ok(report::check_body(&check(app, wanted).await?))
}

#[derive(Deserialize)]
struct Keeping {
    stage: Option<String>,
}

async fn keep_one(
    State(app): AppState,
    Path((case, sha256)): Path<(String, String)>,
    Form(form): Form<Keeping>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let file = waiting_file(cached, &sha256)?;
    let stage = form.stage.filter(|stage| !stage.is_empty());
    let kept = keep_file(&app, cached, &file, stage).await?;
    let done = if kept.was_there { "duplicate" } else { "kept" };
    Ok(back(cached, &format!("session?recording={}", coded(&kept.name)), done))
}

/// Writes a file to the case. It is told only when it is on the disk.
async fn keep_file(
    app: &App,
    cached: &Arc<CachedCase>,
    file: &Arc<WaitingFile>,
    stage: Option<String>,
) -> Result<case_writer::Kept, Refusal> {
    let bytes = Arc::clone(file);
    let _permit = app.one_at_a_time.acquire().await.map_err(|_| Refusal::bug())?;
    let kept =
        in_case(cached, move |folder| case_writer::recording(folder, &bytes, stage.as_deref())).await?;
    cached.let_go(&file.sha256);
    cached.forget();
    Ok(kept)
}

async fn keep_all(State(app): AppState, Path(case): Path<String>) -> PageResult {
    let cached = case_of(&app, &case)?;
    for file in cached.waiting() {
        let can_keep = {
            let file = Arc::clone(&file);
            run_blocking(move || Ok(file.read(&jogaudit_core::pipeline::Config::default()).is_ok())).await?
        };
        if can_keep {
            keep_file(&app, cached, &file, None).await?;
        }
    }
    Ok(back(cached, "", "all"))
}

async fn put_away(State(app): AppState, Path((case, sha256)): Path<(String, String)>) -> PageResult {
    let cached = case_of(&app, &case)?;
    cached.let_go(&sha256);
    Ok(back(cached, "", "away"))
}

async fn put_all_away(State(app): AppState, Path(case): Path<String>) -> PageResult {
    let cached = case_of(&app, &case)?;
    cached.waiting().iter().for_each(|file| cached.let_go(&file.sha256));
    Ok(back(cached, "", "away"))
}

/// The file of a recording, by its name in the case: names are compared, never made into paths.
fn recording_path(snapshot: &Snapshot, recording: &str) -> Result<std::path::PathBuf, Refusal> {
    let file = recording.split('#').next().unwrap_or_default();
    let found = snapshot.files.iter().find(|(name, _)| name == recording || name == file);
    found.map(|(_, path)| path.clone()).ok_or_else(|| Refusal::not_found("there is no such recording"))
}

/// The activity that a recording's name stands for.
fn activity_of(recording: &str) -> Option<usize> {
    recording.split_once('#').and_then(|(_, number)| number.parse().ok())
}

async fn session(
    State(app): AppState,
    Path(case): Path<String>,
    Query(asked): Query<PageQuery>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let recording = asked.recording.unwrap_or_default();
    let OpenCase { frame, snapshot, found } =
        match open_case(&app, cached, "A recording of the case", asked.done.as_deref()).await {
            Ok(opened) => opened,
            Err(instead) => return Ok(instead),
        };
    let path = recording_path(&snapshot, &recording)?;
    let is_it = |name: &str| name == recording || name.split('#').next() == Some(recording.as_str());
    let proposal = Proposal::of(&found.review, &is_it, asked.stage.as_deref());
    let session =
        found.review.sessions.iter().enumerate().find(|(_, s)| s.recordings.iter().any(|name| is_it(name)));
    let bar = view_case::kept_bar(cached, &recording, &found.plan, &proposal, session);
    let made = match &proposal.stage {
        Some(stage) if stage != "-" => {
            let bytes = Source::File { case: cached.folder.clone(), path };
            let activity = asked.activity.or_else(|| activity_of(&recording));
            check_within(&app, &found, bytes, (recording.clone(), activity), stage).await.map(Some)
        }
        _ => Ok(session.and_then(|(_, session)| report::outing_body(session))),
    };
    Ok(under_bar(&frame, &bar, made))
}

/// A report as a file to send or print.
async fn report_file(
    State(app): AppState,
    Path(case): Path<String>,
    Query(asked): Query<PageQuery>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let recording = asked.recording.unwrap_or_default();
    let snapshot = ready(cached).await?;
    let found = snapshot.found.as_ref().map_err(Clone::clone)?;
    let wanted = ReportRequest {
        bytes: Source::File { case: cached.folder.clone(), path: recording_path(&snapshot, &recording)? },
        activity: activity_of(&recording),
        plan: found.plan.clone(),
        runner: Arc::clone(&found.runner),
        stage: asked.stage.unwrap_or_default(),
        name: recording,
    };
    Ok(attached("check.html", report::check_document(&check(&app, wanted).await?)))
}

/// The case as read, where what is asked for cannot wait on a page of its own.
pub(super) async fn ready(cached: &Arc<CachedCase>) -> Result<Arc<Snapshot>, Refusal> {
    match cached.read_within(Duration::from_secs(30)).await {
        CaseState::Ready(snapshot) => Ok(snapshot),
        CaseState::Reading(_) => Err(Refusal::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "the case is still being read",
            "try again in a minute",
        )),
        CaseState::Stopped => Err(Refusal::new(
            StatusCode::CONFLICT,
            "the reading of this case was stopped",
            "open the case and choose “Read it”",
        )),
    }
}

fn attached(name: &str, document: String) -> Response {
    ([(CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\""))], Html(document)).into_response()
}

#[derive(Deserialize)]
struct NotedStage {
    recording: String,
    #[serde(default)]
    stage: String,
}

async fn note_stage(
    State(app): AppState,
    Path(case): Path<String>,
    Form(form): Form<NotedStage>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let page = format!("session?recording={}", coded(&form.recording));
    let snapshot = ready(cached).await?;
    recording_path(&snapshot, &form.recording)?;
    let found = snapshot.found.as_ref().map_err(Clone::clone)?;
    if form.stage != "-" && found.plan.stage(&form.stage).is_none() {
        return Err(Refusal::not_found("the plan has no such stage"));
    }
    in_case(cached, move |folder| case_writer::stage(folder, &form.recording, &form.stage)).await?;
    cached.forget();
    Ok(back(cached, &page, "stage"))
}

async fn review(State(app): AppState, Path(case): Path<String>) -> PageResult {
    let cached = case_of(&app, &case)?;
    let snapshot = match read(&app, cached, "Review").await {
        Ok(snapshot) => snapshot,
        Err(underway) => return Ok(underway),
    };
    let frame = PageFrame::of(&app, cached, "Review");
    let bar = html! { p { a href={ (root(cached)) "/review.html" } { "Save this report as a file" } } };
    let root = root(cached);
    let address = |recording: &str| Some(format!("{root}/session?recording={}", coded(recording)));
    let made = snapshot.found.as_ref().map(|found| Some(report::review_body(&found.review, &address)));
    let made = made.map_err(Clone::clone);
    Ok(under_bar(&frame, &bar, made))
}

async fn review_file(State(app): AppState, Path(case): Path<String>) -> PageResult {
    let cached = case_of(&app, &case)?;
    let snapshot = ready(cached).await?;
    let found = snapshot.found.as_ref().map_err(Clone::clone)?;
    Ok(attached("review.html", report::review_document(&found.review)))
}
