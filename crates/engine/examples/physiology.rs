//! Gas physiology and units as a service of lines: for comparison with independent arithmetic.
//!
//! Reads one JSON array a line, the name of a function and its numbers (`["kpa_from_mmhg", 50]`), and
//! writes the result, one a line.
#![expect(clippy::print_stdout, reason = "its output is the point")]

use std::error::Error;
use std::io::{BufRead, stdin};

use engine::gas;
use engine::gas::{Blood, Inspired};
use engine::unit;

fn main() -> Result<(), Box<dyn Error>> {
    for line in stdin().lock().lines() {
        let (name, numbers) = parse(&line?)?;
        let found =
            call(&name, &numbers).ok_or_else(|| format!("no function `{name}` of {numbers:?}"))?;
        println!("{found:?}");
    }
    Ok(())
}

fn parse(line: &str) -> Result<(String, Vec<f64>), Box<dyn Error>> {
    let values: Vec<serde_json::Value> = serde_json::from_str(line)?;
    let name = values.first().and_then(|name| name.as_str()).ok_or("no function named")?;
    let numbers = values[1..].iter().map(|x| x.as_f64().ok_or("not a number"));
    Ok((name.to_owned(), numbers.collect::<Result<_, _>>()?))
}

/// The engine's answer; `None` when no function of that name takes so many numbers.
fn call(name: &str, numbers: &[f64]) -> Option<f64> {
    Some(match (name, numbers) {
        ("kpa_from_mmhg", &[mmhg]) => unit::kpa_from_mmhg(mmhg),
        ("mmhg_from_kpa", &[kpa]) => unit::mmhg_from_kpa(kpa),
        ("saturation_from_po2", &[po2]) => gas::saturation_from_po2(po2),
        ("po2_from_saturation", &[s]) => gas::po2_from_saturation(s),
        ("po2_from_saturation_published", &[s]) => gas::po2_from_saturation_published(s),
        ("ln_po2_per_celsius", &[po2]) => gas::ln_po2_per_celsius(po2),
        ("ln_po2_per_ph", &[po2]) => gas::ln_po2_per_ph(po2),
        ("saturation_at_ph", &[po2, ph]) => gas::saturation_at_ph(po2, ph),
        ("ph_from", &[bicarbonate, pco2, solubility]) => {
            gas::ph_from(bicarbonate, pco2, solubility)
        }
        ("bicarbonate_from", &[ph, pco2, solubility]) => {
            gas::bicarbonate_from(ph, pco2, solubility)
        }
        ("standard_base_excess", &[bicarbonate, ph]) => gas::standard_base_excess(bicarbonate, ph),
        ("base_excess_zander", &[ph, pco2, haemoglobin, saturation]) => {
            gas::base_excess_zander(ph, pco2, haemoglobin, saturation)
        }
        ("tc_temperature_factor", &[celsius, exponent]) => {
            gas::tc_temperature_factor(celsius, exponent)
        }
        ("tc_temperature_factor_compound", &[celsius]) => {
            gas::tc_temperature_factor_compound(celsius)
        }
        ("tc_subtract_then_divide", &[p, metabolic, factor]) => {
            gas::tc_subtract_then_divide(p, metabolic, factor)
        }
        ("tc_divide_then_subtract", &[p, metabolic, factor]) => {
            gas::tc_divide_then_subtract(p, metabolic, factor)
        }
        _ => return call_of_more(name, numbers),
    })
}

/// The functions whose arguments travel in a struct.
fn call_of_more(name: &str, numbers: &[f64]) -> Option<f64> {
    let inspired = |oxygen, barometer_mmhg, respiratory_quotient| Inspired {
        oxygen,
        barometer_mmhg,
        respiratory_quotient,
    };
    Some(match (name, numbers) {
        ("saturation_tanh", &[po2_kpa, ph, temp_c, base_excess_mmol_per_l, dpg_mmol_per_l]) => {
            let blood = Blood { ph, temp_c, base_excess_mmol_per_l, dpg_mmol_per_l };
            gas::saturation_tanh(po2_kpa, &blood)
        }
        ("alveolar_po2", &[oxygen, barometer, quotient, paco2]) => {
            gas::alveolar_po2(&inspired(oxygen, barometer, quotient), paco2)
        }
        ("alveolar_po2_short", &[oxygen, barometer, quotient, paco2]) => {
            gas::alveolar_po2_short(&inspired(oxygen, barometer, quotient), paco2)
        }
        _ => return None,
    })
}
