//! The readers as others use them: bytes in, recordings and notices out.

mod bad_input;
mod broken;
mod fit;
mod fit_bytes;
mod fit_developer;
mod zipped;
