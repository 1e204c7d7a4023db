//! Every suite within its limits.

use validation::{Errors, Figure, Limits, Suite, cases};

fn faults(suites: &[Suite]) -> Vec<String> {
    suites.iter().flat_map(Suite::faults).collect()
}

#[test]
fn units_gas_and_statistics_match_their_publications() {
    let suites = cases::physics();
    assert!(suites.len() >= 12);
    assert_eq!(faults(&suites), Vec::<String>::new());
}

#[test]
fn figures_of_the_night_match_their_publications() {
    let suites = cases::measures();
    assert!(suites.len() >= 5);
    assert_eq!(faults(&suites), Vec::<String>::new());
}

#[test]
fn rules_answer_their_boundary_cases_as_their_words_say() {
    let suites = cases::rules();
    assert!(suites.iter().map(Suite::count).sum::<usize>() >= 70);
    assert_eq!(faults(&suites), Vec::<String>::new());
}

#[test]
fn a_suite_that_compared_nothing_is_a_fault() {
    let mut suite = cases::physics().remove(0);
    suite.outcome = validation::Outcome::Answers(Vec::new());
    assert_eq!(suite.faults(), ["Kilopascal and millimetre of mercury: nothing was compared"]);
}

#[test]
fn one_loose_limit_does_not_hide_a_shift_of_all_numbers() {
    let rows: Vec<Figure> =
        (0..100).map(|i| Figure::new("x", 0.0, if i == 0 { 1.0 } else { 0.2 })).collect();
    let errors = Errors::of(&rows);
    assert_eq!((errors.q75, errors.q99, errors.max), (0.2, 0.2, 1.0));
    let loose = Limits { q75: 0.1, q99: 1.0, max: 1.0, because: "for this test" };
    assert!(!errors.within(&loose));
}

#[test]
fn a_figure_that_is_no_number_is_out_of_every_limit() {
    assert!(Figure::new("x", 1.0, f64::NAN).error().is_infinite());
}
