//! The developer field that is read: the speed that positions told before they were taken out.

use crate::fit_bytes::{FitFile, NEW_YEAR, U8, U32};
use jogaudit_recording::read::{APPLICATION_ID, ReadConfig, Recording, read};
use jogaudit_recording::units::{BeatsPerMinute, MetresPerSecond};

const BYTE: u8 = 0x0D;

/// What the field holds in a file in which `developer` of that id has index 3, and records have a heart rate and developer fields
/// (number, size, developer) with these values.
fn told(id: &[u8], fields: &[(u8, u8, u8)], values: &[u8]) -> Option<f64> {
    let time = (NEW_YEAR + 1).to_le_bytes();
    let file = FitFile::default()
        .define(0, 207, &[(1, id.len() as u8, BYTE), (3, 1, U8)])
        .data(0, &[id, &[3]])
        .define_with_developer_fields(1, 20, &[(253, 4, U32), (3, 1, U8)], fields)
        .data(1, &[&time, &[120], values]);
    let noted = read(&file.finish(), &ReadConfig::default()).unwrap();
    assert_eq!(noted.notices, []);
    let recording: &Recording = &noted.value[0];
    assert_eq!(recording.samples()[0].heart_rate.map(BeatsPerMinute::get), Some(120.0));
    recording.samples()[0].speed_by_positions.map(MetresPerSecond::get)
}

#[test]
fn only_our_own_developer_field_is_read() {
    let ours = APPLICATION_ID;
    let mut other = ours;
    other[15] ^= 1;
    let one = [(0, 2, 3)];
    assert_eq!(told(&ours, &one, &2345_u16.to_le_bytes()), Some(2.345));
    assert_eq!(told(&ours, &one, &[0xFF; 2]), None, "the marker of no value");
    assert_eq!(told(&other, &one, &2345_u16.to_le_bytes()), None);
    assert_eq!(told(&ours[..15], &one, &2345_u16.to_le_bytes()), None);
    assert_eq!(told(&ours, &[(0, 2, 2)], &2345_u16.to_le_bytes()), None, "another developer's");
    assert_eq!(told(&ours, &[(1, 2, 3)], &2345_u16.to_le_bytes()), None, "another field");
    assert_eq!(told(&ours, &[(0, 4, 3)], &2345_u32.to_le_bytes()), None, "another size");
    // Behind one of another developer.
    assert_eq!(told(&ours, &[(0, 1, 0), (0, 2, 3)], &[9, 0x29, 0x09]), Some(2.345));
}
