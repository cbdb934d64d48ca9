//! Reports as others use them: views and pages of hand-made recordings, printed plans.

#[path = "../../../../tests/support/documents_made_up.rs"]
mod documents_made_up;
#[path = "../../../../tests/support/hand_made.rs"]
mod hand_made;
mod html;
#[path = "../../../../tests/support/html_page.rs"]
mod html_page;
mod json;
mod plan_draft;
mod plan_examples;
mod situations;
