//! `correct`: CO2 offset and drift taken out where there are anchors, with a band.
//!
//! First temperature and metabolism, where the monitor has not done it; then offset and drift, by the
//! model that the anchors allow. The band is what is left unknown: the anchors' own spread and the
//! drift that may have wandered between them. Recorded values stay in the recording.

use crate::criteria::Criteria;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Quantity;
use crate::screen::Screened;
use crate::stats;
use crate::time::Stretch;
use crate::trace::Trace;

mod anchors;
mod doubt;
mod line;
mod model;
mod temperature;
mod wander;

pub use wander::Wander;

use line::Line;

/// What an anchor came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AnchorKind {
    /// A blood gas paired with the sensor.
    BloodGas,
    /// A gas of known CO2 put to the sensor.
    GasCheck,
}

/// A moment at which the sensor's error is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Anchor {
    /// What it came from.
    pub kind: AnchorKind,
    /// When, in seconds from the recording's start.
    pub at_s: f64,
    /// What the sensor should have read.
    pub reference_kpa: f64,
    /// What it read.
    pub observed_kpa: f64,
    /// Standard deviation of the error.
    pub sd_kpa: f64,
}

/// How CO2 was corrected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Model {
    /// No anchor: nothing was corrected.
    None,
    /// One anchor: one offset for the whole night.
    Offset,
    /// Two anchors or more: the error runs straight from each to the next.
    Additive,
    /// Gas checks only: the ratio of reference to reading runs straight from each to the next.
    Ratio,
}

impl Model {
    /// The id used in JSON.
    pub fn id(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Offset => "offset",
            Self::Additive => "additive",
            Self::Ratio => "ratio",
        }
    }
}

/// CO2 after correction.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectedCo2 {
    /// How.
    pub model: Model,
    /// On what.
    pub anchors: Vec<Anchor>,
    /// What was added at the recording's start; `None` with no correction. A ratio adds in proportion:
    /// this is then what it added to the median of the night's believed CO2.
    pub offset_start_kpa: Option<f64>,
    /// What was added at its end.
    pub offset_end_kpa: Option<f64>,
    /// Corrected samples, NaN where the recording has none. Same length as the channel.
    pub values: Vec<f64>,
    /// Half the width of the band around each; zero where there is no number, and everywhere when the
    /// criteria give a sensor without anchors no band.
    pub half_band: Vec<f64>,
    /// How far the error may have moved between two moments.
    pub wander: Wander,
}

impl CorrectedCo2 {
    /// How far the error moved over the recording: what was added at its end less what was added at
    /// its start, kPa. `None` when fewer than two anchors were used, so that drift is not known.
    pub fn drift_kpa(&self) -> Option<f64> {
        match self.model {
            Model::Additive | Model::Ratio => Some(self.offset_end_kpa? - self.offset_start_kpa?),
            Model::None | Model::Offset => None,
        }
    }
}

/// A screened recording with its CO2 corrected where that was possible.
#[derive(Clone, Debug, PartialEq)]
pub struct Corrected {
    /// The screened recording.
    pub screened: Screened,
    /// CO2 after correction; `None` when the recording has no CO2.
    pub tcpco2: Option<CorrectedCo2>,
    /// What correcting noticed.
    pub findings: Vec<Finding>,
}

impl Corrected {
    /// A channel as the scoring steps see it: CO2 corrected, the others as recorded.
    pub fn trace(&self, quantity: Quantity) -> Option<Trace> {
        let mut trace = self.screened.trace(quantity)?;
        if let (Quantity::Tcpco2, Some(co2)) = (quantity, &self.tcpco2) {
            trace.values.clone_from(&co2.values);
            trace.half_band.clone_from(&co2.half_band);
        }
        Some(trace)
    }
}

/// Takes CO2's offset and drift out, as far as the anchors reach.
pub fn correct(screened: Screened, criteria: &Criteria) -> Corrected {
    let (tcpco2, findings) = co2(&screened, criteria).unzip();
    Corrected { screened, tcpco2, findings: findings.unwrap_or_default() }
}

fn co2(screened: &Screened, criteria: &Criteria) -> Option<(CorrectedCo2, Vec<Finding>)> {
    let limits = &criteria.correct;
    let channel = screened.recording.channel(Quantity::Tcpco2)?;
    let screen = screened.channel(Quantity::Tcpco2)?;
    let (temperature, mut findings) = temperature::find(&screened.notes.monitor, limits);
    let mut values = channel.samples.to_vec();
    if let Some(temperature) = temperature {
        for value in &mut values {
            *value = temperature.apply(*value);
        }
    }
    let believed = values.iter().zip(&screen.believed).filter(|&(_, &believed)| believed);
    let level_kpa = median(believed.map(|(&value, _)| value).collect());
    findings.extend(temperature.and_then(|_| temperature::doubt(level_kpa, limits)));
    let (anchors, unusable) = anchors::find(screened, channel, screen, &values, limits);
    findings.extend(unusable);
    let factor = temperature.map_or(1.0, |temperature| temperature.factor());
    let doubted = doubt::leave_out(anchors, factor, limits);
    findings.extend(doubted.findings);
    let anchors = doubted.anchors;
    let (chosen, noticed) = model::choose(&anchors, (factor, doubted.widen_kpa), limits);
    findings.extend(noticed);
    let mut co2 = uncorrected(values, anchors);
    if let Some((model, line)) = chosen {
        let scale_kpa = level_kpa.filter(|_| model == Model::Ratio).unwrap_or(1.0);
        co2.wander = Wander::of(&line, scale_kpa, limits.band_sds.value);
        take_out(&mut co2, model, &line, |i| channel.time_s(i), limits.band_sds.value);
        let whole = screened.recording.whole();
        co2.offset_start_kpa = added(model, &line, whole.start_s, level_kpa);
        co2.offset_end_kpa = added(model, &line, whole.end_s, level_kpa);
        findings.extend(told(&co2, &line, whole));
    } else if let Some(line) = model::unchecked(doubted.widen_kpa, limits) {
        band(&mut co2, &line, |i| channel.time_s(i), limits.band_sds.value);
    }
    Some((co2, findings))
}

fn uncorrected(values: Vec<f64>, anchors: Vec<Anchor>) -> CorrectedCo2 {
    CorrectedCo2 {
        model: Model::None,
        anchors,
        offset_start_kpa: None,
        offset_end_kpa: None,
        half_band: vec![0.0; values.len()],
        wander: Wander::default(),
        values,
    }
}

/// What is added at one moment; for a ratio, to the level given.
fn added(model: Model, line: &Line, at_s: f64, level_kpa: Option<f64>) -> Option<f64> {
    let value = line.at(at_s).value;
    if model == Model::Ratio { Some(level_kpa? * (value - 1.0)) } else { Some(value) }
}

/// Applies the line to every sample, with half the width of its band.
fn take_out(
    co2: &mut CorrectedCo2,
    model: Model,
    line: &Line,
    time_s: impl Fn(usize) -> f64,
    band_sds: f64,
) {
    co2.model = model;
    for (i, value) in co2.values.iter_mut().enumerate().filter(|(_, x)| x.is_finite()) {
        let at = line.at(time_s(i));
        let anchors_kpa2 = match model {
            Model::Ratio => *value * *value * at.variance,
            _ => at.variance,
        };
        *value = if model == Model::Ratio { *value * at.value } else { *value + at.value };
        co2.half_band[i] = band_sds * (anchors_kpa2 + at.drift_kpa2).sqrt();
    }
}

/// Lays half the width of a band around every sample, whose error is not taken out.
fn band(co2: &mut CorrectedCo2, line: &Line, time_s: impl Fn(usize) -> f64, band_sds: f64) {
    co2.wander = Wander::of(line, 1.0, band_sds);
    let samples = co2.values.iter().zip(&mut co2.half_band).enumerate();
    for (i, (_, half_band)) in samples.filter(|(_, (value, _))| value.is_finite()) {
        let at = line.at(time_s(i));
        *half_band = band_sds * (at.variance + at.drift_kpa2).sqrt();
    }
}

/// What was done, and where the error had to be held for want of an anchor.
fn told(co2: &CorrectedCo2, line: &Line, whole: Stretch) -> Vec<Finding> {
    let mut findings = Vec::new();
    let added =
        |kpa: Option<f64>| kpa.map_or("an unknown amount".into(), |x| format!("{x:+.2} kPa"));
    let (start, end) = (added(co2.offset_start_kpa), added(co2.offset_end_kpa));
    let mut tell = |code, weight, sentence: String, stretch| {
        findings.push(Finding::new(code, weight, sentence).on("tcpco2").at(stretch));
    };
    if co2.model == Model::Offset {
        let sentence = format!(
            "One anchor only: {start} is added to CO2 throughout, and drift cannot be taken out."
        );
        tell("co2_drift_not_known", Weight::Caution, sentence, whole);
        return findings;
    }
    let sentence = format!("CO2 is corrected by {start} at the start and {end} at the end.");
    tell("co2_corrected", Weight::Note, sentence, whole);
    let times = line.points().iter().map(|point| point.at_s);
    let first_s = times.clone().fold(f64::INFINITY, f64::min).min(whole.end_s);
    let last_s = times.fold(f64::NEG_INFINITY, f64::max).max(whole.start_s);
    for (stretch, side) in [
        (Stretch::new(whole.start_s, first_s), "before the first"),
        (Stretch::new(last_s, whole.end_s), "after the last"),
    ] {
        if stretch.length_s() > 0.0 {
            let sentence = format!(
                "For {:.0} min {side} anchor CO2's error is held as it was there: drift is not \
                 extrapolated, and the band widens instead.",
                stretch.length_s() / 60.0
            );
            tell("co2_error_held", Weight::Note, sentence, stretch);
        }
    }
    findings
}

/// The middle of some numbers; `None` of none.
fn median(mut numbers: Vec<f64>) -> Option<f64> {
    stats::sort(&mut numbers);
    let upper = *numbers.get(numbers.len() / 2)?;
    let lower = numbers[(numbers.len() - 1) / 2];
    Some(f64::midpoint(lower, upper))
}
