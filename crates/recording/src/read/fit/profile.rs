//! Numbers of the published FIT profile that are used: messages, fields, enum values, scales.
//!
//! Version 21.202, as in the crate `fitparser` 0.11 (`src/profile/`); tests compare what both read.

/// Messages, by their global number.
pub(super) mod message {
    pub(in super::super) const FILE_ID: u16 = 0;
    pub(in super::super) const SPORT: u16 = 12;
    pub(in super::super) const SESSION: u16 = 18;
    pub(in super::super) const LAP: u16 = 19;
    pub(in super::super) const RECORD: u16 = 20;
    pub(in super::super) const EVENT: u16 = 21;
    pub(in super::super) const WORKOUT: u16 = 26;
    pub(in super::super) const WORKOUT_STEP: u16 = 27;
    pub(in super::super) const ACTIVITY: u16 = 34;
    pub(in super::super) const TIMESTAMP_CORRELATION: u16 = 162;
    pub(in super::super) const DEVELOPER_DATA_ID: u16 = 207;
    pub(in super::super) const SPLIT: u16 = 312;
}

/// Every message's time.
pub(super) const TIMESTAMP: u8 = 253;

/// Fields of `record`.
pub(super) mod record {
    pub(in super::super) const POSITION_LAT: u8 = 0;
    pub(in super::super) const POSITION_LONG: u8 = 1;
    pub(in super::super) const ALTITUDE: u8 = 2;
    pub(in super::super) const HEART_RATE: u8 = 3;
    pub(in super::super) const CADENCE: u8 = 4;
    pub(in super::super) const DISTANCE: u8 = 5;
    pub(in super::super) const SPEED: u8 = 6;
    pub(in super::super) const COMPRESSED_SPEED_DISTANCE: u8 = 8;
    pub(in super::super) const ACTIVITY_TYPE: u8 = 42;
    pub(in super::super) const CADENCE256: u8 = 52;
    pub(in super::super) const FRACTIONAL_CADENCE: u8 = 53;
    pub(in super::super) const ENHANCED_SPEED: u8 = 73;
    pub(in super::super) const ENHANCED_ALTITUDE: u8 = 78;
    /// All that are used.
    pub(in super::super) const USED: &[u8] = &[
        POSITION_LAT,
        POSITION_LONG,
        ALTITUDE,
        HEART_RATE,
        CADENCE,
        DISTANCE,
        SPEED,
        COMPRESSED_SPEED_DISTANCE,
        ACTIVITY_TYPE,
        CADENCE256,
        FRACTIONAL_CADENCE,
        ENHANCED_SPEED,
        ENHANCED_ALTITUDE,
    ];
}

/// Fields of `lap`.
pub(super) mod lap {
    pub(in super::super) const START_TIME: u8 = 2;
    pub(in super::super) const TOTAL_ELAPSED_TIME: u8 = 7;
    pub(in super::super) const INTENSITY: u8 = 23;
    pub(in super::super) const LAP_TRIGGER: u8 = 24;
    pub(in super::super) const SPORT: u8 = 25;
    pub(in super::super) const WKT_STEP_INDEX: u8 = 71;
    /// All that are used.
    pub(in super::super) const USED: &[u8] =
        &[START_TIME, TOTAL_ELAPSED_TIME, INTENSITY, LAP_TRIGGER, SPORT, WKT_STEP_INDEX];
}

/// Fields of `session`.
pub(super) mod session {
    pub(in super::super) const START_TIME: u8 = 2;
    pub(in super::super) const SPORT: u8 = 5;
    pub(in super::super) const SUB_SPORT: u8 = 6;
    /// All that are used.
    pub(in super::super) const USED: &[u8] = &[START_TIME, SPORT, SUB_SPORT];
}

/// Fields of `split`.
pub(super) mod split {
    pub(in super::super) const SPLIT_TYPE: u8 = 0;
    pub(in super::super) const TOTAL_ELAPSED_TIME: u8 = 1;
    pub(in super::super) const START_TIME: u8 = 9;
    pub(in super::super) const END_TIME: u8 = 27;
    /// All that are used.
    pub(in super::super) const USED: &[u8] = &[SPLIT_TYPE, TOTAL_ELAPSED_TIME, START_TIME, END_TIME];
}

/// Fields of `workout_step`.
pub(super) mod workout_step {
    pub(in super::super) const NAME: u8 = 0;
    pub(in super::super) const DURATION_TYPE: u8 = 1;
    pub(in super::super) const DURATION_VALUE: u8 = 2;
    pub(in super::super) const TARGET_TYPE: u8 = 3;
    pub(in super::super) const TARGET_VALUE: u8 = 4;
    pub(in super::super) const TARGET_LOW: u8 = 5;
    pub(in super::super) const TARGET_HIGH: u8 = 6;
    pub(in super::super) const INTENSITY: u8 = 7;
    pub(in super::super) const NOTES: u8 = 8;
    pub(in super::super) const SECOND_TARGET_TYPE: u8 = 19;
    pub(in super::super) const SECOND_TARGET_LOW: u8 = 21;
    pub(in super::super) const SECOND_TARGET_HIGH: u8 = 22;
    pub(in super::super) const MESSAGE_INDEX: u8 = 254;
    /// All that are used.
    pub(in super::super) const USED: &[u8] = &[
        NAME,
        DURATION_TYPE,
        DURATION_VALUE,
        TARGET_TYPE,
        TARGET_VALUE,
        TARGET_LOW,
        TARGET_HIGH,
        INTENSITY,
        NOTES,
        SECOND_TARGET_TYPE,
        SECOND_TARGET_LOW,
        SECOND_TARGET_HIGH,
        MESSAGE_INDEX,
    ];
}

/// Fields of `workout`.
pub(super) const WORKOUT_FIELDS: [u8; 1] = [8]; // wkt_name
/// Fields of `file_id`.
pub(super) const FILE_ID_FIELDS: [u8; 1] = [0]; // type
/// Fields of `sport`.
pub(super) const SPORT_FIELDS: [u8; 2] = [0, 1]; // sport, sub_sport
/// Fields of `event`.
pub(super) const EVENT_FIELDS: [u8; 2] = [0, 1]; // event, event_type
/// Fields of `activity`.
pub(super) const ACTIVITY_FIELDS: [u8; 1] = [5]; // local_timestamp
/// Fields of `timestamp_correlation`.
pub(super) const TIMESTAMP_CORRELATION_FIELDS: [u8; 1] = [1]; // system_timestamp

/// Fields of `developer_data_id`: whose developer fields they are, and by which index definitions name them.
pub(super) mod developer_data_id {
    pub(in super::super) const APPLICATION_ID: u8 = 1;
    pub(in super::super) const DEVELOPER_DATA_INDEX: u8 = 3;
    /// All that are used.
    pub(in super::super) const USED: &[u8] = &[APPLICATION_ID, DEVELOPER_DATA_INDEX];
}
/// Developer field of ours: the speed that positions told, in the unit of `speed`, as two bytes.
pub(super) const SPEED_BY_POSITIONS: u8 = 0;
/// What stands for that field among those of a `record`; the profile uses it for `message_index`, which a record has not.
pub(super) const AS_RECORD_FIELD: u8 = 254;

/// Degrees a semicircle: 180 / 2³¹, exact.
pub(super) const DEG_PER_SEMICIRCLE: f64 = 180.0 / 2_147_483_648.0;
/// Altitudes count fifths of a metre from 500 m below zero.
pub(super) const ALTITUDE_PER_M: f64 = 5.0;
/// See [`ALTITUDE_PER_M`].
pub(super) const ALTITUDE_OFFSET_M: f64 = 500.0;
/// Distances count hundredths of a metre.
pub(super) const DISTANCE_PER_M: f64 = 100.0;
/// Speeds count millimetres a second.
pub(super) const SPEED_PER_MPS: f64 = 1000.0;
/// Elapsed times count milliseconds.
pub(super) const ELAPSED_PER_S: f64 = 1000.0;
/// `cadence256` counts so many to a stride a minute.
pub(super) const CADENCE256_PER_SPM: f64 = 256.0;
/// `fractional_cadence` counts so many to a stride a minute.
pub(super) const FRACTIONAL_CADENCE_PER_SPM: f64 = 128.0;
/// `compressed_speed_distance`: 12 bits of speed in 1/100 m/s, then 12 bits of distance in 1/16 m.
pub(super) const COMPRESSED_SPEED_PER_MPS: f64 = 100.0;
/// See [`COMPRESSED_SPEED_PER_MPS`].
pub(super) const COMPRESSED_DISTANCE_PER_M: f64 = 16.0;
