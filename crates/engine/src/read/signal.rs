//! From a signal's label and dimension to a channel: shared by the readers of binary files.
//!
//! One table says which words of the trade mean which quantity, so that it can be corrected in one place.

use jiff::civil::DateTime;

use super::ReadError;
use super::ReadOptions;
use super::map::ColumnMap;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Author;
use crate::recording::Channel;
use crate::recording::Mark;
use crate::recording::MarkKind;
use crate::recording::Quantity;
use crate::time::Clock;
use crate::time::zone_name;
use crate::unit::Unit;
use crate::unit::kpa_from_mmhg;

/// One signal on its way to a channel.
#[derive(Debug)]
pub(super) struct Draft {
    pub(super) label: String,
    pub(super) dimension: String,
    pub(super) period_s: f64,
    pub(super) offset_s: f64,
    pub(super) samples: Vec<f64>,
    /// What the least digital value stands for, where the format has no code for a missing sample.
    pub(super) bottom: Option<f64>,
    /// Distance between neighbouring values.
    pub(super) step: f64,
    /// What a column map says it is.
    pub(super) picked: Option<Quantity>,
    /// The unit a column map says it has.
    pub(super) unit: Option<String>,
}

impl Draft {
    /// The unit as the map says, else as the file does.
    fn unit_text(&self) -> &str {
        self.unit.as_deref().unwrap_or(&self.dimension)
    }
}

/// Words for the quantities, without spaces and marks, in capitals. The EDF+ standard text for oxygen
/// saturation is `SaO2`; the others are words of the trade, common practice, no source.
const WORDS: [(Quantity, &[&str]); 9] = [
    (
        Quantity::Spo2,
        &["SAO2", "SPO2", "OSAT", "O2SAT", "SATO2", "SAT", "OXYGENSATURATION", "SATURATION"],
    ),
    (Quantity::Pulse, &["PULSE", "PR", "PULSERATE", "PULS", "SPO2PR", "SPO2PULSE"]),
    (
        Quantity::Tcpco2,
        &["TCCO2", "TCPCO2", "PTCCO2", "PCO2TC", "CO2TC", "PTCCO2TC", "TRANSCUTANEOUSCO2"],
    ),
    (Quantity::Perfusion, &["PI", "PERF", "PERFUSION", "PERFUSIONINDEX", "PERFINDEX"]),
    (Quantity::Heater, &["HEATER", "HEATERPOWER", "HEATINGPOWER", "HEATPOWER"]),
    (Quantity::SensorTemp, &["SENSORTEMP", "SENSORTEMPERATURE", "TSENSOR", "TEMPSENSOR"]),
    (Quantity::Pleth, &["PLETH", "PPG", "PLETHYSMOGRAM", "PLETHYSMOGRAPH"]),
    (Quantity::Flow, &["FLOW", "AIRFLOW"]),
    (Quantity::Leak, &["LEAK", "LEAKAGE"]),
];

/// Words for a heart rate that need not come from the oximeter.
const HEART_RATE: [&str; 3] = ["HR", "HEARTRATE", "HEART"];

/// Values of transcutaneous CO2 lie below 15 kPa (113 mmHg) and above 15 mmHg (2 kPa) in the living; a
/// median on the other side tells that the unit is wrong. Common practice, no source.
const KPA_AND_MMHG_PART_AT: f64 = 15.0;

/// Letters and digits in capitals; subscript digits as digits.
fn plain(text: &str) -> String {
    let digit = |c: char| match u32::from(c).checked_sub(u32::from('₀')) {
        Some(value @ 0..=9) => char::from_digit(value, 10).unwrap_or(c),
        _ => c,
    };
    text.chars().map(digit).filter(char::is_ascii_alphanumeric).collect::<String>().to_uppercase()
}

/// What a label says, and whether it says it plainly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Says {
    Quantity(Quantity),
    /// A heart rate, which stands for the pulse where nothing better does.
    HeartRate,
    Nothing,
}

/// The whole label, else its first word (EDF+ labels are a type, a space and a specification).
fn says(label: &str) -> Says {
    let whole = plain(label);
    let first = plain(label.split([' ', '(', '[', ',']).next().unwrap_or_default());
    for word in [whole, first] {
        if HEART_RATE.contains(&word.as_str()) {
            return Says::HeartRate;
        }
        let known = WORDS.iter().find(|(_, words)| words.contains(&word.as_str()));
        if let Some((quantity, _)) = known {
            return Says::Quantity(*quantity);
        }
    }
    Says::Nothing
}

/// The unit a dimension names; one that is not known is kept as written.
fn unit(dimension: &str) -> Unit {
    let word = dimension.trim();
    match word.to_lowercase().replace([' ', '.'], "").as_str() {
        "" => Unit::One,
        "%" | "percent" | "pct" => Unit::Percent,
        "bpm" | "/min" | "1/min" | "b/m" | "b/min" | "beats/min" | "min-1" | "p/min" => {
            Unit::PerMinute
        }
        "kpa" => Unit::Kilopascal,
        "mmhg" | "mm[hg]" | "torr" => Unit::MillimetreOfMercury,
        "degc" | "°c" | "c" | "cel" => Unit::Celsius,
        "mw" => Unit::Milliwatt,
        "l/min" | "lpm" => Unit::LitrePerMinute,
        "s" => Unit::Second,
        _ => Unit::Other(word.to_owned()),
    }
}

/// The units a quantity may come in; empty: any. A dimension left out is told by the label.
fn fits(quantity: Quantity, unit: &Unit) -> bool {
    match quantity {
        Quantity::Spo2 => matches!(unit, Unit::Percent | Unit::One),
        Quantity::Pulse => matches!(unit, Unit::PerMinute | Unit::One),
        _ => true,
    }
}

/// Channels from signals: quantities told by a column map or the label, units checked, missing samples
/// empty.
///
/// # Errors
/// [`ReadError`] when two signals could be the same scored quantity, or the unit of CO2 is missing or
/// cannot be true.
pub(super) fn channels(
    mut drafts: Vec<Draft>,
    options: &ReadOptions,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Channel>, ReadError> {
    if let Some(map) = &options.map {
        apply(map, &mut drafts)?;
    }
    let quantities = quantities(&drafts, findings)?;
    let mut channels: Vec<Channel> = Vec::with_capacity(drafts.len());
    for (draft, quantity) in drafts.into_iter().zip(quantities) {
        let id = unique_id(quantity, &draft.label, &channels);
        channels.push(channel(draft, quantity, id, findings)?);
    }
    Ok(channels)
}

/// Lays a column map over the signals: what it names, by label or `#3`, is what the map says.
fn apply(map: &ColumnMap, drafts: &mut Vec<Draft>) -> Result<(), ReadError> {
    let place = |name: &str| {
        let number = name.strip_prefix('#').and_then(|number| number.parse::<usize>().ok());
        drafts
            .iter()
            .position(|draft| draft.label == name)
            .or(number.and_then(|n| n.checked_sub(1)))
    };
    let mut picks = Vec::new();
    for entry in &map.columns {
        let index = place(&entry.column).filter(|index| *index < drafts.len()).ok_or_else(|| {
            ReadError::not_understood(format!(
                "the column map names the signal `{}`: expected it in the file, found none of that name",
                entry.column
            ))
        })?;
        picks.push((index, entry));
    }
    let ignored: Vec<usize> = map.ignore.iter().filter_map(|name| place(name)).collect();
    for (index, entry) in picks {
        let draft = &mut drafts[index];
        draft.picked = Quantity::from_id(&entry.quantity);
        draft.unit.clone_from(&entry.unit);
        let codes =
            entry.missing.iter().flatten().filter_map(|code| code.trim().parse::<f64>().ok());
        let half_step = draft.step / 2.0;
        for code in codes {
            let lost = draft.samples.iter_mut().filter(|s| (**s - code).abs() <= half_step);
            lost.for_each(|sample| *sample = f64::NAN);
        }
    }
    let mut index = 0;
    drafts.retain(|_| {
        index += 1;
        !ignored.contains(&(index - 1))
    });
    Ok(())
}

fn quantities(drafts: &[Draft], findings: &mut Vec<Finding>) -> Result<Vec<Quantity>, ReadError> {
    let said: Vec<Says> = drafts.iter().map(|draft| says(&draft.label)).collect();
    let picked = |quantity| drafts.iter().any(|draft| draft.picked == Some(quantity));
    let pulse_told = said.contains(&Says::Quantity(Quantity::Pulse)) || picked(Quantity::Pulse);
    let mut quantities = Vec::with_capacity(drafts.len());
    for (draft, said) in drafts.iter().zip(&said) {
        let meant = match (draft.picked, said) {
            (Some(quantity), _) => quantity,
            // The map's choice stands: another signal of the same name is kept beside it.
            (None, Says::Quantity(quantity)) if picked(*quantity) => Quantity::Other,
            (None, Says::Quantity(quantity)) => *quantity,
            (None, Says::HeartRate) if !pulse_told => Quantity::Pulse,
            (None, Says::HeartRate | Says::Nothing) => Quantity::Other,
        };
        let fitting = fits(meant, &unit(draft.unit_text()));
        match (draft.picked, said, fitting) {
            (None, Says::HeartRate, true) if meant == Quantity::Pulse => {
                findings.push(heart_rate(draft));
            }
            (None, _, false) => findings.push(unit_unexpected(draft, meant)),
            (Some(_), _, false) => return Err(unit_refused(draft, meant)),
            _ => {}
        }
        quantities.push(if fitting { meant } else { Quantity::Other });
    }
    for scored in [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2] {
        refuse_two(drafts, &quantities, scored)?;
    }
    Ok(quantities)
}

fn unit_refused(draft: &Draft, meant: Quantity) -> ReadError {
    ReadError::refused(format!(
        "unit `{}` of `{}` is not known for {}",
        draft.unit_text(),
        draft.label,
        meant.name()
    ))
    .hint("if the file is wrong, the column map can name the unit")
}

fn heart_rate(draft: &Draft) -> Finding {
    let sentence = format!(
        "The pulse was taken from the signal {}, which may count heart beats from another sensor than \
         the oximeter.",
        draft.label
    );
    Finding::new("heart_rate_as_pulse", Weight::Note, sentence).on(Quantity::Pulse.id())
}

fn unit_unexpected(draft: &Draft, meant: Quantity) -> Finding {
    let sentence = format!(
        "The signal {} is named like {} and is counted in {}; it was kept and is not scored.",
        draft.label,
        meant.name(),
        draft.dimension
    );
    Finding::new("unit_unexpected", Weight::Caution, sentence)
}

fn refuse_two(
    drafts: &[Draft],
    quantities: &[Quantity],
    scored: Quantity,
) -> Result<(), ReadError> {
    let mut same = drafts.iter().zip(quantities).filter(|(_, quantity)| **quantity == scored);
    let (Some((first, _)), Some((second, _))) = (same.next(), same.next()) else { return Ok(()) };
    let what = format!(
        "two signals could be {}: expected one, found `{}` and `{}`",
        scored.name(),
        first.label,
        second.label
    );
    Err(ReadError::refused(what).hint("say in a column map which of the two is to be scored"))
}

fn channel(
    mut draft: Draft,
    quantity: Quantity,
    id: String,
    findings: &mut Vec<Finding>,
) -> Result<Channel, ReadError> {
    let missing = empty_missing(&mut draft, quantity);
    if missing > 0 {
        let sentence = format!(
            "{} of {} samples of {} hold 0 or the bottom of their range: read as missing.",
            missing,
            draft.samples.len(),
            quantity.name()
        );
        findings.push(Finding::new("missing_codes", Weight::Note, sentence).on(id.clone()));
    }
    let mut unit = unit(draft.unit_text());
    if quantity == Quantity::Spo2 {
        refuse_fraction(&draft)?;
    }
    if unit == Unit::One && matches!(quantity, Quantity::Spo2 | Quantity::Pulse) {
        findings.push(unit_assumed(&draft, quantity));
    }
    match quantity {
        Quantity::Spo2 => unit = Unit::Percent,
        Quantity::Pulse => unit = Unit::PerMinute,
        Quantity::Tcpco2 => {
            check_co2(&draft, &unit)?;
            if unit == Unit::MillimetreOfMercury {
                draft.samples.iter_mut().for_each(|sample| *sample = kpa_from_mmhg(*sample));
            }
            unit = Unit::Kilopascal;
        }
        _ => {}
    }
    Ok(Channel {
        id,
        quantity,
        unit,
        file_label: draft.label,
        file_unit: draft.dimension,
        period_s: draft.period_s,
        offset_s: draft.offset_s,
        samples: draft.samples,
    })
}

fn refuse_fraction(draft: &Draft) -> Result<(), ReadError> {
    let most = draft.samples.iter().copied().fold(f64::NAN, f64::max);
    if !(most > 0.0 && most <= 1.0) {
        return Ok(());
    }
    let label = &draft.label;
    Err(ReadError::refused(format!("`{label}` holds saturation as a fraction: expected %"))
        .hint("export it in %"))
}

fn unit_assumed(draft: &Draft, quantity: Quantity) -> Finding {
    let symbol = if quantity == Quantity::Spo2 { "%" } else { "/min" };
    let sentence = format!("No unit is written for `{}`; it was read as {symbol}.", draft.label);
    Finding::new("unit_assumed", Weight::Note, sentence).on(quantity.id())
}

/// Saturation or pulse of 0, and the bottom of a range that reaches below 0, are no measurements.
#[expect(clippy::float_cmp, reason = "the least digital value gives the bottom to the last bit")]
fn empty_missing(draft: &mut Draft, quantity: Quantity) -> usize {
    let zero_is_missing = matches!(quantity, Quantity::Spo2 | Quantity::Pulse);
    if !zero_is_missing && quantity != Quantity::Tcpco2 {
        return 0;
    }
    let half_step = draft.step / 2.0;
    let mut missing = 0;
    for sample in &mut draft.samples {
        let at_bottom = draft.bottom.is_some_and(|bottom| bottom < 0.0 && *sample == bottom);
        if at_bottom || (zero_is_missing && sample.abs() <= half_step) {
            *sample = f64::NAN;
            missing += 1;
        }
    }
    missing
}

/// CO2 without a unit, or in one that its values deny, is refused: a guess could be wrong sevenfold.
fn check_co2(draft: &Draft, unit: &Unit) -> Result<(), ReadError> {
    let Some(median) = median_above_zero(&draft.samples) else { return Ok(()) };
    let likely = if median < KPA_AND_MMHG_PART_AT { "kPa" } else { "mmHg" };
    let label = &draft.label;
    match unit {
        Unit::Kilopascal if likely == "kPa" => Ok(()),
        Unit::MillimetreOfMercury if likely == "mmHg" => Ok(()),
        Unit::Kilopascal | Unit::MillimetreOfMercury => Err(ReadError::refused(format!(
            "the CO2 of `{label}` cannot be in the unit it names: expected {}, found values around \
             {median:.1}, as {likely} would be",
            unit.symbol()
        ))
        .hint(format!("if the values are in {likely}, say so in a column map"))),
        Unit::One => Err(ReadError::refused(format!(
            "the CO2 of `{label}` has no unit: expected kPa or mmHg, found none"
        ))
        .hint(format!(
            "the values lie around {median:.1}, as {likely} would; say so in a column map"
        ))),
        _ => Err(ReadError::refused(format!(
            "the CO2 of `{label}` is in an unknown unit: expected kPa or mmHg, found `{}`",
            draft.unit_text()
        ))
        .hint("say in a column map which unit it is")),
    }
}

fn median_above_zero(samples: &[f64]) -> Option<f64> {
    let mut values: Vec<f64> = samples.iter().copied().filter(|sample| *sample > 0.0).collect();
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

fn unique_id(quantity: Quantity, label: &str, taken: &[Channel]) -> String {
    let wanted = if quantity == Quantity::Other { slug(label) } else { quantity.id().to_owned() };
    let free = |id: &str| taken.iter().all(|channel| channel.id != id);
    if free(&wanted) {
        return wanted;
    }
    let numbers = 2..taken.len() + 3;
    let numbered = numbers.map(|number| format!("{wanted}_{number}")).find(|id| free(id));
    numbered.unwrap_or(wanted)
}

/// Lowercase letters and digits with single underscores; `signal` when nothing is left, and never the
/// id of a known quantity.
fn slug(label: &str) -> String {
    let words = label.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty());
    let slug = words.map(str::to_lowercase).collect::<Vec<_>>().join("_");
    match Quantity::from_id(&slug) {
        _ if slug.is_empty() => "signal".to_owned(),
        Some(_) => format!("{slug}_signal"),
        None => slug,
    }
}

/// The clock from a civil start, in the zone told.
///
/// # Errors
/// [`ReadError`] when the start came twice or never in the zone.
pub(super) fn clock(
    start: DateTime,
    date_known: bool,
    options: &ReadOptions,
    findings: &mut Vec<Finding>,
) -> Result<Clock, ReadError> {
    let Some(zone) = &options.zone else {
        return Ok(if date_known { Clock::civil(start) } else { Clock::time_only(start.time()) });
    };
    if !date_known {
        let sentence = format!(
            "The zone {} could not be used: the date of the night is not known.",
            zone_name(zone)
        );
        findings.push(Finding::new("zone_unused", Weight::Note, sentence));
        return Ok(Clock::time_only(start.time()));
    }
    Clock::in_zone(start, zone.clone()).map_err(|error| {
        ReadError::refused(format!("the start of the recording is not clear: {error}"))
            .hint("give the zone as an offset, for instance +01:00")
    })
}

/// Words of annotations and the marks they are: the standard texts of EDF+ first, then ours for what
/// has none. Words after a colon are the mark's own.
const TEXTS: [(&str, MarkKind); 14] = [
    ("Lights off", MarkKind::LightsOut),
    ("Lights on", MarkKind::LightsOn),
    ("Sleep stage W", MarkKind::Awake),
    ("Lights out", MarkKind::LightsOut),
    ("Asleep", MarkKind::Asleep),
    ("Awake", MarkKind::Awake),
    ("Out of bed", MarkKind::Up),
    ("Sensor refitted", MarkKind::Refitted),
    ("Oxygen", MarkKind::Oxygen),
    ("Support", MarkKind::Support),
    ("Alarm", MarkKind::Alarm),
    ("Gas check", MarkKind::GasCheck),
    ("Blood gas", MarkKind::BloodGas),
    ("Note", MarkKind::Note),
];

/// Sleep stages as EDF+ writes them, the older numbers too; all are sleep.
const ASLEEP: [&str; 9] = ["N1", "N2", "N3", "N", "R", "1", "2", "3", "4"];

/// The mark an annotation's text means; a text that is not known is a note in its own words.
pub(super) fn mark(text: &str, start_s: f64, end_s: Option<f64>) -> Mark {
    let (kind, text) = meaning(text);
    Mark { kind, start_s, end_s, text, author: Author::File }
}

fn meaning(text: &str) -> (MarkKind, String) {
    let text = text.trim();
    let (head, tail) = text.split_once(':').map_or((text, ""), |(head, tail)| (head, tail.trim()));
    if let Some((_, kind)) = TEXTS.iter().find(|(words, _)| words.eq_ignore_ascii_case(head)) {
        return (*kind, tail.to_owned());
    }
    let stage = text.strip_prefix("Sleep stage ").is_some_and(|stage| ASLEEP.contains(&stage));
    (if stage { MarkKind::Asleep } else { MarkKind::Note }, text.to_owned())
}

/// Marks that lie outside the recording are kept, and told.
pub(super) fn note_marks_outside(marks: &[Mark], duration_s: f64, findings: &mut Vec<Finding>) {
    let end_s = |mark: &Mark| mark.end_s.unwrap_or(mark.start_s);
    let inside = |mark: &&Mark| mark.start_s >= 0.0 && end_s(mark) <= duration_s + 1e-6;
    let outside = marks.len() - marks.iter().filter(inside).count();
    if outside > 0 {
        let sentence = format!(
            "{outside} of {} annotations lie outside the recording, or end after it.",
            marks.len()
        );
        findings.push(Finding::new("mark_outside", Weight::Note, sentence));
    }
}

/// The text that an annotation gives a mark; [`mark`] reads it back.
pub(crate) fn text_of(mark: &Mark) -> String {
    let own = meaning(&mark.text);
    if own == (mark.kind, mark.text.clone()) {
        return mark.text.clone();
    }
    let words =
        TEXTS.iter().find(|(_, kind)| *kind == mark.kind).map_or("Note", |(words, _)| words);
    if mark.text.is_empty() { words.to_owned() } else { format!("{words}: {}", mark.text) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_the_trade_are_known() {
        for (label, quantity) in [
            ("SaO2", Quantity::Spo2),
            ("SpO₂ finger", Quantity::Spo2),
            ("OSAT", Quantity::Spo2),
            ("Pulse", Quantity::Pulse),
            ("Pulse rate", Quantity::Pulse),
            ("tcPCO2", Quantity::Tcpco2),
            ("PtcCO2", Quantity::Tcpco2),
            ("TcCO2 ear", Quantity::Tcpco2),
        ] {
            assert_eq!(says(label), Says::Quantity(quantity), "{label}");
        }
        for label in ["EtCO2", "CO2", "EEG Fpz-Cz", ""] {
            assert_eq!(says(label), Says::Nothing, "{label}");
        }
    }

    #[test]
    fn every_mark_reads_back_from_its_text() {
        for kind in MarkKind::ALL {
            for text in ["", "2 L/min", "asleep, I think"] {
                let mark_before = Mark {
                    kind,
                    start_s: 1.0,
                    end_s: None,
                    text: text.to_owned(),
                    author: Author::File,
                };
                assert_eq!(mark(&text_of(&mark_before), 1.0, None), mark_before);
            }
        }
        assert_eq!(meaning("Sleep stage N2"), (MarkKind::Asleep, "Sleep stage N2".into()));
        assert_eq!(meaning("Sleep stage W"), (MarkKind::Awake, String::new()));
    }
}
