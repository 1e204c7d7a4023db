//! Statistics on demand, for checks from outside: one JSON question a line in, one JSON answer a line
//! out, `null` where a statistic does not exist.
//!
//! ```text
//! {"op": "percentile", "data": [90, 92, 95, 96], "percent": 10}   ▶   90.6
//! ```

use std::error::Error;
use std::io::{self, BufRead, Write};

use engine::stats;
use serde::Deserialize;
use serde_json::{Value, json};

#[derive(Deserialize)]
#[serde(tag = "op", rename_all = "snake_case", deny_unknown_fields)]
enum Question {
    Sum { data: Vec<f64> },
    Mean { data: Vec<f64> },
    Sd { data: Vec<f64> },
    Percentile { data: Vec<f64>, percent: f64 },
    TQuantile { share: f64, freedom: f64 },
    Wilson { successes: u64, count: u64, z: f64 },
    BlandAltman { data: Vec<f64>, sds: f64 },
    Repeatability { data: Vec<f64> },
    Kappa { table: Vec<Vec<u64>>, weights: String },
    LightKappa { readers: Vec<Vec<usize>>, classes: usize },
}

fn answer(question: Question) -> Result<Value, String> {
    Ok(match question {
        Question::Sum { data } => json!(stats::sum(data)),
        Question::Mean { data } => json!(stats::mean(&data)),
        Question::Sd { data } => json!(stats::sd(&data)),
        Question::Percentile { mut data, percent } => {
            data.sort_unstable_by(f64::total_cmp);
            json!(stats::percentile(&data, percent))
        }
        Question::TQuantile { share, freedom } => json!(stats::t_quantile(share, freedom)),
        Question::Wilson { successes, count, z } => {
            json!(stats::wilson(successes, count, z).map(|found| [found.low, found.high]))
        }
        Question::BlandAltman { data, sds } => {
            json!(stats::bland_altman(&data, sds).map(|found| {
                [found.mean, found.sd, found.limits.low, found.limits.high, found.mean_se]
                    .into_iter()
                    .chain([found.mean_ci.low, found.mean_ci.high])
                    .collect::<Vec<f64>>()
            }))
        }
        Question::Repeatability { data } => json!(stats::repeatability(&data)),
        Question::Kappa { table, weights } => {
            let found = stats::kappa(&table, parse_weights(&weights)?);
            json!(found.map(|found| [found.kappa, found.se, found.se0, found.z]))
        }
        Question::LightKappa { readers, classes } => {
            json!(stats::light_kappa(&readers, classes, stats::Weights::None))
        }
    })
}

fn parse_weights(name: &str) -> Result<stats::Weights, String> {
    match name {
        "none" => Ok(stats::Weights::None),
        "linear" => Ok(stats::Weights::Linear),
        "quadratic" => Ok(stats::Weights::Quadratic),
        _ => Err(format!("weights `{name}` are not known: none, linear or quadratic")),
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut out = io::stdout().lock();
    for line in io::stdin().lock().lines() {
        let question = serde_json::from_str(&line?)?;
        writeln!(out, "{}", answer(question)?)?;
    }
    Ok(())
}
