//! Stages of sleep: cycles of about ninety minutes, deep early, REM-like phases longer toward morning.

use super::{Plan, Stage, second};
use crate::random::Random;
use crate::sleeper::Sleep;
use engine::time::Stretch;

/// Longest recording that is made, h: what a mistaken parameter could otherwise ask for.
const LONGEST_H: f64 = 72.0;

pub(super) fn lay_out(sleep: &Sleep, random: &mut Random) -> Plan {
    let minutes = sleep.to_lights_out_min + 60.0 * sleep.in_bed_h + sleep.after_lights_on_min;
    let count = second(60.0 * minutes.min(60.0 * LONGEST_H), usize::MAX).max(1);
    let lights_out_s = second(60.0 * sleep.to_lights_out_min, count);
    let lights_on_s = second(60.0 * (sleep.to_lights_out_min + 60.0 * sleep.in_bed_h), count);
    let mut stages = vec![Stage::Awake; count];
    cycles(sleep, &mut stages[lights_out_s..lights_on_s], random);
    wakes(sleep, &mut stages[lights_out_s..lights_on_s], random);
    let visits = visits(sleep, &mut stages, lights_out_s..lights_on_s, random);
    Plan {
        airflow: vec![1.0; count],
        stages,
        lights_out_s,
        lights_on_s,
        visits,
        disturbances: Vec::new(),
        arousals: Vec::new(),
        oxygen: Vec::new(),
        support: Vec::new(),
    }
}

/// Fills the time in bed with cycles of light, deep, light and REM-like sleep.
fn cycles(sleep: &Sleep, stages: &mut [Stage], random: &mut Random) {
    let mut at =
        second(60.0 * random.around(sleep.latency_min, 0.4 * sleep.latency_min, 2.0), stages.len());
    let mut deep_min = sleep.deep_first_min;
    let mut rem_min = sleep.rem_first_min;
    while at < stages.len() {
        let cycle_min = random.around(sleep.cycle_min, 0.1 * sleep.cycle_min, 40.0);
        let deep = if deep_min < 4.0 { 0.0 } else { random.around(deep_min, 0.15 * deep_min, 0.0) };
        let rem = random.around(rem_min, 0.2 * rem_min, 3.0).min(0.55 * cycle_min);
        let light = (cycle_min - deep - rem).max(10.0);
        for (stage, minutes) in [
            (Stage::Light, 0.45 * light),
            (Stage::Deep, deep),
            (Stage::Light, 0.55 * light),
            (Stage::Rem, rem),
        ] {
            let end = second(at as f64 + 60.0 * minutes, stages.len());
            stages[at..end].fill(stage);
            at = end;
        }
        deep_min *= 0.5;
        rem_min += sleep.rem_longer_min;
    }
    // The last minutes before lights on are awake: the person is woken or wakes.
    let last = stages.len().saturating_sub(second(60.0 * random.between(1.0, 8.0), stages.len()));
    stages[last..].fill(Stage::Awake);
}

/// Puts short awakenings into sleep.
fn wakes(sleep: &Sleep, stages: &mut [Stage], random: &mut Random) {
    if sleep.wakes_per_h <= 0.0 {
        return;
    }
    let mut at = 0.0;
    loop {
        at += random.wait(3600.0 / sleep.wakes_per_h);
        if at >= stages.len() as f64 {
            return;
        }
        let length_s = 60.0 * random.around(sleep.wake_min, 0.5 * sleep.wake_min, 0.5);
        let (from, to) = (second(at, stages.len()), second(at + length_s, stages.len()));
        stages[from..to].fill(Stage::Awake);
        at += length_s;
    }
}

/// Times out of bed, spread over the night, each with some wakefulness before and after.
fn visits(
    sleep: &Sleep,
    stages: &mut [Stage],
    bed: std::ops::Range<usize>,
    random: &mut Random,
) -> Vec<Stretch> {
    let share = (bed.len() as f64) / f64::from(sleep.toilet_visits + 1);
    (1..=sleep.toilet_visits)
        .map(|number| {
            let middle =
                bed.start as f64 + share * (f64::from(number) + random.between(-0.25, 0.25));
            let up = Stretch::new(
                middle.floor(),
                (middle + 60.0 * random.around(sleep.visit_min, 0.2 * sleep.visit_min, 2.0))
                    .floor(),
            );
            let awake = Stretch::new(
                up.start_s - 60.0 * random.between(1.0, 4.0),
                up.end_s + 60.0 * random.between(4.0, 12.0),
            );
            stages[second(awake.start_s, bed.end)..second(awake.end_s, bed.end)].fill(Stage::Awake);
            stages[second(up.start_s, bed.end)..second(up.end_s, bed.end)].fill(Stage::Up);
            up
        })
        .collect()
}
