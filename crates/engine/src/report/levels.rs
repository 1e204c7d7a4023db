//! Which levels and stretches of a lane the rules speak of.

use super::{LevelLine, RuleLine, RuleMark};
use crate::criteria::Criteria;
use crate::criteria::Side;
use crate::criteria::Test;
use crate::criteria::Threshold;
use crate::judge::Answer;
use crate::judge::Judgement;
use crate::recording::Quantity;
use crate::report::words;
use crate::unit::mmhg_from_kpa;

fn test_of<'a>(criteria: &'a Criteria, id: &str) -> Option<&'a Test> {
    criteria.rules.iter().find(|rule| rule.id == id).map(|rule| &rule.test)
}

/// The levels that the rules the question needs compare with, each once.
pub(super) fn levels(
    criteria: &Criteria,
    rules: &[RuleLine],
    quantity: Quantity,
) -> Vec<LevelLine> {
    let mut lines: Vec<LevelLine> = Vec::new();
    for rule in rules.iter().filter(|rule| rule.needed) {
        let mut thresholds = Vec::new();
        if let Some(test) = test_of(criteria, &rule.id) {
            gather(test, quantity, &mut thresholds);
        }
        for threshold in thresholds {
            let spoken_of = rule.answer != Answer::NotMet;
            let label = level_label(&threshold, quantity);
            match lines.iter_mut().find(|line| line.label == label) {
                Some(line) => line.spoken_of |= spoken_of,
                None => lines.push(LevelLine { level: threshold.level, label, spoken_of }),
            }
        }
    }
    lines
}

fn gather(test: &Test, wanted: Quantity, found: &mut Vec<Threshold>) {
    match test {
        Test::Held { quantity, threshold, .. }
        | Test::Share { quantity, threshold, .. }
        | Test::Total { quantity, threshold, .. }
        | Test::Extreme { quantity, threshold }
        | Test::Mean { quantity, threshold }
            if *quantity == wanted =>
        {
            found.push(*threshold);
        }
        Test::HeldRise { threshold, .. } if wanted == Quantity::Tcpco2 && threshold.level > 0.0 => {
            found.push(*threshold);
        }
        Test::All(tests) | Test::Any(tests) => {
            for test in tests {
                gather(test, wanted, found);
            }
        }
        _ => {}
    }
}

fn level_label(threshold: &Threshold, quantity: Quantity) -> String {
    let sign = match (threshold.side, threshold.strict) {
        (Side::Above, true) => ">",
        (Side::Above, false) => "\u{2265}",
        (Side::Below, true) => "<",
        (Side::Below, false) => "\u{2264}",
    };
    match quantity {
        Quantity::Tcpco2 => {
            // Levels are published in round numbers of one unit or the other: print the round one.
            let mmhg = mmhg_from_kpa(threshold.level);
            if (mmhg - mmhg.round()).abs() < 1e-6 {
                format!("{sign} {} mmHg", words::fixed(mmhg, 0))
            } else {
                format!("{sign} {} kPa", words::fixed(threshold.level, 1))
            }
        }
        Quantity::Pulse => format!("{sign} {} /min", words::fixed(threshold.level, 0)),
        _ => format!("{sign} {} %", words::fixed(threshold.level, 0)),
    }
}

/// The channel whose lane shows what a rule speaks of.
fn shown_on(test: &Test) -> Quantity {
    match test {
        Test::Held { quantity, .. }
        | Test::Share { quantity, .. }
        | Test::Total { quantity, .. }
        | Test::Extreme { quantity, .. }
        | Test::Mean { quantity, .. } => *quantity,
        Test::HeldRise { .. } | Test::ShareRise { .. } => Quantity::Tcpco2,
        Test::Clusters { .. } => Quantity::Spo2,
        Test::Events { measure, .. } => measure
            .split_once('.')
            .and_then(|(channel, _)| Quantity::from_id(channel))
            .unwrap_or(Quantity::Spo2),
        Test::All(tests) | Test::Any(tests) => tests.first().map_or(Quantity::Spo2, shown_on),
    }
}

/// What the rules the question needs say of this channel's lane, where they are met or cannot be told.
pub(super) fn rule_marks(
    judgement: &Judgement,
    criteria: &Criteria,
    rules: &[RuleLine],
    quantity: Quantity,
) -> Vec<RuleMark> {
    rules
        .iter()
        .filter(|rule| rule.needed && rule.answer != Answer::NotMet)
        .filter(|rule| test_of(criteria, &rule.id).is_some_and(|test| shown_on(test) == quantity))
        .filter_map(|rule| {
            let answered = judgement.rules.iter().find(|answered| answered.id == rule.id)?;
            let stretches = answered.stretches.clone();
            let mark = RuleMark { number: rule.number, answer: rule.answer, stretches };
            (!mark.stretches.is_empty()).then_some(mark)
        })
        .collect()
}
