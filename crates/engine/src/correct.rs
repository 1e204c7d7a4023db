//! `correct`: CO2 offset and drift taken out where there are anchors, with a band always.
//!
//! First temperature and metabolism, where the monitor has not done it; then offset and drift, by the
//! model that the anchors allow. The band is what all that is known of the sensor's error leaves open:
//! what unchecked sensors err by where nothing checked it, and less by every anchor that agrees. A blood
//! gas is never left out, and one that cannot be paired is held against what the sensor read nearest to it.
//! Recorded values stay in the recording.

use crate::criteria::Criteria;
use crate::criteria::Side;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::notes::BloodGas;
use crate::recording::Quantity;
use crate::screen::Screened;
use crate::stats;
use crate::time::Stretch;
use crate::trace::Band;
use crate::trace::Trace;

mod anchors;
mod bounds;
mod disagree;
mod known;
mod line;
mod model;
mod standing;
mod temperature;
mod unpaired;
mod words;

pub use bounds::Bounds;
pub(crate) use disagree::DO_NOT_AGREE;

use line::Line;
use model::Moved;
use unpaired::Sensor;

/// What an anchor came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AnchorKind {
    /// A blood gas paired with the sensor.
    BloodGas,
    /// A gas of known CO2 put to the sensor.
    GasCheck,
}

impl AnchorKind {
    /// The words a person reads.
    pub fn words(self) -> &'static str {
        match self {
            Self::BloodGas => "blood gas",
            Self::GasCheck => "gas check",
        }
    }

    /// The same of several.
    pub fn plural(self) -> &'static str {
        match self {
            Self::BloodGas => "blood gases",
            Self::GasCheck => "gas checks",
        }
    }
}

/// A moment at which the sensor's error is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Anchor {
    /// What it came from.
    pub kind: AnchorKind,
    /// When it was taken, in seconds from the recording's start.
    pub taken_s: f64,
    /// When the sensor shows it.
    pub at_s: f64,
    /// What the sensor should have read.
    pub reference_kpa: f64,
    /// What it read.
    pub observed_kpa: f64,
    /// Standard deviation of the error.
    pub sd_kpa: f64,
}

/// A blood gas that was taken and cannot be held against the sensor.
#[derive(Clone, Debug, PartialEq)]
pub struct Unpaired {
    /// When it was taken, in seconds from the recording's start.
    pub at_s: f64,
    /// What it was.
    pub pco2_kpa: f64,
    /// Why it cannot be paired, a clause.
    pub why: String,
    /// Where it contradicts what the sensor read nearest to it.
    pub contradicts: Option<Contradiction>,
}

/// A gas check that was noted and cannot be used.
#[derive(Clone, Debug, PartialEq)]
pub struct UnusedCheck {
    /// When it was made, in seconds from the recording's start.
    pub at_s: f64,
    /// What the gas should read.
    pub expected_kpa: f64,
    /// Why it cannot be used, a clause.
    pub why: String,
}

/// A blood gas that cannot be paired and lies outside what the sensor, with all that is not known of it, read
/// in the nearest minutes that are believed.
#[derive(Clone, Debug, PartialEq)]
pub struct Contradiction {
    /// On which side of the sensor it lies.
    pub side: Side,
    /// Whether it does so without the gas checks as well, which do not observe the blood.
    pub opens: bool,
    /// Both with their numbers and times, in one sentence.
    pub sentence: String,
}

/// How far the sensor's error moved between two anchors of a kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Of which kind the two are.
    pub kind: AnchorKind,
    /// The later less the earlier.
    pub kpa: f64,
    /// When the two were taken, in seconds from the recording's start.
    pub taken_s: (f64, f64),
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

/// An error of the sensor, or its ratio, at a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Point {
    at_s: f64,
    /// kPa to add, or the factor to multiply by.
    value: f64,
    /// Variance of `value`.
    variance: f64,
}

impl Point {
    /// Whether it is the same one, however sure.
    fn is(self, other: Self) -> bool {
        let same = |a: f64, b: f64| a.total_cmp(&b).is_eq();
        same(self.at_s, other.at_s) && same(self.value, other.value)
    }
}

/// CO2 after correction.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectedCo2 {
    /// How.
    pub model: Model,
    /// On what.
    pub anchors: Vec<Anchor>,
    /// The blood gases that could not be used.
    pub unpaired: Vec<Unpaired>,
    /// The gas checks that could not be used.
    pub unused_checks: Vec<UnusedCheck>,
    /// What of it does not agree, in words; `None` where all agrees.
    pub disagreement: Option<String>,
    /// What was added at the recording's start; `None` with no correction. A ratio adds in proportion:
    /// this is then what it added to the median of the night's believed CO2.
    pub offset_start_kpa: Option<f64>,
    /// What was added at its end.
    pub offset_end_kpa: Option<f64>,
    /// The largest that the error moved between two anchors of a kind that agree, whatever the model; `None`
    /// where no two lie far enough apart to tell.
    pub drift: Option<Drift>,
    /// The same between two of which one does not agree with something: only so where both are right.
    pub drift_if_right: Option<Drift>,
    /// Corrected samples, NaN where the recording has none. Same length as the channel.
    pub values: Vec<f64>,
    /// What was added to each sample, kPa. Same length.
    pub added_kpa: Vec<f64>,
    /// The band around each sample. Same length.
    pub band: Vec<Band>,
    /// Where the sensor's error may have lain, and how it may have moved.
    pub bounds: Bounds,
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
            trace.band.clone_from(&co2.band);
        }
        Some(trace)
    }

    /// Every blood gas that was taken, in order of time; one noted twice once, as it counts.
    pub fn blood_gases(&self) -> Vec<BloodGas> {
        let Some(co2) = &self.tcpco2 else { return self.screened.notes.blood_gases.clone() };
        let gases = co2.anchors.iter().filter(|anchor| anchor.kind == AnchorKind::BloodGas);
        let paired = gases.map(|gas| (gas.taken_s, gas.reference_kpa));
        let all = paired.chain(co2.unpaired.iter().map(|gas| (gas.at_s, gas.pco2_kpa)));
        let mut all: Vec<BloodGas> =
            all.map(|(at_s, pco2_kpa)| BloodGas { at_s, pco2_kpa }).collect();
        all.sort_by(|a, b| a.at_s.total_cmp(&b.at_s).then(a.pco2_kpa.total_cmp(&b.pco2_kpa)));
        all
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
    findings.extend(retired(criteria));
    let found = anchors::find(screened, channel, screen, &values, limits);
    findings.extend(found.findings);
    let factor = temperature.map_or(1.0, |temperature| temperature.factor());
    let (chosen, noticed) = model::choose(&found.anchors, factor, limits);
    findings.extend(noticed);
    let whole = screened.recording.whole();
    let span_s = (channel.time_s(0), channel.time_s(values.len()));
    let bounds = model::bounds(&found.anchors, factor, limits, span_s);
    let moves = model::moves(&found.anchors, factor, level_kpa, limits);
    let (doubted, sure): (Vec<Moved>, Vec<Moved>) =
        moves.into_iter().partition(|moved| bounds.is_doubted(moved.kind, moved.at_s));
    let largest = |moves: Vec<Moved>| {
        Moved::largest(moves.into_iter()).map(|moved| drift(moved, &found.anchors))
    };
    let mut co2 = CorrectedCo2 {
        drift: largest(sure),
        drift_if_right: largest(doubted),
        disagreement: disagree::disagreement(&bounds, &found.anchors, &screened.recording.clock),
        anchors: found.anchors,
        unpaired: found.unpaired,
        unused_checks: found.unused_checks,
        bounds,
        ..CorrectedCo2::as_recorded(values)
    };
    findings.extend(co2.disagreement.as_ref().map(|sentence| not_agreed(sentence)));
    if let Some((model, line)) = &chosen {
        co2.model = *model;
        let held = |at_s: f64| Some(co2.bounds.hold(at_s, added(*model, line, at_s, level_kpa)?));
        (co2.offset_start_kpa, co2.offset_end_kpa) = (held(whole.start_s), held(whole.end_s));
        findings.extend(told(&co2, line, whole));
    }
    take_out(&mut co2, chosen.as_ref().map(|(_, line)| line), span_s, |i| channel.time_s(i));
    let of_blood = |anchor: &&Anchor| anchor.kind == AnchorKind::BloodGas;
    let blood: Vec<Anchor> = co2.anchors.iter().filter(of_blood).copied().collect();
    let by_blood = model::bounds(&blood, factor, limits, span_s);
    unpaired::hold_against(&mut co2, &Sensor { screened, channel, screen, limits, by_blood });
    let contradict = co2.unpaired.iter().filter_map(|gas| gas.contradicts.as_ref());
    findings.extend(contradict.map(|one| {
        Finding::new("blood_gas_against_sensor", Weight::Serious, &*one.sentence).on("tcpco2")
    }));
    Some((co2, findings))
}

impl CorrectedCo2 {
    /// CO2 taken at its word: nothing added, and no band.
    pub fn as_recorded(values: Vec<f64>) -> Self {
        Self {
            model: Model::None,
            anchors: Vec::new(),
            unpaired: Vec::new(),
            unused_checks: Vec::new(),
            disagreement: None,
            offset_start_kpa: None,
            offset_end_kpa: None,
            drift: None,
            drift_if_right: None,
            added_kpa: vec![0.0; values.len()],
            band: vec![Band::default(); values.len()],
            bounds: Bounds::default(),
            values,
        }
    }
}

/// A word on values of an earlier release that the criteria still name.
fn retired(criteria: &Criteria) -> Option<Finding> {
    let named: Vec<String> = criteria.retired.iter().map(|key| format!("`{key}`")).collect();
    (!named.is_empty()).then(|| {
        let sentence = format!(
            "The criteria still name {}, which this release does not have: CO2 always carries a band, and no \
             blood gas is left out.",
            named.join(" and ")
        );
        Finding::new("criteria_value_retired", Weight::Note, sentence).on("tcpco2")
    })
}

fn not_agreed(sentence: &str) -> Finding {
    Finding::new("anchors_disagree", Weight::Serious, sentence).on("tcpco2")
}

/// A move of the error, with when its two anchors were taken and not when the sensor showed them.
fn drift(moved: Moved, anchors: &[Anchor]) -> Drift {
    let taken_s = |at_s: f64| {
        let is = |one: &&Anchor| one.kind == moved.kind && one.at_s.total_cmp(&at_s).is_eq();
        anchors.iter().find(is).map_or(at_s, |one| one.taken_s)
    };
    let (from_s, to_s) = moved.at_s;
    Drift { kind: moved.kind, kpa: moved.kpa, taken_s: (taken_s(from_s), taken_s(to_s)) }
}

/// What is added at one moment; for a ratio, to the level given.
fn added(model: Model, line: &Line, at_s: f64, level_kpa: Option<f64>) -> Option<f64> {
    let value = line.at(at_s);
    if model == Model::Ratio { Some(level_kpa? * (value - 1.0)) } else { Some(value) }
}

/// Applies the line to every sample, held within what the error may have been, and lays the band around it.
///
/// A missing sample has its band too: what is not known of the sensor does not go with the number.
fn take_out(
    co2: &mut CorrectedCo2,
    line: Option<&Line>,
    span_s: (f64, f64),
    time_s: impl Fn(usize) -> f64,
) {
    let model = co2.model;
    let steps = (!co2.bounds.is_empty()).then(|| co2.bounds.steps(span_s, Bounds::level));
    let mut last_kpa = 0.0;
    for (i, value) in co2.values.iter_mut().enumerate() {
        let at_s = time_s(i);
        if value.is_finite() {
            last_kpa = *value;
        }
        let middle_kpa =
            line.and_then(|line| added(model, line, at_s, Some(last_kpa))).unwrap_or_default();
        let (lowest, highest) =
            steps.as_ref().map_or((middle_kpa, middle_kpa), |steps| steps.at(at_s));
        let added_kpa = middle_kpa.max(lowest).min(highest);
        *value += added_kpa;
        co2.added_kpa[i] = added_kpa;
        co2.band[i] = Band { below: added_kpa - lowest, above: highest - added_kpa };
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
            "CO2's error is known at one moment only: {start} is added throughout, and drift cannot be taken out."
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
