//! A made night, judged by hand: nine hours with falls of SpO2, a rise of CO2, a visit to the toilet.
//!
//! Nobody's night: the contents are invented to show every part of a report at once. The figures are
//! set beside the samples, not computed from them, so that printing is tested apart from scoring.

use engine::correct::{Anchor, AnchorKind, Corrected, CorrectedCo2, Drift, Model};
use engine::criteria::{Criteria, shipped};
use engine::finding::{Finding, Weight};
use engine::judge::{Answer, CriteriaStamp, Decision, Judgement, Pattern, RuleAnswer, Verdict};
use engine::notes::{BloodGas, MonitorNotes, Notes};
use engine::recording::{Author, Channel, Format, Mark, MarkKind, Quantity, Recording};
use engine::score::{Falls, Figure, Measure, Scores};
use engine::screen::{ChannelScreen, Period, PeriodBasis, Reason, Screened, Span};
use engine::time::{Clock, Stretch, zone_named};
use engine::trace::Band;
use engine::unit::{Unit, mmhg_from_kpa};

const NIGHT_S: usize = 9 * 3600;
const LIGHTS_OUT_S: f64 = 2_100.0;
const LIGHTS_ON_S: f64 = 31_500.0;
/// The toilet: up, sensor off, put back.
const OFF: (usize, usize) = (16_500, 17_220);
/// Stretches of repeated falls.
const FALLS: [(usize, usize); 4] =
    [(5_400, 7_600), (10_800, 13_200), (18_600, 20_400), (25_500, 28_100)];

/// The criteria set the night was judged with.
pub(crate) fn criteria() -> Criteria {
    shipped("adult-air").expect("the made night is sound")
}

/// The night.
pub(crate) fn judgement() -> Judgement {
    let criteria = criteria();
    let corrected = corrected(screened(recording()));
    let scores = Scores {
        corrected,
        measures: measures(),
        falls: Falls::default(),
        findings: vec![Finding::new(
            "awake_short",
            Weight::Note,
            "The awake value stands on 12 min before lights out, settling left out.",
        )],
    };
    Judgement {
        scores,
        rules: rules(&criteria),
        patterns: patterns(),
        severe: Vec::new(),
        verdict: verdict(),
        criteria: CriteriaStamp {
            name: criteria.name.clone(),
            version: criteria.version.clone(),
            title: criteria.title.clone(),
            sha256: criteria.sha256.clone(),
        },
    }
}

pub(crate) fn recording() -> Recording {
    let start = "2026-03-14T22:05:00".parse().expect("the made night is sound");
    let zone = zone_named("Europe/London").expect("the made night is sound");
    Recording {
        format: Format::Text,
        clock: Clock::in_zone(start, zone).expect("the made night is sound"),
        duration_s: NIGHT_S as f64,
        channels: vec![
            channel(Quantity::Spo2, Unit::Percent, "SpO2 (%)", spo2()),
            channel(Quantity::Pulse, Unit::PerMinute, "Pulse (/min)", pulse()),
            channel(Quantity::Tcpco2, Unit::Kilopascal, "tcPCO2 (kPa)", tcpco2()),
        ],
        marks: Vec::new(),
        monitor: Some("MADE-7".into()),
        findings: vec![
            Finding::new("duplicate_rows", Weight::Note, "3 rows came twice; the first was kept.")
                .at(Stretch::new(901.0, 904.0)),
        ],
        input_sha256: "9f2c4e5d0b7a1836c5d4e3f2a1b0c9d8e7f60514233241506978879605142332".into(),
    }
}

fn channel(quantity: Quantity, unit: Unit, label: &str, samples: Vec<f64>) -> Channel {
    Channel {
        id: quantity.id().into(),
        quantity,
        file_unit: unit.symbol().into(),
        unit,
        file_label: label.into(),
        period_s: 1.0,
        offset_s: 0.0,
        samples: samples.into(),
    }
}

/// Even noise between −1 and 1, the same on every machine.
fn noise(i: usize, seed: u32) -> f64 {
    let mut x = u32::try_from(i).expect("the made night is sound").wrapping_mul(2_654_435_761)
        ^ seed.wrapping_mul(40_503);
    x ^= x >> 15;
    x = x.wrapping_mul(2_246_822_519);
    x ^= x >> 13;
    f64::from(x % 20_001) / 10_000.0 - 1.0
}

fn slow(i: usize, seed: u32, every: usize) -> f64 {
    let (at, part) = (i / every, (i % every) as f64 / every as f64);
    noise(at, seed) * (1.0 - part) + noise(at + 1, seed) * part
}

/// How deep into a fall sample `i` is, from 0 to 1, and the depth of that fall in %.
fn fall(i: usize) -> (f64, f64) {
    let Some((from, _)) = FALLS.iter().find(|(from, to)| (*from..*to).contains(&i)) else {
        return (0.0, 0.0);
    };
    let (n, part) = ((i - from) / 54, ((i - from) % 54) as f64 / 54.0);
    let shape = if part < 0.55 { part / 0.55 } else { (1.0 - part) / 0.45 };
    (shape, 8.0 + 5.0 * noise(n + from, 3))
}

fn spo2() -> Vec<f64> {
    (0..NIGHT_S)
        .map(|i| {
            if (OFF.0..OFF.1).contains(&i) {
                return f64::NAN;
            }
            let (shape, depth) = fall(i);
            let moved =
                if (8_000..8_140).contains(&i) { 14.0 * noise(i / 4, 9).abs() } else { 0.0 };
            (94.6 + slow(i, 1, 900) + 0.4 * noise(i / 3, 2) - shape * depth - moved).round()
        })
        .collect()
}

fn pulse() -> Vec<f64> {
    (0..NIGHT_S)
        .map(|i| {
            if (OFF.0..OFF.1).contains(&i) {
                return f64::NAN;
            }
            let (shape, depth) = fall(i.saturating_sub(18));
            let settled = 64.0 - 6.0 * (i as f64 / NIGHT_S as f64);
            (settled + 2.5 * slow(i, 4, 240) + 1.2 * noise(i / 2, 5) + shape * depth).round()
        })
        .collect()
}

fn tcpco2() -> Vec<f64> {
    let mut level = 5.5_f64;
    (0..NIGHT_S)
        .map(|i| {
            let rising = FALLS.iter().any(|(from, to)| (*from..*to).contains(&i));
            let aim = if rising { 7.62 } else { 6.0 + 0.25 * slow(i, 6, 1800) };
            level += (aim - level) / if rising { 950.0 } else { 1_100.0 };
            let since_fitted = if i >= OFF.1 { i - OFF.1 } else { i } as f64;
            let settling =
                if since_fitted < 1_320.0 { (1.0 - since_fitted / 1_320.0).powi(3) } else { 0.0 };
            let off = (OFF.0..OFF.1).contains(&i);
            let kpa = if off { 0.3 } else { level - 1.9 * settling + 0.02 * noise(i / 5, 7) };
            (kpa * 100.0).round() / 100.0
        })
        .collect()
}

fn screened(recording: Recording) -> Screened {
    let span = |from: usize, to: usize, reason| Span {
        stretch: Stretch::new(from as f64, to as f64),
        reason,
        author: Author::Tool,
    };
    let channels = vec![
        screen(
            &recording,
            Quantity::Spo2,
            vec![span(8_000, 8_140, Reason::Motion), span(OFF.0, OFF.1, Reason::Off)],
        ),
        screen(&recording, Quantity::Pulse, vec![span(OFF.0, OFF.1, Reason::Off)]),
        screen(
            &recording,
            Quantity::Tcpco2,
            vec![
                span(0, 1_320, Reason::Settling),
                span(OFF.0, OFF.1, Reason::Off),
                span(OFF.1, OFF.1 + 1_260, Reason::Settling),
            ],
        ),
    ];
    Screened {
        recording,
        notes: notes(),
        period: Period {
            stretches: vec![
                Stretch::new(LIGHTS_OUT_S, 16_440.0),
                Stretch::new(17_280.0, LIGHTS_ON_S),
            ],
            basis: PeriodBasis::LightsMarked,
        },
        channels,
        co2_lag: Err("it was not looked for".into()),
        findings: vec![
            Finding::new(
                "settled_late",
                Weight::Caution,
                "CO2 took 21 min to settle after the sensor was refitted; those minutes are not believed.",
            )
            .on("tcpco2")
            .at(Stretch::new(OFF.1 as f64, (OFF.1 + 1_260) as f64)),
        ],
    }
}

fn screen(recording: &Recording, quantity: Quantity, spans: Vec<Span>) -> ChannelScreen {
    let channel = recording.channel(quantity).expect("the made night is sound");
    let mut believed: Vec<bool> = channel.samples.iter().map(|x| x.is_finite()).collect();
    for span in &spans {
        believed[channel.indices(&span.stretch)].fill(false);
    }
    ChannelScreen { quantity, spans, believed }
}

fn notes() -> Notes {
    let mark = |kind, start_s: f64, end_s, text: &str| Mark {
        kind,
        start_s,
        end_s,
        text: text.into(),
        author: Author::Notes,
    };
    Notes {
        marks: vec![
            mark(MarkKind::LightsOut, LIGHTS_OUT_S, None, ""),
            mark(MarkKind::Up, 16_440.0, Some(17_280.0), "toilet"),
            mark(MarkKind::Refitted, OFF.1 as f64, None, ""),
            mark(MarkKind::LightsOn, LIGHTS_ON_S, None, ""),
            mark(MarkKind::BloodGas, 31_800.0, None, ""),
        ],
        representative: Some(true),
        blood_gases: vec![BloodGas { at_s: 31_800.0, pco2_kpa: 6.1 }],
        gas_checks: Vec::new(),
        monitor: MonitorNotes {
            corrected: Some(true),
            sensor_temp_c: Some(42.0),
            averaging_s: Some(4.0),
        },
        question: None,
        breathing: Some("air".into()),
        told: Vec::new(),
        edits: Vec::new(),
        findings: Vec::new(),
    }
}

fn corrected(screened: Screened) -> Corrected {
    let channel = screened.recording.channel(Quantity::Tcpco2).expect("the made night is sound");
    let part = |i: usize| (i as f64 / 31_800.0).min(1.0);
    let values =
        channel.samples.iter().enumerate().map(|(i, kpa)| kpa - 0.05 - 0.33 * part(i)).collect();
    let half = |i: usize| 0.2 + 0.35 * part(i) + 0.9 * part(i) * (1.0 - part(i));
    let band = (0..NIGHT_S).map(|i| Band::either(half(i))).collect();
    let anchor = |kind, at_s, reference_kpa, observed_kpa, sd_kpa| Anchor {
        kind,
        taken_s: at_s,
        at_s,
        reference_kpa,
        observed_kpa,
        sd_kpa,
    };
    let tcpco2 = CorrectedCo2 {
        model: Model::Additive,
        anchors: vec![
            anchor(AnchorKind::GasCheck, 0.0, 5.0, 5.05, 0.1),
            anchor(AnchorKind::BloodGas, 31_800.0, 6.1, 6.48, 0.28),
        ],
        offset_start_kpa: Some(-0.05),
        offset_end_kpa: Some(-0.38),
        drift: Some(Drift { kind: AnchorKind::GasCheck, kpa: -0.33, taken_s: (0.0, 31_800.0) }),
        band,
        ..CorrectedCo2::as_recorded(values)
    };
    Corrected { screened, tcpco2: Some(tcpco2), findings: Vec::new() }
}

/// Id, name, value, lowest, highest, unit, believed seconds, definition, source.
const MEASURES: &str = "\
spo2.awake | Awake | 95.2 | 95.2 | 95.2 | % | 720 | Median of believed SpO2 marked awake, or before lights out. | department setting
spo2.mean | Mean | 92.4 | 90.9 | 92.5 | % | 28420 | Mean of believed SpO2. | bland-altman-1999
spo2.median | Median | 94.0 | 94.0 | 94.0 | % | 28420 | Value half of believed time lies under. | urschitz-2003
spo2.sd | Standard deviation | 3.12 | 3.1 | 9.8 | % | 28420 | Standard deviation of believed SpO2, dividing by n − 1. | from memory
spo2.min | Lowest | 81.0 | 50.0 | 81.0 | % | 28420 | Lowest believed SpO2. | urschitz-2003
spo2.p5 | 5th percentile | 86.0 | 84.0 | 86.0 | % | 28420 | Value 5 % of believed time lies under. | urschitz-2003
spo2.time_below_90 | Below 90 % | 17.3 | 16.9 | 19.4 | % | 28420 | Share of believed time with SpO2 below 90 %. | olson-1999
spo2.time_at_or_below_88 | At or below 88 % | 9.8 | 9.6 | 12.1 | % | 28420 | Share of believed time with SpO2 at or below 88 %. | bauman-2013
spo2.longest_at_or_below_88 | Longest at or below 88 % | 34.0 | 34.0 | 168.0 | s | 28420 | Longest unbroken believed run at or below 88 %. | from memory
spo2.odi3 | Falls of 3 % (ODI3) | 21.0 | 20.7 | 23.8 | /h | 28420 | Falls of 3 % or more from the preceding peak, peak to nadir in 10 to 120 s, per believed hour. | from memory
spo2.odi4 | Falls of 4 % (ODI4) | 18.6 | 18.3 | 21.4 | /h | 28420 | Falls of 4 % or more from the preceding peak, peak to nadir in 10 to 120 s, per believed hour. | from memory
pulse.mean | Mean | 63.0 | 62.0 | 65.0 | /min | 28420 | Mean of believed pulse rate. | common practice
pulse.min | Lowest | 54.0 | 25.0 | 54.0 | /min | 28420 | Lowest believed pulse rate. | common practice
pulse.max | Highest | 81.0 | 81.0 | 220.0 | /min | 28420 | Highest believed pulse rate. | common practice
pulse.rises6 | Rises of 6 /min | 17.9 | 17.6 | 20.2 | /h | 28420 | Rises of 6 beats a minute or more within 15 s, per believed hour. | pitson-1994
tcpco2.awake | Awake | 5.58 | 5.58 | 5.58 | kPa | 720 | Median of believed tcPCO2 marked awake, or before lights out, settling left out. | department setting
tcpco2.mean | Mean | 6.31 | 6.22 | 6.44 | kPa | 27300 | Mean of believed tcPCO2 after correction. | common practice
tcpco2.max | Highest | 7.24 | 7.24 | 7.78 | kPa | 27300 | Highest believed tcPCO2 after correction. | common practice
tcpco2.sustained10 | Held for 10 min | 7.06 | 7.06 | 7.41 | kPa | 27300 | Highest level held for 10 min: the largest of all ten-minute lows. | berry-2012
tcpco2.rise | Rise above awake | 1.66 | 1.66 | 2.20 | kPa | 27300 | Highest minus awake. | berry-2012
tcpco2.time_above_6_5 | Above 6.5 kPa | 34.2 | 31.9 | 38.6 | % | 27300 | Share of believed time above 6.5 kPa. | from memory
tcpco2.time_above_50mmhg | Above 50 mmHg | 22.7 | 21.1 | 26.9 | % | 27300 | Share of believed time above 50 mmHg. | trucco-2018
tcpco2.time_above_55mmhg | Above 55 mmHg | 0.0 | 0.0 | 3.4 | % | 27300 | Share of believed time above 55 mmHg. | berry-2012";

fn measures() -> Vec<Measure> {
    let mut measures = Vec::new();
    for row in MEASURES.lines() {
        let cells: Vec<&'static str> = row.split(" | ").collect();
        let number = |at: usize| cells[at].parse::<f64>().expect("the made night is sound");
        let unit = unit(cells[5]);
        let figure = |scale: fn(f64) -> f64| Figure::Given {
            value: scale(number(2)),
            lowest: scale(number(3)),
            highest: scale(number(4)),
        };
        let measure = |id, figure, unit| Measure {
            id,
            name: cells[1],
            figure,
            unit,
            seconds: number(6),
            definition: cells[7],
            source: cells[8],
        };
        let twin = (unit == Unit::Kilopascal).then(|| mmhg_twin(cells[0])).flatten();
        measures.push(measure(cells[0], figure(|x| x), unit));
        if let Some(id) = twin {
            measures.push(measure(id, figure(mmhg_from_kpa), Unit::MillimetreOfMercury));
        }
    }
    measures.push(delta_index());
    measures
}

fn unit(symbol: &str) -> Unit {
    [Unit::Percent, Unit::PerHour, Unit::PerMinute, Unit::Second, Unit::Kilopascal]
        .into_iter()
        .find(|unit| unit.symbol() == symbol)
        .expect("the made night is sound")
}

fn delta_index() -> Measure {
    Measure {
        id: "spo2.delta_index_12s",
        name: "Delta index, 12 s",
        figure: Figure::Absent(
            "the oximeter averaged over 4 s or longer, which flattens it".into(),
        ),
        unit: Unit::Percent,
        seconds: 0.0,
        definition: "Mean absolute difference of readings 12 s apart.",
        source: "olson-1999",
    }
}

fn mmhg_twin(id: &str) -> Option<&'static str> {
    [
        "tcpco2.awake_mmhg",
        "tcpco2.mean_mmhg",
        "tcpco2.max_mmhg",
        "tcpco2.sustained10_mmhg",
        "tcpco2.rise_mmhg",
    ]
    .into_iter()
    .find(|twin| twin.strip_suffix("_mmhg") == Some(id))
}

fn rules(criteria: &Criteria) -> Vec<RuleAnswer> {
    criteria.rules.iter().map(|rule| answered(&rule.id, &rule.asks, &rule.source)).collect()
}

fn answered(id: &str, asks: &str, source: &str) -> RuleAnswer {
    use Answer::{CannotTell, Met, NotMet};
    let gap = vec![Stretch::new(OFF.1 as f64, (OFF.1 + 1_260) as f64)];
    let high = vec![Stretch::new(12_250.0, 13_400.0), Stretch::new(26_600.0, 28_300.0)];
    let kpa = Unit::Kilopascal;
    let (answer, margin, margin_unit, stretches, because) = match id {
        "co2_above_55mmhg_10min" => (
            CannotTell,
            None,
            kpa,
            gap,
            "The longest believed run is 0 s; between 02:52 and 03:13 CO2 could have been above 55 mmHg for 11 min.",
        ),
        "co2_rise_10mmhg_to_above_50mmhg_10min" => {
            (Met, Some(0.21), kpa, high, "The longest run is 28 min, from 05:28 to 05:57.")
        }
        "co2_at_or_above_50mmhg_5pct" => (
            Met,
            Some(0.38),
            kpa,
            Vec::new(),
            "22.7 % of believed time, at least 21.1 % however the rest is filled.",
        ),
        "spo2_at_or_below_88_5min" => (
            NotMet,
            Some(5.0),
            Unit::Percent,
            Vec::new(),
            "The longest run is 34 s, at most 2 min 48 s however the rest is filled.",
        ),
        "spo2_at_or_below_88_5pct" => (
            Met,
            Some(1.0),
            Unit::Percent,
            Vec::new(),
            "9.8 % of believed time, at least 9.6 % however the rest is filled.",
        ),
        "spo2_below_90_30pct" => (
            NotMet,
            Some(2.0),
            Unit::Percent,
            Vec::new(),
            "17.3 % of believed time, at most 19.4 % however the rest is filled.",
        ),
        "odi4_at_least_5_per_h" => (
            Met,
            Some(13.3),
            Unit::PerHour,
            Vec::new(),
            "18.6 an hour, at least 18.3 however the rest is filled.",
        ),
        _ => (
            Met,
            Some(3.3),
            Unit::PerHour,
            Vec::new(),
            "18.6 an hour, at least 18.3 however the rest is filled.",
        ),
    };
    RuleAnswer {
        id: id.into(),
        asks: asks.into(),
        answer,
        margin,
        margin_unit,
        source: source.into(),
        stretches,
        because: because.into(),
    }
}

fn patterns() -> Vec<Pattern> {
    vec![
        Pattern {
            id: "repetitive_falls",
            sentence: "Falls of SpO2 come again and again, 18.6 an hour, in four clusters.".into(),
            figures: vec![("odi4", 18.6, Unit::PerHour)],
            stretches: FALLS.iter().map(|(a, b)| Stretch::new(*a as f64, *b as f64)).collect(),
        },
        Pattern {
            id: "co2_rise_with_falls",
            sentence: "CO2 rises by 1.66 kPa (12.5 mmHg) above awake while SpO2 falls.".into(),
            figures: vec![("rise", 1.66, Unit::Kilopascal)],
            stretches: Vec::new(),
        },
    ]
}

fn verdict() -> Verdict {
    Verdict {
        question: "night_gas_exchange".into(),
        asks: "Are oxygen and carbon dioxide kept in sleep on air?".into(),
        answer: Answer::Met,
        decision: Decision::Partial,
        reasons: vec![
            "SpO2 and CO2 were believed for more than the 4 hours asked.".into(),
            "Rule 1 cannot be told: CO2 from 02:52 to 03:13 was settling and not believed.".into(),
        ],
        mend: vec![
            "A gas check after refitting, or a second night, would show the rise at 03:00.".into(),
        ],
    }
}
