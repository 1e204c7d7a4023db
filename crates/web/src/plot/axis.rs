//! Axes: which numbers stand along an edge, and where.

use jiff::civil::Date;
use store::when::days_later;

/// An axis: its label, its ends and its ticks.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    pub(crate) label: String,
    pub(crate) low: f64,
    pub(crate) high: f64,
    /// Place and word of each.
    pub(crate) ticks: Vec<(f64, String)>,
    /// Whether its ticks are rows with names.
    pub(crate) rows: bool,
}

impl Axis {
    /// Of numbers, widened to round ends around the lowest and highest that must be on it.
    pub fn numbers(label: &str, low: f64, high: f64) -> Self {
        let step = step(low, high);
        let (first, last) = ((low / step + 1e-9).floor(), (high / step - 1e-9).ceil());
        Self::of(label, first * step, last.max(first + 1.0) * step, step)
    }

    /// Of numbers with exactly these ends; round ticks lie between them.
    pub fn within(label: &str, low: f64, high: f64) -> Self {
        Self::of(label, low, high, step(low, high))
    }

    /// Of days: a place is the number of days since midnight before `from`, and `to` is the last day shown.
    pub fn days(label: &str, from: Date, to: Date) -> Self {
        let last = days_between(from, to).max(0);
        let every = [1, 7, 14, 28].into_iter().find(|every| last / every < 8);
        let (shown, form): (Vec<i64>, _) = if let Some(every) = every {
            ((0..=last).filter(|later| later % every == 0).collect(), "%-d %b")
        } else {
            // Over many months the firsts of the months are enough.
            let firsts: Vec<i64> =
                (0..=last).filter(|later| days_later(from, *later).day() == 1).collect();
            let every = firsts.len().div_ceil(8).max(1);
            (firsts.into_iter().step_by(every).collect(), "%b %Y")
        };
        let word = |later: i64| days_later(from, later).strftime(form).to_string();
        let ticks = shown.into_iter().map(|later| (later as f64, word(later))).collect();
        Self { label: label.to_owned(), low: 0.0, high: last as f64 + 1.0, ticks, rows: false }
    }

    /// Of names, the first at the top; place `n` is the middle of the n-th row, from 0.
    pub fn names(names: impl IntoIterator<Item = String>) -> Self {
        let ticks: Vec<(f64, String)> =
            names.into_iter().enumerate().map(|(at, name)| (at as f64, name)).collect();
        // Rows run downwards: the axis is upside down.
        let low = ticks.len() as f64 - 0.5;
        Self { label: String::new(), low, high: -0.5, ticks, rows: true }
    }

    fn of(label: &str, low: f64, high: f64, step: f64) -> Self {
        let places = if step < 1.0 { (-step.log10()).ceil() } else { 0.0 };
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "held to a few places"
        )]
        let places = places.clamp(0.0, 6.0) as usize;
        let mut ticks = Vec::new();
        let mut at = (low / step - 1e-9).ceil();
        while at * step <= high + step * 1e-9 && ticks.len() < 50 {
            // No minus before a nought, and the typographic minus elsewhere.
            let value = if at == 0.0 { 0.0 } else { at * step };
            ticks.push((value, format!("{value:.places$}").replace('-', "\u{2212}")));
            at += 1.0;
        }
        Self { label: label.to_owned(), low, high, ticks, rows: false }
    }

    /// Where a value lies, 0 at the low end and 1 at the high end; what is beyond lies at the end.
    pub(crate) fn part(&self, value: f64) -> f64 {
        let part = (value - self.low) / (self.high - self.low);
        if part.is_nan() { 0.0 } else { part.clamp(0.0, 1.0) }
    }
}

/// Days from one to another.
pub(crate) fn days_between(from: Date, to: Date) -> i64 {
    i64::from((to - from).get_days())
}

/// 1, 2 or 5 times a power of ten, so that four to eight ticks cover the range.
fn step(low: f64, high: f64) -> f64 {
    let range = if high > low { high - low } else { 1.0 };
    let rough = range / 7.0;
    let power = 10.0_f64.powf(rough.log10().floor());
    let factor = [1.0, 2.0, 5.0].into_iter().find(|one| one * power >= rough * (1.0 - 1e-9));
    factor.unwrap_or(10.0) * power
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(axis: &Axis) -> Vec<&str> {
        axis.ticks.iter().map(|(_, word)| word.as_str()).collect()
    }

    #[test]
    fn numbers_end_at_round_ticks_around_what_must_be_on_the_axis() {
        let axis = Axis::numbers("kPa", -0.31, 0.28);
        assert_eq!(
            words(&axis),
            [
                "\u{2212}0.4",
                "\u{2212}0.3",
                "\u{2212}0.2",
                "\u{2212}0.1",
                "0.0",
                "0.1",
                "0.2",
                "0.3"
            ]
        );
        assert!((axis.low + 0.4).abs() < 1e-9 && (axis.high - 0.3).abs() < 1e-9);
        assert_eq!(words(&Axis::numbers("", 0.0, 100.0)), ["0", "20", "40", "60", "80", "100"]);
        // One number alone, and none at all, still make an axis.
        assert_eq!(words(&Axis::numbers("", 3.0, 3.0)).first(), Some(&"3.0"));
        assert_eq!(words(&Axis::within("", 0.5, 2.1)), ["0.5", "1.0", "1.5", "2.0"]);
    }

    #[test]
    fn days_are_marked_by_day_by_week_or_by_month() {
        let days =
            |from: &str, to: &str| Axis::days("", from.parse().unwrap(), to.parse().unwrap());
        assert_eq!(words(&days("2026-11-23", "2026-11-25")), ["23 Nov", "24 Nov", "25 Nov"]);
        assert_eq!(
            words(&days("2026-11-01", "2026-11-25")),
            ["1 Nov", "8 Nov", "15 Nov", "22 Nov"]
        );
        let year = days("2026-01-15", "2026-12-15");
        assert_eq!(words(&year)[..2], ["Feb 2026", "Apr 2026"]);
        assert!((year.ticks[0].0 - 17.0).abs() < 1e-9);
    }

    #[test]
    fn the_first_name_is_the_highest_row() {
        let axis = Axis::names(["a", "b"].map(str::to_owned));
        assert!(axis.part(0.0) > axis.part(1.0));
        assert!((axis.part(0.0) - 0.75).abs() < 1e-9);
    }
}
