//! Movement, a slipped clip, low perfusion and frozen values of the oximeter, each both ways: found, and
//! a look-alike of the patient's own kept.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use engine::criteria::shipped;
use engine::notes::Notes;
use engine::recording::{Quantity, Recording};
use engine::screen::{Reason, Screened, screen};
use proptest::prelude::*;

use crate::made;

/// An hour.
const N: usize = 3600;

fn judged(set: &str, night: Recording) -> Screened {
    screen(night, Notes::default(), &shipped(set).unwrap())
}

fn oximetry(spo2: &[f64], pulse: &[f64]) -> Recording {
    let night = made::with(made::night(), Quantity::Spo2, 1.0, spo2);
    made::with(night, Quantity::Pulse, 1.0, pulse)
}

fn with_perfusion(night: Recording, perfusion: &[f64]) -> Recording {
    made::with(night, Quantity::Perfusion, 1.0, perfusion)
}

/// A calm pulse: it swings by 3 /min over 40 s, in whole numbers as a monitor shows it.
fn calm(count: usize) -> Vec<f64> {
    let swing = |i: usize| libm::sin(i as f64 * core::f64::consts::TAU / 40.0);
    (0..count).map(|i| (64.0 + 3.0 * swing(i)).round()).collect()
}

/// A calm perfusion of 2 %, with a last digit that moves.
fn even(count: usize) -> Vec<f64> {
    (0..count).map(|i| 2.0 + 0.1 * (i % 3) as f64).collect()
}

/// The line from one level to another, the last sample being the other level.
fn slope(x: &mut [f64], from: f64, to: f64) {
    let count = x.len() as f64;
    for (i, x) in x.iter_mut().enumerate() {
        *x = (from + (to - from) * (i + 1) as f64 / count).round();
    }
}

/// 96 % with a brief fall from 1000 s on: down by 8 % in 5 s and back in 6 s.
fn dip() -> Vec<f64> {
    let mut spo2 = vec![96.0; N];
    slope(&mut spo2[1000..1005], 96.0, 88.0);
    slope(&mut spo2[1005..1011], 88.0, 96.0);
    spo2
}

/// Adds a rise over so many seconds and a fall over as many.
fn excursion(x: &mut [f64], from: usize, seconds: usize, by: f64) {
    for k in 0..seconds {
        let part = by * (k + 1) as f64 / seconds as f64;
        x[from + k] = (x[from + k] + part).round();
        x[from + 2 * seconds - 1 - k] = (x[from + 2 * seconds - 1 - k] + part).round();
    }
}

fn doubted(night: &Screened, quantity: Quantity) -> Vec<usize> {
    let believed = &night.channel(quantity).unwrap().believed;
    (0..believed.len()).filter(|&i| !believed[i]).collect()
}

fn found(night: &Screened, quantity: Quantity, reason: Reason) -> Vec<(f64, f64)> {
    let spans = night.channel(quantity).unwrap().spans.iter();
    let spans = spans.filter(|span| span.reason == reason);
    spans.map(|span| (span.stretch.start_s, span.stretch.end_s)).collect()
}

fn all_believed(night: &Screened) -> bool {
    night.channels.iter().all(|channel| channel.believed.iter().all(|&b| b))
}

// -- Movement ----------------------------------------------------------------------------------------

#[test]
fn a_brief_fall_beside_a_pulse_that_leaves_with_it_is_movement() {
    let mut pulse = calm(N);
    excursion(&mut pulse, 998, 6, 24.0);
    let night = judged("adult-air", oximetry(&dip(), &pulse));
    for quantity in [Quantity::Spo2, Quantity::Pulse] {
        let spans = found(&night, quantity, Reason::Motion);
        assert_eq!(spans.len(), 1, "{spans:?}");
        let (start_s, end_s) = spans[0];
        assert!(
            (994.0..=1000.0).contains(&start_s) && (1010.0..=1016.0).contains(&end_s),
            "{spans:?}"
        );
    }
}

/// No sign of the sensor, so it stays: the shape alone never condemns a fall.
#[test]
fn the_same_fall_beside_a_calm_pulse_is_kept() {
    assert!(all_believed(&judged("adult-air", oximetry(&dip(), &calm(N)))));
}

/// A mean true fall in adults: 20 s at 0.26 %/s, back within 12 s at 0.44 %/s (`fall-slopes-abstract`);
/// the pulse rises by 10 with the arousal (`pitson-1994`), and the ear pales smoothly.
#[test]
fn true_falls_with_arousals_are_kept() {
    for (depth, down_s, up_s) in [(5.0, 20, 12), (10.0, 38, 17), (30.0, 60, 20)] {
        let (mut spo2, mut pulse, mut perfusion) = (vec![96.0; N], calm(N), even(N));
        for start in (500..3000).step_by(150) {
            let nadir = start + down_s;
            slope(&mut spo2[start..nadir], 96.0, 96.0 - depth);
            slope(&mut spo2[nadir..nadir + up_s], 96.0 - depth, 96.0);
            excursion(&mut pulse, nadir - 3, 8, 12.0);
            for k in 0..30 {
                perfusion[nadir - 3 + k] *= 1.0 - 0.02 * (k.min(30 - k)) as f64;
            }
        }
        let night = with_perfusion(oximetry(&spo2, &pulse), &perfusion);
        assert!(all_believed(&judged("adult-air", night)), "{depth}");
    }
}

#[test]
fn a_perfusion_that_jumps_is_movement_without_any_fall() {
    let mut perfusion = even(N);
    for (k, x) in perfusion[1000..1030].iter_mut().enumerate() {
        *x *= if k % 2 == 0 { 0.6 } else { 1.5 };
    }
    let night = with_perfusion(oximetry(&vec![96.0; N], &calm(N)), &perfusion);
    let night = judged("adult-air", night);
    for quantity in [Quantity::Spo2, Quantity::Pulse] {
        let spans = found(&night, quantity, Reason::Motion);
        assert_eq!(spans.len(), 1, "{spans:?}");
        assert!(spans[0].0 <= 1000.0 && spans[0].1 >= 1030.0, "{spans:?}");
        assert!(doubted(&night, quantity).len() < 50);
    }
}

/// The ear pales over 6 s on arousal and takes half a minute to colour again.
#[test]
fn a_perfusion_that_slides_is_not() {
    let mut perfusion = even(N);
    for k in 0..36 {
        let share = if k < 6 { 1.0 - 0.1 * k as f64 } else { 0.4 + 0.02 * (k - 6) as f64 };
        perfusion[1000 + k] *= share;
    }
    let night = with_perfusion(oximetry(&vec![96.0; N], &calm(N)), &perfusion);
    assert!(all_believed(&judged("adult-air", night)));
}

/// An irregular heart is as rough all night; so is its pulse during a true fall.
#[test]
fn an_irregular_heart_is_no_movement() {
    let pulse: Vec<f64> = (0..N).map(|i| 70.0 + ((i * i * 7) % 13) as f64).collect();
    let mut spo2 = vec![96.0; N];
    slope(&mut spo2[1000..1020], 96.0, 90.0);
    slope(&mut spo2[1020..1032], 90.0, 96.0);
    assert!(all_believed(&judged("adult-air", oximetry(&spo2, &pulse))));
}

// -- Age ---------------------------------------------------------------------------------------------

/// The preterm fall 3 to 8 % a second (`infant-falls`), and recovery is twice as fast.
#[test]
fn an_infants_fast_falls_are_kept() {
    for rate in [3.0, 5.0, 8.0] {
        let (mut spo2, mut pulse) = (vec![97.0; N], calm(N));
        for pulse in &mut pulse {
            *pulse += 60.0;
        }
        for start in (500..3000).step_by(100) {
            for k in 0..4 {
                spo2[start + k] = 97.0 - rate * (k + 1) as f64;
            }
            spo2[start + 4] = 97.0 - rate * 2.0;
            excursion(&mut pulse, start + 3, 6, 10.0);
        }
        let night = oximetry(&spo2, &pulse);
        let kept = judged("infant", night.clone());
        assert!(all_believed(&kept), "{rate} {:?}", kept.channels[0].spans.first());
        assert!(!all_believed(&judged("adult-air", night)), "{rate}");
    }
}

/// A child's held breath may last 6 s.
#[test]
fn a_childs_short_fall_is_kept() {
    let (mut spo2, mut pulse) = (vec![98.0; N], calm(N));
    slope(&mut spo2[1000..1007], 98.0, 92.0);
    slope(&mut spo2[1007..1012], 92.0, 98.0);
    excursion(&mut pulse, 1005, 5, 14.0);
    assert!(all_believed(&judged("child", oximetry(&spo2, &pulse))));
}

// -- A slipped clip ----------------------------------------------------------------------------------

/// A pulse that leaps about.
fn rough(pulse: &mut [f64]) {
    for (k, pulse) in pulse.iter_mut().enumerate() {
        *pulse += ((k * k * 5) % 11) as f64 - 5.0;
    }
}

/// At 1000 s SpO2 drops within 3 s to 79, leaps to 84 and 76, drops out now and then, and is back at
/// once at 1600 s.
fn slipped() -> (Vec<f64>, Vec<f64>) {
    let (mut spo2, mut pulse) = (vec![96.0; N], calm(N));
    spo2[1000..1600].fill(79.0);
    spo2[1200..1300].fill(84.0);
    spo2[1400..1500].fill(76.0);
    (spo2[1000], spo2[1001]) = (90.0, 85.0);
    rough(&mut pulse[1000..1600]);
    for at in [1050, 1130, 1290, 1320, 1510] {
        spo2[at..at + 12].fill(f64::NAN);
        pulse[at..at + 12].fill(f64::NAN);
    }
    (spo2, pulse)
}

/// Ten minutes at or below 88 %, believed, would answer the rules of sustained low SpO2 wrongly.
#[test]
fn a_slip_with_dropouts_is_disbelieved_as_a_whole() {
    let (spo2, pulse) = slipped();
    let night = judged("adult-air", oximetry(&spo2, &pulse));
    for quantity in [Quantity::Spo2, Quantity::Pulse] {
        let spans = found(&night, quantity, Reason::Step);
        assert!(spans.iter().any(|span| (span.0 - 1000.0).abs() < 0.5), "{spans:?}");
        // The 8 s after it are those over which a monitor may average.
        let doubted = doubted(&night, quantity);
        assert_eq!(doubted.len(), 608);
        assert_eq!((doubted.first(), doubted.last()), (Some(&1000), Some(&1607)));
    }
}

#[test]
fn a_slip_without_dropouts_is_known_by_pulse_or_perfusion() {
    let mut spo2 = vec![96.0; N];
    spo2[1000..1600].fill(79.0);
    (spo2[1000], spo2[1001]) = (90.0, 85.0);
    let mut pulse = calm(N);
    rough(&mut pulse[1000..1600]);
    let by_pulse = judged("adult-air", oximetry(&spo2, &pulse));
    let mut perfusion = even(N);
    perfusion[1000..1600].iter_mut().for_each(|x| *x *= 0.25);
    let by_perfusion = judged("adult-air", with_perfusion(oximetry(&spo2, &calm(N)), &perfusion));
    for night in [by_pulse, by_perfusion] {
        let doubted = doubted(&night, Quantity::Spo2);
        assert!((1000..1600).all(|i| doubted.binary_search(&i).is_ok()), "{doubted:?}");
    }
}

/// SpO2 slides to 84 % in 45 s and stays for 10 min, as in REM sleep; one dropout on the way.
#[test]
fn a_long_true_fall_with_a_dropout_is_kept() {
    let (mut spo2, mut pulse) = (vec![95.0; N], calm(N));
    slope(&mut spo2[1000..1045], 95.0, 84.0);
    spo2[1045..1645].fill(84.0);
    slope(&mut spo2[1645..1670], 84.0, 95.0);
    spo2[1300..1312].fill(f64::NAN);
    pulse[1300..1312].fill(f64::NAN);
    let night = judged("adult-air", oximetry(&spo2, &pulse));
    assert_eq!(doubted(&night, Quantity::Spo2), (1300..1312).collect::<Vec<_>>());
}

/// Steeper than is usual in adults, but neither pulse nor perfusion says that it is the sensor's.
#[test]
fn a_steep_fall_to_a_level_that_stays_is_kept_beside_a_calm_pulse() {
    let mut spo2 = vec![95.0; N];
    slope(&mut spo2[1000..1006], 95.0, 85.0);
    spo2[1006..1500].fill(85.0);
    slope(&mut spo2[1500..1520], 85.0, 95.0);
    let night = with_perfusion(oximetry(&spo2, &calm(N)), &even(N));
    assert!(all_believed(&judged("adult-air", night)));
}

/// The clip slips for a minute while SpO2 truly falls; afterwards the low level is the patient's own.
#[test]
fn a_slip_ends_with_its_last_sign() {
    let (mut spo2, mut pulse) = (vec![95.0; N], calm(N));
    spo2[1000..2500].fill(86.0);
    (spo2[1000], spo2[1001]) = (92.0, 89.0);
    slope(&mut spo2[2500..2525], 86.0, 95.0);
    rough(&mut pulse[1000..1060]);
    spo2[1030..1040].fill(f64::NAN);
    let night = judged("adult-air", oximetry(&spo2, &pulse));
    let doubted = doubted(&night, Quantity::Spo2);
    assert!(doubted.contains(&1000) && doubted.contains(&1059), "{doubted:?}");
    assert!(doubted.iter().all(|&i| (1000..1080).contains(&i)), "{doubted:?}");
}

// -- Low perfusion -----------------------------------------------------------------------------------

#[test]
fn a_few_seconds_between_two_dropouts_are_not_believed_but_ten_are() {
    let mut spo2 = vec![96.0; N];
    spo2[1000..1020].fill(f64::NAN);
    spo2[1029..1040].fill(f64::NAN);
    spo2[1050..1060].fill(f64::NAN);
    let night = judged("adult-air", oximetry(&spo2, &calm(N)));
    assert_eq!(found(&night, Quantity::Spo2, Reason::LowPerfusion), [(1020.0, 1029.0)]);
}

#[test]
fn dropouts_that_recur_beside_a_rough_pulse_are_low_perfusion() {
    let (mut spo2, mut pulse) = (vec![96.0; N], calm(N));
    for at in [1000, 1070, 1140] {
        spo2[at..at + 15].fill(f64::NAN);
        pulse[at..at + 15].fill(f64::NAN);
    }
    let calm_pulse = judged("adult-air", oximetry(&spo2, &pulse));
    assert_eq!(doubted(&calm_pulse, Quantity::Spo2).len(), 45);
    rough(&mut pulse[1000..1160]);
    let rough_pulse = judged("adult-air", oximetry(&spo2, &pulse));
    assert_eq!(doubted(&rough_pulse, Quantity::Spo2), (1000..1163).collect::<Vec<_>>());
}

#[test]
fn noise_on_spo2_and_pulse_together_is_low_perfusion() {
    let (mut spo2, mut pulse) = (vec![96.0; N], calm(N));
    let rough_pulse_alone = {
        rough(&mut pulse[1000..1600]);
        judged("adult-air", oximetry(&spo2, &pulse))
    };
    assert!(all_believed(&rough_pulse_alone));
    for (k, x) in spo2[1000..1600].iter_mut().enumerate() {
        *x -= ((k / 2 * 7) % 3) as f64;
    }
    let night = judged("adult-air", oximetry(&spo2, &pulse));
    let spans = found(&night, Quantity::Spo2, Reason::LowPerfusion);
    assert_eq!(spans.len(), 1, "{spans:?}");
    assert!(
        (990.0..1040.0).contains(&spans[0].0) && (1560.0..1610.0).contains(&spans[0].1),
        "{spans:?}"
    );
    assert!(all_believed(&judged("adult-air", oximetry(&spo2, &calm(N)))), "noise of SpO2 alone");
}

// -- Frozen ------------------------------------------------------------------------------------------

/// A pacemaker holds the pulse for half an hour on end; SpO2 stands for minutes at a time.
#[test]
fn a_paced_night_in_quiet_sleep_is_kept() {
    let n = 8 * N;
    let spo2: Vec<f64> = (0..n).map(|i| if i % 1700 < 900 { 96.0 } else { 95.0 }).collect();
    let mut pulse = vec![60.0; n];
    pulse.iter_mut().step_by(1900).for_each(|pulse| *pulse = 61.0);
    assert!(all_believed(&judged("adult-air", oximetry(&spo2, &pulse))));
}

#[test]
fn a_perfusion_that_moves_on_clears_what_looks_frozen() {
    let mut pulse = calm(N);
    pulse[1000..1300].fill(64.0);
    let night = oximetry(&vec![96.0; N], &pulse);
    let moving = judged("adult-air", with_perfusion(night.clone(), &even(N)));
    assert!(all_believed(&moving));
    let mut perfusion = even(N);
    perfusion[1000..1300].fill(2.0);
    let frozen = judged("adult-air", with_perfusion(night, &perfusion));
    let spans = found(&frozen, Quantity::Spo2, Reason::Stuck);
    assert_eq!(spans.len(), 1);
    assert!((spans[0].1 - 1300.0).abs() < 4.0, "{spans:?}");
}

// -- Always ------------------------------------------------------------------------------------------

#[test]
fn samples_too_far_apart_show_no_signs() {
    let mut spo2 = dip();
    spo2.truncate(1200);
    let mut pulse = calm(1200);
    excursion(&mut pulse, 998, 6, 24.0);
    let night = made::with(made::night(), Quantity::Spo2, 10.0, &spo2);
    let night = made::with(night, Quantity::Pulse, 10.0, &pulse);
    assert!(all_believed(&judged("adult-air", night)));
}

fn samples(usual: std::ops::Range<f64>) -> impl Strategy<Value = Vec<f64>> {
    let one = prop_oneof![
        8 => usual.prop_map(f64::round),
        1 => Just(f64::NAN),
        1 => Just(0.0),
        1 => any::<f64>(),
    ];
    proptest::collection::vec(one, 0..600)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_night_makes_it_panic(
        spo2 in samples(70.0..100.0), pulse in samples(30.0..120.0), perfusion in samples(0.0..3.0),
        period_s in prop_oneof![Just(1.0), Just(0.05), Just(4.0), Just(3.3), Just(900.0)],
        others_s in prop_oneof![Just(1.0), Just(0.4), Just(30.0)],
    ) {
        let night = made::with(made::night(), Quantity::Spo2, period_s, &spo2);
        let night = made::with(night, Quantity::Pulse, others_s, &pulse);
        let night = made::with(night, Quantity::Perfusion, others_s, &perfusion);
        for set in ["adult-air", "infant"] {
            for judged in &judged(set, night.clone()).channels {
                let samples = &night.channel(judged.quantity).unwrap().samples;
                prop_assert_eq!(samples.len(), judged.believed.len());
                prop_assert!(samples.iter().zip(&judged.believed).all(|(x, &b)| x.is_finite() || !b));
            }
        }
    }
}
