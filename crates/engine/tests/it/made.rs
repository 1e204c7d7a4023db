//! Small nights made by hand.

use engine::notes::{Edit, Notes};
use engine::recording::{Author, Channel, Format, Mark, MarkKind, Quantity, Recording};
use engine::time::{Clock, Stretch};
use engine::unit::Unit;

/// A night with no channel yet, starting at 22:00.
pub(crate) fn night() -> Recording {
    Recording {
        format: Format::Made,
        clock: Clock::civil(jiff::civil::datetime(2026, 1, 10, 22, 0, 0, 0)),
        duration_s: 0.0,
        channels: Vec::new(),
        marks: Vec::new(),
        monitor: None,
        findings: Vec::new(),
        input_sha256: String::new(),
    }
}

/// The night with one more channel, one sample every `period_s`.
pub(crate) fn with(
    mut night: Recording,
    quantity: Quantity,
    period_s: f64,
    samples: &[f64],
) -> Recording {
    let unit = match quantity {
        Quantity::Pulse => Unit::PerMinute,
        Quantity::Tcpco2 => Unit::Kilopascal,
        _ => Unit::Percent,
    };
    night.duration_s = night.duration_s.max(samples.len() as f64 * period_s);
    night.channels.push(Channel {
        id: quantity.id().to_owned(),
        quantity,
        unit,
        file_label: quantity.name().to_owned(),
        file_unit: String::new(),
        period_s,
        offset_s: 0.0,
        samples: samples.into(),
    });
    night
}

/// SpO2, pulse and CO2, one sample a second.
pub(crate) fn three(spo2: &[f64], pulse: &[f64], co2: &[f64]) -> Recording {
    let night = with(night(), Quantity::Spo2, 1.0, spo2);
    let night = with(night, Quantity::Pulse, 1.0, pulse);
    with(night, Quantity::Tcpco2, 1.0, co2)
}

/// A pulse that is never twice the same: 60 and 61 in turn.
pub(crate) fn beats(count: usize) -> Vec<f64> {
    (0..count).map(|i| 60.0 + (i % 2) as f64).collect()
}

/// CO2 of a quiet sleeper: the level, with a last digit that moves.
pub(crate) fn quiet(count: usize, level_kpa: f64) -> Vec<f64> {
    (0..count).map(|i| level_kpa + 0.01 * (i % 3) as f64).collect()
}

/// A mark of the diary.
pub(crate) fn mark(kind: MarkKind, start_s: f64, end_s: Option<f64>) -> Mark {
    Mark { kind, start_s, end_s, text: String::new(), author: Author::Notes }
}

/// Notes with these marks only.
pub(crate) fn diary(marks: Vec<Mark>) -> Notes {
    Notes { marks, ..Notes::default() }
}

/// A person's judgement.
pub(crate) fn edit(quantity: Quantity, start_s: f64, end_s: f64, believe: bool) -> Edit {
    Edit {
        quantity,
        stretch: Stretch::new(start_s, end_s),
        believe,
        author: "A Reader".into(),
        made_at: "2026-01-11 09:00".into(),
        reason: "seen on the trace".into(),
    }
}
