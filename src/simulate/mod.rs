//! Seeded made-up recordings with their true bouts.
