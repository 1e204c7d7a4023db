//! The figures, grouped by channel, CO2 in both units on one line.

use super::{FigureGroup, FigureLine};
use crate::judge::Judgement;
use crate::recording::Quantity;
use crate::report::words;
use crate::score::Figure;
use crate::score::Measure;
use crate::score::Scores;

/// The figures that belong on the first page, each with a name short enough for a narrow table under
/// its channel's title; every other stands on the second.
const KEY: [(&str, &str); 20] = [
    ("spo2.awake", "Awake"),
    ("spo2.mean", "Mean"),
    ("spo2.min", "Lowest"),
    ("spo2.time_below_90", "Below 90 %"),
    ("spo2.time_at_or_below_88", "At or below 88 %"),
    ("spo2.longest_at_or_below_88", "Longest at or below 88 %"),
    ("spo2.odi3", "Falls of 3 % (ODI3)"),
    ("spo2.odi4", "Falls of 4 % (ODI4)"),
    ("tcpco2.awake", "Awake"),
    ("tcpco2.mean", "Mean"),
    ("tcpco2.max", "Highest"),
    ("tcpco2.sustained10", "Held for 10 min"),
    ("tcpco2.rise", "Rise above awake"),
    ("tcpco2.time_above_6_5", "Above 6.5 kPa"),
    ("tcpco2.time_above_50mmhg", "Above 50 mmHg"),
    ("tcpco2.time_above_55mmhg", "Above 55 mmHg"),
    ("pulse.mean", "Mean"),
    ("pulse.min", "Lowest"),
    ("pulse.max", "Highest"),
    ("pulse.rises6", "Rises of 6 /min"),
];

const GROUPS: [(Quantity, &str); 3] =
    [(Quantity::Spo2, "Oxygen"), (Quantity::Tcpco2, "Carbon dioxide"), (Quantity::Pulse, "Pulse")];

/// One group for each scored channel that has any measure.
pub(super) fn groups(judgement: &Judgement) -> Vec<FigureGroup> {
    GROUPS
        .into_iter()
        .filter_map(|(quantity, title)| {
            let believed_s = judgement
                .scores
                .corrected
                .screened
                .trace(quantity)
                .map_or(0.0, |trace| trace.believed_s());
            let lines = lines(&judgement.scores, quantity, believed_s);
            (!lines.is_empty()).then(|| FigureGroup {
                title: title.into(),
                channel: quantity.id().into(),
                seconds: believed_s,
                stands_on: words::duration(believed_s),
                lines,
            })
        })
        .collect()
}

fn lines(scores: &Scores, quantity: Quantity, believed_s: f64) -> Vec<FigureLine> {
    let of_channel =
        |id: &str| id.split_once('.').is_some_and(|(channel, _)| channel == quantity.id());
    scores
        .measures
        .iter()
        .filter(|measure| of_channel(measure.id) && twin_of(scores, measure.id).is_none())
        .map(|measure| line(measure, scores.measure(&format!("{}_mmhg", measure.id)), believed_s))
        .collect()
}

/// The measure in kPa that an `…_mmhg` measure repeats.
fn twin_of<'a>(scores: &'a Scores, id: &str) -> Option<&'a Measure> {
    scores.measure(id.strip_suffix("_mmhg")?)
}

fn line(measure: &Measure, mmhg: Option<&Measure>, believed_s: f64) -> FigureLine {
    let print = |value| words::number(measure.id, &measure.unit, value);
    let (value, range, absent) = match &measure.figure {
        Figure::Given { value, lowest, highest } => {
            let (low, high) = (bound(*lowest, print), bound(*highest, print));
            let range = (low != high).then(|| format!("{low}\u{2013}{high}"));
            (Some(print(*value)), range, None)
        }
        Figure::Absent(why) => (None, None, Some(why.clone())),
    };
    let in_words = measure.unit == crate::unit::Unit::Second;
    FigureLine {
        id: measure.id.into(),
        name: measure.name.into(),
        short: KEY.iter().find(|(id, _)| *id == measure.id).map(|(_, name)| (*name).into()),
        on_less: measure.value().is_some() && measure.seconds < believed_s / 2.0,
        figure: measure.figure.clone(),
        value,
        unit: if in_words { String::new() } else { measure.unit.symbol().into() },
        mmhg: mmhg.and_then(|m| Some(words::number(m.id, &m.unit, m.value()?))),
        range,
        absent,
        seconds: measure.seconds,
        stands_on: words::duration(measure.seconds),
        definition: measure.definition.into(),
        source: measure.source.into(),
    }
}

fn bound(value: f64, print: impl Fn(f64) -> String) -> String {
    if value.is_finite() { print(value) } else { "open".into() }
}
