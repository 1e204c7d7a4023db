//! The heaviest night the workbench must stay smooth on: thirty hours, six channels, 100 samples a second.
//!
//! ```text
//! cargo run --release -p simulate --example long_night -- TC-1001.edf
//! ```
//!
//! A made night three times over, each second drawn out to a hundred samples; the pulse wave is a plain one.

use std::f64::consts::TAU;

use engine::recording::Channel;
use engine::recording::Quantity;
use engine::recording::Recording;
use engine::unit::Unit;
use simulate::write::EdfOptions;

const HOURS: usize = 30;
const RATE_HZ: usize = 100;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let out = std::env::args().nth(1).ok_or("expected the name of the file to write")?;
    let named = simulate::sleeper_named("steady").ok_or("the table has no steady sleeper")?;
    let made = simulate::night(&named.sleeper, &named.sensor, 1).recording;
    let bytes = simulate::write::edf(&drawn_out(made), EdfOptions::default());
    std::fs::write(out, bytes)?;
    Ok(())
}

/// The night over and over until it is long enough, a hundred samples a second in six channels.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "seconds of a night: never negative and far below 2^32"
)]
fn drawn_out(made: Recording) -> Recording {
    let scored = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];
    let mut channels: Vec<Channel> = made
        .channels
        .iter()
        .filter(|channel| scored.contains(&channel.quantity))
        .map(|channel| {
            let per_second = |at: usize| {
                let row = at as f64 / RATE_HZ as f64 / channel.period_s;
                channel.samples[row as usize % channel.samples.len()]
            };
            like(channel.quantity, channel.unit.clone(), per_second)
        })
        .collect();
    let wave = |rate: f64, depth: f64| {
        move |at: usize| {
            let at_s = at as f64 / RATE_HZ as f64;
            depth * libm::sin(TAU * rate * at_s) + 0.1 * depth * libm::sin(TAU * at_s / 600.0)
        }
    };
    channels.push(like(Quantity::Pleth, Unit::Other(String::new()), wave(1.1, 100.0)));
    channels.push(like(Quantity::Flow, Unit::Other(String::new()), wave(0.25, 30.0)));
    channels.push(like(Quantity::Perfusion, Unit::Percent, |at| 2.0 + (at % 700) as f64 / 700.0));
    Recording { duration_s: (HOURS * 3_600) as f64, channels, ..made }
}

fn like(quantity: Quantity, unit: Unit, value: impl Fn(usize) -> f64) -> Channel {
    Channel {
        id: quantity.id().to_owned(),
        quantity,
        unit,
        file_label: quantity.id().to_owned(),
        file_unit: String::new(),
        period_s: 1.0 / RATE_HZ as f64,
        offset_s: 0.0,
        samples: (0..HOURS * 3_600 * RATE_HZ).map(value).collect(),
    }
}
