//! Audit and bouts → bytes. All rounding and wording happens once.
