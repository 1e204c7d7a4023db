//! The header record of an EDF+ file (EDF+ 2.1.1 and 2.1.3).

use jiff::civil::DateTime;

use super::EdfOptions;
use super::layout::Layout;
use super::scale::field_text;
use engine::recording::Quantity;
use engine::recording::Recording;
use engine::unit::Unit;

/// What the prefiltering field says of our signals.
const MISSING: &str = "Lowest digital value: no sample. Such times are annotated.";

/// The whole header: the fixed part, then each field for all signals and the annotation signal.
pub(super) fn header(
    recording: &Recording,
    layout: &Layout<'_>,
    records: usize,
    annotation_samples: usize,
    options: EdfOptions,
) -> Vec<u8> {
    let count = layout.signals.len() + 1;
    let start = recording.clock.start();
    let mut out = Vec::with_capacity(256 * (count + 1));
    put(&mut out, "0", 8);
    put(&mut out, "X X X X", 80);
    put(&mut out, &identification(recording), 80);
    put(&mut out, &short_date(recording), 8);
    put(&mut out, &start.strftime("%H.%M.%S").to_string(), 8);
    put(&mut out, &(256 * (count + 1)).to_string(), 8);
    put(&mut out, if options.interrupted { "EDF+D" } else { "EDF+C" }, 44);
    put(&mut out, &records.to_string(), 8);
    put(&mut out, &field_text(layout.record_s), 8);
    put(&mut out, &count.to_string(), 4);
    signal_fields(&mut out, layout, annotation_samples);
    out
}

fn signal_fields(out: &mut Vec<u8>, layout: &Layout<'_>, annotation_samples: usize) {
    let signals = &layout.signals;
    let mut column = |texts: Vec<String>, last: &str, width: usize| {
        for text in &texts {
            put(out, text, width);
        }
        put(out, last, width);
    };
    let label = signals.iter().map(|s| s.label.clone()).collect();
    column(label, "EDF Annotations", 16);
    column(signals.iter().map(|s| transducer(s.channel.quantity).to_owned()).collect(), "", 80);
    column(signals.iter().map(|s| dimension(&s.channel.unit)).collect(), "", 8);
    column(signals.iter().map(|s| field_text(s.scale.physical_min)).collect(), "-1", 8);
    column(signals.iter().map(|s| field_text(s.scale.physical_max)).collect(), "1", 8);
    column(signals.iter().map(|s| s.scale.digital_min.to_string()).collect(), "-32768", 8);
    column(signals.iter().map(|s| s.scale.digital_max.to_string()).collect(), "32767", 8);
    column(signals.iter().map(|_| MISSING.to_owned()).collect(), "", 80);
    let samples = signals.iter().map(|s| s.per_record.to_string()).collect();
    column(samples, &annotation_samples.to_string(), 8);
    column(signals.iter().map(|_| String::new()).collect(), "", 32);
}

/// Fraction of the starting second, which the header cannot hold (EDF+ 2.2.4).
pub(super) fn fraction_s(recording: &Recording) -> f64 {
    f64::from(recording.clock.start().subsec_nanosecond()) / 1e9
}

/// Left-justified, padded with spaces, cut to the field.
fn put(out: &mut Vec<u8>, text: &str, width: usize) {
    let text = plain(text);
    let bytes = &text.as_bytes()[..text.len().min(width)];
    out.extend(bytes);
    out.extend(std::iter::repeat_n(b' ', width - bytes.len()));
}

/// Printable US-ASCII (EDF+ 2.1.3 item 1): the degree and micro signs by their usual spelling, any
/// other letter as `?`.
pub(super) fn plain(text: &str) -> String {
    let text = text.replace('°', "deg").replace(['µ', 'μ'], "u").replace('₂', "2");
    text.chars().map(|c| if matches!(c, ' '..='~') { c } else { '?' }).collect()
}

/// `Startdate dd-MMM-yyyy X X equipment` (EDF+ 2.1.3 item 4).
fn identification(recording: &Recording) -> String {
    let monitor = recording.monitor.as_deref().unwrap_or("X").replace(' ', "_");
    if !recording.clock.date_known() {
        return format!("Startdate X X X {monitor}");
    }
    format!("Startdate {} X X {monitor}", long_date(recording.clock.start()))
}

fn long_date(start: DateTime) -> String {
    start.strftime("%d-%b-%Y").to_string().to_uppercase()
}

/// EDF+ 2.1.3 item 2: two digits stand for 1985 to 2084, `yy` for any other year. A date that is not
/// known is written as the first of the clip, beside `Startdate X`.
fn short_date(recording: &Recording) -> String {
    let start = recording.clock.start();
    match (recording.clock.date_known(), start.year()) {
        (false, _) => "01.01.85".to_owned(),
        (true, 1985..=2084) => start.strftime("%d.%m.%y").to_string(),
        (true, _) => start.strftime("%d.%m.yy").to_string(),
    }
}

fn transducer(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Spo2 | Quantity::Pulse | Quantity::Perfusion | Quantity::Pleth => {
            "pulse oximeter"
        }
        Quantity::Tcpco2 | Quantity::Heater | Quantity::SensorTemp => {
            "heated transcutaneous sensor"
        }
        _ => "",
    }
}

fn dimension(unit: &Unit) -> String {
    match unit {
        Unit::PerMinute => "bpm".to_owned(),
        Unit::Celsius => "degC".to_owned(),
        other => other.symbol().to_owned(),
    }
}
