//! Rules answered on made nights: the published boundaries, margins, and what the unseen does to them.

use engine::correct::{Corrected, CorrectedCo2};
use engine::criteria::{Criteria, shipped};
use engine::judge::{Answer, Decision, Judgement, RuleAnswer, judge};
use engine::notes::Notes;
use engine::recording::{Channel, Format, Quantity, Recording};
use engine::score::{Fall, Falls, Figure, Measure, Scores};
use engine::screen::{ChannelScreen, Period, PeriodBasis, Screened};
use engine::time::{Clock, Stretch};
use engine::unit::{Unit, kpa_from_mmhg};
use proptest::prelude::*;

/// A channel as pieces: value, seconds, believed.
type Pieces<'a> = &'a [(f64, usize, bool)];

/// A night to judge, one sample a second, all of it inside the period.
#[derive(Default)]
struct Made {
    channels: Vec<Channel>,
    screens: Vec<ChannelScreen>,
    measures: Vec<Measure>,
    falls: Falls,
    notes: Notes,
}

impl Made {
    fn channel(mut self, quantity: Quantity, pieces: Pieces) -> Self {
        let samples: Vec<f64> =
            pieces.iter().flat_map(|(value, s, _)| std::iter::repeat_n(*value, *s)).collect();
        let believed = pieces.iter().flat_map(|(_, s, b)| std::iter::repeat_n(*b, *s)).collect();
        self.channels.push(Channel {
            id: quantity.id().into(),
            quantity,
            unit: if quantity == Quantity::Tcpco2 { Unit::Kilopascal } else { Unit::Percent },
            file_label: String::new(),
            file_unit: String::new(),
            period_s: 1.0,
            offset_s: 0.0,
            samples: samples.into(),
        });
        self.screens.push(ChannelScreen { quantity, spans: Vec::new(), believed });
        self
    }

    fn co2_mmhg(self, pieces: Pieces) -> Self {
        let kpa: Vec<_> = pieces.iter().map(|&(v, s, b)| (kpa_from_mmhg(v), s, b)).collect();
        self.channel(Quantity::Tcpco2, &kpa)
    }

    fn spo2(self, pieces: Pieces) -> Self {
        self.channel(Quantity::Spo2, pieces)
    }

    fn measure(mut self, id: &'static str, figure: Figure) -> Self {
        self.measures.push(Measure {
            id,
            name: "",
            figure,
            unit: Unit::One,
            seconds: 0.0,
            definition: "",
            source: "",
        });
        self
    }

    fn awake_mmhg(self, mmhg: f64) -> Self {
        let kpa = kpa_from_mmhg(mmhg);
        self.measure("tcpco2.awake", Figure::Given { value: kpa, lowest: kpa, highest: kpa })
    }

    fn judged(self, criteria: &Criteria) -> Judgement {
        let duration_s = self.channels.iter().map(|c| c.samples.len() as f64).fold(0.0, f64::max);
        let recording = Recording {
            format: Format::Made,
            clock: Clock::civil(jiff::civil::datetime(2026, 2, 3, 22, 0, 0, 0)),
            duration_s,
            channels: self.channels,
            marks: Vec::new(),
            monitor: None,
            findings: Vec::new(),
            input_sha256: String::new(),
        };
        let tcpco2 = recording
            .channel(Quantity::Tcpco2)
            .map(|channel| CorrectedCo2::as_recorded(channel.samples.to_vec()));
        let period =
            Period { stretches: vec![recording.whole()], basis: PeriodBasis::LightsMarked };
        // What was breathed is told, but where a test is about that.
        let mut notes = self.notes;
        notes.breathing.get_or_insert_with(|| "air".into());
        let screened = Screened {
            recording,
            notes,
            period,
            channels: self.screens,
            co2_lag: Err("it was not looked for".into()),
            findings: Vec::new(),
        };
        let corrected = Corrected { screened, tcpco2, findings: Vec::new() };
        let scores =
            Scores { corrected, measures: self.measures, falls: self.falls, findings: Vec::new() };
        judge(scores, criteria)
    }
}

/// A set with every rule of the library that the tests name.
fn criteria() -> Criteria {
    let text = engine::criteria::shipped_text("adult-air").unwrap();
    let mut table: toml::Table = text.parse().unwrap();
    let names = [
        "co2_above_55mmhg_10min",
        "co2_rise_10mmhg_to_above_50mmhg_10min",
        "co2_at_or_above_49mmhg_peak",
        "co2_at_or_above_50mmhg_5pct",
        "co2_above_50mmhg_25pct",
        "co2_above_6_5kpa_peak",
        "co2_mean_at_or_above_50mmhg",
        "co2_mean_below_35mmhg",
        "co2_at_or_above_50mmhg_with_spo2_below_88_60min",
        "child_on_support_any",
        "spo2_at_or_below_88_5min",
        "spo2_at_or_below_88_5min_in_all",
        "spo2_below_88_5min",
        "spo2_at_or_below_88_5pct",
        "spo2_below_90_30pct",
        "spo2_below_90_30pct_nadir_below_85",
        "spo2_below_90_10_4pct",
        "falls4_3_clusters_3_below_90",
        "odi4_at_least_15_per_h",
    ];
    let names = names.iter().map(|name| toml::Value::from(*name)).collect();
    table.insert("rules".into(), toml::Value::Array(names));
    let mut criteria = Criteria::parse(&table.to_string(), &|_| None).unwrap();
    // The boundaries are tried on minutes, and on CO2 without noise.
    criteria.judge.answer_least_min.value = 0.0;
    criteria.judge.co2_gap_rounding_kpa.value = 0.0;
    criteria
}

fn answer_of(judgement: &Judgement, id: &str) -> RuleAnswer {
    judgement.rules.iter().find(|rule| rule.id == id).unwrap_or_else(|| panic!("{id}")).clone()
}

const QUIET: (f64, usize, bool) = (42.0, 3600, true);

/// Adult sleep hypoventilation, `berry-2012`: strict above 55 mmHg for 10 minutes, or 10 mmHg above
/// awake to strictly above 50 mmHg for 10 minutes.
#[test]
fn the_adult_hypoventilation_rule_keeps_its_boundaries() {
    let criteria = criteria();
    let level = |mmhg: f64, seconds: usize| {
        let made = Made::default().co2_mmhg(&[QUIET, (mmhg, seconds, true), QUIET]);
        answer_of(&made.judged(&criteria), "co2_above_55mmhg_10min").answer
    };
    assert_eq!(level(55.1, 600), Answer::Met);
    assert_eq!(level(55.1, 599), Answer::NotMet);
    assert_eq!(level(55.0, 3600), Answer::NotMet);
    let rise = |awake: f64, mmhg: f64, seconds: usize| {
        let made = Made::default()
            .co2_mmhg(&[(awake, 3600, true), (mmhg, seconds, true), (awake, 3600, true)])
            .awake_mmhg(awake);
        answer_of(&made.judged(&criteria), "co2_rise_10mmhg_to_above_50mmhg_10min").answer
    };
    assert_eq!(rise(42.0, 52.1, 600), Answer::Met);
    assert_eq!(rise(42.0, 52.0, 600), Answer::Met, "a rise of exactly 10 mmHg counts");
    assert_eq!(rise(39.0, 50.0, 1800), Answer::NotMet);
    assert_eq!(rise(44.0, 53.9, 1800), Answer::NotMet);
}

#[test]
fn without_an_awake_level_a_rise_is_refuted_by_the_level_alone_or_cannot_be_told() {
    let criteria = criteria();
    let rule = "co2_rise_10mmhg_to_above_50mmhg_10min";
    let high = Made::default().co2_mmhg(&[(52.0, 3600, true)]).judged(&criteria);
    assert_eq!(answer_of(&high, rule).answer, Answer::CannotTell);
    let low = Made::default().co2_mmhg(&[(48.0, 3600, true)]).judged(&criteria);
    assert_eq!(answer_of(&low, rule).answer, Answer::NotMet);
}

/// One night, three answers: 24 minutes of 8 hours at or above 50 mmHg is 5.0 % (`bauman-2013` met),
/// not more than 25 % (`trucco-2018` not met), and a peak over 49 mmHg (`orlikowski-2017` met).
#[test]
fn one_night_gets_three_answers_from_three_publications() {
    let judged = Made::default()
        .co2_mmhg(&[(45.0, 13_680, true), (50.0, 1440, true), (45.0, 13_680, true)])
        .judged(&criteria());
    assert_eq!(answer_of(&judged, "co2_at_or_above_50mmhg_5pct").answer, Answer::Met);
    assert_eq!(answer_of(&judged, "co2_above_50mmhg_25pct").answer, Answer::NotMet);
    assert_eq!(answer_of(&judged, "co2_at_or_above_49mmhg_peak").answer, Answer::Met);
}

/// `kirk-2006` survey's commonest rule for children, also `trucco-2018`: above 50 mmHg, more than 25 %.
#[test]
fn a_quarter_of_the_night_is_not_more_than_a_quarter() {
    let criteria = criteria();
    let share = |mmhg: f64, seconds: usize| {
        let made =
            Made::default().co2_mmhg(&[(mmhg, seconds, true), (45.0, 10_000 - seconds, true)]);
        answer_of(&made.judged(&criteria), "co2_above_50mmhg_25pct").answer
    };
    assert_eq!(share(50.5, 2500), Answer::NotMet);
    assert_eq!(share(50.5, 2510), Answer::Met);
    assert_eq!(share(50.0, 9000), Answer::NotMet);
}

/// 6.5 kPa is 48.754 mmHg, not 49: a peak of 48.9 mmHg is above it and below 49.
#[test]
fn six_and_a_half_kilopascal_is_not_forty_nine_millimetres() {
    let judged = Made::default().co2_mmhg(&[QUIET, (48.9, 1, true)]).judged(&criteria());
    assert_eq!(answer_of(&judged, "co2_above_6_5kpa_peak").answer, Answer::Met);
    assert_eq!(answer_of(&judged, "co2_at_or_above_49mmhg_peak").answer, Answer::NotMet);
}

/// The reimbursement text (`belgian-support-text`): CO2 reaching 50 mmHg with SpO2 below 88 % for an
/// hour in all, or SpO2 below 90 % for more than 30 % of the night.
#[test]
fn a_rule_of_parts_needs_its_parts() {
    let criteria = criteria();
    let rule = "co2_at_or_above_50mmhg_with_spo2_below_88_60min";
    let night = |peak: f64, low_s: usize| {
        let made = Made::default()
            .co2_mmhg(&[(45.0, 28_000, true), (peak, 800, true)])
            .spo2(&[(94.0, 28_800 - low_s, true), (87.0, low_s, true)]);
        answer_of(&made.judged(&criteria), rule).answer
    };
    assert_eq!(night(50.0, 3600), Answer::Met);
    assert_eq!(night(49.9, 3600), Answer::NotMet);
    assert_eq!(night(50.0, 3599), Answer::NotMet);
    assert_eq!(night(45.0, 8641), Answer::Met, "30.003 % of the night");
}

/// `griffon-2020`: over-ventilation is a mean below 35 mmHg; either side alone is enough.
#[test]
fn over_and_under_ventilation_both_count() {
    let criteria = criteria();
    let mean = |mmhg: f64| {
        let made = Made::default().co2_mmhg(&[(mmhg, 3600, true)]).spo2(&[(97.0, 3600, true)]);
        answer_of(&made.judged(&criteria), "child_on_support_any").answer
    };
    assert_eq!(mean(34.9), Answer::Met);
    assert_eq!(mean(35.0), Answer::NotMet);
    assert_eq!(mean(49.9), Answer::NotMet);
    assert_eq!(mean(50.0), Answer::Met);
}

/// SpO2 at or below 88 % for five minutes (from memory) and for 5 % (`bauman-2013`); below 88 % for
/// more than five minutes in all (`trucco-2018`); below 90 % for 30 % (`lewis-2003`), with a nadir
/// below 85 % (`ers-pa4591-2015`); 10.4 % (`erj-open-cohort`).
#[test]
fn the_oxygen_rules_keep_their_boundaries() {
    let criteria = criteria();
    let night = |pieces: Pieces, rule: &str| {
        answer_of(&Made::default().spo2(pieces).judged(&criteria), rule).answer
    };
    let broken = [(95.0, 600, true), (88.0, 299, true), (89.0, 1, true), (88.0, 299, true)];
    assert_eq!(night(&broken, "spo2_at_or_below_88_5min"), Answer::NotMet);
    assert_eq!(night(&broken, "spo2_at_or_below_88_5min_in_all"), Answer::Met);
    assert_eq!(
        night(&[(95.0, 600, true), (88.0, 300, true)], "spo2_at_or_below_88_5min"),
        Answer::Met
    );
    let below =
        |seconds: usize| night(&[(95.0, 6000, true), (87.0, seconds, true)], "spo2_below_88_5min");
    assert_eq!(below(300), Answer::NotMet);
    assert_eq!(below(301), Answer::Met);
    let share = |value: f64, seconds: usize, rule: &str| {
        night(&[(95.0, 10_000 - seconds, true), (value, seconds, true)], rule)
    };
    assert_eq!(share(88.0, 500, "spo2_at_or_below_88_5pct"), Answer::Met);
    assert_eq!(share(88.0, 499, "spo2_at_or_below_88_5pct"), Answer::NotMet);
    assert_eq!(share(89.0, 3000, "spo2_below_90_30pct"), Answer::Met);
    assert_eq!(share(89.0, 2999, "spo2_below_90_30pct"), Answer::NotMet);
    assert_eq!(share(90.0, 9000, "spo2_below_90_30pct"), Answer::NotMet, "strictly below 90");
    assert_eq!(share(85.0, 3001, "spo2_below_90_30pct_nadir_below_85"), Answer::NotMet);
    assert_eq!(share(84.0, 3001, "spo2_below_90_30pct_nadir_below_85"), Answer::Met);
    assert_eq!(share(84.0, 3000, "spo2_below_90_30pct_nadir_below_85"), Answer::NotMet);
    assert_eq!(share(89.0, 1040, "spo2_below_90_10_4pct"), Answer::Met);
    assert_eq!(share(89.0, 1039, "spo2_below_90_10_4pct"), Answer::NotMet);
}

fn falls(clusters: usize, low: usize, single: usize) -> Vec<Fall> {
    let fall = |at_s: f64, nadir_pct: f64| Fall {
        stretch: Stretch::new(at_s, at_s + 30.0),
        nadir_s: at_s + 20.0,
        from_pct: 97.0,
        nadir_pct,
    };
    let clustered = (0..clusters * 5).map(|i| (i / 5 * 7200 + i % 5 * 60) as f64);
    let alone = (0..single).map(|i| (clusters * 7200 + i * 3600) as f64);
    let mut low_left = low;
    clustered
        .chain(alone)
        .map(|at_s| {
            let nadir = if low_left > 0 { 88.0 } else { 92.0 };
            low_left = low_left.saturating_sub(1);
            fall(at_s, nadir)
        })
        .collect()
}

/// `nixon-2004` through its later quotations: three clusters and three falls below 90 % are positive;
/// fewer than three low falls on a baseline over 95 % is score 1; many low falls without clusters are
/// in neither text.
#[test]
fn the_children_score_does_not_guess_where_its_texts_are_silent() {
    let criteria = criteria();
    let night = |clusters: usize, low: usize, single: usize, median: f64| {
        let falls = falls(clusters, low, single);
        let rate = falls.len() as f64 / 8.0;
        let made = Made {
            falls: Falls { peak4: falls, ..Falls::default() },
            ..Made::default().spo2(&[(97.0, 28_800, true)])
        };
        let made = made
            .measure("spo2.odi4", Figure::Given { value: rate, lowest: rate, highest: rate })
            .measure(
                "spo2.median",
                Figure::Given { value: median, lowest: median, highest: median },
            );
        answer_of(&made.judged(&criteria), "falls4_3_clusters_3_below_90").answer
    };
    assert_eq!(night(3, 3, 0, 97.0), Answer::Met);
    assert_eq!(night(3, 2, 0, 97.0), Answer::NotMet);
    assert_eq!(night(2, 5, 3, 97.0), Answer::CannotTell);
    assert_eq!(night(3, 2, 0, 94.0), Answer::CannotTell, "no stable baseline over 95 %");
}

/// `stoewhas-2017`: bands of 5, 15 and 30 an hour; a rate answers by what the unseen could make of it.
#[test]
fn a_rate_is_told_only_when_the_unseen_cannot_change_it() {
    let criteria = criteria();
    let night = |lowest: f64, highest: f64| {
        let made = Made::default()
            .spo2(&[(97.0, 3600, true)])
            .measure("spo2.odi4", Figure::Given { value: lowest, lowest, highest });
        let answer = answer_of(&made.judged(&criteria), "odi4_at_least_15_per_h");
        (answer.answer, answer.margin)
    };
    assert_eq!(night(15.0, 16.0), (Answer::Met, Some(0.0)));
    assert_eq!(night(12.0, 14.5), (Answer::NotMet, Some(0.5)));
    assert_eq!(night(12.0, 15.0), (Answer::CannotTell, None));
}

#[test]
fn a_gap_that_could_hold_the_run_leaves_the_rule_open_and_is_named() {
    let criteria = criteria();
    let made = Made::default()
        .spo2(&[(95.0, 3600, true), (95.0, 400, false), (95.0, 3600, true)])
        .judged(&criteria);
    let open = answer_of(&made, "spo2_at_or_below_88_5min");
    assert_eq!(open.answer, Answer::CannotTell);
    // Down to 88 % and 1 % of rounding takes 12 s at 0.52 % a second, and up again 6 s at 1.18.
    assert_eq!(open.stretches, vec![Stretch::new(3611.0, 3995.0)]);
    let short = Made::default()
        .spo2(&[(95.0, 3600, true), (95.0, 299, false), (95.0, 3600, true)])
        .judged(&criteria);
    assert_eq!(answer_of(&short, "spo2_at_or_below_88_5min").answer, Answer::NotMet);
}

/// At the greatest rate of 1 mmHg a minute, CO2 at 45 mmHg on both edges of a 20-minute gap cannot
/// pass 55 mmHg at all, and passes 50 mmHg for at most 10 minutes.
#[test]
fn co2_in_a_gap_stays_inside_what_its_edges_allow() {
    let criteria = criteria();
    let gap = |seconds: usize| {
        Made::default()
            .co2_mmhg(&[(45.0, 3600, true), (45.0, seconds, false), (45.0, 3600, true)])
            .judged(&criteria)
    };
    assert_eq!(answer_of(&gap(1200), "co2_above_55mmhg_10min").answer, Answer::NotMet);
    // 10 minutes over 55 needs 10 mmHg up, 10 minutes there, 10 mmHg down: 30 minutes and a little.
    assert_eq!(answer_of(&gap(1790), "co2_above_55mmhg_10min").answer, Answer::NotMet);
    assert_eq!(answer_of(&gap(1830), "co2_above_55mmhg_10min").answer, Answer::CannotTell);
    let told = answer_of(&gap(1200), "co2_above_55mmhg_10min");
    assert!(told.because.contains("4.4 mmHg a minute"), "{}", told.because);
}

#[test]
fn a_met_rule_stands_on_its_runs() {
    let judged = Made::default()
        .co2_mmhg(&[QUIET, (56.0, 700, true), QUIET, (57.0, 599, true), QUIET])
        .judged(&criteria());
    let met = answer_of(&judged, "co2_above_55mmhg_10min");
    assert_eq!(met.stretches, vec![Stretch::new(3600.0, 4300.0)]);
    assert!((met.margin.unwrap() - kpa_from_mmhg(1.0)).abs() < 1e-9);
}

/// `selby-2024` and `griffon-2020` ask four hours: 3 h 59 min fall short, 4 h 00 min do not.
#[test]
fn four_hours_are_enough_and_a_minute_less_is_not() {
    let mut criteria = shipped("adult-air").unwrap();
    criteria.questions.retain(|question| question.id == "oxygenation");
    let night =
        |seconds: usize| Made::default().spo2(&[(96.0, seconds, true)]).judged(&criteria).verdict;
    assert_eq!(night(4 * 3600).decision, Decision::Sufficient);
    let short = night(4 * 3600 - 60);
    assert_eq!(short.decision, Decision::Repeat);
    assert_eq!(
        short.reasons[1],
        "SpO2 can be believed for 3 h 59 min, less than the 4 h this department asks."
    );
    assert_eq!(short.mend, vec!["Another night with at least 4 h of believable SpO2."]);
}

/// What a reader can do now, from the diary or the file, stands before what needs the patient again.
#[test]
fn what_the_reader_can_do_now_stands_before_what_needs_the_patient() {
    let needs_patient = |mend: &String| {
        ["Another night", "A night", "A blood gas"].iter().any(|start| mend.starts_with(start))
    };
    let mut both = 0;
    for set in engine::criteria::shipped_names() {
        let criteria = shipped(set).unwrap();
        for question in &criteria.questions {
            let pieces: [Pieces; 3] = [
                &[(50.5, 20_000, true)],
                &[(45.0, 9_000, true), (52.0, 900, false), (45.0, 9_000, true)],
                &[(45.0, 900, true)],
            ];
            for co2 in pieces {
                let mut made = Made::default().co2_mmhg(co2).spo2(&[(96.0, 20_000, true)]);
                made.notes.representative = Some(false);
                made.notes.question = Some(question.id.clone());
                let mend = made.judged(&criteria).verdict.mend;
                let first = mend.iter().position(needs_patient).unwrap_or(mend.len());
                assert!(mend[first..].iter().all(needs_patient), "{set} {}: {mend:?}", question.id);
                both += usize::from(first > 0 && first < mend.len());
            }
        }
    }
    assert!(both > 3, "{both}");
}

#[test]
fn a_finding_stands_on_a_short_or_unusual_night() {
    let mut criteria = shipped("adult-air").unwrap();
    criteria.questions.retain(|question| question.id == "oxygenation");
    let low: Pieces = &[(96.0, 3600, true), (86.0, 400, true)];
    let mut made = Made::default().spo2(low);
    made.notes.representative = Some(false);
    let verdict = made.judged(&criteria).verdict;
    assert_eq!((verdict.answer, verdict.decision), (Answer::Met, Decision::Partial));
    let mut usual = Made::default().spo2(&[(96.0, 20_000, true)]);
    usual.notes.representative = Some(false);
    let verdict = usual.judged(&criteria).verdict;
    assert_eq!((verdict.answer, verdict.decision), (Answer::NotMet, Decision::Repeat));
}

#[test]
fn a_night_with_nothing_believed_is_repeated_and_answers_nothing() {
    for set in engine::criteria::shipped_names() {
        let criteria = shipped(set).unwrap();
        let judged = Made::default()
            .co2_mmhg(&[(45.0, 20_000, false)])
            .spo2(&[(96.0, 20_000, false)])
            .judged(&criteria);
        assert_eq!(judged.verdict.decision, Decision::Repeat, "{set}");
        assert!(judged.rules.iter().all(|rule| rule.answer == Answer::CannotTell), "{set}");
    }
}

const SHIFTED: [&str; 5] = [
    "co2_above_55mmhg_10min",
    "co2_at_or_above_50mmhg_5pct",
    "co2_above_50mmhg_25pct",
    "co2_at_or_above_49mmhg_peak",
    "co2_mean_at_or_above_50mmhg",
];

/// Pieces of which every other one is believed, so that no gap is long enough for its filling to reach
/// the ends of the plausible range, where a shift meets those and not the rule.
fn pieces(low: f64, high: f64) -> impl Strategy<Value = Vec<(f64, usize, bool)>> {
    prop::collection::vec((low..high, 30_usize..900, prop::bool::weighted(0.7)), 3..14).prop_map(
        |mut pieces| {
            pieces.iter_mut().step_by(2).for_each(|piece| piece.2 = true);
            pieces
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// The margin is exact: a hair less keeps the answer, a hair more gives it up.
    #[test]
    fn shifting_by_the_margin_is_where_the_answer_flips(pieces in pieces(44.0, 58.0)) {
        let criteria = criteria();
        let shifted = |by_kpa: f64| {
            let kpa: Vec<_> =
                pieces.iter().map(|&(v, s, b)| (kpa_from_mmhg(v) + by_kpa, s, b)).collect();
            Made::default().channel(Quantity::Tcpco2, &kpa).judged(&criteria)
        };
        let judged = shifted(0.0);
        for id in SHIFTED {
            let rule = answer_of(&judged, id);
            let toward = match rule.answer {
                Answer::Met => -1.0,
                Answer::NotMet => 1.0,
                Answer::CannotTell => continue,
            };
            // A night too short for the run has no margin: no shift can flip it.
            let Some(margin) = rule.margin else { continue };
            let kept = answer_of(&shifted(toward * (margin - 1e-4).max(0.0)), id);
            prop_assert_eq!(kept.answer, rule.answer, "{}", id);
            let flipped = answer_of(&shifted(toward * (margin + 1e-4)), id);
            prop_assert_ne!(flipped.answer, rule.answer, "{}", id);
        }
    }

    /// Disbelieving more of a night may open an answer but never turns it round: whatever the samples
    /// were, they are one of the fillings where SpO2 in a gap is free.
    #[test]
    fn disbelief_never_turns_an_answer_round(
        pieces in pieces(80.0, 99.0),
        hide in prop::collection::vec(any::<bool>(), 14),
    ) {
        let mut criteria = criteria();
        criteria.judge.spo2_gap_most_min.value = 0.0;
        let whole: Vec<_> = pieces.iter().map(|&(v, s, _)| (v, s, true)).collect();
        let hidden: Vec<_> =
            pieces.iter().zip(&hide).map(|(&(v, s, _), &hide)| (v, s, !hide)).collect();
        let truth = Made::default().spo2(&whole).judged(&criteria);
        let seen = Made::default().spo2(&hidden).judged(&criteria);
        for (true_rule, seen_rule) in truth.rules.iter().zip(&seen.rules) {
            prop_assert!(
                seen_rule.answer == true_rule.answer || seen_rule.answer == Answer::CannotTell,
                "{}: {:?} became {:?}", true_rule.id, true_rule.answer, seen_rule.answer
            );
        }
    }
}
