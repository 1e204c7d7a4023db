//! From a signal's label and dimension to a channel: shared by the readers of binary files.
//!
//! One table says which words of the trade mean which quantity, so that it can be corrected in one place.

use jiff::civil::DateTime;

use super::ReadError;
use super::ReadOptions;
use super::map::ColumnMap;
use super::oxygen;
use super::text::words::co2_or_oxygen;
use super::text::words::stands_back;
use super::untaken;
use super::untaken::Kind;
use super::untaken::LeftOut;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Channel;
use crate::recording::Quantity;
use crate::time::Clock;
use crate::time::zone_name;
use crate::unit::Unit;
use crate::unit::kpa_from_mmhg;

mod marks;
mod words;

pub use marks::text_of;
pub(super) use marks::{mark, note_marks_outside};

use words::{Says, fits, says, slug, unit, unit_in};

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
    /// The unit as the map says, else as the file does: in its field, or where that is blank in the label.
    fn unit_text(&self) -> String {
        match &self.unit {
            Some(unit) => unit.clone(),
            None if self.dimension.trim().is_empty() => unit_in(&self.label),
            None => self.dimension.clone(),
        }
    }
}

/// Values of transcutaneous CO2 lie below 15 kPa (113 mmHg) and above 15 mmHg (2 kPa) in the living; a
/// median on the other side tells that the unit is wrong. Common practice, no source.
const KPA_AND_MMHG_PART_AT: f64 = 15.0;
/// Below this, in either unit, a sensor lies in room air. Common practice, no source.
const CO2_LEAST: f64 = 2.0;

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
    let left_out = match &options.map {
        Some(map) => apply(map, &mut drafts)?,
        None => Vec::new(),
    };
    let quantities = quantities(&drafts, findings)?;
    let picked = drafts.iter().filter(|draft| draft.picked.is_some());
    let told: Vec<String> = picked.map(|draft| draft.label.clone()).collect();
    let mut channels: Vec<Channel> = Vec::with_capacity(drafts.len());
    for (draft, quantity) in drafts.into_iter().zip(quantities) {
        let channel = channel(draft, quantity, &channels, findings)?;
        channels.push(channel);
    }
    findings.extend(untaken::findings(&channels, &left_out, (Kind::Signal, &told)));
    Ok(channels)
}

/// Lays a column map over the signals: what it names, by label or `#3`, is what the map says. Gives the
/// labels of those it leaves out.
fn apply(map: &ColumnMap, drafts: &mut Vec<Draft>) -> Result<Vec<LeftOut>, ReadError> {
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
    let mut left_out = Vec::new();
    drafts.retain(|draft| {
        index += 1;
        let gone = ignored.contains(&(index - 1));
        if gone {
            left_out.push(LeftOut::by_map(&draft.label));
        }
        !gone
    });
    Ok(left_out)
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
        let fitting = fits(meant, &unit(&draft.unit_text()));
        match (draft.picked, said, fitting) {
            (None, Says::HeartRate, true) if meant == Quantity::Pulse => {
                findings.push(heart_rate(draft));
            }
            (Some(_), _, false) => return Err(unit_refused(draft, meant)),
            _ => {}
        }
        quantities.push(if fitting { meant } else { Quantity::Other });
    }
    stand_back(drafts, &mut quantities);
    for scored in [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2] {
        refuse_two(drafts, &quantities, scored)?;
    }
    Ok(quantities)
}

/// Of two signals of one quantity the one whose label says it less plainly is only kept.
fn stand_back(drafts: &[Draft], quantities: &mut [Quantity]) {
    let back = |at: usize| drafts[at].picked.is_none() && stands_back(&drafts[at].label);
    for at in 0..drafts.len() {
        let plainer = |other: usize| quantities[other] == quantities[at] && !back(other);
        if quantities[at] != Quantity::Other && back(at) && (0..drafts.len()).any(plainer) {
            quantities[at] = Quantity::Other;
        }
    }
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
    mut quantity: Quantity,
    before: &[Channel],
    findings: &mut Vec<Finding>,
) -> Result<Channel, ReadError> {
    findings.extend(empty_missing(&mut draft, quantity));
    let written = unit(&draft.unit_text());
    if written == Unit::One && matches!(quantity, Quantity::Spo2 | Quantity::Pulse) {
        findings.push(unit_assumed(&draft, quantity));
    }
    let unit = match quantity {
        Quantity::Spo2 => refuse_fraction(&draft).map(|()| Unit::Percent)?,
        Quantity::Pulse => Unit::PerMinute,
        Quantity::Tcpco2 => {
            check_co2(&draft, &written)?;
            if written == Unit::MillimetreOfMercury {
                draft.samples.iter_mut().for_each(|sample| *sample = kpa_from_mmhg(*sample));
            }
            let open = draft.picked.is_none() && co2_or_oxygen(&draft.label);
            if let Some(told) = oxygen::told(&draft.label, &draft.samples).filter(|_| open) {
                quantity = if told.taken { quantity } else { Quantity::Other };
                findings.push(told.finding);
            }
            Unit::Kilopascal
        }
        _ => written,
    };
    let id = unique_id(quantity, &draft.label, before);
    Ok(Channel {
        id,
        quantity,
        unit,
        file_label: draft.label,
        file_unit: draft.dimension,
        period_s: draft.period_s,
        offset_s: draft.offset_s,
        samples: draft.samples.into(),
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
fn empty_missing(draft: &mut Draft, quantity: Quantity) -> Option<Finding> {
    let zero_is_missing = matches!(quantity, Quantity::Spo2 | Quantity::Pulse);
    if !zero_is_missing && quantity != Quantity::Tcpco2 {
        return None;
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
    let sentence = format!(
        "{missing} of {} samples of {} hold 0 or the bottom of their range: read as missing.",
        draft.samples.len(),
        quantity.name()
    );
    let finding = Finding::new("missing_codes", Weight::Note, sentence).on(quantity.id());
    (missing > 0).then_some(finding)
}

/// CO2 without a unit, or in one that its values deny, is refused: a guess could be wrong sevenfold.
fn check_co2(draft: &Draft, unit: &Unit) -> Result<(), ReadError> {
    let label = &draft.label;
    let likely = likely_co2_unit(&draft.samples);
    let known = matches!(unit, Unit::Kilopascal | Unit::MillimetreOfMercury);
    match likely {
        _ if !known && *unit != Unit::One => Err(ReadError::refused(format!(
            "the CO2 of `{label}` is in an unknown unit: expected kPa or mmHg, found `{}`",
            draft.unit_text()
        ))
        .hint("say in a column map which unit it is")),
        Some((median, likely)) if known && likely != *unit => Err(ReadError::refused(format!(
            "the CO2 of `{label}` cannot be in the unit it names: expected {}, found values around \
             {median:.1}, as {} would be",
            unit.symbol(),
            likely.symbol()
        ))
        .hint(format!("if the values are in {}, say so in a column map", likely.symbol()))),
        _ if known => Ok(()),
        // Without a single number nothing can be misread.
        None if draft.samples.iter().all(|sample| sample.is_nan()) => Ok(()),
        likely => {
            let hint = likely.map_or_else(String::new, |(median, likely)| {
                format!("the values lie around {median:.1}, as {} would; ", likely.symbol())
            });
            Err(ReadError::refused(format!(
                "the CO2 of `{label}` has no unit: expected kPa or mmHg, found none"
            ))
            .hint(hint + "say in a column map which unit it is"))
        }
    }
}

/// The median of the values a person can have, and the unit such a median is in; `None` without any.
fn likely_co2_unit(samples: &[f64]) -> Option<(f64, Unit)> {
    let living = |sample: &f64| *sample >= CO2_LEAST;
    let mut values: Vec<f64> = samples.iter().copied().filter(living).collect();
    let middle = values.len() / 2;
    let median =
        (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)?;
    let kpa = median < KPA_AND_MMHG_PART_AT;
    Some((median, if kpa { Unit::Kilopascal } else { Unit::MillimetreOfMercury }))
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
