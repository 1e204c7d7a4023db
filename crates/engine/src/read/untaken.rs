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
use crate::unit::Unit;

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

const SCORED: [Quantity; 3] = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];

/// A finding for each channel kept aside, and each column left out, that looks like a scored one. Of what a
/// column map calls by another name, `told`, the name alone is looked at.
pub(super) fn findings(
    channels: &[Channel],
    left_out: &[LeftOut],
    (kind, told): (Kind, &[String]),
) -> Vec<Finding> {
    let taken = |quantity: Quantity| channels.iter().any(|one| one.quantity == quantity);
    let lacking: Vec<Quantity> = SCORED.into_iter().filter(|one| !taken(*one)).collect();
    let mut found = Vec::new();
    for channel in channels {
        let Some(unit) = open_unit(channel) else { continue };
        let settled = told.contains(&channel.file_label);
        let numbers = if settled { None } else { Numbers::of(&channel.samples) };
        let one = Seen { label: &channel.file_label, unit, numbers };
        for (quantity, why) in one.looks(&lacking) {
            let how = How { kind, taken: taken(quantity), settled };
            found.extend(kept(channel, quantity, &why, &how));
        }
    }
    for one in left_out {
        found.extend(gone(one, kind, &lacking));
    }
    found
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
            return Vec::new();
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

fn rounded(number: f64) -> f64 {
    (number * 10.0).round() / 10.0
}

/// How a channel came to be kept aside.
#[derive(Clone, Copy)]
struct How {
    kind: Kind,
    /// There is another of the quantity it looks like.
    taken: bool,
    /// A column map says what it is.
    settled: bool,
}

fn kept(channel: &Channel, quantity: Quantity, why: &str, how: &How) -> Option<Finding> {
    let (label, name) = (&channel.file_label, quantity.name());
    let (weight, rest) = match (how.taken, how.settled) {
        (true, _) => {
            (Weight::Note, format!("it was kept and is not scored, beside the {name} that is"))
        }
        (false, true) => {
            let rest = "the column map calls it something else, and no other";
            (Weight::Serious, format!("{rest} {name} was read"))
        }
        (false, false) => {
            let rest = "it was not taken for it, and no other";
            (Weight::Serious, format!("{rest} {name} was read: a column map says what it is"))
        }
    };
    let sentence = format!("The {} `{label}` looks like {name} by {why}; {rest}.", how.kind.word());
    quantity.not_taken().map(|code| Finding::new(code, weight, sentence).on(channel.id.as_str()))
}

/// The findings on a column that was left out.
fn gone(one: &LeftOut, kind: Kind, lacking: &[Quantity]) -> Vec<Finding> {
    let (label, word, because) = (&one.label, kind.word(), one.because);
    let tell = |quantity: Quantity, start: String, end: &str| {
        let name = quantity.name();
        let sentence = format!(
            "The {word} `{label}` {start} and was not read: {because}. The night has no other {name}{end}."
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
