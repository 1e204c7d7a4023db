//! What the report may not hide.

use engine::notes::BloodGas;
use engine::print::{Heading, html};
use engine::recording::Quantity;
use engine::report::report;
use engine::unit::kpa_from_mmhg;
use validation::made::{AWAKE_S, Curve, Night, every_rule};

/// A blood gas 6 mmHg under the sensor shifts the whole curve, and both curves are in the report.
#[test]
fn raw_and_corrected_co2_are_both_in_the_report() {
    let mut night = Night::of_co2(Curve::awake(48.0).until(48.0, 6 * 3600));
    night.notes.blood_gases =
        vec![BloodGas { at_s: AWAKE_S as f64, pco2_kpa: kpa_from_mmhg(42.0) }];
    let criteria = every_rule("").unwrap();
    let report = report(&night.judge(&criteria), &criteria);
    let lane = report.picture.lanes.iter().find(|l| l.quantity == Quantity::Tcpco2).unwrap();
    let middle = lane.believed.len() / 2;
    let (raw, corrected) = (lane.raw[middle].unwrap().max, lane.believed[middle].unwrap().max);
    assert!((raw - kpa_from_mmhg(48.0)).abs() < 1e-6, "raw {raw}");
    assert!((corrected - kpa_from_mmhg(42.0)).abs() < 0.01, "corrected {corrected}");
    let page = html(&report, &Heading::default());
    assert!(page.contains("as recorded") && page.contains("corrected"), "neither curve is named");
}
