//! The notes file that comes with a made night: lights, diary, therapy, gas checks and blood gases.

use std::fmt::Write as _;

use crate::body::Night;
use crate::electrode::{self, GAS_KPA};
use crate::plan::Plan;
use crate::random::Random;
use crate::sensor::Sensor;
use crate::sleeper::Sleeper;
use engine::time::{Clock, Stretch};

/// Seconds between a gas check and the recording (our choice).
const GAS_APART_S: f64 = 600.0;

/// The notes as TOML, times as the wall clock shows them.
pub(crate) fn write(
    sleeper: &Sleeper,
    sensor: &Sensor,
    made: (&Plan, &Night, &electrode::Reading),
    clock: &Clock,
    seed: u64,
) -> String {
    let (plan, night, electrode) = made;
    let mut page = Page { text: String::new(), clock };
    page.head(sleeper, plan);
    let _ = writeln!(page.text, "\n[monitor]");
    let _ = writeln!(page.text, "corrected = true");
    let _ = writeln!(page.text, "sensor_temp_c = {:.1}", sensor.electrode.temp_c);
    let _ = writeln!(page.text, "averaging_s = {}", sensor.oximeter.averaging_s);
    page.diary(sleeper, plan, &mut Random::stream(seed, "diary"));
    page.gases(sensor, plan, night, electrode, &mut Random::stream(seed, "gases"));
    page.text
}

struct Page<'a> {
    text: String,
    clock: &'a Clock,
}

impl Page<'_> {
    fn time(&self, at_s: f64) -> String {
        let wall = self.clock.at(at_s);
        let written = wall.civil.strftime("%Y-%m-%dT%H:%M:%S").to_string();
        // A time that came twice when the clocks went back carries its offset.
        match wall.offset.filter(|_| self.clock.seconds_to(wall.civil).is_err()) {
            Some(offset) => format!("{written}{}", offset_text(offset.seconds())),
            None => written,
        }
    }

    fn head(&mut self, sleeper: &Sleeper, plan: &Plan) {
        if let Some(zone) = self.clock.zone() {
            let zone = engine::time::zone_name(zone);
            let _ = writeln!(self.text, "zone = {}", quoted(&zone));
        }
        let out = self.time(plan.lights_out_s as f64);
        let on = self.time(plan.lights_on_s as f64);
        let _ = writeln!(self.text, "lights_out = \"{out}\"\nlights_on = \"{on}\"");
        if let Some(representative) = sleeper.diary.representative {
            let _ = writeln!(self.text, "representative = {representative}");
        }
        let _ = writeln!(self.text, "breathing = {}", quoted(&sleeper.diary.breathing));
    }

    fn mark(&mut self, kind: &str, stretch: &Stretch, words: &str) {
        let (at, until) = (self.time(stretch.start_s), self.time(stretch.end_s));
        let _ = writeln!(self.text, "\n[[mark]]\nat = \"{at}\"\nuntil = \"{until}\"");
        let _ = writeln!(self.text, "kind = \"{kind}\"\ntext = {}", quoted(words));
    }

    /// What the patient wrote down, to the minute and only about right.
    fn diary(&mut self, sleeper: &Sleeper, plan: &Plan, random: &mut Random) {
        for visit in plan.visits.iter().filter(|_| sleeper.diary.visits_noted) {
            let error_s = 60.0 * sleeper.diary.error_min;
            let minute = |at_s: f64| (at_s / 60.0).round() * 60.0;
            let start_s = minute(visit.start_s + random.between(-error_s, error_s));
            let end_s = minute(visit.end_s + random.between(-error_s, error_s));
            let noted = Stretch::new(start_s, end_s.max(start_s + 60.0));
            self.mark("up", &noted, "toilet");
        }
        if let Some(oxygen) = &sleeper.oxygen {
            for stretch in &plan.oxygen {
                self.mark("oxygen", stretch, &format!("{} L/min", oxygen.flow_l_per_min));
            }
        }
        if let Some(support) = &sleeper.support {
            for stretch in &plan.support {
                self.mark("support", stretch, &support.setting);
            }
        }
    }

    fn gases(
        &mut self,
        sensor: &Sensor,
        plan: &Plan,
        night: &Night,
        electrode: &electrode::Reading,
        random: &mut Random,
    ) {
        let checks = &sensor.checks;
        let end = plan.seconds() - 1;
        let before = (checks.gas.evening(), -GAS_APART_S, electrode.drift_kpa[0]);
        let after = (checks.gas.morning(), end as f64 + GAS_APART_S, electrode.drift_kpa[end]);
        for (wanted, at_s, error_kpa) in [before, after] {
            let observed_kpa = GAS_KPA + error_kpa + checks.gas_sd_kpa * random.normal();
            if wanted {
                let at = self.time(at_s);
                let _ = writeln!(self.text, "\n[[gas_check]]\nat = \"{at}\"");
                let _ = writeln!(self.text, "expected_kpa = {GAS_KPA:.2}");
                let _ = writeln!(self.text, "observed_kpa = {observed_kpa:.2}");
            }
        }
        let evening = plan.lights_out_s.saturating_sub(300);
        let morning = (plan.lights_on_s + 120).min(end);
        for (wanted, at) in
            [(checks.blood_gas.evening(), evening), (checks.blood_gas.morning(), morning)]
        {
            let pco2_kpa = night.paco2_kpa[at] + checks.blood_gas_sd_kpa * random.normal();
            if wanted {
                let at = self.time(at as f64);
                let _ = writeln!(self.text, "\n[[blood_gas]]\nat = \"{at}\"");
                let _ = writeln!(self.text, "pco2_kpa = {pco2_kpa:.2}");
            }
        }
    }
}

/// An offset from UTC in seconds as `+01:00`.
fn offset_text(offset_s: i32) -> String {
    let sign = if offset_s < 0 { '-' } else { '+' };
    let minutes = offset_s.abs() / 60;
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

/// A basic string of TOML.
fn quoted(text: &str) -> String {
    let mut quoted = String::with_capacity(text.len() + 2);
    quoted.push('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            c if c.is_control() => quoted.push(' '),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}
