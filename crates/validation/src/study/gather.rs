//! Many rows made into results.

use std::collections::BTreeMap;

use engine::criteria::Criteria;
use engine::judge::{Answer, Decision};
use engine::recording::Quantity;
use engine::screen::Reason;

use crate::study::belief::{CAUSES, CHANNELS, Count, Grain, Key, What};
use crate::study::laid::{Laid, WAYS};
use crate::study::night::{By, FIGURES, Row, Said, channels};
use crate::study::nights::criteria_sets;
use crate::study::results::{
    BeliefRow, FigureRow, LaidRow, NightsBelieved, OpenRow, PatternRow, Results, RuleRow,
    SleeperRow, VerdictRow,
};
use crate::study::run::Options;
use crate::study::tally::{Errors, Share};
use crate::study::worst::worst;

/// Rules on CO2 in nights without any check of it.
const UNCORRECTED: &str = "CO2, uncorrected";
/// All other answers: CO2's error is in the model.
pub const CHECKED: &str = "all but CO2, uncorrected";

/// Nights believed at least this far are held against the target for "cannot tell".
pub const WELL_BELIEVED: f64 = 0.9;

/// Gathers the rows.
///
/// # Errors
/// When the shipped criteria do not read.
pub fn gather(rows: &[Row], options: &Options) -> Result<Results, String> {
    let sets = criteria_sets()?;
    let lags: Vec<f64> = rows.iter().filter_map(|row| row.lag_error_s).collect();
    Ok(Results {
        engine: engine::ENGINE.to_owned(),
        set: options.set.id().to_owned(),
        nights: rows.len(),
        without: options.without.map(|reason| reason.id().to_owned()),
        nights_believed: nights_believed(rows),
        belief: belief(rows),
        figures: figures(rows),
        lag_told: Share::of(lags.len() as u64, rows.len() as u64),
        lag: Errors::of(&lags),
        rules: rules(rows, &sets),
        open: open(rows, &sets),
        laid: laid(rows),
        verdicts: verdicts(rows),
        patterns: patterns(rows),
        sleepers: by_sleeper(rows),
        worst: worst(rows, &sets),
    })
}

fn nights_believed(rows: &[Row]) -> Vec<NightsBelieved> {
    let well = |of: fn(&Row) -> [f64; 3], channel: usize| {
        let hit = rows.iter().filter(|row| of(row)[channel] >= WELL_BELIEVED).count();
        Share::of(hit as u64, rows.len() as u64)
    };
    let channels = CHANNELS.iter().enumerate();
    channels
        .map(|(i, quantity)| NightsBelieved {
            channel: quantity.id().to_owned(),
            found: well(|row| row.believed, i),
            given: well(|row| row.believed_given, i),
        })
        .collect()
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
            let against = |of: fn(&Row) -> &Said, truth: fn(&Row) -> &Said| {
                let one = |row: &Row| error(of(row).figures[place], truth(row).figures[place]);
                Errors::of(&kept().filter_map(one).collect::<Vec<_>>())
            };
            let errors = |of| against(of, |row| &row.truth);
            let row = (|| {
                Some(FigureRow {
                    id: id.to_owned(),
                    nights: (*name).to_owned(),
                    found: errors(|row| &row.found)?,
                    held: held(&kept().collect::<Vec<_>>(), place),
                    own: against(|row| &row.found, |row| &row.unharmed)?,
                    unharmed: errors(|row| &row.unharmed)?,
                    given: errors(|row| &row.given)?,
                })
            })();
            found.extend(row);
        }
    }
    found
}

/// How often the truth lies within the figure's own bounds, a millionth of a unit aside.
fn held(rows: &[&Row], place: usize) -> Share {
    let mut count = Count::default();
    for row in rows {
        let bounds = row.found.bounds[place];
        if let Some(truth) = row.truth.figures[place].filter(|_| bounds.low.is_finite()) {
            count.add_if(true, bounds.low - 1e-6 <= truth && truth <= bounds.high + 1e-6);
        }
    }
    Share::of(count.hit, count.of)
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
    untold_unbanded: Count,
}

/// The answers to one rule in one night.
struct Asked {
    truth: Answer,
    unharmed: Answer,
    given: Answer,
    unbanded: Answer,
    found: Answer,
    /// Whether the rule's channels are well believed.
    believed: bool,
    /// Whether they are with the truth's own belief.
    believed_given: bool,
}

impl Answers {
    fn add(&mut self, asked: &Asked) {
        let Asked { truth, unharmed, given, unbanded, found, believed, believed_given } = *asked;
        let told = |answer| answer != Answer::CannotTell;
        self.truly_met += u64::from(truth == Answer::Met);
        self.contradicted.add_if(told(found), contradicts(found, truth));
        self.contradicted_unharmed.add_if(told(unharmed), contradicts(unharmed, truth));
        self.against_unharmed.add_if(told(found), contradicts(found, unharmed));
        self.contradicted_given.add_if(told(given), contradicts(given, truth));
        self.untold.add_if(true, !told(found));
        self.untold_believed.add_if(believed, !told(found));
        self.untold_given.add_if(believed_given, !told(given));
        self.untold_unbanded.add_if(believed_given, !told(unbanded));
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
            cannot_tell_unbanded: share(self.untold_unbanded),
        }
    }
}

/// Whether an answer says the opposite of the truth.
pub(super) fn contradicts(found: Answer, truth: Answer) -> bool {
    matches!((found, truth), (Answer::Met, Answer::NotMet) | (Answer::NotMet, Answer::Met))
}

/// All answers together, then in groups of like rules and checks, then rule by rule.
fn rules(rows: &[Row], sets: &[Criteria]) -> Vec<RuleRow> {
    let mut by_rule: BTreeMap<(u8, &str), Answers> = BTreeMap::new();
    for row in rows {
        for (i, rule) in sets[row.criteria].rules.iter().enumerate() {
            let looks_at = channels(&rule.test);
            let asked = asked(row, i, &looks_at);
            let group = group(row, &looks_at);
            let checked = (group != UNCORRECTED).then_some((1, CHECKED));
            for group in [(0, "all"), (2, group), (3, &rule.id)].into_iter().chain(checked) {
                by_rule.entry(group).or_default().add(&asked);
            }
        }
    }
    by_rule.iter().map(|((_, id), answers)| answers.row(id)).collect()
}

fn asked(row: &Row, i: usize, looks_at: &[Quantity]) -> Asked {
    let well = |shares: [f64; 3]| {
        looks_at.iter().all(|quantity| {
            CHANNELS.iter().zip(shares).any(|(q, b)| q == quantity && b >= WELL_BELIEVED)
        })
    };
    Asked {
        truth: row.truth.rules[i].0,
        unharmed: row.unharmed.rules[i].0,
        given: row.given.rules[i].0,
        unbanded: row.unbanded.rules[i].0,
        found: row.found.rules[i].0,
        believed: well(row.believed),
        believed_given: well(row.believed_given),
    }
}

fn group(row: &Row, looks_at: &[Quantity]) -> &'static str {
    match (looks_at.contains(&Quantity::Tcpco2), row.by) {
        (false, _) => "SpO2 alone",
        (true, By::BloodGas) => "CO2, blood gas",
        (true, By::GasChecks) => "CO2, gas checks alone",
        (true, By::Nothing) => UNCORRECTED,
    }
}

/// Why an answer cannot be told, in the order in which causes are looked for.
const OPEN: [&str; 4] = [
    "the perfect sensor's night cannot tell either",
    "no level of CO2 awake",
    "CO2 may be off by its band",
    "gaps",
];

fn open(rows: &[Row], sets: &[Criteria]) -> Vec<OpenRow> {
    let mut counts = [0_u64; OPEN.len()];
    let mut all = 0;
    for row in rows {
        let awake = FIGURES.iter().position(|(id, _)| *id == "tcpco2.awake");
        let no_awake = awake.is_some_and(|place| row.found.figures[place].is_none());
        for (i, rule) in sets[row.criteria].rules.iter().enumerate() {
            let asked = asked(row, i, &channels(&rule.test));
            if !asked.believed {
                continue;
            }
            all += 1;
            let open = |answer| answer == Answer::CannotTell;
            let causes = [
                open(asked.truth),
                no_awake && rule.id.contains("rise") && open(row.found_unbanded[i]),
                !open(row.found_unbanded[i]),
                true,
            ];
            if open(asked.found)
                && let Some(cause) = causes.iter().position(|cause| *cause)
            {
                counts[cause] += 1;
            }
        }
    }
    let row = |(cause, hit): (&&str, u64)| OpenRow {
        cause: (*cause).to_owned(),
        share: Share::of(hit, all),
    };
    OPEN.iter().zip(counts).map(row).collect()
}

fn laid(rows: &[Row]) -> Vec<LaidRow> {
    let row = |(i, way): (usize, &&str)| {
        let sum = |of: fn(&Laid) -> u64| rows.iter().map(|row| of(&row.laid[i])).sum::<u64>();
        let told = sum(|laid| laid.told);
        LaidRow {
            way: (*way).to_owned(),
            opened: Share::of(sum(|laid| laid.opened), told),
            turned: Share::of(sum(|laid| laid.turned), told),
        }
    };
    WAYS.iter().enumerate().map(row).collect()
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

/// Every pattern that is said or true in any night, in order.
fn pattern_ids(rows: &[Row]) -> Vec<&'static str> {
    let said = rows.iter().flat_map(|row| row.truth.patterns.iter().chain(&row.found.patterns));
    let mut ids: Vec<&str> = said.copied().collect();
    ids.sort_unstable();
    ids.dedup();
    ids
}

fn patterns(rows: &[Row]) -> Vec<PatternRow> {
    let of = |id: &'static str| {
        let (mut said, mut unsaid) = (Count::default(), Count::default());
        for row in rows {
            let (found, truth) =
                (row.found.patterns.contains(&id), row.truth.patterns.contains(&id));
            said.add_if(truth, found);
            unsaid.add_if(!truth, !found);
        }
        let share = |count: Count| Share::of(count.hit, count.of);
        PatternRow { id: id.to_owned(), said: share(said), unsaid: share(unsaid) }
    };
    pattern_ids(rows).into_iter().map(of).collect()
}

fn by_sleeper(rows: &[Row]) -> Vec<SleeperRow> {
    let ids = pattern_ids(rows);
    let mut sleepers: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        sleepers.entry(row.sleeper).or_default().push(row);
    }
    let with = |rows: &[&Row], of: fn(&Row) -> &Said, id: &&str| {
        rows.iter().filter(|row| of(row).patterns.contains(id)).count() as u64
    };
    sleepers
        .into_iter()
        .map(|(sleeper, rows)| SleeperRow {
            sleeper: sleeper.to_owned(),
            nights: rows.len() as u64,
            patterns: ids
                .iter()
                .map(|id| {
                    let said = with(&rows, |row| &row.found, id);
                    ((*id).to_owned(), said, with(&rows, |row| &row.truth, id))
                })
                .collect(),
        })
        .collect()
}
