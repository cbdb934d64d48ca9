//! FIT definitions and the messages that are used, as typed values in SI units.
//!
//! A definition is boiled down, when it is read, to where the used fields lie; a data message is then decoded without a
//! look at the others. Numbers are those of [`super::profile`].

use crate::geodesy::LatLon;
use crate::read::bounds;
use crate::read::builder::RawValues;
use crate::read::lap::{LapIntensity, LapTrigger};
use crate::read::recording::GuessedGait;
use crate::read::time::{MICROS_PER_S, Micros};
use crate::units::{BeatsPerMinute, Metres, MetresPerSecond, Seconds, StridesPerMinute};
use crate::workout::{StepEnd, StepTarget, WorkoutStep};

use super::profile;
use super::wire::{BaseType, Endian, read_bytes, read_u8, read_u16, read_value};

/// Whose developer fields of a FIT file are ours: what stands in its `developer_data_id` message.
pub const APPLICATION_ID: [u8; 16] = *b"jogaudit-share-1";

/// Seconds from 1989-12-31T00:00:00Z, FIT's epoch; below `0x1000_0000` it counts from when the recorder was turned on.
pub(super) type FitTime = u32;

/// FIT's epoch, 1989-12-31T00:00:00Z, in seconds from 1970.
const EPOCH_S: i64 = 631_065_600;

/// A file's own time → microseconds from 1970.
pub(super) const fn micros(time: FitTime) -> Micros {
    (time as i64 + EPOCH_S) * MICROS_PER_S
}

/// A length that is a believable one → microseconds.
fn micros_long(length_s: f64) -> Micros {
    (length_s * MICROS_PER_S as f64).round() as Micros
}

/// Kind of a message that is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum MessageKind {
    FileId,
    Sport,
    Session,
    Lap,
    Record,
    Event,
    Activity,
    TimestampCorrelation,
    DeveloperDataId,
    Split,
    Workout,
    WorkoutStep,
    Other,
}

impl MessageKind {
    fn from_global(number: u16) -> Self {
        match number {
            profile::message::FILE_ID => Self::FileId,
            profile::message::SPORT => Self::Sport,
            profile::message::SESSION => Self::Session,
            profile::message::LAP => Self::Lap,
            profile::message::RECORD => Self::Record,
            profile::message::EVENT => Self::Event,
            profile::message::ACTIVITY => Self::Activity,
            profile::message::TIMESTAMP_CORRELATION => Self::TimestampCorrelation,
            profile::message::DEVELOPER_DATA_ID => Self::DeveloperDataId,
            profile::message::SPLIT => Self::Split,
            profile::message::WORKOUT => Self::Workout,
            profile::message::WORKOUT_STEP => Self::WorkoutStep,
            _ => Self::Other,
        }
    }

    /// The fields that are used, beside the time.
    const fn used_fields(self) -> &'static [u8] {
        match self {
            Self::FileId => &profile::FILE_ID_FIELDS,
            Self::Sport => &profile::SPORT_FIELDS,
            Self::Event => &profile::EVENT_FIELDS,
            Self::Session => profile::session::USED,
            Self::Lap => profile::lap::USED,
            Self::Record => profile::record::USED,
            Self::Activity => &profile::ACTIVITY_FIELDS,
            Self::TimestampCorrelation => &profile::TIMESTAMP_CORRELATION_FIELDS,
            Self::DeveloperDataId => profile::developer_data_id::USED,
            Self::Split => profile::split::USED,
            Self::Workout => &profile::WORKOUT_FIELDS,
            Self::WorkoutStep => profile::workout_step::USED,
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
    pub(super) kind: MessageKind,
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
        Self { kind: MessageKind::Other, endian: Endian::Little, fields: Vec::new(), size: 0 }
    }

    /// Reads a definition behind its record header into `self`, reusing its memory. Returns whether every used field's
    /// size fits its type; one that does not is skipped. `ours` is the index of our own developer fields.
    pub(super) fn read(
        &mut self,
        src: &mut &[u8],
        has_developer_fields: bool,
        ours: Option<u8>,
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
            if number == profile::TIMESTAMP || prefix.kind.used_fields().contains(&number) {
                match BaseType::from_number(base)
                    .filter(|base| size > 0 && usize::from(size) % base.size() == 0)
                {
                    Some(base) => self.fields.push(Field { number, base, start: self.size as u16, size }),
                    None => all_fit = false,
                }
            }
            self.size += usize::from(size);
        }
        let fields = &mut self.fields;
        let behind = self.size;
        self.size +=
            read_developer_fields(&mut from, has_developer_fields, |number, developer, start, size| {
                let base = BaseType::U16;
                let is_ours = prefix.kind == MessageKind::Record
                    && (Some(developer), number, usize::from(size))
                        == (ours, profile::SPEED_BY_POSITIONS, base.size());
                if is_ours {
                    let start = (behind + start) as u16;
                    fields.push(Field { number: profile::AS_RECORD_FIELD, base, start, size });
                }
            })?;
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
        let field = self.fields.iter().find(|field| field.number == profile::TIMESTAMP)?;
        let mut src = message.get(usize::from(field.start)..)?;
        read_value(&mut src, field.base, self.endian).map(|time| time as FitTime)
    }

    /// Text of a field, up to the zero behind it; empty without one.
    pub(super) fn text(&self, message: &[u8], number: u8) -> String {
        let field = self.fields.iter().find(|field| field.number == number && field.base == BaseType::Text);
        let bytes = field.and_then(|field| {
            message
                .get(usize::from(field.start)..)?
                .get(..usize::from(field.size))?
                .split(|byte| *byte == 0)
                .next()
        });
        String::from_utf8_lossy(bytes.unwrap_or_default()).into_owned()
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
    size += read_developer_fields(&mut from, has_developer_fields, |_, _, _, _| {})?;
    *src = from;
    Ok(size)
}

struct Prefix {
    kind: MessageKind,
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
    Ok(Prefix { kind: MessageKind::from_global(global), endian, field_count })
}

/// Steps over developer fields, which say their own size, and hands each to `field`: its number, whose it is, where it begins
/// behind the others, its size. Gives the size of all.
fn read_developer_fields(
    src: &mut &[u8],
    has_developer_fields: bool,
    mut field: impl FnMut(u8, u8, usize, u8),
) -> Result<usize, BadDefinition> {
    let mut size = 0;
    if has_developer_fields {
        for _ in 0..read_u8(src).ok_or(BadDefinition::Short)? {
            let [number, field_size, developer] = read_bytes(src).ok_or(BadDefinition::Short)?;
            field(number, developer, size, field_size);
            size += usize::from(field_size);
        }
    }
    Ok(size)
}

/// Decodes a `developer_data_id` message: the index, if the fields are those that this project writes.
pub(super) fn our_developer_index(definition: &Definition, message: &[u8]) -> Option<u8> {
    use profile::developer_data_id as field;
    let id = definition.fields.iter().find(|found| found.number == field::APPLICATION_ID)?;
    let is_ours = message.get(usize::from(id.start)..)?.starts_with(&APPLICATION_ID)
        && usize::from(id.size) == APPLICATION_ID.len();
    let [index] = numbers(definition, message, [field::DEVELOPER_DATA_INDEX]);
    index.filter(|_| is_ours).map(|index| index as u8)
}

/// Decodes a `record` message but for its time: its values, and what its `activity_type` takes the wearer to be doing.
/// `packed_distance` carries the distance of packed fields on. On foot, FIT counts one leg.
pub(super) fn record(
    definition: &Definition,
    message: &[u8],
    packed_distance: &mut PackedDistance,
) -> (RawValues<StridesPerMinute>, Option<GuessedGait>) {
    use profile::record as field;
    let altitude = |value: f64| bounds::metres(value / profile::ALTITUDE_PER_M - profile::ALTITUDE_OFFSET_M);
    let speed = |value: f64| bounds::speed(value / profile::SPEED_PER_MPS);
    let (mut values, mut guessed) = (RawValues::default(), None);
    let (mut lat, mut lon, mut cadence, mut fraction) = (None, None, None, 0.0);
    let (mut enhanced_speed, mut enhanced_altitude, mut fine_cadence) = (None, None, None);
    for (number, value) in definition.values(message) {
        match number {
            field::POSITION_LAT => lat = Some(value * profile::DEG_PER_SEMICIRCLE),
            field::POSITION_LONG => lon = Some(value * profile::DEG_PER_SEMICIRCLE),
            field::ALTITUDE => values.altitude = altitude(value),
            field::HEART_RATE => values.heart_rate = bounds::heart_rate(value),
            field::CADENCE => cadence = Some(value),
            field::DISTANCE => values.distance = bounds::metres(value / profile::DISTANCE_PER_M),
            field::SPEED => values.speed = speed(value),
            field::ACTIVITY_TYPE => guessed = activity_type(value as u8),
            field::CADENCE256 => fine_cadence = Some(value / profile::CADENCE256_PER_SPM),
            field::FRACTIONAL_CADENCE => fraction = value / profile::FRACTIONAL_CADENCE_PER_SPM,
            field::ENHANCED_SPEED => enhanced_speed = speed(value),
            field::ENHANCED_ALTITUDE => enhanced_altitude = altitude(value),
            profile::AS_RECORD_FIELD => values.speed_by_positions = speed(value),
            _ => {}
        }
    }
    if let Some(bytes) = definition.packed(message, field::COMPRESSED_SPEED_DISTANCE) {
        let (speed_mps, distance_m) = packed_distance.add(bytes);
        values.speed = values.speed.or(bounds::speed(speed_mps));
        values.distance = values.distance.or(bounds::metres(distance_m));
    }
    values.position = lat.zip(lon).and_then(|(lat_deg, lon_deg)| LatLon::new(lat_deg, lon_deg));
    values.speed = enhanced_speed.or(values.speed);
    values.altitude = enhanced_altitude.or(values.altitude);
    let cadence = cadence.map(|whole| whole + fraction).or(fine_cadence);
    values.cadence = cadence.and_then(bounds::cadence).map(StridesPerMinute::new);
    (values, guessed)
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

/// Distance of packed fields: 12 bits that roll over.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct PackedDistance {
    counted: u64,
}

impl PackedDistance {
    /// Takes 12 bits of speed and 12 bits of distance; gives speed in m/s and the distance so far in m.
    fn add(&mut self, [low, middle, high]: [u8; 3]) -> (f64, f64) {
        let speed = u16::from(low) | u16::from(middle & 0x0F) << 8;
        let counter = u64::from(middle >> 4) | u64::from(high) << 4;
        self.counted += counter.wrapping_sub(self.counted) & 0x0FFF;
        (
            f64::from(speed) / profile::COMPRESSED_SPEED_PER_MPS,
            self.counted as f64 / profile::COMPRESSED_DISTANCE_PER_M,
        )
    }
}

/// A `lap` message.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct FitLap {
    pub(super) start: Option<Micros>,
    pub(super) elapsed: Option<Micros>,
    /// When the message was written.
    pub(super) written: Option<Micros>,
    pub(super) trigger: LapTrigger,
    pub(super) intensity: LapIntensity,
    pub(super) sport: Option<u8>,
    /// Which step of a workout it was.
    pub(super) step: Option<u16>,
}

pub(super) fn lap(definition: &Definition, message: &[u8], written: Option<FitTime>) -> FitLap {
    use profile::lap as field;
    let mut lap = FitLap {
        start: None,
        elapsed: None,
        written: written.map(micros),
        trigger: LapTrigger::Other,
        intensity: LapIntensity::Unknown,
        sport: None,
        step: None,
    };
    for (number, value) in definition.values(message) {
        match number {
            field::START_TIME => lap.start = Some(micros(value as FitTime)),
            field::TOTAL_ELAPSED_TIME => lap.elapsed = elapsed(value),
            field::INTENSITY => lap.intensity = intensity(value as u8),
            field::LAP_TRIGGER if lap.trigger != LapTrigger::Step => lap.trigger = trigger(value as u8),
            field::SPORT => lap.sport = Some(value as u8),
            // Index of the workout's step; whatever ended it (time, distance, the button), it was a step's end.
            field::WKT_STEP_INDEX => {
                (lap.trigger, lap.step) = (LapTrigger::Step, Some(value as u16));
            }
            _ => {}
        }
    }
    lap
}

fn elapsed(value: f64) -> Option<Micros> {
    bounds::duration_s(value / profile::ELAPSED_PER_S).map(micros_long)
}

/// Decodes a `workout_step` message: its index and what it asks for.
pub(super) fn workout_step(definition: &Definition, message: &[u8]) -> (Option<u32>, WorkoutStep) {
    use profile::workout_step as field;
    let [index, duration, value, again, intensity] = numbers(
        definition,
        message,
        [
            field::MESSAGE_INDEX,
            field::DURATION_TYPE,
            field::DURATION_VALUE,
            field::TARGET_VALUE,
            field::INTENSITY,
        ],
    );
    let first = numbers(definition, message, [field::TARGET_TYPE, field::TARGET_LOW, field::TARGET_HIGH]);
    let second = [field::SECOND_TARGET_TYPE, field::SECOND_TARGET_LOW, field::SECOND_TARGET_HIGH];
    let step = WorkoutStep {
        name: definition.text(message, field::NAME),
        notes: definition.text(message, field::NOTES),
        intensity: intensity.map_or(LapIntensity::Unknown, |number| self::intensity(number as u8)),
        end: step_end(duration, value, again),
        targets: [target(first), target(numbers(definition, message, second))],
    };
    (index, step)
}

/// Profile enum `wkt_step_duration`.
fn step_end(duration: Option<u32>, value: Option<u32>, again: Option<u32>) -> StepEnd {
    let seconds = |value: u32| Seconds::new(f64::from(value) / profile::ELAPSED_PER_S);
    let metres = |value: u32| Metres::new(f64::from(value) / profile::DISTANCE_PER_M);
    match (duration, value, again) {
        (Some(0), Some(value), _) => StepEnd::Time(seconds(value)),
        (Some(1), Some(value), _) => StepEnd::Distance(metres(value)),
        (Some(5), _, _) => StepEnd::Open,
        (Some(6), Some(first), Some(times)) => StepEnd::Repeat { first: first as usize, times },
        (Some(7), Some(first), Some(time)) => {
            StepEnd::RepeatForTime { first: first as usize, time: seconds(time) }
        }
        (Some(8), Some(first), Some(distance)) => {
            StepEnd::RepeatForDistance { first: first as usize, distance: metres(distance) }
        }
        _ => StepEnd::Other,
    }
}

/// Profile enum `wkt_step_target`, with both ends of a custom range.
fn target([kind, low, high]: [Option<u32>; 3]) -> Option<StepTarget> {
    /// Heart rates count from here; up to here they are percent of the greatest.
    const BPM_OFFSET: u32 = 100;
    match (kind?, low, high?) {
        (0, _, high) => {
            Some(StepTarget::SpeedAtMost(MetresPerSecond::new(f64::from(high) / profile::SPEED_PER_MPS)))
        }
        (1, _, high) if high > BPM_OFFSET => {
            Some(StepTarget::HeartRateAtMost(BeatsPerMinute::new(f64::from(high - BPM_OFFSET))))
        }
        (3, Some(low), high) => {
            let steps = |strides: u32| StridesPerMinute::new(f64::from(strides)).to_steps();
            Some(StepTarget::Cadence { least: steps(low), most: Some(steps(high)) })
        }
        _ => None,
    }
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
    pub(super) start: Micros,
    pub(super) length: Micros,
    pub(super) gait: GuessedGait,
}

/// Decodes a `split` message. `None` when it is about something else than the gait, or has no length.
pub(super) fn split(definition: &Definition, message: &[u8]) -> Option<FitGuess> {
    use profile::split as field;
    let (mut gait, mut start, mut end, mut by_timer) = (None, None, None, None);
    for (number, value) in definition.values(message) {
        match number {
            field::SPLIT_TYPE => gait = split_type(value as u8),
            field::TOTAL_ELAPSED_TIME => by_timer = elapsed(value),
            field::START_TIME => start = Some(micros(value as FitTime)),
            field::END_TIME => end = Some(micros(value as FitTime)),
            _ => {}
        }
    }
    let start = start?;
    let up_to_end = end.filter(|end| *end >= start).map(|end| end - start);
    let length = up_to_end.or(by_timer).filter(|length| *length > 0)?;
    Some(FitGuess { start, length, gait: gait? })
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
    pub(super) start: Option<Micros>,
    pub(super) sport: Option<u8>,
    pub(super) sub_sport: Option<u8>,
}

pub(super) fn session(definition: &Definition, message: &[u8]) -> FitSession {
    use profile::session as field;
    let mut session = FitSession::default();
    for (number, value) in definition.values(message) {
        match number {
            field::START_TIME => session.start = Some(micros(value as FitTime)),
            field::SPORT => session.sport = Some(value as u8),
            field::SUB_SPORT => session.sub_sport = Some(value as u8),
            _ => {}
        }
    }
    session
}

/// Decodes an `event` message: `Some(true)` when the timer started, `Some(false)` when it stopped.
pub(super) fn timer_event(definition: &Definition, message: &[u8]) -> Option<bool> {
    let [event, event_type] = numbers(definition, message, profile::EVENT_FIELDS);
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
        assert_eq!(definition.read(&mut src, false, None), Ok(false));
        assert_eq!(definition.size, 8);
        let message = [1, 0, 0, 0x20, 9, 9, 9, 120];
        assert_eq!(definition.time(&message), Some(0x2000_0001));
        let (values, _) = record(&definition, &message, &mut PackedDistance::default());
        assert_eq!(values.heart_rate.unwrap().get(), 120.0);
        assert_eq!(values.speed, None);
    }
}
