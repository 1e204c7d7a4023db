//! What is severe in a kept result, whatever was asked.

use engine::judge::SEVERE;
use serde::Deserialize;

use crate::record::tables::Outcome;

/// Severe findings in one text, as a list tells them; `None` when there are none.
pub(crate) fn severe_says(sentences: &[&str]) -> Option<String> {
    (!sentences.is_empty()).then(|| format!("{SEVERE}{}", sentences.join(" ")))
}

/// What of a kept result tells its severe findings.
#[derive(Deserialize)]
struct Findings {
    /// `None` in what was kept before there were such findings.
    severe: Option<Vec<Finding>>,
}

#[derive(Deserialize)]
struct Finding {
    sentence: String,
}

impl Outcome {
    /// What is severe in the night, whatever was asked, in one text. It is read from the findings themselves, not
    /// from the words of a reason; of a result kept before they were told apart its reason is all there is.
    pub fn severe(&self) -> Option<String> {
        let kept = serde_json::from_str::<Findings>(&self.scores).ok().and_then(|kept| kept.severe);
        match kept {
            Some(all) => {
                let sentences: Vec<&str> = all.iter().map(|one| one.sentence.as_str()).collect();
                severe_says(&sentences)
            }
            None => self.reason.clone().filter(|reason| reason.starts_with(SEVERE)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outcome(scores: &str, reason: &str) -> Outcome {
        Outcome {
            id: 1,
            act: 1,
            night: 1,
            at: 0,
            criteria: "adult-air".to_owned(),
            criteria_version: "1".to_owned(),
            criteria_sha256: String::new(),
            engine: String::new(),
            notes_sha256: String::new(),
            verdict: "repeat".to_owned(),
            reason: Some(reason.to_owned()),
            believed_h: 0.0,
            scores: scores.to_owned(),
        }
    }

    /// The words of a reason may change, or be those of a quoted remark: the findings tell.
    #[test]
    fn severe_is_what_the_findings_say_and_not_how_a_reason_begins() {
        let found =
            r#"{"severe":[{"id":"a","sentence":"SpO2 was held below 60 %."},{"sentence":"Two."}]}"#;
        let says = outcome(found, "anything").severe().unwrap();
        assert_eq!(says, format!("{SEVERE}SpO2 was held below 60 %. Two."));
        let none = outcome(r#"{"severe":[]}"#, &format!("{SEVERE}as a remark has it"));
        assert_eq!(none.severe(), None);
    }

    #[test]
    fn a_result_kept_before_findings_were_told_apart_is_read_by_its_reason() {
        for scores in ["{}", "", r#"{"verdict":{}}"#] {
            let old = format!("{SEVERE}SpO2 to 58 %.");
            assert_eq!(outcome(scores, &old).severe(), Some(old));
            assert_eq!(outcome(scores, "Too little is believed.").severe(), None);
        }
    }
}
