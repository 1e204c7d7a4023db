//! Units of columns: known, or refused; and whether the numbers fit them.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::ReadError;
use crate::read::oxygen;
use crate::read::text::rows::Series;
use crate::read::text::words;
use crate::recording::Quantity;
use crate::unit::{self, Unit};

/// Between these a CO2 can be a person's in kPa; from the second to the third, in mmHg. The two do not
/// overlap, so the numbers show which was meant (common practice, no source).
const CO2_KPA_LEAST: f64 = 2.0;
const CO2_SPLIT: f64 = 15.0;
const CO2_MMHG_MOST: f64 = 110.0;

/// Settles a channel's unit, and turns CO2 to kPa; the finding tells a unit that was taken unwritten.
pub(super) fn settle(series: &mut Series) -> Result<(Unit, Option<Finding>), ReadError> {
    let written = series.plan.unit.clone();
    match series.plan.quantity {
        Quantity::Spo2 => percent(series, &written),
        Quantity::Pulse => usual(series, &written, Unit::PerMinute, "/min, bpm or 1/min"),
        Quantity::Tcpco2 => co2(series, &written).map(|unit| {
            let open = !series.plan.mapped && words::co2_or_oxygen(&series.plan.label);
            let told = open.then(|| oxygen::told(&series.plan.label, &series.values)).flatten();
            if told.as_ref().is_some_and(|told| !told.taken) {
                series.plan.quantity = Quantity::Other;
            }
            (unit, told.map(|told| told.finding))
        }),
        _ => Ok((kept(series, written), None)),
    }
}

fn percent(series: &Series, written: &str) -> Result<(Unit, Option<Finding>), ReadError> {
    let numbers = || series.values.iter().filter(|v| !v.is_nan());
    let fraction = ["1", "fraction", "ratio", "fr"].contains(&written.to_lowercase().as_str());
    let small = series.tally.numbers > 0 && numbers().all(|v| *v <= 1.0);
    if fraction || small {
        return Err(ReadError::refused(format!(
            "`{}` holds saturation as a fraction: expected %",
            series.plan.label
        ))
        .hint("export it in %, or multiply the column by 100"));
    }
    usual(series, written, Unit::Percent, "%")
}

/// A unit that is the only one in use: its lack is told, another is refused.
fn usual(
    series: &Series,
    written: &str,
    expected: Unit,
    known: &str,
) -> Result<(Unit, Option<Finding>), ReadError> {
    if written.is_empty() {
        let sentence = format!(
            "No unit is written for `{}`; it was read as {}.",
            series.plan.label,
            expected.symbol()
        );
        let finding = Finding::new("unit_assumed", Weight::Note, sentence);
        return Ok((expected, Some(finding.on(series.plan.quantity.id()))));
    }
    if series.unit.as_ref() != Some(&expected) {
        return Err(unknown(series, written, known));
    }
    Ok((expected, None))
}

fn unknown(series: &Series, written: &str, known: &str) -> ReadError {
    ReadError::refused(format!(
        "unit `{written}` of `{}` is not known for {}: expected {known}",
        series.plan.label,
        series.plan.quantity.name()
    ))
    .hint("if the header is wrong, a column map can name the unit")
}

fn co2(series: &mut Series, written: &str) -> Result<Unit, ReadError> {
    let looks = looks_like(&series.values);
    let label = &series.plan.label;
    if written.is_empty() && series.tally.numbers > 0 {
        let hint = looks.as_ref().map_or_else(
            || "name the unit in a column map: kPa or mmHg".to_owned(),
            |unit| {
                format!(
                    "its numbers look like {0}; if that is right, put unit = \"{0}\" in a column map",
                    unit.symbol()
                )
            },
        );
        return Err(
            ReadError::refused(format!("`{label}` has no unit: expected kPa or mmHg")).hint(hint)
        );
    }
    let unit = match &series.unit {
        Some(unit @ (Unit::Kilopascal | Unit::MillimetreOfMercury)) => unit.clone(),
        None if written.is_empty() => Unit::Kilopascal,
        _ => return Err(unknown(series, written, "kPa, mmHg, mm[Hg] or torr")),
    };
    if let Some(looks) = looks.filter(|looks| *looks != unit) {
        return Err(ReadError::refused(format!(
            "`{label}` is labelled {}, but its numbers are those of {}",
            unit.symbol(),
            looks.symbol()
        ))
        .hint("find out which is right; a column map can name the unit"));
    }
    if unit == Unit::MillimetreOfMercury {
        series.values.iter_mut().for_each(|v| *v = unit::kpa_from_mmhg(*v));
    }
    Ok(Unit::Kilopascal)
}

/// The unit that most CO2 numbers a person can have would be in; `None` when there are none.
pub(super) fn looks_like(values: &[f64]) -> Option<Unit> {
    let count = |from, to| values.iter().filter(|v| (from..to).contains(*v)).count();
    let kpa = count(CO2_KPA_LEAST, CO2_SPLIT);
    let mmhg = count(CO2_SPLIT, CO2_MMHG_MOST);
    (kpa + mmhg > 0).then_some(if kpa >= mmhg {
        Unit::Kilopascal
    } else {
        Unit::MillimetreOfMercury
    })
}

/// The unit of a channel that is not scored; one that does not fit its quantity makes it `other`.
fn kept(series: &mut Series, written: String) -> Unit {
    let usual = match series.plan.quantity {
        Quantity::Perfusion => Some(Unit::Percent),
        Quantity::Heater => Some(Unit::Milliwatt),
        Quantity::SensorTemp => Some(Unit::Celsius),
        _ => None,
    };
    let unit = series.unit.clone().unwrap_or(Unit::Other(written));
    match usual {
        Some(usual) if series.plan.unit.is_empty() => usual,
        Some(usual) if usual != unit => {
            series.plan.quantity = Quantity::Other;
            unit
        }
        _ => unit,
    }
}
