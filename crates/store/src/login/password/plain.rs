//! Passwords that are tried first: those on the list however they are dressed up, rows of keys, repetitions.

use std::sync::LazyLock;

/// Common passwords in lower case, sorted: the 3,500 most frequent and every longer one of the list that the
/// general library zxcvbn ships (MIT licence), without the coarse ones.
const COMMON: &str = include_str!("common.txt");

/// Phrases that many have printed, without blanks.
const PRINTED: [&str; 12] = [
    "correcthorsebatterystaple",
    "thequickbrownfoxjumpsoverthelazydog",
    "thequickbrownfox",
    "tobeornottobethatisthequestion",
    "tobeornottobe",
    "onceuponatime",
    "maytheforcebewithyou",
    "iloveyouforever",
    "letmeinplease",
    "opensesame",
    "passphrase",
    "changemenow",
];

/// Rows that fingers or children know. Each is read both ways.
const ROWS: [&str; 9] = [
    "abcdefghijklmnopqrstuvwxyz",
    "01234567890",
    "qwertyuiop",
    "qwertzuiop",
    "azertyuiop",
    "asdfghjkl",
    "zxcvbnm",
    "yxcvbnm",
    "1q2w3e4r5t6y7u8i9o0p",
];

/// The fewest signs that a text must hold which are not foretold by those before them.
const LEAST_NEW: usize = 5;
/// The shortest piece that may be written over and over.
const LEAST_PIECE: usize = 8;

/// Whether a text in lower case is tried early: on the list, alone, with digits and signs in it or for its
/// letters, or over and over; hardly more than a row; or hardly more than one key.
pub(super) fn is_plain(lower: &str) -> bool {
    let undated = without_numbers(lower);
    let mut dressed = vec![lower.to_owned(), undated.clone()];
    for exclaims in [false, true] {
        dressed.extend([unfold(lower, exclaims), unfold(&undated, exclaims)]);
    }
    dressed.extend(dressed.clone().iter().map(|text| letters(text)));
    let repeated = once(lower);
    repeated.chars().count() < LEAST_PIECE.min(lower.chars().count())
        || new_signs(lower) < LEAST_NEW
        || dressed.iter().any(|text| is_listed(text) || is_listed(once(text)))
        || dressed.iter().any(|text| is_printed(text))
}

fn is_listed(word: &str) -> bool {
    static WORDS: LazyLock<Vec<&str>> = LazyLock::new(|| COMMON.lines().collect());
    WORDS.binary_search(&word).is_ok()
}

/// Whether little is left of it without a phrase that was printed.
fn is_printed(text: &str) -> bool {
    PRINTED.iter().any(|phrase| text.contains(phrase) && text.len() < phrase.len() + LEAST_PIECE)
}

/// Without years and other numbers of three digits or more; of a longer one the last four fall away, since those
/// before them may stand for letters.
fn without_numbers(text: &str) -> String {
    let pieces = text.split_inclusive(|sign: char| !sign.is_ascii_digit());
    let kept = pieces.map(|piece| {
        let bare = piece.trim_start_matches(|sign: char| sign.is_ascii_digit());
        match piece.len() - bare.len() {
            ..3 => piece.to_owned(),
            digits => format!("{}{bare}", &piece[..digits.saturating_sub(4)]),
        }
    });
    kept.collect()
}

fn letters(text: &str) -> String {
    text.chars().filter(|sign| sign.is_alphabetic()).collect()
}

/// The letters that digits and signs stand for.
fn unfold(text: &str, exclaims: bool) -> String {
    let letter = |sign| match sign {
        '@' | '4' => 'a',
        '3' | '\u{20ac}' => 'e',
        '1' | '|' => 'i',
        '!' if exclaims => 'i',
        '0' => 'o',
        '5' | '$' => 's',
        '7' | '+' => 't',
        '8' => 'b',
        '9' => 'g',
        sign => sign,
    };
    text.chars().map(letter).collect()
}

/// How many different signs a text holds, without those that continue a row or repeat the one before.
fn new_signs(text: &str) -> usize {
    let signs: Vec<char> = text.chars().collect();
    let foretold = |at: usize| {
        let (Some(before), here) = (at.checked_sub(1).map(|at| signs[at]), signs[at]) else {
            return false;
        };
        before == here || ROWS.iter().any(|row| follows(row, before, here))
    };
    let mut new: Vec<char> =
        (0..signs.len()).filter(|at| !foretold(*at)).map(|at| signs[at]).collect();
    new.sort_unstable();
    new.dedup();
    new.len()
}

/// Whether two signs stand beside each other in a row, either way.
fn follows(row: &str, before: char, here: char) -> bool {
    let pairs = row.chars().zip(row.chars().skip(1));
    pairs.into_iter().any(|pair| pair == (before, here) || pair == (here, before))
}

/// The shortest piece that gives the text when written over and over, whatever of blanks stands between.
fn once(text: &str) -> &str {
    let piece = |at: &usize| {
        let (first, rest) = text.split_at(*at);
        let mut rest = rest.trim_start();
        let bare = first.trim();
        while !bare.is_empty() && !rest.is_empty() {
            let Some(after) = rest.strip_prefix(bare) else { return false };
            rest = after.trim_start();
        }
        !bare.is_empty()
    };
    let ends = text.char_indices().map(|(at, _)| at).skip(1);
    let found = ends.take_while(|at| *at <= text.len() / 2).find(piece);
    found.map_or(text, |at| text[..at].trim())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_list_is_sorted_so_that_it_can_be_searched() {
        let words: Vec<_> = COMMON.lines().collect();
        assert!(words.len() > 3_000);
        assert!(words.is_sorted());
    }

    /// Whatever word of the list, however it is dressed up: it stays refused.
    #[test]
    fn no_word_of_the_list_gets_through_in_another_dress() {
        let folded = |word: &str| {
            word.chars()
                .map(|sign| match sign {
                    'a' => '@',
                    'e' => '3',
                    'o' => '0',
                    's' => '$',
                    sign => sign,
                })
                .collect::<String>()
        };
        for word in COMMON.lines().filter(|word| word.chars().all(|sign| sign.is_ascii_lowercase()))
        {
            let long = [
                format!("{word}{word}{word}"),
                format!("{word} {word} {word}"),
                format!("{}2026{}", folded(word), "!".repeat(4)),
                folded(&format!("{word}{word}")),
            ];
            for dressed in &long {
                assert!(is_plain(dressed), "{dressed}");
            }
        }
    }
}
