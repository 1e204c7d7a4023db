//! A small fixed part of the study, within limits that fail.
//!
//! The nights are training nights (three of each sleeper), so that a failure here may be looked into and
//! mended without touching the held-out ones. A limit is the target of the study where these nights meet
//! it. Where they do not, it is what they reached, rounded to the worse side, and says so: such a limit
//! guards against getting worse and is no claim.

use std::sync::OnceLock;

use validation::study::{Options, Results, Set, gather, kept, nights, run, targets};

const SLEEPERS: usize = 19;

fn options(threads: usize, nights: usize) -> Options {
    Options { set: Set::Training, nights, without: None, threads }
}

/// The fixed part, run once.
fn fixed() -> &'static Results {
    static FIXED: OnceLock<Results> = OnceLock::new();
    FIXED.get_or_init(|| {
        let options = options(2, 3 * SLEEPERS);
        gather(&run(&options, &|_, _| ()).unwrap(), &options).unwrap()
    })
}

fn minutes(what: &str) -> f64 {
    fixed().share("minute", "all", what).unwrap().value()
}

/// The target, 0.98, of off, settling, slips and dropouts together, and of the first of them alone.
#[test]
fn minutes_that_are_wrong_are_not_believed() {
    assert_eq!(fixed().nights, 3 * SLEEPERS);
    for what in ["together", "off", "missing", "slipped"] {
        assert!(minutes(what) >= 0.98, "{what}: {}", minutes(what));
    }
    // Reached: of what is no target by itself, settling is told late at its edges, and movement is told
    // for certain only where it matters.
    for (what, least) in [("fitting", 0.95), ("motion and matters", 0.95), ("loosening", 0.85)] {
        assert!(minutes(what) >= least, "{what}: {}", minutes(what));
    }
}

/// The target, 0.98.
#[test]
fn honest_minutes_are_believed() {
    assert!(minutes("honest believed") >= 0.98, "{}", minutes("honest believed"));
}

/// The tool's own error of falls and of time below 90 % keeps the targets, 2/h and 1 point.
#[test]
fn figures_of_spo2_lie_near_those_of_the_unharmed_monitor() {
    for (id, most) in [("spo2.odi3", 2.0), ("spo2.odi4", 2.0), ("spo2.time_below_90", 1.0)] {
        let errors = fixed().errors(id, "all").unwrap().own;
        assert!(errors.q95 <= most, "{id}: {errors:?}");
    }
}

/// Reached: the target is 0.15 kPa, and the study says why it is missed.
#[test]
fn sustained_co2_lies_near_the_truth() {
    for (nights, most) in [("blood gas", 0.3), ("all", 0.4)] {
        let errors = fixed().errors("tcpco2.sustained10", nights).unwrap().found;
        assert!(errors.q95 <= most, "{nights}: {errors:?}");
    }
}

/// No answer of the fixed part contradicts what the monitor would have shown unharmed. Against the truth
/// the target is 0.001; reached is what the monitor's own rounding allows.
#[test]
fn answers_do_not_contradict_the_unharmed_monitor() {
    let all = fixed().rule("all").unwrap();
    assert!(all.contradicted.of >= 300, "{all:?}");
    assert_eq!(all.against_unharmed.hit, 0, "{all:?}");
    assert!(all.contradicted.value() <= 0.02, "{all:?}");
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let on = |threads| {
        let options = options(threads, 4);
        gather(&run(&options, &|_, _| ()).unwrap(), &options).unwrap()
    };
    assert_eq!(on(1), on(3));
}

#[test]
fn the_sets_share_no_seed() {
    let training = nights::cases(Set::Training, 19 * 999);
    let held_out = nights::cases(Set::HeldOut, 2000);
    assert!(training.iter().all(|case| (1..=nights::TRAINING_TO).contains(&case.seed)));
    assert!(held_out.iter().all(|case| case.seed >= nights::HELD_OUT_FROM));
}

/// The committed results are those of the held-out nights, and every miss says its cause.
#[test]
fn the_committed_results_are_whole() {
    let kept = kept::committed().unwrap();
    assert_eq!((kept.held_out.set.as_str(), &kept.held_out.without), ("held-out", &None));
    assert!(kept.held_out.nights >= 2000, "{} nights", kept.held_out.nights);
    assert_eq!(kept.ablations.len(), 10);
    let targets = targets::targets(&kept.held_out);
    assert!(targets.len() >= 15);
    for target in targets {
        assert!(target.met || !target.cause.is_empty(), "{}: no cause", target.what);
    }
}
