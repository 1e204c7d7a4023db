//! Numbers that carry a check: the NHS number, and our own marks on monitors and loans.

/// An NHS number as ten digits, without blanks or hyphens.
///
/// The check digit is that of the NHS Data Dictionary (modulus 11). Numbers of one repeated digit pass its
/// arithmetic and are refused all the same; none has ever been issued to a person.
///
/// # Errors
/// What is wrong with the number, in words.
pub fn nhs_number(text: &str) -> Result<String, String> {
    let digits: String = text.chars().filter(|sign| !matches!(sign, ' ' | '-')).collect();
    if digits.len() != 10 || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err("an NHS number has ten digits".to_owned());
    }
    let values: Vec<u32> = digits.bytes().map(|byte| u32::from(byte - b'0')).collect();
    if values.iter().all(|value| *value == values[0]) {
        return Err("one digit ten times over is no NHS number".to_owned());
    }
    let sum: u32 =
        values[..9].iter().zip((2..=10).rev()).map(|(value, weight)| value * weight).sum();
    let check = match 11 - sum % 11 {
        11 => 0,
        other => other,
    };
    if check == values[9] {
        Ok(digits)
    } else {
        Err("the last digit of this NHS number does not agree with the others".to_owned())
    }
}

/// An NHS number of the range that is never issued and serves training.
pub fn is_for_training(nhs: &str) -> bool {
    nhs.starts_with('9')
}

const SIGNS: &[u8; 36] = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";

/// The check character of letters and digits by ISO 7064 MOD 37,36; other signs are passed over.
pub fn check_character(text: &str) -> char {
    let mut product = 36;
    for value in values(text) {
        let sum = (product + value) % 36;
        product = (if sum == 0 { 36 } else { sum }) * 2 % 37;
    }
    char::from(SIGNS[(37 - product) % 36])
}

/// Whether the last letter or digit is the check character of those before it.
pub fn is_checked(text: &str) -> bool {
    let plain: String =
        text.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_ascii_uppercase();
    match plain.char_indices().next_back() {
        Some((at, last)) if at > 0 => check_character(&plain[..at]) == last,
        _ => false,
    }
}

/// A monitor's mark: `M-0007-` and its check character. The number is the department's own.
pub fn monitor_mark(number: i64) -> String {
    marked(&format!("M-{number:04}"))
}

/// A loan's mark: `L-00123-` and its check character.
pub fn loan_mark(number: i64) -> String {
    marked(&format!("L-{number:05}"))
}

/// What a typed or scanned mark says: upper case, blanks out, hyphens as we write them.
pub fn plain_mark(text: &str) -> String {
    text.trim()
        .to_ascii_uppercase()
        .chars()
        .filter(|sign| !sign.is_whitespace())
        .map(|sign| if matches!(sign, '\u{2010}'..='\u{2015}' | '_' | '/') { '-' } else { sign })
        .collect()
}

fn marked(stem: &str) -> String {
    format!("{stem}-{}", check_character(stem))
}

fn values(text: &str) -> impl Iterator<Item = usize> + '_ {
    text.bytes().filter_map(|byte| SIGNS.iter().position(|sign| *sign == byte.to_ascii_uppercase()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NHS Data Dictionary, modulus 11: worked numbers, and those no check digit fits.
    #[test]
    fn nhs_numbers_are_checked_as_published() {
        for good in [
            "9434765919",
            "943 476 5919",
            "943-476-5919",
            "4010232137",
            "4505577104",
            "9990548609",
            "9876543210",
            "9990000018",
        ] {
            assert!(nhs_number(good).is_ok(), "{good}");
        }
        for bad in ["9434765918", "943476591", "94347659190", "943476591X", ""] {
            assert!(nhs_number(bad).is_err(), "{bad}");
        }
        for last in '0'..='9' {
            assert!(nhs_number(&format!("123456789{last}")).is_err());
            assert!(nhs_number(&format!("999000000{last}")).is_err());
            assert!(nhs_number(&last.to_string().repeat(10)).is_err());
        }
    }

    /// ISO 7064 MOD 37,36 as the Global Release Identifier uses it: A12425GABC1234002 has the check M
    /// (general library `python-stdnum`, module `iso7064.mod_37_36`).
    #[test]
    fn check_characters_are_those_of_iso_7064() {
        assert_eq!(check_character("A12425GABC1234002"), 'M');
        assert!(is_checked("A1-2425G-ABC1234002-M"));
        assert!(!is_checked("A1-2425G-ABC1234003-M"));
        assert!(!is_checked(""));
    }

    /// ISO 7064: a hybrid system finds every single wrong sign and nearly every swap of neighbours.
    #[test]
    fn one_wrong_sign_is_seen_in_every_mark_and_nearly_every_swap() {
        let (mut swaps, mut missed) = (0, 0);
        for number in 0..2_000 {
            let mark = monitor_mark(number);
            assert!(is_checked(&mark), "{mark}");
            for at in 2..6 {
                let signs: Vec<char> = mark.chars().collect();
                let mut wrong = signs.clone();
                wrong[at] = if wrong[at] == '9' { '0' } else { char::from(wrong[at] as u8 + 1) };
                assert!(!is_checked(&wrong.iter().collect::<String>()), "{mark}");
                let mut swapped = signs.clone();
                swapped.swap(at, at.min(4) + 1);
                if swapped != signs {
                    swaps += 1;
                    missed += i32::from(is_checked(&swapped.iter().collect::<String>()));
                }
            }
        }
        assert!(missed * 30 < swaps, "{missed} of {swaps}");
    }
}
