//! A request about a case, and what all answers to it share.

use std::sync::Arc;

use maud::{Markup, html};

use jogaudit_case::Failure;
use jogaudit_report::isolated;

use super::found::{Found, Snapshot};
use super::layout::{self, PageFrame, root};
use super::refusal::Refusal;
use super::request::Request;
use super::response::Response;
use super::settings::Settings;
use super::store::{CaseState, CaseStore, HostedCase};

/// An answer, or why there is none.
pub(crate) type PageResult = Result<Response, Refusal>;

/// A request about a case, and what it stands on.
pub(crate) struct Desk<'a> {
    pub(crate) store: &'a mut dyn CaseStore,
    pub(crate) settings: Settings,
    pub(crate) case: HostedCase,
    pub(crate) request: Request,
}

/// A case that could be read.
pub(crate) struct OpenCase {
    pub(crate) snapshot: Arc<Snapshot>,
    pub(crate) found: Arc<Found>,
}

impl<'a> Desk<'a> {
    pub(crate) fn at(request: Request, store: &'a mut dyn CaseStore) -> Result<Self, Refusal> {
        let key = request.case().unwrap_or_default();
        let case = store.cases().into_iter().find(|case| case.name.key == key);
        let case = case.ok_or_else(|| Refusal::not_found("there is no such case"))?;
        Ok(Self { settings: store.settings().clone(), case, request, store })
    }

    /// The key of the case.
    pub(crate) fn key(&self) -> String {
        self.case.name.key.clone()
    }

    /// The frame of a page on the case.
    pub(crate) fn frame<'f>(&'f self, title: &'f str) -> PageFrame<'f> {
        PageFrame { settings: &self.settings, case: Some(&self.case.name), title, done: None, again: false }
    }

    /// The same that says what was done before.
    pub(crate) fn frame_after<'f>(&'f self, title: &'f str) -> PageFrame<'f> {
        PageFrame { done: self.request.asked("done"), ..self.frame(title) }
    }

    /// Goes back to a page of the case, which then says what was done.
    pub(crate) fn back(&self, page: &str, done: &str) -> Response {
        let mark = if page.contains('?') { '&' } else { '?' };
        Response::to(&format!("{}/{page}{mark}done={done}", root(&self.case.name)))
    }

    /// A failure as the page tells it: files by their names in the case.
    pub(crate) fn refusal(&self, failure: Failure) -> Refusal {
        Refusal::from(failure.within(&self.case.files.path("")))
    }

    /// Says that something was written to the case.
    pub(crate) fn forget(&mut self) {
        let key = self.key();
        self.store.forget(&key);
    }

    /// The case as it now is, or the page that shows how far its reading has come.
    pub(crate) fn read(&mut self, title: &str) -> Result<Arc<Snapshot>, Response> {
        let key = self.key();
        match self.store.state(&key) {
            CaseState::Ready(snapshot) => Ok(snapshot),
            CaseState::Reading { done, total } => {
                Err(Response::html(200, layout::underway(&self.frame(title), done, total)))
            }
            CaseState::Stopped => Err(Response::html(200, layout::stopped(&self.frame(title)))),
        }
    }

    /// Opens the case for a page. `Err` is the answer to give instead: how far the reading has come, or why the case cannot be
    /// read.
    pub(crate) fn open(&mut self, title: &str) -> Result<OpenCase, Response> {
        let snapshot = self.read(title)?;
        match &snapshot.found {
            Ok(found) => Ok(OpenCase { found: Arc::clone(found), snapshot }),
            Err(refusal) => Err(Response::html(200, self.frame_after(title).page(&self.cannot(refusal)))),
        }
    }

    /// Makes a page of what was found in the case; a case that cannot be read says why.
    pub(crate) fn with_case(
        &mut self,
        title: &str,
        body: impl FnOnce(&Self, &Found) -> Result<Markup, Refusal>,
    ) -> PageResult {
        match self.open(title) {
            Ok(OpenCase { found, .. }) => {
                let body = body(self, &found)?;
                Ok(Response::html(200, self.frame_after(title).page(&body)))
            }
            Err(instead) => Ok(instead),
        }
    }

    /// The case as read, where what is asked for cannot wait on a page of its own.
    pub(crate) fn ready(&mut self) -> Result<OpenCase, Refusal> {
        let key = self.key();
        match self.store.state(&key) {
            CaseState::Ready(snapshot) => {
                let found = Arc::clone(snapshot.found.as_ref().map_err(Clone::clone)?);
                Ok(OpenCase { snapshot, found })
            }
            CaseState::Reading { .. } => {
                Err(Refusal::new(503, "the case is still being read", "try again in a minute"))
            }
            CaseState::Stopped => Err(Refusal::new(
                409,
                "the reading of this case was stopped",
                "open the case and choose “Read it”",
            )),
        }
    }

    fn cannot(&self, refusal: &Refusal) -> Markup {
        html! {
            h1 { (isolated(&self.case.name.label)) }
            (refusal.markup())
            @if !self.settings.is_patient { p { a href={ (root(&self.case.name)) "/plan" } { "Write or fix the plan" } } }
        }
    }
}
