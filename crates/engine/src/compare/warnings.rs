//! What must be known before a difference between sides is believed.

use std::collections::BTreeSet;

use crate::compare::Side;
use crate::compare::letter;
use crate::correct::Model;
use crate::notes::Told;
use crate::recording::Quantity;
use crate::report::duration;
use crate::report::fixed;
use crate::screen::PeriodBasis;

/// One thing that stands between two nights beside what is looked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Warning {
    /// Its fixed name.
    pub code: &'static str,
    /// What differs, in whole sentences.
    pub says: String,
}

const SCORED: [Quantity; 3] = [Quantity::Spo2, Quantity::Tcpco2, Quantity::Pulse];

/// Everything that differs between the sides and could make a difference of its own.
pub(super) fn warnings(sides: &[Side]) -> Vec<Warning> {
    let nights: BTreeSet<i64> = sides.iter().map(|side| side.night).collect();
    let mut all = Vec::new();
    if nights.len() < sides.len() {
        all.push(Warning { code: "same_night", says: same_night(sides) });
    }
    if nights.len() > 1 {
        all.extend(averaging(sides));
        all.extend(sampling(sides));
        all.extend(monitors(sides));
        all.extend(heat(sides));
    }
    all.extend(corrected(sides));
    all.extend(believed(sides));
    all.extend(criteria(sides));
    all.extend(questions(sides));
    all.extend(support(sides));
    all.extend(usual(sides));
    all.extend(answers(sides));
    all.extend(basis(sides));
    all.extend(readers(sides));
    all
}

/// `2 s on A; 8 s on B and C`; sides that say the same stand together, in their order.
fn told(words: &[String]) -> String {
    let mut kinds: Vec<(&String, Vec<String>)> = Vec::new();
    for (at, word) in words.iter().enumerate() {
        let side = letter(at).to_string();
        match kinds.iter_mut().find(|(known, _)| *known == word) {
            Some((_, sides)) => sides.push(side),
            None => kinds.push((word, vec![side])),
        }
    }
    let parts = kinds.iter().map(|(word, sides)| format!("{word} on {}", listed(sides)));
    parts.collect::<Vec<_>>().join("; ")
}

/// `A`, `A and B`, `A, B and C`.
fn listed(sides: &[String]) -> String {
    match sides.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        Some((last, _)) => last.clone(),
        None => String::new(),
    }
}

fn alike(words: &[String]) -> bool {
    words.windows(2).all(|pair| pair[0] == pair[1])
}

/// A warning where the sides do not say the same.
fn differing(
    code: &'static str,
    words: &[String],
    says: impl Fn(&str) -> String,
) -> Option<Warning> {
    (!alike(words)).then(|| Warning { code, says: says(&told(words)) })
}

fn each(sides: &[Side], of: impl Fn(&Side) -> String) -> Vec<String> {
    sides.iter().map(of).collect()
}

fn same_night(sides: &[Side]) -> String {
    let mut groups: Vec<(i64, Vec<String>)> = Vec::new();
    for (at, side) in sides.iter().enumerate() {
        let name = letter(at).to_string();
        match groups.iter_mut().find(|(night, _)| *night == side.night) {
            Some((_, names)) => names.push(name),
            None => groups.push((side.night, vec![name])),
        }
    }
    let parts = groups.iter().filter(|(_, names)| names.len() > 1);
    let parts: Vec<String> =
        parts.map(|(_, names)| format!("{} are the same night", listed(names))).collect();
    format!(
        "{}: what differs there is how it was judged, and the spread from night to night says nothing of it.",
        parts.join("; ")
    )
}

/// The time over which the oximeter averages; longer hides falls.
fn averaging(sides: &[Side]) -> Option<Warning> {
    const EFFECT: &str = "The number of falls depends first of all on the averaging time (vagedes-2014): longer averaging hides short falls and lifts the lowest value, so that falls an hour, lowest values and times below a level are not alike";
    let words = each(sides, |side| {
        let notes = &side.judgement.scores.corrected.screened.notes;
        notes
            .monitor
            .averaging_s
            .map_or_else(|| "not told".to_owned(), |seconds| format!("{} s", fixed(seconds, 0)))
    });
    let unknown = words.iter().any(|word| word == "not told");
    if unknown && alike(&words) {
        let says = format!(
            "The averaging time of the oximeter is not told on any side; it may differ. {EFFECT} where it does."
        );
        return Some(Warning { code: "averaging_unknown", says });
    }
    let code = if unknown { "averaging_unknown" } else { "averaging_differs" };
    differing(code, &words, |told| {
        let what = if unknown { "is not known on every side" } else { "differs" };
        format!("The averaging time of the oximeter {what}: {told}. {EFFECT}.")
    })
}

/// How often each channel was written, and whether it was.
fn sampling(sides: &[Side]) -> Vec<Warning> {
    let one = |quantity: Quantity| {
        let words = each(sides, |side| {
            let recording = &side.judgement.scores.corrected.screened.recording;
            recording.channel(quantity).map_or_else(
                || match recording.not_taken(quantity) {
                    Some(_) => "perhaps and was not read".to_owned(),
                    None => "not at all".to_owned(),
                },
                |channel| {
                    let decimals = if channel.period_s < 1.0 { 3 } else { 0 };
                    format!("every {} s", fixed(channel.period_s, decimals))
                },
            )
        });
        let name = quantity.name();
        let missing = words.iter().any(|word| !word.starts_with("every"));
        let effect = if missing { "" } else { " The coarser side can miss short falls and rises." };
        differing("sampling_differs", &words, |told| format!("{name} was recorded {told}.{effect}"))
    };
    SCORED.into_iter().filter_map(one).collect()
}

fn monitors(sides: &[Side]) -> Option<Warning> {
    let words = each(sides, |side| {
        let own = side.judgement.scores.corrected.screened.recording.monitor.as_deref();
        side.monitor.or(own).unwrap_or("not known").to_owned()
    });
    differing("monitors_differ", &words, |told| {
        format!("The monitors differ: {told}. Part of a difference may be theirs.")
    })
}

/// A heated sensor reads CO2 by its temperature.
fn heat(sides: &[Side]) -> Option<Warning> {
    let words = each(sides, |side| {
        let notes = &side.judgement.scores.corrected.screened.notes;
        notes.monitor.sensor_temp_c.map_or_else(
            || "a temperature nobody noted".to_owned(),
            |heat| format!("{} °C", fixed(heat, 1)),
        )
    });
    differing("heat_differs", &words, |told| {
        format!("The sensor was heated to {told}; CO2 through the skin depends on it.")
    })
}

fn corrected(sides: &[Side]) -> Option<Warning> {
    let words = each(sides, |side| {
        let corrected = &side.judgement.scores.corrected;
        let recording = &corrected.screened.recording;
        match corrected.tcpco2.as_ref().map(|co2| co2.model) {
            None if recording.not_taken(Quantity::Tcpco2).is_some() => "not read",
            None => "not recorded",
            Some(Model::None) => "taken as recorded",
            Some(_) => "corrected",
        }
        .to_owned()
    });
    let has = |wanted: &str| words.iter().any(|word| word == wanted);
    if !(has("corrected") && has("taken as recorded")) {
        return None;
    }
    differing("correction_differs", &words, |told| {
        format!(
            "CO2 is {told}. The error of the sensor is taken out on one side only, so that a difference of levels can be the sensor's."
        )
    })
}

/// Believed time that is enough on one side and not on another, or less than half as long.
fn believed(sides: &[Side]) -> Vec<Warning> {
    let one = |quantity: Quantity| {
        let hours: Vec<f64> = sides
            .iter()
            .map(|side| {
                let quality = side.report.quality.iter().find(|one| one.channel == quantity.id());
                quality.map_or(0.0, |one| one.believed_s / 3600.0)
            })
            .collect();
        let enough: Vec<String> = sides
            .iter()
            .zip(&hours)
            .map(|(side, hours)| {
                least_h(side, quantity).is_none_or(|least| *hours >= least).to_string()
            })
            .collect();
        let most = hours.iter().copied().fold(0.0, f64::max);
        let uneven = hours.iter().any(|hours| *hours < most / 2.0);
        if alike(&enough) && !uneven {
            return None;
        }
        let words: Vec<String> = hours.iter().map(|hours| duration(hours * 3600.0)).collect();
        let says = format!(
            "Believed {} differs much: {}. A short night may lack the hours in which most happens.",
            quantity.name(),
            told(&words)
        );
        Some(Warning { code: "believed_differs", says })
    };
    SCORED.into_iter().filter_map(one).collect()
}

/// The least believed hours the criteria of a side ask for.
fn least_h(side: &Side, quantity: Quantity) -> Option<f64> {
    let judge = &side.criteria.judge;
    match quantity {
        Quantity::Spo2 => Some(judge.spo2_least_h.value),
        Quantity::Tcpco2 => Some(judge.tcpco2_least_h.value),
        _ => None,
    }
}

fn criteria(sides: &[Side]) -> Option<Warning> {
    let hashes = each(sides, |side| side.judgement.criteria.sha256.clone());
    if alike(&hashes) {
        return None;
    }
    let words = each(sides, |side| {
        let stamp = &side.judgement.criteria;
        format!("{} {}", stamp.name, stamp.version)
    });
    let says = format!(
        "The criteria differ: {}. What is believed, counted and asked may differ with them.",
        told(&words)
    );
    Some(Warning { code: "criteria_differ", says })
}

fn questions(sides: &[Side]) -> Option<Warning> {
    let words = each(sides, |side| {
        let asks = side.report.question.trim();
        if asks.is_empty() { "no question".to_owned() } else { format!("\u{201c}{asks}\u{201d}") }
    });
    differing("questions_differ", &words, |told| {
        format!("The verdicts answer different questions: {told}.")
    })
}

fn support(sides: &[Side]) -> Option<Warning> {
    let words = each(sides, |side| side.support().unwrap_or_else(|| "not told".to_owned()));
    differing("support_differs", &words, |told| {
        format!(
            "What was breathed differs: {told}. That may be what is looked at; everything else that changed between the nights lies in the same difference."
        )
    })
}

fn usual(sides: &[Side]) -> Option<Warning> {
    let unusual: Vec<String> = sides
        .iter()
        .enumerate()
        .filter(|(_, side)| {
            side.judgement.scores.corrected.screened.notes.representative == Some(false)
        })
        .map(|(at, _)| letter(at).to_string())
        .collect();
    (!unusual.is_empty() && unusual.len() < sides.len()).then(|| Warning {
        code: "not_usual",
        says: format!("The patient says that {} was not a usual night.", listed(&unusual)),
    })
}

/// Answers of the diary that have no time: alcohol and tablets, the skin, whatever else was told.
fn answers(sides: &[Side]) -> Vec<Warning> {
    let notes = |side: &Side| side.judgement.scores.corrected.screened.notes.told.clone();
    let mut abouts: Vec<Told> = Vec::new();
    for told in sides.iter().flat_map(notes) {
        if !abouts.iter().any(|known| known.about == told.about) {
            abouts.push(told);
        }
    }
    let one = |about: &Told| {
        let words = each(sides, |side| {
            let said = notes(side).into_iter().filter(|told| told.about == about.about);
            let said: Vec<String> =
                said.map(|told| format!("\u{201c}{}\u{201d}", told.says)).collect();
            if said.is_empty() { "not told".to_owned() } else { said.join(", ") }
        });
        let asked = about.asked().trim_end_matches('?');
        differing("answers_differ", &words, |told| format!("{asked}: {told}."))
    };
    abouts.iter().filter_map(one).collect()
}

fn basis(sides: &[Side]) -> Option<Warning> {
    let words = each(sides, |side| {
        match side.judgement.scores.corrected.screened.period.basis {
            PeriodBasis::LightsMarked => "from lights out to lights on",
            PeriodBasis::OneLightMarked => "from or to the one light that was marked",
            PeriodBasis::WholeRecording => "over the whole recording",
        }
        .to_owned()
    });
    differing("period_differs", &words, |told| {
        format!("The night was scored {told}. Time awake in bed counts on one side only.")
    })
}

fn readers(sides: &[Side]) -> Option<Warning> {
    let words = each(sides, |side| match side.reader {
        Some(reader) => format!("by {reader}"),
        None => "by the tool alone".to_owned(),
    });
    differing("readers_differ", &words, |told| {
        format!(
            "They were judged by different readers: {told}. What a person leaves out changes the figures."
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sides_that_say_the_same_stand_together() {
        let words = ["2 s", "8 s", "2 s", "8 s"].map(str::to_owned);
        assert_eq!(told(&words), "2 s on A and C; 8 s on B and D");
        assert_eq!(listed(&["A", "B", "C"].map(str::to_owned)), "A, B and C");
    }
}
