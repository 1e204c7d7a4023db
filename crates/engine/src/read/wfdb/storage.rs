//! Signal files: how samples are packed into bytes.
//!
//! # Sources
//! `wfdb-format`, its page on signal files.

/// A storage format.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// 8-bit differences from sample to sample.
    Difference8,
    /// 16 bits, least byte first.
    Little16,
    /// 24 bits, least byte first.
    Little24,
    /// 32 bits, least byte first.
    Little32,
    /// 16 bits, greatest byte first.
    Big16,
    /// 8 bits, 128 standing for 0.
    Offset8,
    /// 16 bits, least byte first, 32768 standing for 0.
    Offset16,
    /// Two samples of 12 bits in three bytes.
    Packed12,
    /// Three samples of 10 bits in four bytes, the third in the top five bits of two words.
    Packed10Words,
    /// Three samples of 10 bits in four bytes, one after another.
    Packed10,
}

impl Format {
    /// The format with this number in a signal line.
    pub(super) fn from_number(number: u16) -> Option<Self> {
        Some(match number {
            8 => Self::Difference8,
            16 => Self::Little16,
            24 => Self::Little24,
            32 => Self::Little32,
            61 => Self::Big16,
            80 => Self::Offset8,
            160 => Self::Offset16,
            212 => Self::Packed12,
            310 => Self::Packed10Words,
            311 => Self::Packed10,
            _ => return None,
        })
    }

    /// The stored value that stands for no sample; differences have none.
    pub(super) fn invalid(self) -> Option<i32> {
        match self {
            Self::Difference8 => None,
            Self::Little16 | Self::Big16 | Self::Offset16 => Some(-32_768),
            Self::Little24 => Some(-8_388_608),
            Self::Little32 => Some(i32::MIN),
            Self::Offset8 => Some(-128),
            Self::Packed12 => Some(-2048),
            Self::Packed10Words | Self::Packed10 => Some(-512),
        }
    }

    /// Samples and bytes of the smallest whole piece.
    fn piece(self) -> (usize, usize) {
        match self {
            Self::Difference8 | Self::Offset8 => (1, 1),
            Self::Little16 | Self::Big16 | Self::Offset16 => (1, 2),
            Self::Little24 => (1, 3),
            Self::Little32 => (1, 4),
            Self::Packed12 => (2, 3),
            Self::Packed10Words | Self::Packed10 => (3, 4),
        }
    }

    /// The samples in the bytes, one after another; an end cut short gives what is whole in it.
    pub(super) fn decode(self, bytes: &[u8]) -> Vec<i32> {
        let (samples, size) = self.piece();
        let mut decoded = Vec::with_capacity(bytes.len() / size * samples);
        let pieces = bytes.chunks_exact(size);
        let rest = pieces.remainder();
        for piece in pieces {
            let values = self.unpack(piece);
            decoded.extend(&values[..samples]);
        }
        // A file may end with the bytes that its last samples need and no more.
        let whole = if samples > 1 { rest.len() * samples / size } else { 0 };
        let mut padded = [0_u8; 4];
        padded[..rest.len()].copy_from_slice(rest);
        decoded.extend(&self.unpack(&padded)[..whole]);
        decoded
    }

    fn unpack(self, bytes: &[u8]) -> [i32; 3] {
        let at = |index: usize| bytes.get(index).copied().unwrap_or(0);
        let wide = |index: usize| i32::from(at(index));
        let low16 = i16::from_le_bytes([at(0), at(1)]);
        let low = wide(0) | wide(1) << 8;
        let high = wide(2) | wide(3) << 8;
        match self {
            Self::Difference8 => [i32::from(i8::from_le_bytes([at(0)])), 0, 0],
            Self::Offset8 => [wide(0) - 128, 0, 0],
            Self::Little16 => [i32::from(low16), 0, 0],
            Self::Big16 => [i32::from(i16::from_be_bytes([at(0), at(1)])), 0, 0],
            Self::Offset16 => [low - 32_768, 0, 0],
            Self::Little24 => [i32::from_le_bytes([0, at(0), at(1), at(2)]) >> 8, 0, 0],
            Self::Little32 => [i32::from_le_bytes([at(0), at(1), at(2), at(3)]), 0, 0],
            Self::Packed12 => [
                signed(wide(0) | (wide(1) & 0x0f) << 8, 12),
                signed(wide(2) | (wide(1) & 0xf0) << 4, 12),
                0,
            ],
            Self::Packed10Words => [
                signed(low >> 1 & 0x3ff, 10),
                signed(high >> 1 & 0x3ff, 10),
                signed(low >> 11 | high >> 11 << 5, 10),
            ],
            Self::Packed10 => [
                signed(low & 0x3ff, 10),
                signed(low >> 10 | (high & 0x0f) << 6, 10),
                signed(high >> 4 & 0x3ff, 10),
            ],
        }
    }
}

/// The low `bits` of a value in two's complement.
fn signed(value: i32, bits: u32) -> i32 {
    value << (32 - bits) >> (32 - bits)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bytes written by the general library `wfdb` 4.3.1 for these samples.
    #[test]
    fn samples_unpack_as_the_general_library_packs_them() {
        let cases: [(Format, &[u8], &[i32]); 3] = [
            (
                Format::Little16,
                &[0, 0, 1, 0, 0xff, 0xff, 0x61, 0, 0, 0x80, 0xff, 0x7f],
                &[0, 1, -1, 97, -32768, 32767],
            ),
            (Format::Offset8, &[0x80, 0x81, 0x7f, 0xe1, 0, 0xff], &[0, 1, -1, 97, -128, 127]),
            (
                Format::Packed12,
                &[0, 0, 1, 0xff, 0x0f, 0x61, 0, 0x78, 0xff, 0xe3, 0x33, 0xf3],
                &[0, 1, -1, 97, -2048, 2047, 995, 1011],
            ),
        ];
        for (format, bytes, samples) in cases {
            assert_eq!(format.decode(bytes), samples, "{format:?}");
        }
        // One byte and a half hold one sample of 12 bits.
        assert_eq!(Format::Packed12.decode(&[0xff, 0x0f]), [-1]);
    }
}
