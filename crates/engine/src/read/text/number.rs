//! Numbers as files write them: a fixed decimal with a point or a comma.

/// What one cell holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Cell {
    /// Nothing at all.
    Empty,
    /// A word or sign for "no reading": dashes, `NaN`, `n/a`.
    NoReading,
    /// A number, and the byte that marked its decimals, if any.
    Number(f64, Option<u8>),
    /// Anything else.
    Bad,
}

/// Powers of ten that a 64-bit float holds exactly.
const TEN: [f64; 19] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18,
];

/// Reads a cell.
#[inline]
pub(super) fn cell(raw: &[u8]) -> Cell {
    let text = raw.trim_ascii();
    if text.is_empty() {
        return Cell::Empty;
    }
    if let Some((value, mark)) = decimal(text) {
        return Cell::Number(value, mark);
    }
    let dashes = text.iter().all(|&b| b == b'-');
    let word = [&b"nan"[..], b"n/a", b"na", b"null"].iter().any(|w| text.eq_ignore_ascii_case(w));
    if dashes || word { Cell::NoReading } else { long(text) }
}

/// A sign, digits, one mark, digits: exact and correctly rounded, since both the digits and the power
/// of ten are exact and one division rounds once.
#[inline]
fn decimal(text: &[u8]) -> Option<(f64, Option<u8>)> {
    let (negative, digits) = match text.first()? {
        b'-' => (true, &text[1..]),
        b'+' => (false, &text[1..]),
        _ => (false, text),
    };
    // Longer ones could overflow the whole number, and go the long way.
    if digits.len() >= TEN.len() {
        return None;
    }
    let (mut whole, mut rest) = digits_on(0, digits);
    let (mut mark, mut places) = (None, 0);
    if let [byte @ (b'.' | b','), decimals @ ..] = rest {
        (whole, rest) = digits_on(whole, decimals);
        (mark, places) = (Some(*byte), decimals.len() - rest.len());
    }
    // More digits than a float holds exactly go the long way too.
    if !rest.is_empty() || digits.len() <= usize::from(mark.is_some()) || whole >= 1 << 53 {
        return None;
    }
    let value = whole as f64 / TEN[places];
    Some((if negative { -value } else { value }, mark))
}

/// A whole number with the digits that a text begins with put behind it, and the rest of the text.
#[inline]
fn digits_on(mut whole: u64, text: &[u8]) -> (u64, &[u8]) {
    for (at, byte) in text.iter().enumerate() {
        let digit = byte.wrapping_sub(b'0');
        if digit > 9 {
            return (whole, &text[at..]);
        }
        whole = whole * 10 + u64::from(digit);
    }
    (whole, &[])
}

/// The long way: exponents and long fractions.
fn long(text: &[u8]) -> Cell {
    let Ok(text) = std::str::from_utf8(text) else { return Cell::Bad };
    let mark = text.bytes().find(|b| matches!(b, b'.' | b','));
    let allowed = |b: u8| b.is_ascii_digit() || b"+-.,eE".contains(&b);
    if !text.bytes().all(allowed) || !text.bytes().any(|b| b.is_ascii_digit()) {
        return Cell::Bad;
    }
    match text.replace(',', ".").parse::<f64>() {
        Ok(value) if value.is_finite() => Cell::Number(value, mark),
        _ => Cell::Bad,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_is_a_number_a_code_or_nothing() {
        for (text, expected) in [
            ("97", Cell::Number(97.0, None)),
            (" 97.5 ", Cell::Number(97.5, Some(b'.'))),
            ("5,9", Cell::Number(5.9, Some(b','))),
            ("-1", Cell::Number(-1.0, None)),
            ("0.1", Cell::Number(0.1, Some(b'.'))),
            ("1e-3", Cell::Number(0.001, None)),
            ("5.333333333333333333333", Cell::Number(5.333_333_333_333_333, Some(b'.'))),
            ("", Cell::Empty),
            ("---", Cell::NoReading),
            ("N/A", Cell::NoReading),
            ("inf", Cell::Bad),
            ("1e999", Cell::Bad),
            (".", Cell::Bad),
            ("1.234,5", Cell::Bad),
            ("97*", Cell::Bad),
        ] {
            assert_eq!(cell(text.as_bytes()), expected, "{text:?}");
        }
    }
}
