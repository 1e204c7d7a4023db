//! Figures for the service against what was counted by hand.

use jiff::civil::Date;
use store::record::act::Act;
use store::record::db::Store;
use store::record::row::Kept;
use store::record::tables::Check;
use store::record::tables::Loan;
use store::record::tables::Monitor;
use store::record::tables::Movement;
use store::record::tables::Night;
use store::record::tables::Original;
use store::record::tables::Outcome;
use store::record::tables::Report;
use store::record::tables::Study;
use store::service::Leg;
use store::service::Period;
use store::service::Run;
use store::service::Times;
use store::service::Usage;
use store::words::CheckWhen;
use store::words::LoanStatus;
use store::words::MonitorStatus;
use store::words::NightStatus;
use store::words::Role;
use store::words::StudyStatus;
use store::words::Urgency;

use crate::both::MORNING;
use crate::full;
use crate::full::by;

/// An instant of November 2026, when London's clocks are UTC.
fn at(day: i64, hour: i64) -> i64 {
    MORNING + (day - 25) * 86_400 + (hour - 8) * 3_600
}

fn day(text: &str) -> Date {
    text.parse().unwrap()
}

fn period(from: &str, to: &str) -> Period {
    let london = jiff::tz::TimeZone::get("Europe/London").unwrap();
    Period::between(day(from), day(to), &london, MORNING).unwrap()
}

fn november() -> Period {
    period("2026-11-01", "2026-11-25")
}

async fn monitor(act: &mut Act, n: i64) -> Monitor {
    let mut monitor = full::monitor(&format!("M-{n:04}-X"), &format!("TC-{n}"));
    act.put(&mut monitor).await.unwrap();
    monitor
}

/// A referral with its study: the day it came and its urgency.
async fn asked(act: &mut Act, n: i64, received_on: &str, urgency: Urgency) -> Study {
    let mut person = full::person(&format!("H{n}"), &format!("Family{n}"));
    act.put(&mut person).await.unwrap();
    let mut referral = full::referral(person.id);
    (referral.received_on, referral.urgency) = (received_on.to_owned(), urgency);
    act.put(&mut referral).await.unwrap();
    let mut study = full::study(person.id, referral.id);
    act.put(&mut study).await.unwrap();
    study
}

/// A loan: booked, out and back.
async fn lent(act: &mut Act, study: &Study, monitor: &Monitor, times: [Option<i64>; 3]) -> Loan {
    let number = act.conn().number("SELECT COUNT(*) FROM loan", &[]).await.unwrap();
    let mut loan = full::loan(&format!("L-{number:05}-X"), study, monitor.id);
    let [booked_at, out_at, back_at] = times;
    loan.booked_at = booked_at.unwrap();
    (loan.out_at, loan.back_at) = (out_at, back_at);
    loan.status = match (out_at, back_at) {
        (None, _) => LoanStatus::Booked,
        (_, None) => LoanStatus::Out,
        _ => LoanStatus::Back,
    };
    if let Some(back) = &mut loan.back.0 {
        back.missing = Vec::new();
    }
    act.put(&mut loan).await.unwrap();
    loan
}

/// A night of a loan that was taken off, with its result and where it stands.
async fn night(
    act: &mut Act,
    loan: &Loan,
    off_at: i64,
    status: NightStatus,
    verdict: &str,
    reasons: &[&str],
) -> Night {
    let number = act.conn().number("SELECT COUNT(*) FROM original", &[]).await.unwrap();
    let mut original = Original {
        id: 0,
        act: 0,
        sha256: format!("{number:064}"),
        name: "n.csv".to_owned(),
        length: 1,
        format: "delimited text".to_owned(),
        serial: None,
        received_at: off_at,
        who: "desk".to_owned(),
        destroyed_at: None,
        destroyed_because: None,
    };
    act.put(&mut original).await.unwrap();
    let mut night = Night {
        id: 0,
        act: 0,
        original: original.id,
        from_s: 0,
        to_s: 28_800,
        start_at: off_at - 12 * 3_600,
        end_at: off_at - 4 * 3_600,
        status,
        loan: Some(loan.id),
        person: Some(loan.person),
        study: Some(loan.study),
        doubts: Kept(Vec::new()),
        settled_by: None,
        settled_because: None,
        notes: String::new(),
        result: None,
        replaced_by: None,
    };
    act.put(&mut night).await.unwrap();
    let mut outcome = Outcome {
        id: 0,
        act: 0,
        night: night.id,
        at: off_at,
        criteria: "adult-air".to_owned(),
        criteria_version: "1".to_owned(),
        criteria_sha256: String::new(),
        engine: "matins".to_owned(),
        notes_sha256: String::new(),
        verdict: verdict.to_owned(),
        reason: None,
        believed_h: if verdict == "repeat" { 0.0 } else { 7.0 },
        scores: serde_json::json!({"verdict": {"reasons": reasons}}).to_string(),
    };
    act.put(&mut outcome).await.unwrap();
    night.result = Some(outcome.id);
    act.put(&mut night).await.unwrap();
    night
}

async fn signed(act: &mut Act, night: &Night, signed_at: i64, interpreted_at: Option<i64>) {
    let mut report = Report {
        id: 0,
        act: 0,
        night: night.id,
        version: 1,
        outcome: night.result.unwrap(),
        content: "{}".to_owned(),
        pdf_sha256: None,
        signed_by: None,
        signed_at: Some(signed_at),
        interpretation: None,
        interpreted_by: None,
        interpreted_at,
        replaces: None,
        because: None,
        withdrawn_at: None,
    };
    act.put(&mut report).await.unwrap();
}

async fn moved(
    act: &mut Act,
    monitor: i64,
    at: i64,
    (before, after): (MonitorStatus, MonitorStatus),
    loan: Option<i64>,
) {
    let (who, what) = ("desk".to_owned(), String::new());
    let mut movement = Movement { id: 0, act: 0, monitor, at, who, before, after, loan, what };
    act.put(&mut movement).await.unwrap();
}

async fn checked(act: &mut Act, monitor: i64, at: i64, observed_kpa: Option<f64>, passed: bool) {
    let mut check = Check {
        id: 0,
        act: 0,
        monitor,
        loan: None,
        at,
        who: "desk".to_owned(),
        made: CheckWhen::After,
        gas: None,
        expected_kpa: Some(5.0),
        observed_kpa,
        pressure_kpa: None,
        clock_ahead_s: None,
        parts: Kept(Vec::new()),
        missing: Kept(Vec::new()),
        passed,
        note: None,
        voided_at: None,
        voided_by: None,
        voided_because: None,
    };
    act.put(&mut check).await.unwrap();
}

async fn begin(store: &Store) -> Act {
    store.act(&by(Role::Desk), "loan.book").await.unwrap()
}

fn near(found: &[f64], expected: &[f64]) {
    let agree = |(a, b): (&f64, &f64)| (a - b).abs() < 0.01;
    let all = found.len() == expected.len() && found.iter().zip(expected).all(agree);
    assert!(all, "{found:?} is not {expected:?}");
}

/// Five ways through November, one that was over in October and one dated backwards.
async fn ways(store: &Store) {
    use Urgency::Routine;
    use Urgency::Urgent;
    let mut act = begin(store).await;
    let a = monitor(&mut act, 1).await;

    let study = asked(&mut act, 1, "2026-11-01", Routine).await;
    let loan = lent(&mut act, &study, &a, [at(3, 9), at(5, 15), at(6, 9)].map(Some)).await;
    let read = night(&mut act, &loan, at(6, 10), NightStatus::Signed, "sufficient", &[]).await;
    signed(&mut act, &read, at(7, 10), Some(at(9, 12))).await;

    let study = asked(&mut act, 2, "2026-11-01", Routine).await;
    let loan = lent(&mut act, &study, &a, [at(7, 9), at(9, 15), at(10, 9)].map(Some)).await;
    let read = night(&mut act, &loan, at(10, 12), NightStatus::Signed, "repeat", &[]).await;
    signed(&mut act, &read, at(10, 17), None).await;

    // It came back without a night and went on to cleaning.
    let study = asked(&mut act, 3, "2026-11-10", Urgent).await;
    let loan = lent(&mut act, &study, &a, [at(10, 12), at(10, 15), at(11, 9)].map(Some)).await;
    let on = (MonitorStatus::Back, MonitorStatus::ToClean);
    moved(&mut act, a.id, at(11, 11), on, Some(loan.id)).await;

    // It is still out.
    let study = asked(&mut act, 4, "2026-11-20", Urgent).await;
    lent(&mut act, &study, &a, [Some(at(21, 9)), Some(at(24, 15)), None]).await;

    // One has no loan; another has none and was closed.
    asked(&mut act, 5, "2026-11-15", Routine).await;
    let mut closed = asked(&mut act, 6, "2026-11-02", Routine).await;
    closed.status = StudyStatus::Closed;
    act.put(&mut closed).await.unwrap();

    let study = asked(&mut act, 7, "2026-10-01", Routine).await;
    let loan = lent(&mut act, &study, &a, [at(-29, 9), at(-28, 9), at(-27, 9)].map(Some)).await;
    let read = night(&mut act, &loan, at(-27, 10), NightStatus::Signed, "sufficient", &[]).await;
    signed(&mut act, &read, at(-27, 11), Some(at(-26, 9))).await;

    let study = asked(&mut act, 8, "2026-11-12", Routine).await;
    lent(&mut act, &study, &a, [Some(at(11, 9)), None, None]).await;
    act.close().await.unwrap();
}

on_both! {
    async fn turnaround_is_what_was_counted_by_hand_and_the_open_are_told(desk) {
        ways(&desk.store).await;
        let mut conn = desk.store.read().await.unwrap();
        let found = conn.turnaround(&november()).await.unwrap();
        let all = |leg: Leg| found.all(leg).unwrap();
        for (leg, ended_h, open_h) in [
            (Leg::Booked, &[0.0, 24.0, 48.0, 144.0][..], &[240.0][..]),
            (Leg::Out, &[3.0, 54.0, 54.0, 78.0], &[335.0]),
            (Leg::Back, &[18.0, 18.0, 18.0], &[17.0]),
            (Leg::TakenOff, &[1.0, 3.0], &[]),
            (Leg::Signed, &[5.0, 24.0], &[]),
            (Leg::Interpreted, &[50.0], &[351.0]),
            (Leg::Whole, &[192.0], &[120.0, 240.0, 312.0, 360.0, 576.0]),
        ] {
            near(&all(leg).ended_h, ended_h);
            near(&all(leg).open_h, open_h);
        }
        // By hand: between the first and second of four 18, the two in the middle 36, the third and fourth 72.
        let booked = all(Leg::Booked);
        let quartiles = [25.0, 50.0, 75.0].map(|percent| booked.percentile_h(percent).unwrap());
        near(&quartiles, &[18.0, 36.0, 72.0]);
        assert_eq!((booked.longest_h(), booked.longest_open_h()), (Some(144.0), Some(240.0)));
        let urgent = |times: &&Times| times.leg == Leg::Booked && times.urgency == Some(Urgency::Urgent);
        near(&found.times.iter().find(urgent).unwrap().ended_h, &[0.0, 24.0]);
        assert!(!found.times.iter().any(|times| times.urgency == Some(Urgency::Soon)));
        assert_eq!((found.without_night, found.backwards), (1, 1));
    }

    async fn what_came_after_a_period_had_not_happened_in_it(desk) {
        ways(&desk.store).await;
        let mut conn = desk.store.read().await.unwrap();
        let found = conn.turnaround(&period("2026-11-01", "2026-11-07")).await.unwrap();
        // The second loan is booked and not yet out; the first night is signed and not yet interpreted.
        near(&found.all(Leg::Out).unwrap().open_h, &[15.0]);
        near(&found.all(Leg::Interpreted).unwrap().open_h, &[14.0]);
        assert!(found.all(Leg::Whole).unwrap().ended_h.is_empty());
        let october = conn.turnaround(&period("2026-10-01", "2026-10-31")).await.unwrap();
        near(&october.all(Leg::Whole).unwrap().ended_h, &[96.0]);
    }

    /// 9 of 26: 34.6 %, 19.4 to 53.8 %, worked by hand with the formula of newcombe-1998.
    async fn nights_to_be_repeated_are_shares_of_those_read(desk) {
        let spo2 = "SpO2 can be believed for 1 h 00 min, less than the 4 h this department asks.";
        let drift = "The CO2 sensor drifted by 1.2 kPa, more than the 0.67 kPa this department accepts.";
        let mut act = begin(&desk.store).await;
        let a = monitor(&mut act, 1).await;
        let study = asked(&mut act, 1, "2026-11-01", Urgency::Routine).await;
        let loan = lent(&mut act, &study, &a, [at(3, 9), at(5, 15), at(6, 9)].map(Some)).await;
        let mut first = None;
        for n in 0..26 {
            let reasons: &[&str] = match n {
                0..5 => &["The rule this question needs cannot be told.", spo2],
                5..7 => &[spo2, drift, "It cannot be told whether there was x: y."],
                _ => &["It cannot be told whether there was x: y."],
            };
            let verdict = if n < 9 { "repeat" } else { "partial" };
            let status = if n % 2 == 0 { NightStatus::Signed } else { NightStatus::Reading };
            first = first.or(Some(night(&mut act, &loan, at(6, 10), status, verdict, reasons).await.id));
        }
        for status in [NightStatus::Waiting, NightStatus::Untied, NightStatus::SetAside] {
            night(&mut act, &loan, at(6, 10), status, "repeat", &[spo2]).await;
        }
        night(&mut act, &loan, at(-2, 10), NightStatus::Signed, "repeat", &[spo2]).await;
        for status in [LoanStatus::Booked, LoanStatus::Cancelled] {
            let mut again = lent(&mut act, &study, &a, [Some(at(8, 9)), None, None]).await;
            (again.repeats_night, again.status) = (first, status);
            act.put(&mut again).await.unwrap();
        }
        act.close().await.unwrap();
        let mut conn = desk.store.read().await.unwrap();
        let found = conn.repeat_rate(&november(), "nobody").await.unwrap();
        let interval = found.repeat.interval.unwrap();
        assert_eq!((found.repeat.count, found.repeat.of, found.waiting), (9, 26, 2));
        let shares = [found.repeat.percent().unwrap(), 100.0 * interval.low, 100.0 * interval.high];
        assert_eq!(shares.map(|share| format!("{share:.1}")), ["34.6", "19.4", "53.8"]);
        let causes: Vec<(String, u64)> = found.causes.iter().map(|(cause, share)| (cause.words(), share.count)).collect();
        let expected = [("too little SpO2 believed", 7), ("CO2 sensor drifted", 2), ("rules cannot be told", 2)];
        assert_eq!(causes, expected.map(|(words, count)| (words.to_owned(), count)));
        assert_eq!((found.again.count, found.again.of), (1, 26));
    }

    async fn failures_are_counted_once_and_by_monitor(desk) {
        let mut act = begin(&desk.store).await;
        let (a, b) = (monitor(&mut act, 1).await, monitor(&mut act, 2).await);
        let study = asked(&mut act, 1, "2026-11-01", Urgency::Routine).await;
        for n in 0..10 {
            let mut loan = lent(&mut act, &study, &a, [at(3, 9), at(4 + n, 15), at(5 + n, 9)].map(Some)).await;
            night(&mut act, &loan, at(5 + n, 10), NightStatus::Signed, if n == 3 { "repeat" } else { "partial" }, &[]).await;
            if let Some(back) = loan.back.0.as_mut().filter(|_| n == 4) {
                back.missing = vec!["ear clip".to_owned()];
                act.put(&mut loan).await.unwrap();
            }
            moved(&mut act, a.id, at(5 + n, 11), (MonitorStatus::Back, MonitorStatus::ToClean), Some(loan.id)).await;
        }
        let empty = lent(&mut act, &study, &b, [at(3, 9), at(4, 15), at(5, 9)].map(Some)).await;
        moved(&mut act, b.id, at(5, 11), (MonitorStatus::Back, MonitorStatus::ToClean), Some(empty.id)).await;
        moved(&mut act, b.id, at(6, 11), (MonitorStatus::ToClean, MonitorStatus::InRepair), None).await;
        // In October: not counted.
        moved(&mut act, b.id, at(-3, 11), (MonitorStatus::Ready, MonitorStatus::Held), None).await;
        act.close().await.unwrap();
        // A check that fails holds the monitor in the same act; a second hold is one of its own.
        let mut act = begin(&desk.store).await;
        checked(&mut act, a.id, at(16, 9), Some(6.0), false).await;
        moved(&mut act, a.id, at(16, 9), (MonitorStatus::ToCheck, MonitorStatus::Held), None).await;
        act.close().await.unwrap();
        let mut act = begin(&desk.store).await;
        moved(&mut act, a.id, at(18, 9), (MonitorStatus::Ready, MonitorStatus::Held), None).await;
        act.close().await.unwrap();
        let mut conn = desk.store.read().await.unwrap();
        let found = conn.failures(&november()).await.unwrap();
        let [one, two] = &found.monitors[..] else { panic!("{found:?}") };
        assert_eq!((one.loans, one.failed_checks, one.held, one.away, one.lost), (10, 1, 1, 0, 0));
        assert_eq!((one.without_night, one.nothing_believed, one.parts_missing, one.failures()), (0, 1, 1, 4));
        assert_eq!(one.per_hundred(one.failures()), Some(40.0));
        assert_eq!((two.loans, two.away, two.without_night, two.failures()), (1, 1, 1, 1));
        assert_eq!(two.per_hundred(1), None);
        assert_eq!((found.all.loans, found.all.failures()), (11, 5));
    }

    async fn a_monitors_nights_are_what_it_did_at_ten_in_the_evening(desk) {
        use MonitorStatus::*;
        let mut act = begin(&desk.store).await;
        let (a, b) = (monitor(&mut act, 1).await, monitor(&mut act, 2).await);
        let study = asked(&mut act, 1, "2026-11-01", Urgency::Routine).await;
        let mut loan = lent(&mut act, &study, &a, [at(3, 9), at(5, 15), at(8, 9)].map(Some)).await;
        loan.due_at = at(6, 10);
        act.put(&mut loan).await.unwrap();
        for (time, before, after, of) in [
            (at(3, 8), ToClean, ToClean, None),
            (at(3, 10), ToCheck, Ready, None),
            (at(5, 15), Booked, Out, Some(loan.id)),
            (at(8, 9), Out, Back, Some(loan.id)),
            (at(8, 23), Back, ToClean, Some(loan.id)),
            (at(10, 9), ToCheck, Ready, None),
            (at(12, 9), Ready, Held, None),
            (at(15, 9), Held, Retired, None),
        ] {
            moved(&mut act, a.id, time, (before, after), of).await;
        }
        moved(&mut act, b.id, at(-60, 9), (ToCheck, Ready), None).await;
        act.close().await.unwrap();
        let mut conn = desk.store.read().await.unwrap();
        let found = conn.usage(&period("2026-10-30", "2026-11-25")).await.unwrap();
        let months: Vec<(i64, String, Usage)> =
            found.iter().map(|one| (one.monitor.id, one.month.to_string(), one.usage)).collect();
        let idle = |idle| Usage { idle, ..Usage::default() };
        // Tonight has not begun: 24 nights of November.
        assert_eq!(months, [
            (a.id, "2026-11-01".to_owned(), Usage { lent: 1, late: 2, idle: 4, preparing: 2, away: 3 }),
            (b.id, "2026-10-01".to_owned(), idle(2)),
            (b.id, "2026-11-01".to_owned(), idle(24)),
        ]);
        let all = Usage::sum(found.iter().map(|one| &one.usage));
        assert_eq!((all.nights(), all.percent()), (38, Some(100.0 / 38.0)));
    }

    async fn the_drift_of_a_monitor_is_its_checks_in_their_order(desk) {
        let mut act = begin(&desk.store).await;
        let (a, b) = (monitor(&mut act, 1).await, monitor(&mut act, 2).await);
        checked(&mut act, a.id, at(-20, 9), Some(9.0), true).await;
        for n in (0..9).rev() {
            checked(&mut act, a.id, at(2 + n, 9), Some(5.0 + 0.01 * n as f64), true).await;
        }
        checked(&mut act, a.id, at(12, 9), Some(5.5), false).await;
        checked(&mut act, a.id, at(13, 9), None, true).await;
        checked(&mut act, b.id, at(14, 9), Some(4.9), true).await;
        act.close().await.unwrap();
        let mut conn = desk.store.read().await.unwrap();
        let found = conn.drifts(&november()).await.unwrap();
        let off: Vec<f64> = found[0].checks.iter().map(store::service::GasCheck::off_kpa).collect();
        near(&off, &[0.0, 0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.07, 0.08, 0.5]);
        let chart = found[0].chart.as_ref().unwrap();
        // By hand: mean 0.086, mean moving range 0.5 / 9, limits 0.086 ± 0.1478; nine in a row below the mean.
        let (low, high) = chart.limits.unwrap();
        near(&[chart.mean, low, high], &[0.086, -0.0618, 0.2338]);
        assert_eq!(chart.outside, [9]);
        assert_eq!(chart.runs, [Run { first: 0, last: 8, above: false }]);
        assert_eq!(found[0].beyond().map(|check| check.at).collect::<Vec<_>>(), [at(12, 9)]);
        assert_eq!((found[1].checks.len(), found[1].chart.as_ref().unwrap().limits), (1, None));
        assert!(found[1].is_quiet() && !found[0].is_quiet());
        assert_eq!(conn.drift(a.id, &november()).await.unwrap(), found[0]);
        assert!(conn.drift(99, &november()).await.is_err());
    }
}
