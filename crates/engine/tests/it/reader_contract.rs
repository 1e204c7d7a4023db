//! The contract every reader keeps, whatever the format.

use engine::hex;
use engine::read::{Input, ReadError, ReadOptions, read};
use engine::recording::{Channel, Quantity, Recording};
use engine::unit::Unit;
use sha2::{Digest, Sha256};

/// Reads twice, asks for the same recording, and holds it to the contract.
pub(crate) fn read_held(input: Input<'_>, options: &ReadOptions) -> Result<Recording, ReadError> {
    let first = read(input, options);
    let second = read(input, options);
    // NaN differs from itself, so the two are compared as written out.
    assert_eq!(format!("{first:?}"), format!("{second:?}"), "reading twice gives two answers");
    if let Ok(recording) = &first {
        holds(recording, input.bytes);
    }
    first
}

/// Panics where a recording, read from `bytes`, breaks what every later step counts on.
pub(crate) fn holds(recording: &Recording, bytes: &[u8]) {
    assert_eq!(recording.input_sha256, hex(&Sha256::digest(bytes)), "the hash is not of the bytes");
    assert!(recording.duration_s.is_finite() && recording.duration_s > 0.0, "no length");
    assert!(!recording.channels.is_empty(), "no channel");
    for channel in &recording.channels {
        channel_holds(channel, recording.duration_s);
        let same = recording.channels.iter().filter(|other| other.id == channel.id).count();
        assert_eq!(same, 1, "channel id {} twice", channel.id);
    }
    for quantity in [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2] {
        let count = recording.channels.iter().filter(|c| c.quantity == quantity).count();
        assert!(count <= 1, "{count} channels of {}", quantity.id());
    }
    marks_hold(recording);
    findings_hold(recording);
}

fn channel_holds(channel: &Channel, duration_s: f64) {
    let id = &channel.id;
    assert!(channel.period_s.is_finite() && channel.period_s > 0.0, "{id}: period");
    assert!(channel.offset_s.is_finite() && channel.offset_s >= 0.0, "{id}: offset");
    assert!(!channel.samples.is_empty(), "{id}: no samples");
    assert!(channel.samples.iter().all(|v| !v.is_infinite()), "{id}: an infinite sample");
    let end_s = channel.time_s(channel.samples.len());
    assert!(end_s <= duration_s + 1e-6, "{id} ends at {end_s} s, the night at {duration_s} s");
    assert!(
        !id.is_empty() && id.bytes().all(|b| matches!(b, b'a'..=b'z' | b'0'..=b'9' | b'_')),
        "{id:?} is no id"
    );
    let unit = match channel.quantity {
        Quantity::Spo2 => Some(Unit::Percent),
        Quantity::Pulse => Some(Unit::PerMinute),
        Quantity::Tcpco2 => Some(Unit::Kilopascal),
        _ => None,
    };
    if let Some(unit) = unit {
        assert_eq!(channel.unit, unit, "{id}: unit");
        assert_eq!(id, channel.quantity.id());
    }
}

fn marks_hold(recording: &Recording) {
    let told = recording.findings.iter().any(|f| f.code == "mark_outside");
    for mark in &recording.marks {
        assert!(mark.start_s.is_finite(), "a mark at no time");
        assert!(
            mark.end_s.is_none_or(|end_s| end_s >= mark.start_s),
            "a mark ends before it begins"
        );
        let end_s = mark.end_s.unwrap_or(mark.start_s);
        let inside = mark.start_s >= 0.0 && end_s <= recording.duration_s + 1e-6;
        assert!(inside || told, "a mark at {} s outside the night, not told", mark.start_s);
    }
    let sorted = recording.marks.is_sorted_by(|a, b| a.start_s <= b.start_s);
    assert!(sorted, "marks out of order");
}

fn findings_hold(recording: &Recording) {
    for finding in &recording.findings {
        let code = finding.code;
        assert!(code.bytes().all(|b| matches!(b, b'a'..=b'z' | b'0'..=b'9' | b'_')), "{code}");
        assert!(finding.sentence.ends_with('.'), "{code}: {:?} is no sentence", finding.sentence);
        if let Some(id) = &finding.channel {
            assert!(recording.channels.iter().any(|c| &c.id == id), "{code} on {id}: no channel");
        }
        if let Some(stretch) = finding.stretch {
            assert!(stretch.start_s <= stretch.end_s, "{code}: {stretch:?}");
        }
    }
}
