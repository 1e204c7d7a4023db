//! One lane of the strip: scale, hatching, levels, trace, and what the rules speak of.

use std::fmt::Write as _;

use super::belief::short;
use super::trace::{Scale, band, path};
use super::{LEFT, RIGHT, across, n, not_scored, text, width_of};
use crate::judge::Answer;
use crate::recording::Quantity;
use crate::report::Doubt;
use crate::report::Lane;
use crate::report::Picture;
use crate::time::Stretch;
use crate::unit::kpa_from_mmhg;
use crate::unit::mmhg_from_kpa;

/// Height of a lane's name above it.
const NAME: f64 = 22.0;
/// Height of one rule's row of bars.
const ROW: f64 = 14.0;
/// Height of the words under a lane.
const FOOT: f64 = 17.0;
/// Least distance of two labels one above the other.
const LABEL: f64 = 13.0;

/// Draws a lane from `top` downwards, so many times as high as usual, and tells where it ends.
pub(super) fn draw(out: &mut String, picture: &Picture, lane: &Lane, top: f64, times: f64) -> f64 {
    let scale = Scale {
        top: top + NAME + rows(lane),
        height: times * height(lane.quantity),
        low: lane.low,
        high: lane.high,
        per_s: if picture.duration_s > 0.0 { (RIGHT - LEFT) / picture.duration_s } else { 0.0 },
    };
    name(out, lane, top);
    rule_bars(out, picture, lane, top + NAME);
    sheet(out, picture, lane, &scale);
    levels(out, lane, &scale);
    traces(out, lane, &scale);
    doubt_words(out, picture, lane, scale.top + scale.height + 12.0);
    scale.top + scale.height + FOOT
}

/// Height of the rows of bars.
fn rows(lane: &Lane) -> f64 {
    lane.rules.len() as f64 * ROW + if lane.rules.is_empty() { 0.0 } else { 8.0 }
}

/// Height that [`draw`] will take.
pub(super) fn full_height(lane: &Lane, times: f64) -> f64 {
    NAME + rows(lane) + times * height(lane.quantity) + FOOT
}

fn height(quantity: Quantity) -> f64 {
    match quantity {
        Quantity::Spo2 => 116.0,
        Quantity::Tcpco2 => 114.0,
        _ => 40.0,
    }
}

fn name(out: &mut String, lane: &Lane, top: f64) {
    let unit = match lane.quantity {
        Quantity::Tcpco2 => "kPa",
        Quantity::Pulse => "/min",
        _ => "%",
    };
    let y = top + 15.0;
    let name = format!("{}, {unit}", lane.quantity.name());
    text(out, "s-name", "start", LEFT, y, &name);
    let legend = match (lane.raw.is_empty(), lane.band.is_empty()) {
        (false, false) => "line: corrected, in its band; dashes: as the monitor read it",
        (false, true) => "line: corrected; dashes: as the monitor read it",
        (true, false) => "line: as the monitor read it, in its band",
        (true, true) if lane.quantity == Quantity::Tcpco2 => {
            "as the monitor read it, not corrected"
        }
        (true, true) => "",
    };
    if !legend.is_empty() {
        text(out, "s-quiet", "end", RIGHT, y, legend);
    }
}

/// One row for each rule that speaks of this lane: full bars where it is met, hollow ones where the
/// unbelieved time decides.
fn rule_bars(out: &mut String, picture: &Picture, lane: &Lane, top: f64) {
    for (row, rule) in lane.rules.iter().enumerate() {
        let y = top + row as f64 * ROW;
        let class = if rule.answer == Answer::Met { "s-met" } else { "s-open" };
        for stretch in &rule.stretches {
            let (x, wide) = across(picture, stretch);
            let _ = writeln!(
                out,
                "<rect class=\"{class}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"5\"/>",
                n(x),
                n(y + 3.0),
                n(wide)
            );
        }
        let label = format!("rule {}", rule.number);
        text(out, "s-accent", "end", LEFT - 7.0, y + 9.5, &label);
        text(out, "s-accent", "start", RIGHT + 7.0, y + 9.5, rule.answer.words());
    }
}

/// The paper: wash where nothing is scored, hatching where nothing is believed, scale at the edges.
fn sheet(out: &mut String, picture: &Picture, lane: &Lane, scale: &Scale) {
    let wash: Vec<Stretch> = not_scored(picture);
    for stretch in &wash {
        block(out, "class=\"s-wash\"", across(picture, stretch), scale, "not scored");
    }
    for doubt in &lane.doubts {
        let span = across(picture, &doubt.stretch);
        block(out, "fill=\"url(#strip-hatch)\"", span, scale, doubt.reason.words());
    }
    // In a low lane only some lines are labelled, so that no label lies on another.
    let apart = scale.y(lane.low) - scale.y(lane.low + lane.step);
    let mut room = f64::INFINITY;
    let mut value = lane.low;
    while value <= lane.high + lane.step / 2.0 {
        let y = scale.y(value);
        let _ =
            writeln!(out, "<path class=\"s-hair\" d=\"M{} {y}H{}\"/>", n(LEFT), n(RIGHT), y = n(y));
        if room >= LABEL {
            text(out, "s-text", "end", LEFT - 7.0, y + 4.5, &format!("{value:.0}"));
            room = 0.0;
        }
        room += apart;
        value += lane.step;
    }
}

fn block(out: &mut String, paint: &str, (x, wide): (f64, f64), scale: &Scale, title: &str) {
    let _ = writeln!(
        out,
        "<rect {paint} x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"><title>{title}</title></rect>",
        n(x),
        n(scale.top),
        n(wide),
        n(scale.height)
    );
}

/// The levels that rules compare with, labelled in the right margin, CO2 with its second scale there.
fn levels(out: &mut String, lane: &Lane, scale: &Scale) {
    let mut lines: Vec<_> = lane.levels.iter().collect();
    lines.sort_by(|a, b| b.level.total_cmp(&a.level));
    let wanted: Vec<f64> = lines.iter().map(|line| scale.y(line.level)).collect();
    let spread = apart(&wanted, scale.top, scale.top + scale.height);
    for ((line, at), y) in lines.iter().zip(&wanted).zip(&spread) {
        let (stroke, fill) =
            if line.spoken_of { ("s-level-spoken", "s-accent") } else { ("s-level", "s-quiet") };
        let _ = writeln!(
            out,
            "<path class=\"{stroke}\" d=\"M{} {at}H{}L{} {}\"/>",
            n(LEFT),
            n(RIGHT),
            n(RIGHT + 6.0),
            n(*y),
            at = n(*at),
        );
        text(out, fill, "start", RIGHT + 9.0, y + 4.0, &line.label);
    }
    if lane.quantity == Quantity::Tcpco2 {
        mmhg_scale(out, scale, &spread);
    }
}

fn mmhg_scale(out: &mut String, scale: &Scale, taken: &[f64]) {
    let (low, high) = (mmhg_from_kpa(scale.low), mmhg_from_kpa(scale.high));
    let mut mmhg = (low / 10.0).ceil() * 10.0;
    while mmhg <= high {
        let y = scale.y(kpa_from_mmhg(mmhg));
        if taken.iter().all(|used| (used - y).abs() >= LABEL) {
            text(out, "s-quiet", "start", RIGHT + 9.0, y + 4.0, &format!("{mmhg:.0} mmHg"));
        }
        let _ = writeln!(out, "<path class=\"s-hair\" d=\"M{} {y}h4\"/>", n(RIGHT), y = n(y));
        mmhg += 10.0;
    }
}

/// The heights, in order from the top, moved as little as keeps them apart and inside.
fn apart(wanted: &[f64], top: f64, bottom: f64) -> Vec<f64> {
    let mut ys = wanted.to_vec();
    for i in 1..ys.len() {
        // Two neighbours too close give way by half each; the sweep below settles the rest.
        let short = LABEL - (ys[i] - ys[i - 1]);
        if short > 0.0 {
            ys[i - 1] -= short / 2.0;
            ys[i] += short / 2.0;
        }
    }
    let mut least = top;
    for y in &mut ys {
        *y = y.max(least);
        least = *y + LABEL;
    }
    let mut most = bottom;
    for y in ys.iter_mut().rev() {
        *y = y.min(most);
        most = *y - LABEL;
    }
    ys
}

fn traces(out: &mut String, lane: &Lane, scale: &Scale) {
    let all = |_: usize| true;
    let (shapes, edges) = band(scale, lane);
    let met: Vec<&Stretch> = lane
        .rules
        .iter()
        .filter(|rule| rule.answer == Answer::Met)
        .flat_map(|rule| &rule.stretches)
        .collect();
    let spoken = |c: usize| {
        let from_s = lane.start_s + c as f64 * lane.column_s;
        let column = Stretch::new(from_s, from_s + lane.column_s);
        met.iter().any(|stretch| stretch.overlaps(&column))
    };
    for (class, d) in [
        ("s-band", shapes),
        ("s-edge", edges),
        ("s-doubt", path(scale, lane, &lane.doubted, all)),
        ("s-raw", path(scale, lane, &lane.raw, all)),
        ("s-trace", path(scale, lane, &lane.believed, all)),
        ("s-spoken", path(scale, lane, &lane.believed, spoken)),
    ] {
        if !d.is_empty() {
            let _ = writeln!(out, "<path class=\"{class}\" d=\"{d}\"/>");
        }
    }
}

/// Why time is not believed, in a word under it, the longest stretches first, as far as there is room.
fn doubt_words(out: &mut String, picture: &Picture, lane: &Lane, y: f64) {
    let mut longest: Vec<&Doubt> = lane.doubts.iter().collect();
    longest.sort_by(|a, b| b.stretch.length_s().total_cmp(&a.stretch.length_s()));
    let mut taken: Vec<(f64, f64)> = Vec::new();
    for doubt in longest {
        let words = short(doubt.reason);
        let (x, wide) = across(picture, &doubt.stretch);
        let half = width_of(words) / 2.0;
        let middle = (x + wide / 2.0).clamp(LEFT + half, RIGHT - half);
        let span = (middle - half - 4.0, middle + half + 4.0);
        if taken.iter().all(|used| span.1 <= used.0 || used.1 <= span.0) {
            taken.push(span);
            text(out, "s-quiet", "middle", middle, y, words);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_never_touch_and_never_leave_the_lane() {
        for wanted in [vec![50.0, 52.0, 54.0], vec![0.0, 1.0], vec![119.0, 120.0], vec![10.0, 90.0]]
        {
            let spread = apart(&wanted, 0.0, 120.0);
            assert!(spread.iter().all(|y| (0.0..=120.0).contains(y)), "{spread:?}");
            assert!(spread.windows(2).all(|w| w[1] - w[0] >= LABEL - 1e-9), "{spread:?}");
        }
    }
}
