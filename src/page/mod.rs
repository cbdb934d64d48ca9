//! The local web page, on loopback.
