//! Folders of recordings → one table, for research.
