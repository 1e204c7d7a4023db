//! What disturbs breathing: obstruction, periodic breathing, shallow REM-like bouts, mask leaks, arousals.

use super::{Arousal, Disturbance, EventKind, Plan, Stage, second};
use crate::random::{Random, Wander};
use crate::sleeper::Obstructive;
use crate::sleeper::Pattern;
use crate::sleeper::Periodic;
use crate::sleeper::Sleeper;
use engine::time::Stretch;

/// Least time of open breathing between two events, s: a few breaths (our choice).
const LEAST_REST_S: f64 = 9.0;

pub(super) fn disturb(plan: &mut Plan, sleeper: &Sleeper, seed: u64) {
    wander(plan, sleeper, &mut Random::stream(seed, "wander"));
    let supported = plan.seconds_in(&plan.support);
    for (number, pattern) in sleeper.events.iter().enumerate() {
        let random = &mut Random::stream(seed, &format!("events {number}"));
        match pattern {
            Pattern::Obstructive(pattern) => obstruct(plan, pattern, &supported, random),
            Pattern::Periodic(pattern) => wax_and_wane(plan, pattern, &supported, random),
        }
    }
    shallow_bouts(plan, sleeper, &supported, &mut Random::stream(seed, "rem"));
    mask_leaks(plan, sleeper, &supported, &mut Random::stream(seed, "leaks"));
    arouse(plan, sleeper, &mut Random::stream(seed, "arousals"));
    plan.disturbances.sort_by(|a, b| a.stretch.start_s.total_cmp(&b.stretch.start_s));
    plan.arousals.sort_by_key(|arousal| arousal.at_s);
}

/// Breathing is never quite even, least so in REM-like sleep.
fn wander(plan: &mut Plan, sleeper: &Sleeper, random: &mut Random) {
    let (mut slow, mut quick) = (Wander::new(90.0, 1.0), Wander::new(15.0, 1.0));
    for (airflow, stage) in plan.airflow.iter_mut().zip(&plan.stages) {
        let share = if *stage == Stage::Rem {
            sleeper.breathing.rem_wander_share
        } else {
            sleeper.breathing.wander_share
        };
        let both = 0.8 * slow.step(random) + 0.6 * quick.step(random);
        *airflow = (1.0 + share * both).max(0.2);
    }
}

/// Lays obstruction over the night, each event ending in a surge of breathing.
fn obstruct(plan: &mut Plan, pattern: &Obstructive, supported: &[bool], random: &mut Random) {
    let mut severity = Wander::new(1500.0, 1.0);
    let mut ready_s = 0.0;
    for (at, &supported) in supported.iter().enumerate() {
        // Dividing by the mean of the exponential keeps the night's rate as asked.
        let c = 1.2 * pattern.clustering;
        let uneven = libm::exp(c * severity.step(random) - 0.5 * c * c);
        let stage = plan.stages[at];
        if (at as f64) < ready_s || !stage.asleep() || supported {
            continue;
        }
        let per_h = uneven
            * match stage {
                Stage::Deep => pattern.deep_per_h,
                Stage::Rem => pattern.rem_per_h,
                _ => pattern.light_per_h,
            };
        let longer = if stage == Stage::Rem { pattern.rem_longer } else { 1.0 };
        let mean_s = pattern.length_s * longer;
        let free_s = (3600.0 / per_h.max(1e-6) - mean_s - LEAST_REST_S).max(2.0);
        if !random.chance(1.0 / free_s) {
            continue;
        }
        let length_s = random.around(mean_s, pattern.length_sd_s * longer, 6.0).min(600.0);
        ready_s = obstruct_once(plan, pattern, at, length_s, random) + LEAST_REST_S;
    }
}

/// One obstruction from second `at`; returns when it ends.
fn obstruct_once(
    plan: &mut Plan,
    pattern: &Obstructive,
    at: usize,
    length_s: f64,
    random: &mut Random,
) -> f64 {
    let closed = random.chance(pattern.apnoea_share);
    let partial = random.around(pattern.partial_left_share, 0.12, 0.1).min(0.7);
    let left = if closed { 0.0 } else { partial };
    let mut end = second(at as f64 + length_s, plan.seconds());
    // Waking opens the airway.
    if let Some(awake) = (at..end).find(|&i| !plan.stages[i].asleep()) {
        end = awake;
    }
    for i in at..end {
        // Two seconds to close, as the last breath is let out.
        let closing = ((i - at) as f64 / 2.0).min(1.0);
        plan.airflow[i] *= 1.0 - closing * (1.0 - left);
    }
    let aroused = random.chance(pattern.arousal_share);
    surge(plan, end, if aroused { random.around(0.9, 0.25, 0.3) } else { 0.35 }, 14.0);
    if aroused {
        plan.arousals.push(Arousal { at_s: end, size: random.around(1.0, 0.3, 0.3) });
    }
    plan.disturbances.push(Disturbance {
        kind: if closed { EventKind::Obstructive } else { EventKind::Partial },
        stretch: Stretch::new(at as f64, end as f64),
    });
    end as f64
}

/// Deep breaths from second `from`, fading over `fade_s`.
fn surge(plan: &mut Plan, from: usize, size: f64, fade_s: f64) {
    let to = second(from as f64 + 3.0 * fade_s, plan.seconds());
    for i in from..to {
        plan.airflow[i] *= 1.0 + size * libm::exp(-((i - from) as f64) / fade_s);
    }
}

/// Periodic breathing: ventilation swings about its mean in bouts of light sleep.
fn wax_and_wane(plan: &mut Plan, pattern: &Periodic, supported: &[bool], random: &mut Random) {
    let bout_s = 900.0;
    let share = pattern.light_share.clamp(0.01, 0.99);
    let mut on = false;
    let mut until_s = random.wait(bout_s);
    let (mut phase, mut cycle_s, mut swing) = (0.0, pattern.cycle_s, pattern.swing);
    let mut trough = None;
    for (i, &supported) in supported.iter().enumerate() {
        if i as f64 >= until_s {
            on = !on;
            let mean_s = if on { bout_s } else { bout_s * (1.0 - share) / share };
            until_s = i as f64 + random.wait(mean_s);
        }
        let breathing = on && plan.stages[i] == Stage::Light && !supported;
        if breathing {
            phase += 1.0 / cycle_s;
            if phase >= 1.0 {
                phase -= 1.0;
                cycle_s = random.around(pattern.cycle_s, 0.07 * pattern.cycle_s, 8.0);
                swing = random.around(pattern.swing, 0.15 * pattern.swing, 0.0);
            }
            let left = (1.0 + swing * libm::cos(std::f64::consts::TAU * phase)).max(0.0);
            plan.airflow[i] *= left;
            trough = note_trough(plan, trough, i, left < 0.4, random);
        } else {
            phase = 0.0;
            trough = note_trough(plan, trough, i, false, random);
        }
    }
}

/// Keeps account of where the trough of a cycle began, and writes it down when it ends.
fn note_trough(
    plan: &mut Plan,
    trough: Option<usize>,
    at: usize,
    low: bool,
    random: &mut Random,
) -> Option<usize> {
    match (trough, low) {
        (None, true) => Some(at),
        (Some(from), false) => {
            plan.disturbances.push(Disturbance {
                kind: EventKind::Central,
                stretch: Stretch::new(from as f64, at as f64),
            });
            // Arousals of periodic breathing come at the height of breathing, not at its return.
            if random.chance(0.4) {
                plan.arousals.push(Arousal { at_s: at + 12, size: random.around(0.6, 0.2, 0.2) });
            }
            None
        }
        _ => trough,
    }
}

/// Bouts of shallow breathing in REM-like sleep.
fn shallow_bouts(plan: &mut Plan, sleeper: &Sleeper, supported: &[bool], random: &mut Random) {
    let breathing = &sleeper.breathing;
    for (from, to) in
        bouts(plan, breathing.rem_bouts_per_h, breathing.rem_bout_s, random, |i, plan| {
            plan.stages[i] == Stage::Rem && !supported[i]
        })
    {
        let left = random.around(breathing.rem_bout_left_share, 0.12, 0.1).min(1.0);
        let middle = 0.5 * (from + to) as f64;
        for i in from..to {
            // A smooth hollow: breathing grows shallow and recovers without an arousal.
            let x = (i as f64 - middle) / (0.5 * (to - from) as f64);
            plan.airflow[i] *= 1.0 - (1.0 - left) * (1.0 - x * x);
        }
        let stretch = Stretch::new(from as f64, to as f64);
        plan.disturbances.push(Disturbance { kind: EventKind::Shallow, stretch });
    }
}

/// Mask leaks: the ventilator gives less than asked.
fn mask_leaks(plan: &mut Plan, sleeper: &Sleeper, supported: &[bool], random: &mut Random) {
    let Some(support) = &sleeper.support else { return };
    for (from, to) in
        bouts(plan, support.leaks_per_h, 60.0 * support.leak_min, random, |i, plan| {
            supported[i] && plan.stages[i].asleep()
        })
    {
        let left = random.around(support.leak_left_share, 0.1, 0.1).min(1.0);
        plan.airflow[from..to].iter_mut().for_each(|airflow| *airflow *= left);
        plan.arousals.push(Arousal { at_s: to, size: random.around(1.2, 0.3, 0.3) });
        let stretch = Stretch::new(from as f64, to as f64);
        plan.disturbances.push(Disturbance { kind: EventKind::MaskLeak, stretch });
    }
}

/// Bouts at so many an hour of the time that `may` allows; each ends where that time ends.
fn bouts(
    plan: &Plan,
    per_h: f64,
    mean_s: f64,
    random: &mut Random,
    may: impl Fn(usize, &Plan) -> bool,
) -> Vec<(usize, usize)> {
    let mut found = Vec::new();
    let mut ready = 0;
    for at in 0..plan.seconds() {
        if at < ready || !may(at, plan) || !random.chance(per_h / 3600.0) {
            continue;
        }
        let length_s = random.around(mean_s, 0.5 * mean_s, 5.0);
        let end = second(at as f64 + length_s, plan.seconds());
        let end = (at..end).find(|&i| !may(i, plan)).unwrap_or(end);
        if end > at + 2 {
            found.push((at, end));
        }
        ready = end + 10;
    }
    found
}

/// Arousals that no event explains, awakenings, and turning over while awake.
fn arouse(plan: &mut Plan, sleeper: &Sleeper, random: &mut Random) {
    let per_s = sleeper.sleep.arousals_per_h / 3600.0;
    for i in 1..plan.seconds() {
        let (before, now) = (plan.stages[i - 1], plan.stages[i]);
        let size = if before.asleep() && !now.asleep() {
            Some(random.around(1.5, 0.4, 0.5))
        } else if now.asleep() && random.chance(per_s) {
            Some(random.around(0.8, 0.3, 0.2))
        } else if now == Stage::Awake && random.chance(8.0 / 3600.0) {
            Some(random.around(1.2, 0.4, 0.3))
        } else {
            None
        };
        if let Some(size) = size {
            plan.arousals.push(Arousal { at_s: i, size });
            surge(plan, i, 0.25 * size, 8.0);
        }
    }
}
