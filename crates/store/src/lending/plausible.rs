//! Figures of a check that cannot be as they were typed, and the unit they would fit.

use crate::error::Refusal;
use crate::lending::monitor::CheckForm;
use crate::lending::setting::DeskSettings;

/// 1 kPa in mmHg.
const MMHG: f64 = 7.500_616_827;
/// Barometric pressure where a department checks monitors, kPa: 70 is that of about 3,000 m (common practice, no
/// source).
const PRESSURE_KPA: [f64; 2] = [70.0, 110.0];
/// A shown value this near the gas once it is turned from mmHg was typed in mmHg, kPa (common practice, no source).
const NEAR_KPA: f64 = 1.5;

/// Everything in a check that cannot be as it was typed, with the unit it would fit.
pub(crate) fn implausible(form: &CheckForm, desk: &DeskSettings) -> Vec<Refusal> {
    let [least, most] = desk.gas_range_kpa;
    let mut all = Vec::new();
    let fits = |kpa: f64| (least..=most).contains(&kpa);
    // Each with a code of its own, so that a form tells it at the field that was typed wrong.
    let refusal = |code, what: &str, value: f64, hint: String| {
        Refusal::new(code, format!("{what} {value} kPa cannot be right"), hint)
    };
    let mmhg = |value: f64| format!("was it in mmHg? {value} mmHg are {:.2} kPa", value / MMHG);
    let range = format!("a check gas gives {least} to {most} kPa; look at the figure again");
    if let Some(expected) = form.expected_kpa.filter(|kpa| !fits(*kpa)) {
        let hint = if fits(expected / MMHG) { mmhg(expected) } else { range.clone() };
        all.push(refusal("gas_implausible", "that the gas should give", expected, hint));
    }
    if let Some(observed) = form.observed_kpa {
        let gas = form
            .expected_kpa
            .map_or(observed / MMHG, |kpa| if fits(kpa) { kpa } else { kpa / MMHG });
        let typed = observed > most && (observed / MMHG - gas).abs() <= NEAR_KPA;
        // What a monitor shows may be far off: that is what a check is for. It is told as not passed.
        if typed || observed < 0.0 || observed > most * 2.0 || (form.passed && !fits(observed)) {
            let hint = if fits(observed / MMHG) { mmhg(observed) } else { range };
            all.push(refusal("shown_implausible", "that the monitor shows", observed, hint));
        }
    }
    let usual = |kpa: f64| (PRESSURE_KPA[0]..=PRESSURE_KPA[1]).contains(&kpa);
    if let Some(pressure) = form.pressure_kpa.filter(|kpa| !usual(*kpa)) {
        let as_hpa = format!("{pressure} hPa are {:.1} kPa", pressure / 10.0);
        let as_mmhg = format!("{pressure} mmHg are {:.1} kPa", pressure / MMHG);
        let hint = match (usual(pressure / 10.0), usual(pressure / MMHG)) {
            (true, true) => format!("was it in mmHg or hPa? {as_mmhg}, {as_hpa}"),
            (true, false) => format!("was it in hPa? {as_hpa}"),
            (false, true) => format!("was it in mmHg? {as_mmhg}"),
            (false, false) => "read the barometer again".to_owned(),
        };
        let says = format!("a barometric pressure of {pressure} kPa cannot be right");
        all.push(Refusal::new("pressure_implausible", says, hint));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a check with these figures is refused for.
    fn hints(expected: f64, observed: f64, pressure: Option<f64>, passed: bool) -> Vec<String> {
        let form = CheckForm {
            made: crate::words::CheckWhen::After,
            expected_kpa: Some(expected),
            observed_kpa: Some(observed),
            pressure_kpa: pressure,
            clock_ahead_s: Some(0),
            parts: Vec::new(),
            passed,
            note: String::new(),
        };
        implausible(&form, &DeskSettings::default()).into_iter().map(|one| one.hint).collect()
    }

    #[test]
    fn r011_a_check_typed_in_mmhg_is_asked_about_with_what_it_would_be() {
        let both = hints(38.0, 37.8, None, true);
        assert_eq!(
            both,
            ["was it in mmHg? 38 mmHg are 5.07 kPa", "was it in mmHg? 37.8 mmHg are 5.04 kPa"]
        );
        assert_eq!(
            hints(5.07, 37.8, None, false).len(),
            1,
            "one of the two in mmHg, said to have failed"
        );
        assert_eq!(hints(5.07, 5.1, Some(1013.0), true), ["was it in hPa? 1013 hPa are 101.3 kPa"]);
        assert_eq!(
            hints(5.07, 5.1, Some(760.0), true),
            ["was it in mmHg or hPa? 760 mmHg are 101.3 kPa, 760 hPa are 76.0 kPa"]
        );
    }

    #[test]
    fn a_figure_that_cannot_be_is_told_at_the_field_it_was_typed_into() {
        let codes = |expected, observed| -> Vec<&'static str> {
            let form = CheckForm {
                made: crate::words::CheckWhen::After,
                expected_kpa: Some(expected),
                observed_kpa: Some(observed),
                pressure_kpa: None,
                clock_ahead_s: Some(0),
                parts: Vec::new(),
                passed: true,
                note: String::new(),
            };
            let all = implausible(&form, &DeskSettings::default());
            all.into_iter().map(|one| one.code).collect()
        };
        assert_eq!(codes(5.07, 37.8), ["shown_implausible"]);
        assert_eq!(codes(38.0, 5.04), ["gas_implausible"]);
        assert_eq!(codes(38.0, 37.8), ["gas_implausible", "shown_implausible"]);
    }

    #[test]
    fn a_check_that_is_far_off_is_taken_as_what_it_is() {
        for (expected, observed) in [(5.0, 0.3), (5.0, 9.9), (5.0, 15.0), (10.0, 2.0), (5.0, 5.1)] {
            assert_eq!(
                hints(expected, observed, Some(101.3), false),
                Vec::<String>::new(),
                "{observed}"
            );
        }
        assert_eq!(hints(5.0, 5.1, Some(96.0), true), Vec::<String>::new());
    }

    #[test]
    fn a_pressure_of_no_place_where_monitors_are_checked_is_asked_about() {
        for pressure in [50.0, 69.9, 110.1] {
            assert_eq!(hints(5.0, 5.1, Some(pressure), true), ["read the barometer again"]);
        }
        for pressure in [70.0, 84.0, 101.3, 110.0] {
            assert_eq!(hints(5.0, 5.1, Some(pressure), true), Vec::<String>::new());
        }
    }
}
