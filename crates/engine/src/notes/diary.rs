//! The diary as a form: what the patient is asked about the night, and each answer as marks.
//!
//! The questions are in the order of the morning. Every answer is in words and times of day; what it
//! becomes in the notes file is fixed here, so that a diary on paper, on a terminal and on a page say
//! the same. Questions are common practice, no source.

use std::fmt::Write as _;

use crate::recording::MarkKind;

/// One question of the diary.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DiaryQuestion {
    /// Its key.
    pub key: &'static str,
    /// What the patient is asked.
    pub asks: &'static str,
    /// An answer for example.
    pub example: &'static str,
    /// What kind of answer it takes.
    pub takes: Takes,
}

/// What kind of answer a question takes, and what it becomes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Takes {
    /// One time of day, written as this key.
    Time,
    /// Times or spans of time, each a mark of this kind.
    Spans(MarkKind),
    /// Yes or no, written as this key.
    YesNo,
    /// Free words, written as this key.
    Words,
    /// Free words, told of the night; a note at the time that they name, if they name one.
    Note,
}

/// The questions, in order.
pub const QUESTIONS: [DiaryQuestion; 11] = [
    DiaryQuestion {
        key: "lights_out",
        asks: "When did you put the light out to sleep?",
        example: "22:40",
        takes: Takes::Time,
    },
    DiaryQuestion {
        key: "lights_on",
        asks: "When did you wake for good?",
        example: "06:50",
        takes: Takes::Time,
    },
    DiaryQuestion {
        key: "up",
        asks: "When were you out of bed?",
        example: "02:10-02:25, 05:00-05:05",
        takes: Takes::Spans(MarkKind::Up),
    },
    DiaryQuestion {
        key: "awake",
        asks: "When did you lie awake for long?",
        example: "03:30-04:15",
        takes: Takes::Spans(MarkKind::Awake),
    },
    DiaryQuestion {
        key: "refitted",
        asks: "Did the sensor come off? When was it back on?",
        example: "02:25",
        takes: Takes::Spans(MarkKind::Refitted),
    },
    DiaryQuestion {
        key: "oxygen",
        asks: "When was oxygen on, and how much?",
        example: "22:40-06:50 2 L/min",
        takes: Takes::Spans(MarkKind::Oxygen),
    },
    DiaryQuestion {
        key: "support",
        asks: "When was the mask or ventilator on?",
        example: "22:45-06:30",
        takes: Takes::Spans(MarkKind::Support),
    },
    DiaryQuestion {
        key: "representative",
        asks: "Was it a night like most of yours?",
        example: "yes",
        takes: Takes::YesNo,
    },
    DiaryQuestion {
        key: "breathing",
        asks: "What did you breathe: air, oxygen, a ventilator?",
        example: "air",
        takes: Takes::Words,
    },
    DiaryQuestion {
        key: "taken",
        asks: "Alcohol, or tablets to sleep or for pain?",
        example: "one sleeping tablet at 22:00",
        takes: Takes::Note,
    },
    DiaryQuestion {
        key: "skin",
        asks: "How was the skin under the sensor in the morning?",
        example: "a little red",
        takes: Takes::Note,
    },
];

/// From lights out to lights on no night is as long as this: the two are exchanged, or one is a slip. Minutes;
/// common practice, no source.
const TOO_LONG_MIN: i32 = 15 * 60;
const DAY_MIN: i32 = 24 * 60;

/// Whether there is a night from lights out to lights on, both in minutes of the day.
pub(super) fn is_night(out_min: i32, on_min: i32) -> bool {
    (1..TOO_LONG_MIN).contains(&(on_min - out_min).rem_euclid(DAY_MIN))
}

/// What is wrong with lights out and lights on among the answers of a diary, whatever the night; `None` where
/// there may be such a night, or one of them is not told.
pub fn lights_contradict(answers: &[&str]) -> Option<String> {
    let time = |key: &str| {
        let at = QUESTIONS.iter().position(|question| question.key == key)?;
        time_of_day(answers.get(at)?.trim())
    };
    let minutes = |time: &str| {
        let (hours, minutes) = time.split_once(':')?;
        Some(hours.parse::<i32>().ok()? * 60 + minutes.parse::<i32>().ok()?)
    };
    let (out, on) = (time("lights_out")?, time("lights_on")?);
    (!is_night(minutes(&out)?, minutes(&on)?))
        .then(|| format!("lights on is not after lights out: there is no night from {out} to {on}"))
}

/// Words that say that there was nothing of what is asked.
const DENIALS: [&str; 5] = ["none", "no", "never", "nil", "not at all"];

/// Whether an answer says no more than that there was nothing of what is asked.
fn denies(answer: &str) -> bool {
    DENIALS.contains(&answer.trim_end_matches('.').trim().to_lowercase().as_str())
}

/// An answer that could not be understood.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{found}` is not understood; expected {expected}")]
pub struct DiaryError {
    /// What was written.
    pub found: String,
    /// What was expected, with an example.
    pub expected: String,
}

impl DiaryQuestion {
    /// The answer as lines of a notes file; nothing for an empty answer.
    ///
    /// # Errors
    /// [`DiaryError`] when the answer is of another kind than the question takes.
    pub fn lines(&self, answer: &str) -> Result<DiaryLines, DiaryError> {
        let answer = answer.trim();
        let mut lines = DiaryLines::default();
        if answer.is_empty() {
            return Ok(lines);
        }
        let key = self.key;
        match self.takes {
            Takes::Time => {
                let time = time_of_day(answer).ok_or_else(|| self.not_understood(answer))?;
                let _ = writeln!(lines.keys, "{key} = \"{time}\"");
            }
            Takes::YesNo => {
                let said = yes_or_no(answer).ok_or_else(|| self.not_understood(answer))?;
                let _ = writeln!(lines.keys, "{key} = {said}");
            }
            Takes::Words => {
                let _ = writeln!(lines.keys, "{key} = {}", quoted(answer));
            }
            Takes::Note => lines.marks.push_str(&note(self, answer)),
            // There is no time to mark, and the word stays as it was said.
            Takes::Spans(_) if denies(answer) => lines.marks.push_str(&told(key, answer)),
            Takes::Spans(kind) => {
                for part in answer.split([',', ';']).map(str::trim).filter(|part| !part.is_empty())
                {
                    let mark = span(kind, part).ok_or_else(|| self.not_understood(part))?;
                    lines.marks.push_str(&mark);
                }
            }
        }
        Ok(lines)
    }

    fn not_understood(&self, found: &str) -> DiaryError {
        let kind = match self.takes {
            Takes::Time => "a time of day",
            Takes::YesNo => "yes or no",
            Takes::Spans(_) => "times of day, from-to, with commas between",
            Takes::Words | Takes::Note => "words",
        };
        DiaryError {
            found: found.to_owned(),
            expected: format!("{kind}, for instance {}", self.example),
        }
    }
}

/// Lines of a notes file: keys stand before tables in TOML.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DiaryLines {
    /// Keys.
    pub keys: String,
    /// Marks.
    pub marks: String,
}

/// A notes file from the answers, in the questions' order; unanswered questions stand as comments.
///
/// # Errors
/// [`DiaryError`] for the first answer that is not understood.
pub fn notes_toml(zone: Option<&str>, answers: &[&str]) -> Result<String, DiaryError> {
    let mut text = String::new();
    if let Some(zone) = zone {
        let _ = writeln!(text, "zone = {}", quoted(zone));
    }
    let mut marks = String::new();
    for (question, answer) in
        QUESTIONS.iter().zip(answers.iter().copied().chain(std::iter::repeat("")))
    {
        let lines = question.lines(answer)?;
        if lines == DiaryLines::default() {
            let _ = writeln!(
                text,
                "# {} (not answered; for instance {})",
                question.asks, question.example
            );
        }
        text.push_str(&lines.keys);
        marks.push_str(&lines.marks);
    }
    text.push_str(&marks);
    Ok(text)
}

/// `2:10`, `02.10` or `0210` as `02:10`.
fn time_of_day(text: &str) -> Option<String> {
    let digits: String = text.chars().filter(char::is_ascii_digit).collect();
    let others: Vec<char> = text.chars().filter(|c| !c.is_ascii_digit()).collect();
    let (hours, minutes) = match (digits.len(), others.as_slice()) {
        (3 | 4, [':' | '.' | 'h']) => text.split_once([':', '.', 'h'])?,
        (4, []) => digits.split_at(2),
        _ => return None,
    };
    let (hours, minutes): (u8, u8) = (hours.parse().ok()?, minutes.parse().ok()?);
    (hours < 24 && minutes < 60).then(|| format!("{hours:02}:{minutes:02}"))
}

fn yes_or_no(text: &str) -> Option<bool> {
    match text.to_lowercase().as_str() {
        "yes" | "y" => Some(true),
        "no" | "n" => Some(false),
        _ => None,
    }
}

/// `02:10`, `02:10-02:25`, or either with words after it, as a mark.
fn span(kind: MarkKind, part: &str) -> Option<String> {
    let (times, words) = part.split_once(char::is_whitespace).unwrap_or((part, ""));
    let (from, until) = match times.split_once(['-', '–']) {
        Some((from, until)) => (time_of_day(from)?, Some(time_of_day(until)?)),
        None => (time_of_day(times)?, None),
    };
    let mut mark = format!("\n[[mark]]\nkind = \"{}\"\nat = \"{from}\"\n", kind.id());
    if let Some(until) = until {
        let _ = writeln!(mark, "until = \"{until}\"");
    }
    if !words.trim().is_empty() {
        let _ = writeln!(mark, "text = {}", quoted(words.trim()));
    }
    Some(mark)
}

/// Free words have no time of their own: they are told of the night, and stand at a time they name as well.
fn note(question: &DiaryQuestion, answer: &str) -> String {
    let at = answer.split_whitespace().find_map(time_of_day);
    let marked = at.map_or_else(String::new, |at| {
        let said = quoted(&format!("{} {answer}", question.asks));
        format!("\n[[mark]]\nkind = \"note\"\nat = \"{at}\"\ntext = {said}\n")
    });
    told(question.key, answer) + &marked
}

/// An answer without a time, as lines of a notes file.
pub fn told(about: &str, says: &str) -> String {
    format!("\n[[told]]\nabout = {}\nsays = {}\n", quoted(about), quoted(says))
}

/// Words as a TOML string on one line.
fn quoted(text: &str) -> String {
    let line: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    toml::Value::String(line).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notes::NotesFile;

    #[test]
    fn every_example_becomes_notes_that_read() {
        let answers: Vec<&str> = QUESTIONS.iter().map(|question| question.example).collect();
        let text = notes_toml(Some("Europe/London"), &answers).unwrap();
        let file = NotesFile::parse(&text).unwrap();
        assert_eq!(file.zone(), Some("Europe/London"));
        assert_eq!(text.matches("kind = \"up\"").count(), 2);
        assert!(text.contains("representative = true"));
        assert!(text.contains("text = \"2 L/min\""));
    }

    #[test]
    fn an_empty_diary_reads_and_says_nothing() {
        let text = notes_toml(None, &[]).unwrap();
        assert!(text.lines().all(|line| line.starts_with('#')), "{text}");
        assert!(NotesFile::parse(&text).is_ok());
    }

    #[test]
    fn an_answer_of_another_kind_is_told_with_an_example() {
        let ask = |key: &str, answer: &str| {
            let question = QUESTIONS.iter().find(|question| question.key == key).unwrap();
            question.lines(answer).map(|lines| lines.keys).map_err(|error| error.to_string())
        };
        assert_eq!(
            ask("lights_out", "late"),
            Err("`late` is not understood; expected a time of day, for instance 22:40".into())
        );
        assert_eq!(ask("lights_out", "9.05"), Ok("lights_out = \"09:05\"\n".into()));
        assert!(ask("lights_out", "25:00").is_err() && ask("representative", "often").is_err());
    }

    #[test]
    fn a_plain_no_is_an_answer_where_times_are_asked() {
        for no in ["none", "No", "never.", "nil", "Not at all"] {
            let text = notes_toml(None, &["", "", "", no, "", no]).unwrap();
            assert!(!text.contains("[[mark]]") && text.contains("about = \"oxygen\""), "{text}");
            assert!(NotesFile::parse(&text).is_ok(), "{text}");
        }
        assert!(notes_toml(None, &["", "", "", "now and then"]).is_err());
    }

    #[test]
    fn lights_that_are_no_night_are_told() {
        for [out, on] in
            [["22:40", "22:30"], ["06:50", "22:40"], ["23:00", "23:00"], ["7.00", "2230"]]
        {
            let told = lights_contradict(&[out, on]).unwrap();
            assert!(told.starts_with("lights on is not after lights out"), "{told}");
        }
        for [out, on] in [["22:40", "06:50"], ["08:00", "15:30"], ["00:10", "06:00"], ["", "22:30"]]
        {
            assert_eq!(lights_contradict(&[out, on]), None, "{out} {on}");
        }
        assert_eq!(lights_contradict(&[]), None);
    }

    #[test]
    fn words_cannot_write_keys_of_their_own() {
        let sly = "air\"\nlights_out = \"22:00";
        let text = notes_toml(None, &["", "", "", "", "", "", "", "", sly]).unwrap();
        let keys: toml::Table = text.parse().unwrap();
        assert_eq!(keys.keys().collect::<Vec<_>>(), ["breathing"]);
    }
}
