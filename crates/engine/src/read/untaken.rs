//! What looks like a scored channel and was not taken for one.
//!
//! A column whose name no reader knows is kept and not scored. Where it may be the very channel that the
//! night lacks, saying nothing of it would turn "not read" into "not recorded". So every channel that was
//! kept aside is looked at: its name, its unit, and its numbers. The ranges below tell one quantity from
//! another and judge nobody; common practice, no source.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::text::words::is_skin_oxygen;
use crate::read::text::words::words_of;
use crate::recording::Channel;
use crate::recording::Quantity;
use crate::unit::Unit;

/// What a file calls the things it holds.
#[derive(Clone, Copy, Debug)]
pub(super) enum Kind {
    Column,
    Signal,
}

impl Kind {
    fn word(self) -> &'static str {
        match self {
            Self::Column => "column",
            Self::Signal => "signal",
        }
    }
}

/// A column that is in the file and not in the recording.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct LeftOut {
    label: String,
    because: &'static str,
}

impl LeftOut {
    /// The column map says that it is not to be read.
    pub(super) fn by_map(label: &str) -> Self {
        Self { label: label.to_owned(), because: "the column map leaves it out" }
    }

    /// It holds words.
    pub(super) fn without_numbers(label: &str) -> Self {
        Self { label: label.to_owned(), because: "it holds no numbers" }
    }
}

const SCORED: [Quantity; 3] = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];

/// A finding for each channel kept aside, and each column left out, that looks like a scored one.
pub(super) fn findings(channels: &[Channel], left_out: &[LeftOut], kind: Kind) -> Vec<Finding> {
    let taken = |quantity: Quantity| channels.iter().any(|one| one.quantity == quantity);
    let lacking: Vec<Quantity> = SCORED.into_iter().filter(|one| !taken(*one)).collect();
    let mut found = Vec::new();
    for channel in channels.iter().filter(|one| one.quantity == Quantity::Other) {
        if let Some((quantity, why)) = looks(channel, &lacking) {
            found.extend(kept(channel, quantity, &why, (kind, taken(quantity))));
        }
    }
    for one in left_out {
        let named = by_name(&one.label).filter(|_| !is_skin_oxygen(&one.label));
        let Some(quantity) = named.filter(|quantity| !taken(*quantity)) else {
            continue;
        };
        let sentence = format!(
            "The {} `{}` is named like {} and was not read: {}. The night has no other {}.",
            kind.word(),
            one.label,
            quantity.name(),
            one.because,
            quantity.name()
        );
        found
            .extend(quantity.not_taken().map(|code| Finding::new(code, Weight::Serious, sentence)));
    }
    found
}

fn kept(
    channel: &Channel,
    quantity: Quantity,
    why: &str,
    (kind, taken): (Kind, bool),
) -> Option<Finding> {
    let (label, name) = (&channel.file_label, quantity.name());
    let (weight, rest) = if taken {
        (Weight::Note, format!("it was kept and is not scored, beside the {name} that is"))
    } else {
        (
            Weight::Serious,
            format!(
                "it was not taken for it, and no other {name} was read: a column map says what it is"
            ),
        )
    };
    let sentence = format!("The {} `{label}` looks like {name} by {why}; {rest}.", kind.word());
    quantity.not_taken().map(|code| Finding::new(code, weight, sentence).on(channel.id.as_str()))
}

/// What a channel looks like, and by what.
fn looks(channel: &Channel, lacking: &[Quantity]) -> Option<(Quantity, String)> {
    if is_skin_oxygen(&channel.file_label) {
        return None;
    }
    let unit = match channel.unit.symbol() {
        "" => String::new(),
        symbol => format!(" and its unit, {symbol}"),
    };
    if let Some(quantity) = by_name(&channel.file_label) {
        // A heart counted beside the pulse is another sensor's, and nothing is lost.
        let beside = quantity == Quantity::Pulse && !lacking.contains(&quantity);
        return (!beside).then(|| (quantity, format!("its name{unit}")));
    }
    if is_something_else(&channel.file_label) {
        return None;
    }
    let numbers = Numbers::of(&channel.samples)?;
    let like = by_unit(&channel.unit, &numbers).or_else(|| by_range(channel, &numbers, lacking))?;
    let by_unit = if unit.is_empty() { "" } else { "its unit and " };
    let median = (numbers.median * 10.0).round() / 10.0;
    let why = format!("{by_unit}its numbers, which lie around {median}{}", spaced(&channel.unit));
    lacking.contains(&like).then_some((like, why))
}

fn spaced(unit: &Unit) -> String {
    if unit.symbol().is_empty() { String::new() } else { format!(" {}", unit.symbol()) }
}

/// The scored quantity that a name speaks of, however else it was measured.
fn by_name(label: &str) -> Option<Quantity> {
    let words = words_of(label);
    let whole: String = words.concat();
    let has = |parts: &[&str]| parts.iter().any(|part| whole.contains(part));
    let word = |all: &[&str]| words.iter().any(|word| all.contains(&word.as_str()));
    if has(&["co2", "carbondioxide", "kohlendioxid", "capno"]) {
        return Some(Quantity::Tcpco2);
    }
    if has(&["spo2", "sao2", "o2sat", "oxygensat", "saturation", "oximet"])
        || word(&["sat", "sats"])
    {
        return Some(Quantity::Spo2);
    }
    if has(&["pulserate", "heartrate", "pulsrate"]) || word(&["pulse", "puls", "hr", "bpm"]) {
        let of_the_wave = has(&["wave", "amplitude", "transit", "pleth", "volume", "quality"]);
        return (!of_the_wave).then_some(Quantity::Pulse);
    }
    None
}

/// Words of things that are no scored channel, whatever their unit and numbers.
const ELSE: [&str; 48] = [
    "temp",
    "flow",
    "leak",
    "pos",
    "position",
    "batt",
    "battery",
    "time",
    "sec",
    "count",
    "index",
    "event",
    "snore",
    "sound",
    "light",
    "resp",
    "breath",
    "breathing",
    "emg",
    "eeg",
    "eog",
    "ecg",
    "ekg",
    "volume",
    "vt",
    "mv",
    "effort",
    "thorax",
    "thor",
    "abdomen",
    "abdo",
    "chest",
    "quality",
    "signal",
    "humidity",
    "power",
    "heat",
    "heater",
    "alarm",
    "status",
    "pressure",
    "press",
    "bp",
    "nibp",
    "mask",
    "cpap",
    "fio2",
    "stage",
];
/// The same as parts of words.
const ELSE_WITHIN: [&str; 7] = ["temperat", "tcpo2", "pao2", "baro", "ambient", "epap", "ipap"];

fn is_something_else(label: &str) -> bool {
    let words = words_of(label);
    let whole: String = words.concat();
    words.iter().any(|word| ELSE.contains(&word.as_str()) || word == "po2" || word == "rr")
        || ELSE_WITHIN.iter().any(|part| whole.contains(part))
}

/// At most so many samples are looked at.
const LOOKED_AT: usize = 20_000;
/// Fewer numbers show nothing.
const LEAST: usize = 30;

/// The numbers of a channel, sorted.
struct Numbers {
    sorted: Vec<f64>,
    median: f64,
}

impl Numbers {
    fn of(samples: &[f64]) -> Option<Self> {
        let step = samples.len().div_ceil(LOOKED_AT).max(1);
        let mut sorted: Vec<f64> =
            samples.iter().step_by(step).copied().filter(|x| x.is_finite() && *x != 0.0).collect();
        sorted.sort_unstable_by(f64::total_cmp);
        let median = *sorted.get(sorted.len() / 2).filter(|_| sorted.len() >= LEAST)?;
        Some(Self { sorted, median })
    }

    /// Whether at least nine of ten lie between two values, the median between two others.
    fn lie(&self, (low, high): (f64, f64), (from, to): (f64, f64)) -> bool {
        let inside =
            self.sorted.partition_point(|x| *x <= high) - self.sorted.partition_point(|x| *x < low);
        inside * 10 >= self.sorted.len() * 9 && (from..=to).contains(&self.median)
    }

    /// Whether a third or more are no whole numbers.
    fn broken(&self) -> bool {
        self.sorted.iter().filter(|x| x.fract() != 0.0).count() * 3 >= self.sorted.len()
    }

    fn like_spo2(&self) -> bool {
        self.lie((50.0, 100.0), (80.0, 100.0))
    }

    fn like_pulse(&self) -> bool {
        self.lie((25.0, 220.0), (35.0, 200.0))
    }

    fn like_kpa(&self) -> bool {
        self.lie((2.0, 15.0), (3.0, 12.0))
    }

    fn like_mmhg(&self) -> bool {
        self.lie((15.0, 110.0), (22.0, 90.0))
    }
}

fn by_unit(unit: &Unit, numbers: &Numbers) -> Option<Quantity> {
    match unit {
        Unit::Kilopascal if numbers.like_kpa() => Some(Quantity::Tcpco2),
        Unit::MillimetreOfMercury if numbers.like_mmhg() => Some(Quantity::Tcpco2),
        Unit::Percent if numbers.like_spo2() => Some(Quantity::Spo2),
        Unit::PerMinute if numbers.like_pulse() => Some(Quantity::Pulse),
        _ => None,
    }
}

/// A channel without a unit, by its numbers alone, where the night lacks what they look like.
fn by_range(channel: &Channel, numbers: &Numbers, lacking: &[Quantity]) -> Option<Quantity> {
    if !channel.unit.symbol().is_empty() {
        return None;
    }
    let likely = [
        (Quantity::Tcpco2, numbers.like_kpa() && numbers.broken()),
        (Quantity::Spo2, numbers.lie((70.0, 100.0), (85.0, 100.0))),
        (Quantity::Pulse, numbers.like_pulse()),
        (Quantity::Tcpco2, numbers.like_mmhg()),
    ];
    let found = likely.into_iter().find(|(one, like)| *like && lacking.contains(one));
    found.map(|(quantity, _)| quantity)
}
