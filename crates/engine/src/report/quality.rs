//! What was believed, and how CO2 was corrected, in words.

use super::{CorrectionLines, Quality};
use crate::correct::Anchor;
use crate::correct::AnchorKind;
use crate::correct::CorrectedCo2;
use crate::correct::Model;
use crate::judge::Judgement;
use crate::report::picture;
use crate::report::words;
use crate::screen::ChannelScreen;
use crate::screen::Reason;
use crate::screen::Screened;
use crate::time;
use crate::unit::mmhg_from_kpa;

pub(super) fn quality(judgement: &Judgement) -> Vec<Quality> {
    let screened = &judgement.scores.corrected.screened;
    screened.channels.iter().filter_map(|screen| channel(screened, screen)).collect()
}

fn channel(screened: &Screened, screen: &ChannelScreen) -> Option<Quality> {
    let trace = screened.trace(screen.quantity)?;
    let (believed_s, scored_s) = (trace.believed_s(), trace.inside_s());
    let share = if scored_s > 0.0 { 100.0 * believed_s / scored_s } else { 0.0 };
    Some(Quality {
        channel: screen.quantity.id().into(),
        name: screen.quantity.name().into(),
        believed_s,
        scored_s,
        words: format!(
            "{} of {} believed ({} %)",
            words::duration(believed_s),
            words::duration(scored_s),
            words::fixed(share, 0)
        ),
        reasons: reasons(screened, screen),
    })
}

/// Time inside the scored period by its first reason of disbelief, the longest first.
fn reasons(screened: &Screened, screen: &ChannelScreen) -> Vec<(String, String)> {
    let doubts = picture::doubts(screened, screen);
    let scored = &screened.period.stretches;
    let mut totals: Vec<(Reason, f64)> = Reason::ALL
        .into_iter()
        .map(|reason| {
            let of_reason: Vec<time::Stretch> =
                doubts.iter().filter(|d| d.reason == reason).map(|d| d.stretch).collect();
            let outside_s = time::total_s(&time::without(&of_reason, scored));
            (reason, time::total_s(&of_reason) - outside_s)
        })
        .filter(|(_, seconds)| *seconds > 0.0)
        .collect();
    totals.sort_by(|a, b| b.1.total_cmp(&a.1));
    totals.into_iter().map(|(r, s)| (r.words().to_owned(), words::duration(s))).collect()
}

pub(super) fn correction(judgement: &Judgement) -> CorrectionLines {
    let corrected = &judgement.scores.corrected;
    let Some(co2) = &corrected.tcpco2 else {
        let sentence = "No CO2 was recorded.".into();
        return CorrectionLines { model: None, sentence, anchors: Vec::new() };
    };
    let clock = &corrected.screened.recording.clock;
    CorrectionLines {
        model: Some(co2.model.id().into()),
        sentence: sentence(co2),
        anchors: co2.anchors.iter().map(|a| anchor(a, &clock.label(a.at_s, false))).collect(),
    }
}

fn sentence(co2: &CorrectedCo2) -> String {
    let shift = |kpa: Option<f64>| kpa.map_or_else(|| "nothing".to_owned(), signed_kpa);
    let (start, end) = (shift(co2.offset_start_kpa), shift(co2.offset_end_kpa));
    match co2.model {
        Model::None => {
            "CO2 is as the monitor read it: there was no blood gas and no gas check to correct it by."
                .into()
        }
        Model::Offset => format!("{start} was added to CO2 all night, by one anchor."),
        Model::Additive => format!(
            "{start} was added to CO2 at the start and {end} at the end, running straight from \
             each anchor to the next."
        ),
        Model::Ratio => format!(
            "CO2 was scaled by the ratio of the gas checks, running straight from each to the \
             next: {start} at the start, {end} at the end."
        ),
    }
}

fn signed_kpa(kpa: f64) -> String {
    let sign = if kpa < 0.0 { "" } else { "+" };
    let mmhg = mmhg_from_kpa(kpa);
    format!("{sign}{} kPa ({sign}{} mmHg)", words::fixed(kpa, 2), words::fixed(mmhg, 1))
}

fn anchor(anchor: &Anchor, at: &str) -> String {
    let kind = match anchor.kind {
        AnchorKind::BloodGas => "blood gas",
        AnchorKind::GasCheck => "gas check",
    };
    format!(
        "{at} {kind}: {} kPa, sensor read {} kPa (SD {} kPa)",
        words::fixed(anchor.reference_kpa, 2),
        words::fixed(anchor.observed_kpa, 2),
        words::fixed(anchor.sd_kpa, 2)
    )
}
