//! What a request needs of its host before it is handled.

use super::request::{Method, Request};

/// What a request needs of its host before it is handled.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Needs {
    /// Cases are to be read.
    pub cases: Cases,
    /// The answer has no page on which it could wait for them.
    pub cannot_wait: bool,
    /// It works on a whole recording: one at a time.
    pub alone: bool,
    /// It looks a plan over: one at a time.
    pub looks_over: Option<LookOver>,
}

/// Cases that are to be read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Cases {
    /// None.
    #[default]
    None,
    /// The one in the address.
    One,
    /// All.
    All,
}

/// How a plan is looked over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LookOver {
    /// In its turn.
    InTurn,
    /// As one types: only the newest text counts.
    AsTyped,
}

/// What a request needs of its host before it is handled.
pub fn needs(request: &Request) -> Needs {
    let path = request.path();
    let is_post = request.method == Method::Post;
    let of_case = match path.as_slice() {
        ["case", _, rest @ ..] => rest,
        [""] => return Needs { cases: Cases::All, ..Needs::default() },
        _ => return Needs::default(),
    };
    let one = Needs { cases: Cases::One, ..Needs::default() };
    match of_case {
        ["" | "diary", ..] | ["review"] => one,
        ["session" | "waiting", ..] if !is_post => Needs { alone: true, ..one },
        ["waiting", _, "keep"] | ["keep-all" | "case.zip" | "shared.zip"] => {
            Needs { alone: true, ..Needs::default() }
        }
        ["report.html"] => Needs { alone: true, cannot_wait: true, ..one },
        ["review.html" | "stage" | "seen"] => Needs { cannot_wait: true, ..one },
        ["plan", "lint"] => Needs { looks_over: Some(LookOver::AsTyped), ..Needs::default() },
        ["plan", ..] => Needs { looks_over: Some(LookOver::InTurn), ..one },
        _ => Needs::default(),
    }
}
