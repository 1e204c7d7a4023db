//! What an answer tells of the skin under the sensor.

/// Words that tell of skin that is as it should be, or a little red, as it is under every heated sensor
/// (common practice, no source). What is said in any other words is told: a wound missed is worse than a
/// remark read for nothing.
const WELL: &[&str] = &[
    "a",
    "all",
    "as",
    "at",
    "bit",
    "clear",
    "ear",
    "fine",
    "good",
    "healthy",
    "is",
    "it",
    "little",
    "mark",
    "marks",
    "no",
    "none",
    "normal",
    "nothing",
    "ok",
    "okay",
    "perfect",
    "pink",
    "problem",
    "problems",
    "quite",
    "red",
    "redness",
    "right",
    "same",
    "skin",
    "slight",
    "slightly",
    "some",
    "the",
    "under",
    "unchanged",
    "usual",
    "very",
    "was",
    "well",
    "without",
    "yes",
];
/// Words of harm that tell of none with `no` or `without` before them (common practice, no source).
const HARM: &[&str] = &[
    "blister", "blisters", "burn", "burns", "itching", "pain", "sore", "soreness", "wound",
    "wounds",
];

/// Whether what is said of the skin is more than that it is well or a little red.
pub fn tells_of_harm(answer: &str) -> bool {
    let words: Vec<String> = answer
        .to_lowercase()
        .split(|sign: char| !sign.is_alphanumeric() && sign != '\'')
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect();
    let denied = |at: usize| at > 0 && matches!(words[at - 1].as_str(), "no" | "without");
    let time = |word: &str| word.chars().all(|sign| sign.is_ascii_digit());
    let is_well = |(at, word): (usize, &String)| {
        WELL.contains(&word.as_str()) || time(word) || (HARM.contains(&word.as_str()) && denied(at))
    };
    let very_red = words.windows(2).any(|two| two[0] == "very" && two[1] == "red");
    very_red || !words.iter().enumerate().all(is_well)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_plainly_well_is_told() {
        for well in [
            "",
            "fine",
            "a little red",
            "OK.",
            "no redness",
            "Slightly pink, no blisters",
            "nothing",
            "no marks",
            "red at 06:50",
            "no pain",
            "All good",
            "without a problem",
        ] {
            assert!(!tells_of_harm(well), "{well}");
        }
        for harm in [
            "a blister",
            "Blistered",
            "sore",
            "burnt",
            "not good",
            "it bled",
            "open skin behind the ear",
            "very red",
            "no better, blisters",
            "Brandblase",
            "a hole",
            "2 blisters",
            "peeling",
        ] {
            assert!(tells_of_harm(harm), "{harm}");
        }
    }
}
