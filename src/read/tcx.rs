//! tcx
