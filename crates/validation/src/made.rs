//! Nights made sample by sample, for the boundary cases that a publication's words decide.
//!
//! One sample a second. An awake hour comes first, so that CO2 has settled when the lights go out; the
//! publication's case follows.

use engine::criteria::{Criteria, CriteriaError, shipped_text};
use engine::judge::Judgement;
use engine::night::night;
use engine::notes::Notes;
use engine::recording::{Author, Channel, Format, Mark, MarkKind, Quantity, Recording};
use engine::time::Clock;
use engine::unit::{Unit, kpa_from_mmhg};

use crate::Answer;

/// Seconds before the lights go out.
pub const AWAKE_S: usize = 3600;

const PUBLISHED_RULES: &str = include_str!("../../../criteria/published-rules.toml");

/// A curve, one value a second, written from left to right.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    values: Vec<f64>,
}

impl Curve {
    /// Starts with the awake hour at this level.
    pub fn awake(level: f64) -> Self {
        Self::default().rest(level, AWAKE_S)
    }

    /// Stays at a level for so many seconds, exactly.
    #[must_use]
    pub fn hold(mut self, level: f64, seconds: usize) -> Self {
        self.values.extend(std::iter::repeat_n(level, seconds));
        self
    }

    /// Stays near a level, a tenth lower for one second in every 300, so that it is not taken for frozen.
    #[must_use]
    pub fn rest(mut self, level: f64, seconds: usize) -> Self {
        self.values.extend((1..=seconds).map(|s| if s % 300 == 150 { level - 0.1 } else { level }));
        self
    }

    /// Runs straight from the last value to `level` in so many seconds; reaches it with the last.
    #[must_use]
    pub fn ramp(mut self, level: f64, seconds: usize) -> Self {
        let from = self.values.last().copied().unwrap_or(level);
        let step = (level - from) / seconds as f64;
        self.values.extend((1..=seconds).map(|s| from + step * s as f64));
        if let Some(last) = self.values.last_mut() {
            *last = level;
        }
        self
    }

    /// Holds no number for so many seconds.
    #[must_use]
    pub fn gap(self, seconds: usize) -> Self {
        self.hold(f64::NAN, seconds)
    }

    /// Adds the same piece `times` times.
    #[must_use]
    pub fn repeat(self, times: usize, piece: impl Fn(Self) -> Self) -> Self {
        (0..times).fold(self, |curve, _| piece(curve))
    }

    /// Rests at a level until so many seconds after lights out.
    ///
    /// # Panics
    /// When the curve is longer already: the case is written wrong.
    #[must_use]
    pub fn until(self, level: f64, after_lights_out_s: usize) -> Self {
        let end = AWAKE_S + after_lights_out_s;
        assert!(self.values.len() <= end, "the curve has {} s, more than {end}", self.values.len());
        let left = end - self.values.len();
        self.rest(level, left)
    }

    /// Seconds written so far.
    pub fn seconds(&self) -> usize {
        self.values.len()
    }
}

/// A night: saturation in %, CO2 in mmHg, and the notes that came with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Night {
    /// Saturation, %.
    pub spo2: Curve,
    /// CO2, mmHg; `None`: the night has no CO2.
    pub tcpco2_mmhg: Option<Curve>,
    /// Notes beside the lights.
    pub notes: Notes,
}

impl Night {
    /// CO2 as drawn, saturation quiet at 96 %.
    pub fn of_co2(curve: Curve) -> Self {
        let asleep_s = curve.seconds() - AWAKE_S;
        let spo2 = Curve::awake(97.0).until(96.0, asleep_s);
        Self { spo2, tcpco2_mmhg: Some(curve), notes: Notes::default() }
    }

    /// Saturation as drawn, CO2 quiet at 40 mmHg.
    pub fn of_spo2(curve: Curve) -> Self {
        let asleep_s = curve.seconds() - AWAKE_S;
        let co2 = Curve::awake(40.0).until(40.0, asleep_s);
        Self { spo2: curve, tcpco2_mmhg: Some(co2), notes: Notes::default() }
    }

    /// Both as drawn.
    pub fn of(spo2: Curve, tcpco2_mmhg: Curve) -> Self {
        Self { spo2, tcpco2_mmhg: Some(tcpco2_mmhg), notes: Notes::default() }
    }

    /// The night judged with these criteria.
    pub fn judge(&self, criteria: &Criteria) -> Judgement {
        night(self.recording(), self.notes_with_lights(), criteria)
    }

    /// The night as a recording; pulse moves by one beat every 20 s, so that nothing looks frozen.
    pub fn recording(&self) -> Recording {
        let seconds = self.spo2.values.len();
        let pulse = (0..seconds).map(|s| if s / 20 % 2 == 0 { 60.0 } else { 61.0 }).collect();
        let mut channels = vec![
            channel(Quantity::Spo2, Unit::Percent, self.spo2.values.clone()),
            channel(Quantity::Pulse, Unit::PerMinute, pulse),
        ];
        if let Some(curve) = &self.tcpco2_mmhg {
            let kpa = curve.values.iter().map(|mmhg| kpa_from_mmhg(*mmhg)).collect();
            channels.push(channel(Quantity::Tcpco2, Unit::Kilopascal, kpa));
        }
        Recording {
            format: Format::Made,
            clock: Clock::civil(jiff::civil::date(2026, 1, 12).at(21, 0, 0, 0)),
            duration_s: seconds as f64,
            channels,
            marks: Vec::new(),
            monitor: None,
            findings: Vec::new(),
            input_sha256: String::new(),
        }
    }

    fn notes_with_lights(&self) -> Notes {
        let lights = |kind, at: usize| Mark {
            kind,
            start_s: at as f64,
            end_s: None,
            text: String::new(),
            author: Author::Notes,
        };
        let mut notes = self.notes.clone();
        notes.marks.push(lights(MarkKind::LightsOut, AWAKE_S));
        notes.marks.push(lights(MarkKind::LightsOn, self.spo2.values.len()));
        notes.marks.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        notes
    }
}

fn channel(quantity: Quantity, unit: Unit, samples: Vec<f64>) -> Channel {
    Channel {
        id: quantity.id().into(),
        quantity,
        file_label: quantity.name().into(),
        file_unit: unit.symbol().into(),
        unit,
        period_s: 1.0,
        offset_s: 0.0,
        samples: samples.into(),
    }
}

/// The adult set with every published rule, and further rules written as in a criteria file.
///
/// # Errors
/// [`CriteriaError`] when `further` is not understood.
pub fn every_rule(further: &str) -> Result<Criteria, CriteriaError> {
    let ids: Vec<&str> = format_ids(PUBLISHED_RULES).chain(format_ids(further)).collect();
    let text = format!(
        "name = \"every-rule\"\nversion = \"0\"\ntitle = \"Every published rule\"\nage_band = \"adult\"\n\
         based_on = \"adult-air\"\nrules = {ids:?}\n{further}"
    );
    let mut criteria = Criteria::parse(&text, &|name| shipped_text(name).map(str::to_owned))?;
    // Publications take CO2 at its word and know no gap that is bounded: what is compared is their rule,
    // not what a department assumes of sensors and gaps.
    criteria.correct.band_sds.value = 0.0;
    criteria.judge.co2_gap_rounding_kpa.value = 0.0;
    criteria.judge.spo2_gap_most_min.value = 0.0;
    // Their examples are minutes long, not nights.
    criteria.judge.answer_least_min.value = 0.0;
    Ok(criteria)
}

fn format_ids(rules: &str) -> impl Iterator<Item = &str> {
    rules.lines().filter_map(|line| line.strip_prefix("id = \"")?.strip_suffix('"'))
}

/// What a rule says of a night, in the words of the report; why there is no answer, when there is none.
pub fn answer(night: &Night, rule: &str) -> String {
    answer_with(night, rule, "")
}

/// The same with further rules.
pub fn answer_with(night: &Night, rule: &str, further: &str) -> String {
    match every_rule(further) {
        Ok(criteria) => night
            .judge(&criteria)
            .rules
            .iter()
            .find(|found| found.id == rule)
            .map_or_else(|| "no answer".into(), |found| found.answer.words().into()),
        Err(error) => error.to_string(),
    }
}

/// One boundary case: what the night is, the rule, what the rule's words say, the night.
pub type Case = (&'static str, &'static str, &'static str, Night);

/// The cases answered.
pub fn answers(cases: Vec<Case>) -> Vec<Answer> {
    let mut answers = Vec::new();
    for (what, rule, expected, night) in cases {
        answers.push(Answer {
            what: format!("{what}: `{rule}`"),
            expected: expected.into(),
            found: answer(&night, rule),
        });
    }
    answers
}
