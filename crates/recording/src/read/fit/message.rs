//! FIT definitions and the messages that are used, as typed values in SI units.
//!
//! A definition is boiled down, when it is read, to where the used fields lie; a data message is then decoded without a
//! look at the others. Field numbers, scales and offsets are the published profile's.

use crate::read::{GuessedGait, LapIntensity, LapTrigger, Sample, draft};
use crate::units::{StepsPerMinute, StridesPerMinute};

use super::wire::{BaseType, Endian, read_bytes, read_u8, read_u16, read_value};

/// Seconds from 1989-12-31T00:00:00Z, FIT's epoch; below `0x1000_0000` it counts from when the recorder was turned on.
pub(super) type FitTime = u32;

/// Field number of every message's time.
const TIMESTAMP: u8 = 253;

/// Kind of a message that is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    FileId,
    Sport,
    Session,
    Lap,
    Record,
    Event,
    Activity,
    TimeCorrelation,
    Split,
    Other,
}

impl Kind {
    fn from_global(number: u16) -> Self {
        match number {
            0 => Self::FileId,
            12 => Self::Sport,
            18 => Self::Session,
            19 => Self::Lap,
            20 => Self::Record,
            21 => Self::Event,
            34 => Self::Activity,
            162 => Self::TimeCorrelation,
            312 => Self::Split,
            _ => Self::Other,
        }
    }

    /// The fields that are used, beside the time.
    const fn wanted(self) -> &'static [u8] {
        match self {
            Self::FileId => &[0],
            Self::Sport | Self::Event => &[0, 1],
            Self::Session => &[2, 5, 6],
            Self::Lap => &[2, 7, 23, 24, 25, 71],
            Self::Record => &[0, 1, 2, 3, 4, 5, 6, 8, 42, 52, 53, 73, 78],
            Self::Activity => &[5],
            Self::TimeCorrelation => &[1],
            Self::Split => &[0, 1, 9, 27],
            Self::Other => &[],
        }
    }
}

/// Where a used field lies in a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Field {
    number: u8,
    base: BaseType,
    start: u16,
    size: u8,
}

/// A definition, boiled down to what is used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Definition {
    pub(super) kind: Kind,
    endian: Endian,
    fields: Vec<Field>,
    /// Bytes of each message behind its record header.
    pub(super) size: usize,
}

/// Why a definition could not be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum BadDefinition {
    Short,
    Impossible,
}

impl Definition {
    pub(super) const fn empty() -> Self {
        Self { kind: Kind::Other, endian: Endian::Little, fields: Vec::new(), size: 0 }
    }

    /// Reads a definition behind its record header into `self`, reusing its memory. Returns whether every used field's
    /// size fits its type; one that does not is skipped.
    pub(super) fn read(
        &mut self,
        src: &mut &[u8],
        has_developer_fields: bool,
    ) -> Result<bool, BadDefinition> {
        let mut from = *src;
        let prefix = read_prefix(&mut from)?;
        self.kind = prefix.kind;
        self.endian = prefix.endian;
        self.size = 0;
        self.fields.clear();
        let mut all_fit = true;
        for _ in 0..prefix.field_count {
            let [number, size, base] = read_bytes(&mut from).ok_or(BadDefinition::Short)?;
            if number == TIMESTAMP || prefix.kind.wanted().contains(&number) {
                match BaseType::from_number(base)
                    .filter(|base| size > 0 && usize::from(size) % base.size() == 0)
                {
                    Some(base) => self.fields.push(Field { number, base, start: self.size as u16, size }),
                    None => all_fit = false,
                }
            }
            self.size += usize::from(size);
        }
        self.size += read_developer_size(&mut from, has_developer_fields)?;
        *src = from;
        Ok(all_fit)
    }

    /// Values of the used fields of one message, in the order of the definition.
    fn values<'a>(&'a self, message: &'a [u8]) -> impl Iterator<Item = (u8, f64)> + 'a {
        self.fields.iter().filter_map(move |field| {
            let mut src = message.get(usize::from(field.start)..)?;
            Some((field.number, read_value(&mut src, field.base, self.endian)?))
        })
    }

    /// Time of a message, if it has one.
    pub(super) fn time(&self, message: &[u8]) -> Option<FitTime> {
        let field = self.fields.iter().find(|field| field.number == TIMESTAMP)?;
        let mut src = message.get(usize::from(field.start)..)?;
        read_value(&mut src, field.base, self.endian).map(|time| time as FitTime)
    }

    /// Bytes of a field of three, of messages that pack speed and distance together.
    fn packed(&self, message: &[u8], number: u8) -> Option<[u8; 3]> {
        let field = self.fields.iter().find(|field| field.number == number && field.size == 3)?;
        let mut src = message.get(usize::from(field.start)..)?;
        read_bytes(&mut src).filter(|bytes| *bytes != [0xFF; 3])
    }
}

/// Size of a definition's messages, for walking without decoding.
pub(super) fn read_definition_size(
    src: &mut &[u8],
    has_developer_fields: bool,
) -> Result<usize, BadDefinition> {
    let mut from = *src;
    let prefix = read_prefix(&mut from)?;
    let mut size = 0;
    for _ in 0..prefix.field_count {
        let [_number, field_size, base] = read_bytes(&mut from).ok_or(BadDefinition::Short)?;
        if BaseType::from_number(base).is_none() {
            return Err(BadDefinition::Impossible);
        }
        size += usize::from(field_size);
    }
    size += read_developer_size(&mut from, has_developer_fields)?;
    *src = from;
    Ok(size)
}

struct Prefix {
    kind: Kind,
    endian: Endian,
    field_count: u8,
}

fn read_prefix(src: &mut &[u8]) -> Result<Prefix, BadDefinition> {
    let [_reserved, architecture] = read_bytes(src).ok_or(BadDefinition::Short)?;
    let endian = match architecture {
        0 => Endian::Little,
        1 => Endian::Big,
        _ => return Err(BadDefinition::Impossible),
    };
    let global = read_u16(src, endian).ok_or(BadDefinition::Short)?;
    let field_count = read_u8(src).ok_or(BadDefinition::Short)?;
    Ok(Prefix { kind: Kind::from_global(global), endian, field_count })
}

/// Developer fields say their own size and are skipped.
fn read_developer_size(src: &mut &[u8], has_developer_fields: bool) -> Result<usize, BadDefinition> {
    let mut size = 0;
    if has_developer_fields {
        for _ in 0..read_u8(src).ok_or(BadDefinition::Short)? {
            let [_number, field_size, _developer] = read_bytes(src).ok_or(BadDefinition::Short)?;
            size += usize::from(field_size);
        }
    }
    Ok(size)
}

/// Degrees a semicircle: 180 / 2³¹, exact.
const DEG_PER_SEMICIRCLE: f64 = 180.0 / 2_147_483_648.0;

/// Decodes a `record` message but for its time: the sample, and what its `activity_type` takes the wearer to be doing.
/// `packed_distance` carries the distance of packed fields on.
pub(super) fn record(
    definition: &Definition,
    message: &[u8],
    packed_distance: &mut PackedDistance,
) -> (Sample, Option<GuessedGait>) {
    let (mut sample, mut guessed) = (Sample::default(), None);
    let (mut lat, mut lon, mut cadence, mut fraction) = (None, None, None, 0.0);
    let (mut enhanced_speed, mut enhanced_altitude, mut fine_cadence) = (None, None, None);
    for (number, value) in definition.values(message) {
        match number {
            0 => lat = Some(value * DEG_PER_SEMICIRCLE),
            1 => lon = Some(value * DEG_PER_SEMICIRCLE),
            2 => sample.altitude = draft::metres(value / 5.0 - 500.0),
            3 => sample.heart_rate = draft::heart_rate(value),
            4 => cadence = Some(value),
            5 => sample.distance = draft::metres(value / 100.0),
            6 => sample.speed = draft::speed(value / 1000.0),
            42 => guessed = activity_type(value as u8),
            52 => fine_cadence = Some(value / 256.0),
            53 => fraction = value / 128.0,
            73 => enhanced_speed = draft::speed(value / 1000.0),
            78 => enhanced_altitude = draft::metres(value / 5.0 - 500.0),
            _ => {}
        }
    }
    if let Some(bytes) = definition.packed(message, 8) {
        let (speed_mps, distance_m) = packed_distance.add(bytes);
        sample.speed = sample.speed.or(draft::speed(speed_mps));
        sample.distance = sample.distance.or(draft::metres(distance_m));
    }
    sample.position = lat.zip(lon).and_then(|(lat_deg, lon_deg)| draft::position(lat_deg, lon_deg));
    sample.speed = enhanced_speed.or(sample.speed);
    sample.altitude = enhanced_altitude.or(sample.altitude);
    sample.cadence =
        cadence.map(|whole| whole + fraction).or(fine_cadence).and_then(draft::cadence).map(to_steps);
    (sample, guessed)
}

/// Profile enum `activity_type`: running 1, walking 6, sedentary 8.
fn activity_type(number: u8) -> Option<GuessedGait> {
    match number {
        1 => Some(GuessedGait::Run),
        6 => Some(GuessedGait::Walk),
        8 => Some(GuessedGait::Stand),
        _ => None,
    }
}

/// FIT counts one leg on foot.
fn to_steps(strides_per_min: f64) -> StepsPerMinute {
    StridesPerMinute::new(strides_per_min).to_steps()
}

/// Distance of packed fields: 12 bits that roll over, in 1/16 m.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct PackedDistance {
    sixteenths: u64,
}

impl PackedDistance {
    /// Takes 12 bits of speed (1/100 m/s) and 12 bits of distance; gives speed in m/s and the distance so far in m.
    fn add(&mut self, [low, middle, high]: [u8; 3]) -> (f64, f64) {
        let speed = u16::from(low) | u16::from(middle & 0x0F) << 8;
        let counter = u64::from(middle >> 4) | u64::from(high) << 4;
        self.sixteenths += counter.wrapping_sub(self.sixteenths) & 0x0FFF;
        (f64::from(speed) / 100.0, self.sixteenths as f64 / 16.0)
    }
}

/// A `lap` message.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct FitLap {
    pub(super) start: Option<FitTime>,
    pub(super) elapsed_s: Option<f64>,
    pub(super) trigger: LapTrigger,
    pub(super) intensity: LapIntensity,
    pub(super) sport: Option<u8>,
}

pub(super) fn lap(definition: &Definition, message: &[u8]) -> FitLap {
    let mut lap = FitLap {
        start: None,
        elapsed_s: None,
        trigger: LapTrigger::Other,
        intensity: LapIntensity::Unknown,
        sport: None,
    };
    for (number, value) in definition.values(message) {
        match number {
            2 => lap.start = Some(value as FitTime),
            7 => lap.elapsed_s = draft::length(value / 1000.0),
            23 => lap.intensity = intensity(value as u8),
            24 if lap.trigger != LapTrigger::Step => lap.trigger = trigger(value as u8),
            25 => lap.sport = Some(value as u8),
            // Index of the workout's step; whatever ended it (time, distance, the button), it was a step's end.
            71 => lap.trigger = LapTrigger::Step,
            _ => {}
        }
    }
    lap
}

/// Profile enum `intensity`; 4 (recovery) and 5 (interval) are of its newer versions.
fn intensity(number: u8) -> LapIntensity {
    match number {
        0 | 5 => LapIntensity::Active,
        1 | 4 => LapIntensity::Rest,
        2 => LapIntensity::WarmUp,
        3 => LapIntensity::CoolDown,
        _ => LapIntensity::Unknown,
    }
}

/// Profile enum `lap_trigger`.
fn trigger(number: u8) -> LapTrigger {
    match number {
        0 => LapTrigger::Manual,
        1 => LapTrigger::Time,
        2 => LapTrigger::Distance,
        _ => LapTrigger::Other,
    }
}

/// A stretch that the recorder itself took for running, walking or standing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct FitGuess {
    pub(super) start: FitTime,
    pub(super) length_s: f64,
    pub(super) gait: GuessedGait,
}

/// Decodes a `split` message: 0 `split_type`, 1 `total_elapsed_time` in ms, 9 `start_time`, 27 `end_time` (profile 21.202,
/// as in the crate `fitparser` 0.11). `None` when it is about something else than the gait, or has no length.
pub(super) fn split(definition: &Definition, message: &[u8]) -> Option<FitGuess> {
    let (mut gait, mut start, mut end, mut elapsed_s) = (None, None, None, None);
    for (number, value) in definition.values(message) {
        match number {
            0 => gait = split_type(value as u8),
            1 => elapsed_s = draft::length(value / 1000.0),
            9 => start = Some(value as FitTime),
            27 => end = Some(value as FitTime),
            _ => {}
        }
    }
    let start = start?;
    let up_to_end_s = end.and_then(|end: FitTime| end.checked_sub(start)).map(f64::from);
    let length_s = up_to_end_s.or(elapsed_s).filter(|length_s| *length_s > 0.0)?;
    Some(FitGuess { start, length_s, gait: gait? })
}

/// Profile enum `split_type`: run 17, walk 18, stand 22 of recorders that tell them apart. Its other values say what a
/// stretch was meant for.
fn split_type(number: u8) -> Option<GuessedGait> {
    match number {
        17 => Some(GuessedGait::Run),
        18 => Some(GuessedGait::Walk),
        22 => Some(GuessedGait::Stand),
        _ => None,
    }
}

/// A `session` message.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct FitSession {
    pub(super) start: Option<FitTime>,
    pub(super) sport: Option<u8>,
    pub(super) sub_sport: Option<u8>,
}

pub(super) fn session(definition: &Definition, message: &[u8]) -> FitSession {
    let mut session = FitSession::default();
    for (number, value) in definition.values(message) {
        match number {
            2 => session.start = Some(value as FitTime),
            5 => session.sport = Some(value as u8),
            6 => session.sub_sport = Some(value as u8),
            _ => {}
        }
    }
    session
}

/// Decodes an `event` message: `Some(true)` when the timer started, `Some(false)` when it stopped.
pub(super) fn timer_event(definition: &Definition, message: &[u8]) -> Option<bool> {
    let [event, event_type] = numbers(definition, message, [0, 1]);
    // Profile enums: event timer 0; event_type start 0, stop 1, stop_all 4, stop_disable 8, stop_disable_all 9.
    match (event?, event_type?) {
        (0, 0) => Some(true),
        (0, 1 | 4 | 8 | 9) => Some(false),
        _ => None,
    }
}

/// Picks fields of a message as whole numbers.
pub(super) fn numbers<const N: usize>(
    definition: &Definition,
    message: &[u8],
    fields: [u8; N],
) -> [Option<u32>; N] {
    fields.map(|wanted| {
        definition.values(message).find(|(number, _)| *number == wanted).map(|(_, value)| value as u32)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn packed_speed_and_distance_roll_over() {
        let mut distance = PackedDistance::default();
        // 2.50 m/s = 250 = 0x0FA; 10.0 m = 160 = 0x0A0; then the counter 0x010 after a roll-over: 0x1010 / 16 = 257 m.
        assert_eq!(distance.add([0xFA, 0x00, 0x0A]), (2.5, 10.0));
        assert_eq!(distance.add([0xFA, 0x00, 0x01]), (2.5, 257.0));
    }

    #[test]
    fn a_field_that_does_not_fit_its_type_is_skipped() {
        let mut definition = Definition::empty();
        // record: timestamp as uint32 in 4 bytes, speed as uint16 in 3 bytes, heart rate as uint8.
        let mut src: &[u8] = &[0, 0, 20, 0, 3, 253, 4, 0x86, 6, 3, 0x84, 3, 1, 2];
        assert_eq!(definition.read(&mut src, false), Ok(false));
        assert_eq!(definition.size, 8);
        let message = [1, 0, 0, 0x20, 9, 9, 9, 120];
        assert_eq!(definition.time(&message), Some(0x2000_0001));
        let (sample, _) = record(&definition, &message, &mut PackedDistance::default());
        assert_eq!(sample.heart_rate.unwrap().get(), 120.0);
        assert_eq!(sample.speed, None);
    }
}
