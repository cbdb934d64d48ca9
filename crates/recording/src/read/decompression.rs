//! Bounds of decompression: how much may come out of zipped input, in all and for its size.

use std::io::{self, Read};

use super::{ReadConfig, ReadError, ReadErrorKind};

/// Most times its size that zipped input may decompress to. The recordings in the crates' archives reach 2 (FIT), 10 (GPX) and
/// 55 (TCX), a made-up TCX of ten hours without a move 90; deflate's own limit is 1032. Our choice.
const MOST_TIMES: u64 = 200;
/// What always may come out, whatever its ratio: it cannot hurt. Our choice.
const ALWAYS_BYTES: u64 = 8 << 20;

/// What may still come out of one input, through however many envelopes.
#[derive(Debug)]
pub(super) struct DecompressionBudget {
    /// Bytes in all, as configured.
    most: u64,
    /// Bytes in all for the input's size.
    most_by_ratio: u64,
    /// Bytes that have come out.
    used: u64,
}

impl DecompressionBudget {
    pub(super) fn new(zipped: &[u8], config: ReadConfig) -> Self {
        let most_by_ratio = (zipped.len() as u64).saturating_mul(MOST_TIMES).max(ALWAYS_BYTES);
        Self { most: config.max_unzipped_bytes, most_by_ratio, used: 0 }
    }

    /// Reads `from` to its end behind what is in `into`. The inner result is what ended it: bytes before damage are kept.
    pub(super) fn decompress(
        &mut self,
        from: impl Read,
        into: &mut Vec<u8>,
    ) -> Result<io::Result<()>, ReadError> {
        let bound = self.most.min(self.most_by_ratio);
        let before = into.len();
        // One byte more than allowed is enough to know that the limit is passed.
        let most = bound.saturating_add(1).saturating_sub(self.used);
        let outcome = from.take(most).read_to_end(into);
        self.used += (into.len() - before) as u64;
        if self.used <= bound {
            return Ok(outcome.map(|_| ()));
        }
        Err(ReadError::new(
            None,
            if self.most <= self.most_by_ratio {
                ReadErrorKind::TooLarge { limit_bytes: self.most }
            } else {
                ReadErrorKind::UnfoldsTooFar { limit_times: MOST_TIMES }
            },
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decompressed(
        zipped_bytes: usize,
        max_unzipped_bytes: u64,
        pieces: &[u64],
    ) -> Result<u64, ReadErrorKind> {
        let mut budget = DecompressionBudget::new(&vec![0; zipped_bytes], ReadConfig { max_unzipped_bytes });
        for piece in pieces {
            budget
                .decompress(io::repeat(7).take(*piece), &mut Vec::new())
                .map_err(|error| error.kind)?
                .unwrap();
        }
        Ok(budget.used)
    }

    #[test]
    fn the_limit_is_exact_and_over_all_pieces() {
        let too_large = Err(ReadErrorKind::TooLarge { limit_bytes: 1000 });
        assert_eq!(decompressed(1, 1000, &[1000]), Ok(1000));
        assert_eq!(decompressed(1, 1000, &[1001]), too_large);
        assert_eq!(decompressed(1, 1000, &[400, 600]), Ok(1000));
        assert_eq!(decompressed(1, 1000, &[400, 601]), too_large);
        assert_eq!(decompressed(1, 0, &[0]), Ok(0));
    }

    #[test]
    fn the_ratio_is_bounded_above_what_cannot_hurt() {
        let too_far = Err(ReadErrorKind::UnfoldsTooFar { limit_times: 200 });
        let size = 100_000;
        assert_eq!(decompressed(size, u64::MAX, &[20_000_000]), Ok(20_000_000));
        assert_eq!(decompressed(size, u64::MAX, &[20_000_001]), too_far);
        assert_eq!(decompressed(1, u64::MAX, &[8 << 20]), Ok(8 << 20));
        assert_eq!(decompressed(1, u64::MAX, &[(8 << 20) + 1]), too_far);
    }
}
