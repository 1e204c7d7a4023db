//! An outcome: a test's answer on the kindest and the harshest filling, and how outcomes combine.

use super::Answer;
use crate::time::Stretch;
use crate::unit::Unit;

/// What a test came to.
#[derive(Clone, Debug)]
pub(super) struct Outcome {
    /// The answer over both fillings.
    pub(super) answer: Answer,
    /// How far the signal would have to shift for the answer to flip; `None` when it cannot tell.
    pub(super) margin: Option<f64>,
    /// The margin's unit.
    pub(super) unit: Unit,
    /// The threshold's own size, against which margins of different units are compared.
    pub(super) scale: f64,
    /// Met: what it stands on. Cannot tell: what decides.
    pub(super) stretches: Vec<Stretch>,
    /// Why, with numbers; a clause without a full stop.
    pub(super) because: String,
}

impl Outcome {
    /// An outcome that nothing can be said of, and why.
    pub(super) fn untold(unit: Unit, because: impl Into<String>) -> Self {
        Self {
            answer: Answer::CannotTell,
            margin: None,
            unit,
            scale: 1.0,
            stretches: Vec::new(),
            because: because.into(),
        }
    }

    /// The margin as a share of the threshold.
    fn relative(&self) -> f64 {
        self.margin.unwrap_or(0.0) / self.scale.abs().max(f64::MIN_POSITIVE)
    }
}

/// The answer over two fillings.
pub(super) fn answer(kindest: bool, harshest: bool) -> Answer {
    match (kindest, harshest) {
        (true, _) => Answer::Met,
        (false, false) => Answer::NotMet,
        (false, true) => Answer::CannotTell,
    }
}

/// Every part must be met: one part not met settles it.
pub(super) fn all(parts: Vec<Outcome>) -> Outcome {
    combine(parts, Answer::NotMet)
}

/// One part met settles it.
pub(super) fn any(parts: Vec<Outcome>) -> Outcome {
    combine(parts, Answer::Met)
}

/// Three-valued "and" and "or": one part that gives `settles` gives it to the whole; failing that one
/// part that cannot tell; failing that the opposite.
///
/// Where a part settles it, the whole flips only when every settling part does: the farthest counts.
/// Where all parts agree otherwise, one flip is enough: the nearest counts. Margins of different units
/// are compared as shares of their thresholds.
fn combine(parts: Vec<Outcome>, settles: Answer) -> Outcome {
    let farthest = |wanted: Answer| {
        parts
            .iter()
            .filter(|part| part.answer == wanted)
            .reduce(|a, b| if b.relative() > a.relative() { b } else { a })
            .cloned()
    };
    if let Some(settled) = farthest(settles) {
        return settled;
    }
    let untold: Vec<&Outcome> =
        parts.iter().filter(|part| part.answer == Answer::CannotTell).collect();
    if let Some(first) = untold.first() {
        return Outcome {
            stretches: untold.iter().flat_map(|part| part.stretches.clone()).collect(),
            because: untold.iter().map(|part| part.because.as_str()).collect::<Vec<_>>().join("; "),
            ..(*first).clone()
        };
    }
    parts
        .into_iter()
        .reduce(|a, b| if b.relative() < a.relative() { b } else { a })
        .unwrap_or_else(|| Outcome::untold(Unit::One, "the rule has no parts"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(answer: Answer, margin: f64) -> Outcome {
        Outcome {
            answer,
            margin: (answer != Answer::CannotTell).then_some(margin),
            unit: Unit::Kilopascal,
            scale: 1.0,
            stretches: Vec::new(),
            because: format!("{margin}"),
        }
    }

    /// Kleene's strong three-valued logic (`kleene-1952`): the whole tables of "and" and "or".
    #[test]
    fn the_tables_of_three_valued_logic_hold() {
        use Answer::{CannotTell as U, Met as T, NotMet as F};
        let and = [(T, T, T), (T, U, U), (T, F, F), (U, U, U), (U, F, F), (F, F, F)];
        let or = [(T, T, T), (T, U, T), (T, F, T), (U, U, U), (U, F, U), (F, F, F)];
        for (table, combined) in [(and, all as fn(Vec<Outcome>) -> Outcome), (or, any)] {
            for (a, b, expected) in table {
                assert_eq!(combined(vec![part(a, 1.0), part(b, 2.0)]).answer, expected);
                assert_eq!(combined(vec![part(b, 2.0), part(a, 1.0)]).answer, expected);
            }
        }
    }

    #[test]
    fn a_settled_whole_flips_with_its_farthest_part_and_an_agreed_one_with_its_nearest() {
        let met = any(vec![part(Answer::Met, 0.5), part(Answer::Met, 2.0)]);
        assert_eq!(met.margin, Some(2.0));
        let met_by_all = all(vec![part(Answer::Met, 0.5), part(Answer::Met, 2.0)]);
        assert_eq!(met_by_all.margin, Some(0.5));
    }
}
