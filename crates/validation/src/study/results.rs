//! What the study found, as data: written to a file, printed from it.

use serde::{Deserialize, Serialize};

use crate::study::tally::{Errors, Share};

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
    pub without: Option<String>,
    /// How much of the nights is believed.
    pub nights_believed: Vec<NightsBelieved>,
    /// Belief against the truth.
    pub belief: Vec<BeliefRow>,
    /// Errors of figures.
    pub figures: Vec<FigureRow>,
    /// Nights in which the lag of CO2 behind SpO2 is told.
    pub lag_told: Share,
    /// Errors of that lag, s.
    pub lag: Option<Errors>,
    /// Answers of rules.
    pub rules: Vec<RuleRow>,
    /// Why answers cannot be told where the night is well believed.
    pub open: Vec<OpenRow>,
    /// What gaps laid over whole nights do to answers about SpO2.
    pub laid: Vec<LaidRow>,
    /// Decisions and answers.
    pub verdicts: Vec<VerdictRow>,
    /// Patterns said and true.
    pub patterns: Vec<PatternRow>,
    /// Patterns said and true, sleeper by sleeper.
    pub sleepers: Vec<SleeperRow>,
    /// The nights to look at.
    pub worst: Vec<Worst>,
}

/// What the tool does without one of its reasons, on the same training nights.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ablation {
    /// The reason left out; `none` for the tool as it is.
    pub without: String,
    /// Share of honest seconds believed.
    pub honest: f64,
    /// Share of seconds that are wrong and matter which are not believed.
    pub caught: f64,
    /// The error of ODI4 that 95 % of nights keep within, /h.
    pub odi4_q95: f64,
    /// The same of the time below 90 %, points.
    pub below_90_q95: f64,
    /// The same of the lowest SpO2, %.
    pub lowest_q95: f64,
    /// The same of sustained CO2, kPa.
    pub sustained_q95: f64,
    /// The same of the highest CO2, kPa.
    pub highest_q95: f64,
    /// Answers that the truth contradicts.
    pub contradicted: u64,
    /// Answers that the unharmed monitor's contradicts.
    pub against_unharmed: u64,
    /// Answers "cannot tell".
    pub cannot_tell: u64,
}

/// Everything that is kept: the held-out nights, and the reasons left out one by one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Kept {
    /// The held-out nights.
    pub held_out: Results,
    /// How many training nights the reasons were left out on.
    pub ablation_nights: usize,
    /// The tool as it is, then without each reason.
    pub ablations: Vec<Ablation>,
}

/// On how many nights a channel is believed for at least 90 % of the analysis period.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NightsBelieved {
    /// The channel.
    pub channel: String,
    /// Nights so believed.
    pub found: Share,
    /// Nights that the truth would believe so.
    pub given: Share,
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
    /// Nights in which the true figure lies between the lowest and the highest that the tool gives.
    pub held: Share,
    /// The tool's own error: against what the same monitor would have given, had nothing gone wrong.
    pub own: Errors,
    /// As the same monitor would have given it, had nothing gone wrong with it.
    pub unharmed: Errors,
    /// As it would be with the truth's own belief.
    pub given: Errors,
}

/// Why answers cannot be told, of all answers where the night is believed for 90 % or more.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OpenRow {
    /// The cause.
    pub cause: String,
    /// How many answers it leaves open.
    pub share: Share,
}

/// What gaps laid over whole nights do to the answers about SpO2 that those give.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LaidRow {
    /// How they are laid.
    pub way: String,
    /// Answers that open.
    pub opened: Share,
    /// Answers that are turned round.
    pub turned: Share,
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
    /// "Cannot tell" with the truth's own belief, on nights of which that believes as much.
    pub cannot_tell_given: Share,
    /// The same were CO2 exactly what was corrected, without its band.
    pub cannot_tell_unbanded: Share,
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

/// The patterns of one sleeper's nights.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SleeperRow {
    /// Who.
    pub sleeper: String,
    /// How many nights.
    pub nights: u64,
    /// Each pattern: in how many nights it was said, and in how many it was true.
    pub patterns: Vec<(String, u64, u64)>,
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

impl Results {
    /// A share of belief.
    pub fn share(&self, grain: &str, channel: &str, what: &str) -> Option<Share> {
        let here =
            |row: &&BeliefRow| row.grain == grain && row.channel == channel && row.what == what;
        self.belief.iter().find(here).map(|row| row.share)
    }

    /// The rows of a rule, or of a group of rules.
    pub fn rule(&self, id: &str) -> Option<&RuleRow> {
        self.rules.iter().find(|row| row.id == id)
    }

    /// The errors of a figure.
    pub fn errors(&self, id: &str, nights: &str) -> Option<&FigureRow> {
        self.figures.iter().find(|row| row.id == id && row.nights == nights)
    }
}
