//! A panic is a bug of ours: said as such, with what a report of it needs.

use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::{Arc, Mutex, PoisonError};

use jogaudit_case::Failure;

/// Runs a command; a panic becomes a failure that names the place. The usual printing of panics is put aside
/// meanwhile.
pub(super) fn caught<T>(command: impl FnOnce() -> Result<T, Failure>) -> Result<T, Failure> {
    let place = Arc::new(Mutex::new(None));
    let usual = take_hook();
    let noted = Arc::clone(&place);
    set_hook(Box::new(move |info| {
        let payload = info.payload();
        let literal = payload.downcast_ref::<&str>().copied();
        let message =
            literal.or_else(|| payload.downcast_ref::<String>().map(String::as_str)).unwrap_or("no message");
        let at = info.location().map(|at| format!(" ({}:{})", at.file(), at.line())).unwrap_or_default();
        *noted.lock().unwrap_or_else(PoisonError::into_inner) = Some(format!("{message}{at}"));
    }));
    let result = catch_unwind(AssertUnwindSafe(command));
    set_hook(usual);
    result.unwrap_or_else(|_| {
        let what = place.lock().unwrap_or_else(PoisonError::into_inner).take();
        Err(Failure::internal(&what.unwrap_or_else(|| "no message".to_owned())))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_is_said_to_be_our_bug() {
        let failure = caught::<()>(|| panic!("index {} is out of range", 7)).unwrap_err();
        assert_eq!(failure.exit_code(), 70);
        let said = failure.to_string();
        assert!(
            said.starts_with("error: jogaudit has a bug: index 7 is out of range (src/cli/panics.rs:"),
            "{said}"
        );
        assert!(said.contains("please report it"));
    }

    #[test]
    fn what_does_not_panic_passes_through() {
        assert_eq!(caught(|| Ok(5)).unwrap(), 5);
        assert_eq!(caught::<()>(|| Err(Failure::refused("x"))).unwrap_err().exit_code(), 2);
    }
}
