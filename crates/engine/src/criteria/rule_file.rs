//! The shape of a rule in a criteria file.

use serde::Deserialize;

use super::{Amount, CriteriaError, Rule, Side, Test, Threshold, inside_unit};
use crate::recording::Quantity;

/// A rule as written.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RuleFile {
    id: String,
    asks: String,
    source: String,
    test: TestFile,
}

/// A test as written: `kind` says which of the other keys it needs.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields, tag = "kind", rename_all = "snake_case")]
enum TestFile {
    Held {
        channel: String,
        level: LevelFile,
        for_s: f64,
    },
    HeldRise {
        level: LevelFile,
        rise: LevelFile,
        for_s: f64,
    },
    Share {
        channel: String,
        level: LevelFile,
        share: AmountFile,
    },
    ShareRise {
        rise: LevelFile,
        share: AmountFile,
    },
    Total {
        channel: String,
        level: LevelFile,
        seconds: AmountFile,
    },
    Extreme {
        channel: String,
        level: LevelFile,
    },
    Mean {
        channel: String,
        level: LevelFile,
    },
    Events {
        measure: String,
        per_h: AmountFile,
    },
    Clusters {
        falls: usize,
        within_s: f64,
        clusters: AmountFile,
        nadir: LevelFile,
        nadirs: AmountFile,
        baseline: LevelFile,
    },
    All {
        of: Vec<TestFile>,
    },
    Any {
        of: Vec<TestFile>,
    },
}

/// A level with its side: exactly one of the four keys, and its unit.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct LevelFile {
    above: Option<f64>,
    at_or_above: Option<f64>,
    below: Option<f64>,
    at_or_below: Option<f64>,
    unit: String,
}

/// An amount: exactly one of the two keys.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct AmountFile {
    at_least: Option<f64>,
    more_than: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RulesFile {
    rule: Vec<RuleFile>,
}

/// The rules of a text that holds nothing else.
pub(super) fn parse_rules(text: &str) -> Result<Vec<Rule>, CriteriaError> {
    let set = "published-rules";
    let file: RulesFile = toml::from_str(text).map_err(|e| CriteriaError::Shape {
        set: set.into(),
        detail: e.to_string().trim().to_owned(),
    })?;
    file.rule.iter().map(|rule| rule.to_rule(set)).collect()
}

impl RuleFile {
    /// The rule itself, levels in the channels' inside units.
    pub(super) fn to_rule(&self, set: &str) -> Result<Rule, CriteriaError> {
        Ok(Rule {
            id: self.id.clone(),
            asks: self.asks.clone(),
            test: self.test.to_test(set, &self.id)?,
            source: self.source.clone(),
        })
    }
}

impl TestFile {
    fn to_test(&self, set: &str, id: &str) -> Result<Test, CriteriaError> {
        let all = |of: &[Self]| -> Result<Vec<Test>, CriteriaError> {
            of.iter().map(|test| test.to_test(set, id)).collect()
        };
        Ok(match self {
            Self::Held { channel, level, for_s } => Test::Held {
                quantity: quantity(set, channel)?,
                threshold: level.to_threshold(set, id)?,
                for_s: *for_s,
            },
            Self::HeldRise { level, rise, for_s } => Test::HeldRise {
                threshold: level.to_threshold(set, id)?,
                rise: rise.to_rise(set, id)?,
                for_s: *for_s,
            },
            Self::ShareRise { rise, share } => {
                Test::ShareRise { rise: rise.to_rise(set, id)?, share: share.to_amount(set, id)? }
            }
            Self::Share { channel, level, share } => Test::Share {
                quantity: quantity(set, channel)?,
                threshold: level.to_threshold(set, id)?,
                share: share.to_amount(set, id)?,
            },
            Self::Total { channel, level, seconds } => Test::Total {
                quantity: quantity(set, channel)?,
                threshold: level.to_threshold(set, id)?,
                total: seconds.to_amount(set, id)?,
            },
            Self::Extreme { channel, level } => Test::Extreme {
                quantity: quantity(set, channel)?,
                threshold: level.to_threshold(set, id)?,
            },
            Self::Mean { channel, level } => Test::Mean {
                quantity: quantity(set, channel)?,
                threshold: level.to_threshold(set, id)?,
            },
            Self::Events { measure, per_h } => {
                Test::Events { measure: measure.clone(), rate: per_h.to_amount(set, id)? }
            }
            Self::Clusters { falls, within_s, clusters, nadir, nadirs, baseline } => {
                Test::Clusters {
                    falls: *falls,
                    within_s: *within_s,
                    clusters: clusters.to_amount(set, id)?,
                    nadir: nadir.to_threshold(set, id)?,
                    nadirs: nadirs.to_amount(set, id)?,
                    baseline: baseline.to_threshold(set, id)?,
                }
            }
            Self::All { of } => Test::All(all(of)?),
            Self::Any { of } => Test::Any(all(of)?),
        })
    }
}

impl LevelFile {
    fn to_threshold(&self, set: &str, id: &str) -> Result<Threshold, CriteriaError> {
        let (level, side, strict) = match (
            self.above,
            self.at_or_above,
            self.below,
            self.at_or_below,
        ) {
            (Some(level), None, None, None) => (level, Side::Above, true),
            (None, Some(level), None, None) => (level, Side::Above, false),
            (None, None, Some(level), None) => (level, Side::Below, true),
            (None, None, None, Some(level)) => (level, Side::Below, false),
            _ => {
                return Err(CriteriaError::Shape {
                    set: set.to_owned(),
                    detail: format!(
                        "rule `{id}`: a level needs exactly one of `above`, `at_or_above`, `below`, `at_or_below`"
                    ),
                });
            }
        };
        Ok(Threshold { level: inside_unit(set, level, &self.unit)?, side, strict })
    }
}

impl LevelFile {
    /// A rise: a level above awake.
    fn to_rise(&self, set: &str, id: &str) -> Result<Amount, CriteriaError> {
        let threshold = self.to_threshold(set, id)?;
        Ok(Amount { value: threshold.level, strict: threshold.strict })
    }
}

impl AmountFile {
    fn to_amount(self, set: &str, id: &str) -> Result<Amount, CriteriaError> {
        match (self.at_least, self.more_than) {
            (Some(value), None) => Ok(Amount { value, strict: false }),
            (None, Some(value)) => Ok(Amount { value, strict: true }),
            _ => Err(CriteriaError::Shape {
                set: set.to_owned(),
                detail: format!(
                    "rule `{id}`: an amount needs exactly one of `at_least`, `more_than`"
                ),
            }),
        }
    }
}

fn quantity(set: &str, id: &str) -> Result<Quantity, CriteriaError> {
    Quantity::from_id(id).ok_or_else(|| CriteriaError::Unknown {
        set: set.to_owned(),
        what: "channel",
        found: id.to_owned(),
        known: "spo2, pulse, tcpco2".into(),
    })
}
