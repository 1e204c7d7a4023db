//! How much a figure was seen to differ from night to night, as published: the one table of it.

use crate::report::fixed;

/// What was published of the difference between two nights.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Size {
    /// Mean difference between nights and its standard deviation, in the measure's unit.
    Change {
        /// The mean.
        mean: f64,
        /// The standard deviation.
        sd: f64,
    },
    /// Mean differences of several pairs of nights, in the measure's unit.
    Means(&'static [f64]),
    /// Standard deviation from night to night as a share of the mean, %.
    Variation(f64),
}

/// One published figure of the spread from night to night.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Ids of the measures it speaks of.
    pub measures: &'static [&'static str],
    /// The numbers that a difference is held against.
    pub size: Size,
    /// The unit of those numbers as printed; empty where the measure's own serves.
    pub unit: &'static str,
    /// Whom it was seen in, and over which nights.
    pub population: &'static str,
    /// What was published, in words.
    pub says: &'static str,
    /// What is not known of it, or speaks against it.
    pub care: &'static str,
    /// Key of `docs/sources.md`.
    pub source: &'static str,
}

/// The rates that count falls of SpO2.
const FALL_RATES: &[&str] = &["spo2.odi3", "spo2.odi4", "spo2.odi3_mean120", "spo2.odi4_mean120"];

/// Everything that was found. No figure was found for transcutaneous CO2, for the pulse, and for what
/// else is not named here.
pub const SPREADS: [Spread; 4] = [
    Spread {
        measures: &["spo2.odi4", "spo2.odi4_mean120"],
        size: Size::Change { mean: 6.7, sd: 7.6 },
        unit: "/h",
        population: "900 adults, two consecutive nights",
        says: "the 4 % fall rate changed by 6.7 ± 7.6 /h, with a coefficient of variation of 27 ± 3 %; 35 % changed their class of severity",
        care: "By which rule a fall was counted is not told; the range is taken to be one standard deviation.",
        source: "erj-open-nights-2021",
    },
    Spread {
        measures: FALL_RATES,
        size: Size::Variation(31.1),
        unit: "/h",
        population: "77 people with obstructive sleep apnoea off treatment, every night for two weeks",
        says: "the fall rate of a person had a coefficient of variation of 31.1 % (standard deviation 16.5); the class of severity changed in 77.9 %",
        care: "How deep a fall had to be is not known to us. A difference of two nights spreads √2 times as wide as one night (our arithmetic, of the mean of the two nights).",
        source: "stoewhas-2017",
    },
    Spread {
        measures: &["spo2.time_below_90"],
        size: Size::Means(&[9.95, 14.05, 17.46]),
        unit: "%",
        population: "people with COPD at home, several nights",
        says: "the share of time below 90 % differed by 17.46 % on average between the first and the second night, and by 9.95 % and 14.05 % between other nights; 9 of 26 changed their label",
        care: "Another study of 128 people with COPD found two nights in excellent agreement (lacasse-2011); no number of it is known to us.",
        source: "lewis-2003",
    },
    Spread {
        measures: &["spo2.mean"],
        size: Size::Means(&[1.25, 1.26, 1.31]),
        unit: "%",
        population: "people with COPD at home, several nights",
        says: "mean SpO2 differed by 1.31, 1.26 and 1.25 % on average between pairs of nights",
        care: "",
        source: "lewis-2003",
    },
];

/// What was published of a measure; empty when nothing was found.
pub fn spreads_of(measure: &str) -> Vec<&'static Spread> {
    SPREADS.iter().filter(|spread| spread.measures.contains(&measure)).collect()
}

impl Spread {
    /// A size in the digits it was published in; one that was computed as its measure is printed.
    pub(super) fn printed(&self, size: f64) -> String {
        fixed(size, if matches!(self.size, Size::Means(_)) { 2 } else { 1 })
    }

    /// The sizes a difference is held against, smallest first, each with what it is. `mean` is that of the two
    /// nights laid beside each other.
    pub(super) fn marks(&self, mean: f64) -> Vec<(f64, &'static str)> {
        match self.size {
            Size::Change { mean, sd } => {
                vec![
                    (mean, "the mean change"),
                    (mean + sd, "the mean change and one standard deviation"),
                ]
            }
            Size::Means(means) => {
                let least = means.iter().copied().fold(f64::INFINITY, f64::min);
                let most = means.iter().copied().fold(0.0, f64::max);
                vec![
                    (least, "the smallest of the mean differences"),
                    (most, "the largest of the mean differences"),
                ]
            }
            Size::Variation(percent) => {
                let sd = percent / 100.0 * mean.abs() * std::f64::consts::SQRT_2;
                vec![(sd, "one standard deviation of a difference")]
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_claimed_of_carbon_dioxide() {
        for measure in ["tcpco2.mean", "tcpco2.sustained10", "tcpco2.rise", "pulse.mean"] {
            assert!(spreads_of(measure).is_empty(), "{measure}");
        }
        assert_eq!(spreads_of("spo2.odi4").len(), 2);
        assert_eq!(spreads_of("spo2.odi3")[0].source, "stoewhas-2017");
    }

    /// 31.1 % of 20 /h is 6.22; times the root of 2, by a hand calculator: 8.796.
    #[test]
    fn a_coefficient_of_variation_becomes_the_spread_of_a_difference() {
        let marks = SPREADS[1].marks(20.0);
        assert!((marks[0].0 - 8.796).abs() < 1e-3, "{marks:?}");
    }
}
