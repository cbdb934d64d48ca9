//! One FIT file of a chain: finds its end, decodes its messages one after another, and goes on behind damage.

use crate::read::draft::{self, Tally};
use crate::read::{GuessedGait, Sample};

use super::message::{
    self, BadDefinition, Definition, FitGuess, FitLap, FitSession, FitTime, Kind, PackedDistance,
    read_definition_size,
};
use super::wire::{self, Header, RecordHeader, read_record_header, uncompress_time};

/// A message behind damage is believed if its time is at most this much later than the last, s.
const RESYNC_MOST_LATER_S: u32 = 86_400;

/// What may still be spent on one file, so that none made to hurt costs more time or memory than its size explains.
pub(super) struct Budget {
    /// Bytes whose checksum may be taken.
    checksum_bytes: usize,
    /// Messages that may be walked over in search of a new start behind damage.
    resync_messages: u32,
    /// Samples that may be kept: a byte of FIT can make a sample of a hundred.
    samples: usize,
}

impl Budget {
    /// Most samples of one file: 12 days at one a second.
    pub(super) const MOST_SAMPLES: usize = 1 << 20;

    pub(super) fn new(file: &[u8]) -> Self {
        Self {
            checksum_bytes: file.len().saturating_mul(8),
            resync_messages: 1_000_000,
            samples: Self::MOST_SAMPLES,
        }
    }
}

/// What one part holds, in the file's own terms.
#[derive(Default)]
pub(super) struct Part {
    pub(super) file_type: Option<u8>,
    /// `times[i]` is the time of `samples[i]`.
    pub(super) times: Vec<FitTime>,
    pub(super) samples: Vec<Sample>,
    pub(super) laps: Vec<(FitLap, Option<FitTime>)>,
    pub(super) sessions: Vec<FitSession>,
    pub(super) timer: Vec<(FitTime, bool)>,
    /// Stretches that `split` messages take for a gait.
    pub(super) splits: Vec<FitGuess>,
    /// Stretches of records of one `activity_type`; of length 0 for one record alone.
    pub(super) activities: Vec<FitGuess>,
    /// From a `sport` message, which stands near the beginning.
    pub(super) sport: Option<(u8, Option<u8>)>,
    pub(super) utc_offset_s: Option<i32>,
    /// Absolute time less system time.
    pub(super) clock_correction_s: Option<u32>,
    pub(super) without_time: Tally,
    pub(super) odd_fields: Tally,
    /// Stretches that could not be decoded, and their bytes in all.
    pub(super) damage: Tally,
    pub(super) damaged_bytes: usize,
    /// Byte where reading stopped because there were too many samples.
    pub(super) too_many_at: Option<usize>,
    pub(super) ending: Ending,
}

impl Part {
    /// Lengthens the last stretch of records of one `activity_type`, or begins another.
    fn add_activity(&mut self, time: FitTime, now: Option<GuessedGait>, before: Option<GuessedGait>) {
        let Some(gait) = now else { return };
        match self.activities.last_mut().filter(|last| now == before && time >= last.start) {
            Some(last) => last.length_s = last.length_s.max(f64::from(time - last.start)),
            None => draft::push(&mut self.activities, FitGuess { start: time, length_s: 0.0, gait }),
        }
    }
}

/// How a part ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Ending {
    #[default]
    Whole,
    /// The checksum does not fit the content.
    ChecksumWrong,
    /// The header states a wrong size; the content was found anyhow.
    SizeWrong,
    /// The input ends before the part does; the byte where the last whole message ends.
    Cut(usize),
}

/// Where a part's messages end.
struct Extent {
    end: usize,
    ending: Ending,
    /// Where the next part may begin.
    next: usize,
}

/// Reads the part that begins at byte `start` of `file` and tells where the next may begin. `None` without a header.
pub(super) fn read_part(file: &[u8], start: usize, budget: &mut Budget) -> Option<(Part, usize)> {
    let header = wire::read_header(&mut file.get(start..)?)?;
    let extent = extent(file, start, header, budget);
    let data = file.get(..extent.end)?;
    let may_be_cut = matches!(extent.ending, Ending::SizeWrong | Ending::Cut(_));
    let mut decoder = Decoder::new(data, may_be_cut, budget);
    let stopped_at = decoder.run(start + header.size);
    let mut part = decoder.part;
    part.ending = match extent.ending {
        // The last two bytes are then a checksum, right or wrong.
        Ending::SizeWrong if stopped_at + 2 < extent.end => Ending::Cut(stopped_at),
        Ending::Cut(_) => Ending::Cut(stopped_at),
        ending => ending,
    };
    Some((part, extent.next))
}

/// The header's size is believed if what follows confirms it; else the end is looked for.
fn extent(file: &[u8], start: usize, header: Header, budget: &mut Budget) -> Extent {
    let from = start + header.size;
    let stated = from.saturating_add(header.data_size);
    let behind = stated.saturating_add(2);
    let mut is_sound = |end: usize| {
        let Some(left) = budget.checksum_bytes.checked_sub(end - start) else { return false };
        budget.checksum_bytes = left;
        stored_checksum(file, end).is_some_and(|stored| stored == checksum(file, start, end))
    };
    if behind <= file.len() {
        let sound = is_sound(stated);
        let is_followed = behind == file.len() || file.get(behind..).is_some_and(super::is_header);
        if sound || is_followed {
            let ending = if sound { Ending::Whole } else { Ending::ChecksumWrong };
            return Extent { end: stated, ending, next: behind };
        }
    }
    let next =
        (from..file.len()).find(|at| file.get(*at..).is_some_and(super::is_header)).unwrap_or(file.len());
    let before_checksum = next.saturating_sub(2).max(from);
    if is_sound(before_checksum) {
        return Extent { end: before_checksum, ending: Ending::SizeWrong, next };
    }
    if header.data_size == 0 || behind <= next {
        return Extent { end: next, ending: Ending::SizeWrong, next };
    }
    // Cut within the checksum or before it.
    Extent { end: stated.min(next), ending: Ending::Cut(next), next }
}

fn checksum(file: &[u8], start: usize, end: usize) -> u16 {
    wire::checksum(file.get(start..end).unwrap_or_default())
}

fn stored_checksum(file: &[u8], at: usize) -> Option<u16> {
    wire::read_u16(&mut file.get(at..)?, wire::Endian::Little)
}

/// Why decoding cannot go on at a byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stop {
    /// The message is longer than what is left.
    Short,
    /// No such message can stand here.
    Nonsense,
}

struct Decoder<'a, 'b> {
    /// The file up to the end of this part's messages.
    data: &'a [u8],
    /// Whether the data may end in the middle of a message.
    may_be_cut: bool,
    definitions: [Definition; 16],
    is_defined: [bool; 16],
    clock: Option<FitTime>,
    packed_distance: PackedDistance,
    /// The last record's `activity_type`.
    guessed: Option<GuessedGait>,
    budget: &'b mut Budget,
    part: Part,
}

impl<'a, 'b> Decoder<'a, 'b> {
    fn new(data: &'a [u8], may_be_cut: bool, budget: &'b mut Budget) -> Self {
        Self {
            data,
            may_be_cut,
            definitions: [const { Definition::empty() }; 16],
            is_defined: [false; 16],
            clock: None,
            packed_distance: PackedDistance::default(),
            guessed: None,
            budget,
            part: Part::default(),
        }
    }

    /// Decodes from byte `at` to the end and tells where the last message that could be decoded ends.
    fn run(&mut self, mut at: usize) -> usize {
        loop {
            let mut src = self.data.get(at..).unwrap_or_default();
            if src.is_empty() {
                return at;
            }
            if self.budget.samples == 0 {
                self.part.too_many_at = Some(at);
                return self.data.len();
            }
            match self.message(&mut src, at) {
                Ok(()) => at = self.data.len() - src.len(),
                Err(Stop::Short) if self.may_be_cut => return at,
                Err(Stop::Nonsense) if self.may_be_cut && self.data.len() - at <= 2 => return at,
                Err(_) => {
                    let found = self.resync(at + 1);
                    self.part.damage.add(at);
                    self.part.damaged_bytes += found.unwrap_or(self.data.len()) - at;
                    match found {
                        Some(found) => at = found,
                        None => return at,
                    }
                }
            }
        }
    }

    fn message(&mut self, src: &mut &[u8], at: usize) -> Result<(), Stop> {
        match read_record_header(src).ok_or(Stop::Short)? {
            RecordHeader::Definition { local, has_developer_fields } => {
                self.define(local, src, has_developer_fields, at)
            }
            RecordHeader::Data { local } => self.data_message(local, src, None, at),
            RecordHeader::CompressedTime { local, offset_s } => {
                let time = self.clock.map(|clock| uncompress_time(clock, offset_s));
                self.data_message(local, src, time, at)
            }
        }
    }

    fn define(
        &mut self,
        local: usize,
        src: &mut &[u8],
        has_developer_fields: bool,
        at: usize,
    ) -> Result<(), Stop> {
        let (Some(definition), Some(is_defined)) =
            (self.definitions.get_mut(local), self.is_defined.get_mut(local))
        else {
            return Err(Stop::Nonsense);
        };
        *is_defined = false;
        match definition.read(src, has_developer_fields) {
            Ok(all_fit) => {
                *is_defined = true;
                if !all_fit {
                    self.part.odd_fields.add(at);
                }
                Ok(())
            }
            Err(BadDefinition::Short) => Err(Stop::Short),
            Err(BadDefinition::Impossible) => Err(Stop::Nonsense),
        }
    }

    fn data_message(
        &mut self,
        local: usize,
        src: &mut &[u8],
        time: Option<FitTime>,
        at: usize,
    ) -> Result<(), Stop> {
        let definition = self.definitions.get(local).filter(|_| self.is_defined.get(local) == Some(&true));
        let definition = definition.ok_or(Stop::Nonsense)?;
        let (message, rest) = src.split_at_checked(definition.size).ok_or(Stop::Short)?;
        *src = rest;
        let time = definition.time(message).or(time);
        self.clock = time.or(self.clock);
        let part = &mut self.part;
        match definition.kind {
            Kind::Record => match time {
                Some(time) => {
                    self.budget.samples = self.budget.samples.saturating_sub(1);
                    let (sample, guessed) = message::record(definition, message, &mut self.packed_distance);
                    draft::push(&mut part.times, time);
                    draft::push(&mut part.samples, sample);
                    part.add_activity(time, guessed, self.guessed);
                    self.guessed = guessed;
                }
                None => part.without_time.add(at),
            },
            Kind::FileId => {
                let [file_type] = message::numbers(definition, message, [0]);
                part.file_type = part.file_type.or(file_type.map(|number| number as u8));
            }
            Kind::Sport => {
                let [sport, sub_sport] = message::numbers(definition, message, [0, 1]);
                part.sport = part.sport.or(sport.map(|sport| (sport as u8, sub_sport.map(|sub| sub as u8))));
            }
            Kind::Session => part.sessions.push(message::session(definition, message)),
            Kind::Lap => part.laps.push((message::lap(definition, message), time)),
            Kind::Event => {
                if let (Some(running), Some(time)) = (message::timer_event(definition, message), time) {
                    part.timer.push((time, running));
                }
            }
            Kind::Split => {
                if let Some(guess) = message::split(definition, message) {
                    draft::push(&mut part.splits, guess);
                }
            }
            Kind::Activity => {
                let [local] = message::numbers(definition, message, [5]);
                part.utc_offset_s =
                    part.utc_offset_s.or(local.zip(time).and_then(|(local, utc)| utc_offset_s(local, utc)));
            }
            Kind::TimeCorrelation => {
                let [system] = message::numbers(definition, message, [1]);
                part.clock_correction_s =
                    system.zip(time).and_then(|(system, time)| time.checked_sub(system));
            }
            Kind::Other => {}
        }
        Ok(())
    }

    /// Looks for the nearest byte from which whole messages reach exactly to the end (or to a cut).
    fn resync(&mut self, from: usize) -> Option<usize> {
        let mut candidates = from..self.data.len();
        candidates
            .find(|at| self.budget.resync_messages == 0 || self.is_start(*at))
            .filter(|_| self.budget.resync_messages > 0)
    }

    fn is_start(&mut self, at: usize) -> bool {
        let mut src = self.data.get(at..).unwrap_or_default();
        if !self.is_timely(src) {
            return false;
        }
        let mut sizes: [Option<usize>; 16] = std::array::from_fn(|local| {
            let definition =
                self.definitions.get(local).filter(|_| self.is_defined.get(local) == Some(&true));
            definition.map(|definition| definition.size)
        });
        let mut walked = 0;
        while !src.is_empty() {
            self.budget.resync_messages = self.budget.resync_messages.saturating_sub(1);
            match walk_message(&mut src, &mut sizes) {
                Ok(()) if self.budget.resync_messages > 0 => walked += 1,
                Err(Stop::Short) => return self.may_be_cut && walked > 1,
                _ => return false,
            }
        }
        walked > 0
    }

    /// Whether the message at the front, if it has a time, follows the last one closely enough.
    fn is_timely(&self, mut src: &[u8]) -> bool {
        let Some(RecordHeader::Data { local }) = read_record_header(&mut src) else { return true };
        let time = self.definitions.get(local).and_then(|definition| definition.time(src));
        match (self.clock, time) {
            (Some(clock), Some(time)) => time >= clock && time - clock <= RESYNC_MOST_LATER_S,
            _ => true,
        }
    }
}

/// Steps over one message without decoding it.
fn walk_message(src: &mut &[u8], sizes: &mut [Option<usize>; 16]) -> Result<(), Stop> {
    let local = match read_record_header(src).ok_or(Stop::Short)? {
        RecordHeader::Definition { local, has_developer_fields } => {
            let size = read_definition_size(src, has_developer_fields).map_err(|fault| match fault {
                BadDefinition::Short => Stop::Short,
                BadDefinition::Impossible => Stop::Nonsense,
            })?;
            *sizes.get_mut(local).ok_or(Stop::Nonsense)? = Some(size);
            return Ok(());
        }
        RecordHeader::Data { local } | RecordHeader::CompressedTime { local, .. } => local,
    };
    let size = sizes.get(local).copied().flatten().ok_or(Stop::Nonsense)?;
    *src = src.get(size..).ok_or(Stop::Short)?;
    Ok(())
}

/// Local less universal time, if it is a believable offset: at most 16 h, within a minute of a quarter of an hour.
fn utc_offset_s(local: FitTime, utc: FitTime) -> Option<i32> {
    let offset_s = i64::from(local) - i64::from(utc);
    let rounded_s = (offset_s + 450).div_euclid(900) * 900;
    ((offset_s - rounded_s).abs() <= 60 && rounded_s.abs() <= 16 * 3600).then_some(rounded_s as i32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn offsets_are_quarters_of_an_hour() {
        assert_eq!(utc_offset_s(1_000_003_600, 1_000_000_000), Some(3600));
        assert_eq!(utc_offset_s(1_000_003_598, 1_000_000_000), Some(3600));
        assert_eq!(utc_offset_s(999_980_200, 1_000_000_000), Some(-19_800));
        assert_eq!(utc_offset_s(1_000_000_300, 1_000_000_000), None);
        assert_eq!(utc_offset_s(0, 1_000_000_000), None);
    }
}
