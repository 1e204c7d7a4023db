//! One sample a minute: rules go by time, and few samples prove nothing.

use engine::notes::Notes;
use engine::recording::Quantity;
use engine::screen::Reason;

use super::{believed, screened, spans};
use crate::made;

/// Eight hours with one sample a minute; values repeat often, as whole numbers do.
fn minutes(spo2: &[f64], co2: &[f64]) -> engine::recording::Recording {
    let pulse: Vec<f64> = (0..spo2.len()).map(|i| 60.0 + (i / 4 % 5) as f64).collect();
    let night = made::with(made::night(), Quantity::Spo2, 60.0, spo2);
    let night = made::with(night, Quantity::Pulse, 60.0, &pulse);
    made::with(night, Quantity::Tcpco2, 60.0, co2)
}

#[test]
fn a_fall_from_one_minute_to_the_next_is_no_step() {
    let mut spo2 = vec![95.0; 480];
    (spo2[100], spo2[101], spo2[200]) = (80.0, 68.0, 55.0);
    let night = screened(minutes(&spo2, &made::quiet(480, 5.5)), Notes::default());
    assert_eq!(believed(&night, Quantity::Spo2), 480);
    assert_eq!(believed(&night, Quantity::Pulse), 480);
}

/// 5.5 (1 - exp(-t / 1.5 min)) lies within 0.1 kPa of its level from 1.5 ln 55 = 6 min on, so the
/// least time decides.
#[test]
fn settling_is_found_from_few_samples() {
    let climb = |i: usize| 5.5 * (1.0 - libm::exp(-(i as f64) / 1.5));
    let co2: Vec<f64> = (0..480).map(|i| climb(i) + 0.01 * (i % 3) as f64).collect();
    let night = screened(minutes(&[95.0; 480], &co2), Notes::default());
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Settling), [(0.0, 900.0)]);
}

/// Sixty seconds are long, but one sample is few.
#[test]
fn a_lost_sample_needs_no_new_settling() {
    let mut co2 = made::quiet(480, 5.5);
    co2[100] = f64::NAN;
    let night = screened(minutes(&[95.0; 480], &co2), Notes::default());
    assert_eq!(believed(&night, Quantity::Tcpco2), 479);
}

#[test]
fn co2_jumping_within_one_minute_is_a_step() {
    let mut co2 = made::quiet(480, 5.5);
    co2[100] = 8.0;
    let night = screened(minutes(&[95.0; 480], &co2), Notes::default());
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Step), [(6000.0, 6060.0)]);
}
