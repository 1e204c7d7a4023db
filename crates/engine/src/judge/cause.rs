//! Why a night does not answer, as a kind that can be counted, found again in the sentences of a verdict.
//!
//! Results are kept with their sentences, so the sentences and what they are told by stand here together.

use super::verdict;
use crate::recording::Quantity;

/// A kind of reason.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// The recording has no such channel.
    Absent(Quantity),
    /// The file may hold such a channel, and it was not read.
    NotRead(Quantity),
    /// Too little of the channel can be believed.
    TooLittle(Quantity),
    /// The patient says that the night was not a usual one.
    NotUsual,
    /// The CO2 sensor drifted further than the department accepts.
    Drifted,
    /// Blood gases, gas checks and the sensor do not agree.
    Disagree,
    /// A blood gas past a rule's level that the sensor cannot be held against.
    Unpaired,
    /// The CO2 sensor never settled.
    NeverSettled,
    /// The times of lights out and lights on contradict each other.
    Lights,
    /// No more than that the rules cannot be told.
    Untold,
}

impl Cause {
    /// The kind in words.
    pub fn words(self) -> String {
        match self {
            Self::Absent(quantity) => format!("no {} in the recording", quantity.name()),
            Self::NotRead(quantity) => format!("{} in the file not read", quantity.name()),
            Self::TooLittle(quantity) => format!("too little {} believed", quantity.name()),
            Self::NotUsual => "not a usual night".to_owned(),
            Self::Drifted => "CO2 sensor drifted".to_owned(),
            Self::Disagree => "blood gas and sensor do not agree".to_owned(),
            Self::Unpaired => "blood gas without a reading to hold it against".to_owned(),
            Self::NeverSettled => "CO2 sensor never settled".to_owned(),
            Self::Lights => "lights out and on contradict".to_owned(),
            Self::Untold => "rules cannot be told".to_owned(),
        }
    }
}

/// The kinds of reason a verdict gives, each once, in their order. That rules cannot be told follows from
/// most other reasons, so it is one only where it stands alone.
pub fn causes(reasons: &[String]) -> Vec<Cause> {
    let mut all: Vec<Cause> = Vec::new();
    for cause in reasons.iter().filter_map(|reason| of(reason)) {
        if !all.contains(&cause) {
            all.push(cause);
        }
    }
    if all.len() > 1 {
        all.retain(|cause| *cause != Cause::Untold);
    }
    all
}

fn of(reason: &str) -> Option<Cause> {
    let named = |name: &str| {
        [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2]
            .into_iter()
            .find(|one| one.name() == name)
    };
    if let Some(name) = reason.strip_prefix(verdict::LACKS) {
        return named(name.trim_end_matches('.')).map(Cause::Absent);
    }
    if let Some((name, _)) = reason.split_once(verdict::NOT_READ) {
        return named(name).map(Cause::NotRead);
    }
    if let Some((name, _)) = reason.split_once(verdict::BELIEVED_FOR) {
        return named(name).map(Cause::TooLittle);
    }
    if reason.contains(verdict::DO_NOT_AGREE) {
        return Some(Cause::Disagree);
    }
    let told = [
        (verdict::UNPAIRED, Cause::Unpaired),
        (verdict::NOT_USUAL, Cause::NotUsual),
        (verdict::DRIFTED, Cause::Drifted),
        (verdict::NEVER_SETTLED, Cause::NeverSettled),
        (verdict::CONTRADICT, Cause::Lights),
        (verdict::UNTOLD, Cause::Untold),
    ];
    told.into_iter().find(|(beginning, _)| reason.starts_with(beginning)).map(|(_, cause)| cause)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sentences as results keep them.
    #[test]
    fn each_kind_is_found_in_its_sentence() {
        let spo2 = Quantity::Spo2;
        for (reason, cause) in [
            ("The recording has no tcPCO2.", Cause::Absent(Quantity::Tcpco2)),
            (
                "tcPCO2 was not read, though the file may hold it: The column `X CO2` looks like tcPCO2.",
                Cause::NotRead(Quantity::Tcpco2),
            ),
            (
                "SpO2 can be believed for 3 h 59 min, less than the 4 h this department asks.",
                Cause::TooLittle(spo2),
            ),
            ("The patient says that the night was not a usual one.", Cause::NotUsual),
            (
                "The CO2 sensor drifted by 1.40 kPa, more than the 0.67 kPa this department accepts.",
                Cause::Drifted,
            ),
            (
                "The blood gases and the sensor do not agree: at 23:11 the blood gas was 5.57 kPa (41.8 mmHg) and the sensor read 5.50 kPa (41.3 mmHg); at 06:30 the blood gas was 7.66 kPa (57.5 mmHg) and the sensor read 5.50 kPa (41.3 mmHg).",
                Cause::Disagree,
            ),
            (
                "A blood gas past a rule's level could not be held against the sensor: 7.66 kPa (57.5 mmHg) at 06:30; it was taken outside the recording of CO2.",
                Cause::Unpaired,
            ),
            (
                "Most of the CO2 that is believed comes from a sensor that never settled: its level is not to be relied on.",
                Cause::NeverSettled,
            ),
            (
                "The times of lights out and lights on contradict each other, so the whole recording was scored.",
                Cause::Lights,
            ),
            (
                "It cannot be told whether there was SpO2 at or below 88 %: 2 h are not believed.",
                Cause::Untold,
            ),
        ] {
            assert_eq!(causes(&[reason.to_owned()]), [cause]);
        }
        assert_eq!(causes(&["None of the 3 rules this question needs is met.".to_owned()]), []);
    }

    #[test]
    fn that_rules_cannot_be_told_counts_only_where_it_stands_alone() {
        let untold = format!("{}a rise: unseen.", verdict::UNTOLD);
        assert_eq!(causes(&[untold.clone(), untold.clone()]), [Cause::Untold]);
        assert_eq!(causes(&[verdict::NOT_USUAL.to_owned(), untold]), [Cause::NotUsual]);
    }
}
