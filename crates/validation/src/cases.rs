//! One file for each publication.

use crate::Suite;

mod alveolar_gas;
mod bauman_2013;
mod belgian_support_text;
mod berlowitz_2011;
mod berry_2012;
mod bland_altman_1986;
mod bradley_1956;
mod cornell_acid_base;
mod fall_slopes;
mod griffon_2020;
mod jabfm_definitions;
mod kappa_example;
mod kleene_1952;
mod lewis_2003;
mod newcombe_1998;
mod nist_sp811;
mod olson_1999;
mod severinghaus_1979;
mod siggaard_andersen_1984;
mod stoewhas_2017;
mod trucco_2018;

/// Every suite, in the order of the document: units, gas, statistics, measures, rules.
///
/// A study over many made nights adds its suite here; it may take its nights from the simulator, which
/// this crate may use and the engine may not.
pub fn all() -> Vec<Suite> {
    let mut suites = physics();
    suites.extend(measures());
    suites.extend(rules());
    suites
}

/// Units, gas physiology and statistics: quick.
pub fn physics() -> Vec<Suite> {
    vec![
        nist_sp811::suite(),
        severinghaus_1979::curve(),
        severinghaus_1979::inverse(),
        severinghaus_1979::factors(),
        siggaard_andersen_1984::suite(),
        cornell_acid_base::suite(),
        bradley_1956::factors(),
        bradley_1956::order(),
        alveolar_gas::suite(),
        bland_altman_1986::suite(),
        kappa_example::suite(),
        newcombe_1998::suite(),
    ]
}

/// Figures of the night.
pub fn measures() -> Vec<Suite> {
    vec![
        olson_1999::delta(),
        olson_1999::time_below(),
        jabfm_definitions::suite(),
        berlowitz_2011::suite(),
        fall_slopes::suite(),
    ]
}

/// Rules at their boundaries, and their logic.
pub fn rules() -> Vec<Suite> {
    vec![
        berry_2012::suite(),
        bauman_2013::suite(),
        bauman_2013::three_answers(),
        trucco_2018::suite(),
        griffon_2020::suite(),
        lewis_2003::suite(),
        belgian_support_text::suite(),
        stoewhas_2017::suite(),
        kleene_1952::suite(),
    ]
}
