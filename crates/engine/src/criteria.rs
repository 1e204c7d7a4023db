//! Criteria sets: every threshold the tool uses, named, versioned, each with its source.
//!
//! A set is a TOML file (`criteria/*.toml`). It may name another set it is `based_on` and state only
//! what differs. Published rules stand once, in `criteria/published-rules.toml`; a set picks by id.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Deserialize;
use sha2::{Digest, Sha256};

use crate::recording::Quantity;
use crate::unit::TOLERANCE;
use crate::unit::kpa_from_mmhg;

/// One number a department may set.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setting {
    /// The number, in the unit that its key's name ends in.
    pub value: f64,
    /// A key of `docs/sources.md`, or `department setting`, or `from memory`, or `common practice`.
    pub source: String,
}

/// Whom a set is for; artefact rules differ by age.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AgeBand {
    /// Adults.
    Adult,
    /// Children after infancy.
    Child,
    /// Infants, whose true falls are faster than any adult's.
    Infant,
}

/// A setting with what it means in one sentence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Explained<'a> {
    /// Its key in the file.
    pub key: &'static str,
    /// What it means.
    pub meaning: &'static str,
    /// The number and its source.
    pub setting: &'a Setting,
}

macro_rules! settings {
    ($(#[$doc:meta])* $name:ident { $($(#[doc = $meaning:literal])+ $field:ident,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Deserialize)]
        #[serde(deny_unknown_fields)]
        pub struct $name { $($(#[doc = $meaning])+ pub $field: Setting,)* }

        impl $name {
            /// Every setting with its key, in order.
            pub fn all(&self) -> Vec<(&'static str, &Setting)> {
                vec![$((stringify!($field), &self.$field),)*]
            }

            /// Every setting with its key and what it means, in order.
            pub fn explained(&self) -> Vec<Explained<'_>> {
                vec![$(Explained {
                    key: stringify!($field),
                    meaning: concat!($($meaning),+).trim(),
                    setting: &self.$field,
                },)*]
            }
        }
    };
}

settings! {
    /// When a sample may not be believed.
    ScreenCriteria {
        /// SpO2 below this is implausible.
        spo2_lowest_pct,
        /// SpO2 moving faster than this between believed samples is a step.
        spo2_fastest_pct_per_s,
        /// Pulse below this is implausible.
        pulse_lowest_per_min,
        /// Pulse above this is implausible.
        pulse_highest_per_min,
        /// Longest time between a step of SpO2 and the step back for all of it to be disbelieved.
        spo2_excursion_most_s,
        /// Oximeter readings this close to the sensor being off are not believed.
        off_margin_s,
        /// tcPCO2 below this is room air: the sensor is off.
        tcpco2_off_below_kpa,
        /// tcPCO2 above this is implausible.
        tcpco2_highest_kpa,
        /// tcPCO2 moving faster than this is a step.
        tcpco2_fastest_kpa_per_min,
        /// The time over which tcPCO2's speed is taken: the sensor lags, and its last digit is coarse.
        tcpco2_step_window_s,
        /// The least time CO2 settles after each fitting.
        settling_least_min,
        /// The time CO2 settles where its curve does not tell: that of patients.
        settling_patients_min,
        /// The most time settling may be found to take; after it the sensor has not settled.
        settling_most_min,
        /// How much of the curve after a fitting is fitted at first; all up to the most if that is not enough.
        settling_window_min,
        /// Settled when the error left of the fitted approach stays within this.
        settling_within_kpa,
        /// A fit that leaves more than this, as root mean square, does not tell the end of settling.
        settling_rest_kpa,
        /// A level that moves faster than this after the approach is not settled.
        settling_slope_kpa_per_min,
        /// CO2 that goes on within this of where it was has not left its level.
        settling_same_kpa,
        /// How long CO2 is watched after a longer pause of the recording to see that it goes on where it was.
        settling_hold_min,
        /// An interruption of CO2 shorter than this needs no new settling.
        refit_gap_s,
        /// Missing values fewer than this need no new settling, however long they last.
        refit_gap_least_samples,
        /// In missing values shorter than this no sensor can be lifted, put back and settled unseen.
        refit_unseen_s,
        /// The shortest time without oximetry in which CO2 standing still is taken for a calibrating gas.
        calibrating_least_s,
        /// CO2 that moves no more than this stands still.
        calibrating_still_kpa,
        /// A calibrating gas lies at least this far from the patient's level.
        calibrating_moved_kpa,
        /// The least fall of CO2 that is taken for a slow leak when the sensor is pressed on after it.
        loosening_least_kpa,
        /// A rise of CO2 by this within two minutes, while SpO2 stands still, is the sensor's.
        loosening_back_kpa,
        /// SpO2 that moves less than this stands still.
        loosening_spo2_pct,
        /// The longest time over which a slow leak is looked for.
        loosening_most_min,
        /// CO2 sinking slowly below this is a leak: nobody sleeps there.
        tcpco2_loose_below_kpa,
        /// A level of CO2 that differs this much after a refit is told.
        refit_level_kpa,
        /// CO2 that rises this much with low perfusion, and falls again after it, is told.
        squeezed_rise_kpa,
        /// SpO2 and CO2 must agree at least this well, as a correlation, to tell CO2's lag.
        lag_correlation,
        /// Halves of the night that differ more than this tell no lag.
        lag_apart_s,
        /// The shortest time off the ear that may have been a visit to the toilet.
        visit_least_s,
        /// A mark this near explains a time off the ear.
        visit_near_min,
        /// How far from the recording's start a sign of sleep's onset is looked for.
        onset_within_min,
        /// How far from its end a sign of waking is looked for.
        waking_within_min,
        /// The least change of the pulse that is such a sign.
        onset_pulse_per_min,
        /// SpO2 and pulse both unchanged for this long are stuck.
        stuck_s,
        /// One oximeter channel, recorded without the other and unchanged for this long, is stuck.
        stuck_alone_s,
        /// CO2 unchanged for this many times as long as its values usually stand is stuck.
        stuck_tcpco2_times,
        /// CO2 unchanged to its last digit for this long is stuck, however coarse the digit.
        stuck_tcpco2_s,
        /// The fewest equal samples that can show that a value is stuck.
        stuck_least_samples,
        /// Perfusion index below this is low.
        perfusion_lowest_pct,
        /// Longest sampling period at which movement and a slipped clip can be seen in the signal.
        signs_period_most_s,
        /// The window in which the roughness of pulse and perfusion is taken.
        signs_window_s,
        /// How many points of evidence disbelieve a fall.
        signs_least,
        /// A sign this many times over its limit counts twice.
        sign_strong_times,
        /// A pulse this many times as rough as is usual on the night is a sign of the sensor.
        pulse_rough_times,
        /// The least roughness of the pulse taken as usual: a paced pulse has none.
        pulse_rough_least_per_min,
        /// A pulse this far off its level before SpO2 is half way down is a sign of the sensor.
        pulse_early_per_min,
        /// A perfusion that jumps this many times as much as is usual on the night is movement.
        perfusion_rough_times,
        /// The least change of perfusion from sample to sample taken as usual.
        perfusion_rough_least_pct,
        /// A perfusion this many times under the one before has collapsed.
        perfusion_collapse_times,
        /// A fall of SpO2 at least this deep is held against the signs of movement.
        dip_least_pct,
        /// Longest time from the peak in which such a fall is looked for.
        dip_fall_most_s,
        /// Longest time in which such a fall must be half back.
        dip_most_s,
        /// A fall over sooner than this is quicker than any held breath.
        fall_quickest_s,
        /// A fall steeper than this is a sign of the sensor.
        fall_steepest_pct_per_s,
        /// The time over which the steepness of a fall is taken.
        steep_over_s,
        /// How many times as fast as a fall SpO2 may rise.
        spo2_rise_times,
        /// Readings this close to movement are not believed.
        motion_margin_s,
        /// Readings so soon after a slipped clip or low perfusion are not believed: a monitor averages.
        oximeter_margin_s,
        /// A fall at least this deep may be a slipped clip.
        slip_fall_pct,
        /// Longest time in which such a fall may take place.
        slip_fall_within_s,
        /// The time before it whose perfusion is compared.
        slip_before_s,
        /// SpO2 this near to its old level is back.
        slip_back_pct,
        /// A low level without a sign of the sensor for this long is the patient's own.
        slip_clear_s,
        /// The window in which SpO2 and pulse are both noise when perfusion is too low.
        noise_window_s,
        /// SpO2 and pulse this many times as rough as is usual on the night are noise.
        noise_times,
        /// The least roughness of SpO2 taken as usual.
        spo2_rough_least_pct,
        /// Readings between two dropouts, shorter than this, are not believed.
        island_least_s,
        /// Dropouts no further apart than this belong together.
        dropouts_near_s,
        /// So many dropouts together, beside a rough pulse, are low perfusion.
        dropouts_least,
        /// How long the patient is taken to be up when nobody wrote down the return.
        up_unended_min,
    }
}

settings! {
    /// How CO2 is corrected and how wide its band is.
    CorrectCriteria {
        /// Standard deviation of a blood gas against the sensor.
        blood_gas_sd_kpa,
        /// Standard deviation of a gas check.
        gas_check_sd_kpa,
        /// Standard deviation of the skin against the blood between patients, which no gas check tells.
        skin_sd_kpa,
        /// Standard deviation of a sensor at the ear against the blood that nothing checked.
        uncorrected_sd_kpa,
        /// Two anchors of a kind closer than this tell the error and not its drift; the same number noted twice
        /// within it is one fact.
        anchors_apart_min,
        /// Standard deviation of drift over eight hours.
        drift_sd_kpa_per_8h,
        /// How many standard deviations the band takes on each side.
        band_sds,
        /// Lag of the sensor behind the blood when a blood gas is paired with it.
        blood_gas_lag_s,
        /// Length of the stretch, centred on the lagged moment, whose median is paired with a blood gas.
        blood_gas_window_s,
        /// An anchor with less CO2 than this is too thin to measure the sensor by.
        anchor_lowest_kpa,
        /// Highest CO2 of a gas or blood gas that is taken for a reading in kPa.
        anchor_highest_kpa,
        /// An anchor further than this from the recording says nothing of it.
        anchor_farthest_h,
        /// A blood gas that cannot be paired but was taken no further than this from the scored time opens the
        /// answers that it lies on the other side of.
        gas_speaks_h,
        /// Exponent of the temperature correction, base ten, per degree.
        temperature_exponent_per_c,
        /// Metabolic constant subtracted before the temperature correction.
        metabolic_kpa,
        /// Coolest setting of a heated sensor for which the temperature correction is made.
        sensor_temp_lowest_c,
        /// Hottest setting for which it is made.
        sensor_temp_highest_c,
        /// A median below this after the temperature correction suggests that it was made twice.
        corrected_twice_below_kpa,
    }
}

settings! {
    /// How events are counted.
    ScoreCriteria {
        /// Least time after its peak at which a fall must be deep enough; shortest fall from the mean.
        fall_least_s,
        /// Most time after its peak at which a fall may become deep enough.
        fall_most_s,
        /// Rise from the lowest sample that ends a fall from a peak.
        recovery_pct,
        /// Longest sampling period on which events are counted.
        event_period_most_s,
        /// Most events an hour an unseen stretch could hold.
        events_most_per_h,
        /// How many times the most falls seen in a stretch as long a short gap of SpO2 could hold.
        gap_events_times,
        /// Longest time in which a pulse rise must be complete.
        pulse_rise_within_s,
    }
}

settings! {
    /// What the unseen may have been, and how much night is enough.
    JudgeCriteria {
        /// Greatest rate at which CO2 may move inside a gap.
        co2_gap_rate_mmhg_per_min,
        /// The same, outer case.
        co2_gap_rate_outer_mmhg_per_min,
        /// How much further it may lie there: readings are rounded and noisy.
        co2_gap_rounding_kpa,
        /// The longest gap in which SpO2 is bounded at all; in a longer one it may have been anything. Zero: in all.
        spo2_gap_most_min,
        /// Greatest rate at which SpO2 may fall inside a short gap, if the night shows none greater.
        spo2_gap_fall_pct_per_s,
        /// Greatest rate at which it may rise there, if the night shows none greater.
        spo2_gap_rise_pct_per_s,
        /// How much further it may lie there: readings are rounded and averaged.
        spo2_gap_rounding_pct,
        /// The time over which the night's own greatest rates are taken.
        spo2_gap_over_s,
        /// How far under the lowest seen SpO2 may lie in a short gap on a night believed for the least hours; for
        /// a run on end, under the lowest that the night kept to for as long.
        spo2_gap_deeper_pct,
        /// Least believed hours of SpO2.
        spo2_least_h,
        /// Least believed hours of CO2.
        tcpco2_least_h,
        /// On less believed time than this no rule is answered "not met", and none on a share, a mean or a rate
        /// at all.
        answer_least_min,
        /// Largest drift the department accepts.
        drift_most_kpa,
        /// SpO2 baseline under this is described as low.
        baseline_low_pct,
        /// Fall rate from which falls are described as repetitive.
        repetitive_per_h,
        /// Shortest time below which a fall is described as sustained.
        sustained_s,
        /// CO2 rise that a pattern speaks of.
        co2_rise_kpa,
        /// Falls that make a cluster.
        cluster_falls,
        /// Within how long they must come.
        cluster_within_s,
    }
}

settings! {
    /// When the report adds a caution.
    ReportCriteria {
        /// The lowest or mean SpO2 this near to a threshold calls for the caution on readings that err.
        spo2_caution_pct,
    }
}

settings! {
    /// From where a figure is told at the head of the report, whatever was asked.
    SevereCriteria {
        /// SpO2 held below this is severe.
        spo2_held_below_pct,
        /// How long SpO2 must be held there.
        spo2_held_s,
        /// SpO2 averaging less than this is severe.
        spo2_mean_below_pct,
        /// SpO2 below 90 % for more than this share of the believed time is severe.
        spo2_below_90_share_pct,
        /// Falls of 4 % at this rate or more are severe.
        odi4_per_h,
        /// CO2 held above this for ten minutes is severe.
        co2_held_10min_kpa,
        /// A blood gas with a PCO2 above this is severe.
        blood_gas_kpa,
        /// CO2 that rises by more than this after oxygen starts is severe.
        co2_rise_on_oxygen_kpa,
        /// Means, shares and rates are told as severe where at least this much of the channel is believed.
        believed_least_min,
    }
}

/// Which side of a threshold a rule asks about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Above it: higher is what the rule looks for.
    Above,
    /// Below it.
    Below,
}

/// A threshold: a level, its side, and whether the level itself counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Threshold {
    /// The level, in the channel's inside unit (%, /min, kPa).
    pub level: f64,
    /// Which side counts.
    pub side: Side,
    /// `true`: the level itself does not count (`>`, `<`); `false`: it does (`>=`, `<=`).
    pub strict: bool,
}

impl Threshold {
    /// How far past the threshold a value lies; negative when it falls short.
    pub fn slack(&self, value: f64) -> f64 {
        match self.side {
            Side::Above => value - self.level,
            Side::Below => self.level - value,
        }
    }

    /// Whether a value lies past the threshold. NaN never does.
    pub fn passed_by(&self, value: f64) -> bool {
        passes(self.slack(value), self.strict)
    }
}

/// Whether a slack counts: above zero when strict, zero or above when not; a millionth of a unit
/// never decides.
pub fn passes(slack: f64, strict: bool) -> bool {
    if strict { slack > TOLERANCE } else { slack >= -TOLERANCE }
}

/// An amount that must be reached: `at_least`, or `more_than`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Amount {
    /// The amount.
    pub value: f64,
    /// `true`: more than; `false`: at least.
    pub strict: bool,
}

/// What a rule asks of the night.
#[derive(Clone, Debug, PartialEq)]
pub enum Test {
    /// One unbroken run past the threshold, at least this many seconds long.
    Held {
        /// The channel.
        quantity: Quantity,
        /// Past what.
        threshold: Threshold,
        /// For how long, seconds.
        for_s: f64,
    },
    /// One unbroken run of CO2 past the threshold and risen above the awake value.
    HeldRise {
        /// Past what.
        threshold: Threshold,
        /// Rise above awake, kPa.
        rise: Amount,
        /// For how long, seconds.
        for_s: f64,
    },
    /// A share of the period past the threshold, %.
    Share {
        /// The channel.
        quantity: Quantity,
        /// Past what.
        threshold: Threshold,
        /// How much of the period, %.
        share: Amount,
    },
    /// A share of the period in which CO2 has risen above the awake value, %.
    ShareRise {
        /// Rise above awake, kPa.
        rise: Amount,
        /// How much of the period, %.
        share: Amount,
    },
    /// Time past the threshold added up over the period, seconds.
    Total {
        /// The channel.
        quantity: Quantity,
        /// Past what.
        threshold: Threshold,
        /// How long in all, seconds.
        total: Amount,
    },
    /// A single sample past the threshold.
    Extreme {
        /// The channel.
        quantity: Quantity,
        /// Past what.
        threshold: Threshold,
    },
    /// The mean past the threshold.
    Mean {
        /// The channel.
        quantity: Quantity,
        /// Past what.
        threshold: Threshold,
    },
    /// Events an hour by one of the measures.
    Events {
        /// Id of the measure, for instance `spo2.odi4`.
        measure: String,
        /// How many, /h.
        rate: Amount,
    },
    /// Clusters of falls, and falls to a low nadir: the published score of children's oximetry.
    Clusters {
        /// Falls that make a cluster.
        falls: usize,
        /// Within how long, seconds.
        within_s: f64,
        /// How many clusters.
        clusters: Amount,
        /// A nadir past this is low.
        nadir: Threshold,
        /// How many falls with a low nadir.
        nadirs: Amount,
        /// A baseline past this, with fewer low nadirs, answers no; otherwise the texts do not decide.
        baseline: Threshold,
    },
    /// Every one of these.
    All(Vec<Test>),
    /// At least one of these.
    Any(Vec<Test>),
}

impl Test {
    /// Whether the test looks at this channel.
    pub fn asks_of(&self, channel: Quantity) -> bool {
        match self {
            Self::Held { quantity, .. }
            | Self::Share { quantity, .. }
            | Self::Total { quantity, .. }
            | Self::Extreme { quantity, .. }
            | Self::Mean { quantity, .. } => *quantity == channel,
            Self::HeldRise { .. } | Self::ShareRise { .. } => channel == Quantity::Tcpco2,
            Self::Events { .. } | Self::Clusters { .. } => channel == Quantity::Spo2,
            Self::All(parts) | Self::Any(parts) => parts.iter().any(|part| part.asks_of(channel)),
        }
    }
}

impl Test {
    /// The levels of CO2 that it asks to have been reached or held, wherever in it they stand, and for how long.
    pub fn co2_above(&self) -> Vec<(Threshold, f64)> {
        let above = |threshold: &Threshold, for_s: f64| {
            let asked = (*threshold, for_s);
            if threshold.side == Side::Above { vec![asked] } else { Vec::new() }
        };
        match self {
            Self::Held { quantity: Quantity::Tcpco2, threshold, for_s }
            | Self::HeldRise { threshold, for_s, .. } => above(threshold, *for_s),
            Self::Extreme { quantity: Quantity::Tcpco2, threshold } => above(threshold, 0.0),
            Self::All(parts) | Self::Any(parts) => parts.iter().flat_map(Self::co2_above).collect(),
            _ => Vec::new(),
        }
    }
}

/// A rule: a question with its test and the publication it comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// What it asks, as an id.
    pub id: String,
    /// What it asks, as a sentence without a full stop.
    pub asks: String,
    /// How it is computed.
    pub test: Test,
    /// Key of `docs/sources.md`, or `from memory`, or `department setting`.
    pub source: String,
}

/// A question a clinician may ask of a night.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Question {
    /// Id, for instance `hypoventilation`.
    pub id: String,
    /// The question in words, with its question mark.
    pub asks: String,
    /// Channels that must have enough believed hours: `spo2`, `tcpco2`.
    pub channels: Vec<String>,
    /// Rules of which one met answers yes, and all not met answer no.
    pub needs: Vec<String>,
    /// What must be known of the breathing for the answer to be taken at its word; `None`: nothing.
    #[serde(default)]
    pub breathing: Option<BreathingAsked>,
}

/// A criteria set.
#[derive(Clone, Debug, PartialEq)]
pub struct Criteria {
    /// Short name, for instance `adult-air`.
    pub name: String,
    /// Version, a date or a number.
    pub version: String,
    /// What it is for, in words.
    pub title: String,
    /// Whom it is for.
    pub age_band: AgeBand,
    /// SHA-256 of [`Criteria::whole`].
    pub sha256: String,
    /// The texts it was read from, the sets it is based on and the published rules among them:
    /// [`Criteria::from_whole`] reads the same set from it in any later release.
    pub whole: Arc<str>,
    /// Believing.
    pub screen: ScreenCriteria,
    /// Correcting.
    pub correct: CorrectCriteria,
    /// Counting.
    pub score: ScoreCriteria,
    /// Judging.
    pub judge: JudgeCriteria,
    /// Reporting.
    pub report: ReportCriteria,
    /// What is severe; `None` in a set that was kept before there were such limits.
    pub severe: Option<SevereCriteria>,
    /// The rules picked, in order.
    pub rules: Vec<Rule>,
    /// The questions, the first being the default.
    pub questions: Vec<Question>,
    /// Values that its texts name and this release no longer has; they are read over.
    pub retired: Vec<&'static str>,
}

mod breathing;
mod earlier;
mod error;
mod own;
mod rule_file;
mod shipped;
mod values;
mod whole;

pub use breathing::BreathingAsked;
pub use error::CriteriaError;
pub use own::Head;
pub use own::Own;
pub use own::Stated;
pub use own::head;
pub use own::own_rule_ids;
pub use own::own_rules;
pub use own::published_rule_text;
pub use own::published_rules;
pub use own::with_version;
pub use shipped::{shipped, shipped_names, shipped_text};
pub use values::Difference;
pub use values::Kind;
pub use values::SECTIONS;
pub use values::Said;
pub use values::Value;
pub use values::age_words;
pub use values::differences;

use whole::Whole;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SetFile {
    name: String,
    version: String,
    title: String,
    age_band: AgeBand,
    #[serde(default)]
    #[expect(dead_code, reason = "read before merging; kept so that the key is known")]
    based_on: Option<String>,
    rules: Vec<String>,
    screen: ScreenCriteria,
    correct: CorrectCriteria,
    score: ScoreCriteria,
    judge: JudgeCriteria,
    report: ReportCriteria,
    severe: Option<SevereCriteria>,
    #[serde(default)]
    question: Vec<Question>,
    #[serde(default)]
    rule: Vec<rule_file::RuleFile>,
}

impl Criteria {
    /// Reads a set from its text. `base` gives the text of the set named in `based_on`.
    ///
    /// # Errors
    /// [`CriteriaError`] naming the set, the key and what was expected.
    pub fn parse(text: &str, base: &dyn Fn(&str) -> Option<String>) -> Result<Self, CriteriaError> {
        let set = Self::of(&Whole::gather(text, base)?)?;
        // What was adopted once is read as it was kept, whatever ranges a later release has.
        values::check_ranges(&set)?;
        Ok(set)
    }

    /// Reads a set from all its texts, as [`Criteria::whole`] keeps them.
    ///
    /// # Errors
    /// [`CriteriaError`] when they are not the texts of a set.
    pub fn from_whole(whole: &str) -> Result<Self, CriteriaError> {
        Self::of(&Whole::read(whole)?)
    }

    fn of(whole: &Whole) -> Result<Self, CriteriaError> {
        let mut table = whole.merged()?;
        let retired = earlier::carry_over(&mut table)?;
        let set = table.get("name").and_then(toml::Value::as_str).unwrap_or("unnamed").to_owned();
        let file: SetFile = table.try_into().map_err(|e: toml::de::Error| {
            CriteriaError::Shape { set: set.clone(), detail: e.message().to_owned() }
        })?;
        let published = rule_file::parse_rules(whole.rules())?;
        let own = file.rule.iter().map(|rule| rule.to_rule(&set)).collect::<Result<Vec<_>, _>>()?;
        let library: BTreeMap<String, Rule> =
            published.into_iter().chain(own).map(|rule| (rule.id.clone(), rule)).collect();
        let rules = pick(&set, &file.rules, &library)?;
        for question in &file.question {
            check_question(&set, question, &rules)?;
        }
        Ok(Self {
            name: file.name,
            version: file.version,
            title: file.title,
            age_band: file.age_band,
            sha256: crate::hex(&Sha256::digest(whole.text().as_bytes())),
            whole: whole.text().into(),
            screen: file.screen,
            correct: file.correct,
            score: file.score,
            judge: file.judge,
            report: file.report,
            severe: file.severe,
            rules,
            questions: file.question,
            retired,
        })
    }

    /// The question with this id, or the set's first when `id` is `None`.
    pub fn question(&self, id: Option<&str>) -> Option<&Question> {
        match id {
            Some(id) => self.questions.iter().find(|question| question.id == id),
            None => self.questions.first(),
        }
    }
}

fn pick(
    set: &str,
    ids: &[String],
    library: &BTreeMap<String, Rule>,
) -> Result<Vec<Rule>, CriteriaError> {
    ids.iter()
        .map(|id| {
            library.get(id).cloned().ok_or_else(|| CriteriaError::Unknown {
                set: set.to_owned(),
                what: "rule",
                found: id.clone(),
                known: library.keys().cloned().collect::<Vec<_>>().join(", "),
            })
        })
        .collect()
}

fn check_question(set: &str, question: &Question, rules: &[Rule]) -> Result<(), CriteriaError> {
    let unknown = question.needs.iter().find(|id| !rules.iter().any(|rule| rule.id == **id));
    if let Some(id) = unknown {
        return Err(CriteriaError::Unknown {
            set: set.to_owned(),
            what: "rule needed by a question",
            found: id.clone(),
            known: rules.iter().map(|rule| rule.id.clone()).collect::<Vec<_>>().join(", "),
        });
    }
    let unknown = question.channels.iter().find(|id| Quantity::from_id(id).is_none());
    match unknown {
        Some(id) => Err(CriteriaError::Unknown {
            set: set.to_owned(),
            what: "channel",
            found: id.clone(),
            known: "spo2, pulse, tcpco2".into(),
        }),
        None => Ok(()),
    }
}

/// A level written in `unit`, in the channel's inside unit.
fn inside_unit(set: &str, level: f64, unit: &str) -> Result<f64, CriteriaError> {
    match unit {
        "%" | "kPa" | "/min" => Ok(level),
        "mmHg" => Ok(kpa_from_mmhg(level)),
        _ => Err(CriteriaError::Unknown {
            set: set.to_owned(),
            what: "unit",
            found: unit.to_owned(),
            known: "%, /min, kPa, mmHg".into(),
        }),
    }
}
