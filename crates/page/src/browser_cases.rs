//! Cases that the browser keeps: begun, opened from a zip, saved as one, taken away.

use std::path::Path;

use maud::{Markup, html};

use jogaudit_case::{CaseFiles, Failure, cases_in, from_zip, recording_name};
use jogaudit_report::isolated;

use super::day_form::one_line;
use super::desk::{Desk, PageResult};
use super::layout::{coded, root};
use super::refusal::Refusal;
use super::request::{Content, Request};
use super::response::Response;
use super::settings::{Keeper, Settings};
use super::store::{CaseState, CaseStore, HostedCase};
use super::view_caseload;
use super::waiting::base;

/// Letters of a case's name, our choice.
const MOST_NAME: usize = 60;

/// The first page, where the browser keeps the cases; gives whether some are still being read.
pub(super) fn start(
    settings: &Settings,
    cases: &[HostedCase],
    states: &[CaseState],
) -> Option<(Markup, bool)> {
    if settings.keeper != Keeper::Browser {
        return None;
    }
    let (table, again) = view_caseload::table(settings, cases, states);
    let page = html! {
        @if cases.is_empty() {
            h1 { "Was it as prescribed?" }
            p {
                "Begin a case, or open one that was sent to you. Then add the recordings of your watch. This page works out when you ran "
                "and when you walked, and says where you did more than your plan asks for."
            }
            p.quiet {
                "It judges recordings, not bodies. With pain, swelling, a limp or pain at night, stop and see a health professional."
            }
        } @else {
            (table)
        }
        (forms())
        (kept_here(cases))
    };
    Some((page, again))
}

fn forms() -> Markup {
    html! {
        section {
            h2 { "Begin a case" }
            form.row method="post" action="/new" {
                label for="name" { "Name" }
                input #name type="text" name="name" dir="auto" required maxlength=(MOST_NAME);
                button { "Begin" }
            }
        }
        section {
            h2 { "Open a case that was sent to you" }
            form.row method="post" action="/open-zip" enctype="multipart/form-data" {
                label for="zip" { "One or more cases, each as a zip" }
                input #zip type="file" name="files" accept=".zip,application/zip" multiple required;
                button { "Open" }
            }
            form.row method="post" action="/open-zip" enctype="multipart/form-data" {
                label for="folder" { "Or a folder of cases, as it stands now" }
                input #folder type="file" name="files" webkitdirectory multiple required;
                button { "Open" }
            }
        }
    }
}

/// What is kept, how to take it along, how to take it away.
fn kept_here(cases: &[HostedCase]) -> Markup {
    html! {
        section {
            h2 { "What is kept, and where" }
            p {
                "Plan, diary and recordings stay in this browser on this device. Nothing is sent anywhere. Whoever uses this browser "
                "can see them, and clearing the browser’s data removes them: save a copy of each case as a zip now and then."
            }
            @for case in cases {
                @let root = root(&case.name);
                details {
                    summary { (isolated(&case.name.label)) }
                    p { a href={ (root) "/case.zip" } { "Save the whole case as a zip" } }
                    form.row method="post" action={ (root) "/remove" } {
                        label for={ "sure-" (coded(&case.name.key)) } { "To take the case off this device, type its name" }
                        input id={ "sure-" (coded(&case.name.key)) } type="text" name="sure" autocomplete="off" required;
                        button { "Take it off" }
                    }
                }
            }
            p.quiet { "jogaudit " (env!("CARGO_PKG_VERSION")) }
        }
    }
}

/// Begins a case, whose plan is then to be written.
pub(super) fn begin(request: &Request, store: &mut dyn CaseStore) -> PageResult {
    let name = request.field("name").map(one_line).unwrap_or_default();
    if name.is_empty() {
        return Err(Refusal::new(422, "the case has no name", "go back and write one"));
    }
    let key = store.add(&short(&name), Vec::new()).ok_or_else(not_here)?;
    Ok(Response::to(&format!("/case/{}/plan", coded(&key))))
}

/// Opens cases that were sent as zips.
pub(super) fn open_zip(request: Request, store: &mut dyn CaseStore) -> PageResult {
    let Content::Whole(zips) = request.content else { return Err(not_here()) };
    let mut cases = Vec::new();
    // A folder that was chosen comes as its files, each by its path.
    if zips.iter().any(|(name, _)| name.contains('/')) {
        cases = cases_in(zips)?;
    } else {
        for (name, bytes) in &zips {
            let base = base(name);
            let stem = base.strip_suffix(".zip").or_else(|| base.strip_suffix(".ZIP")).unwrap_or(base);
            cases.push((stem.to_owned(), unpacked(base, bytes)?));
        }
    }
    let mut keys = Vec::new();
    for (name, files) in cases {
        keys.push(store.add(&named(&name), files).ok_or_else(not_here)?);
    }
    Ok(match keys.as_slice() {
        [only] => Response::to(&format!("/case/{}/", coded(only))),
        [] => Response::to("/?done=nothing"),
        _ => Response::to("/?done=opened"),
    })
}

/// The files of a case that was sent as a zip.
fn unpacked(name: &str, bytes: &[u8]) -> Result<Vec<(String, Vec<u8>)>, Failure> {
    let case = from_zip(bytes, Path::new(name))?;
    let recordings = case.recordings(&mut Vec::new())?;
    let names = case.top()?.into_iter().chain(recordings.iter().map(|name| recording_name(name)));
    Ok(names.filter_map(|name| case.content(&name).map(|bytes| (name, bytes.to_vec()))).collect())
}

/// Takes the case away, if its name was typed.
pub(super) fn remove(desk: &mut Desk<'_>) -> PageResult {
    if desk.settings.keeper != Keeper::Browser {
        return Err(not_here());
    }
    let typed = desk.request.field("sure").map(one_line).unwrap_or_default();
    if typed != one_line(&desk.case.name.key) && typed != desk.case.name.label {
        return Err(Refusal::new(
            422,
            "that is not the name of the case, so it stays",
            "go back and type its name",
        ));
    }
    let key = desk.key();
    desk.store.remove(&key);
    Ok(Response::to("/?done=removed"))
}

fn not_here() -> Refusal {
    Refusal::new(
        404,
        "cases are kept in folders here",
        "make a folder with plan.toml, diary.csv and recordings/",
    )
}

/// The name of a case that came without one that was typed.
fn named(name: &str) -> String {
    let name = one_line(name);
    if name.is_empty() { "case".to_owned() } else { short(&name) }
}

fn short(name: &str) -> String {
    name.chars().take(MOST_NAME).collect()
}
