//! What CO2 may show of its sensor without proving it: told to a person, believed until then.
//!
//! - CO2 sinks slowly and never comes back before the clip comes off: air under the sensor, or breathing.
//! - After a refit CO2 settles at another level: one of the two fittings errs, or the patient changed.
//! - CO2 rises while the ear is poorly perfused and falls when perfusion returns: a squeezed ear keeps its
//!   CO2 (from memory), as when the patient lies on it.
//!
//! Source: common practice, from memory; `refit_level_kpa` is the greatest difference that
//! `hazenberg-2011` accepted. Age: the same at every age.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::{Channel, Mark, MarkKind, Quantity};
use crate::screen::fitting::Fitting;
use crate::screen::look::{Look, Runs, beside, runs, samples_in};
use crate::screen::loosening;
use crate::screen::loosening::Seen;
use crate::time::Stretch;

/// Whether a mark says that the patient woke in this time, which lowers CO2 by itself.
fn waking(mark: &Mark, stretch: &Stretch) -> bool {
    use MarkKind::{Awake, LightsOn, Support, Up};
    matches!(mark.kind, Awake | LightsOn | Support | Up)
        && stretch.start_s <= mark.start_s
        && mark.start_s <= stretch.end_s
}

/// Minutes of CO2 compared before and after.
const COMPARED_MIN: f64 = 10.0;

/// The doubts of a night; a fitting that ends in a `slow` leak is beyond doubt.
pub(super) fn findings(
    look: &Look,
    channel: &Channel,
    seen: &Seen,
    (fittings, slow): (&[Fitting], &Runs),
) -> Vec<Finding> {
    let doubt = Doubt { look, channel, seen };
    let sound = |fitting: &Fitting| {
        let end = fitting.samples.end;
        !slow.iter().any(|leak| leak.start < end && end <= leak.end)
    };
    let sags = fittings.iter().filter(|f| sound(f)).filter_map(|fitting| doubt.sags(fitting));
    let pairs = fittings.windows(2).filter(|pair| sound(&pair[0]));
    let levels = pairs.filter_map(|pair| doubt.level(&pair[0], &pair[1]));
    sags.chain(levels).chain(doubt.squeezed()).collect()
}

struct Doubt<'a> {
    look: &'a Look<'a>,
    channel: &'a Channel,
    seen: &'a Seen<'a>,
}

impl Doubt<'_> {
    /// CO2 that sank slowly to the end of a fitting, lower than in nearly all the rest of the night.
    fn sags(&self, fitting: &Fitting) -> Option<Finding> {
        let end = fitting.samples.end;
        let sag = loosening::to_end(self.channel, self.seen, end, self.look.limits)?;
        let stretch = self.stretch(sag.stretch.start, end);
        if self.look.marks.iter().any(|mark| waking(mark, &stretch)) {
            return None;
        }
        let (from, to) = (sag.level_kpa, sag.low_kpa);
        let minutes = stretch.length_s() / 60.0;
        let sentence = format!(
            "CO2 sank from {from:.1} to {to:.1} kPa in {minutes:.0} min and had not come back when the \
             sensor came off. Air may have crept under it: exclude this stretch if nothing else \
             explains the fall."
        );
        Some(self.finding("co2_sagging", sentence, stretch))
    }

    /// Another level after a refit.
    fn level(&self, before: &Fitting, after: &Fitting) -> Option<Finding> {
        let length = samples_in(self.channel, COMPARED_MIN * 60.0);
        let last = self.mean(before.samples.end.saturating_sub(length)..before.samples.end)?;
        let settled = after.samples.clone().find(|&i| self.seen.count(&(i..i + 1)) > 0)?;
        let first = self.mean(settled..(settled + length).min(after.samples.end))?;
        let moved = first - last;
        (moved.abs() >= self.look.limits.refit_level_kpa.value).then(|| {
            let stretch = self.stretch(before.samples.end, settled);
            let way = if moved > 0.0 { "higher" } else { "lower" };
            let sentence = format!(
                "CO2 settled {:.1} kPa {way} after the sensor was fitted anew than it was before. One \
                 of the two fittings may read wrongly, or the patient's CO2 had changed.",
                moved.abs()
            );
            self.finding("co2_level_after_refit", sentence, stretch)
        })
    }

    /// CO2 that rose while perfusion was low and fell when it came back.
    fn squeezed(&self) -> Vec<Finding> {
        let Some(perfusion) = self.look.channel(Quantity::Perfusion) else { return Vec::new() };
        let lowest = self.look.limits.perfusion_lowest_pct.value;
        let low = runs(self.channel.samples.len(), |i| {
            beside(self.channel, perfusion, i).is_some_and(|index| index < lowest)
        });
        let minute = samples_in(self.channel, 60.0);
        let rise_kpa = self.look.limits.squeezed_rise_kpa.value;
        low.into_iter()
            .filter(|run| run.len() >= 2 * minute)
            .filter_map(|run| {
                let before = self.mean(run.start.saturating_sub(2 * minute)..run.start)?;
                let top = self.mean(run.end - minute..run.end)?;
                let later = run.end + samples_in(self.channel, COMPARED_MIN * 30.0);
                let later = later.min(self.channel.samples.len());
                let after = self.mean(later.saturating_sub(2 * minute).max(run.end)..later)?;
                let rose = top - before >= rise_kpa && top - after >= rise_kpa / 2.0;
                rose.then(|| {
                    let sentence = format!(
                        "CO2 rose by {:.1} kPa while the ear was poorly perfused and fell after: lying on \
                         the sensor does that. Look whether this rise is the patient's.",
                        top - before
                    );
                    let stretch = self.stretch(run.start, run.end);
                    self.finding("co2_rise_with_low_perfusion", sentence, stretch)
                })
            })
            .collect()
    }

    fn mean(&self, range: std::ops::Range<usize>) -> Option<f64> {
        let enough = 2 * self.seen.count(&range) >= range.len();
        self.seen.mean(range).filter(|_| enough)
    }

    fn stretch(&self, from: usize, to: usize) -> Stretch {
        Stretch::new(self.channel.time_s(from), self.channel.time_s(to))
    }

    fn finding(&self, code: &'static str, sentence: String, stretch: Stretch) -> Finding {
        Finding::new(code, Weight::Caution, sentence).on(self.channel.id.as_str()).at(stretch)
    }
}
