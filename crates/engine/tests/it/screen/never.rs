//! What screening never does, whatever the night.

use std::sync::Arc;

use engine::notes::Notes;
use engine::recording::{Mark, MarkKind, Quantity, Recording};
use engine::screen::{Screened, screen};
use proptest::prelude::*;

use super::{adult, believed, codes, screened};
use crate::made;

const THREE: [Quantity; 3] = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];

#[test]
fn a_night_all_missing_is_told_and_none_of_it_believed() {
    let gone = vec![f64::NAN; 3600];
    let night = screened(made::three(&gone, &gone, &gone), Notes::default());
    for quantity in THREE {
        assert_eq!(believed(&night, quantity), 0);
    }
    assert_eq!(codes(&night).iter().filter(|&&code| code == "nothing_believed").count(), 3);
}

#[test]
fn a_constant_night_is_not_believed() {
    let n = 8 * 3600;
    let night = made::three(&vec![96.0; n], &vec![60.0; n], &vec![5.5; n]);
    let night = screened(night, Notes::default());
    for quantity in THREE {
        assert_eq!(believed(&night, quantity), 0, "{quantity:?}");
    }
    let one = made::with(made::night(), Quantity::Spo2, 1.0, &vec![96.0; n]);
    assert_eq!(believed(&screened(one, Notes::default()), Quantity::Spo2), 0);
}

#[test]
fn ten_minutes_and_thirty_hours_are_judged() {
    for n in [600, 30 * 3600] {
        let night = made::three(&vec![96.0; n], &made::beats(n), &made::quiet(n, 5.5));
        let night = screened(night, Notes::default());
        assert_eq!(believed(&night, Quantity::Spo2), n);
        // Ten minutes are too few to show that CO2 is settled (`domingo-2010`).
        assert_eq!(believed(&night, Quantity::Tcpco2), if n > 600 { n } else { 0 });
    }
}

#[test]
fn a_night_without_channels_is_judged() {
    let night = screened(made::night(), Notes::default());
    assert!(night.channels.is_empty());
}

/// Any sample at all, the usual ones most often.
fn sample(usual: std::ops::Range<f64>) -> impl Strategy<Value = f64> {
    prop_oneof![
        6 => usual,
        1 => Just(f64::NAN),
        1 => Just(0.0),
        1 => prop_oneof![Just(f64::INFINITY), Just(-1e300), any::<f64>()],
    ]
}

fn marks() -> impl Strategy<Value = Vec<Mark>> {
    let time = prop_oneof![4 => -500.0..1500.0, 1 => any::<f64>()];
    let one = (0..12_usize, time.clone(), proptest::option::of(time))
        .prop_map(|(kind, start_s, end_s)| made::mark(MarkKind::ALL[kind], start_s, end_s));
    proptest::collection::vec(one, 0..8)
}

fn any_night() -> impl Strategy<Value = Recording> {
    let samples = |usual| proptest::collection::vec(sample(usual), 0..400);
    let period = prop_oneof![Just(1.0), Just(0.25), Just(60.0), Just(0.7)];
    let channels = (samples(50.0..100.0), samples(40.0..90.0), samples(0.0..9.0), period);
    channels.prop_map(|(spo2, pulse, co2, period_s)| {
        let night = made::with(made::night(), Quantity::Spo2, 1.0, &spo2);
        let night = made::with(night, Quantity::Pulse, period_s, &pulse);
        made::with(night, Quantity::Tcpco2, 1.0, &co2)
    })
}

fn unbelieved_if_missing(night: &Screened) -> bool {
    night.channels.iter().all(|judged| {
        let samples = &night.recording.channel(judged.quantity).unwrap().samples;
        judged.believed.len() == samples.len()
            && samples.iter().zip(&judged.believed).all(|(x, &b)| x.is_finite() || !b)
    })
}

/// The night moved by `by_s`, with its notes.
fn moved(mut recording: Recording, mut notes: Notes, by_s: f64) -> (Recording, Notes) {
    recording.duration_s += by_s;
    for channel in &mut recording.channels {
        channel.offset_s += by_s;
    }
    for mark in &mut notes.marks {
        mark.start_s += by_s;
        mark.end_s = mark.end_s.map(|end_s| end_s + by_s);
    }
    (recording, notes)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_night_makes_it_panic_nor_a_missing_sample_believed(
        night in any_night(), marks in marks(), from in -50.0..500.0, to in any::<f64>(),
    ) {
        let edits = vec![made::edit(Quantity::Spo2, from, to, true)];
        let notes = Notes { marks, edits, ..Notes::default() };
        prop_assert!(unbelieved_if_missing(&screen(night, notes, &adult())));
    }

    #[test]
    fn moving_the_night_moves_its_spans(
        night in any_night(), at in proptest::collection::vec(-400..1500_i32, 0..4), by in 1..5000_u16,
    ) {
        let refit = |&s: &i32| made::mark(MarkKind::Refitted, f64::from(s), None);
        let notes = made::diary(at.iter().map(refit).collect());
        let here = screen(night.clone(), notes.clone(), &adult());
        let (night, notes) = moved(night, notes, f64::from(by));
        let there = screen(night, notes, &adult());
        for (here, there) in here.channels.iter().zip(&there.channels) {
            prop_assert_eq!(&here.believed, &there.believed);
            prop_assert_eq!(here.spans.len(), there.spans.len());
            for (a, b) in here.spans.iter().zip(&there.spans) {
                prop_assert_eq!(a.reason, b.reason);
                let shift_s = b.stretch.start_s - a.stretch.start_s;
                prop_assert!((shift_s - f64::from(by)).abs() < 1e-6);
            }
        }
    }

    /// On a quiet night, where belief rests on no comparison with a sample that goes missing.
    #[test]
    fn losing_samples_never_raises_belief(lost in proptest::collection::vec(0..3000_usize, 0..200)) {
        let whole = made::three(&vec![96.0; 3000], &made::beats(3000), &made::quiet(3000, 5.5));
        let mut holed = whole.clone();
        for &i in &lost {
            let channel = &mut holed.channels[i % 3];
            let end = (i + i % 40).min(3000);
            Arc::make_mut(&mut channel.samples)[i..end].fill(f64::NAN);
        }
        let before = screen(whole, Notes::default(), &adult());
        let after = screen(holed, Notes::default(), &adult());
        for (before, after) in before.channels.iter().zip(&after.channels) {
            let raised = before.believed.iter().zip(&after.believed).any(|(&b, &a)| a && !b);
            prop_assert!(!raised, "{:?}", before.quantity);
        }
    }
}
