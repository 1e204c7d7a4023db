//! Damaged files: whatever happens to the bytes, a reader answers and never panics.

use engine::read::{Input, ReadOptions, read};

use crate::edf::{CONTIGUOUS, INTERRUPTED};
use crate::reader_contract::holds;

/// A small generator of its own, so that the same files are damaged in the same way everywhere
/// (xorshift, 64 bits).
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 >> 33).unwrap_or(0) % sides.max(1)
    }

    /// Changes a few bytes: any value, a digit, a cut, a doubling.
    fn damage(&mut self, bytes: &mut Vec<u8>) {
        for _ in 0..=self.roll(4) {
            let at = self.roll(bytes.len());
            let digits = b"0123456789+-.,: /x\x14\x15\0\xff";
            match self.roll(5) {
                0 if !bytes.is_empty() => bytes[at] = u8::try_from(self.roll(256)).unwrap_or(0),
                1 | 2 if !bytes.is_empty() => bytes[at] = digits[self.roll(digits.len())],
                3 => bytes.truncate(at),
                _ => {
                    let to = (at + self.roll(64)).min(bytes.len());
                    bytes.extend_from_within(at.min(to)..to);
                }
            }
        }
    }
}

const HEADER: &[u8] =
    b"n 2 1/125 4 31:25.894 10/10/2896\nn.dat 212x2:1+1 10(5)/% 12 0 0 7 0 SpO2\n\
                        n.dat 212 1/bpm 12 0 0 7 0 PULSE\n";
const PARTS: &[u8] = b"p/3 2 1 9\nn 4\n~ 1\nn 4\n";
const TABLE: &[u8] = b"time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n2026-01-10T22:30:00,97,62,5.4\n\
                       2026-01-10T22:30:01,96,61,5.4\n2026-01-10T22:30:02,,,5.5\n";

#[test]
fn two_thousand_damaged_files_are_answered() {
    let seeds = [CONTIGUOUS, INTERRUPTED, HEADER, PARTS, TABLE];
    let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
    let (mut read_well, mut refused) = (0, 0);
    for case in 0..2000 {
        let mut bytes = seeds[case % seeds.len()].to_vec();
        let mut data: Vec<u8> = (0..19).collect();
        let mut marks = b"\x0a\x58\x0a\xfclights off\0\0".to_vec();
        dice.damage(if case % 3 == 2 { &mut data } else { &mut bytes });
        dice.damage(&mut marks);
        let companions = [
            ("n.dat".to_owned(), data),
            ("n.atr".to_owned(), marks),
            ("n.hea".to_owned(), HEADER.to_vec()),
        ];
        let input = Input { name: "night", bytes: &bytes, companions: &companions };
        match read(input, &ReadOptions::default()) {
            Ok(recording) => {
                holds(&recording, &bytes);
                read_well += 1;
            }
            Err(error) => {
                assert!(!error.what.is_empty() && !error.what.ends_with('.'), "{error}");
                refused += 1;
            }
        }
    }
    // Both must happen, or the damage is of the wrong size to test anything.
    assert!(read_well > 200 && refused > 200, "{read_well} read, {refused} refused");
}
