//! What the study found, as data: written to a file, printed from it.

use std::collections::BTreeMap;

use engine::criteria::Criteria;
use engine::judge::{Answer, Decision};
use engine::recording::Quantity;
use engine::screen::Reason;
use serde::{Deserialize, Serialize};

use crate::study::belief::{CAUSES, CHANNELS, Count, Grain, Key, What};
use crate::study::night::{By, FIGURES, Row, Said, channels};
use crate::study::nights::criteria_sets;
use crate::study::run::Options;
use crate::study::tally::{Errors, Share};

/// Nights believed at least this far are held against the target for "cannot tell".
pub const WELL_BELIEVED: f64 = 0.9;

/// Everything the study found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Results {
    /// Version of the engine.
    pub engine: String,
    /// Which nights: `training` or `held-out`.
    pub set: String,
    /// How many.
    pub nights: usize,
    /// The reason left out, if any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub without: Option<String>,
    /// Belief against the truth.
    pub belief: Vec<BeliefRow>,
    /// Errors of figures.
    pub figures: Vec<FigureRow>,
    /// Answers of rules.
    pub rules: Vec<RuleRow>,
    /// Decisions and answers.
    pub verdicts: Vec<VerdictRow>,
    /// Patterns said and true.
    pub patterns: Vec<PatternRow>,
    /// The nights to look at.
    pub worst: Vec<Worst>,
}

/// One share of belief.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BeliefRow {
    /// `second` or `minute`.
    pub grain: String,
    /// Channel, or `all`.
    pub channel: String,
    /// What was counted: `honest believed`, `wrong`, `together`, a cause, `right REASON`, `cost REASON`.
    pub what: String,
    /// How much.
    pub share: Share,
}

/// How one figure errs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FigureRow {
    /// Id of the measure.
    pub id: String,
    /// On which nights.
    pub nights: String,
    /// As the tool gives it.
    pub found: Errors,
    /// As the same monitor would have given it, had nothing gone wrong with it.
    pub unharmed: Errors,
    /// As it would be with the truth's own belief.
    pub given: Errors,
}

/// How one rule is answered.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RuleRow {
    /// Id of the rule, or `all`.
    pub id: String,
    /// Nights in which it is met in truth.
    pub truly_met: u64,
    /// Answers met or not met that the truth contradicts, of all such answers.
    pub contradicted: Share,
    /// The same of what the monitor would have shown, had nothing gone wrong with it.
    pub contradicted_unharmed: Share,
    /// Answers that the unharmed monitor's contradicts.
    pub against_unharmed: Share,
    /// Contradicted by the truth with the truth's own belief.
    pub contradicted_given: Share,
    /// Answers "cannot tell", of all.
    pub cannot_tell: Share,
    /// The same on nights with at least 90 % of the rule's channels believed.
    pub cannot_tell_believed: Share,
    /// "Cannot tell" with the truth's own belief.
    pub cannot_tell_given: Share,
}

/// A decision against the truth.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VerdictRow {
    /// The tool's decision.
    pub decision: String,
    /// Its answer is the true one.
    pub right: u64,
    /// Its answer contradicts the true one.
    pub contradicted: u64,
    /// It has no answer.
    pub open: u64,
    /// The decision would be "sufficient" with the truth's own belief.
    pub sufficient_given: u64,
    /// "Partial".
    pub partial_given: u64,
    /// "Repeat".
    pub repeat_given: u64,
}

/// One pattern.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PatternRow {
    /// Its id.
    pub id: String,
    /// Said where it is true.
    pub said: Share,
    /// Not said where it is not.
    pub unsaid: Share,
}

/// A night to look at.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Worst {
    /// In what it is bad.
    pub what: String,
    /// Sleeper and seed.
    pub night: String,
    /// How bad, in words with numbers.
    pub how: String,
}

/// Gathers the rows.
///
/// # Errors
/// When the shipped criteria do not read.
pub fn gather(rows: &[Row], options: &Options) -> Result<Results, String> {
    let sets = criteria_sets()?;
    let mut worst = worst_beliefs(rows);
    worst.extend(worst_figures(rows));
    worst.extend(contradictions(rows, &sets));
    Ok(Results {
        engine: engine::ENGINE.to_owned(),
        set: options.set.id().to_owned(),
        nights: rows.len(),
        without: options.without.map(|reason| reason.id().to_owned()),
        belief: belief(rows),
        figures: figures(rows),
        rules: rules(rows, &sets),
        verdicts: verdicts(rows),
        patterns: patterns(rows),
        worst,
    })
}

fn belief(rows: &[Row]) -> Vec<BeliefRow> {
    let mut whats = vec![
        ("honest believed".to_owned(), What::Honest),
        ("together".to_owned(), What::Together),
        ("wrong".to_owned(), What::Wrong),
        ("wrong and matters".to_owned(), What::Matters),
    ];
    for cause in CAUSES {
        whats.push((cause.to_owned(), What::Cause(cause)));
        whats.push((format!("{cause} and matters"), What::CauseMatters(cause)));
    }
    for reason in Reason::ALL {
        whats.push((format!("right {}", reason.id()), What::Right(reason)));
        whats.push((format!("cost {}", reason.id()), What::Cost(reason)));
    }
    let mut found = Vec::new();
    for (grain, grain_id) in [(Grain::Second, "second"), (Grain::Minute, "minute")] {
        for (what_id, what) in &whats {
            let of = |keys: &[Key]| share(rows, keys);
            let keys = CHANNELS.map(|quantity| (grain, quantity, *what));
            let shares = [("all", of(&keys))]
                .into_iter()
                .chain(keys.iter().map(|key| (key.1.id(), of(&[*key]))));
            found.extend(shares.filter(|(_, share)| share.of > 0).map(|(channel, share)| {
                let (grain, channel) = (grain_id.to_owned(), channel.to_owned());
                BeliefRow { grain, channel, what: what_id.clone(), share }
            }));
        }
    }
    found
}

fn share(rows: &[Row], keys: &[Key]) -> Share {
    let counts: Vec<Count> = rows.iter().map(|row| night_count(row, keys)).collect();
    Share::of_nights(&counts)
}

fn night_count(row: &Row, keys: &[Key]) -> Count {
    let found = keys.iter().filter_map(|key| row.counts.get(key));
    found.fold(Count::default(), |sum, count| Count {
        hit: sum.hit + count.hit,
        of: sum.of + count.of,
    })
}

/// Which nights an error is taken over.
type Nights = (&'static str, fn(&Row, usize) -> bool);

fn figures(rows: &[Row]) -> Vec<FigureRow> {
    let well: Nights =
        ("believed 90 % or more", |row, channel| row.believed[channel] >= WELL_BELIEVED);
    let oxygen: [Nights; 2] = [("all", |_, _| true), well];
    let co2: [Nights; 5] = [
        ("all", |_, _| true),
        well,
        ("blood gas", |row, _| row.by == By::BloodGas),
        ("gas checks alone", |row, _| row.by == By::GasChecks),
        ("uncorrected", |row, _| row.by == By::Nothing),
    ];
    let mut found = Vec::new();
    for (place, (id, quantity)) in FIGURES.into_iter().enumerate() {
        let channel = CHANNELS.iter().position(|known| *known == quantity).unwrap_or(0);
        let nights: &[Nights] = if channel == 2 { &co2 } else { &oxygen };
        for (name, keep) in nights {
            let kept = || rows.iter().filter(|row| keep(row, channel));
            let errors = |of: fn(&Row) -> &Said| {
                let one = |row: &Row| error(of(row).figures[place], row.truth.figures[place]);
                Errors::of(&kept().filter_map(one).collect::<Vec<_>>())
            };
            let row = (|| {
                Some(FigureRow {
                    id: id.to_owned(),
                    nights: (*name).to_owned(),
                    found: errors(|row| &row.found)?,
                    unharmed: errors(|row| &row.unharmed)?,
                    given: errors(|row| &row.given)?,
                })
            })();
            found.extend(row);
        }
    }
    found
}

fn error(found: Option<f64>, truth: Option<f64>) -> Option<f64> {
    Some(found? - truth?)
}

/// What is counted of a rule.
#[derive(Clone, Copy, Default)]
struct Answers {
    truly_met: u64,
    contradicted: Count,
    contradicted_unharmed: Count,
    against_unharmed: Count,
    contradicted_given: Count,
    untold: Count,
    untold_believed: Count,
    untold_given: Count,
}

/// The four answers to one rule in one night.
struct Four {
    truth: Answer,
    unharmed: Answer,
    given: Answer,
    found: Answer,
    /// Whether the rule's channels are well believed.
    believed: bool,
}

impl Answers {
    fn add(&mut self, four: &Four) {
        let Four { truth, unharmed, given, found, believed } = *four;
        let told = |answer| answer != Answer::CannotTell;
        self.truly_met += u64::from(truth == Answer::Met);
        self.contradicted.add_if(told(found), contradicts(found, truth));
        self.contradicted_unharmed.add_if(told(unharmed), contradicts(unharmed, truth));
        self.against_unharmed.add_if(told(found), contradicts(found, unharmed));
        self.contradicted_given.add_if(told(given), contradicts(given, truth));
        self.untold.add_if(true, !told(found));
        self.untold_believed.add_if(believed, !told(found));
        self.untold_given.add_if(true, !told(given));
    }

    fn row(&self, id: &str) -> RuleRow {
        let share = |count: Count| Share::of(count.hit, count.of);
        RuleRow {
            id: id.to_owned(),
            truly_met: self.truly_met,
            contradicted: share(self.contradicted),
            contradicted_unharmed: share(self.contradicted_unharmed),
            against_unharmed: share(self.against_unharmed),
            contradicted_given: share(self.contradicted_given),
            cannot_tell: share(self.untold),
            cannot_tell_believed: share(self.untold_believed),
            cannot_tell_given: share(self.untold_given),
        }
    }
}

/// Whether an answer says the opposite of the truth.
fn contradicts(found: Answer, truth: Answer) -> bool {
    matches!((found, truth), (Answer::Met, Answer::NotMet) | (Answer::NotMet, Answer::Met))
}

/// All answers together, then in groups of like rules and checks, then rule by rule.
fn rules(rows: &[Row], sets: &[Criteria]) -> Vec<RuleRow> {
    let mut by_rule: BTreeMap<(u8, &str), Answers> = BTreeMap::new();
    for row in rows {
        for (i, rule) in sets[row.criteria].rules.iter().enumerate() {
            let looks_at = channels(&rule.test);
            let four = four(row, i, &looks_at);
            for group in [(0, "all"), (1, group(row, &looks_at)), (2, &rule.id)] {
                by_rule.entry(group).or_default().add(&four);
            }
        }
    }
    by_rule.iter().map(|((_, id), answers)| answers.row(id)).collect()
}

fn four(row: &Row, i: usize, looks_at: &[Quantity]) -> Four {
    let well = |quantity: &Quantity| {
        CHANNELS.iter().zip(row.believed).any(|(q, b)| q == quantity && b >= WELL_BELIEVED)
    };
    Four {
        truth: row.truth.rules[i].0,
        unharmed: row.unharmed.rules[i].0,
        given: row.given.rules[i].0,
        found: row.found.rules[i].0,
        believed: looks_at.iter().all(well),
    }
}

fn group(row: &Row, looks_at: &[Quantity]) -> &'static str {
    match (looks_at.contains(&Quantity::Tcpco2), row.by) {
        (false, _) => "SpO2 alone",
        (true, By::BloodGas) => "CO2, blood gas",
        (true, By::GasChecks) => "CO2, gas checks alone",
        (true, By::Nothing) => "CO2, uncorrected",
    }
}

fn verdicts(rows: &[Row]) -> Vec<VerdictRow> {
    let mut found = Vec::new();
    for decision in [Decision::Sufficient, Decision::Partial, Decision::Repeat] {
        let mut count = VerdictRow {
            decision: decision.id().to_owned(),
            right: 0,
            contradicted: 0,
            open: 0,
            sufficient_given: 0,
            partial_given: 0,
            repeat_given: 0,
        };
        for row in rows {
            let three = row.found.verdicts.iter().zip(&row.truth.verdicts).zip(&row.given.verdicts);
            for ((found, truth), given) in three.filter(|((found, _), _)| found.0 == decision) {
                match found.1 {
                    Answer::CannotTell => count.open += 1,
                    answer if contradicts(answer, truth.1) => count.contradicted += 1,
                    _ => count.right += 1,
                }
                match given.0 {
                    Decision::Sufficient => count.sufficient_given += 1,
                    Decision::Partial => count.partial_given += 1,
                    Decision::Repeat => count.repeat_given += 1,
                }
            }
        }
        found.push(count);
    }
    found
}

fn patterns(rows: &[Row]) -> Vec<PatternRow> {
    let mut ids: Vec<&str> = rows
        .iter()
        .flat_map(|row| row.truth.patterns.iter().chain(&row.found.patterns))
        .copied()
        .collect();
    ids.sort_unstable();
    ids.dedup();
    ids.into_iter()
        .map(|id| {
            let (mut said, mut is, mut unsaid, mut is_not) = (0, 0, 0, 0);
            for row in rows {
                let found = row.found.patterns.contains(&id);
                if row.truth.patterns.contains(&id) {
                    is += 1;
                    said += u64::from(found);
                } else {
                    is_not += 1;
                    unsaid += u64::from(!found);
                }
            }
            PatternRow {
                id: id.to_owned(),
                said: Share::of(said, is),
                unsaid: Share::of(unsaid, is_not),
            }
        })
        .collect()
}

/// How many nights of each kind are listed.
const LISTED: usize = 6;

/// Where most time that is wrong and matters is believed, and most honest time is not.
fn worst_beliefs(rows: &[Row]) -> Vec<Worst> {
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

fn worst_figures(rows: &[Row]) -> Vec<Worst> {
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

fn contradictions(rows: &[Row], sets: &[Criteria]) -> Vec<Worst> {
    let mut found = Vec::new();
    for row in rows {
        for (i, rule) in sets[row.criteria].rules.iter().enumerate() {
            let ((answer, margin), (truth, true_margin)) = (row.found.rules[i], row.truth.rules[i]);
            if contradicts(answer, truth) {
                let number =
                    |margin: Option<f64>| margin.map_or("none".into(), |m| format!("{m:.3}"));
                found.push(Worst {
                    what: rule.id.clone(),
                    night: row.label.clone(),
                    how: format!(
                        "{} by {}, truly {} by {}; with the true belief {}; corrected by {:?}",
                        answer.words(),
                        number(margin),
                        truth.words(),
                        number(true_margin),
                        row.given.rules[i].0.words(),
                        row.by
                    ),
                });
            }
        }
    }
    found
}

impl Results {
    /// A share of belief.
    pub fn share(&self, grain: &str, channel: &str, what: &str) -> Option<Share> {
        let here =
            |row: &&BeliefRow| row.grain == grain && row.channel == channel && row.what == what;
        self.belief.iter().find(here).map(|row| row.share)
    }

    /// The errors of a figure as the tool gives it.
    pub fn errors(&self, id: &str, nights: &str) -> Option<Errors> {
        let here = |row: &&FigureRow| row.id == id && row.nights == nights;
        self.figures.iter().find(here).map(|row| row.found)
    }
}
