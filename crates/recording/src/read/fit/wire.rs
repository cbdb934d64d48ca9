//! FIT's lowest level, as its published protocol has it: the header, record headers, definitions and base-type values. Every decoder takes what it reads
//! from the front of `&mut &[u8]` and leaves the slice alone when there is too little.

/// Byte order of a definition's numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Endian {
    Little,
    Big,
}

pub(super) fn read_bytes<const N: usize>(src: &mut &[u8]) -> Option<[u8; N]> {
    let (bytes, rest) = src.split_first_chunk()?;
    *src = rest;
    Some(*bytes)
}

pub(super) fn read_u8(src: &mut &[u8]) -> Option<u8> {
    read_bytes(src).map(|[byte]| byte)
}

pub(super) fn read_u16(src: &mut &[u8], endian: Endian) -> Option<u16> {
    let bytes = read_bytes(src)?;
    Some(if endian == Endian::Little { u16::from_le_bytes(bytes) } else { u16::from_be_bytes(bytes) })
}

/// Least bytes of a header.
pub(super) const HEADER_BYTES: u8 = 12;
/// What stands in a header from byte 8 on.
pub(super) const SIGNATURE: [u8; 4] = *b".FIT";

/// A file header: 12 bytes, or 14 with its own checksum, or more in a version to come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Header {
    pub(super) size: usize,
    pub(super) data_size: usize,
}

pub(super) fn read_header(src: &mut &[u8]) -> Option<Header> {
    let mut from = *src;
    let size = usize::from(read_u8(&mut from)?);
    let [_protocol, _profile_0, _profile_1] = read_bytes(&mut from)?;
    let data_size = u32::from_le_bytes(read_bytes(&mut from)?) as usize;
    let signature: [u8; 4] = read_bytes(&mut from)?;
    if size < usize::from(HEADER_BYTES) || signature != SIGNATURE {
        return None;
    }
    *src = src.get(size..)?;
    Some(Header { size, data_size })
}

/// The byte in front of each message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum RecordHeader {
    Definition {
        local: usize,
        has_developer_fields: bool,
    },
    Data {
        local: usize,
    },
    /// Data whose time is an offset of 0 to 31 s.
    CompressedTime {
        local: usize,
        offset_s: u32,
    },
}

pub(super) fn read_record_header(src: &mut &[u8]) -> Option<RecordHeader> {
    let byte = read_u8(src)?;
    let local = usize::from(byte & 0x0F);
    Some(if byte & 0x80 != 0 {
        RecordHeader::CompressedTime {
            local: usize::from(byte >> 5 & 0x03),
            offset_s: u32::from(byte & 0x1F),
        }
    } else if byte & 0x40 != 0 {
        RecordHeader::Definition { local, has_developer_fields: byte & 0x20 != 0 }
    } else {
        RecordHeader::Data { local }
    })
}

/// Adds a compressed time's five bits to the last full time.
pub(super) fn uncompress_time(last: u32, offset_s: u32) -> u32 {
    last.wrapping_add(offset_s.wrapping_sub(last) & 0x1F)
}

/// Type of a field's values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum BaseType {
    U8,
    I8,
    U16,
    I16,
    U32,
    I32,
    U64,
    I64,
    F32,
    F64,
    U8z,
    U16z,
    U32z,
    U64z,
    Text,
}

impl BaseType {
    /// Tells the type by its number; enum (0), uint8 (2) and byte (13) are the same here.
    pub(super) fn from_number(number: u8) -> Option<Self> {
        Some(match number & 0x1F {
            0x00 | 0x02 | 0x0D => Self::U8,
            0x01 => Self::I8,
            0x03 => Self::I16,
            0x04 => Self::U16,
            0x05 => Self::I32,
            0x06 => Self::U32,
            0x07 => Self::Text,
            0x08 => Self::F32,
            0x09 => Self::F64,
            0x0A => Self::U8z,
            0x0B => Self::U16z,
            0x0C => Self::U32z,
            0x0E => Self::I64,
            0x0F => Self::U64,
            0x10 => Self::U64z,
            _ => return None,
        })
    }

    pub(super) const fn size(self) -> usize {
        match self {
            Self::U8 | Self::I8 | Self::U8z | Self::Text => 1,
            Self::U16 | Self::I16 | Self::U16z => 2,
            Self::U32 | Self::I32 | Self::U32z | Self::F32 => 4,
            Self::U64 | Self::I64 | Self::U64z | Self::F64 => 8,
        }
    }
}

/// Reads one value. This is the one place where a type's invalid marker becomes `None`.
///
/// Every field that is used fits an `f64` exactly (32 bits at most).
pub(super) fn read_value(src: &mut &[u8], base: BaseType, endian: Endian) -> Option<f64> {
    macro_rules! read {
        ($type:ty) => {{
            let bytes = read_bytes(src)?;
            if endian == Endian::Little {
                <$type>::from_le_bytes(bytes)
            } else {
                <$type>::from_be_bytes(bytes)
            }
        }};
    }
    macro_rules! valid {
        ($type:ty, $invalid:expr) => {{
            let value = read!($type);
            (value != $invalid).then_some(value as f64)
        }};
    }
    #[expect(clippy::cast_lossless, reason = "one macro for all widths")]
    match base {
        BaseType::U8 => valid!(u8, u8::MAX),
        BaseType::I8 => valid!(i8, i8::MAX),
        BaseType::U16 => valid!(u16, u16::MAX),
        BaseType::I16 => valid!(i16, i16::MAX),
        BaseType::U32 => valid!(u32, u32::MAX),
        BaseType::I32 => valid!(i32, i32::MAX),
        BaseType::U64 => valid!(u64, u64::MAX),
        BaseType::I64 => valid!(i64, i64::MAX),
        BaseType::U8z => valid!(u8, 0),
        BaseType::U16z => valid!(u16, 0),
        BaseType::U32z => valid!(u32, 0),
        BaseType::U64z => valid!(u64, 0),
        // All ones is a NaN; no other NaN or infinity is a measurement either.
        BaseType::F32 => Some(f64::from(read!(f32))).filter(|value| value.is_finite()),
        BaseType::F64 => Some(read!(f64)).filter(|value| value.is_finite()),
        BaseType::Text => None,
    }
}

/// CRC-16/ARC, the checksum of headers and files: eight bytes at a time, then the rest one by one.
#[expect(clippy::indexing_slicing, reason = "tables of 256 entries, indexed by a byte")]
pub(crate) fn checksum(bytes: &[u8]) -> u16 {
    let look_up = |table: usize, byte: u8| CHECKSUM_TABLES[table][usize::from(byte)];
    let (blocks, rest) = bytes.as_chunks::<8>();
    let crc = blocks.iter().fold(0_u16, |crc, [a, b, c, d, e, f, g, h]| {
        let [low, high] = crc.to_le_bytes();
        look_up(7, a ^ low)
            ^ look_up(6, b ^ high)
            ^ look_up(5, *c)
            ^ look_up(4, *d)
            ^ look_up(3, *e)
            ^ look_up(2, *f)
            ^ look_up(1, *g)
            ^ look_up(0, *h)
    });
    rest.iter().fold(crc, |crc, byte| (crc >> 8) ^ look_up(0, crc as u8 ^ byte))
}

/// The polynomial of CRC-16/ARC, lowest power first (0x8005 reflected; published CRC catalogue).
const CHECKSUM_POLYNOMIAL: u16 = 0xA001;

/// `[0]` holds each byte's checksum, `[n]` that of the byte followed by `n` zero bytes.
static CHECKSUM_TABLES: [[u16; 256]; 8] = checksum_tables();

#[expect(clippy::indexing_slicing, reason = "evaluated while compiling")]
const fn checksum_tables() -> [[u16; 256]; 8] {
    let mut tables = [[0; 256]; 8];
    let mut byte = 0;
    while byte < 256 {
        let mut crc = byte as u16;
        let mut bit = 0;
        while bit < 8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ CHECKSUM_POLYNOMIAL } else { crc >> 1 };
            bit += 1;
        }
        tables[0][byte] = crc;
        byte += 1;
    }
    let mut table = 1;
    while table < 8 {
        let mut byte = 0;
        while byte < 256 {
            let shorter = tables[table - 1][byte];
            tables[table][byte] = (shorter >> 8) ^ tables[0][(shorter & 0xFF) as usize];
            byte += 1;
        }
        table += 1;
    }
    tables
}

/// A header of so many bytes or more is none: versions up to now have 14. Our choice.
const TOO_LONG_HEADER: u8 = 64;

/// Whether bytes begin like a FIT file.
pub(in crate::read) fn is_header(bytes: &[u8]) -> bool {
    bytes.get(8..12) == Some(&SIGNATURE)
        && bytes.first().is_some_and(|size| (HEADER_BYTES..TOO_LONG_HEADER).contains(size))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(bytes: &[u8], base: BaseType) -> Option<f64> {
        let mut src = bytes;
        let value = read_value(&mut src, base, Endian::Little);
        assert_eq!(src.len(), bytes.len() - base.size(), "a value's bytes are taken even when it is invalid");
        value
    }

    #[test]
    fn checksum_vectors() {
        // CRC-16/ARC check value of the published CRC catalogue, and the header vectors computed from it.
        assert_eq!(checksum(b"123456789"), 0xBB3D);
        assert_eq!(checksum(b""), 0);
        assert_eq!(checksum(b".FIT"), 0x92DE);
        assert_eq!(checksum(&[0xFF]), 0x4040);
        assert_eq!(checksum(b"\x0e\x20\x54\x08\0\0\0\0.FIT"), 0xD1B9);
        assert_eq!(checksum(b"\x0c\x10\x54\x08\0\0\0\0.FIT"), 0x16BF);
    }

    #[test]
    fn checksum_by_blocks_is_checksum_by_nibbles() {
        // The published nibble table, low nibble first, on every length and content of a ramp.
        const NIBBLES: [u16; 16] = [
            0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401, 0xA001, 0x6C00, 0x7800, 0xB401,
            0x5000, 0x9C01, 0x8801, 0x4400,
        ];
        let step = |crc: u16, nibble: u8| {
            (crc >> 4) ^ NIBBLES[usize::from(crc & 0xF)] ^ NIBBLES[usize::from(nibble)]
        };
        let ramp: Vec<u8> = (0..600_u32).map(|index| (index * 167 + index / 7) as u8).collect();
        for length in 0..ramp.len() {
            let bytes = &ramp[..length];
            let expected = bytes.iter().fold(0, |crc, byte| step(step(crc, byte & 0xF), byte >> 4));
            assert_eq!(checksum(bytes), expected, "{length} bytes");
        }
    }

    #[test]
    fn invalid_markers_are_none() {
        assert_eq!(value(&[0xFF], BaseType::U8), None);
        assert_eq!(value(&[0xFE], BaseType::U8), Some(254.0));
        assert_eq!(value(&[0x7F], BaseType::I8), None);
        assert_eq!(value(&[0xFF], BaseType::I8), Some(-1.0));
        assert_eq!(value(&[0xFF, 0xFF], BaseType::U16), None);
        assert_eq!(value(&[0xFF, 0x7F], BaseType::I16), None);
        assert_eq!(value(&[0xFF; 4], BaseType::U32), None);
        assert_eq!(value(&[0xFF, 0xFF, 0xFF, 0x7F], BaseType::I32), None);
        assert_eq!(value(&[0], BaseType::U8z), None);
        assert_eq!(value(&[0xFF; 4], BaseType::F32), None);
        assert_eq!(value(&1.5_f64.to_le_bytes(), BaseType::F64), Some(1.5));
        let mut big: &[u8] = &[0x01, 0x02];
        assert_eq!(read_value(&mut big, BaseType::U16, Endian::Big), Some(258.0));
        let mut short: &[u8] = &[0x01];
        assert_eq!(read_value(&mut short, BaseType::U16, Endian::Big), None);
    }

    #[test]
    fn compressed_times() {
        // From 0x3B6A3A3B on, each from the one before: +0, +2, +5, +3, +28, +17 s (published rule, vectors computed).
        let mut time = 0x3B6A_3A3B;
        for (offset_s, added_s) in [(0x1B, 0), (0x1D, 2), (0x02, 7), (0x05, 10), (0x01, 38), (0x12, 55)] {
            time = uncompress_time(time, offset_s);
            assert_eq!(time - 0x3B6A_3A3B, added_s);
        }
    }

    #[test]
    fn headers() {
        let mut src: &[u8] = b"\x0c\x10\x54\x08\x05\0\0\0.FITrest";
        assert_eq!(read_header(&mut src), Some(Header { size: 12, data_size: 5 }));
        assert_eq!(src, b"rest");
        let mut short: &[u8] = b"\x0e\x10\x54\x08\x05\0\0\0.FIT";
        assert_eq!(read_header(&mut short), None);
        for (byte, expected) in [
            (0x43, RecordHeader::Definition { local: 3, has_developer_fields: false }),
            (0x65, RecordHeader::Definition { local: 5, has_developer_fields: true }),
            (0x0F, RecordHeader::Data { local: 15 }),
            (0xC2, RecordHeader::CompressedTime { local: 2, offset_s: 2 }),
        ] {
            assert_eq!(read_record_header(&mut &[byte][..]), Some(expected));
        }
    }
}
