//! Limits of reading.

/// Limits of reading.
#[derive(Clone, Copy, Debug, serde::Serialize)]
pub struct ReadConfig {
    /// Most bytes that a zipped input may decompress to. Default 256 MiB, our choice.
    pub max_unzipped_bytes: u64,
}

impl Default for ReadConfig {
    fn default() -> Self {
        Self { max_unzipped_bytes: 256 << 20 }
    }
}

/// Activities of one file, our choice: a decade of exports in one archive stays below.
pub const MOST_ACTIVITIES: usize = 5_000;
/// Files of a FIT chain that are read, and sessions of each. Our choice: real ones have a handful.
pub const MOST_FIT_PARTS: usize = 1000;
