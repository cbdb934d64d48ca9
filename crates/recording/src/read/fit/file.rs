//! One FIT file of a chain: finds its end, decodes its messages one after another, and goes on behind damage.

use crate::read::builder::{RawSample, push};
use crate::read::recording::GuessedGait;
use crate::read::tally::Tally;
use crate::read::time::Micros;
use crate::units::StridesPerMinute;
use crate::workout::{MOST_UNROLLED, Workout};

use super::message::{
    self, BadDefinition, Definition, FitGuess, FitLap, FitSession, FitTime, MessageKind, PackedDistance,
    micros, read_definition_size,
};
use super::profile;
use super::wire::{self, Header, RecordHeader, read_record_header, uncompress_time};

/// A message behind damage is believed if its time is at most this much later than the last, s: a day. Our choice.
const RESYNC_MOST_LATER_S: u32 = 86_400;
/// Local message types of the format: four bits.
const LOCAL_TYPES: usize = 16;
/// A file ends with a checksum of two bytes.
const CHECKSUM_BYTES: usize = 2;

/// What may still be spent on one input, so that none made to hurt costs more time or memory than its size explains.
pub(super) struct DecodeBudget {
    /// Bytes whose checksum may be taken.
    checksum_bytes: usize,
    /// Messages that may be passed over in search of a new start behind damage.
    resync_messages: u32,
    /// Samples that may be kept: a byte of FIT can make a sample of a hundred.
    samples: usize,
    /// Steps of workouts that may be kept.
    workout_steps: usize,
}

impl DecodeBudget {
    /// Most samples of one file: 12 days at one a second. Our choice.
    pub(super) const MOST_SAMPLES: usize = 1 << 20;
    /// How often the checksum of every byte may be taken: sound files need it once. Our choice.
    const CHECKSUMS_A_BYTE: usize = 8;
    /// Messages that may be stepped over in search of a new start. Our choice.
    const RESYNC_MESSAGES: u32 = 1_000_000;

    pub(super) fn new(chain: &[u8]) -> Self {
        Self {
            checksum_bytes: chain.len().saturating_mul(Self::CHECKSUMS_A_BYTE),
            resync_messages: Self::RESYNC_MESSAGES,
            samples: Self::MOST_SAMPLES,
            workout_steps: MOST_UNROLLED,
        }
    }
}

/// What one FIT file of a chain holds; times may still count from when the recorder was turned on.
#[derive(Default)]
pub(super) struct FitFile {
    pub(super) file_type: Option<u8>,
    pub(super) samples: Vec<RawSample<StridesPerMinute>>,
    pub(super) laps: Vec<FitLap>,
    pub(super) sessions: Vec<FitSession>,
    /// The first that it holds.
    pub(super) workout: Option<Workout>,
    /// How many it holds.
    workouts: usize,
    pub(super) timer: Vec<(Micros, bool)>,
    /// Stretches that `split` messages take for a gait.
    pub(super) splits: Vec<FitGuess>,
    /// Stretches of records of one `activity_type`; of length 0 for one record alone.
    pub(super) activity_types: Vec<FitGuess>,
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

impl FitFile {
    /// Lengthens the last stretch of records of one `activity_type`, or begins another.
    fn add_activity_type(&mut self, time: Micros, now: Option<GuessedGait>, before: Option<GuessedGait>) {
        let Some(gait) = now else { return };
        match self.activity_types.last_mut().filter(|last| now == before && time >= last.start) {
            Some(last) => last.length = last.length.max(time - last.start),
            None => push(&mut self.activity_types, FitGuess { start: time, length: 0, gait }),
        }
    }
}

impl FitFile {
    /// Takes a `workout` message, or a `workout_step` to its place; what has none, or stands behind a second workout, is left out.
    fn add_workout(&mut self, definition: &Definition, message: &[u8], left: &mut usize) {
        if definition.kind == MessageKind::Workout {
            self.workouts += 1;
            if self.workouts == 1 {
                let [field] = profile::WORKOUT_FIELDS;
                self.workout.get_or_insert_default().name = definition.text(message, field);
            }
        } else if let Some(less) = left.checked_sub(1) {
            *left = less;
            let (index, step) = message::workout_step(definition, message);
            let steps = &mut self.workout.get_or_insert_default().steps;
            if self.workouts <= 1 && index.is_none_or(|index| index as usize == steps.len()) {
                steps.push(step);
            }
        }
    }
}

/// How a file ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Ending {
    #[default]
    Whole,
    /// The checksum does not fit the content.
    ChecksumWrong,
    /// The header states a wrong size; the content was found anyhow.
    SizeWrong,
    /// The input ends before the file does; the byte where the last whole message ends.
    Cut(usize),
}

/// Sizes in the header of a file that was not finished: nothing was written there yet.
const UNFILLED_SIZES: [usize; 2] = [0, u32::MAX as usize];
/// Memory that was never written to.
const EMPTY_BYTES: [u8; 2] = [0, 0xFF];

/// Where a file's messages end.
struct Extent {
    end: usize,
    ending: Ending,
    /// Where the next file may begin.
    next: usize,
}

/// Reads the FIT file that begins at byte `start` of `chain` and tells where the next may begin. `None` without a header.
pub(super) fn read_fit_file(
    chain: &[u8],
    start: usize,
    budget: &mut DecodeBudget,
) -> Option<(FitFile, usize)> {
    let header = wire::read_header(&mut chain.get(start..)?)?;
    let extent = extent(chain, start, header, budget);
    let data = chain.get(..extent.end)?;
    let may_be_cut = matches!(extent.ending, Ending::SizeWrong | Ending::Cut(_));
    let mut decoder = Decoder::new(data, may_be_cut, budget);
    let stopped_at = decoder.run(start + header.size);
    let mut found = decoder.found;
    found.ending = match extent.ending {
        // The last bytes are then a checksum, right or wrong.
        Ending::SizeWrong if !is_behind_all(data.get(stopped_at..)) => Ending::Cut(stopped_at),
        Ending::Cut(_) => Ending::Cut(stopped_at),
        ending => ending,
    };
    Some((found, extent.next))
}

/// Whether what is left behind the last whole message is no message: a checksum, and room that was set aside and never filled.
fn is_behind_all(rest: Option<&[u8]>) -> bool {
    let room = rest.and_then(|rest| rest.get(CHECKSUM_BYTES..)).unwrap_or_default();
    EMPTY_BYTES.iter().any(|empty| room.iter().all(|byte| byte == empty))
}

/// The header's size is believed if what follows confirms it; else the end is looked for.
fn extent(chain: &[u8], start: usize, header: Header, budget: &mut DecodeBudget) -> Extent {
    let from = start + header.size;
    let stated = from.saturating_add(header.data_size);
    let behind = stated.saturating_add(CHECKSUM_BYTES);
    let mut is_sound = |end: usize| {
        let Some(left) = budget.checksum_bytes.checked_sub(end - start) else { return false };
        budget.checksum_bytes = left;
        stored_checksum(chain, end).is_some_and(|stored| stored == checksum(chain, start, end))
    };
    if behind <= chain.len() {
        let sound = is_sound(stated);
        let is_followed = behind == chain.len() || chain.get(behind..).is_some_and(wire::is_header);
        if sound || is_followed {
            let ending = if sound { Ending::Whole } else { Ending::ChecksumWrong };
            return Extent { end: stated, ending, next: behind };
        }
    }
    let next =
        (from..chain.len()).find(|at| chain.get(*at..).is_some_and(wire::is_header)).unwrap_or(chain.len());
    let before_checksum = next.saturating_sub(CHECKSUM_BYTES).max(from);
    if is_sound(before_checksum) {
        return Extent { end: before_checksum, ending: Ending::SizeWrong, next };
    }
    if UNFILLED_SIZES.contains(&header.data_size) || behind <= next {
        return Extent { end: next, ending: Ending::SizeWrong, next };
    }
    // Cut within the checksum or before it.
    Extent { end: stated.min(next), ending: Ending::Cut(next), next }
}

fn checksum(chain: &[u8], start: usize, end: usize) -> u16 {
    wire::checksum(chain.get(start..end).unwrap_or_default())
}

fn stored_checksum(chain: &[u8], at: usize) -> Option<u16> {
    wire::read_u16(&mut chain.get(at..)?, wire::Endian::Little)
}

/// Why decoding cannot go on at a byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum DecodeFault {
    /// The message is longer than what is left.
    Short,
    /// No such message can stand here.
    Nonsense,
}

struct Decoder<'a, 'b> {
    /// The file up to the end of this file's messages.
    data: &'a [u8],
    /// Whether the data may end in the middle of a message.
    may_be_cut: bool,
    definitions: [Definition; LOCAL_TYPES],
    is_defined: [bool; LOCAL_TYPES],
    clock: Option<FitTime>,
    packed_distance: PackedDistance,
    /// By which index definitions name our own developer fields.
    ours: Option<u8>,
    /// The last record's `activity_type`.
    guessed: Option<GuessedGait>,
    budget: &'b mut DecodeBudget,
    found: FitFile,
}

impl<'a, 'b> Decoder<'a, 'b> {
    fn new(data: &'a [u8], may_be_cut: bool, budget: &'b mut DecodeBudget) -> Self {
        Self {
            data,
            may_be_cut,
            definitions: [const { Definition::empty() }; LOCAL_TYPES],
            is_defined: [false; LOCAL_TYPES],
            clock: None,
            packed_distance: PackedDistance::default(),
            ours: None,
            guessed: None,
            budget,
            found: FitFile::default(),
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
                self.found.too_many_at = Some(at);
                return self.data.len();
            }
            match self.message(&mut src, at) {
                Ok(()) => at = self.data.len() - src.len(),
                Err(DecodeFault::Short) if self.may_be_cut => return at,
                Err(DecodeFault::Nonsense) if self.may_be_cut && is_behind_all(self.data.get(at..)) => {
                    return at;
                }
                Err(_) => {
                    let found = self.resync(at + 1);
                    self.found.damage.add(at);
                    self.found.damaged_bytes += found.unwrap_or(self.data.len()) - at;
                    match found {
                        Some(found) => at = found,
                        None => return at,
                    }
                }
            }
        }
    }

    fn message(&mut self, src: &mut &[u8], at: usize) -> Result<(), DecodeFault> {
        match read_record_header(src).ok_or(DecodeFault::Short)? {
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
    ) -> Result<(), DecodeFault> {
        let (Some(definition), Some(is_defined)) =
            (self.definitions.get_mut(local), self.is_defined.get_mut(local))
        else {
            return Err(DecodeFault::Nonsense);
        };
        *is_defined = false;
        match definition.read(src, has_developer_fields, self.ours) {
            Ok(all_fit) => {
                *is_defined = true;
                if !all_fit {
                    self.found.odd_fields.add(at);
                }
                Ok(())
            }
            Err(BadDefinition::Short) => Err(DecodeFault::Short),
            Err(BadDefinition::Impossible) => Err(DecodeFault::Nonsense),
        }
    }

    fn data_message(
        &mut self,
        local: usize,
        src: &mut &[u8],
        time: Option<FitTime>,
        at: usize,
    ) -> Result<(), DecodeFault> {
        let definition = self.definitions.get(local).filter(|_| self.is_defined.get(local) == Some(&true));
        let definition = definition.ok_or(DecodeFault::Nonsense)?;
        let (message, rest) = src.split_at_checked(definition.size).ok_or(DecodeFault::Short)?;
        *src = rest;
        let time = definition.time(message).or(time);
        self.clock = time.or(self.clock);
        let found = &mut self.found;
        match definition.kind {
            MessageKind::Record => match time {
                Some(time) => {
                    self.budget.samples = self.budget.samples.saturating_sub(1);
                    let (values, guessed) = message::record(definition, message, &mut self.packed_distance);
                    let time = micros(time);
                    push(&mut found.samples, RawSample { time, values });
                    found.add_activity_type(time, guessed, self.guessed);
                    self.guessed = guessed;
                }
                None => found.without_time.add(at),
            },
            MessageKind::FileId => {
                let [file_type] = message::numbers(definition, message, profile::FILE_ID_FIELDS);
                found.file_type = found.file_type.or(file_type.map(|number| number as u8));
            }
            MessageKind::Sport => {
                let [sport, sub_sport] = message::numbers(definition, message, profile::SPORT_FIELDS);
                found.sport =
                    found.sport.or(sport.map(|sport| (sport as u8, sub_sport.map(|sub| sub as u8))));
            }
            MessageKind::Session => found.sessions.push(message::session(definition, message)),
            MessageKind::Lap => found.laps.push(message::lap(definition, message, time)),
            MessageKind::Event => {
                if let (Some(running), Some(time)) = (message::timer_event(definition, message), time) {
                    found.timer.push((micros(time), running));
                }
            }
            MessageKind::DeveloperDataId => {
                self.ours = message::our_developer_index(definition, message).or(self.ours);
            }
            MessageKind::Split => {
                if let Some(guess) = message::split(definition, message) {
                    push(&mut found.splits, guess);
                }
            }
            MessageKind::Workout | MessageKind::WorkoutStep => {
                found.add_workout(definition, message, &mut self.budget.workout_steps);
            }
            MessageKind::Activity => {
                let [local] = message::numbers(definition, message, profile::ACTIVITY_FIELDS);
                found.utc_offset_s =
                    found.utc_offset_s.or(local.zip(time).and_then(|(local, utc)| utc_offset_s(local, utc)));
            }
            MessageKind::TimestampCorrelation => {
                let [system] = message::numbers(definition, message, profile::TIMESTAMP_CORRELATION_FIELDS);
                found.clock_correction_s =
                    system.zip(time).and_then(|(system, time)| time.checked_sub(system));
            }
            MessageKind::Other => {}
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
        let mut sizes: [Option<usize>; LOCAL_TYPES] = std::array::from_fn(|local| {
            let definition =
                self.definitions.get(local).filter(|_| self.is_defined.get(local) == Some(&true));
            definition.map(|definition| definition.size)
        });
        let mut passed = 0;
        while !src.is_empty() {
            self.budget.resync_messages = self.budget.resync_messages.saturating_sub(1);
            match step_over_message(&mut src, &mut sizes) {
                Ok(()) if self.budget.resync_messages > 0 => passed += 1,
                Err(DecodeFault::Short) => return self.may_be_cut && passed > 1,
                _ => return false,
            }
        }
        passed > 0
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
fn step_over_message(src: &mut &[u8], sizes: &mut [Option<usize>; LOCAL_TYPES]) -> Result<(), DecodeFault> {
    let local = match read_record_header(src).ok_or(DecodeFault::Short)? {
        RecordHeader::Definition { local, has_developer_fields } => {
            let size = read_definition_size(src, has_developer_fields).map_err(|fault| match fault {
                BadDefinition::Short => DecodeFault::Short,
                BadDefinition::Impossible => DecodeFault::Nonsense,
            })?;
            *sizes.get_mut(local).ok_or(DecodeFault::Nonsense)? = Some(size);
            return Ok(());
        }
        RecordHeader::Data { local } | RecordHeader::CompressedTime { local, .. } => local,
    };
    let size = sizes.get(local).copied().flatten().ok_or(DecodeFault::Nonsense)?;
    *src = src.get(size..).ok_or(DecodeFault::Short)?;
    Ok(())
}

/// Local less universal time, if it is a believable offset: near a quarter of an hour, as all time zones are, and no larger
/// than they get.
fn utc_offset_s(local: FitTime, utc: FitTime) -> Option<i32> {
    const QUARTER_HOUR_S: i64 = 900;
    /// Time zones reach from −12 h to +14 h; the rest is our choice.
    const MOST_S: i64 = 16 * 3600;
    /// Both times are written a moment apart. Our choice.
    const SLACK_S: i64 = 60;
    let offset_s = i64::from(local) - i64::from(utc);
    let rounded_s = (offset_s + QUARTER_HOUR_S / 2).div_euclid(QUARTER_HOUR_S) * QUARTER_HOUR_S;
    let is_believable = (offset_s - rounded_s).abs() <= SLACK_S && rounded_s.abs() <= MOST_S;
    is_believable.then_some(rounded_s as i32)
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
