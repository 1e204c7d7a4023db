//! The difference of a figure between two sides, and the published spread it is held against.

use crate::compare::spread::Spread;
use crate::compare::spread::spreads_of;
use crate::report::FigureLine;
use crate::report::duration;
use crate::report::fixed;
use crate::score::Figure;
use crate::unit::TOLERANCE;
use crate::unit::mmhg_from_kpa;

/// A figure of one side less that of the first.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// The difference; `None` when one of the two has no figure.
    pub value: Option<f64>,
    /// The lowest and highest that the unbelieved time of both sides could make it; `None` without a
    /// difference, and between two judgements of one night, whose unbelieved time held the same in both.
    pub bounds: Option<[f64; 2]>,
    /// The difference as printed, with its sign and unit.
    pub words: String,
    /// Lowest and highest as printed; `None` when there are none or they change nothing.
    pub range: Option<String>,
    /// The published spread beside it.
    pub beside: Beside,
}

/// What stands beside a difference.
#[derive(Clone, Debug, PartialEq)]
pub enum Beside {
    /// Nothing: there is no difference to hold against anything.
    Nothing,
    /// Both sides are one night, of which a spread between nights says nothing.
    SameNight,
    /// No published figure was found.
    NoneFound,
    /// Published figures.
    Published(Vec<Held>),
}

/// A difference held against one published spread.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// The spread.
    pub spread: &'static Spread,
    /// Its sizes in the measure's unit, the smallest first: what it is, and whether the difference is larger.
    pub against: Vec<(f64, &'static str, Larger)>,
}

/// Whether a difference is larger than a published size, either way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Larger {
    /// It is, however the unbelieved time is filled.
    Yes,
    /// It is not, however it is filled.
    No,
    /// The unbelieved time decides.
    CannotTell,
}

impl Larger {
    /// The words a person reads.
    pub fn words(self) -> &'static str {
        match self {
            Self::Yes => "larger",
            Self::No => "not larger",
            Self::CannotTell => "cannot tell",
        }
    }
}

impl Difference {
    /// Whether it was held against a spread.
    pub fn is_against(&self, spread: &Spread) -> bool {
        match &self.beside {
            Beside::Published(held) => held.iter().any(|one| one.spread == spread),
            _ => false,
        }
    }
}

impl Beside {
    /// Each thing that stands beside the difference, in a few words.
    pub fn words(&self) -> Vec<String> {
        match self {
            Self::Nothing => Vec::new(),
            Self::SameNight => vec!["same night".to_owned()],
            Self::NoneFound => vec!["no published figure found".to_owned()],
            Self::Published(held) => held.iter().map(Held::words).collect(),
        }
    }
}

impl Held {
    /// Whether it is larger, and than what: the size that settles it alone, or each where it lies between.
    pub fn words(&self) -> String {
        let size = |(size, what, _): &(f64, &'static str, Larger)| {
            format!("{what} ({})", with_unit(&self.spread.printed(*size), self.spread.unit))
        };
        let one = |against: &(f64, &'static str, Larger)| match against.2 {
            Larger::Yes => format!("larger than {}", size(against)),
            Larger::No => format!("not larger than {}", size(against)),
            Larger::CannotTell => format!("cannot tell whether larger than {}", size(against)),
        };
        match (self.against.first(), self.against.last()) {
            (Some(least), _) if least.2 == Larger::No => one(least),
            (_, Some(most)) if most.2 == Larger::Yes => one(most),
            _ if self.against.iter().all(|one| one.2 == Larger::CannotTell) => {
                let sizes: Vec<String> = self.against.iter().map(size).collect();
                format!("cannot tell whether larger than {}", sizes.join(" or "))
            }
            _ => self.against.iter().map(one).collect::<Vec<_>>().join(", "),
        }
    }
}

/// A number with its unit.
pub(super) fn with_unit(value: &str, unit: &str) -> String {
    if unit.is_empty() { value.to_owned() } else { format!("{value} {unit}") }
}

/// The figure `then` less the figure `first`.
pub(super) fn difference(
    first: Option<&FigureLine>,
    then: Option<&FigureLine>,
    same_night: bool,
) -> Difference {
    let numbers = first.and_then(numbers).zip(then.and_then(numbers));
    let (Some((a, b)), Some(line)) = (numbers, then) else {
        let words = "no difference can be given".to_owned();
        let beside = Beside::Nothing;
        return Difference { value: None, bounds: None, words, range: None, beside };
    };
    let [value, lowest, highest] = less(b, a);
    let print = |value: f64| signed(value, line);
    let (low, high) = (bound(lowest, print), bound(highest, print));
    let mmhg = line.mmhg.as_ref().map_or_else(String::new, |_| {
        format!(" ({} mmHg)", with_sign(mmhg_from_kpa(value), |size| fixed(size, 1)))
    });
    let mean = f64::midpoint(a[0], b[0]);
    Difference {
        value: Some(value),
        bounds: (!same_night).then_some([lowest, highest]),
        words: format!("{}{mmhg}", with_unit(&print(value), &line.unit)),
        range: (low != high && !same_night).then(|| format!("{low} to {high}")),
        beside: beside(&line.id, mean, [lowest, highest], same_night),
    }
}

fn numbers(line: &FigureLine) -> Option<[f64; 3]> {
    match line.figure {
        Figure::Given { value, lowest, highest } => Some([value, lowest, highest]),
        Figure::Absent(_) => None,
    }
}

/// What `b` can be less what `a` can be; an end that is open on either side is open in the difference.
fn less(b: [f64; 3], a: [f64; 3]) -> [f64; 3] {
    let open = |end: f64, else_: f64| if end.is_nan() { else_ } else { end };
    [b[0] - a[0], open(b[1] - a[2], f64::NEG_INFINITY), open(b[2] - a[1], f64::INFINITY)]
}

/// A difference in the digits its figure is printed in, with a sign unless it is nothing.
fn signed(value: f64, line: &FigureLine) -> String {
    if line.unit.is_empty() {
        return with_sign(value, duration);
    }
    let printed = line.value.as_deref().unwrap_or_default();
    let decimals = printed.split_once('.').map_or(0, |(_, decimals)| decimals.len());
    with_sign(value, |size| fixed(size, decimals))
}

fn with_sign(value: f64, print: impl Fn(f64) -> String) -> String {
    let size = print(value.abs());
    let nothing = size == print(0.0);
    match value {
        _ if nothing => size,
        value if value < 0.0 => format!("\u{2212}{size}"),
        _ => format!("+{size}"),
    }
}

fn bound(value: f64, print: impl Fn(f64) -> String) -> String {
    if value.is_finite() { print(value) } else { "open".to_owned() }
}

fn beside(id: &str, mean: f64, bounds: [f64; 2], same_night: bool) -> Beside {
    if same_night {
        return Beside::SameNight;
    }
    let spreads = spreads_of(id);
    if spreads.is_empty() {
        return Beside::NoneFound;
    }
    let held = spreads.into_iter().map(|spread| {
        let marks = spread.marks(mean).into_iter();
        let against = marks.map(|(size, what)| (size, what, larger(bounds, size)));
        Held { spread, against: against.collect() }
    });
    Beside::Published(held.collect())
}

/// Whether the difference is larger than a size, whichever way it points.
fn larger([lowest, highest]: [f64; 2], size: f64) -> Larger {
    let least = if lowest <= 0.0 && highest >= 0.0 { 0.0 } else { lowest.abs().min(highest.abs()) };
    let most = lowest.abs().max(highest.abs());
    if least > size + TOLERANCE {
        Larger::Yes
    } else if most <= size + TOLERANCE {
        Larger::No
    } else {
        Larger::CannotTell
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_open_end_stays_open_and_is_never_a_number() {
        let open = [50.0, f64::NEG_INFINITY, f64::INFINITY];
        assert_eq!(format!("{:?}", less(open, open)), "[0.0, -inf, inf]");
        assert_eq!(format!("{:?}", less([4.0, 3.0, 6.0], [10.0, 9.0, 12.0])), "[-6.0, -9.0, -3.0]");
    }

    #[test]
    fn a_difference_is_larger_only_when_no_filling_makes_it_smaller() {
        for (bounds, words) in [
            ([7.0, 12.0], Larger::Yes),
            ([-12.0, -7.0], Larger::Yes),
            ([6.0, 12.0], Larger::CannotTell),
            ([-6.7, 6.7], Larger::No),
            ([f64::NEG_INFINITY, f64::INFINITY], Larger::CannotTell),
        ] {
            assert_eq!(larger(bounds, 6.7), words, "{bounds:?}");
        }
    }

    #[test]
    fn a_sign_stands_before_what_is_not_nothing() {
        let print = |value: f64| with_sign(value, |size| fixed(size, 1));
        assert_eq!([3.12, -0.26, 0.04, -0.04].map(print), ["+3.1", "\u{2212}0.3", "0.0", "0.0"]);
    }
}
