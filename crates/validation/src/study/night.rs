//! One night of the study: made, judged, and held against its truth.

use engine::correct::AnchorKind;
use engine::correct::Corrected;
use engine::correct::Model;
use engine::correct::correct;
use engine::criteria::Criteria;
use engine::criteria::Question;
use engine::criteria::Test;
use engine::judge::{Answer, Decision, judge};
use engine::notes::NotesFile;
use engine::recording::Quantity;
use engine::score::{Figure, Measure, score};
use engine::screen::{Reason, Screened, screen};
use engine::stats::Interval;

use crate::study::belief::CHANNELS;
use crate::study::belief::Counts;
use crate::study::belief::count;
use crate::study::laid::{Laid, lay};
use crate::study::nights::Case;
use crate::study::variant;

/// The figures that are compared, with the channel each stands on.
pub const FIGURES: [(&str, Quantity); 10] = [
    ("spo2.odi3", Quantity::Spo2),
    ("spo2.odi4", Quantity::Spo2),
    ("spo2.time_below_90", Quantity::Spo2),
    ("spo2.mean", Quantity::Spo2),
    ("spo2.min", Quantity::Spo2),
    ("tcpco2.awake", Quantity::Tcpco2),
    ("tcpco2.mean", Quantity::Tcpco2),
    ("tcpco2.sustained10", Quantity::Tcpco2),
    ("tcpco2.rise", Quantity::Tcpco2),
    ("tcpco2.max", Quantity::Tcpco2),
];

/// What CO2 was corrected by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum By {
    /// Nothing.
    Nothing,
    /// Gas checks alone: they see the electrode's drift, not its offset on this skin.
    GasChecks,
    /// A blood gas, or several.
    BloodGas,
}

/// What the engine said of one form of the night.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// The figures, in the order of [`FIGURES`]; `None` where the engine gives none.
    pub figures: Vec<Option<f64>>,
    /// The lowest and highest that each could be, by its own account; NaN where there is none.
    pub bounds: Vec<Interval>,
    /// Each rule's answer and margin, in the order of the criteria set.
    pub rules: Vec<(Answer, Option<f64>)>,
    /// Each question's decision and answer, in the order of the criteria set.
    pub verdicts: Vec<(Decision, Answer)>,
    /// Ids of the patterns said.
    pub patterns: Vec<&'static str>,
}

/// A night held against its truth.
#[derive(Clone, Debug)]
pub struct Row {
    /// Sleeper.
    pub sleeper: &'static str,
    /// Name and seed.
    pub label: String,
    /// Place of its criteria set among all.
    pub criteria: usize,
    /// How belief compares.
    pub counts: Counts,
    /// Share of the analysis period that each of [`CHANNELS`] is believed for.
    pub believed: [f64; 3],
    /// The same with the truth's own belief.
    pub believed_given: [f64; 3],
    /// What CO2 was corrected by.
    pub by: By,
    /// The lag of CO2 behind SpO2 that is told, less that of the sensor, s; `None` where none is told.
    pub lag_error_s: Option<f64>,
    /// What was true.
    pub truth: Said,
    /// What the same monitor would have shown, had nothing gone wrong with it.
    pub unharmed: Said,
    /// What the engine says with the truth's own belief.
    pub given: Said,
    /// The same, CO2 taken to be exactly what was corrected: without its band.
    pub unbanded: Said,
    /// What it says.
    pub found: Said,
    /// The rules' answers were CO2 exactly what was corrected.
    pub found_unbanded: Vec<Answer>,
    /// What gaps laid over the unharmed monitor's SpO2 do to its answers.
    pub laid: [Laid; 2],
}

/// Makes the night and holds it against its truth, once for each of `drops`: with that reason left out.
///
/// # Errors
/// When the notes of the made night do not read, which is a fault of ours, or the criteria are missing.
pub fn measure(
    case: &Case,
    sets: &[Criteria],
    drops: &[Option<Reason>],
) -> Result<Vec<Row>, String> {
    let place = sets.iter().position(|set| set.name == case.named.criteria);
    let place = place.ok_or_else(|| format!("no criteria set {}", case.named.criteria))?;
    let criteria = &sets[place];
    let simulate::Made { recording, notes_toml, truth } = case.named.night(case.seed);
    let notes = NotesFile::parse(&case.notes(&notes_toml)).map_err(|e| e.to_string())?;
    let notes = notes.place(&recording).map_err(|e| format!("{}: {e}", case.label()))?;
    let screened = screen(recording, notes, criteria);
    let perfect = correct(variant::perfect(&truth, &screened), criteria);
    // Nothing is unknown of a perfect sensor, so it has no band either; nor has the skin's CO2 below.
    let perfect = said(variant::unbanded(perfect), criteria, &criteria.questions);
    // Of these two nothing is asked but rules: one question will do.
    let first = &criteria.questions[..criteria.questions.len().min(1)];
    let unharmed = variant::unharmed(case, &truth, &screened);
    let laid = lay(&unharmed, criteria, case.seed);
    let unharmed = variant::unbanded(correct(unharmed, criteria));
    let unharmed = said(unharmed, criteria, first);
    let truly_believed = variant::truly_believed(&truth, &screened);
    let believed_given = CHANNELS.map(|quantity| believed_share(&truly_believed, quantity));
    let corrected = correct(truly_believed, criteria);
    let given_unbanded = said(variant::unbanded(corrected.clone()), criteria, first);
    let given = said(corrected, criteria, &criteria.questions);
    let row = |drop: &Option<Reason>| {
        let screened = match drop {
            Some(reason) => variant::without(screened.clone(), *reason),
            None => screened.clone(),
        };
        let counts = count(&truth, &case.named.sensor, &screened);
        let believed = CHANNELS.map(|quantity| believed_share(&screened, quantity));
        let corrected = correct(screened.clone(), criteria);
        let by = corrected_by(&corrected);
        let unbanded = said(variant::unbanded(corrected.clone()), criteria, first);
        Row {
            sleeper: case.named.id,
            label: case.label(),
            criteria: place,
            counts,
            believed,
            believed_given,
            by,
            lag_error_s: lag_error_s(case, &screened),
            truth: perfect.clone(),
            unharmed: unharmed.clone(),
            given: given.clone(),
            unbanded: given_unbanded.clone(),
            found_unbanded: unbanded.rules.iter().map(|rule| rule.0).collect(),
            laid,
            found: said(corrected, criteria, &criteria.questions),
        }
    };
    Ok(drops.iter().map(row).collect())
}

fn believed_share(screened: &Screened, quantity: Quantity) -> f64 {
    let Some(trace) = screened.trace(quantity) else { return 0.0 };
    if trace.inside_s() > 0.0 { trace.believed_s() / trace.inside_s() } else { 0.0 }
}

/// Everything the engine says, each of these questions asked in turn; without one, no rule is answered.
fn said(corrected: Corrected, criteria: &Criteria, questions: &[Question]) -> Said {
    let mut scores = score(corrected, criteria);
    let figures = FIGURES.iter().map(|(id, _)| scores.value(id)).collect();
    let bounds = FIGURES.iter().map(|(id, _)| bounds(scores.measure(id))).collect();
    let (rules, verdicts, patterns) = (Vec::new(), Vec::new(), Vec::new());
    let mut said = Said { figures, bounds, rules, verdicts, patterns };
    for question in questions {
        scores.corrected.screened.notes.question = Some(question.id.clone());
        let judgement = judge(scores, criteria);
        said.rules = judgement.rules.iter().map(|rule| (rule.answer, rule.margin)).collect();
        said.patterns = judgement.patterns.iter().map(|pattern| pattern.id).collect();
        said.verdicts.push((judgement.verdict.decision, judgement.verdict.answer));
        scores = judgement.scores;
    }
    said
}

/// What is true is how much later the electrode shows a slow change than the oximeter does: its dead time
/// and time constant, less the way from lung to ear and half of the averaging.
fn lag_error_s(case: &Case, screened: &Screened) -> Option<f64> {
    let sensor = &case.named.sensor;
    let electrode_s = sensor.electrode.delay_s + sensor.electrode.lag_s;
    let averaging_s = 0.5 * f64::from(sensor.oximeter.averaging_s.saturating_sub(1));
    let oximeter_s = case.named.sleeper.body.lung_to_ear_s + averaging_s;
    let told = screened.co2_lag.as_ref().ok()?;
    Some(told.seconds - (electrode_s - oximeter_s))
}

fn bounds(measure: Option<&Measure>) -> Interval {
    match measure.map(|measure| &measure.figure) {
        Some(Figure::Given { lowest, highest, .. }) => Interval { low: *lowest, high: *highest },
        _ => Interval { low: f64::NAN, high: f64::NAN },
    }
}

fn corrected_by(corrected: &Corrected) -> By {
    match &corrected.tcpco2 {
        Some(co2) if co2.model != Model::None => {
            let blood = co2.anchors.iter().any(|anchor| anchor.kind == AnchorKind::BloodGas);
            if blood { By::BloodGas } else { By::GasChecks }
        }
        _ => By::Nothing,
    }
}

/// The channels a rule looks at.
pub fn channels(test: &Test) -> Vec<Quantity> {
    match test {
        Test::Held { quantity, .. }
        | Test::Share { quantity, .. }
        | Test::Total { quantity, .. }
        | Test::Extreme { quantity, .. }
        | Test::Mean { quantity, .. } => vec![*quantity],
        Test::HeldRise { .. } | Test::ShareRise { .. } => vec![Quantity::Tcpco2],
        Test::Events { measure, .. } => {
            let id = measure.split('.').next().unwrap_or_default();
            Quantity::from_id(id).into_iter().collect()
        }
        Test::Clusters { .. } => vec![Quantity::Spo2],
        Test::All(tests) | Test::Any(tests) => tests.iter().flat_map(channels).collect(),
    }
}
