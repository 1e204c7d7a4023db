//! What looks like a scored channel and was not taken for one.
//!
//! A column whose name no reader knows is kept and not scored, and one without a name is not kept. Where it
//! may be the very channel that the night lacks, saying nothing of it would turn "not read" into "not
//! recorded". So every column and signal is taken, or it is plainly something else, or it is told: its name,
//! its unit, and its numbers are looked at.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::text::words::is_skin_oxygen;
use crate::read::text::words::split_unit;
use crate::read::text::words::words_of;
use crate::recording::Channel;
use crate::recording::Quantity;
use crate::time::Stretch;
use crate::unit::Unit;
use crate::unit::kpa_from_mmhg;

mod names;
mod numbers;

use names::UnitSays;
use names::is_flag;
use names::is_something_else;
use names::named;
use names::unit_says;
use numbers::Numbers;
pub(super) use numbers::Thinned;

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
    numbers: Option<Thinned>,
    /// Its numbers may be somebody's, and are not told.
    hidden: bool,
    /// So many different numbers at least, or it is a setting.
    kinds: usize,
}

impl LeftOut {
    /// The column map says that it is not to be read.
    pub(super) fn by_map(label: &str) -> Self {
        Self::named(label, "the column map leaves it out")
    }

    /// It holds words.
    pub(super) fn without_numbers(label: &str) -> Self {
        Self::named(label, "it holds no numbers")
    }

    /// It has no name, or one of something that is no channel: its numbers tell.
    pub(super) fn watched(label: &str, because: &'static str, numbers: Thinned) -> Self {
        Self { numbers: Some(numbers), ..Self::named(label, because) }
    }

    /// Its numbers may be somebody's: they are not told, and one that does not change is not looked at.
    #[must_use]
    pub(super) fn of_a_person(self) -> Self {
        Self { hidden: true, ..self.changing() }
    }

    /// One that does not change is not looked at.
    #[must_use]
    pub(super) fn changing(self) -> Self {
        Self { kinds: 3, ..self }
    }

    fn named(label: &str, because: &'static str) -> Self {
        Self { label: label.to_owned(), because, numbers: None, hidden: false, kinds: 0 }
    }
}

/// Another column that has numbers for so long where the one that was read has none may be the one that was
/// meant. Common practice, no source.
const ALONE_S: f64 = 2.0 * 3600.0;
/// Pressures of oxygen through the skin lie mostly above this, those of CO2 mostly below, mmHg. Common practice,
/// no source.
const OXYGEN_MOSTLY_ABOVE: f64 = 60.0;

const SCORED: [Quantity; 3] = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];

/// A finding for each channel kept aside, and each column left out, that looks like a scored one. Of what a
/// column map calls by another name, `told`, the name alone is looked at.
pub(super) fn findings(
    channels: &[Channel],
    left_out: &[LeftOut],
    (kind, told): (Kind, &[String]),
) -> Vec<Finding> {
    let taken = |quantity: Quantity| channels.iter().find(|one| one.quantity == quantity);
    let lacking: Vec<Quantity> =
        SCORED.into_iter().filter(|one| taken(*one).is_none_or(is_hollow)).collect();
    let mut found = Vec::new();
    for channel in channels {
        let Some(unit) = open_unit(channel) else { continue };
        let settled = told.contains(&channel.file_label);
        let numbers = if settled { None } else { Numbers::of(&channel.samples) };
        let one = Seen { label: &channel.file_label, unit, numbers };
        for (quantity, why) in one.looks(&lacking) {
            let beside = beside(channel, taken(quantity));
            let how = How { kind, beside, settled };
            found.extend(kept(channel, quantity, &why, &how));
        }
    }
    for one in left_out {
        found.extend(gone(one, kind, &lacking, |quantity| taken(quantity).is_some()));
    }
    found
}

/// Whether a number was measured: an empty column is often filled with zeros.
fn is_measured(number: f64) -> bool {
    number.is_finite() && number != 0.0
}

/// Whether a channel that was taken holds nothing that can be believed in the whole night.
fn is_hollow(channel: &Channel) -> bool {
    !channel.samples.iter().any(|sample| is_measured(*sample)) || unlike(channel).is_some()
}

/// What was read of the quantity that a channel kept aside looks like.
enum Beside<'a> {
    Nothing,
    /// This one, without numbers to believe.
    Hollow(&'a str),
    /// This one, without numbers for so long while the channel aside has some.
    Gaps(&'a str, f64),
    Read,
}

fn beside<'a>(aside: &Channel, taken: Option<&'a Channel>) -> Beside<'a> {
    let Some(taken) = taken else { return Beside::Nothing };
    if is_hollow(taken) {
        return Beside::Hollow(&taken.file_label);
    }
    let like = Numbers::of(&aside.samples).is_some_and(|one| one.could_be(taken.quantity));
    let alone_s = if like { alone_s(aside, taken) } else { 0.0 };
    if alone_s >= ALONE_S { Beside::Gaps(&taken.file_label, alone_s) } else { Beside::Read }
}

/// How long one channel has numbers where another has none.
fn alone_s(one: &Channel, other: &Channel) -> f64 {
    let alone = |at: &usize| {
        // The sample of the other that lasts until this moment.
        let until_s = one.time_s(*at) + one.period_s;
        let mut there = other.indices(&Stretch::new(until_s - other.period_s, until_s));
        is_measured(one.samples[*at]) && !there.any(|i| is_measured(other.samples[i]))
    };
    (0..one.samples.len()).filter(alone).count() as f64 * one.period_s
}

/// The median of a scored channel whose numbers a person cannot have in its unit; `None` when they can be.
pub(super) fn unlike(channel: &Channel) -> Option<f64> {
    let numbers = Numbers::of(&channel.samples)?;
    let can_be = match channel.quantity {
        Quantity::Tcpco2 => numbers.like_kpa(),
        Quantity::Spo2 | Quantity::Pulse => numbers.could_be(channel.quantity),
        _ => true,
    };
    (!can_be).then(|| rounded(numbers.median))
}

/// The unit of a channel that may be another than it is called; `None` where its name and unit settle what it
/// is.
fn open_unit(channel: &Channel) -> Option<Unit> {
    match channel.quantity {
        Quantity::Other if letter_alone(channel) => Some(Unit::One),
        Quantity::Other => Some(channel.unit.clone()),
        // A temperature with its unit is one; without it, it may be anything.
        Quantity::SensorTemp | Quantity::Heater => {
            let in_label = split_unit(&channel.file_label).1;
            let bare = channel.file_unit.trim().is_empty() && in_label.is_empty();
            bare.then_some(Unit::One)
        }
        _ => None,
    }
}

/// Whether the unit is a `c` behind a name that speaks of no temperature: a letter may be anything.
fn letter_alone(channel: &Channel) -> bool {
    let warm = |word: &String| ["temp", "heat", "skin"].iter().any(|part| word.contains(part));
    channel.unit == Unit::Celsius
        && channel.file_unit.trim().len() == 1
        && !words_of(&channel.file_label).iter().any(warm)
}

/// What is seen of a column.
struct Seen<'a> {
    label: &'a str,
    unit: Unit,
    numbers: Option<Numbers>,
}

impl Seen<'_> {
    /// What it looks like, and by what.
    fn looks(&self, lacking: &[Quantity]) -> Vec<(Quantity, String)> {
        if is_skin_oxygen(self.label) {
            let told = self.low_for_oxygen().filter(|_| lacking.contains(&Quantity::Tcpco2));
            return told.map(|why| (Quantity::Tcpco2, why)).into_iter().collect();
        }
        let symbol = self.unit.symbol();
        let named = named(self.label);
        let mut all = Vec::new();
        if !named.is_empty() {
            let unit =
                if symbol.is_empty() { String::new() } else { format!(" and its unit, {symbol}") };
            let why = format!("its name{unit}");
            let open: Vec<Quantity> =
                named.iter().copied().filter(|one| lacking.contains(one)).collect();
            // A heart counted beside the pulse is another sensor's, and nothing is lost.
            let beside = named.first().filter(|one| open.is_empty() && **one != Quantity::Pulse);
            all.extend(open.iter().chain(beside).map(|one| (*one, why.clone())));
            let fits = |numbers: &Numbers| named.iter().any(|one| numbers.could_be(*one));
            if self.numbers.as_ref().is_none_or(fits) {
                return all;
            }
        }
        let Some(numbers) = &self.numbers else { return all };
        let code = is_flag(self.label) && numbers.are_codes();
        if code || (named.is_empty() && is_something_else(self.label)) {
            return all;
        }
        let says = unit_says(&self.unit);
        let by = if says == UnitSays::Nothing { "" } else { "its unit and " };
        let spaced = if symbol.is_empty() { String::new() } else { format!(" {symbol}") };
        let why = format!("{by}its numbers, which lie around {}{spaced}", rounded(numbers.median));
        for quantity in numbers.like(says) {
            if lacking.contains(&quantity) && all.iter().all(|(one, _)| *one != quantity) {
                all.push((quantity, why.clone()));
            }
        }
        all
    }
}

impl Seen<'_> {
    /// By what a channel of an oxygen's name may be CO2 all the same: the names differ by a letter's size.
    fn low_for_oxygen(&self) -> Option<String> {
        let numbers = self.numbers.as_ref().filter(|one| one.could_be(Quantity::Tcpco2))?;
        let median = numbers.median;
        let in_mmhg = match self.unit {
            Unit::MillimetreOfMercury => true,
            Unit::Kilopascal => false,
            _ => !numbers.like_kpa(),
        };
        let kpa = if in_mmhg { kpa_from_mmhg(median) } else { median };
        let symbol = if in_mmhg { "mmHg" } else { "kPa" };
        (kpa < kpa_from_mmhg(OXYGEN_MOSTLY_ABOVE)).then(|| {
            let around = rounded(median);
            format!("its numbers, which lie around {around} {symbol} and are low for the oxygen it is named for")
        })
    }
}

fn rounded(number: f64) -> f64 {
    (number * 10.0).round() / 10.0
}

/// How a channel came to be kept aside.
struct How<'a> {
    kind: Kind,
    /// What was read of the quantity it looks like.
    beside: Beside<'a>,
    /// A column map says what it is.
    settled: bool,
}

fn kept(channel: &Channel, quantity: Quantity, why: &str, how: &How<'_>) -> Option<Finding> {
    let (label, name) = (&channel.file_label, quantity.name());
    let (weight, rest) = match (&how.beside, how.settled) {
        (Beside::Read, _) => {
            (Weight::Note, format!("it was kept and is not scored, beside the {name} that is"))
        }
        (Beside::Hollow(read), _) => {
            let rest =
                format!("`{read}` was read, which holds no {name} to believe in the whole night");
            (Weight::Serious, format!("{rest}: a column map says which it is"))
        }
        (Beside::Gaps(read, alone_s), _) => {
            let hours = rounded(alone_s / 3600.0);
            let rest = format!(
                "`{read}` was read, which has no numbers for {hours} h in which this has some"
            );
            (Weight::Serious, format!("{rest}: a column map says which it is"))
        }
        (Beside::Nothing, true) => {
            let rest = "the column map calls it something else, and no other";
            (Weight::Serious, format!("{rest} {name} was read"))
        }
        (Beside::Nothing, false) => {
            let rest = "it was not taken for it, and no other";
            (Weight::Serious, format!("{rest} {name} was read: a column map says what it is"))
        }
    };
    let sentence = format!("The {} `{label}` looks like {name} by {why}; {rest}.", how.kind.word());
    quantity.not_taken().map(|code| Finding::new(code, weight, sentence).on(channel.id.as_str()))
}

/// The findings on a column that was left out; `read` tells whether another was, though it holds nothing.
fn gone(
    one: &LeftOut,
    kind: Kind,
    lacking: &[Quantity],
    read: impl Fn(Quantity) -> bool,
) -> Vec<Finding> {
    let (label, word, because) = (&one.label, kind.word(), one.because);
    let tell = |quantity: Quantity, start: String, end: &str| {
        let name = quantity.name();
        let other = if read(quantity) {
            "The one that was read holds no"
        } else {
            "The night has no other"
        };
        let sentence = format!(
            "The {word} `{label}` {start} and was not read: {because}. {other} {name}{end}."
        );
        quantity.not_taken().map(|code| Finding::new(code, Weight::Serious, sentence))
    };
    let Some(thinned) = &one.numbers else {
        let named = named(label).into_iter().filter(|_| !is_skin_oxygen(label));
        let lacked = named.filter(|quantity| lacking.contains(quantity));
        return lacked
            .filter_map(|one| tell(one, format!("is named like {}", one.name()), ""))
            .collect();
    };
    let Some(numbers) = thinned.numbers().filter(|numbers| numbers.kinds() >= one.kinds) else {
        return Vec::new();
    };
    if is_flag(label) && numbers.are_codes() {
        return Vec::new();
    }
    let around = if one.hidden {
        String::new()
    } else {
        format!(", which lie around {}", rounded(numbers.median))
    };
    let like = numbers.like(UnitSays::Nothing).into_iter().filter(|one| lacking.contains(one));
    like.filter_map(|one| {
        let start = format!("looks like {} by its numbers{around},", one.name());
        tell(one, start, ": a column map says what it is")
    })
    .collect()
}
