//! The logic of three values in rules of several parts.

use crate::made::{Curve, Night, every_rule};
use crate::{Answer, Outcome, Suite};

/// Parts that one night answers met, not met and cannot tell, as written in a criteria file.
const PARTS: [(&str, &str); 3] = [
    ("met", r#"{ kind = "extreme", channel = "spo2", level = { below = 95, unit = "%" } }"#),
    (
        "not met",
        r#"{ kind = "extreme", channel = "tcpco2", level = { above = 90, unit = "mmHg" } }"#,
    ),
    (
        "cannot tell",
        r#"{ kind = "share", channel = "spo2", level = { below = 85, unit = "%" }, share = { at_least = 1 } }"#,
    ),
];

/// A night with a gap of 20 minutes in saturation, between readings that no part doubts.
fn night() -> Night {
    let spo2 = Curve::awake(97.0).rest(96.0, 7200).ramp(94.0, 60).rest(94.0, 600).ramp(96.0, 60);
    let spo2 = spo2.rest(96.0, 7200).gap(1200).until(96.0, 28_800);
    Night::of_spo2(spo2)
}

/// What Kleene's strong logic says: `all` is the least of the two, `any` the greatest, with
/// not met < cannot tell < met.
fn expected(kind: &str, a: &str, b: &str) -> &'static str {
    const ORDER: [&str; 3] = ["not met", "cannot tell", "met"];
    let rank = |word: &str| ORDER.iter().position(|known| *known == word).unwrap_or(1);
    let (a, b) = (rank(a), rank(b));
    ORDER[if kind == "all" { a.min(b) } else { a.max(b) }]
}

/// One pair of parts joined.
struct Pair {
    id: String,
    what: String,
    expected: &'static str,
    rule: String,
}

fn pairs() -> Vec<Pair> {
    let mut pairs = Vec::new();
    for (kind, word) in [("all", "and"), ("any", "or")] {
        for (i, (a, part_a)) in PARTS.iter().enumerate() {
            for (j, (b, part_b)) in PARTS.iter().enumerate() {
                let id = format!("{kind}_{i}_{j}");
                let rule = format!(
                    "[[rule]]\nid = \"{id}\"\nasks = \"{kind} of two\"\n\
                     source = \"department setting\"\n\
                     test = {{ kind = \"{kind}\", of = [{part_a}, {part_b}] }}\n"
                );
                let what = format!("{a} *{word}* {b}");
                pairs.push(Pair { id, what, expected: expected(kind, a, b), rule });
            }
        }
    }
    pairs
}

/// Both tables, nine pairs each.
pub(super) fn suite() -> Suite {
    let pairs = pairs();
    let further: String = pairs.iter().map(|pair| pair.rule.as_str()).collect();
    let found = every_rule(&further).map(|criteria| night().judge(&criteria).rules);
    let answer = |id: &str| match &found {
        Ok(rules) => {
            let rule = rules.iter().find(|rule| rule.id == id);
            rule.map_or("no answer", |rule| rule.answer.words()).to_owned()
        }
        Err(error) => error.to_string(),
    };
    let answers = pairs
        .iter()
        .map(|pair| Answer {
            what: pair.what.clone(),
            expected: pair.expected.into(),
            found: answer(&pair.id),
        })
        .collect();
    Suite {
        title: "Rules of two parts",
        source: "kleene-1952",
        place: "the strong tables of three values",
        outcome: Outcome::Answers(answers),
    }
}
