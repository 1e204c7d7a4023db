//! Signs of the onset and the end of sleep, where no lights were marked: proposed, never used.
//!
//! The pulse falls as sleep comes and rises on waking, by several beats and for long, while the patient lies
//! still. In the first part of the recording the one moment is sought that parts a faster pulse from a
//! slower one best; in the last part, the reverse. A patient who was asleep before the recording, a
//! paced heart or a feverish night shows no such moment, and then nothing is proposed.
//!
//! The moment is not that of sleep as an EEG has it, and no figure stands on it until a person takes it.
//!
//! Source: common practice, no source; the limits are department settings. Age: the same at every age.

use crate::criteria::ScreenCriteria;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::{Channel, MarkKind, Quantity};
use crate::screen::ChannelScreen;
use crate::screen::look::{Look, samples_in};

/// Fewest minutes on each side of the moment.
const LEAST_MIN: usize = 15;

/// The proposals for a night whose lights were not both marked.
pub(super) fn findings(look: &Look, channels: &[ChannelScreen]) -> Vec<Finding> {
    let marked = |kind: MarkKind| look.marks.iter().any(|mark| mark.kind == kind);
    let Some(pulse) = look.channel(Quantity::Pulse) else { return Vec::new() };
    let Some(screen) = channels.iter().find(|c| c.quantity == Quantity::Pulse) else {
        return Vec::new();
    };
    let means = minutes(pulse, &screen.believed);
    let limits = look.limits;
    let mut found = Vec::new();
    if !marked(MarkKind::LightsOut) && !marked(MarkKind::Asleep) {
        found.extend(onset(pulse, &means, limits));
    }
    if !marked(MarkKind::LightsOn) {
        found.extend(waking(pulse, &means, limits));
    }
    found
}

/// The believed mean of each minute; `None` where less than half of it is believed.
fn minutes(channel: &Channel, believed: &[bool]) -> Vec<Option<f64>> {
    let minute = samples_in(channel, 60.0);
    (0..channel.samples.len())
        .step_by(minute)
        .map(|from| {
            let to = (from + minute).min(channel.samples.len());
            let (sum, count) = (from..to)
                .filter(|&i| believed[i])
                .fold((0.0, 0), |(sum, count), i| (sum + channel.samples[i], count + 1));
            (2 * count > minute).then(|| sum / count as f64)
        })
        .collect()
}

fn onset(pulse: &Channel, means: &[Option<f64>], limits: &ScreenCriteria) -> Option<Finding> {
    let within = whole(limits.onset_within_min.value).min(means.len());
    let (at, before, after) = parted(&means[..within])?;
    (before - after >= limits.onset_pulse_per_min.value).then(|| {
        proposal(
            pulse,
            at,
            "onset_proposed",
            &format!(
                "Lights out was not marked. From here on the pulse was slower, {after:.0} after \
                 {before:.0} a minute: sleep may have begun. Mark lights out if that fits the diary; \
                 nothing is taken out until then."
            ),
        )
    })
}

fn waking(pulse: &Channel, means: &[Option<f64>], limits: &ScreenCriteria) -> Option<Finding> {
    let from = means.len().saturating_sub(whole(limits.waking_within_min.value));
    let (at, before, after) = parted(&means[from..])?;
    (after - before >= limits.onset_pulse_per_min.value).then(|| {
        proposal(
            pulse,
            from + at,
            "waking_proposed",
            &format!(
                "Lights on was not marked. From here on the pulse was faster, {after:.0} after \
                 {before:.0} a minute: the patient may have been awake. Mark lights on if that fits \
                 the diary; nothing is taken out until then."
            ),
        )
    })
}

/// The minute that parts the means best into two levels, and the two levels.
fn parted(means: &[Option<f64>]) -> Option<(usize, f64, f64)> {
    let (all, all_count) = sum(means);
    let (mut left, mut left_count) = (0.0, 0);
    let mut best: Option<(f64, usize, f64, f64)> = None;
    for (at, mean) in means.iter().enumerate() {
        let right_count = all_count - left_count;
        if left_count >= LEAST_MIN && right_count >= LEAST_MIN {
            let before = left / left_count as f64;
            let after = (all - left) / right_count as f64;
            let apart =
                (before - after) * (before - after) * left_count as f64 * right_count as f64;
            if best.is_none_or(|best| apart > best.0) {
                best = Some((apart, at, before, after));
            }
        }
        left += mean.unwrap_or(0.0);
        left_count += usize::from(mean.is_some());
    }
    best.map(|(_, at, before, after)| (at, before, after))
}

fn sum(means: &[Option<f64>]) -> (f64, usize) {
    means.iter().flatten().fold((0.0, 0), |(sum, count), mean| (sum + mean, count + 1))
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the cast saturates, and a negative count means none"
)]
fn whole(minutes: f64) -> usize {
    minutes as usize
}

fn proposal(pulse: &Channel, minute: usize, code: &'static str, sentence: &str) -> Finding {
    let at_s = pulse.time_s(minute * samples_in(pulse, 60.0));
    Finding::new(code, Weight::Note, sentence)
        .on(pulse.id.as_str())
        .at(crate::time::Stretch::new(at_s, at_s))
}
