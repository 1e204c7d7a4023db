//! The strip as data: what is drawn over the lanes, and the lanes in columns of the pixels asked for.

use std::fmt::Write as _;

use axum::extract::Path;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Response;
use engine::recording::Quantity;
use engine::report::Lane;
use engine::time::Clock;
use serde_json::Value;
use serde_json::json;

use super::Reading;
use crate::extremes::Cell;
use crate::extremes::Extremes;
use crate::extremes::Window;
use crate::opened::Opened;
use crate::page::Answer;
use crate::page::Trouble;
use crate::typed::Typed;
use crate::visit::Visit;

/// The most columns asked for at once.
const COLUMNS: i64 = 8_192;

/// `GET /nights/{id}/strip`: lanes, scales, doubts, marks and the stretches of the rules.
pub(super) async fn strip(visit: Visit, Path(id): Path<i64>) -> Answer {
    Ok(picture_of(&Reading::open(&visit, id).await?))
}

/// The same of a reading that is open.
pub(super) fn picture_of(reading: &Reading) -> Response {
    json_response(picture(&reading.opened, reading.night.act).to_string())
}

/// `GET /nights/{id}/columns?from=&to=&width=`, seconds from the recording's start and pixels.
pub(super) async fn columns(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    columns_of(&Reading::open(&visit, id).await?, &typed)
}

/// The same of a reading that is open.
pub(super) fn columns_of(reading: &Reading, typed: &Typed) -> Answer {
    let number = |name: &str| typed.get(name).parse::<f64>().ok().filter(|s| s.is_finite());
    let (Some(from_s), Some(to_s)) = (number("from"), number("to")) else {
        return Err(Trouble::not_understood("The window has no beginning or no end."));
    };
    let width = typed.number("width").unwrap_or(0);
    if to_s <= from_s || !(1..=COLUMNS).contains(&width) {
        return Err(Trouble::not_understood("The window or its width is out of range."));
    }
    let window = Window { from_s, to_s, columns: usize::try_from(width).unwrap_or(1) };
    Ok(json_response(drawn(&reading.opened, &window)))
}

fn json_response(text: String) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], text).into_response()
}

/// Every series in a window: single samples where there are few, columns where there are many.
fn drawn(opened: &Opened, window: &Window) -> String {
    let mut text = format!(
        "{{\"outcome\":{},\"from\":{},\"to\":{},\"width\":{},\"series\":{{",
        opened.outcome, window.from_s, window.to_s, window.columns
    );
    for (at, series) in opened.series.iter().enumerate() {
        let comma = if at > 0 { "," } else { "" };
        let _ = write!(text, "{comma}{}:", Value::from(series.id.as_str()));
        let range = series.of.samples(window.from_s, window.to_s);
        if range.len() <= window.columns * 2 {
            points(&mut text, &series.of, range);
        } else {
            let [believed, doubted] = series.of.columns(window);
            text.push_str("{\"b\":");
            cells(&mut text, &believed);
            text.push_str(",\"d\":");
            cells(&mut text, &doubted);
            text.push('}');
        }
    }
    text.push_str("}}");
    text
}

fn cells(text: &mut String, cells: &[Option<Cell>]) {
    if cells.iter().all(Option::is_none) {
        text.push_str("[]");
        return;
    }
    text.push('[');
    for (at, cell) in cells.iter().enumerate() {
        text.push_str(if at > 0 { "," } else { "" });
        match cell {
            Some(cell) => {
                let of = [cell.first, cell.min, cell.max, cell.last].map(short);
                let _ = write!(text, "{},{},{},{}", of[0], of[1], of[2], of[3]);
            }
            None => text.push_str("null,null,null,null"),
        }
    }
    text.push(']');
}

/// One sample before the window and one behind it let the line run to the edges.
fn points(text: &mut String, of: &Extremes, range: std::ops::Range<usize>) {
    let range = range.start.saturating_sub(1)..(range.end + 1).min(of.values().len());
    let start_s = of.offset_s + range.start as f64 * of.period_s;
    let values: Vec<String> = of.values()[range.clone()]
        .iter()
        .map(|value| if value.is_finite() { short(*value) } else { "null".to_owned() })
        .collect();
    let doubts: Vec<&str> = range.map(|at| if of.is_believed(at) { "0" } else { "1" }).collect();
    let _ = write!(
        text,
        "{{\"t0\":{start_s},\"dt\":{},\"v\":[{}],\"doubt\":[{}]}}",
        of.period_s,
        values.join(","),
        doubts.join(",")
    );
}

/// A value to a thousandth, which is finer than any pixel.
fn short(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn picture(opened: &Opened, seen: i64) -> Value {
    let picture = &opened.report.picture;
    let recording = &opened.recording;
    let mut lanes: Vec<Value> = picture.lanes.iter().map(|lane| lane_of(opened, lane)).collect();
    lanes.extend(extra_lanes(opened));
    json!({
        "outcome": opened.outcome,
        "seen": seen,
        "duration_s": picture.duration_s,
        "clock": clock(&recording.clock, picture.duration_s),
        "lanes": lanes,
        "flags": picture.flags.iter().map(|flag| json!({
            "at": flag.at_s, "until": flag.until_s, "label": flag.label, "kind": flag.kind.id(),
        })).collect::<Vec<_>>(),
        "scored": picture.scored.iter().map(|one| [one.start_s, one.end_s]).collect::<Vec<_>>(),
        "rules": rules(opened),
        "anchors": anchors(opened),
    })
}

/// What the wall clock shows: from each second on, the wall's time in milliseconds as if it were UTC, and
/// the offset to write where a time of day alone would be in doubt.
fn clock(clock: &Clock, duration_s: f64) -> Vec<Value> {
    let changes = clock.changes_within(duration_s);
    let doubt = !changes.is_empty();
    let starts = std::iter::once(0.0).chain(changes.iter().map(|change| change.0));
    starts
        .map(|at_s| {
            let wall = clock.at(at_s);
            let utc = jiff::tz::Offset::UTC.to_timestamp(wall.civil);
            let wall_ms = utc.map_or(0, jiff::Timestamp::as_millisecond);
            let offset = wall.offset.filter(|_| doubt).map(|offset| {
                let minutes = offset.seconds() / 60;
                let sign = if minutes < 0 { '-' } else { '+' };
                format!("{sign}{:02}:{:02}", minutes.abs() / 60, minutes.abs() % 60)
            });
            json!({"at": at_s, "wall_ms": wall_ms, "offset": offset})
        })
        .collect()
}

fn lane_of(opened: &Opened, lane: &Lane) -> Value {
    let id = lane.quantity.id();
    let channel = opened.recording.channel(lane.quantity);
    let has = |suffix: &str| {
        let wanted = format!("{}{suffix}", channel.map_or(id, |channel| channel.id.as_str()));
        opened.series.iter().any(|series| series.id == wanted)
    };
    json!({
        "id": id,
        "series": channel.map_or(id, |channel| channel.id.as_str()),
        "name": lane.quantity.name(),
        "unit": unit(lane.quantity),
        "low": lane.low, "high": lane.high, "step": lane.step,
        "recorded": has("_recorded"),
        "band": has("_low"),
        "scored": true,
        "levels": lane.levels.iter().map(|level| json!({
            "level": level.level, "label": level.label, "spoken": level.spoken_of,
        })).collect::<Vec<_>>(),
        "doubts": lane.doubts.iter().map(|doubt| json!({
            "from": doubt.stretch.start_s, "to": doubt.stretch.end_s,
            "words": super::parts::doubt_words(opened, lane.quantity, doubt),
        })).collect::<Vec<_>>(),
    })
}

fn unit(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Tcpco2 => "kPa",
        Quantity::Pulse => "/min",
        _ => "%",
    }
}

/// Channels that are kept and drawn, not scored. Their scale is what they hold.
fn extra_lanes(opened: &Opened) -> Vec<Value> {
    let scored = |id: &str| opened.report.picture.lanes.iter().any(|lane| lane.quantity.id() == id);
    let others = opened.recording.channels.iter().filter(|channel| !scored(channel.quantity.id()));
    others
        .filter_map(|channel| {
            let finite = || channel.samples.iter().copied().filter(|value| value.is_finite());
            let (low, high) = (finite().reduce(f64::min)?, finite().reduce(f64::max)?);
            let high = if high > low { high } else { low + 1.0 };
            let named = channel.quantity != Quantity::Other;
            let name = if named { channel.quantity.name() } else { &channel.file_label };
            Some(json!({
                "id": channel.id, "series": channel.id, "name": name, "unit": channel.file_unit,
                "low": low, "high": high, "step": high - low,
                "recorded": false, "band": false, "scored": false, "levels": [], "doubts": [],
            }))
        })
        .collect()
}

/// Every rule with the lanes it speaks of and its stretches.
fn rules(opened: &Opened) -> Vec<Value> {
    let asked = |id: &str| opened.criteria.rules.iter().find(|rule| rule.id == id);
    let lanes = |id: &str| -> Vec<&str> {
        let of = |quantity: &Quantity| asked(id).is_some_and(|rule| rule.test.asks_of(*quantity));
        let scored = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];
        scored.iter().filter(|quantity| of(quantity)).map(|quantity| quantity.id()).collect()
    };
    let rule = |rule: &engine::judge::RuleAnswer| {
        json!({
            "id": rule.id,
            "answer": rule.answer.id(),
            "lanes": lanes(&rule.id),
            "stretches": rule.stretches.iter().map(|one| [one.start_s, one.end_s]).collect::<Vec<_>>(),
        })
    };
    opened.judgement.rules.iter().map(rule).collect()
}

fn anchors(opened: &Opened) -> Vec<Value> {
    let co2 = opened.judgement.scores.corrected.tcpco2.as_ref();
    let anchors = co2.map(|co2| co2.anchors.as_slice()).unwrap_or_default();
    let drawn =
        anchors.iter().map(|anchor| json!({"at": anchor.at_s, "kpa": anchor.reference_kpa}));
    drawn.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_is_written_as_short_as_a_pixel_needs() {
        assert_eq!([97.0, 5.1234, 0.0, -1.5].map(short), ["97", "5.123", "0", "-1.5"]);
    }
}
