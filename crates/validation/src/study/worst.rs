//! The nights that an engineer should look at.

use std::collections::BTreeMap;

use engine::criteria::Criteria;
use engine::judge::Answer;

use crate::study::belief::{CHANNELS, Grain, What};
use crate::study::gather::contradicts;
use crate::study::night::{By, FIGURES, Row};
use crate::study::results::Worst;

/// The worst nights: in belief, in each figure, and every contradiction.
pub(super) fn worst(rows: &[Row], sets: &[Criteria]) -> Vec<Worst> {
    let mut found = beliefs(rows);
    found.extend(figures(rows));
    found.extend(contradictions(rows, sets));
    found
}

/// How many nights of each kind are listed.
const LISTED: usize = 6;

/// Where most time that is wrong and matters is believed, and most honest time is not.
fn beliefs(rows: &[Row]) -> Vec<Worst> {
    let mut found = Vec::new();
    for quantity in CHANNELS {
        let counts =
            [("wrong but believed", What::Matters), ("right but not believed", What::Honest)];
        for (name, what) in counts {
            let mut nights: Vec<(u64, &Row)> = rows
                .iter()
                .filter_map(|row| {
                    let count = row.counts.get(&(Grain::Second, quantity, what))?;
                    Some((count.of - count.hit, row))
                })
                .collect();
            nights.sort_by_key(|(seconds, _)| std::cmp::Reverse(*seconds));
            found.extend(nights.into_iter().take(LISTED).filter(|(s, _)| *s > 0).map(
                |(s, row)| Worst {
                    what: format!("{} {name}", quantity.id()),
                    night: row.label.clone(),
                    how: format!("{:.1} min", s as f64 / 60.0),
                },
            ));
        }
    }
    found
}

fn figures(rows: &[Row]) -> Vec<Worst> {
    let mut found = Vec::new();
    for (place, (id, _)) in FIGURES.into_iter().enumerate() {
        let mut nights: Vec<(f64, f64, f64, &Row)> = rows
            .iter()
            .filter_map(|row| {
                let (found, truth) = (row.found.figures[place]?, row.truth.figures[place]?);
                Some(((found - truth).abs(), found, truth, row))
            })
            .collect();
        nights.sort_by(|a, b| b.0.total_cmp(&a.0));
        found.extend(nights.into_iter().take(LISTED).map(|(_, value, truth, row)| Worst {
            what: id.to_owned(),
            night: row.label.clone(),
            how: format!("{value:.2}, truly {truth:.2}"),
        }));
    }
    found
}

/// The first contradictions of each rule.
fn contradictions(rows: &[Row], sets: &[Criteria]) -> Vec<Worst> {
    let mut found: BTreeMap<&str, Vec<Worst>> = BTreeMap::new();
    for row in rows {
        for (i, rule) in sets[row.criteria].rules.iter().enumerate() {
            if contradicts(row.found.rules[i].0, row.truth.rules[i].0) {
                let listed = found.entry(&rule.id).or_default();
                listed.push(contradiction(row, i, &rule.id));
                listed.truncate(LISTED);
            }
        }
    }
    found.into_values().flatten().collect()
}

fn contradiction(row: &Row, i: usize, rule: &str) -> Worst {
    let words = |(answer, margin): (Answer, Option<f64>)| {
        let margin = margin.map_or(String::new(), |margin| format!(" by {margin:.2}"));
        format!("{}{margin}", answer.words())
    };
    let by = match row.by {
        By::Nothing => "uncorrected",
        By::GasChecks => "gas checks alone",
        By::BloodGas => "blood gas",
    };
    Worst {
        what: rule.to_owned(),
        night: row.label.clone(),
        how: format!(
            "{}, truly {}; the monitor alone: {}; with true belief: {}; CO2: {by}",
            words(row.found.rules[i]),
            words(row.truth.rules[i]),
            row.unharmed.rules[i].0.words(),
            row.given.rules[i].0.words()
        ),
    }
}
