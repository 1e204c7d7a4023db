//! `low_perfusion`: too little pulsation under the oximeter.
//!
//! An oximeter reads the part of the light that pulses. With hardly any pulsation (cold skin, a clip
//! that presses) noise decides, so SpO2 and pulse are not believed while the perfusion index is under
//! the limit, nor for the seconds after it over which the monitor averages. A missing index says
//! nothing. tcPCO2 of a poorly perfused ear drifts up slowly; no limit on that is published, so none is
//! set here.
//!
//! Where no perfusion is recorded, the oximeter finding and losing the pulse again and again tells the
//! same: a few seconds of reading between two dropouts are not believed, and neither is a stretch with
//! several dropouts and a pulse rougher than is usual on this night, nor a minute in which pulse and
//! SpO2 are both far rougher than is usual: then the noise decides. One dropout proves nothing, and a
//! rough pulse alone may be the heart's own.
//!
//! Source: department settings. Age: the same at every age until a set says otherwise.

use crate::recording::{Channel, Quantity};
use crate::screen::look::{Look, Runs, beside, lengthened, runs, samples_in, set, widened};
use crate::screen::signs::Signs;

/// Where the perfusion index is too low.
pub(super) fn find(look: &Look, channel: &Channel) -> Runs {
    let Some(perfusion) = look.channel(Quantity::Perfusion) else { return Runs::new() };
    let lowest = look.limits.perfusion_lowest_pct.value;
    let low = runs(channel.samples.len(), |i| {
        beside(channel, perfusion, i).is_some_and(|index| index < lowest)
    });
    let margin = samples_in(channel, look.limits.oximeter_margin_s.value);
    lengthened(&low, margin, channel.samples.len())
}

/// Where the oximeter finds and loses the pulse again and again, on the grid of SpO2.
pub(super) fn broken(signs: &Signs) -> Runs {
    let limits = signs.limits;
    let count = signs.lost.len();
    let lost = runs(count, |i| signs.lost[i]);
    let mut broken = vec![false; count];
    let island = signs.samples(limits.island_least_s.value);
    for pair in lost.windows(2) {
        if pair[1].start - pair[0].end < island {
            broken[pair[0].end..pair[1].start].fill(true);
        }
    }
    let near = signs.samples(limits.dropouts_near_s.value);
    let margin = signs.samples(limits.oximeter_margin_s.value);
    for group in lost.chunk_by(|a, b| b.start - a.end <= near) {
        let run = group[0].start..group[group.len() - 1].end;
        if group.len() as f64 >= limits.dropouts_least.value && signs.pulse_points(&run) > 0 {
            set(&mut broken, &lengthened(&[run], margin, count), true);
        }
    }
    let noise = runs(count, |i| signs.noise(i));
    let quarter = signs.samples(limits.noise_window_s.value / 4.0);
    set(&mut broken, &widened(&noise, quarter, count), true);
    runs(count, |i| broken[i] && !signs.lost[i])
}
